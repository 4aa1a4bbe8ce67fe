"""The allocation against every selection there is, and against what it claims of itself."""

import itertools

import numpy as np
import pytest

from geoplan.fleet.allocation import Choices, Limits, OutOfReachError, selected

INF = np.inf


def random_choices(seed: int, waters: int = 5, each: int = 5, limits: int = 3) -> Choices:
    """Choices that are neither ordered nor concave; the first of each is nothing."""
    rng = np.random.default_rng(seed)
    water = np.repeat(np.arange(waters), each)
    value, use = rng.random(len(water)), rng.integers(0, 4, (len(water), limits)).astype(float)
    value[::each] = use[::each] = 0.0
    return Choices(water, value, use)


def brute(choices: Choices, limits: Limits) -> float:
    """The best of all selections; minus infinity where none keeps the limits."""
    groups = [np.flatnonzero(choices.water == p) for p in range(len(choices.starts))]
    best = -INF
    for picked in itertools.product(*groups):
        used = choices.use[list(picked)].sum(axis=0)
        if (used <= limits.most + 1e-9).all() and (used >= limits.least - 1e-9).all():
            best = max(best, float(choices.value[list(picked)].sum()))
    return best


@pytest.mark.parametrize("seed", range(25))
def test_equal_to_every_selection_tried(seed: int) -> None:
    rng = np.random.default_rng(1000 + seed)
    choices = random_choices(seed)
    least = np.where(rng.random(3) < 0.4, rng.integers(1, 6, 3), -INF)
    most = np.where(rng.random(3) < 0.8, rng.integers(4, 9, 3), INF)
    limits = Limits(least, np.maximum(most, least))
    best = brute(choices, limits)
    if best == -INF:
        with pytest.raises(OutOfReachError):
            selected(choices, limits)
        return
    found = selected(choices, limits)
    assert found.value == pytest.approx(best, abs=1e-9)
    assert found.bound == pytest.approx(best, abs=1e-6)
    used = choices.use[found.chosen].sum(axis=0)
    assert (used <= limits.most + 1e-9).all()
    assert (used >= limits.least - 1e-9).all()
    assert choices.water[found.chosen].tolist() == list(range(5))


@pytest.mark.parametrize("seed", range(10))
def test_the_price_bounds_what_one_more_brings(seed: int) -> None:
    choices = random_choices(seed)
    most = np.array([5.0, 6.0, 4.0])
    found = selected(choices, Limits(np.full(3, -INF), most))
    for k in range(3):
        more = selected(choices, Limits(np.full(3, -INF), most + np.eye(3)[k]))
        # The prices bound the relaxed worth: above it lies at most the duality gap.
        slack = sum_at(choices, found.prices, most) - found.value
        assert more.value <= found.value + slack + found.prices[k] + 1e-9


def sum_at(choices: Choices, prices: np.ndarray, most: np.ndarray) -> float:
    """The bound that prices prove, by plain loops."""
    total = float(prices @ most)
    for p in range(len(choices.starts)):
        rows = choices.water == p
        total += float((choices.value[rows] - choices.use[rows] @ prices).max())
    return total


def concave_district(waters: int, types: int, seed: int) -> tuple[Choices, Limits]:
    """Ponds of log-normal size that saturate, each with a cost of setting up."""
    rng = np.random.default_rng(seed)
    areas = np.array([9.6, 9.0, 12.0, 20.0, 6.0])[:types]
    costs = np.array([450.0, 400.0, 560.0, 900.0, 300.0])[:types]
    water, value, use = [], [], []
    for p in range(waters):
        pool = np.exp(rng.normal(np.log(3000), 1.2))
        load, rate = rng.lognormal(0, 1), rng.uniform(5, 20)
        water.append(p)
        value.append(0.0)
        use.append(np.zeros(types + 1))
        for t, effect in enumerate(rng.uniform(0.8, 1.2, types)):
            for n in range(1, int(min(0.2 * pool // areas[t], 12)) + 1):
                row = np.zeros(types + 1)
                row[t], row[types] = n, n * costs[t] + 200.0
                water.append(p)
                value.append(load * (1 - np.exp(-n * areas[t] * effect / pool * rate)))
                use.append(row)
    choices = Choices(np.array(water), np.array(value), np.array(use))
    full = np.maximum.reduceat(choices.use, choices.starts).sum(axis=0)
    most = np.append(np.floor(full[:types] * 0.3 / types), full[types] * 0.2)
    return choices, Limits(np.full(types + 1, -INF), most)


def test_a_large_district_is_proven_within_a_thousandth() -> None:
    choices, limits = concave_district(600, 5, 1)
    found = selected(choices, limits)
    assert found.value <= found.bound
    assert found.gap_pct <= 0.1
    used = choices.use[found.chosen].sum(axis=0)
    assert (used <= limits.most + 1e-6).all()
    assert found.value == pytest.approx(float(choices.value[found.chosen].sum()))
    assert sum_at(choices, found.prices, limits.most) >= found.bound - 1e-6 * found.bound


def test_the_same_selection_every_time() -> None:
    choices, limits = concave_district(200, 3, 2)
    one, other = selected(choices, limits), selected(choices, limits)
    assert one.chosen.tolist() == other.chosen.tolist()
    assert one.bound == other.bound


def test_without_limits_each_takes_its_best() -> None:
    choices = random_choices(1)
    found = selected(choices, Limits(np.full(3, -INF), np.full(3, INF)))
    assert found.value == pytest.approx(
        sum(choices.value[choices.water == p].max() for p in range(5))
    )
