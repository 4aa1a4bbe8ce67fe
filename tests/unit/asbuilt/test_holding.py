"""Posts and lines where a raft lies: closed forms on a bed whose depth is known."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely.geometry import Point, Polygon

from geoplan.asbuilt.holding import TOLERANCE_M, holding_findings
from geoplan.crs import WGS84, transformed
from geoplan.exports.gis_files import FILE_NAME, read_plan
from geoplan.fleet import plan_folder, site_of_plan
from geoplan.plan import Finding
from geoplan.site import Site
from geoplan.written import WrittenMooring, WrittenPlan, WrittenRaft
from tests.sites.test_whole_runs import two_ponds

#: The pond is 2.4 m deep where it is flat, its high level 0.2 m above the sounded one.
DEEP_M = 2.6
#: Its western bed falls 14 m over the pond's width.
FALL_M = 14.0
SIDES_M = (3.0, 2.0)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[WrittenPlan, Site]:
    folder = tmp_path_factory.mktemp("holding")
    plan_folder(two_ponds(folder), folder / "plan", workers=1)
    return read_plan(folder / "plan" / FILE_NAME), site_of_plan(folder / "plan", None)


def at_share(written: WrittenPlan, across: float, up: float = 0.5) -> tuple[float, float]:
    """A place of the western pond by its share of the pond's width and height."""
    place = transformed(Point(9.30 + across * 0.0007, 56.1 + up * 0.0004), WGS84, written.crs)
    return place.x, place.y


def rectangle(middle: tuple[float, float], turn_deg: float = 0.0) -> Polygon:
    half = np.array(SIDES_M) / 2
    box = shapely.box(*(np.array(middle) - half), *(np.array(middle) + half))
    return shapely.affinity.rotate(box, turn_deg)


def held(
    written: WrittenPlan, planned: Polygon, moorings: tuple[WrittenMooring, ...]
) -> WrittenPlan:
    row = WrittenRaft("a", "p0", "r", "planned", planned, *SIDES_M, None)
    return replace(written, rafts=(row,), moorings=moorings, routes=())


def judged(
    plan: WrittenPlan, lies: Polygon, site: Site, error_m: float = 0.0
) -> tuple[Finding, Finding]:
    lying = replace(plan, rafts=(replace(plan.rafts[0], outline=lies),), moorings=())
    (pair,) = holding_findings(lying, plan, site, {"a": error_m})
    return pair


def post(x: float, y: float, length_m: float, kind: str = "post") -> WrittenMooring:
    return WrittenMooring(f"{kind}-{x:.0f}", "a", kind, x, y, 1.0, length_m, 1.0)


def extra_m(site: Site) -> float:
    return site.settings.mooring.travel_margin_m + site.settings.mooring.embedment_m


def test_posts_go_with_the_raft_to_deeper_water(made: tuple[WrittenPlan, Site]) -> None:
    written, site = made
    was, now = at_share(written, 0.1), at_share(written, 0.5)
    short = DEEP_M + extra_m(site) - 0.3
    plan = held(written, rectangle(was), (post(was[0], was[1] + 1.1, short),))
    fitted, worst = judged(plan, rectangle(now), site)
    assert fitted.measured == pytest.approx(DEEP_M + extra_m(site), abs=0.01)
    assert (fitted.passed, worst.passed) == (False, False)
    stays, _ = judged(plan, rectangle(was), site)
    assert stays.passed
    assert stays.measured < fitted.measured - 0.5


def test_deepest_water_within_the_error_decides(made: tuple[WrittenPlan, Site]) -> None:
    written, site = made
    west, east = at_share(written, 0.0), at_share(written, 1.0)
    slope = FALL_M / math.hypot(east[0] - west[0], east[1] - west[1])
    here = at_share(written, 0.09)
    error = 0.8
    need, _ = judged(held(written, rectangle(here), (post(*here, 9.0),)), rectangle(here), site)
    plan = held(written, rectangle(here), (post(*here, need.measured + 0.1),))
    fitted, worst = judged(plan, rectangle(here), site, error)
    assert worst.measured - fitted.measured == pytest.approx(error * slope, rel=0.05)
    assert (fitted.passed, worst.passed) == (True, False)


def test_half_a_turn_leaves_posts_where_they_were(made: tuple[WrittenPlan, Site]) -> None:
    """A rectangle has no ahead: turned by half it is the same raft on the same posts."""
    written, site = made
    here = at_share(written, 0.09)
    plan = held(written, rectangle(here), (post(here[0] + 0.5, here[1] + 1.1, 9.0),))
    as_planned, _ = judged(plan, rectangle(here), site)
    turned, _ = judged(plan, rectangle(here, 180.0), site)
    assert turned.measured == pytest.approx(as_planned.measured, abs=1e-6)


@pytest.mark.parametrize("turn_deg", [0.0, 15.0, 60.0, -75.0])
def test_lines_must_reach_from_the_corner_to_the_anchor(
    made: tuple[WrittenPlan, Site], turn_deg: float
) -> None:
    """Pythagoras, with the corner turned about the middle of the raft."""
    written, site = made
    was = np.array(at_share(written, 0.5))
    anchor = was + np.array([8.0, 6.0])
    corner = np.array(SIDES_M) / 2
    long_enough = math.hypot(float(np.hypot(*(anchor - was - corner))), DEEP_M)
    plan = held(written, rectangle(tuple(was)), (post(*anchor, long_enough, "block anchor"),))
    kept, _ = judged(plan, rectangle(tuple(was)), site)
    assert kept.passed
    assert kept.measured == pytest.approx(long_enough, abs=0.01)
    shift = np.array([-0.7, -0.4])
    spin = math.radians(turn_deg)
    turned = np.array(
        [
            corner[0] * math.cos(spin) - corner[1] * math.sin(spin),
            corner[0] * math.sin(spin) + corner[1] * math.cos(spin),
        ]
    )
    away = float(np.hypot(*(anchor - (was + shift) - turned)))
    fitted, worst = judged(plan, rectangle(tuple(was + shift), turn_deg), site, 0.5)
    assert fitted.measured == pytest.approx(math.hypot(away, DEEP_M), abs=0.01)
    assert worst.measured == pytest.approx(math.hypot(away + 0.5, DEEP_M), abs=0.01)
    assert fitted.passed == (fitted.measured <= long_enough + TOLERANCE_M)
    assert not fitted.passed
