"""The order of launching: what blocks goes later, the farthest first, rings are broken once."""

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString

from geoplan.launch.order import launch_order, rafts_in_the_way


def ids(count: int) -> list[str]:
    return [f"R{k:02d}" for k in range(count)]


@given(st.integers(0, 100_000), st.integers(1, 25))
def test_without_rings_no_raft_is_blocked(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    rank = rng.permutation(count)
    in_the_way = [
        frozenset(j for j in range(count) if rank[j] > rank[i] and rng.random() < 0.3)
        for i in range(count)
    ]
    order = launch_order(ids(count), rng.uniform(0, 50, count).tolist(), in_the_way)
    assert sorted(order) == list(range(count))
    when = {raft: place for place, raft in enumerate(order)}
    assert all(when[i] < when[j] for i in range(count) for j in in_the_way[i])


def test_the_farthest_goes_first_and_names_settle_ties() -> None:
    free = [frozenset[int]()] * 4
    assert launch_order(["d", "c", "b", "a"], [3.0, 9.0, 3.0, 1.0], free) == (1, 2, 0, 3)


def test_a_ring_is_broken_at_its_farthest_and_nothing_else_suffers() -> None:
    """A and B block each other; A also has C in its way, so C, the farthest, goes last."""
    in_the_way = [frozenset({1, 2}), frozenset({0}), frozenset[int]()]
    assert launch_order(["A", "B", "C"], [5.0, 6.0, 99.0], in_the_way) == (1, 0, 2)


@given(st.integers(0, 100_000), st.integers(2, 15))
def test_any_relation_gives_every_raft_a_place(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    in_the_way = [
        frozenset(j for j in range(count) if j != i and rng.random() < 0.2) for i in range(count)
    ]
    lengths = rng.uniform(0, 50, count).tolist()
    order = launch_order(ids(count), lengths, in_the_way)
    assert sorted(order) == list(range(count))
    # Listed the other way round, the same rafts go in the same order.
    back = [frozenset(count - 1 - j for j in others) for others in in_the_way][::-1]
    turned = launch_order(ids(count)[::-1], lengths[::-1], back)
    assert [count - 1 - k for k in turned] == list(order)


def test_in_the_way_is_nearer_than_half_the_width() -> None:
    places = [shapely.box(9, -1, 11, 1), shapely.box(4, 1.2, 6, 3), shapely.box(4, -3, 6, -1.19)]
    ways = [LineString([(0, 0), (10, 0)])] * 3
    found = rafts_in_the_way(ways, [2.4, 2.4, 2.2], places)
    assert found[0] == {2}
    assert found[1] == {0, 2}
    assert found[2] == {0}
