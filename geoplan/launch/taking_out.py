"""
An order of launching found backwards: the raft that can be taken out now is launched last.

Taking a raft out never bars another, so if at some point none of those left can be taken out,
no order exists for them: whichever of them were launched last would have to pass all the others.
"""

import heapq
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class TakenOut:
    """
    What came of taking rafts out one by one.

    Attributes
    ----------
    order : tuple of int
        Order of launching of those that came out.
    stuck : tuple of int
        Those left, none of which can pass the others; empty where an order of all was found.
    """

    order: tuple[int, ...]
    stuck: tuple[int, ...]


def take_out(
    rafts: Sequence[int],
    in_the_way: Sequence[frozenset[int]],
    rank: Sequence[Any],
    other_way: Callable[[int, frozenset[int]], bool],
) -> TakenOut:
    """
    Take rafts out of the water one by one, the nearest first.

    Parameters
    ----------
    rafts : sequence of int
        Indices of the rafts.
    in_the_way : sequence of frozenset of int
        For each index those that bar its first way.
    rank : sequence
        For each index where it stands: the lowest goes to the water first if nothing else says so.
    other_way : callable
        Called with a raft and all others in the water where its first way is barred; tells whether
        it has found another, which the raft then takes.

    Returns
    -------
    TakenOut
        The order, and those for which there is none.

    Examples
    --------
    >>> ring = [frozenset({1}), frozenset({0}), frozenset({0, 1})]
    >>> take_out(range(3), ring, [0, 1, 2], lambda raft, others: False)
    TakenOut(order=(), stuck=(0, 1, 2))
    >>> take_out(range(3), ring, [0, 1, 2], lambda raft, others: raft == 1).order
    (2, 0, 1)
    """
    there = set(rafts)
    bars = {raft: len(in_the_way[raft] & there) for raft in there}
    barred_by: dict[int, list[int]] = {raft: [] for raft in there}
    for raft in there:
        for other in in_the_way[raft] & there:
            barred_by[other].append(raft)
    free = [(_last(rank[raft]), raft) for raft in there if not bars[raft]]
    heapq.heapify(free)
    out: list[int] = []
    while there:
        if free:
            raft = heapq.heappop(free)[1]
        else:
            tried = sorted(there, key=lambda one: rank[one], reverse=True)
            found = (one for one in tried if other_way(one, frozenset(there - {one})))
            raft = next(found, -1)
            if raft < 0:
                break
        if raft not in there:
            continue
        there.discard(raft)
        out.append(raft)
        for one in barred_by[raft]:
            bars[one] -= 1
            if not bars[one] and one in there:
                heapq.heappush(free, (_last(rank[one]), one))
    return TakenOut(tuple(reversed(out)), tuple(sorted(there)))


class _last:  # noqa: N801 - reads as a word: the last in rank is the first out
    """A rank that sorts the other way round."""

    def __init__(self, rank: Any) -> None:
        self.rank = rank

    def __lt__(self, other: "_last") -> bool:
        """Tell whether this one is taken out before another."""
        return bool(other.rank < self.rank)
