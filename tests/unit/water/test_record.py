"""Records of levels: shares of time by closed forms, and planted gaps, spikes and shifts."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geoplan.water.record import (
    gaps,
    known_time_s,
    record_levels,
    share_below,
    shifts_m,
    spikes_m,
)

DAY_S = 86400.0
DAYS = np.arange(0.0, 1096.0) * DAY_S
#: Whole periods of a sinusoid, so that its shares are those of one.
PHASE = np.linspace(0.0, 20 * np.pi, 20_001)
TIME = PHASE * 1e5
WAVE = 12.0 + 0.5 * np.sin(PHASE)


def season(seed: int = 1) -> np.ndarray:
    """A level with a season and weather that lasts for days."""
    rng = np.random.default_rng(seed)
    weather = np.zeros(len(DAYS))
    for k in range(1, len(DAYS)):
        weather[k] = 0.92 * weather[k - 1] + rng.normal(0.0, 0.02)
    return 10.0 + 0.4 * np.sin(2 * np.pi * np.arange(len(DAYS)) / 365.25) + weather


@pytest.mark.parametrize("height", [-0.49, -0.3, 0.0, 0.2, 0.45])
def test_a_sinusoid_is_below_a_level_for_the_arc_cosine_of_it(height: float) -> None:
    exact = 1.0 - np.arccos(height / 0.5) / np.pi
    assert share_below(TIME, WAVE, np.array([12.0 + height]))[0] == pytest.approx(exact, abs=1e-5)


@pytest.mark.parametrize("percent", [5.0, 25.0, 50.0, 95.0])
def test_percentiles_of_a_sinusoid_are_cosines(percent: float) -> None:
    exact = 12.0 + 0.5 * np.cos(np.pi * (1.0 - percent / 100.0))
    assert record_levels(TIME, WAVE, [percent])[0] == pytest.approx(exact, abs=2e-4)


def test_a_level_that_falls_evenly_has_even_percentiles() -> None:
    level = np.linspace(100.0, 0.0, 101)
    assert record_levels(DAYS[:101], level, (0, 5, 50, 95, 100)).tolist() == [0, 5, 50, 95, 100]


@given(st.integers(0, 10_000))
def test_shares_rise_from_nothing_to_all_and_agree_with_a_dense_count(seed: int) -> None:
    rng = np.random.default_rng(seed)
    time = np.cumsum(rng.uniform(1.0, 2.0, 40))
    level = rng.normal(0.0, 1.0, 40)
    heights = np.linspace(level.min() - 0.1, level.max() + 0.1, 30)
    share = share_below(time, level, heights)
    assert share[0] == 0.0
    assert share[-1] == pytest.approx(1.0)
    assert (np.diff(share) >= -1e-12).all()
    dense = np.interp(np.linspace(time[0], time[-1], 20_001), time, level)
    counted = [(dense < height).mean() for height in heights]
    np.testing.assert_allclose(share, counted, atol=2e-3)


def test_time_counts_and_not_the_number_of_readings() -> None:
    """Read ten times as often in one half of the year, the shares stay."""
    level = season()[:365]
    dense = np.unique(np.concatenate([DAYS[:365], np.arange(0, 180, 0.5) * DAY_S]))
    again = np.interp(dense, DAYS[:365], level)
    heights = np.quantile(level, [0.1, 0.5, 0.9])
    one, other = (
        share_below(time, at, heights) for time, at in ((DAYS[:365], level), (dense, again))
    )
    np.testing.assert_allclose(one, other, atol=1e-12)


def test_a_gap_counts_for_nothing() -> None:
    time = np.concatenate([DAYS[:11], DAYS[100:111]])
    level = np.repeat([1.0, 2.0], 11)
    assert np.flatnonzero(gaps(time)).tolist() == [10]
    assert known_time_s(time) == 20 * DAY_S
    assert share_below(time, level, np.array([1.5])).tolist() == [0.5]


def test_a_record_as_the_weather_makes_it_has_nothing_doubtful() -> None:
    for seed in range(20):
        level = season(seed)
        assert not gaps(DAYS).any()
        assert not spikes_m(level).any()
        assert not shifts_m(DAYS, level).any()


@pytest.mark.parametrize("amount", [-0.6, 0.4, 3.0])
def test_a_planted_spike_is_found_with_its_amount(amount: float) -> None:
    level = season()
    level[400] += amount
    found = spikes_m(level)
    assert np.flatnonzero(found).tolist() == [400]
    assert found[400] == pytest.approx(amount, abs=0.1)


@pytest.mark.parametrize("amount", [-0.3, 0.35, 2.0])
def test_a_planted_shift_is_found_with_its_amount_and_is_no_spike(amount: float) -> None:
    level = season()
    level[500:] += amount
    found = shifts_m(DAYS, level)
    assert np.flatnonzero(found).tolist() == [499]
    assert found[499] == pytest.approx(amount, abs=0.12)
    assert not spikes_m(level).any()


def test_a_flood_that_runs_off_is_no_shift() -> None:
    level = season()
    level[500:540] += 0.6 * np.exp(-np.arange(40) / 5.0)
    assert not shifts_m(DAYS, level).any()


def test_a_slow_change_across_a_gap_is_no_shift() -> None:
    kept = np.concatenate([np.arange(0, 300), np.arange(420, 1096)])
    assert not shifts_m(DAYS[kept], season()[kept]).any()


def test_what_is_no_record_is_refused() -> None:
    with pytest.raises(ValueError, match="two different times"):
        gaps(np.array([1.0, 1.0]))
    with pytest.raises(ValueError, match="must be finite"):
        share_below(DAYS[:2], np.array([1.0, np.nan]), np.array([1.0]))
