"""An order found backwards: held against every order there is."""

import itertools

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from geoplan.launch.taking_out import take_out


def is_order(order: tuple[int, ...], bars: list[frozenset[int]]) -> bool:
    return all(not bars[raft] & set(order[:place]) for place, raft in enumerate(order))


@given(st.integers(0, 100_000), st.integers(1, 6), st.floats(0.05, 0.6))
def test_an_order_is_found_exactly_where_there_is_one(seed: int, count: int, share: float) -> None:
    rng = np.random.default_rng(seed)
    bars = [
        frozenset(j for j in range(count) if j != i and rng.random() < share) for i in range(count)
    ]
    rank = rng.permutation(count).tolist()
    found = take_out(range(count), bars, rank, lambda raft, others: False)
    exists = any(is_order(order, bars) for order in itertools.permutations(range(count)))
    assert (not found.stuck) == exists
    assert sorted([*found.order, *found.stuck]) == list(range(count))
    # Of those left none can pass the others, which proves that no order has them all.
    assert all(bars[raft] & set(found.stuck) for raft in found.stuck)
    if exists:
        assert is_order(found.order, bars)


def test_a_second_way_opens_a_ring_and_is_asked_for_only_there() -> None:
    asked = []

    def other_way(raft: int, others: frozenset[int]) -> bool:
        asked.append((raft, others))
        return raft == 0

    ring = [frozenset({1}), frozenset({0}), frozenset[int]()]
    found = take_out(range(3), ring, [0, 1, 2], other_way)
    assert found.order == (1, 0, 2)
    assert asked == [(1, frozenset({0})), (0, frozenset({1}))]


def test_the_farthest_goes_to_the_water_first() -> None:
    free = [frozenset[int]()] * 4
    assert take_out(range(4), free, [2, 0, 3, 1], lambda raft, others: False).order == (1, 3, 0, 2)
