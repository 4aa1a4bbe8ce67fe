"""Rafts tried elsewhere on the map: figures never kinder than Python, and a file to read back."""

import json
from collections.abc import Callable, Iterator
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
    page.select_option("#go", "1")
    page.locator("#rafts button", has_text="U1").click()


def centre(page: Any) -> Any:
    """Centre of the raft that is being tried, local metres."""
    return page.evaluate("() => GEOPLAN.middle(GEOPLAN.ringOf(GEOPLAN.page.whatIf.raft))")


def pixel(page: Any, east_m: float = 0.0, north_m: float = 0.0) -> tuple[float, float]:
    """Where the tried raft's centre is on the screen, or a place so far from it."""
    x, y = page.evaluate(
        """([e, n]) => { const w = GEOPLAN.page.whatIf;
             const c = GEOPLAN.middle(GEOPLAN.ringOf(w.raft));
             const m = GEOPLAN.page.map;
             const p = m.latLngToContainerPoint(
               GEOPLAN.toLatLng(w.waterOf(w.raft).fit, c[0] + e, c[1] + n));
             const box = m.getContainer().getBoundingClientRect();
             return [p.x + box.left, p.y + box.top]; }""",
        [east_m, north_m],
    )
    return float(x), float(y)


def view(page: Any) -> Any:
    return page.evaluate("() => { const c = GEOPLAN.page.map.getCenter(); return [c.lat, c.lng]; }")


def figure(page: Any, name: str) -> str:
    """What stands beside a name among the live figures."""
    found = page.evaluate(
        """name => [...document.querySelectorAll('#try-figures dt')]
             .find(t => t.textContent.startsWith(name)).nextElementSibling.textContent""",
        name,
    )
    return str(found)


def test_a_raft_is_dragged_by_mouse_and_the_map_stays(opened: Opened) -> None:
    page = opened.page
    page.click("#try-on")
    chosen(page)
    before, there = centre(page), view(page)
    page.mouse.move(*pixel(page))
    page.mouse.down()
    page.mouse.move(*pixel(page, 3.0, 2.0), steps=8)
    held = figure(page, "Next raft")
    page.mouse.up()
    after = centre(page)
    assert after[0] - before[0] == pytest.approx(3.0, abs=0.15)  # a pixel is about 0.1 m
    assert after[1] - before[1] == pytest.approx(2.0, abs=0.15)
    assert view(page) == there
    assert held == figure(page, "Next raft")  # it followed while the button was down
    assert "U1, moved" in page.inner_text("#try-says")
    page.click("#try-undo")  # one step for the whole drag
    assert centre(page) == pytest.approx(before)
    assert page.locator("#try-list button").count() == 0


def test_a_handle_turns_it_about_its_middle(opened: Opened) -> None:
    page = opened.page
    page.click("#try-on")
    chosen(page)
    before = centre(page)
    ring = page.evaluate("() => GEOPLAN.ringOf(GEOPLAN.page.whatIf.raft)")
    box = page.locator(".try-handle").bounding_box()
    assert min(box["width"], box["height"]) >= 44
    middle = np.array(pixel(page))
    hand = np.array([box["x"] + box["width"] / 2, box["y"] + box["height"] / 2])
    arm = hand - middle
    quarter = middle + np.array([-arm[1], arm[0]])  # a quarter right, y down
    page.mouse.move(*hand)
    page.mouse.down()
    page.mouse.move(*quarter, steps=6)
    page.mouse.up()
    turned = page.evaluate("() => GEOPLAN.ringOf(GEOPLAN.page.whatIf.raft)")
    assert centre(page) == pytest.approx(before)
    sides = [np.subtract(r[1], r[0]) for r in (ring, turned)]
    angle = np.degrees([np.arctan2(*side) for side in sides])
    assert (angle[1] - angle[0]) % 360 == pytest.approx(90.0, abs=1.5)


@pytest.fixture
def touched(browser: Any, tmp_path: Path) -> Iterator[tuple[Any, Callable[..., None]]]:
    """A phone with a raft chosen to be tried, and its screen touched as by fingers."""
    web_map.write(small.plan(), small.site(), tmp_path, small.audit())
    context = browser.new_context(viewport={"width": 360, "height": 740}, has_touch=True)
    page = context.new_page()
    page.goto((tmp_path / "map.html").as_uri())
    page.wait_for_selector("html[data-ready]")
    page.locator("#try-on").tap()
    page.select_option("#go", "1")
    page.locator("#rafts button", has_text="U1").tap()
    session = context.new_cdp_session(page)

    def touch(kind: str, *places: tuple[float, float]) -> None:
        points = [{"x": x, "y": y} for x, y in places]
        session.send("Input.dispatchTouchEvent", {"type": f"touch{kind}", "touchPoints": points})

    yield page, touch
    context.close()


def test_a_raft_is_dragged_by_touch(touched: Any) -> None:
    page, touch = touched
    before, there = centre(page), view(page)
    touch("Start", pixel(page))
    start, goal = np.array(pixel(page)), np.array(pixel(page, -2.0, 1.0))
    for share in (0.3, 0.6, 1.0):
        touch("Move", tuple(start + share * (goal - start)))
    touch("End")
    after = centre(page)
    assert after[0] - before[0] == pytest.approx(-2.0, abs=0.15)
    assert after[1] - before[1] == pytest.approx(1.0, abs=0.15)
    assert view(page) == there


def handle_turned(page: Any, touch: Any, end: str) -> tuple[Any, Any]:
    """Put a finger on the handle, take it a quarter round, and end so; rings before and after."""
    box = page.locator(".try-handle").bounding_box()
    assert min(box["width"], box["height"]) >= 44
    middle = np.array(pixel(page))
    hand = np.array([box["x"] + box["width"] / 2, box["y"] + box["height"] / 2])
    arm = hand - middle
    before = page.evaluate("() => GEOPLAN.ringOf(GEOPLAN.page.whatIf.raft)")
    touch("Start", tuple(hand))
    for angle in np.radians([30.0, 60.0, 90.0]):
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        touch("Move", tuple(middle + turn @ arm))
    touch(end)
    return before, page.evaluate("() => GEOPLAN.ringOf(GEOPLAN.page.whatIf.raft)")


def test_a_finger_on_the_handle_turns_the_raft_and_nothing_else(touched: Any) -> None:
    page, touch = touched
    before, there = centre(page), view(page)
    ring, turned = handle_turned(page, touch, "End")
    angle = np.degrees([np.arctan2(*np.subtract(r[1], r[0])) for r in (ring, turned)])
    assert (angle[1] - angle[0]) % 360 == pytest.approx(90.0, abs=1.5)
    assert centre(page) == pytest.approx(before)
    assert view(page) == there
    page.click("#try-undo")  # one step for the whole turn
    page.wait_for_function("() => !GEOPLAN.page.whatIf.raft.trial", timeout=5000)
    assert page.evaluate("() => GEOPLAN.ringOf(GEOPLAN.page.whatIf.raft)") == ring


def test_a_touch_that_the_phone_takes_away_changes_nothing(touched: Any) -> None:
    page, touch = touched
    ring, left = handle_turned(page, touch, "Cancel")
    assert left == ring
    assert page.locator("#try-list button").count() == 0


def test_rafts_are_added_and_taken_out_and_each_is_undone(opened: Opened) -> None:
    page = opened.page
    chosen(page)
    full = figure(page, "Cover")
    page.focus("#try-remove")
    page.keyboard.press("Delete")
    assert "taken out" in page.inner_text("#try-says")
    names = page.evaluate(
        "() => GEOPLAN.page.whatIf.features().features.map(f => f.properties.raft_id)"
    )
    assert "U1" not in names
    page.click("#try-right")
    assert "undo brings it back" in page.inner_text("#try-says")
    page.click("#try-undo")
    assert figure(page, "Cover") == full
    page.select_option("#try-kind", "four by two")
    page.click("#try-add")
    assert "new-1, added" in page.inner_text("#try-says")
    # 9.6 m² more of the pool, and percents are rounded up.
    pool = small.plan().waters[1].edges[1].area_m2
    more = float(figure(page, "Cover").split(" %")[0]) - float(full.split(" %")[0])
    assert more == pytest.approx(960.0 / pool, abs=0.011)
    assert page.inner_text("#try-list") == "new-1: added"
    page.click("#try-undo")
    assert page.locator("#try-list button").count() == 0
    page.click("#try-redo")
    rows = page.evaluate("() => GEOPLAN.page.whatIf.features().features.map(f => f.properties)")
    assert [row["raft_id"] for row in rows if row["status"] == "added"] == ["new-1"]
    assert {row["status"] for row in rows} == {"planned", "kept", "added"}


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
    low = water.edges[0].outline
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
        bank = outline.distance(low.boundary) if low.covers(outline) else 0.0
        assert found["bank_m"] == pytest.approx(bank, abs=2e-3)


def test_buttons_keys_undo_and_redo_move_the_raft(opened: Opened) -> None:
    page = opened.page
    chosen(page)
    page.click("#try-right")
    first = centre(page)
    page.focus("#try-right")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Shift+ArrowUp")
    page.keyboard.press("]")
    moved = centre(page)
    assert moved[1] - first[1] == pytest.approx(0.6)
    assert "room below roots" in page.inner_text("#try-says")
    page.click("#try-undo")
    page.focus("#try-redo")
    page.keyboard.press("Control+z")
    page.keyboard.press("Control+z")
    assert centre(page) == pytest.approx(first)
    page.click("#try-redo")
    assert centre(page)[1] - first[1] == pytest.approx(0.5)


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
    assert rows["U1"]["properties"]["status"] == "moved"
    ring = np.array(rows["U1"]["geometry"]["coordinates"][0])
    water = next(one for one in small.plan().waters if one.water_id == "upper")
    raft = next(one for one in water.rafts if one.raft_id == "U1")
    easting, northing = transformed_points(ring[:4, 0], ring[:4, 1], "EPSG:4326", water.crs)
    assert easting.mean() == pytest.approx(raft.easting_m, abs=0.01)
    assert northing.mean() == pytest.approx(raft.northing_m + 1.0, abs=0.01)
