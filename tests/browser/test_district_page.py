"""``district.html`` in a real browser: found by name, put in order, reached by keys, led on."""

from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

from geoplan.exports import district_page, web_map
from tests.benchmarks.bench_overview import district
from tests.browser.test_map_page import ARGUMENTS, CHROMIUM, Opened
from tests.unit.exports import small_plan as small

playwright = pytest.importorskip("playwright.sync_api")

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium"),
]

COUNT = 120


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as started:
        opened = started.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("district")
    district_page.write(*district(COUNT)[:2], folder, district(COUNT)[2])
    return folder / "district.html"


@pytest.fixture(params=[360, 1280])
def opened(browser: Any, file: Path, request: pytest.FixtureRequest) -> Iterator[Opened]:
    view = Opened(browser, file, request.param)
    yield view
    view.context.close()
    assert view.requests == [file.as_uri()]
    assert view.messages == []


def names(page: Any) -> list[str]:
    return [text.strip() for text in page.locator("#waters tbody th").all_inner_texts()]


def test_a_water_body_is_found_by_its_name(opened: Opened) -> None:
    page = opened.page
    assert len(names(page)) == 100  # the others on demand
    page.focus("#search")
    page.keyboard.type("ELM")
    wanted = [share.water_id for share in district(COUNT)[0].allocation.shares]  # type: ignore[union-attr]
    wanted = [name for name in wanted if name.startswith("Elm")]
    assert names(page) == wanted
    assert page.inner_text("#says") == f"{len(wanted)} of {COUNT} water bodies."
    assert page.locator("svg g[data-n]:not(.off)").count() == len(wanted)
    page.fill("#search", "nowhere")
    assert "No water body" in page.inner_text("#says")
    page.fill("#search", "")
    page.click("#more")
    assert len(names(page)) == COUNT


def test_columns_are_put_in_order_by_keys(opened: Opened) -> None:
    page = opened.page
    page.click("#more")
    head = page.get_by_role("button", name="cost")
    head.focus()
    page.keyboard.press("Enter")
    shares = district(COUNT)[0].allocation.shares  # type: ignore[union-attr]
    most = max(share.cost for share in shares)
    column = "#waters tbody td:nth-of-type(6)"
    costs = [float(text) for text in page.locator(column).all_inner_texts()]
    assert costs[0] == most
    assert costs == sorted((share.cost for share in shares), reverse=True)
    page.keyboard.press("Enter")
    costs = [float(text) for text in page.locator(column).all_inner_texts()]
    assert costs == sorted(costs)
    assert page.locator("th[aria-sort=ascending]").inner_text().startswith("cost")


def test_those_with_findings_are_shown_alone_with_the_words(opened: Opened) -> None:
    page = opened.page
    page.select_option("#show", "fails")
    failed = [one.water_id for one in district(COUNT)[2].findings if not one.passed]
    assert names(page) == failed
    assert "1 check fails: cover" in page.inner_text("#waters tbody tr >> nth=0")


def test_targets_are_large_and_nobody_is_shut_out(browser: Any, file: Path) -> None:
    for width in (360, 1280):
        context = browser.new_context(viewport={"width": width, "height": 800}, bypass_csp=True)
        page = context.new_page()
        page.goto(file.as_uri())
        small_ones = page.evaluate(
            "[...document.querySelectorAll('a, button, input, select')]"
            ".filter((e) => e.offsetParent).map((e) => e.getBoundingClientRect())"
            ".filter((r) => r.height < 44 || r.width < 44).length"
        )
        wide = page.evaluate("document.documentElement.scrollWidth")
        page.evaluate(files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8"))
        found = page.evaluate("axe.run(document, { resultTypes: ['violations'] })")
        context.close()
        assert small_ones == 0
        assert wide <= width
        assert [fault["id"] for fault in found["violations"]] == []


def test_a_link_opens_the_map_at_its_water_body(browser: Any, tmp_path: Path) -> None:
    web_map.write(small.plan(), small.site(), tmp_path, small.audit())
    page = browser.new_page()
    page.goto((tmp_path / "map.html").as_uri() + "#water=upper")
    page.wait_for_selector("html[data-ready]", timeout=10_000)
    chosen = page.evaluate("document.getElementById('go').selectedOptions[0].textContent")
    page.close()
    assert chosen.startswith("Upper pond")
