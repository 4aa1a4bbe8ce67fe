"""Draft in closed form against slices, and how rafts answer to weight, poles and people."""

import itertools
import math

import numpy as np
import pytest

from geoplan.audit.hulls import sliced_draft
from geoplan.buoyancy import FloatingPole, immersed
from geoplan.raft import RaftType
from geoplan.raft_build import RaftBuild
from geoplan.raft_states import clear_gaps_m, floating_poles, raft_states, sinking_fault

LENGTH_M, WIDTH_M = 4.0, 2.4


def build(count: int = 16, **parts: object) -> RaftBuild:
    """Sixteen thick poles along, twenty thinner across, 30 mm of medium."""
    lower = {"count": count, "diameter_m": 0.14, "wall_m": 0.011, "length_m": LENGTH_M}
    upper = {"count": 20, "diameter_m": 0.11, "wall_m": 0.01, "length_m": WIDTH_M, "layer": 2}
    return RaftBuild.model_validate(
        {"poles": [lower, upper | {"lies": "across"}], "slat_count": 20, "medium_depth_m": 0.03}
        | {"medium_saturated_kg_m3": 750.0}
        | parts
    )


def random_kind(rng: np.random.Generator) -> RaftType:
    """A raft of one to three layers that floats as it should."""
    while True:
        layers = [
            {
                "count": int(rng.integers(4, 16)),
                "diameter_m": float(rng.uniform(0.06, 0.16)),
                "wall_m": float(rng.uniform(0.005, 0.015)),
                "length_m": LENGTH_M if layer % 2 else WIDTH_M,
                "lies": "along" if layer % 2 else "across",
                "layer": layer,
                "sealed_share": float(rng.uniform(0.6, 1.0)),
                "saturated_kg_m3": float(rng.uniform(500, 1200)),
                "drilled_count": int(rng.integers(0, 5)),
            }
            for layer in range(1, int(rng.integers(2, 5)))
        ]
        made = RaftBuild.model_validate(
            {"poles": layers, "slat_count": int(rng.integers(0, 30))}
            | {"medium_depth_m": float(rng.uniform(0, 0.06)), "grown_kg_m2": 5.0}
        )
        if not sinking_fault(made, LENGTH_M, WIDTH_M):
            return RaftType(name="r", length_m=LENGTH_M, width_m=WIDTH_M, build=made)


@pytest.mark.parametrize("seed", range(30))
def test_draft_is_that_of_slices(seed: int) -> None:
    """Brent's root of the closed form against 0.02 mm slices, within 0.1 mm."""
    kind = random_kind(np.random.default_rng(seed))
    assert kind.build is not None
    draft = raft_states(kind.build, LENGTH_M, WIDTH_M)[-1].draft_m
    sliced, _ = sliced_draft(kind)
    assert abs(draft - sliced) <= 1e-4
    assert draft <= kind.draft_m < draft + 1.1e-3


def test_second_moment_of_the_waterplane_is_that_of_slices() -> None:
    """The volume's change by heel: numerically, over strips of the waterplane across the raft."""
    poles = floating_poles(build(), LENGTH_M, WIDTH_M, 0)[:16]
    cut = immersed(poles, 0.09)
    across = np.linspace(-1.2, 1.2, 480_001)
    dry = np.zeros_like(across)
    for pole in poles:
        for diameter, sign in ((pole.outer_m, 1.0), (pole.inner_m, -(1 - pole.sealed_share))):
            half = math.sqrt((diameter / 2) ** 2 - (0.09 - 0.07) ** 2)
            dry += sign * (np.abs(across - pole.offset_m) < half)
    expected = np.trapezoid(dry * across**2, across) * LENGTH_M
    assert cut.roll_m4 == pytest.approx(expected, rel=2e-4)


def test_stages_weigh_more_and_float_deeper() -> None:
    states = raft_states(build(), LENGTH_M, WIDTH_M)
    assert [state.stage for state in states] == ["bare", "launch", "planted", "two_seasons"]
    for one, other in itertools.pairwise(states):
        assert one.mass_kg < other.mass_kg
        assert one.draft_m < other.draft_m


def test_archimedes_holds_at_every_stage() -> None:
    for state in raft_states(build(), LENGTH_M, WIDTH_M):
        assert state.displaced_m3 * 997.0 == pytest.approx(state.mass_kg, rel=1e-12)


def test_thickest_poles_of_a_layer_lie_outside() -> None:
    thick = {"count": 2, "diameter_m": 0.15, "wall_m": 0.01, "length_m": 4.0}
    thin = {"count": 6, "diameter_m": 0.08, "wall_m": 0.008, "length_m": 4.0}
    made = RaftBuild.model_validate({"poles": [thin, thick]})
    poles = sorted(floating_poles(made, LENGTH_M, WIDTH_M, 0), key=lambda pole: pole.offset_m)
    assert [round(pole.outer_m, 2) for pole in poles] == [0.15, *[0.08] * 6, 0.15]
    edges = [(p.offset_m - p.outer_m / 2, p.offset_m + p.outer_m / 2) for p in poles]
    gaps = [right[0] - left[1] for left, right in itertools.pairwise(edges)]
    np.testing.assert_allclose(gaps, clear_gaps_m(made, LENGTH_M, WIDTH_M)[0], atol=1e-12)
    assert edges[0][0] == pytest.approx(-1.2)
    assert edges[-1][1] == pytest.approx(1.2)


def test_drilled_pole_loses_a_chamber() -> None:
    """One hole in one of two poles of 4 m floods 0.4 m of 8 m of hollow."""
    pole = {"count": 2, "diameter_m": 0.1, "wall_m": 0.01, "length_m": 4.0, "sealed_share": 1.0}
    whole, holed = (
        RaftBuild.model_validate({"poles": [pole | {"drilled_count": holes, "chamber_m": 0.4}]})
        for holes in (0, 1)
    )
    full, less = (
        immersed(floating_poles(made, 4.0, 2.4, 0), 0.1).volume_m3 for made in (whole, holed)
    )
    assert full - less == pytest.approx(math.pi * 0.04**2 * 0.4, rel=1e-9)


def test_raft_that_sinks_names_the_poles_that_would_do() -> None:
    fault = sinking_fault(build(count=8), LENGTH_M, WIDTH_M)
    assert "16 poles of 0.14 m in place of 8 would do (36 poles in all)" in fault
    assert sinking_fault(build(count=16), LENGTH_M, WIDTH_M) == ""
    assert sinking_fault(build(count=15), LENGTH_M, WIDTH_M) != ""


def test_raft_that_no_pole_count_floats_says_so() -> None:
    fault = sinking_fault(build(count=8, medium_depth_m=0.2), LENGTH_M, WIDTH_M)
    assert fault.startswith("it sinks")
    assert "no number of poles" in fault


def test_poles_that_do_not_fit_are_refused() -> None:
    assert "wider together" in sinking_fault(build(count=18), LENGTH_M, WIDTH_M)


def test_draft_less_than_the_build_is_refused() -> None:
    with pytest.raises(ValueError, match=r"draft_m 0\.1 is less than the 0\.168 m"):
        RaftType(name="r", length_m=4.0, width_m=2.4, draft_m=0.1, build=build())


def test_neither_draft_nor_build_is_refused() -> None:
    with pytest.raises(ValueError, match="no draft_m"):
        RaftType(name="r", length_m=4.0, width_m=2.4)


def test_heel_is_moment_over_mass_and_gm() -> None:
    """A box-like raft: the person's moment over the loaded displacement and its GM."""
    heavy = raft_states(build(people_count=2), LENGTH_M, WIDTH_M)[2]
    light = raft_states(build(people_count=1), LENGTH_M, WIDTH_M)[2]
    none = raft_states(build(people_count=0), LENGTH_M, WIDTH_M)[2]
    assert none.heel_deg == none.trim_deg == 0
    assert light.heel_deg < heavy.heel_deg
    assert light.trim_deg < light.heel_deg


def test_pole_is_what_it_displaces_at_any_height() -> None:
    pole = FloatingPole(0.2, 0.1, 0.0, 2.0, 1.0, 0.0, True)
    assert immersed([pole], 0.2).volume_m3 == pytest.approx(0.0, abs=1e-15)
    assert immersed([pole], 0.25).volume_m3 == pytest.approx(math.pi * 0.05**2, rel=1e-12)
    assert immersed([pole], 0.25).moment_m4 / immersed([pole], 0.25).volume_m3 == pytest.approx(
        0.25 - 4 * 0.05 / (3 * math.pi), rel=1e-12
    )
