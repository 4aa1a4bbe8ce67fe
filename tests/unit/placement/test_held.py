"""Rafts that a person holds count in every sum, and are refused with the amount they lack."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from geoplan.placement.allowed import Surroundings
from geoplan.placement.held import HeldBenefit, held_faults, held_poses, sum_faults
from geoplan.placement.place import place_benefit, place_rafts
from geoplan.placement.rules import GAP
from geoplan.raft import footprints
from geoplan.reasons import HeldRaft
from geoplan.site import ExistingRaft, Inflow, KeepClear, Outlet
from tests.unit.placement.test_rules import BASE, SIDE, around


def held(easting_m: float, northing_m: float, heading_deg: float = 90.0) -> HeldRaft:
    outline = footprints([easting_m], [northing_m], [heading_deg], [4.0], [2.0])[0]
    where = f"mine.geojson, feature at {easting_m:g}, {northing_m:g}"
    return HeldRaft(where, "w", "a", easting_m, northing_m, heading_deg, outline)


def holding(about: Surroundings, *rafts: HeldRaft) -> Surroundings:
    return replace(about, held=rafts)


def test_the_rest_goes_round_them_within_stock_cover_and_gap() -> None:
    about = holding(around(), held(20, 20), held(11, 7, 33.0))
    assert held_faults(about) == ()
    placement = place_rafts(about)
    assert len(placement.rafts) == 9  # the stock, held ones among them
    assert sum(raft.is_kept for raft in placement.rafts) == 2
    assert all(raft.status == "planned" for raft in placement.rafts)
    shapes = np.concatenate([part.outlines for part in placement.poses])
    gaps = [a.distance(b) for k, a in enumerate(shapes) for b in shapes[:k]]
    assert min(gaps) >= 1.0
    assert placement.report.value <= placement.report.bound + 1e-9
    assert placement.report.value == pytest.approx(9 * 7.2)


def test_they_count_against_cover_and_budget() -> None:
    about = holding(around(), held(20, 20))
    about = replace(about, body=replace(about.body, max_cover_pct=1.01))
    assert len(place_rafts(about).rafts) == 2  # 16 of 1,600 m² are 1 %
    costly = {"budget": {"limit": 100.0}, "raft": [BASE["raft"][0] | {"cost": 40.0}]}  # type: ignore[index]
    assert len(place_rafts(holding(around(settings=costly), held(20, 20))).rafts) == 2


def test_the_tangent_in_the_others_touches_the_worth_of_all() -> None:
    about = holding(around(), held(20, 20))
    plain = place_benefit(about)
    benefit = HeldBenefit(plain, held_poses(about), ("a",))
    others = place_rafts(replace(about, held=())).poses
    tangent = benefit.tangent(others)
    assert tangent.value == pytest.approx(plain.tangent((*held_poses(about), *others)).value)
    linear = sum(float(part.value.sum()) for part in others)
    assert tangent.constant + linear == pytest.approx(tangent.value)


@pytest.mark.parametrize(
    ("about", "raft", "words"),
    [
        (around(), held(0, 20), "4.00 m² of the raft off the water"),
        (around(), held(20, 2.5), "1.50 m from the bank at low level, 0.50 m too near"),
        (around(bed_m=9.5 - 1.2), held(20, 20), "0.15 m too little"),
        (
            around(outlets=(Outlet("o", shapely.Point(20, 15)),)),
            held(20, 20),
            "4.00 m from outlet 'o', 1.00 m too near",
        ),
        (
            around(keep_clear=(KeepClear(shapely.Point(20, 17), 3.0, "main"),)),
            held(20, 20),
            "kept clear (main), 1.00 m too near",
        ),
        (
            around(
                inflows=(Inflow("i", shapely.Point(20, 15), 5.0),),
                settings={"clearances": {"inflow_m": 6.0}},
            ),
            held(20, 20),
            "inflow 'i', 2.00 m too near",
        ),
        (
            around(rafts=(ExistingRaft("x", shapely.box(18, 21.3, 22, 23)),)),
            held(20, 20),
            "0.30 m from raft 'x', which lies there already, 0.70 m too near",
        ),
        (
            holding(around(), held(20, 22.25)),
            held(20, 20),
            "0.25 m from that of mine.geojson",
        ),
        (holding(around(), held(21, 20)), held(20, 20), "6.00 m² in common"),
    ],
)
def test_what_breaks_a_rule_is_refused_with_the_amount(
    about: Surroundings, raft: HeldRaft, words: str
) -> None:
    (fault,) = held_faults(holding(about, *about.held, raft))
    assert words in str(fault)
    assert "mine.geojson" in str(fault)
    assert fault.severity == "error"


def test_too_little_sun_and_too_much_cover() -> None:
    about = around()
    dark = replace(about.fields, sun_h=np.full(about.fields.grid.shape, 3.4))
    (fault,) = held_faults(holding(replace(about, fields=dark), held(20, 20)))
    assert "0.6 h too little" in str(fault)
    small = replace(about, body=replace(about.body, max_cover_pct=0.4))
    (fault,) = held_faults(holding(small, held(20, 20)))
    assert "0.10 % too much" in str(fault)


def test_more_than_the_stock_or_the_budget() -> None:
    settings = around(
        settings={
            "budget": {"limit": 70.0},
            "raft": [BASE["raft"][0] | {"stock": 1, "cost": 40.0}],  # type: ignore[index]
        }
    ).settings
    stock, budget = sum_faults((held(10, 10), held(20, 20)), settings)
    assert "1 too many" in str(stock)
    assert "10 too much" in str(budget)
    assert sum_faults((held(10, 10),), settings) == ()
    assert SIDE == 40.0


def test_a_raft_at_the_very_limit_may_stay() -> None:
    assert held_faults(holding(around(), held(4.0, 3.0), held(9.0, 3.0))) == ()


def test_rafts_that_the_search_put_beside_one_already_there_may_be_held_there() -> None:
    """Rafts on lines swing; one that is there does not, and takes less room than two of them."""
    lines = {"raft": [BASE["raft"][0] | {"mooring": "lines", "root_depth_m": 0.5}]}  # type: ignore[index]
    there = ExistingRaft("x", shapely.box(18, 19, 22, 21))
    about = around(rafts=(there,), settings=lines)
    rafts = [raft for raft in place_rafts(about).rafts if raft.status == "planned"]
    assert rafts
    mine = tuple(held(raft.easting_m, raft.northing_m, raft.heading_deg) for raft in rafts)
    kind = about.settings.raft[0]
    assert GAP.to_existing_m(about, kind) < GAP.gap_m(about)
    nearest = min(float(raft.outline.distance(there.outline)) for raft in mine)
    assert nearest < GAP.gap_m(about)  # else it would show nothing
    assert held_faults(holding(about, *mine)) == ()
    assert held_faults(holding(about, held(20, 24.5)))
