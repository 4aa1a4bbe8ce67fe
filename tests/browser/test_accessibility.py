"""Every page that is written, judged by axe-core: what it knows of, nobody is shut out by."""

from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

from geoplan.exports import (
    check_page,
    district_page,
    drawing_page,
    inspection,
    level_page,
    web_map,
)
from geoplan.exports.report import as_html
from geoplan.site import Site
from tests.browser.test_map_page import ARGUMENTS, CHROMIUM
from tests.unit.exports import small_plan as small
from tests.unit.test_sounding_plan import BODY, PLACES, SETTINGS

playwright = pytest.importorskip("playwright.sync_api")

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium"),
]

PAGES = ("map", "draw", "district", "check", "report", "levels", "inspection")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as started:
        opened = started.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """All pages of one plan."""
    out = tmp_path_factory.mktemp("pages")
    for module in (web_map, district_page, level_page, inspection, as_html):
        module.write(small.plan(), small.site(), out, small.audit())
    drawing_page.write_page(out, drawing_page.drawing_page("Pond", (9.5, 55.7), None))
    check_page.write(Site(SETTINGS, "EPSG:25832", (BODY,)), ("one line",), (), PLACES, out)
    return out


def faults(page: Any) -> list[str]:
    """What axe-core finds wrong, all its rules on."""
    page.evaluate(files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8"))
    found = page.evaluate("axe.run(document, { resultTypes: ['violations'] })")
    assert len(found["passes"]) > 5  # it did look
    return [
        f"{fault['id']}: {node['html'][:160]} {node['failureSummary'][:300]}"
        for fault in found["violations"]
        for node in fault["nodes"]
    ]


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("name", PAGES)
def test_no_page_shuts_anyone_out(browser: Any, folder: Path, name: str, width: int) -> None:
    context = browser.new_context(viewport={"width": width, "height": 800}, bypass_csp=True)
    page = context.new_page()
    page.goto((folder / f"{name}.html").as_uri())
    if name in {"map", "draw"}:
        page.wait_for_selector("html[data-ready]", timeout=10_000)
    found = faults(page)
    context.close()
    assert found == []


def test_the_map_in_use_shuts_nobody_out(browser: Any, folder: Path) -> None:
    """With a raft chosen, points measured, every layer on; and once more with the map hidden,
    so that no drawing keeps a text's contrast from being judged."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, bypass_csp=True)
    page = context.new_page()
    page.goto((folder / "map.html").as_uri())
    page.wait_for_selector("html[data-ready]", timeout=10_000)
    for box in page.locator("#switches input").all():
        box.check()
    page.click("#measure")
    page.click("#measure-add")
    page.click("#level-normal")
    page.click("#play-next")
    page.fill("#find", "u")
    page.click("#found button >> nth=0")
    assert page.locator(".leaflet-popup").count() == 1
    # It fades in: its words are judged as they are read, and not on the way there.
    page.wait_for_function(
        "getComputedStyle(document.querySelector('.leaflet-popup')).opacity === '1'"
    )
    shown = faults(page)
    page.evaluate("document.getElementById('map-part').style.display = 'none'")
    hidden = faults(page)
    context.close()
    assert shown == []
    assert hidden == []
