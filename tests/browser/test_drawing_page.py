"""``draw.html`` in a real browser: drawn, typed, saved, and planned from what it saved."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from pyproj import Geod

from geoplan.exports import drawing_page
from geoplan.readers import read_site
from tests.browser.test_map_page import ARGUMENTS, CHROMIUM

playwright = pytest.importorskip("playwright.sync_api")

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium"),
]

HOSTILE = '</script><img src=x onerror="window.ran=1">{{ 7*7 }}'
PLACE = (9.53, 55.70)

NUMBERS = {
    "levels.low_m": "9.8",
    "levels.normal_m": "10",
    "levels.high_m": "10.3",
    "raft.name": "small",
    "raft.length_m": "3",
    "raft.width_m": "2",
    "raft.draft_m": "0.2",
    "raft.root_depth_m": "0.4",
}


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as started:
        opened = started.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture
def page(browser: Any, tmp_path: Path) -> Iterator[Any]:
    file = drawing_page.write_page(tmp_path, drawing_page.drawing_page(HOSTILE, PLACE, None))
    context = browser.new_context(viewport={"width": 1280, "height": 900}, accept_downloads=True)
    opened = context.new_page()
    seen: list[str] = []
    said: list[str] = []
    opened.on("request", lambda request: seen.append(request.url))
    opened.on("console", lambda message: said.append(message.text))
    opened.on("pageerror", lambda error: said.append(str(error)))
    opened.goto(file.as_uri())
    opened.wait_for_selector("html[data-ready]", timeout=10_000)
    yield opened
    assert [url for url in seen if not url.startswith("blob:")] == [file.as_uri()]
    assert said == []
    context.close()


def drawn(page: Any, kind: str, *steps: tuple[float, float]) -> None:
    """Draw by pointer, in pixels from the middle of the map."""
    box = page.locator(".folium-map").bounding_box()
    page.click(f"#tools button[data-kind={kind}]")
    for across, down in steps:
        page.mouse.click(box["x"] + box["width"] / 2 + across, box["y"] + box["height"] / 2 + down)


def pond(page: Any) -> None:
    drawn(page, "water", (-120, -80), (110, -90), (140, 60), (-90, 100))
    page.click("#finish")


def saved(page: Any, tmp_path: Path) -> dict[str, Any]:
    with page.expect_download() as got:
        page.click("#save")
    path = tmp_path / "site.geojson"
    got.value.save_as(path)
    return dict(json.loads(path.read_text(encoding="utf-8")))


def typed(page: Any, numbers: dict[str, str]) -> None:
    for name, value in numbers.items():
        page.fill(f"#settings input[name='{name}']", value)
        page.press(f"#settings input[name='{name}']", "Tab")


def test_a_drawn_site_is_read_back_where_it_was_drawn(page: Any, tmp_path: Path) -> None:
    pond(page)
    drawn(page, "island", (0, 0), (14, 0), (7, 12))
    page.click("#finish")
    drawn(page, "inflow", (-118, -76))
    drawn(page, "outlet", (139, 40))
    for number, across in enumerate((-60, -30, 40, 70)):
        drawn(page, "depth", (across, -20))
        page.fill("#fields input[name=depth_m]", str(1.5 + 0.1 * number))
    page.press("#fields input[name=depth_m]", "Tab")
    typed(page, NUMBERS)
    document = saved(page, tmp_path)
    site = read_site(tmp_path / "site.geojson")
    (body,) = site.water_bodies
    assert len(body.outline.interiors) == 1
    assert len(body.soundings.bed_m) == 4
    assert sorted(body.soundings.bed_m) == pytest.approx([8.2, 8.3, 8.4, 8.5])
    assert site.settings.name == HOSTILE
    assert body.levels.high_m == 10.3
    # What was drawn is 40,000-odd pixels; its size on the ground by another library.
    ring = document["features"][0]["geometry"]["coordinates"][0]
    area, _ = Geod(ellps="WGS84").polygon_area_perimeter(*np.array(ring).T)
    metres_per_pixel = page.evaluate(
        """() => { const m = DRAWING.page.map; const s = m.getSize();
             return m.distance(m.containerPointToLatLng([0, s.y / 2]),
               m.containerPointToLatLng([s.x, s.y / 2])) / s.x; }"""
    )
    pixels = (
        39_300  # shoelace of the four corners above: (−120,−80), (110,−90), (140,60), (−90,100)
    )
    assert abs(area) / metres_per_pixel**2 == pytest.approx(pixels, rel=0.02)
    assert page.evaluate("window.ran") is None
    assert page.title().startswith(HOSTILE)


def test_faults_are_said_while_one_draws(page: Any) -> None:
    assert "Nothing is drawn yet" in page.inner_text("#faults")
    drawn(page, "water", (-120, -80), (140, 60), (110, -90), (-90, 100))
    page.click("#finish")
    assert "crosses itself" in page.inner_text("#faults")
    assert "No outlet" in page.inner_text("#faults")
    page.click("#undo")
    pond(page)
    assert "crosses itself" not in page.inner_text("#faults")
    drawn(page, "depth", (300, 0))
    page.fill("#fields input[name=depth_m]", "1,5")
    page.press("#fields input[name=depth_m]", "Tab")
    said = page.inner_text("#faults")
    assert "A depth on land" in said
    assert "not a number" in said
    typed(page, NUMBERS | {"levels.low_m": "11"})
    assert "Levels must rise" in page.inner_text("#faults")


def test_it_works_by_keyboard_alone(page: Any, tmp_path: Path) -> None:
    page.focus("#tools button[data-kind=water]")
    page.keyboard.press("Enter")
    for place in ("55.7000, 9.5300", "55.7000, 9.5310", "55.7006, 9.5310", "55.7006, 9.5300"):
        page.fill("#typed", place)
        page.focus("#put")
        page.keyboard.press("Enter")
    page.focus("#finish")
    page.keyboard.press("Enter")
    typed(page, NUMBERS)
    document = saved(page, tmp_path)
    (feature,) = document["features"]
    assert feature["properties"] == {"layer": "water", "water_id": "pond1", "level_m": 10}
    assert sorted(feature["geometry"]["coordinates"][0][:4]) == [
        [9.53, 55.7], [9.53, 55.7006], [9.531, 55.7], [9.531, 55.7006],
    ]  # fmt: skip
    page.focus("#things button")
    page.keyboard.press("Enter")
    page.focus("#remove")
    page.keyboard.press("Enter")
    assert page.locator("#things button").count() == 0


def test_what_was_saved_opens_again(page: Any, tmp_path: Path) -> None:
    pond(page)
    drawn(page, "mark", (-130, 0))
    typed(page, NUMBERS)
    first = saved(page, tmp_path)
    page.click("#things button >> nth=0")
    page.click("#remove")
    page.set_input_files("#open", tmp_path / "site.geojson")
    page.locator("#things button").nth(1).wait_for()
    assert saved(page, tmp_path) == first


def test_a_corner_is_dragged_and_a_new_one_made(page: Any) -> None:
    pond(page)
    page.click("#stop")
    box = page.locator(".folium-map").bounding_box()
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.click(*middle)
    places = "JSON.stringify(DRAWING.page.sheet.things[0].places.length)"
    for start, end, corners in (
        ((-120, -80), (-160, -120), "4"),
        ((125, -15), (190, -15), "5"),
    ):
        page.mouse.move(middle[0] + start[0], middle[1] + start[1])
        page.mouse.down()
        page.mouse.move(middle[0] + end[0], middle[1] + end[1], steps=4)
        page.mouse.up()
        assert page.evaluate(places) == corners
    page.click("#undo")
    assert page.evaluate(places) == "4"


@pytest.mark.parametrize("width", [360, 1280])
def test_it_fits_and_targets_are_large(browser: Any, tmp_path: Path, width: int) -> None:
    file = drawing_page.write_page(tmp_path, drawing_page.drawing_page("x", PLACE, None))
    context = browser.new_context(viewport={"width": width, "height": 800})
    page = context.new_page()
    page.goto(file.as_uri())
    page.wait_for_selector("html[data-ready]")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    small = page.evaluate(
        """() => [...document.querySelectorAll('button, select, input:not([type=checkbox])')]
             .filter(e => e.offsetParent && e.offsetHeight < 44).map(e => e.id || e.name)"""
    )
    assert small == []
    context.close()


def test_a_photo_lies_where_it_was_taken(browser: Any, tmp_path: Path) -> None:
    """A white square of known place on a dark photo in a UTM zone."""
    pixels = np.full((3, 200, 300), 40, np.uint8)
    pixels[:, 50:60, 100:110] = 255
    place = rasterio.Affine(0.5, 0, 533000, 0, -0.5, 6173000)
    with rasterio.open(
        tmp_path / "photo.tif", "w", driver="GTiff", width=300, height=200, count=3,
        dtype="uint8", crs="EPSG:25832", transform=place,
    ) as out:  # fmt: skip
        out.write(pixels)
    file = drawing_page.write_page(
        tmp_path, drawing_page.drawing_page("x", None, tmp_path / "photo.tif")
    )
    from pyproj import Transformer

    to_degrees = Transformer.from_crs("EPSG:25832", "EPSG:4326", always_xy=True)
    west, north = to_degrees.transform(533000 + 50, 6173000 - 25)
    east, south = to_degrees.transform(533000 + 55, 6173000 - 30)
    context = browser.new_context(viewport={"width": 1200, "height": 900})
    page = context.new_page()
    page.goto(file.as_uri())
    page.wait_for_selector("html[data-ready]")
    page.locator(".leaflet-image-layer").wait_for()
    page.evaluate("document.querySelector('.leaflet-image-layer').decode()")
    shade = page.evaluate(
        """([west, south, east, north]) => {
          const image = document.querySelector('.leaflet-image-layer');
          const canvas = document.createElement('canvas');
          canvas.width = image.naturalWidth; canvas.height = image.naturalHeight;
          const pen = canvas.getContext('2d'); pen.drawImage(image, 0, 0);
          const box = image.getBoundingClientRect();
          const frame = DRAWING.page.map.getContainer().getBoundingClientRect();
          const at = (lng, lat) => { const p = DRAWING.page.map.latLngToContainerPoint([lat, lng]);
            const x = (p.x + frame.left - box.left) / box.width * canvas.width;
            const y = (p.y + frame.top - box.top) / box.height * canvas.height;
            return pen.getImageData(Math.round(x), Math.round(y), 1, 1).data[0]; };
          const lng = (west + east) / 2, lat = (south + north) / 2;
          return [at(lng, lat), at(west - (east - west), lat), at(lng, north + (north - south))];
        }""",
        [west, south, east, north],
    )
    context.close()
    assert shade[0] > 200
    assert max(shade[1:]) < 100


def test_a_place_or_photo_that_is_none_is_refused(tmp_path: Path) -> None:
    from geoplan.errors import ExportError

    with pytest.raises(ExportError, match="longitude and latitude"):
        drawing_page.place_of("north of the mill")
    (tmp_path / "p.tif").write_bytes(b"not a photo")
    with pytest.raises(ExportError, match="cannot be used"):
        drawing_page.drawing_page("x", None, tmp_path / "p.tif")
