"""
Why no way leads to a raft: what would have to yield for one to be there.

Each obstacle is taken away by itself, and it is seen whether there is a way then. Where only
several together would open one, that is said.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from shapely.geometry import Polygon

from geoplan.launch.ways import DRAFT_MARGIN_M, Lake, ways_to
from geoplan.plan import NoRoute, PlacedRaft

#: Width of a raft that passes wherever water does [m].
_NARROW_M = 0.1
_SHALLOW = (
    "the water is reliably less than {need_m:.2f} m deep at low level, at its place or somewhere on"
    " every way, beyond what people can wade"
)
_TIGHT = "every way is somewhere less than {width_m:.2f} m wide"
_BOTH = "every way is somewhere less than {need_m:.2f} m deep or {width_m:.2f} m wide"
_SEVERAL = "land, or several of rafts there, depth, width and wading together, bar it"


def why_no_way(
    lake: Lake, rafts: Sequence[PlacedRaft], there: Sequence[Polygon]
) -> tuple[NoRoute, ...]:
    """
    Return why there is no way to rafts.

    Parameters
    ----------
    lake : Lake
        The water.
    rafts : sequence of PlacedRaft
        Rafts to which no way was found.
    there : sequence of Polygon
        Rafts that are in the water before, working CRS [m].

    Returns
    -------
    tuple of NoRoute
        One for each, in their order. Of several single reasons the first of these is given: rafts
        in the water, depth, width, depth and width together.
    """
    why: dict[str, str] = {}
    for opened, words, obstacles, width_m in _yielding(lake, there):
        left = [raft for raft in rafts if raft.raft_id not in why]
        if not left:
            break
        tried = [raft if width_m is None else replace(raft, width_m=width_m) for raft in left]
        reached = ways_to(opened, tried, obstacles)
        for raft in left:
            if raft.raft_id in reached:
                why[raft.raft_id] = words.format(
                    need_m=lake.type_of(raft).draft_m + DRAFT_MARGIN_M, width_m=raft.width_m
                )
    return tuple(NoRoute(raft.raft_id, why.get(raft.raft_id, _SEVERAL)) for raft in rafts)


def _yielding(
    lake: Lake, there: Sequence[Polygon]
) -> Iterator[tuple[Lake, str, Sequence[Polygon], float | None]]:
    """Yield lakes in which one obstacle is gone, with what that says, rafts there and a width."""
    deep = replace(lake, depth_low_m=np.where(lake.fields.grid.water, np.inf, -np.inf))
    if there:
        yield lake, "rafts that lie there already bar it", (), None
    yield deep, _SHALLOW, there, None
    yield lake, _TIGHT, there, _NARROW_M
    yield deep, _BOTH, there, _NARROW_M
