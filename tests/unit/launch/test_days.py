"""The days of launching: nothing overlaps, no day is too long, masses are those of the raft."""

import itertools
from dataclasses import replace

import pytest

from geoplan.exports import launch_sheet
from geoplan.hulls import bare_mass_kg
from geoplan.launch.days import clock, launch_steps
from geoplan.plan import NoRoute
from geoplan.settings import Settings
from geoplan.site import Site
from tests.unit.exports import small_plan as small


def with_launch(**parts: object) -> Site:
    site = small.site()
    tables = site.settings.model_dump(mode="json", exclude_unset=True)
    return replace(site, settings=Settings.model_validate(tables | {"launch": parts}))


def test_rafts_follow_one_another_and_days_are_kept() -> None:
    site = with_launch(day_h=2.0, raft_min=50.0, plant_min_m2=0.0, post_min=0.0)
    steps = launch_steps(small.plan().waters, site)
    assert steps
    for one, two in itertools.pairwise(steps):
        assert (two.day, two.start_min) >= (one.day, one.end_min) or two.day == one.day + 1
    for step in steps:
        parts = step.carry_min + step.plant_min + step.tow_min + step.hold_min
        assert step.end_min - step.start_min == pytest.approx(parts)
        assert step.start_min == 0.0 or step.end_min <= 120.0
        # There and back at 0.3 m/s.
        assert step.tow_min == pytest.approx(2 * step.route.length_m / 0.3 / 60)


def test_a_raft_without_a_build_is_weighed_by_the_square_metre() -> None:
    site = with_launch(bare_kg_m2=50.0)
    kind = site.settings.raft[0]
    assert bare_mass_kg(kind, site.settings.launch) == pytest.approx(50.0 * 4.0 * 2.4)


def test_the_sheet_has_a_row_for_each_way_in_order(tmp_path: object) -> None:
    rows = list(launch_sheet._rows(small.plan(), small.site()))
    ways = [route.raft_id for water in small.plan().waters for route in water.routes]
    assert [row[5] for row in rows] == ways
    assert all(len(row) == len(launch_sheet._HEADER) for row in rows)


def test_the_sheet_says_what_a_crew_asks_of_bank_and_way() -> None:
    (row,) = launch_sheet._rows(small.plan(), small.site())
    told = dict(zip(launch_sheet._HEADER, row, strict=True))
    asked = ("need_depth_m", "width_m", "turning_m", "room_to_turn", "wade_m", "wade_depth_m")
    assert [told[name] for name in asked] == [0.3, 2.4, 4.67, "yes", 10.0, 0.41]
    # 1.3 m from the line to what bars it, 1.2 m of them raft.
    assert told["clear_beside_m"] == pytest.approx(0.1)
    assert told["plant_depth_m"] == 0.52
    assert "winch or vehicle" in str(told["caution"])


def test_a_raft_without_a_way_stands_at_the_end_and_says_why() -> None:
    plan = small.plan()
    lost = replace(plan.waters[1], routes=(), no_routes=(NoRoute("U1", "=land bars it"),))
    row = list(launch_sheet._rows(replace(plan, waters=(lost,)), small.site()))[-1]
    told = dict(zip(launch_sheet._HEADER, row, strict=True))
    assert (told["raft_id"], told["day"], told["launch_id"]) == ("U1", None, None)
    assert told["caution"] == "NO WAY: =land bars it"


@pytest.mark.parametrize(
    ("minutes", "shown"), [(0.0, "0 h 00 min"), (0.1, "0 h 05 min"), (119.0, "2 h 00 min")]
)
def test_times_are_rounded_up(minutes: float, shown: str) -> None:
    assert clock(minutes) == shown
