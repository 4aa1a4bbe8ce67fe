"""What a reader does with ``map.html``: another level, looking for rafts, measuring, printing."""

import csv
import re
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pyproj import Geod
from scipy import ndimage
from shapely.geometry import MultiPolygon, Point, box

from geoplan.crs import transformed_points
from geoplan.exports import launch_sheet, web_map
from geoplan.plan import Mooring, RecordReplay, StageCurve, SweptArea
from geoplan.site import Mark
from tests.browser.test_map_page import ARGUMENTS, CHROMIUM, Opened
from tests.unit.exports import small_plan as small

playwright = pytest.importorskip("playwright.sync_api")

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium"),
]

#: A bowl: the area by level of a plan whose bed was counted, and at its levels that of its edges.
EDGES = small.plan().waters[1].edges
STAGE = StageCurve(
    np.array([9.1, 10.0, 11.0, *(edge.level_m for edge in EDGES)]),
    np.array([0.0, 700.0, 2100.0, *(edge.area_m2 for edge in EDGES)]),
    np.array([0.0, 300.0, 1700.0, 3300.0, 4750.0, 6600.0]),
)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as started:
        opened = started.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def plan() -> Any:
    lower, upper = small.plan().waters
    return replace(small.plan(), waters=(lower, replace(upper, stage=STAGE)))


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory, plan: Any) -> Path:
    folder = tmp_path_factory.mktemp("plan")
    web_map.write(plan, small.site(), folder, small.audit())
    return folder / "map.html"


@pytest.fixture
def opened(browser: Any, file: Path) -> Iterator[Opened]:
    view = Opened(browser, file)
    yield view
    view.context.close()
    assert view.requests == [file.as_uri()]
    assert view.messages == []


def test_a_level_of_the_plan_gives_the_figures_of_the_plan(opened: Opened, plan: Any) -> None:
    page = opened.page
    upper = plan.waters[1]
    for cover, name in zip(upper.cover, ("low", "normal", "high"), strict=True):
        page.click(f"#level-{name}")
        said = page.inner_text("#level-says p >> nth=1")
        assert f"Upper pond: {name} level, {cover.level_m:.2f} m." in said
        assert f"Covered: {np.ceil(10 * cover.cover_pct) / 10:.1f} %" in said
        # 0.789 m at low level by the plan
        room = np.floor(100 * (0.789 + cover.level_m - 11.6) + 1e-9) / 100
        assert f"Least room below roots {room:.2f} m" in said
    assert page.get_attribute("#level", "aria-valuetext").startswith("high level")


def test_no_level_is_kinder_than_python(opened: Opened, plan: Any) -> None:
    """Room below roots, cover and depth at every fourth centimetre, against numpy."""
    page = opened.page
    upper = plan.waters[1]
    raft_area = max(part.raft_area_m2 for part in upper.cover)
    clearance = min(r.root_clearance_m for r in upper.rafts if r.status == "planned")
    rises = list(range(-100, 86, 4))
    found = page.evaluate(
        """rises => { const l = GEOPLAN.page.tools.levels;
             const w = l.waters.find(w => w.water_id === 'upper');
             return rises.map(cm => { l.set(null, cm);
               const room = Math.min(...w.rafts.map(r => l.clearance(w, r)));
               return [l.cover(w), room, l.depth(w, 1.83)]; }); }""",
        rises,
    )
    for cm, (cover, room, depth) in zip(rises, found, strict=True):
        area = np.interp(11.6 + cm / 100, STAGE.level_m, STAGE.area_m2)
        assert 100 * raft_area / area - 1e-6 <= cover
        assert cover <= 100 * raft_area / area * 1.001 + 0.11
        assert clearance + cm / 100 - 0.0101 <= room <= clearance + cm / 100 + 1e-9
        assert depth == pytest.approx(max(0.0, 1.83 + cm / 100), abs=1e-9)


def test_the_slider_shades_the_depth_anew(opened: Opened) -> None:
    """By keys: a lower level hatches more water, and water deeper than all classes stays shaded."""
    page = opened.page
    page.select_option("#go", "1")
    page.uncheck("#switches input[name=rafts]")

    def hatched() -> int:
        page.wait_for_timeout(150)
        return int(
            page.evaluate(
                """() => { const shown = document.querySelector('.leaflet-depth-pane canvas');
                     const c = document.createElement('canvas');
                     [c.width, c.height] = [shown.width, shown.height];
                     const pen = c.getContext('2d', { willReadFrequently: true });
                     pen.drawImage(shown, 0, 0);
                     const image = pen.getImageData(0, 0, c.width, c.height);
                     const d = new Uint32Array(image.data.buffer);
                     const h = GEOPLAN.HATCH.map(GEOPLAN.packed);
                     return d.filter(v => h.includes(v)).length; }"""
            )
        )

    at_low = hatched()
    page.focus("#level")
    page.keyboard.press("Home")
    lowest = hatched()
    page.keyboard.press("End")
    highest = hatched()
    assert highest < at_low < lowest
    assert "high" in page.inner_text("#depth-heading") or "above" in page.inner_text(
        "#depth-heading"
    )
    page.click("#level-low")
    assert hatched() == at_low
    # Which depth is too shallow for the level, by the grid itself.
    wrong = page.evaluate(
        """() => { const l = GEOPLAN.page.tools.levels, need = GEOPLAN.page.record.need_cm;
             l.set(null, -37); const p = GEOPLAN.palette(GEOPLAN.page.record, -37);
             const isHatched = cm => cm === 0 || cm - 37 < need;
             return [...p.keys()].filter(cm => (p[cm] === 0) !== isHatched(cm)).length; }"""
    )
    assert wrong == 0


def test_a_popup_tells_the_room_at_the_chosen_level(opened: Opened) -> None:
    page = opened.page
    page.click("#level-normal")
    page.locator("#rafts button", has_text="U1").click()
    assert "Room below roots at normal level, 12.00 m" in page.inner_text(".leaflet-popup-content")
    assert "1.18 m" in page.inner_text(".leaflet-popup-content")
    row = page.locator("#rafts tr", has_text="U1")
    assert "1.18 m" in row.inner_text()


def test_a_raft_is_found_by_its_name(opened: Opened) -> None:
    page = opened.page
    page.fill("#find", "u2")
    assert page.locator("#found button").all_inner_texts() == ["U2, Upper pond"]
    page.press("#find", "Enter")
    assert "Raft U2" in page.inner_text(".leaflet-popup-content")
    box = page.locator("path[aria-label='Raft U2']").bounding_box()
    frame = page.locator("#map_geoplan").bounding_box()
    assert frame["x"] < box["x"] < frame["x"] + frame["width"]
    page.fill("#find", "script")
    page.click("#found button")
    assert small.HOSTILE[2] in page.inner_text(".leaflet-popup-content")
    page.fill("#find", "nowhere")
    assert page.locator("#found button").count() == 0
    assert "No raft" in page.inner_text("#found-says")
    assert page.evaluate("window.ran") is None


def test_distances_are_those_on_the_ellipsoid(opened: Opened) -> None:
    """Random pairs up to 3 km, from the equator to 70 degrees, against another library."""
    random = np.random.default_rng(8)
    geod = Geod(ellps="WGS84")
    for latitude in (0.0, 35.0, 56.1, -70.0):
        one = np.column_stack(
            [11.8 + random.uniform(0, 0.02, 20), latitude + random.uniform(0, 0.02, 20)]
        )
        other = one + random.uniform(-0.01, 0.01, one.shape)
        found = opened.page.evaluate(
            """p => p.map(pair => pair.map(a => L.latLng(a[1], a[0])))
                 .map(([a, b]) => GEOPLAN.metresBetween(a, b))""",
            np.stack([one, other], axis=1).tolist(),
        )
        truth = geod.inv(one[:, 0], one[:, 1], other[:, 0], other[:, 1])[2]
        assert found == pytest.approx(truth, rel=1e-5, abs=1e-3)


def at_pixel(page: Any, across: float, down: float) -> tuple[float, float]:
    return tuple(
        page.evaluate(
            "p => { const q = GEOPLAN.page.map.containerPointToLatLng(p); return [q.lng, q.lat]; }",
            [across, down],
        )
    )


def test_tapped_points_are_measured_even_on_a_raft(opened: Opened) -> None:
    page = opened.page
    page.select_option("#go", "1")
    page.click("#measure")
    assert "Tap points" in page.inner_text("#measure-says")
    frame = page.locator("#map_geoplan").bounding_box()
    raft = page.locator("path[aria-label='Raft U1']").bounding_box()
    points = [
        (raft["x"] + raft["width"] / 2 - frame["x"], raft["y"] + raft["height"] / 2 - frame["y"]),
        (300, 200),
        (420, 260),
    ]
    places = [at_pixel(page, round(x), round(y)) for x, y in points]
    for x, y in points:
        page.mouse.click(frame["x"] + round(x), frame["y"] + round(y))
    truth = sum(Geod(ellps="WGS84").inv(*one, *other)[2] for one, other in pairwise(places))
    assert f"{truth:.1f} m along 3 points" in page.inner_text("#measure-says")
    assert page.locator(".leaflet-popup").count() == 0
    assert page.locator(".map-text.length").inner_text() == f"{truth:.1f} m"
    page.click("#measure-back")
    assert "along 2 points" in page.inner_text("#measure-says")
    page.click("#measure-clear")
    assert page.inner_text("#measure-says") == ""
    page.mouse.click(frame["x"] + round(points[0][0]), frame["y"] + round(points[0][1]))
    assert "Raft U1" in page.inner_text(".leaflet-popup-content")


def test_keys_alone_measure(opened: Opened) -> None:
    page = opened.page
    page.focus("#measure")
    page.keyboard.press("Enter")
    page.focus("#map_geoplan")
    size = page.evaluate(
        "() => { const s = GEOPLAN.page.map.getSize(); return [s.x / 2, s.y / 2]; }"
    )
    first = at_pixel(page, *size)
    page.keyboard.press("Enter")
    page.keyboard.press("ArrowRight")
    page.wait_for_timeout(500)
    second = at_pixel(page, *size)
    page.keyboard.press("Enter")
    truth = Geod(ellps="WGS84").inv(*first, *second)[2]
    pixel = truth / 80  # a key of the map library moves it by 80 pixels
    said = page.inner_text("#measure-says")
    assert float(said.split(" m")[0]) == pytest.approx(truth, abs=pixel)
    page.keyboard.press("Escape")
    assert page.get_attribute("#measure", "aria-pressed") == "false"


def test_where_one_stands(browser: Any, file: Path) -> None:
    """A place 9 m north of the centre of a raft that lies 4 m by 2.4 m at 30 degrees."""
    owner = small.RAFTS[0]
    longitude, latitude = transformed_points(
        np.array([owner.easting_m]),
        np.array([owner.northing_m + 9.0]),
        small.UPPER_CRS,
        "EPSG:4326",
    )
    view = Opened(browser, file)
    page = view.page
    view.context.grant_permissions(["geolocation"])
    view.context.set_geolocation(
        {"longitude": float(longitude[0]), "latitude": float(latitude[0]), "accuracy": 4.2}
    )
    page.select_option("#go", "1")
    page.click("#here")
    page.locator("path.accuracy").wait_for()
    said = page.inner_text("#here-says")
    # Corner ahead to port of a heading of 30 degrees; nearer than any post.
    ahead, aside = 2.0, -1.2
    corner = np.array([ahead * 0.5 + aside * 3**0.5 / 2, ahead * 3**0.5 / 2 - aside * 0.5])
    far = float(np.hypot(corner[0], corner[1] - 9.0))
    assert "within about 5 m" in said
    assert f"Nearest: corner of raft U1, {far:.2f} m to the south, give or take 5 m" in said
    assert "coarser than the gaps between rafts" in said
    # The circle is as wide as it says: 4.2 m each way.
    width = page.locator("path.accuracy").bounding_box()["width"]
    metres = page.evaluate("GEOPLAN.metresPerPixel(GEOPLAN.page.map, GEOPLAN.page.record.waters)")
    assert width * metres == pytest.approx(8.4 + 2 * metres, abs=2 * metres)  # with its line
    assert metres < 0.2
    page.click("#here")
    assert page.locator("path.accuracy").count() == 0
    view.context.close()
    assert view.requests == [file.as_uri()]
    assert view.messages == []


def test_a_refused_place_is_told(browser: Any, file: Path) -> None:
    view = Opened(browser, file)
    view.page.click("#here")
    view.page.locator("#here-says", has_text="not allowed").wait_for()
    assert view.page.get_attribute("#here", "aria-pressed") == "false"
    view.context.close()


@pytest.fixture(scope="module")
def launched(tmp_path_factory: pytest.TempPathFactory, plan: Any) -> Path:
    """Both rafts have a way: U2 first."""
    lower, upper = plan.waters
    (way,) = upper.routes
    ways = (replace(way, raft_id="U2"), replace(way, sequence=2))
    folder = tmp_path_factory.mktemp("launched")
    changed = replace(plan, waters=(lower, replace(upper, routes=ways)))
    web_map.write(changed, small.site(), folder, small.audit())
    launch_sheet.write(changed, small.site(), folder, small.audit())
    return folder


def test_rafts_come_in_the_order_of_launching(browser: Any, launched: Path) -> None:
    view = Opened(browser, launched / "map.html")
    page = view.page

    def rafts() -> list[str]:
        paths = page.locator("path[aria-label^='Raft U']")
        return sorted(path.get_attribute("aria-label") for path in paths.all())

    with (launched / "launch.csv").open(encoding="utf-8-sig", newline="") as lines:
        rows = list(csv.DictReader(lines))
    assert rafts() == ["Raft U1", "Raft U2"]
    page.focus("#play-at")
    page.keyboard.press("Home")
    assert rafts() == []
    assert page.locator("path[aria-label='Raft old']").count() == 1
    assert page.locator("#map_geoplan path[tabindex='0']").count() == 1
    for row in rows:
        page.click("#play-next")
        said = page.inner_text("#play-says")
        assert f"day {row['day']}, {row['start']} to {row['end']}" in said
        assert f"raft {row['raft_id']} from {row['launch_id']}" in said
        assert f"{row['people']} people" in said or "1 person" in said
        assert f"pull {float(row['haul_n']):.0f} N" in said
        assert page.locator("path.play-way").count() == 1
        assert f"Raft {row['raft_id']}" in rafts()
    assert [row["raft_id"] for row in rows] == ["U2", "U1"]
    page.click("#play-back")
    assert rafts() == ["Raft U2"]
    page.click("#play-all")
    assert rafts() == ["Raft U1", "Raft U2"]
    assert page.locator("path.play-way").count() == 0
    page.click("#play")
    page.locator("path[aria-label='Raft U1']").wait_for(timeout=8_000)
    page.locator("#play", has_text="Play").wait_for()
    view.context.close()
    assert view.messages == []


@pytest.fixture(scope="module")
def apart(tmp_path_factory: pytest.TempPathFactory, plan: Any) -> Path:
    """Two rafts heading north, 30 m apart, and no post or way over them."""
    lower, upper = plan.waters
    rafts = (
        small.raft("one", "upper", -20.0, -6.0, 0.0),
        small.raft("two", "upper", 10.0, -6.0, 0.0),
        small.raft("three", "upper", 10.0, 12.0, 0.0),
    )
    folder = tmp_path_factory.mktemp("apart")
    changed = replace(upper, rafts=rafts, moorings=(), routes=())
    web_map.write(replace(plan, waters=(lower, changed)), small.site(), folder, None)
    return folder / "map.html"


def patches_mm(pdf: Path, page: int, colour: tuple[int, int, int]) -> list[tuple[float, ...]]:
    """Left, top, right and bottom of each patch of a colour on a page of a PDF [mm]."""
    dots = 300
    name = pdf.with_suffix(f".{page}")
    subprocess.run(
        ["pdftoppm", "-r", str(dots), "-f", str(page), "-l", str(page), "-singlefile", pdf, name],
        check=True,
    )
    data = Path(f"{name}.ppm").read_bytes()
    _, size, _, samples = data.split(b"\n", 3)  # P6, width and height, 255
    wide, high = map(int, size.split())
    pixels = np.frombuffer(samples, np.uint8).reshape(high, wide, 3).astype(int)
    near = np.abs(pixels - colour).max(axis=2) < 24
    found = ndimage.find_objects(ndimage.label(ndimage.binary_opening(near, np.ones((5, 5))))[0])
    boxes = [(x.start, y.start, x.stop, y.stop) for y, x in found]
    return [tuple(25.4 * v / dots for v in b) for b in boxes if (b[2] - b[0]) * (b[3] - b[1]) > 200]


@pytest.mark.parametrize(("paper", "scale"), [("A4", 500), ("A4", 1000), ("A3", 250)])
def test_a_print_is_to_scale(
    browser: Any, apart: Path, tmp_path: Path, paper: str, scale: int
) -> None:
    """Distances between rafts, and the bar, measured on the PDF with a renderer of its own."""
    view = Opened(browser, apart)
    page = view.page
    page.select_option("#go", "1")
    page.select_option("#paper", paper)
    page.select_option("#print-scale", str(scale))
    before = page.evaluate("[GEOPLAN.page.map.getZoom(), GEOPLAN.page.map.getSize().x]")
    pdf = tmp_path / "sheet.pdf"
    page.pdf(path=pdf, prefer_css_page_size=True, print_background=True)
    assert page.evaluate("[GEOPLAN.page.map.getZoom(), GEOPLAN.page.map.getSize().x]") == before
    view.context.close()
    assert view.messages == []
    patches = patches_mm(pdf, 1, (0x33, 0x9C, 0x60))
    # Lower left corners: a number may lie on the other end.
    corners = sorted((left, bottom) for left, _, _, bottom in patches)
    assert len(corners) == 4  # the last is in the legend
    (one_x, one_y), *others, _ = corners
    three, two = sorted(others, key=lambda corner: corner[1])
    for metres, millimetres in (
        (30.0, np.hypot(two[0] - one_x, two[1] - one_y)),
        (18.0, np.hypot(two[0] - three[0], two[1] - three[1])),
    ):
        assert millimetres * scale / 1000 == pytest.approx(metres, rel=5e-3)
    bar = max(patches_mm(pdf, 1, (0x17, 0x46, 0x3F)), key=lambda box: box[2] - box[0])
    text = subprocess.run(["pdftotext", "-layout", pdf, "-"], check=True, capture_output=True)
    words = text.stdout.decode()
    stated = re.search(r"(\d+) m, ([\d.]+) mm on paper", words)
    assert (bar[2] - bar[0]) * scale / 1000 == pytest.approx(float(stated[1]), rel=5e-3)
    assert float(stated[2]) == pytest.approx(bar[2] - bar[0], rel=5e-3)
    for part in (f"1:{scale} on {paper}", "Water kills", "Towing routes", "Easting [m]", "three"):
        assert (part in words) == (part != "Towing routes")
    size = subprocess.run(["pdfinfo", pdf], check=True, capture_output=True).stdout.decode()
    assert f"({paper})" in size
    assert re.search(r"Pages:\s+2", size)


def test_only_scales_that_fit_are_offered_without_a_warning(browser: Any, apart: Path) -> None:
    view = Opened(browser, apart)
    page = view.page
    page.select_option("#go", "1")
    west, south, east, north = small.UPPER_SHORE.buffer(1.2).bounds
    for paper, wide, high in (("A4", 205, 172), ("A3", 328, 258)):
        page.select_option("#paper", paper)
        for option in page.locator("#print-scale option").all():
            scale = int(option.get_attribute("value"))
            fits = (east - west) <= wide * scale / 1000 and (north - south) <= high * scale / 1000
            assert ("cuts off" in option.inner_text()) is not fits
        assert "cut off" not in page.inner_text("#print-says")
    page.select_option("#print-scale", "100")
    assert "edges are cut off" in page.inner_text("#print-says")
    view.context.close()


@pytest.fixture(scope="module")
def on_lines(tmp_path_factory: pytest.TempPathFactory, plan: Any) -> Path:
    """U1 on one line, which sweeps a box; a proposed mark; a record of three years."""
    lower, upper = plan.waters
    anchor = Mooring(
        "U1 a1", "U1", "anchor", 0.0, -4.0, 2.71, 6.5, 0.0,
        fairlead_easting_m=3.0, fairlead_northing_m=-4.0, watch_radius_low_m=5.251,
    )  # fmt: skip
    days = np.arange(1096.0)
    level = 11.9 + 0.45 * np.sin(2 * np.pi * days / 365.0)
    record = RecordReplay(
        1672531200.0 + 86400.0 * days, level, np.full(1096, 3300.0), np.full(1096, 0.9),
        1096.0, 14.32, 0.0, (),
    )  # fmt: skip
    changed = replace(
        upper,
        moorings=(anchor,),
        swept=(SweptArea("U1", "low", 11.6, MultiPolygon([box(0.0, -8.0, 10.0, 0.0)])),),
        suggested_marks=(Mark("S1", Point(-20.0, -33.0)),),
        record=record,
    )
    folder = tmp_path_factory.mktemp("lines")
    web_map.write(replace(plan, waters=(lower, changed)), small.site(), folder, None)
    return folder / "map.html"


def test_lines_swept_water_and_proposed_marks_are_shown(browser: Any, on_lines: Path) -> None:
    view = Opened(browser, on_lines)
    page = view.page
    page.select_option("#go", "1")
    swept = page.locator("path[aria-label='Water swept by raft U1']")
    metres = page.evaluate("GEOPLAN.metresPerPixel(GEOPLAN.page.map, GEOPLAN.page.record.waters)")
    # 10 m wide, drawn a tenth wider on each side: never less than it is.
    assert swept.bounding_box()["width"] * metres == pytest.approx(10.2, abs=4 * metres)
    assert page.evaluate("GEOPLAN.page.things.groups.lines.getLayers().length") == 1
    page.locator("path[aria-label='Anchor U1 a1']").focus()
    page.keyboard.press("Enter")
    assert "5.26 m at low level" in page.inner_text(".leaflet-popup-content")
    page.locator("path[aria-label='Proposed mark S1']").focus()
    page.keyboard.press("Enter")
    assert "drive and survey it" in page.inner_text(".leaflet-popup-content")
    switches = page.inner_text("#switches")
    for words in ("Mooring lines", "Water that rafts on lines may sweep", "Proposed bank marks"):
        assert words in switches
    page.uncheck("#switches input[name=swept]")
    assert swept.count() == 0
    view.context.close()
    assert view.messages == []


def test_plots_say_what_they_show(browser: Any, on_lines: Path) -> None:
    """Figures in the words and places in the drawing, counted here from the plan."""
    view = Opened(browser, on_lines)
    page = view.page
    areas, levels = page.locator("#plots svg").all()
    area_words, level_words = areas.get_attribute("aria-label"), levels.get_attribute("aria-label")
    assert f"grows to {int(EDGES[2].area_m2)} m² between 9.10 and 12.45 m" in area_words
    # 11.6 less 1.83 m, the depth rounded down, for both planned rafts
    assert "Beds under 2 rafts, as relied on, lie between 9.77 and 9.77 m" in area_words
    assert "Levels from 2023-01-01 to 2025-12-31: 11.45 to 12.35 m" in level_words
    assert "below the low level for 14.4 % of the time" in level_words
    # lowest reading 11.45, roots touch at 11.6 - 0.78 = 10.82
    assert re.search(r"room below the roots of raft U\d is 0\.6[23] m", level_words)
    circles = areas.locator("circle").all()
    assert len(circles) == 2
    up = np.interp(9.77, [9.1, 12.45], [190.0, 12.0])
    along = np.interp(9.77, STAGE.level_m, STAGE.area_m2) / STAGE.area_m2[-1]
    for circle in circles:
        assert float(circle.get_attribute("cy")) == pytest.approx(up, abs=0.2)
        assert float(circle.get_attribute("cx")) == pytest.approx(56 + along * 252, abs=0.3)
    texts = page.locator("#plots p").all_inner_texts()
    assert texts == [area_words, level_words]
    view.context.close()
    assert view.messages == []
