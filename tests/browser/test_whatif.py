"""Rafts tried elsewhere on the map: figures never kinder than Python, and a file to read back."""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from geoplan.crs import transformed_points
from geoplan.exports import web_map
from geoplan.exports.outlines import raft_outlines
from geoplan.raft import footprints
from tests.browser.test_map_page import ARGUMENTS, CHROMIUM, Opened
from tests.unit.exports import small_plan as small

playwright = pytest.importorskip("playwright.sync_api")

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium"),
]


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as started:
        opened = started.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture
def opened(browser: Any, tmp_path: Path) -> Iterator[Opened]:
    web_map.write(small.plan(), small.site(), tmp_path, small.audit())
    view = Opened(browser, tmp_path / "map.html")
    yield view
    view.context.close()
    assert view.messages == []
    assert [url for url in view.requests if not url.startswith("blob:")] == [
        (tmp_path / "map.html").as_uri()
    ]


def chosen(page: Any) -> None:
    page.evaluate(
        """() => { const t = GEOPLAN.page.things.rafts.find(t => t.raft.raft_id === 'U1');
             GEOPLAN.page.choose(t); }"""
    )


def test_figures_are_never_kinder_than_those_of_python(opened: Opened) -> None:
    """60 poses: depth by shapely over every cell touched, gap and edge by shapely."""
    plan, site = small.plan(), small.site()
    water = next(one for one in plan.waters if one.water_id == "upper")
    raft = next(one for one in water.rafts if one.raft_id == "U1")
    others = [
        outline
        for other, outline in zip(water.rafts, raft_outlines(water, site), strict=True)
        if other.raft_id != "U1"
    ]
    edges = shapely.union_all([shapely.boundary(edge.outline) for edge in water.edges])
    grid = water.depth_grid
    assert grid is not None
    rows, cols = np.indices(grid.depth_low_m.shape)
    west, south = grid.west_m + cols * grid.cell_size_m, grid.south_m + rows * grid.cell_size_m
    cells = shapely.box(west, south, west + grid.cell_size_m, south + grid.cell_size_m)
    random = np.random.default_rng(4)
    for _ in range(60):
        pose = replace(
            raft,
            easting_m=raft.easting_m + random.uniform(-12, 12),
            northing_m=raft.northing_m + random.uniform(-12, 12),
            heading_deg=random.uniform(0, 180),
        )
        outline = footprints(
            [pose.easting_m], [pose.northing_m], [pose.heading_deg], [raft.length_m], [raft.width_m]
        )[0]
        ring = np.array(outline.exterior.coords)
        degrees = transformed_points(ring[:, 0], ring[:, 1], water.crs, "EPSG:4326")
        found = opened.page.evaluate(
            """ring => { const w = GEOPLAN.page.record.waters.find(w => w.water_id === 'upper');
                 const metres = ring.map(([lng, lat]) => GEOPLAN.toMetres(w.fit, { lng, lat }));
                 return GEOPLAN.judge(w, w.rafts.find(r => r.raft_id === 'U1'), metres); }""",
            np.column_stack(degrees).tolist(),
        )
        under = grid.depth_low_m[shapely.intersects(cells, outline)]
        exact = float(np.nanmin(under)) if np.isfinite(under).any() else -1.0
        if np.isfinite(under).all():
            assert found["depth_m"] <= exact + 1e-9
        gap = min(outline.distance(other) for other in others)
        assert found["gap_m"] == pytest.approx(gap, abs=2e-3)
        assert found["bank_m"] == pytest.approx(outline.distance(edges), abs=2e-2)


def test_buttons_keys_undo_and_redo_move_the_raft(opened: Opened) -> None:
    page = opened.page
    chosen(page)
    centre = """() => { const r = GEOPLAN.page.whatIf.thing.raft; const p = r.trial;
                  return p ? [(p[0][0] + p[2][0]) / 2, (p[0][1] + p[2][1]) / 2] : null; }"""
    page.click("#try-right")
    first = page.evaluate(centre)
    page.focus("#try-right")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("]")
    moved = page.evaluate(centre)
    assert moved[1] - first[1] == pytest.approx(0.5)
    assert "room below roots" in page.inner_text("#try-says")
    page.click("#try-undo")
    page.click("#try-undo")
    assert page.evaluate(centre) == pytest.approx(first)
    page.click("#try-redo")
    assert page.evaluate(centre)[1] - first[1] == pytest.approx(0.5)


def test_without_a_raft_it_says_what_to_do(opened: Opened) -> None:
    opened.page.click("#try-left")
    assert "Choose a planned raft first" in opened.page.inner_text("#try-says")


def test_the_file_says_where_each_raft_was_put(opened: Opened, tmp_path: Path) -> None:
    page = opened.page
    chosen(page)
    page.click("#try-up")
    page.click("#try-up")
    with page.expect_download() as got:
        page.click("#try-save")
    got.value.save_as(tmp_path / "edited.geojson")
    document = json.loads((tmp_path / "edited.geojson").read_text(encoding="utf-8"))
    rows = {one["properties"]["raft_id"]: one for one in document["features"]}
    assert rows["U1"]["properties"]["edited"] is True
    ring = np.array(rows["U1"]["geometry"]["coordinates"][0])
    water = next(one for one in small.plan().waters if one.water_id == "upper")
    raft = next(one for one in water.rafts if one.raft_id == "U1")
    easting, northing = transformed_points(ring[:4, 0], ring[:4, 1], "EPSG:4326", water.crs)
    assert easting.mean() == pytest.approx(raft.easting_m, abs=0.01)
    assert northing.mean() == pytest.approx(raft.northing_m + 1.0, abs=0.01)
