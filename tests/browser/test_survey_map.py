"""The map of a survey: rafts as they lie over the plan, with texts that may be anything."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import shapely

from geoplan.asbuilt import map_page
from geoplan.asbuilt.record import AsBuilt, SurveyedRaft, SurveyFinding
from geoplan.asbuilt.report import summary
from geoplan.crs import WGS84, transformed
from geoplan.exports import gis_files, web_map
from tests.browser.test_accessibility import faults
from tests.browser.test_map_page import ARGUMENTS, CHROMIUM, Opened
from tests.unit.exports import small_plan as small

playwright = pytest.importorskip("playwright.sync_api")

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium"),
]

HOSTILE = "<img src=x onerror=alert(1)>{{7*7}}</script>"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as started:
        opened = started.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


def lying(raft: Any, east_m: float, state: Any) -> SurveyedRaft:
    outline = shapely.affinity.translate(raft.outline, east_m, 0.0)
    return SurveyedRaft(
        raft.raft_id, HOSTILE, raft.water_id, raft.raft_type, outline.centroid.x,
        outline.centroid.y, 90.0, raft.length_m, raft.width_m, outline, 0.4, 0.2, 30.0, east_m,
        None, None, 0.02, True, False, state,
    )  # fmt: skip


@pytest.fixture
def surveyed(browser: Any, tmp_path: Path) -> Iterator[tuple[Opened, AsBuilt]]:
    plan, site = small.plan(), small.site()
    out = tmp_path / "out"
    out.mkdir()
    web_map.write(plan, site, out, small.audit())
    gis_files.write(plan, site, out, small.audit())
    written = gis_files.read_plan(out / gis_files.FILE_NAME)
    first, second = written.rafts[:2]
    found = AsBuilt(
        site_name=plan.site_name,
        crs=written.crs,
        surveyed_on="2026-10-03",
        level_m=12.1,
        rafts=(lying(first, 0.0, "in place"), lying(second, 3.0, "moved")),
        missing=tuple(raft.raft_id for raft in written.rafts[2:]),
        covers=(),
        findings=(
            SurveyFinding("gap", first.water_id, first.raft_id, 0.2, 0.1, 1.0, "m", "fails",
                          HOSTILE),
        ),
    )  # fmt: skip
    folder = tmp_path / "survey"
    folder.mkdir()
    map_page.write(found, written, out, folder)
    view = Opened(browser, folder / "map.html")
    yield view, found
    view.context.close()
    assert view.messages == []
    assert view.requests == [(folder / "map.html").as_uri()]


def test_rafts_are_shown_where_they_lie(surveyed: tuple[Opened, AsBuilt]) -> None:
    """Corners on the page against the outline by PROJ, to a millimetre."""
    view, found = surveyed
    shown = view.page.evaluate(
        """() => GEOPLAN.page.things.groups.survey.getLayers().filter(l => l.options.fill !== false)
             .map(l => l.getLatLngs()[0].map(p => [p.lng, p.lat]))"""
    )
    assert len(shown) == len(found.rafts)
    for ring, raft in zip(shown, found.rafts, strict=True):
        there = transformed(shapely.Polygon(ring), WGS84, found.crs)
        assert shapely.hausdorff_distance(there, raft.outline) < 1e-3


def test_what_was_found_is_said_first_and_as_text(surveyed: tuple[Opened, AsBuilt]) -> None:
    view, found = surveyed
    words = view.page.inner_text("#survey-part")
    assert "surveyed 2026-10-03" in words
    for line in summary(found):
        assert line in words
    assert HOSTILE in words
    assert view.page.inner_text("h1").endswith(", as built")
    first = view.page.evaluate("() => document.querySelector('#panel').firstElementChild.id")
    assert first == "survey-part"


def test_a_switch_hides_them_and_a_popup_tells_of_one(surveyed: tuple[Opened, AsBuilt]) -> None:
    view, found = surveyed
    page = view.page
    box = page.locator("#switches input[name=survey]")
    assert box.is_checked()
    box.press("Space")
    assert not page.evaluate("() => GEOPLAN.page.map.hasLayer(GEOPLAN.page.things.groups.survey)")
    box.press("Space")
    page.evaluate(
        """() => { const t = GEOPLAN.page.things.focusable.filter(t => t.group === "survey")[1];
             GEOPLAN.page.choose(t); }"""
    )
    words = page.inner_text(".leaflet-popup-content")
    assert found.rafts[1].raft_id in words
    assert "3 m" in words
    assert HOSTILE in words


@pytest.mark.parametrize("width", [360, 1280])
def test_the_map_of_a_survey_shuts_nobody_out(
    browser: Any, surveyed: tuple[Opened, AsBuilt], width: int
) -> None:
    """By axe-core, all its rules on."""
    view, _ = surveyed
    context = browser.new_context(viewport={"width": width, "height": 800}, bypass_csp=True)
    page = context.new_page()
    page.goto(view.page.url)
    page.wait_for_selector("html[data-ready]", timeout=10_000)
    found = faults(page)
    context.close()
    assert found == []
