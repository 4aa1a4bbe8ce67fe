"""Reach of a jet that enters a pond."""

import math

import pytest

from geoplan.water.jets import jet_standoff_m

DEEP_M = 1e6
"""Water so deep that the jet stays round."""


def flow_m3_s(speed_m_s: float, pipe_m: float) -> float:
    """Flow of a full pipe."""
    return speed_m_s * math.pi * pipe_m**2 / 4


@pytest.mark.published(
    "Albertson, Dai, Jensen, Rouse (1950), Trans. ASCE 115, 639-664: Um/U0 = 6.2 D/x, recalled;"
    " agrees with 7.0 M^½/x of Fischer et al. (1979)"
)
@pytest.mark.parametrize(
    ("speed_m_s", "pipe_m", "limit_m_s", "reach_m"),
    [
        (2.0, 0.6, 0.5, 14.88),
        (2.0, 0.6, 0.3, 24.8),
        (1.5, 0.45, 0.3, 13.95),
        (3.0, 0.9, 0.3, 55.8),
        (1.0, 0.3, 0.2, 9.3),
    ],
)
def test_round_jet(speed_m_s: float, pipe_m: float, limit_m_s: float, reach_m: float) -> None:
    reach = jet_standoff_m(pipe_m, flow_m3_s(speed_m_s, pipe_m), DEEP_M, limit_m_s)
    assert reach == pytest.approx(reach_m, abs=5e-3)


@pytest.mark.published(
    "The same, second method: x = 7.0 M^½/u with M the flux of momentum over density, Fischer et"
    " al. (1979), Mixing in Inland and Coastal Waters, ch. 9, recalled"
)
def test_round_jet_by_its_momentum() -> None:
    momentum_m4_s2 = 2.0**2 * math.pi * 0.6**2 / 4
    reach = jet_standoff_m(0.6, flow_m3_s(2.0, 0.6), DEEP_M, 0.3)
    assert reach == pytest.approx(7.0 * math.sqrt(momentum_m4_s2) / 0.3, rel=1e-3)


@pytest.mark.published("Albertson et al. (1950): plane jet Um/U0 = 2.28 (b0/x)^½, recalled")
def test_plane_jet_in_shallow_water() -> None:
    """D 0.6 m, 1.2 m deep, 2 m/s: b0 is 0.2356 m and 0.3 m/s is met at 54.4 m."""
    reach = jet_standoff_m(0.6, flow_m3_s(2.0, 0.6), 1.2, 0.3)
    assert reach == pytest.approx(54.4, abs=0.05)


@pytest.mark.published("Albertson et al. (1950), both laws, recalled: their curves cross at 11.3 m")
def test_the_larger_of_both_reaches_counts_on_either_side_of_the_crossing() -> None:
    """At the crossing the round jet has 2 · 6.2 · 0.6 / 11.3 = 0.658 m/s."""
    flow = flow_m3_s(2.0, 0.6)
    assert jet_standoff_m(0.6, flow, 1.2, 0.70) == pytest.approx(6.2 * 0.6 * 2.0 / 0.70)
    assert jet_standoff_m(0.6, flow, 1.2, 0.62) == pytest.approx(
        (2.28 * 2.0 / 0.62) ** 2 * 0.2356, rel=1e-3
    )
