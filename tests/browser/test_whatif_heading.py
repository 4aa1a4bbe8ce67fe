"""Headings of tried rafts: no pose that the page accepts is refused by the planner's own bands."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from geoplan.crs import transformed_points
from geoplan.fields import site_fields
from geoplan.fleet import plan_folder
from geoplan.headings import headings_of
from geoplan.placement.headings import FREE_DEG
from geoplan.raft import footprints
from geoplan.readers import read_site
from tests.browser.test_map_page import ARGUMENTS, CHROMIUM, Opened
from tests.sites.test_whole_runs import two_ponds

playwright = pytest.importorskip("playwright.sync_api")

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium"),
]

JUDGE = """([id, name, rings]) => {
  const w = GEOPLAN.page.record.waters.find(w => w.water_id === id);
  const r = w.rafts.find(r => r.raft_id === name);
  return rings.map(ring => {
    const metres = ring.map(([lng, lat]) => GEOPLAN.toMetres(w.fit, { lng, lat }));
    return GEOPLAN.headingOf(w, r, metres); }); }"""

FIGURE = """([id, name, ring]) => {
  const page = GEOPLAN.page.whatIf;
  const w = GEOPLAN.page.record.waters.find(w => w.water_id === id);
  const r = w.rafts.find(r => r.raft_id === name);
  page.choose(r);
  const before = Object.fromEntries(page.figures());
  page.change(r, ring.map(([lng, lat]) => GEOPLAN.toMetres(w.fit, { lng, lat })), false);
  return [before, Object.fromEntries(page.figures())]; }"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as started:
        opened = started.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.mark.parametrize("along", ["flow", "wind", "bank"])
def test_no_heading_is_accepted_that_the_planner_refuses(
    along: str, browser: Any, tmp_path: Path
) -> None:
    """300 random poses and 100 at the edges of the bands, against the unrounded bands."""
    path = two_ponds(tmp_path)
    site = json.loads(path.read_text("utf-8"))
    site["site"] |= {"heading": {"along": along}, "wind": {"from_deg": 213.3}}
    path.write_text(json.dumps(site), "utf-8")
    plan = plan_folder(path, tmp_path / "plan", workers=1).plan
    water = max(plan.waters, key=lambda one: len(one.rafts))
    read = read_site(path)
    body = next(one for one in read.water_bodies if one.water_id == water.water_id)
    fields = site_fields(body, read.settings)
    heads, _ = headings_of(body, read.settings, fields)
    assert heads is not None
    random = np.random.default_rng(5)
    rows, cols = np.nonzero(fields.grid.water)
    picked = random.integers(0, len(rows), 400)
    cell = fields.grid.cell_size_m
    easting = fields.grid.west_m + (cols[picked] + random.uniform(0, 1, 400)) * cell
    northing = fields.grid.south_m + (rows[picked] + random.uniform(0, 1, 400)) * cell
    heading = random.uniform(0, 180, 400)
    # The edge of the band is where rounding would be kind.
    middle, half = (part[rows[picked], cols[picked]] for part in (heads.middle_deg, heads.half_deg))
    side = np.where(random.uniform(size=400) < 0.5, -1, 1)
    edge = middle + side * half + random.normal(0, 0.3, 400)
    heading = np.where(np.arange(400) >= 300, edge, heading)
    raft = water.rafts[0]
    kind = read.settings.raft[0]
    size = np.full(400, raft.length_m), np.full(400, raft.width_m)
    outlines = footprints(easting, northing, heading, *size)
    rings = []
    for outline in outlines:
        ring = np.array(outline.exterior.coords)
        degrees = transformed_points(ring[:, 0], ring[:, 1], water.crs, "EPSG:4326")
        rings.append(np.column_stack(degrees).tolist())
    allowed = heads.allows(kind, easting, northing, heading)
    view = Opened(browser, tmp_path / "plan" / "map.html")
    found = view.page.evaluate(JUDGE, [water.water_id, raft.raft_id, rings])
    accepted = np.array([one["is_allowed"] for one in found])
    assert not (accepted & ~allowed).any()
    assert (~allowed).sum() >= 100
    # Not by refusing all: away from the edges hardly anything is lost.
    assert (allowed[:300] & ~accepted[:300]).sum() <= 12
    assert (allowed[:300] & accepted[:300]).sum() >= 20
    held = (half < FREE_DEG) & (half > 3)
    wrong = int(np.flatnonzero(~allowed & held)[0])
    before, after = view.page.evaluate(FIGURE, [water.water_id, raft.raft_id, rings[wrong]])
    assert before[f"Along the {along}"] == "as planned"
    assert after[f"Along the {along}"].startswith("✗")
    view.context.close()
    assert view.messages == []
