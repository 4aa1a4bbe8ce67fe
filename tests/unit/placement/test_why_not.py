"""Why not here: a partition of the water, and amounts by hand arithmetic on a square pond."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
import shapely

from geoplan.placement.allowed import Surroundings
from geoplan.placement.explain import reasons_of
from geoplan.placement.place import place_rafts
from geoplan.reasons import Reasons
from geoplan.site import ExistingRaft, Inflow, KeepClear, Outlet
from tests.unit.placement.test_rules import BASE, SIDE, around


def reasons(about: Surroundings, allotment: dict[str, int] | None = None) -> Reasons:
    return reasons_of(about, None, place_rafts(about, None, allotment))


def busy() -> Surroundings:
    """A square with everything in it that takes water away."""
    about = around(
        shallow_cols=8,
        outlets=(Outlet("o", shapely.Point(SIDE, 0), width_m=2.0),),
        inflows=(Inflow("i", shapely.Point(SIDE, SIDE), 5.0, 60.0, 0.3),),
        keep_clear=(KeepClear(shapely.LineString([(-5, 25), (45, 25)]), 1.0, "main"),),
        rafts=(ExistingRaft("x", shapely.box(20, 10, 24, 12)),),
    )
    fields = about.fields
    lost = fields.is_unsurveyed.copy()
    lost[4:20, 40:60] = True
    bed = np.where(lost, np.nan, fields.reliable_bed_m)
    sun = np.where(fields.grid.easting_m > 35, 2.0, 9.0) * np.ones(fields.grid.shape)
    return replace(about, fields=replace(fields, is_unsurveyed=lost, reliable_bed_m=bed, sun_h=sun))


def test_parts_are_the_water_each_place_once() -> None:
    about = busy()
    placement = place_rafts(about)
    parts = reasons_of(about, None, placement).why_not
    assert {part.rule for part in parts} >= {
        *("bank", "survey", "depth", "keep_clear", "outlet", "inflow", "sun", "gap", "raft"),
        "stock",
    }
    assert sum(part.area.area for part in parts) == pytest.approx(SIDE**2, abs=1e-3)
    for one, other in itertools.combinations(parts, 2):
        assert shapely.intersection(one.area, other.area).area < 1e-3
    assert sum(part.area_m2 for part in parts) == pytest.approx(SIDE**2, rel=1e-5)
    room = sum(part.area.area for part in parts if part.is_room)
    assert room == pytest.approx(placement.room_m2, abs=0.01)
    rafts = sum(part.area.area for part in parts if part.rule == "raft")
    assert rafts == pytest.approx(9 * 8.0, abs=1e-3)


def test_the_first_rule_governs_and_the_rest_is_counted_apart() -> None:
    outlet = Outlet("o", shapely.Point(0, 20), width_m=2.0)
    parts = {part.rule: part for part in reasons(around(outlets=(outlet,))).why_not}
    border = SIDE**2 - (SIDE - 4.2) ** 2  # 2 m, and 0.1 m for a contour of the bed
    assert parts["bank"].area.area == pytest.approx(border, rel=1.5e-2)
    # Half a disc of 6 m lies in the pond; the border of 2 m already has its foot.
    half, foot = np.pi * 36 / 2, 2 * (2 * np.sqrt(32) / 2 + 18 * np.arcsin(1 / 3))
    assert parts["outlet"].alone_m2 == pytest.approx(half, rel=3e-2)
    assert parts["outlet"].only_m2 == pytest.approx(half - foot, rel=4e-2)
    assert parts["outlet"].area.area == pytest.approx(parts["outlet"].only_m2, rel=1e-6)


def test_room_left_over_is_free_where_nothing_is_spent() -> None:
    unlimited = BASE["raft"][0] | {"stock": None}  # type: ignore[index]
    about = around(settings={"raft": [unlimited]})
    names = {part.rule for part in reasons(about).why_not}
    assert "cover" in names
    about = replace(about, body=replace(about.body, max_cover_pct=100.0))
    names = {part.rule for part in reasons(about).why_not}
    assert "free" in names
    assert "cover" not in names


def test_narrow_water_is_told_from_room() -> None:
    # Two services 3.2 m apart leave a lane of 1.2 m, and a raft is 2 m wide.
    lanes = tuple(
        KeepClear(shapely.LineString([(-5, y), (45, y)]), 1.0, "main") for y in (18.0, 21.2)
    )
    parts = {part.rule: part for part in reasons(around(keep_clear=lanes)).why_not}
    assert parts["narrow"].area.area == pytest.approx(36.0 * 1.2, rel=3e-2)
    assert "'a'" in parts["narrow"].words


def test_depth_says_how_much_water_is_missing() -> None:
    # Need 1.35 m; a bed 1.2 m below low level lacks 0.15 m everywhere.
    about = around(bed_m=9.5 - 1.2)
    assert place_rafts(about).why_none
    (one,) = reasons(about).yields
    assert (one.rule, one.unit) == ("depth", "m")
    assert one.amount == pytest.approx(0.15, abs=0.0101)
    assert one.amount >= 0.15 - 1e-9
    assert one.opens_m2 == pytest.approx((SIDE - 4) ** 2, rel=2e-2)
    assert "0.15 m" in one.words or "0.16 m" in one.words


def test_bank_says_how_much_it_would_have_to_yield() -> None:
    # A raft of 4 by 2 m fits a square of 4 m: 18 m from each bank of 40 m.
    about = around(settings={"clearances": {"bank_m": 19.5}})
    (one,) = reasons(about).yields
    assert one.rule == "bank"
    # The offset is drawn up to 1.2 % beyond, 0.22 m of 18 m.
    assert 1.5 <= one.amount <= 1.5 + 0.012 * 18 + 0.02


def test_sun_and_survey_are_asked_too() -> None:
    about = around()
    dark = replace(about.fields, sun_h=np.full(about.fields.grid.shape, 3.4))
    (one,) = reasons(replace(about, fields=dark)).yields
    assert (one.rule, one.unit) == ("sun", "h")
    assert one.amount == pytest.approx(0.7, abs=0.011)  # 4 h and a tenth in reserve
    water = about.fields.grid.water
    blind = replace(
        about.fields,
        is_unsurveyed=water,
        reliable_bed_m=np.full(water.shape, np.nan),
    )
    (one,) = reasons(replace(about, fields=blind)).yields
    assert one.rule == "survey"
    assert one.amount == pytest.approx(SIDE**2)
    assert "sounding" in one.words


def test_two_rules_that_each_forbid_all_say_that_none_alone_helps() -> None:
    about = around(bed_m=9.4, settings={"clearances": {"bank_m": 19.5}})
    assert reasons(about).yields == ()


@pytest.mark.parametrize(
    ("tables", "cap", "rule", "amount", "unit"),
    [
        ({"raft": [BASE["raft"][0] | {"stock": 0}]}, 20.0, "stock", 1.0, "rafts"),  # type: ignore[index]
        (
            {"budget": {"limit": 30.0}, "raft": [BASE["raft"][0] | {"cost": 40.0}]},  # type: ignore[index]
            20.0,
            "budget",
            10.0,
            "currency",
        ),
        ({}, 0.2, "cover", 0.3, "%"),  # 8 of 1,600 m² are 0.5 %
    ],
)
def test_limits_say_what_one_raft_lacks(
    tables: dict[str, object], cap: float, rule: str, amount: float, unit: str
) -> None:
    about = around(settings=tables)
    about = replace(about, body=replace(about.body, max_cover_pct=cap))
    (one,) = reasons(about).yields
    assert (one.rule, one.unit) == (rule, unit)
    assert one.amount == pytest.approx(amount, abs=0.011)


def test_one_more_raft_is_worth_its_planted_area_where_worth_is_the_same_everywhere() -> None:
    prices = {price.limit: price for price in reasons(around()).prices}
    assert prices["stock of 'a'"].most == pytest.approx(8.0 * 0.9, rel=1e-6)
    assert prices["cover of the normal pool"].most == pytest.approx(0.0, abs=1e-9)


def test_the_other_plan_lies_elsewhere_and_within_every_rule() -> None:
    about = busy()
    placement = place_rafts(about)
    (other,) = reasons_of(about, None, placement).alternatives
    assert other.moved_pct >= 50.0
    assert other.value <= placement.report.bound + 1e-9
    assert other.cost_pct == pytest.approx(100 * (1 - other.value / placement.report.value))
    from geoplan.exports.reason_rows import alternative_outlines

    outlines = alternative_outlines(other)
    assert len(outlines) <= 9
    region = placement.regions[0].region.buffer(1e-6)
    assert all(region.covers(outline) for outline in outlines)
    for one, two in itertools.combinations(outlines, 2):
        assert one.distance(two) >= 1.0
