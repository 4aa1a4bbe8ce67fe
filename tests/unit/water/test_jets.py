"""Reach of a jet."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geoplan.water.jets import jet_standoff_m

SIZE = st.floats(0.05, 2.0)


def test_a_jet_slower_than_the_limit_keeps_nothing_away() -> None:
    assert jet_standoff_m(1.0, 0.2, 1.0, 0.3) == 0.0


@given(SIZE, SIZE, SIZE, SIZE)
def test_the_reach_is_at_least_the_core_or_nothing(
    pipe_m: float, flow_m3_s: float, depth_m: float, speed_m_s: float
) -> None:
    reach = jet_standoff_m(pipe_m, flow_m3_s, depth_m, speed_m_s)
    assert reach == 0.0 or reach >= 6.2 * pipe_m


@given(SIZE, SIZE, SIZE, SIZE)
def test_more_flow_reaches_farther_and_deeper_water_does_not(
    pipe_m: float, flow_m3_s: float, depth_m: float, speed_m_s: float
) -> None:
    reach = jet_standoff_m(pipe_m, flow_m3_s, depth_m, speed_m_s)
    assert jet_standoff_m(pipe_m, 1.5 * flow_m3_s, depth_m, speed_m_s) >= reach
    assert jet_standoff_m(pipe_m, flow_m3_s, 1.5 * depth_m, speed_m_s) <= reach


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
@pytest.mark.parametrize("place", range(4))
def test_what_is_not_positive_is_refused(bad: float, place: int) -> None:
    arguments = [0.6, 0.5, 1.2, 0.3]
    arguments[place] = bad
    with pytest.raises(ValueError, match="must be positive and finite"):
        jet_standoff_m(*arguments)
