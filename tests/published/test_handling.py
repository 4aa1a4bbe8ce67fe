"""Lifting, carrying and hauling against the figures of those who publish them."""

import math

import pytest
import shapely
from shapely.geometry import Point

from geoplan.launch.bank import WadingGround, wading_leg
from geoplan.launch.bank_choice import ASSUMED_SLOPE_PCT
from geoplan.launch.handling import (
    haul_force_n,
    recommended_weight_kg,
    team_lift_kg,
)
from tests.unit.launch.lakes import LOW_M, SIGMA_M, fields

_LB_KG = 0.45359237


@pytest.mark.published(
    "NIOSH 94-110, example 4, origin: 51 x 1.0 x .94 x .87 x 1.0 x .88 x .95 = 34.9 lb; by a second"
    " source, read"
)
def test_the_manual_s_example_of_lifting() -> None:
    """H 10 in, V 23 in, D 37 in, FM .88, CM .95; the manual rounds each factor to two digits."""
    found = recommended_weight_kg(10 * 2.54, 23 * 2.54, 37 * 2.54, frequency=0.88, coupling=0.95)
    # 23 kg stands for 51 lb, which it falls short of by 0.6 %; rounding makes the rest.
    assert found / _LB_KG == pytest.approx(34.9, rel=0.02)
    # Of 51 lb 34.814 unrounded; the metric factors take 25 cm for 10 in, and a rounder VM.
    assert found / 23.0 == pytest.approx(34.814 / 51, rel=0.007)


@pytest.mark.published(
    "NIOSH lifting equation in metric units, as defined; by a second source, read"
)
@pytest.mark.parametrize(
    ("horizontal_cm", "vertical_cm", "travel_cm", "frequency", "expected_kg"),
    [(25, 75, 25, 1.0, 23.0), (20, 75, 10, 1.0, 23.0), (40, 70, 40, 0.94, 12.411)],
)
def test_the_lifting_equation(
    horizontal_cm: float, vertical_cm: float, travel_cm: float, frequency: float, expected_kg: float
) -> None:
    found = recommended_weight_kg(horizontal_cm, vertical_cm, travel_cm, frequency=frequency)
    assert found == pytest.approx(expected_kg, abs=5e-4)


@pytest.mark.published("NIOSH lifting equation: HM = 0 beyond 63 cm; by a second source, read")
def test_a_raft_held_flat_from_its_edge_is_outside_the_equation() -> None:
    """A raft of 1 m held from its edge has its middle 70 cm ahead."""
    assert recommended_weight_kg(20 + 100 / 2, 75, 25) == 0.0


@pytest.mark.published("HSE L23: two people lift two thirds, three a half of the sum; recalled")
def test_teams_lift_less_than_the_sum() -> None:
    assert team_lift_kg(2, 25) == pytest.approx(33.3, abs=0.05)
    assert team_lift_kg(3, 25) == 37.5
    assert team_lift_kg(2, 16) == pytest.approx(21.3, abs=0.05)
    assert team_lift_kg(3, 16) == 24.0
    assert team_lift_kg(4, 16) is None


@pytest.mark.published("Boat ramps of 12 to 15 %: WAC 220-660-150, read; statics of a plane, exact")
def test_the_pull_up_a_ramp() -> None:
    assert haul_force_n(100, 15, 0) == pytest.approx(145.5, abs=0.05)
    assert haul_force_n(100, 12, 0) == pytest.approx(116.9, abs=0.05)
    assert haul_force_n(100, 0, 0.4) == pytest.approx(392, abs=0.5)
    assert haul_force_n(100, 15, 0.4) == pytest.approx(534, abs=0.5)
    # On a bank as steep as its angle of friction a load just stays: 12 % is 6.843°, 15 % 8.531°.
    for slope, angle_deg in ((12.0, 6.843), (15.0, 8.531)):
        lean = math.radians(angle_deg)
        pull = haul_force_n(100, slope, 0) / 9.81 / 100
        assert pull == pytest.approx(math.sin(lean), abs=1e-5)
    assert ASSUMED_SLOPE_PCT == 15.0  # the steep end of usual ramps


@pytest.mark.published(
    "Statics of a plane, exact: 0.5 m of water 3.33 m out on a ramp of 15 %, 5.0 m on one of 10 %"
)
@pytest.mark.parametrize(("slope_pct", "out_m"), [(15.0, 3.33), (10.0, 5.0)])
def test_how_far_out_a_ramp_is_waded(slope_pct: float, out_m: float) -> None:
    """Depth is told by cells of half a metre, at the most that is plausible."""
    pond = shapely.box(0, 0, 40, 30)
    bed = fields(pond, lambda east, north: slope_pct / 100 * north + 0 * east)
    ground = WadingGround.of(pond, bed, LOW_M, 5.0)
    room = shapely.box(2, out_m, 38, 28)
    found = wading_leg(Point(10, 0), room, ground, shapely.GeometryCollection(), (4.0, 2.4))
    assert found is not None
    deepest_m = found.afloat_depth_m
    assert deepest_m - 2 * 2.33 * SIGMA_M == pytest.approx(0.5, abs=0.5 * slope_pct / 100)
