"""
The order of launching: the farthest raft first, and none behind one that is in its way.

Whether the ways themselves are good is not known here.
"""

import heapq
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from shapely.geometry import LineString, Polygon

#: A raft that touches the strip of water another sweeps is not in its way [m].
_ROUNDING_M = 1e-6


def rafts_in_the_way(
    ways: Sequence[LineString], widths_m: Sequence[float], footprints: Sequence[Polygon]
) -> tuple[frozenset[int], ...]:
    """
    Return for each raft the others that it could not pass.

    Parameters
    ----------
    ways : sequence of LineString
        Way of each raft's centre, working CRS [m].
    widths_m : sequence of float
        Width that each raft sweeps, towed end-on [m].
    footprints : sequence of Polygon
        Water that each raft covers in its place [m].

    Returns
    -------
    tuple of frozenset of int
        For each raft the indices of those nearer to its way than half its width, itself left out.
    """
    tree = shapely.STRtree(footprints)
    reach_m = np.maximum(np.asarray(widths_m, float) / 2 - _ROUNDING_M, 0.0)
    way, raft = tree.query(list(ways), predicate="dwithin", distance=reach_m)
    found: list[set[int]] = [set() for _ in ways]
    for index, other in zip(way.tolist(), raft.tolist(), strict=True):
        if other != index:
            found[index].add(other)
    return tuple(frozenset(others) for others in found)


def launch_order(
    raft_ids: Sequence[str],
    lengths_m: Sequence[float],
    in_the_way: Sequence[frozenset[int]],
) -> tuple[int, ...]:
    """
    Return the order in which rafts are launched.

    Parameters
    ----------
    raft_ids : sequence of str
        Identities; they settle ties.
    lengths_m : sequence of float
        Length of each way [m].
    in_the_way : sequence of frozenset of int
        For each raft those that it could not pass: it must be launched before them.

    Returns
    -------
    tuple of int
        Indices in order: the longest way first, among rafts that block none still to come. Where
        rafts block each other in a ring, the one with the longest way goes first all the same.

    Examples
    --------
    >>> launch_order(["a", "b", "c"], [9.0, 5.0, 7.0], [frozenset(), frozenset({0}), frozenset()])
    (2, 1, 0)
    """
    waits_for = [0] * len(raft_ids)
    for others in in_the_way:
        for other in others:
            waits_for[other] += 1
    rank = [(-length, raft_id) for length, raft_id in zip(lengths_m, raft_ids, strict=True)]
    left = set(range(len(raft_ids)))
    ready = [(rank[index], index) for index in sorted(left) if waits_for[index] == 0]
    heapq.heapify(ready)
    order: list[int] = []
    while left:
        index = heapq.heappop(ready)[1] if ready else _first_of_a_ring(left, in_the_way, rank)
        order.append(index)
        left.discard(index)
        for other in in_the_way[index]:
            waits_for[other] -= 1
            if waits_for[other] == 0 and other in left:
                heapq.heappush(ready, (rank[other], other))
    return tuple(order)


def _first_of_a_ring(
    left: set[int], in_the_way: Sequence[frozenset[int]], rank: Sequence[tuple[Any, ...]]
) -> int:
    """Return the farthest raft of a ring that no raft outside the ring must precede."""
    rafts = sorted(left)
    place = {raft: index for index, raft in enumerate(rafts)}
    pairs = [(place[r], place[o]) for r in rafts for o in sorted(in_the_way[r] & left)]
    first, then = np.array(pairs).T
    graph = coo_array((np.ones(len(pairs)), (first, then)), shape=(len(rafts), len(rafts)))
    count, ring = connected_components(graph, directed=True, connection="strong")
    is_free = np.ones(count, bool)
    is_free[ring[then[ring[first] != ring[then]]]] = False
    return min((raft for raft in rafts if is_free[ring[place[raft]]]), key=lambda raft: rank[raft])
