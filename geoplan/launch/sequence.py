"""
The order of launching with the ways that go with it, found by taking rafts out of the water.

Whoever can come out past all others may go in last. A raft whose way is barred is led round those
in the water where there is room. If none of those left can come out, no order exists for them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from shapely.geometry import Polygon

from geoplan.launch.manoeuvre import rafts_swept
from geoplan.launch.taking_out import take_out
from geoplan.launch.ways import Lake, Way, raft_places, ways_to
from geoplan.plan import PlacedRaft

#: Rafts of which it is tried whether leaving one out frees the others.
_MOST_DROPPED = 8


@dataclass(frozen=True)
class LaunchOrder:
    """
    An order of launching.

    Attributes
    ----------
    steps : tuple of (PlacedRaft, Way)
        In order; those without an order among them first.
    stuck : tuple of PlacedRaft
        Rafts for which none exists; empty where all have a place in the order.
    drop : PlacedRaft or None
        One without which the others of them have an order; ``None`` where there is none such, or
        none is needed.
    """

    steps: tuple[tuple[PlacedRaft, Way], ...]
    stuck: tuple[PlacedRaft, ...] = ()
    drop: PlacedRaft | None = None


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
    places = raft_places(rafts)
    taken = dict(ways)
    in_the_way = rafts_swept([ways[raft.raft_id].swept(raft.width_m) for raft in rafts], places)
    rank = [(-ways[raft.raft_id].line.length, raft.raft_id) for raft in rafts]

    def other_way(index: int, others: frozenset[int]) -> bool:
        # Tells whether a raft can be led round all others, and keeps that way.
        name = rafts[index].raft_id
        way = ways_to(lake, [rafts[index]], [*there, *(places[k] for k in sorted(others))])
        if name not in way or not way[name].manoeuvre.is_clear:
            return False
        taken[name] = way[name]
        return True

    found = take_out(range(len(rafts)), in_the_way, rank, other_way)
    first = sorted(found.stuck, key=lambda index: rank[index])
    steps = tuple((rafts[k], taken[rafts[k].raft_id]) for k in (*first, *found.order))
    drop = None
    for index in first[:_MOST_DROPPED] if len(first) > 1 else ():
        rest = [k for k in found.stuck if k != index]
        if not take_out(rest, in_the_way, rank, _none).stuck:
            drop = rafts[index]
            break
    return LaunchOrder(steps, tuple(rafts[k] for k in found.stuck), drop)
