"""The days of launching: nothing overlaps, no day is too long, masses are those of the raft."""

import itertools
from dataclasses import replace

import pytest

from geoplan.district import Logistics
from geoplan.exports import launch_sheet
from geoplan.fleet.logistics import logistics
from geoplan.hulls import bare_mass_kg
from geoplan.launch.days import clock, launch_steps
from geoplan.launch.handling import recommended_weight_kg
from geoplan.plan import NoRoute, Plan
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


def trailer_plan(counts: tuple[int, int], **yard: float) -> tuple[Plan, Site, Logistics]:
    """Two waters with so many rafts each, brought from a yard beside them."""
    plan, site = small.plan(), small.site()
    upper = plan.waters[1]
    raft, route = next(r for r in upper.rafts if r.raft_id == "U1"), upper.routes[0]
    names = [[f"{name}{k:02d}" for k in range(n)] for name, n in zip("ab", counts, strict=True)]
    waters = tuple(
        replace(
            upper,
            water_id=water_id,
            rafts=tuple(replace(raft, raft_id=one, water_id=water_id) for one in own),
            routes=tuple(replace(route, raft_id=one, sequence=k) for k, one in enumerate(own, 1)),
            moorings=(),
        )
        for water_id, own in zip(("a", "b"), names, strict=True)
    )
    body = next(one for one in site.water_bodies if one.water_id == "upper")
    bodies = tuple(replace(body, water_id=water_id) for water_id in ("a", "b"))
    tables = site.settings.model_dump(mode="json", exclude_unset=True)
    tables |= {"yard": {"longitude_deg": 9.3, "latitude_deg": 56.1} | yard}
    site = replace(site, water_bodies=bodies, settings=Settings.model_validate(tables))
    plan = replace(plan, waters=waters)
    made = logistics(plan, site)
    assert made is not None
    return plan, site, made


@pytest.mark.parametrize("day_h", [4.0, 8.0, 24.0])
@pytest.mark.parametrize("counts", [(3, 2), (9, 1), (4, 8)])
def test_trailer_and_launching_have_one_calendar(counts: tuple[int, int], day_h: float) -> None:
    """No raft is launched before its trip, and no crew is in two places."""
    plan, site, made = trailer_plan(counts, day_h=day_h, rafts_per_trip=4)
    steps = launch_steps(plan.waters, site, made)
    assert sorted(step.raft.raft_id for step in steps) == sorted(
        raft.raft_id for water in plan.waters for raft in water.rafts
    )
    left = list(steps)
    end = (1, 0.0)
    for visit in made.visits:
        assert (visit.day, 60 * visit.begins_h) >= end
        own = [left.pop(0) for _ in range(sum(n for _, n in visit.counts))]
        assert {step.water_id for step in own} == {visit.water_id}
        there = (visit.day, 60 * (visit.begins_h + site.settings.yard.set_up_h))
        for step in own:
            assert (step.day, step.start_min) >= there or step.day > visit.day
            assert step.start_min == 0.0 or step.end_min <= 60 * day_h + 1e-6
            there = (step.day, step.end_min)
        assert visit.work_h == pytest.approx(
            site.settings.yard.set_up_h + sum(s.end_min - s.start_min for s in own) / 60
        )
        end = there
    assert made.work_days == steps[-1].day


def test_rafts_of_a_water_come_in_the_order_in_which_they_are_launched() -> None:
    plan, site, made = trailer_plan((6, 0), day_h=8.0, rafts_per_trip=4)
    steps = launch_steps(plan.waters, site, made)
    assert [step.raft.raft_id for step in steps] == [f"a{k:02d}" for k in range(6)]
    assert [dict(visit.counts) for visit in made.visits] == [
        {steps[0].raft.raft_type: 4},
        {steps[0].raft.raft_type: 2},
    ]


@pytest.mark.parametrize(("width_m", "words"), [(2.4, "140 cm ahead, beyond"), (0.5, "limit")])
def test_who_carries_a_raft_is_told_the_niosh_limit(width_m: float, words: str) -> None:
    """Half a width and 20 cm ahead: nothing is recommended beyond 63 cm, 25/45 of 23 kg at 45."""
    (step,) = launch_steps(small.plan().waters, small.site())
    by_hand = replace(step.handling, mass_kg=40.0, carriers=2, people=2, by="carried")
    narrow = replace(step, handling=by_hand, raft=replace(step.raft, width_m=width_m))
    assert words in "; ".join(launch_sheet.cautions(narrow, small.site()))
    light = replace(narrow, handling=replace(by_hand, mass_kg=20.0))
    assert ("limit" in "; ".join(launch_sheet.cautions(light, small.site()))) is False
    assert recommended_weight_kg(20.0 + 25.0, 75.0, 25.0) == pytest.approx(23.0 * 25 / 45)


def test_the_sheet_says_what_to_bring_with_a_raft() -> None:
    """Posts by stock length, as ``moorings.csv`` has them."""
    (row,) = launch_sheet._rows(small.plan(), small.site())
    told = dict(zip(launch_sheet._HEADER, row, strict=True))
    assert "post, " in str(told["bring"])
    posts = [m for m in small.plan().waters[1].moorings if m.raft_id == "U1"]
    counts = [int(part.split(": ")[1].split()[0]) for part in str(told["bring"]).split("; ")]
    assert sum(counts) == len(posts)
    units = [part.split()[-1] for part in str(told["bring"]).split("; ")]
    assert units == ["piece" if count == 1 else "pieces" for count in counts]


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
