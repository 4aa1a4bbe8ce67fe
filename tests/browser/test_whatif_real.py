"""Trying rafts on a planned site: every figure against Python, and the saved file read back."""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest

from geoplan.crs import transformed_points
from geoplan.effect import worth_map
from geoplan.fields import site_fields
from geoplan.fleet import plan_folder
from geoplan.mooring.demand import raft_loads
from geoplan.mooring.design import design_moorings
from geoplan.placement.allowed import Surroundings
from geoplan.placement.measure import least_under
from geoplan.placement.rules import GAP, DepthForRoots
from geoplan.plan import Plan, WaterPlan
from geoplan.raft import footprints
from geoplan.readers import read_site
from geoplan.site import Site
from geoplan.treatment import load_benefit
from tests.browser.test_map_page import ARGUMENTS, CHROMIUM, Opened
from tests.sites.test_kept_and_refused import run
from tests.sites.test_whole_runs import two_ponds

playwright = pytest.importorskip("playwright.sync_api")

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium"),
]


@dataclass(frozen=True)
class Planned:
    """A site and its plan."""

    site_path: Path
    site: Site
    plan: Plan
    folder: Path


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Planned:
    folder = tmp_path_factory.mktemp("ponds")
    path = two_ponds(folder)
    made = plan_folder(path, folder / "plan", workers=1)
    return Planned(path, read_site(path), made.plan, folder / "plan")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as started:
        opened = started.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture
def page(browser: Any, planned: Planned) -> Iterator[Any]:
    view = Opened(browser, planned.folder / "map.html")
    yield view.page
    view.context.close()
    assert view.messages == []


def richest(plan: Plan) -> WaterPlan:
    return max(plan.waters, key=lambda water: len(water.rafts))


def saved(page: Any, path: Path) -> Path:
    with page.expect_download() as got:
        page.click("#try-save")
    got.value.save_as(path)
    return path


def test_no_figure_is_kinder_than_that_of_python(planned: Planned, page: Any) -> None:
    """40 poses against the planner's own fields, rules and moorings."""
    water = richest(planned.plan)
    body = next(one for one in planned.site.water_bodies if one.water_id == water.water_id)
    settings = planned.site.settings
    fields = site_fields(body, settings)
    around = Surroundings(body, fields, water.edges, settings)
    kind = settings.raft[0]
    benefit, _ = load_benefit(body, settings, fields)
    assert benefit is not None
    surface = benefit.tangent(()).surfaces[0]
    steps = worth_map(around, benefit).steps
    raft = water.rafts[0]
    loads = raft_loads(water.edges[2], water.rafts, settings)
    random = np.random.default_rng(11)
    low, pool_m2 = water.edges[0].outline, water.edges[1].area_m2
    compared, ratios = {"depth": 0, "worth": 0}, []
    for _ in range(40):
        pose = replace(
            raft,
            easting_m=raft.easting_m + random.uniform(-9, 9),
            northing_m=raft.northing_m + random.uniform(-7, 7),
            heading_deg=random.uniform(0, 180),
        )
        outline = footprints(
            [pose.easting_m], [pose.northing_m], [pose.heading_deg], [raft.length_m], [raft.width_m]
        )[0]
        ring = np.array(outline.exterior.coords)
        degrees = transformed_points(ring[:, 0], ring[:, 1], water.crs, "EPSG:4326")
        found = page.evaluate(
            """([id, name, ring]) => {
                 const w = GEOPLAN.page.record.waters.find(w => w.water_id === id);
                 const r = w.rafts.find(r => r.raft_id === name);
                 const metres = ring.map(([lng, lat]) => GEOPLAN.toMetres(w.fit, { lng, lat }));
                 return GEOPLAN.judge(w, r, metres); }""",
            [water.water_id, raft.raft_id, np.column_stack(degrees).tolist()],
        )
        if not low.covers(outline):
            assert found["bank_m"] == 0
            continue
        depth = float(
            least_under(fields.grid, fields.reliable_depth_m(body.levels.low_m), [outline])[0]
        )
        room = depth - DepthForRoots().need_m(around, kind) + settings.clearances.root_m
        assert found["depth_m"] <= depth + 1e-9
        assert found["clearance_m"] <= room + 1e-9
        compared["depth"] += found["depth_m"] > 0
        assert found["bank_m"] == pytest.approx(outline.distance(low.boundary), abs=2e-3)
        mean = surface.mean_under(
            kind,
            np.array([pose.easting_m]),
            np.array([pose.northing_m]),
            np.array([pose.heading_deg]),
        )
        assert found["worth"]["least"] * 0.99 <= float(mean[0]) + 1e-12
        assert found["worth"]["rank"] <= np.searchsorted(steps, float(mean[0]), side="right")
        compared["worth"] += found["worth"]["rank"] > 1
        longest = [
            max(post.length_m for post in design_moorings(body, fields, [pose], settings, load))
            for load in (loads, None)
        ]
        assert found["mooring"]["length_m"] >= max(longest) - 1e-9
        ratios.append(found["mooring"]["length_m"] / max(longest))
        share = 100.0 * sum(other.area_m2 for other in water.rafts) / pool_m2
        assert share <= found["cover_pct"] <= share + 0.02
    # Not by saying nothing: most poses lie over water, some in the better classes of worth.
    assert compared["depth"] >= 15
    assert compared["worth"] >= 5
    assert np.median(ratios) <= 1.4
    trial = page.evaluate(
        "id => GEOPLAN.page.record.waters.find(w => w.water_id === id).trial", water.water_id
    )
    assert trial["gap_m"] >= GAP.gap_m(around)
    assert trial["bank_m"] == settings.clearances.bank_m


def test_untouched_rafts_come_back_and_can_be_kept(
    planned: Planned,
    page: Any,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    file = saved(page, tmp_path / "edited.geojson")
    assert run(monkeypatch, "audit", planned.folder, "--rafts", file) == 0
    said = capsys.readouterr().out
    assert "5 rafts; 5 lie where they were planned" in said
    out = tmp_path / "kept"
    code = run(monkeypatch, "plan", planned.site_path, "-o", out, "--keep", file, "--workers", 1)
    said = capsys.readouterr().out
    assert code == 0, said
    frame = gpd.read_file(out / "plan.gpkg", layer="rafts")
    assert len(frame) == 5
    assert frame.is_kept.all()


def test_what_was_changed_on_the_page_is_what_the_command_tells(
    planned: Planned,
    page: Any,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    water = richest(planned.plan)
    names = [raft.raft_id for raft in water.rafts]
    index = [one.water_id for one in planned.plan.waters].index(water.water_id)
    page.select_option("#go", str(index))
    page.locator("#rafts button", has_text=names[0]).click()
    page.click("#try-right")
    page.click("#try-up")
    page.locator("#rafts button", has_text=names[1]).click()
    page.click("#try-remove")
    page.click("#try-add")
    file = saved(page, tmp_path / "edited.geojson")
    rows = json.loads(file.read_text("utf-8"))["features"]
    told = {row["properties"]["raft_id"]: row["properties"]["status"] for row in rows}
    assert told[names[0]] == "moved"
    assert told["new-1"] == "added"
    assert names[1] not in told
    code = run(monkeypatch, "audit", planned.folder, "--rafts", file)
    said = capsys.readouterr().out
    assert f"moved {names[0]}" in said
    assert re.search(r"0\.71 m towards 4[456]°", said)  # half a metre east and north
    assert f"removed {names[1]}" in said
    assert "added new-1" in said
    assert code in {0, 1}
    # The verdict of the command on the moved raft is the page's, where the page found a fault.
    marks = page.evaluate(
        """name => { const w = GEOPLAN.page.whatIf;
             w.choose(w.changed().find(r => r.raft_id === name));
             return Object.fromEntries(w.figures()); }""",
        names[0],
    )
    if code == 0:
        assert not any(value.startswith("✗") for value in marks.values())
