"""
The order of launching with the ways that go with it, found by taking rafts out of the water.

Whoever can come out past all others may go in last. A raft whose way is barred is led round those
in the water where there is room. If none of those left can come out with room to turn, one comes
out that can at least be drawn along a way as wide as it; where there is none such either, no order
exists for them, and one is left without a way.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import shapely
from shapely.geometry import Polygon

from geoplan.launch.manoeuvre import rafts_swept
from geoplan.launch.taking_out import TakenOut, take_out
from geoplan.launch.ways import Lake, Way, raft_places, ways_to
from geoplan.plan import PlacedRaft

#: Rafts of which it is tried whether leaving one out frees the others.
_MOST_DROPPED = 8
#: A raft nearer to a way than half the width by no more does not bar it [m].
_ROUNDING_M = 1e-6


@dataclass(frozen=True)
class LaunchOrder:
    """
    An order of launching.

    Attributes
    ----------
    steps : tuple of (PlacedRaft, Way)
        In order. A way on which the raft would meet those in place by then as it turns is not
        clear.
    barred : tuple of PlacedRaft
        Rafts that have no place in the order: past all others there is no way as wide as them.
    """

    steps: tuple[tuple[PlacedRaft, Way], ...]
    barred: tuple[PlacedRaft, ...] = ()


def _none(_raft: int, _others: frozenset[int]) -> bool:
    """Find no other way."""
    return False


def ordered(
    lake: Lake, rafts: Sequence[PlacedRaft], ways: dict[str, Way], there: Sequence[Polygon]
) -> LaunchOrder:
    """
    Return rafts and ways in order of launching.

    Parameters
    ----------
    lake : Lake
        The water.
    rafts : sequence of PlacedRaft
        Rafts that have a way.
    ways : dict of str to Way
        Their ways, by identity.
    there : sequence of Polygon
        Rafts that are in the water before, working CRS [m].

    Returns
    -------
    LaunchOrder
        The longest way first where nothing else settles it.
    """
    if not rafts:
        return LaunchOrder(())
    afloat = _Afloat(lake, rafts, [ways[raft.raft_id] for raft in rafts], there)
    order: list[int] = []
    barred: list[int] = []
    left: Sequence[int] = range(len(rafts))
    while left:
        for has_room in (True, False):
            found = afloat.taken_out(left, has_room=has_room)
            order[:0], left = found.order, found.stuck
            if not left:
                break
        else:
            barred.append(afloat.to_leave_out(left))
            left = [raft for raft in left if raft != barred[-1]]
    return LaunchOrder(tuple(afloat.steps(order)), tuple(rafts[raft] for raft in barred))


class _Afloat:
    """Rafts in their places, each with its way; some are led round the others."""

    def __init__(
        self, lake: Lake, rafts: Sequence[PlacedRaft], first: list[Way], there: Sequence[Polygon]
    ) -> None:
        self.lake, self.rafts, self.first, self.there = lake, rafts, first, there
        self.taken = list(first)
        self.places = raft_places(rafts)
        self.rank = [
            (-way.line.length, raft.raft_id) for way, raft in zip(first, rafts, strict=True)
        ]

    @cached_property
    def in_sweep(self) -> tuple[frozenset[int], ...]:
        """Return for each raft those that lie in the water it sweeps on its first way."""
        pairs = zip(self.first, self.rafts, strict=True)
        return rafts_swept([way.swept(raft.width_m) for way, raft in pairs], self.places)

    @cached_property
    def in_line(self) -> tuple[frozenset[int], ...]:
        """Return for each raft those nearer to its first way than half its width."""
        tree = shapely.STRtree(self.places)
        return tuple(
            frozenset(
                tree.query(way.line, "dwithin", distance=raft.width_m / 2 - _ROUNDING_M).tolist()
            )
            - {index}
            for index, (way, raft) in enumerate(zip(self.first, self.rafts, strict=True))
        )

    def taken_out(self, rafts: Sequence[int], *, has_room: bool) -> TakenOut:
        """Take rafts out one by one, with room to turn or along any way as wide as them."""

        def is_led_round(raft: int, others: frozenset[int]) -> bool:
            one = self.rafts[raft]
            known = [*self.there, *(self.places[other] for other in sorted(others))]
            way = ways_to(self.lake, [one], known).get(one.raft_id)
            if way is None or (has_room and not way.manoeuvre.is_clear):
                return False
            self.taken[raft] = way
            return True

        return take_out(rafts, self.in_sweep if has_room else self.in_line, self.rank, is_led_round)

    def to_leave_out(self, rafts: Sequence[int]) -> int:
        """Return of rafts without an order one that frees the others, else the farthest."""
        tried = sorted(rafts, key=lambda raft: self.rank[raft])
        for raft in tried[:_MOST_DROPPED]:
            rest = [other for other in rafts if other != raft]
            if not take_out(rest, self.in_line, self.rank, _none).stuck:
                return raft
        return tried[0]

    def steps(self, order: Sequence[int]) -> Iterator[tuple[PlacedRaft, Way]]:
        """Yield rafts and ways in an order; clear is a way in whose sweep none lies by then."""
        for place, raft in enumerate(order):
            way = self.taken[raft]
            if way is self.first[raft] and self.in_sweep[raft].intersection(order[:place]):
                way = replace(way, manoeuvre=replace(way.manoeuvre, is_clear=False))
            yield self.rafts[raft], way
