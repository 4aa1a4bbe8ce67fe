"""Loads, lines and posts against published equations and worked examples."""

import math
from typing import get_args

import numpy as np
import pytest
import shapely
from pydantic import ValidationError

from geoplan.mooring.broms import CohesiveBed, GranularBed
from geoplan.mooring.envelope import swept_envelope
from geoplan.mooring.lines import catenary, dead_weight_kg, line_angle_deg, watch_radius_m
from geoplan.mooring.loads import BLUNT_DRAG, Exposure, drift_n_m, governing_case, wind_n
from geoplan.post_sections import tube_modulus_m3
from geoplan.raft_build import RaftBuild
from geoplan.raft_states import raft_states
from geoplan.settings import Settings
from geoplan.settings_works import MooringSettings


@pytest.mark.published("Wind pressure rho U²/2 with 1.225 kg/m³, arithmetic (exact)")
@pytest.mark.parametrize(("speed", "pressure"), [(15.0, 137.8), (20.0, 245.0), (25.0, 382.8)])
def test_wind_pressure(speed: float, pressure: float) -> None:
    """Half a unit of the last decimal."""
    assert float(wind_n(1.0, speed)) / BLUNT_DRAG == pytest.approx(pressure, abs=0.05)


@pytest.mark.published("Wind at 1 m from 10 m: power 1/7, and logarithm over 0.2 mm (closed form)")
@pytest.mark.parametrize(
    ("share", "printed"), [(0.1 ** (1 / 7), 0.720), (math.log(5_000) / math.log(50_000), 0.787)]
)
def test_wind_at_ten_metres_is_on_the_safe_side(share: float, printed: float) -> None:
    """Plants 1 m high are loaded by the whole wind at 10 m: more than by either profile."""
    assert share == pytest.approx(printed, abs=5e-4)
    raft = Exposure(2.0, 1e-9, 0.0, 1.0, 1.0, 0.0, 0.0)
    stated = governing_case(raft, 0.0, np.array([90.0]), 20.0, 0.0, np.zeros(1)).wind_n
    by_profile = BLUNT_DRAG * 2.0 * 0.5 * 1.225 * (share * 20.0) ** 2
    assert by_profile / stated == pytest.approx(printed**2, abs=2e-3)


@pytest.mark.published("Wind on a 2 x 1 m side, drag 1.2, solidity one half, arithmetic (exact)")
@pytest.mark.parametrize(
    ("speed", "solidity", "load"), [(20.0, 0.5, 294.0), (25.0, 0.5, 459.4), (20.0, 1.0, 588.0)]
)
def test_wind_on_plants(speed: float, solidity: float, load: float) -> None:
    """From abeam of a raft 2 m long with plants 1 m high."""
    raft = Exposure(2.0, 1e-9, 0.0, 1.0, solidity, 0.0, 0.0)
    case = governing_case(raft, 0.0, np.array([90.0]), speed, 0.0, np.zeros(1))
    assert case.wind_n == pytest.approx(load, abs=0.1)


@pytest.mark.published("Current on hull and root curtain, rho Cd A V²/2, arithmetic (exact)")
def test_current_on_hull_and_roots() -> None:
    """2 x 0.25 m of hull at drag 1.2: 27 N; 2 x 0.5 m of roots at drag 1: 45 N; 0.3 m/s."""
    across = np.array([90.0])
    hull = governing_case(
        Exposure(2.0, 1e-9, 0.0, 0.0, 0.0, 0.25, 0.0), 0.0, across, 0.0, 0.3, np.zeros(1)
    )
    roots = governing_case(
        Exposure(2.0, 1e-9, 0.0, 0.0, 0.0, 0.0, 0.5), 0.0, across, 0.0, 0.3, np.zeros(1)
    )
    assert hull.current_n == pytest.approx(27.0, abs=0.01)
    assert roots.current_n == pytest.approx(45.0, abs=0.01)


@pytest.mark.published("Longuet-Higgins 1977, mean force of waves thrown back whole (recalled)")
def test_mean_wave_drift() -> None:
    """Hs 0.25 m: 38.3 N for each metre."""
    assert float(drift_n_m(0.25)) == pytest.approx(38.3, abs=0.05)


@pytest.mark.published("Taut line r = sqrt(L² - h²), closed form (exact)")
@pytest.mark.parametrize(
    ("length", "depth", "radius"),
    [
        (6.0, 1.0, 5.916),
        (6.0, 2.0, 5.657),
        (6.0, 3.0, 5.196),
        (3.0, 2.0, 2.236),
        (3.354, 3.0, 1.5),
        (3.354, 2.0, 2.693),
    ],
)
def test_taut_line(length: float, depth: float, radius: float) -> None:
    """The watch circle grows when the water falls."""
    assert float(watch_radius_m(length, depth)) == pytest.approx(radius, abs=6e-4)


@pytest.mark.published("A line shorter than the water is deep pulls the raft under (exact)")
def test_line_shorter_than_the_water_is_refused() -> None:
    """No radius is given."""
    with pytest.raises(ValueError, match="pulls the raft under"):
        watch_radius_m(2.0, 2.5)


@pytest.mark.published("Catenary: s² = h² + 2ah, x = a acosh(1 + h/a), T = H + wh (read; exact)")
@pytest.mark.parametrize(
    ("pull", "weight", "depth", "arc", "extent", "tension"),
    [
        (500.0, 20.0, 3.0, 12.6095, 12.1282, 560.0),
        (300.0, 10.0, 2.0, 11.1355, 10.8945, 320.0),
        (500.0, 20.0, 1.5, 8.7892, 8.6175, 530.0),
    ],
)
def test_catenary(
    pull: float, weight: float, depth: float, arc: float, extent: float, tension: float
) -> None:
    """Half a unit of the fourth decimal, and T² = H² + (ws)²."""
    s, x, t = catenary(pull, weight, depth)
    assert (s, x, t) == pytest.approx((arc, extent, tension), abs=5e-5)
    assert t**2 == pytest.approx(pull**2 + (weight * s) ** 2, rel=1e-12)
    assert x < s


@pytest.mark.published("20 m of line laid in 3 m: slack 17.0, at 500 N 19.519, taut 19.774 (exact)")
def test_line_partly_on_the_bed() -> None:
    """What does not hang lies straight on the bed."""
    s, x, _ = catenary(500.0, 20.0, 3.0)
    assert 20.0 - s + x == pytest.approx(19.519, abs=5e-4)
    light, near, _ = catenary(1e-6, 20.0, 3.0)
    assert 20.0 - light + near == pytest.approx(17.0, abs=1e-3)
    assert float(watch_radius_m(20.0, 3.0)) == pytest.approx(19.774, abs=5e-4)


@pytest.mark.published("Angle of a straight line, asin(1/scope), closed form (exact)")
@pytest.mark.parametrize(("scope", "angle"), [(3.0, 19.47), (5.0, 11.54), (7.0, 8.21)])
def test_scope_and_angle(scope: float, angle: float) -> None:
    """Half a unit of the second decimal."""
    assert line_angle_deg(scope) == pytest.approx(angle, abs=5e-3)


@pytest.mark.published(
    "Lead above 8° lifts a drag anchor, so 7 to 1 for rope: a sailing article (read)"
)
def test_steep_lines_get_no_drag_anchor() -> None:
    """At 7 to 1 the line lies at 8.2°; steeper ones, as here, hang on anchors that bear lift."""
    assert line_angle_deg(7.0) == pytest.approx(8.21, abs=5e-3)
    assert line_angle_deg(6.0) > 9.0
    kinds = get_args(MooringSettings.model_fields["anchor"].annotation)
    assert set(kinds) == {"screw", "embedded", "dead_weight"}
    # A block that hangs on a line at 45° weighs more than one drawn along the bed.
    assert dead_weight_kg(700.0, 700.0, 0.4, 2.0, 2300.0) > dead_weight_kg(
        700.0, 0.0, 0.4, 2.0, 2300.0
    )


@pytest.mark.published("No post through a liner: good practice (recalled)")
@pytest.mark.parametrize(
    ("kind", "anchor", "fault"),
    [("posts", "dead_weight", "asks for posts"), ("lines", "screw", "would pierce")],
)
def test_nothing_pierces_a_liner(kind: str, anchor: str, fault: str) -> None:
    """Neither posts nor screws; blocks on lines are let through."""
    raft = {"name": "a", "length_m": 4.0, "width_m": 2.4, "draft_m": 0.2}
    pond = {"name": "Pond", "levels": {"low_m": 9.7, "normal_m": 10, "high_m": 10.4}}
    pond |= {"bed": {"lined": True}}
    with pytest.raises(ValidationError, match=fault):
        Settings.model_validate(
            pond | {"raft": [raft | {"mooring": kind}], "mooring": {"anchor": anchor}}
        )
    held = {"raft": [raft | {"mooring": "lines"}], "mooring": {"anchor": "dead_weight"}}
    assert Settings.model_validate(pond | held).bed.lined


@pytest.mark.published("Reese and Van Impe, appendix A: short free-headed pile in clay (read)")
def test_worked_example_of_a_pile_in_clay() -> None:
    """P² + 1083 P - 67 900 = 0 in kN, printed in whole numbers: 0.1 %."""
    printed = (-1083 + math.sqrt(1083**2 + 4 * 67_900)) / 2
    bed = CohesiveBed(47_880.0)
    load = bed.ultimate_n(0.305, 2.44, 0.61)
    assert load / 1000 == pytest.approx(printed, rel=1e-3)
    assert load / 1000 == pytest.approx(59.46, abs=0.006)
    moment = bed.moment_n_m(0.305, load, 0.61)
    assert moment / 1000 == pytest.approx(76.93, abs=0.01)
    assert moment * 0.1525 / 1.75e-4 / 1e6 == pytest.approx(67.0, abs=0.06)
    depth = load / (9 * 47_880 * 0.305)
    assert depth == pytest.approx(0.4524, abs=1e-4)
    rest = 2.44 - 1.5 * 0.305 - depth
    assert moment == pytest.approx(2.25 * 47_880 * 0.305 * rest**2, rel=1e-9)


@pytest.mark.published("Broms 1964a, cohesive, free head, at the scale of a raft (read; derived)")
@pytest.mark.parametrize(
    ("strength", "embedment", "arm", "load"),
    [
        (10.0, 1.5, 1.5, 1.728),
        (5.0, 1.5, 1.5, 0.864),
        (20.0, 1.5, 1.5, 3.456),
        (10.0, 2.0, 1.5, 2.900),
        (10.0, 1.5, 0.0, 4.337),
    ],
)
def test_posts_in_clay(strength: float, embedment: float, arm: float, load: float) -> None:
    """Width 0.1 m, load in kN; half a unit of the third decimal."""
    bed = CohesiveBed(1000 * strength)
    assert bed.ultimate_n(0.1, embedment, arm) / 1000 == pytest.approx(load, abs=6e-4)


@pytest.mark.published("Fixed head 9 cu b (L - 1.5 b) is no post of a raft (second hand)")
def test_fixed_head_formula_is_not_used() -> None:
    """b 0.6 m, L 8 m, 50 kPa: 1917 kN fixed; free it bears less than half."""
    fixed = 9 * 50e3 * 0.6 * (8 - 0.9)
    assert fixed / 1000 == pytest.approx(1917, abs=0.5)
    assert CohesiveBed(50e3).ultimate_n(0.6, 8.0, 0.0) < 0.5 * fixed


@pytest.mark.published("Broms 1964b, granular, free head (recalled)")
@pytest.mark.parametrize(
    ("embedment", "arm", "load"), [(1.5, 1.5, 1.519), (1.0, 1.5, 0.540), (1.5, 0.0, 3.038)]
)
def test_posts_in_sand(embedment: float, arm: float, load: float) -> None:
    """γ' 9 kN/m³, width 0.1 m, 30°: Kp 3; load in kN."""
    bed = GranularBed(30.0, 9000.0)
    assert bed.passive == pytest.approx(3.0, rel=1e-12)
    assert bed.ultimate_n(0.1, embedment, arm) / 1000 == pytest.approx(load, abs=6e-4)


@pytest.mark.published("Greatest moments of posts in clay and sand, Broms 1964 (recalled)")
def test_moments_of_posts() -> None:
    """3.017 and 2.901 kN·m; the last with 0.82 for sqrt(2/3), which is 0.1 % more."""
    clay, sand = CohesiveBed(10e3), GranularBed(30.0, 9000.0)
    assert clay.moment_n_m(0.1, clay.ultimate_n(0.1, 1.5, 1.5), 1.5) == pytest.approx(3017, abs=1)
    assert sand.moment_n_m(0.1, sand.ultimate_n(0.1, 1.5, 1.5), 1.5) == pytest.approx(2901, abs=4)


@pytest.mark.published("Section modulus of a hollow culm 100/80 mm, closed form (exact)")
def test_culm_may_fail_before_the_bed() -> None:
    """5.796e-5 m³: 0.5 kN·m bring 8.63 MPa, 3.017 kN·m 52.1 MPa."""
    modulus = tube_modulus_m3(0.100, 0.080)
    assert modulus == pytest.approx(5.796e-5, abs=5e-9)
    assert 500 / modulus / 1e6 == pytest.approx(8.63, abs=0.005)
    assert 3017 / modulus / 1e6 == pytest.approx(52.1, abs=0.05)


@pytest.mark.published("Sweep of a 2 x 1 m raft on one line, closed form (exact)")
@pytest.mark.parametrize(("ahead", "beyond"), [(0.0, 1.118), (1.0, 2.062)])
def test_sweep_adds_the_farthest_corner(ahead: float, beyond: float) -> None:
    """On its centre, and tethered at the middle of a short side; drawn at most 3 % outside."""
    at = np.array([[ahead, 0.0]])
    envelope = swept_envelope(2.0, 1.0, at, at, np.array([2.693]))
    far = shapely.hausdorff_distance(envelope, shapely.Point(ahead, 0.0))
    assert 2.693 + beyond - 5e-4 <= far <= (2.693 + beyond) * 1.03


@pytest.mark.published("Wet medium: dry over one less moisture; dry and full pores (exact)")
@pytest.mark.parametrize(
    ("light", "heavy", "more"),
    [
        (300.0, 300.0 + 0.7 * 1000.0, 700.0),  # pores of 0.7, full: 1000 kg/m³
        (300.0 / (1 - 0.5), 300.0 / (1 - 0.6), 150.0),  # moisture 50 and 60 %: 600 and 750 kg/m³
    ],
)
def test_medium_weighs_what_its_water_does(light: float, heavy: float, more: float) -> None:
    """On a raft of 4 x 2.4 m with 20 mm of it."""
    poles = {"count": 10, "diameter_m": 0.2, "wall_m": 0.005, "length_m": 4.0}
    dry, full = (
        raft_states(
            RaftBuild.model_validate(
                {"poles": [poles], "medium_depth_m": 0.02, "medium_saturated_kg_m3": density}
            ),
            4.0,
            2.4,
        )[2]
        for density in (light, heavy)
    )
    assert full.mass_kg - dry.mass_kg == pytest.approx(4.0 * 2.4 * 0.02 * more, rel=1e-9)
