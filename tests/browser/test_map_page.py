"""``map.html`` in a real browser: no request, no message, names stay text, everything works."""

import base64
import math
import shutil
import zlib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pyproj import Geod, Transformer

from geoplan.exports import web_map
from tests.unit.exports import small_plan as small

CHROMIUM = shutil.which("chromium")
playwright = pytest.importorskip("playwright.sync_api")

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium"),
]

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as started:
        opened = started.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plan")
    web_map.write(small.plan(), small.site(), folder, small.audit())
    return folder / "map.html"


class Opened:
    """A page with everything that it asked for and said."""

    def __init__(self, browser: Any, file: Path, width: int = 1280, height: int = 800) -> None:
        self.context = browser.new_context(viewport={"width": width, "height": height})
        self.page = self.context.new_page()
        self.requests: list[str] = []
        self.messages: list[str] = []
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.on("console", lambda message: self.messages.append(message.text))
        self.page.on("pageerror", lambda error: self.messages.append(str(error)))
        self.page.goto(file.as_uri())
        self.page.wait_for_selector("html[data-ready]", timeout=10_000)


@pytest.fixture
def opened(browser: Any, file: Path) -> Iterator[Opened]:
    view = Opened(browser, file)
    yield view
    view.context.close()
    assert view.requests == [file.as_uri()]
    assert view.messages == []


def go_to_upper(page: Any) -> None:
    page.select_option("#go", "1")


def test_hostile_names_are_shown_as_text_and_run_nothing(opened: Opened) -> None:
    page = opened.page
    assert page.title() == f"{small.HOSTILE[0]}: plan of rafts"
    assert page.inner_text("h1") == f"{small.HOSTILE[0]}: plan of rafts"
    assert page.inner_text("#rafts button >> nth=0") == small.HOSTILE[2]
    assert small.HOSTILE[1] in page.inner_text("#failures")
    assert small.HOSTILE[0] in page.inner_text("#go")
    for index in range(page.locator("#rafts button").count()):
        page.locator("#rafts button").nth(index).click()
    go_to_upper(page)
    for label, name in (("Inflow", small.HOSTILE[3]), ("Keep clear", small.HOSTILE[1])):
        page.locator(f"path[aria-label^='{label}']").first.focus()
        page.keyboard.press("Enter")
        assert name in page.inner_text(".leaflet-popup-content")
    assert page.evaluate("window.ran") is None
    assert page.locator("img, iframe").count() == 0


def test_switches_work_by_pointer_and_by_keyboard(opened: Opened) -> None:
    page = opened.page
    rafts = page.locator("path[aria-label^='Raft ']")
    assert rafts.count() == 4
    page.click("#switches label:has(input[name=rafts]) span")
    assert rafts.count() == 0
    page.focus("#switches input[name=rafts]")
    page.keyboard.press("Space")
    assert rafts.count() == 4
    assert page.locator(".leaflet-depth-pane canvas").count() == 1
    page.uncheck("#switches input[name=depth]")
    assert page.locator(".leaflet-depth-pane canvas").count() == 0


def test_an_assumed_edge_says_so(opened: Opened) -> None:
    switches = opened.page.inner_text("#switches")
    assert "Water's edge at high level, bank slope assumed" in switches
    assert switches.count("assumed") == 1


def test_the_water_says_why_no_raft_lies_there(opened: Opened) -> None:
    page = opened.page
    go_to_upper(page)
    answers = page.locator("path[aria-label^='No raft here: ']")
    assert answers.count() == 0
    page.locator("#switches input[name=whynot]").check()
    assert answers.count() >= 2  # one for each polygon of the two answers
    assert page.locator("path[fill^='url(#why-']").count() >= 2
    assert page.locator(".map-text.why").count() >= 1
    page.locator("path[aria-label='No raft here: bank']").first.focus()
    page.keyboard.press("Enter")
    told = page.inner_text(".leaflet-popup-content")
    assert "bank" in told
    assert small.HOSTILE[0] in told
    assert "m²" in told
    listed = page.inner_text("#why")
    assert "bank" in listed
    assert "free" in listed


def test_another_plan_can_be_shown_with_its_cost(opened: Opened) -> None:
    page = opened.page
    go_to_upper(page)
    page.locator("#switches input[name=others]").check()
    page.locator("path[aria-label='Another plan']").first.focus()
    page.keyboard.press("Enter")
    told = page.inner_text(".leaflet-popup-content")
    assert "4.3 % less" in told
    assert small.HOSTILE[2] in told
    assert "4.3 % less" in page.inner_text("#others")


def test_a_held_raft_says_so(opened: Opened) -> None:
    page = opened.page
    go_to_upper(page)
    page.locator("path[aria-label='Raft U2']").focus()
    page.keyboard.press("Enter")
    assert "held by a person" in page.inner_text(".leaflet-popup-content")


def test_the_table_chooses_a_raft_by_keyboard(opened: Opened) -> None:
    page = opened.page
    button = page.locator("#rafts button", has_text="U1")
    button.focus()
    page.keyboard.press("Enter")
    assert button.get_attribute("aria-pressed") == "true"
    assert "Raft U1" in page.inner_text(".leaflet-popup-content")
    assert page.inner_text("#spoken") == "Raft U1 chosen"
    path = page.locator("path[aria-label='Raft U1']")
    assert path.get_attribute("aria-pressed") == "true"
    map_box, raft_box = page.locator("#map_geoplan").bounding_box(), path.bounding_box()
    assert map_box["x"] < raft_box["x"] < map_box["x"] + map_box["width"]
    assert map_box["y"] < raft_box["y"] < map_box["y"] + map_box["height"]
    assert raft_box["width"] > 20
    page.keyboard.press("Escape")
    page.locator(".leaflet-popup").wait_for(state="detached")
    assert button.get_attribute("aria-pressed") == "false"


def test_the_map_is_one_stop_of_the_tab_key_with_arrows_inside(opened: Opened) -> None:
    page = opened.page
    go_to_upper(page)
    stops = page.locator("#map_geoplan path[tabindex='0']")
    assert stops.count() == 1
    stops.focus()
    first = page.evaluate("document.activeElement.getAttribute('aria-label')")
    page.keyboard.press("ArrowRight")
    second = page.evaluate("document.activeElement.getAttribute('aria-label')")
    assert first != second
    assert stops.count() == 1
    page.keyboard.press("ArrowLeft")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == first


def test_a_click_on_a_raft_tells_what_it_is(opened: Opened) -> None:
    page = opened.page
    go_to_upper(page)
    box = page.locator("path[aria-label='Raft U2']").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    text = page.inner_text(".leaflet-popup-content")
    assert "Raft U2" in text
    assert "1.83 m" in text


def test_a_raft_that_fails_is_dashed_and_says_so_in_words(opened: Opened) -> None:
    page = opened.page
    path = page.locator("path[aria-label*='fails the audit']")
    assert path.count() == 1
    assert path.get_attribute("stroke-dasharray")
    label = page.locator(".map-text.fails span")
    assert "✗ fails" in label.inner_text()
    assert label.bounding_box()["width"] > 30
    page.locator("#rafts button").first.click()
    assert "limit 2 m" in page.inner_text(".leaflet-popup-content")


def test_depth_in_the_page_is_never_above_the_plans(opened: Opened) -> None:
    rng = np.random.default_rng(5)
    for water in small.plan().waters:
        grid = water.depth_grid
        rows, cols = grid.depth_low_m.shape
        east = grid.west_m + rng.uniform(0, cols * grid.cell_size_m, 50)
        north = grid.south_m + rng.uniform(0, rows * grid.cell_size_m, 50)
        to_degrees = Transformer.from_crs(water.crs, "EPSG:4326", always_xy=True)
        longitude, latitude = to_degrees.transform(east, north)
        shown = opened.page.evaluate(
            "places => places.map(p => GEOPLAN.depthAt(GEOPLAN.page.record, L.latLng(p[1], p[0])))",
            np.column_stack([longitude, latitude]).tolist(),
        )
        row = ((north - grid.south_m) / grid.cell_size_m).astype(int)
        col = ((east - grid.west_m) / grid.cell_size_m).astype(int)
        depth = grid.depth_low_m[row, col]
        assert [value is None for value in shown] == np.isnan(depth).tolist()
        for value, truth in zip(shown, depth, strict=True):
            assert value is None or truth - 0.0101 < value <= truth


def test_the_shading_has_the_colour_of_the_depth_under_it(opened: Opened) -> None:
    """Away from class borders, every pixel tried has its class's colour or hatching."""
    page = opened.page
    go_to_upper(page)
    page.wait_for_timeout(200)
    wrong = page.evaluate(
        """() => {
          const layer = GEOPLAN.page.map, record = GEOPLAN.page.record;
          const canvas = document.querySelector('.leaflet-depth-pane canvas');
          const width = canvas.width, data = canvas.getContext('2d')
            .getImageData(0, 0, width, canvas.height).data;
          const offset = L.DomUtil.getPosition(canvas);
          const limits = record.class_limits_cm;
          const hex = rgb => '#' + [...rgb.slice(0, 3)].map(
            v => v.toString(16).padStart(2, '0')).join('');
          let wrong = 0, tried = 0;
          for (let x = 7; x < canvas.width; x += 13) {
            for (let y = 5; y < canvas.height; y += 13) {
              const at = p => GEOPLAN.depthAt(record, layer.layerPointToLatLng(p));
              const here = offset.add([x + .5, y + .5]);
              const around = [[0, 0], [-2, 0], [2, 0], [0, -2], [0, 2]].map(
                d => at(here.add(d)));
              const classOf = m => m === null ? -2 :
                limits.filter(limit => Math.round(m * 100) >= limit).length - 1;
              const classes = new Set(around.map(classOf));
              if (classes.size > 1) continue;
              tried += 1;
              const start = 4 * (y * width + x), rgba = data.slice(start, start + 4);
              const kind = [...classes][0];
              const good = kind === -2 ? rgba[3] === 0
                : kind === -1 ? GEOPLAN.HATCH.includes(hex(rgba))
                : hex(rgba) === GEOPLAN.shadeOf(kind, limits.length);
              if (!good) wrong += 1;
            }
          }
          return [wrong, tried];
        }"""
    )
    assert wrong[1] > 500
    assert wrong[0] == 0


def test_the_scale_bar_is_true_on_the_ellipsoid(opened: Opened) -> None:
    page = opened.page
    go_to_upper(page)
    ends = page.evaluate(
        """() => {
          const map = GEOPLAN.page.map, bar = document.querySelector('.scale div');
          const half = bar.getBoundingClientRect().width / 2, size = map.getSize();
          return [-half, half].map(d => {
            const p = map.containerPointToLatLng([size.x / 2 + d, size.y / 2]);
            return [p.lng, p.lat];
          }).concat([[Number(document.querySelector('.scale').dataset.metres), 0]]);
        }"""
    )
    stated = ends[2][0]
    assert Geod(ellps="WGS84").inv(*ends[0], *ends[1])[2] == pytest.approx(stated, rel=2e-3)


def test_a_place_in_the_page_is_within_a_centimetre(opened: Opened) -> None:
    raft = small.RAFTS[0]
    shown = opened.page.evaluate(
        "() => { const t = GEOPLAN.page.things.rafts.find(r => r.raft.raft_id === 'U1');"
        " const rings = t.layer.getLatLngs()[0]; const all = rings[0].lat ? rings : rings[0];"
        " return all.map(p => [p.lng, p.lat]); }"
    )
    to_metres = Transformer.from_crs("EPSG:4326", small.UPPER_CRS, always_xy=True)
    corners = np.array([to_metres.transform(*corner) for corner in shown])
    apart = np.hypot(corners[:, 0] - raft.easting_m, corners[:, 1] - raft.northing_m)
    assert apart[:4] == pytest.approx(math.hypot(2.0, 1.2), abs=0.01)


@pytest.mark.parametrize("width", [360, 390, 1280])
def test_no_width_scrolls_sideways(browser: Any, file: Path, width: int) -> None:
    view = Opened(browser, file, width, 740)
    view.page.locator("#rafts button").first.click()
    wide = view.page.evaluate("document.documentElement.scrollWidth")
    view.context.close()
    assert wide <= width
    assert view.messages == []


def test_targets_are_large_enough_for_gloves(browser: Any, file: Path) -> None:
    """Sizes of the layout: a popup that slides in has a fractional box, 43.99 of its 44 pixels."""
    view = Opened(browser, file, 390, 844)
    view.page.locator("#rafts button").first.click()
    small_ones = view.page.evaluate(
        """() => [...document.querySelectorAll(
             'button, select, summary, #switches label, .leaflet-control-zoom a,'
             + ' .leaflet-popup-close-button')]
           .filter(e => e.offsetParent)
           .filter(e => e.offsetWidth < 44 || e.offsetHeight < 44)
           .map(e => [e.className || e.tagName, e.offsetWidth, e.offsetHeight])"""
    )
    view.context.close()
    assert small_ones == []


def test_texts_stand_out_from_what_is_behind_them(opened: Opened) -> None:
    """Contrast of 4.5 or more by the formula of WCAG 2.2, for texts on plain grounds."""
    worst = opened.page.evaluate(
        """() => {
          const channel = v => (v /= 255) <= .04045 ? v / 12.92 : ((v + .055) / 1.055) ** 2.4;
          const parts = c => c.match(/[\\d.]+/g).map(Number);
          const light = c => { const [r, g, b] = parts(c);
            return .2126 * channel(r) + .7152 * channel(g) + .0722 * channel(b); };
          const ground = e => { for (; e; e = e.parentElement) {
            const c = parts(getComputedStyle(e).backgroundColor);
            if (c.length === 3 || c[3] > .9) return `rgb(${c.slice(0, 3)})`; }
            return 'rgb(255,255,255)'; };
          let worst = [99, ''];
          for (const e of document.querySelectorAll('body *')) {
            if (e.closest('svg, script, noscript')) continue;
            if (![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue;
            const a = light(getComputedStyle(e).color), b = light(ground(e));
            const ratio = (Math.max(a, b) + .05) / (Math.min(a, b) + .05);
            if (ratio < worst[0]) worst = [ratio, e.outerHTML.slice(0, 80)];
          }
          return worst;
        }"""
    )
    assert worst[0] >= 4.5, worst


def test_many_rafts_are_drawn_on_a_canvas_and_paged_in_the_table(
    browser: Any, tmp_path: Path
) -> None:
    plan = small.plan()
    rafts = tuple(
        small.raft(f"R{row}-{col}", "upper", -30 + 1.6 * col, -12 + 1.2 * row, 10.0)
        for row in range(20)
        for col in range(30)
    )
    upper = replace(plan.waters[1], rafts=rafts, moorings=(), routes=())
    web_map.write(replace(plan, waters=(upper,)), small.site(), tmp_path, None)
    assert (tmp_path / "map.html").stat().st_size < 500 * 1024
    view = Opened(browser, tmp_path / "map.html")
    page = view.page
    rows = page.locator("#rafts tbody tr")
    assert rows.count() == 200
    page.click("#more")
    assert rows.count() == 400
    page.locator("#rafts button", has_text="R0-7").first.click()
    assert "Raft R0-7" in page.inner_text(".leaflet-popup-content")
    page.keyboard.press("Escape")
    page.locator(".leaflet-popup").wait_for(state="detached")
    centre = page.locator("#map_geoplan").bounding_box()
    page.mouse.click(centre["x"] + centre["width"] / 2, centre["y"] + centre["height"] / 2)
    assert "Raft R" in page.inner_text(".leaflet-popup-content")
    view.context.close()
    assert view.messages == []


def test_an_old_browser_shows_everything(browser: Any, file: Path) -> None:
    """The page unpacks itself: nothing newer than its own script is asked for."""
    context = browser.new_context()
    page = context.new_page()
    page.add_init_script("delete window.DecompressionStream")
    page.goto(file.as_uri())
    page.wait_for_selector("html[data-ready]", timeout=10_000)
    depth = page.locator(".leaflet-depth-pane canvas").count()
    rafts = page.locator("path[aria-label^='Raft ']").count()
    context.close()
    assert (depth, rafts) == (1, 4)


def test_the_page_unpacks_what_zlib_packs(opened: Opened) -> None:
    """Stored, fixed and dynamic blocks, against zlib."""
    random = np.random.default_rng(3)
    noise = random.integers(0, 256, 70_000, np.uint8).tobytes()
    words = ("water \u2265 1 m, " * 9_000).encode() + random.integers(
        0, 9, 40_000, np.uint8
    ).tobytes()
    for data in (b"", b"a", noise, words, bytes(300_000)):
        for level, strategy in ((0, zlib.Z_DEFAULT_STRATEGY), (9, zlib.Z_FIXED), (9, 0), (1, 2)):
            deflate = zlib.compressobj(level, zlib.DEFLATED, -15, 8, strategy)
            stream = deflate.compress(data) + deflate.flush()
            found = opened.page.evaluate(
                """([text, size]) => {
                     const out = UNPACK.inflate(UNPACK.bytes(text), new Uint8Array(size));
                     let said = '';
                     for (const b of out) said += String.fromCharCode(b);
                     return btoa(said); }""",
                [base64.b64encode(stream).decode(), len(data)],
            )
            assert base64.b64decode(found) == data
