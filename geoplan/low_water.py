"""
What becomes of the water below the level at which it was surveyed: islands and cut-off pools.

The edge there is the contour of the mean bed, so what is found is likely, not certain.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from geoplan.errors import Fault
from geoplan.plan import PlacedRaft, Route, WaterEdge
from geoplan.site import WaterBody

#: Smaller islands and pools come of drawing a contour through cells (judgement) [m²].
LEAST_AREA_M2 = 1.0
_MOST_NAMED = 20


def low_water_notes(
    body: WaterBody,
    edges: Sequence[WaterEdge],
    rafts: Sequence[PlacedRaft],
    routes: Sequence[Route],
) -> tuple[Fault, ...]:
    """
    Return warnings about islands that appear and pools that separate as the level falls.

    Parameters
    ----------
    body : WaterBody
        The water body: its outline, the level of that, and launch places.
    edges : sequence of WaterEdge
        Water's edge at low, normal and high level.
    rafts : sequence of PlacedRaft
        Rafts of the plan.
    routes : sequence of Route
        Ways that were found; a raft with a way at low level is not cut off.

    Returns
    -------
    tuple of Fault
        One for islands and one for pools at each level below the outline's, and one that names
        the planned rafts in a pool to which no launch place is nearest and no way leads.
    """
    notes = []
    for edge in edges:
        if edge.level_m < body.outline_level_m and not edge.is_assumed:
            notes += _edge_notes(body, edge)
    cut_off = _cut_off(body, edges[0], rafts, routes)
    if cut_off:
        named = ", ".join(f"'{name}'" for name in cut_off[:_MOST_NAMED])
        more = len(cut_off) - _MOST_NAMED
        notes.append(
            _warning(
                body,
                f"rafts {named}{f' and {more} more' if more > 0 else ''} in a pool that is cut off"
                f" from every launch place at {edges[0].level_m:.2f} m",
                "water from a launch place to each raft at low level",
                "Launch them at a higher level; they cannot be towed out when it is low.",
            )
        )
    return tuple(notes)


def appeared_islands(outline: Polygon, low_water: Any) -> list[Polygon]:
    """
    Return land that stands alone in low water and was under water when the outline was drawn.

    Parameters
    ----------
    outline : Polygon
        Surveyed edge with islands as holes [m].
    low_water : MultiPolygon
        Open water at a lower level [m].

    Returns
    -------
    list of Polygon
        Islands of a square metre or more that hold no island of the outline, the largest first.
    """
    rings = [ring for part in shapely.get_parts(low_water) for ring in part.interiors]
    islands = [Polygon(ring) for ring in rings]
    known = [Polygon(ring) for ring in outline.interiors]
    tree = shapely.STRtree(known)
    new = [
        island
        for island in islands
        if island.area >= LEAST_AREA_M2 and not len(tree.query(island, predicate="intersects"))
    ]
    return sorted(new, key=lambda island: (-island.area, island.bounds))


def _edge_notes(body: WaterBody, edge: WaterEdge) -> list[Fault]:
    """Return warnings of islands and pools at one level."""
    notes = []
    islands = appeared_islands(body.outline, edge.outline)
    if islands:
        notes.append(
            _warning(
                body,
                f"{_count(len(islands), 'island')} of up to {islands[0].area:.1f} m² that"
                f" {'appears' if len(islands) == 1 else 'appear'} at {edge.level_m:.2f} m"
                f" ({edge.level_name} level)",
                "one sheet of water down to the lowest level",
                "The edge follows the mean bed there; sound the shoal before boats go near it.",
            )
        )
    pools = _pools(edge)
    if len(pools) > 1:
        notes.append(
            _warning(
                body,
                f"water that falls apart into {len(pools)} pools at {edge.level_m:.2f} m"
                f" ({edge.level_name} level), the largest of {pools[0].area:.1f} m², the next of"
                f" {pools[1].area:.1f} m²",
                "one sheet of water down to the lowest level",
                "Rafts cannot be towed from one to the other then, nor does the inflow reach all.",
            )
        )
    return notes


def _pools(edge: WaterEdge) -> list[Polygon]:
    """Return the sheets of water at a level, the largest first."""
    parts = [part for part in shapely.get_parts(edge.outline) if part.area >= LEAST_AREA_M2]
    return sorted(parts, key=lambda part: (-part.area, part.bounds))


def _cut_off(
    body: WaterBody, low: WaterEdge, rafts: Sequence[PlacedRaft], routes: Sequence[Route]
) -> list[str]:
    """Return the planned rafts in a pool that no launch place serves at low level."""
    pools: NDArray[Any] = np.array(_pools(low), dtype=object)
    with_way = {route.raft_id for route in routes}
    lost = [raft for raft in rafts if raft.status == "planned" and raft.raft_id not in with_way]
    if len(pools) < 2 or not lost or not body.launches:
        return []
    tree = shapely.STRtree(pools)
    served = set(tree.nearest([place.geometry for place in body.launches]).tolist())
    centres = shapely.points([(raft.easting_m, raft.northing_m) for raft in lost])
    own = tree.nearest(centres).tolist()
    return [raft.raft_id for raft, pool in zip(lost, own, strict=True) if pool not in served]


def _count(number: int, word: str) -> str:
    """Return a number with its word."""
    return f"{number} {word}{'' if number == 1 else 's'}"


def _warning(body: WaterBody, found: str, expected: str, remedy: str) -> Fault:
    """Return a warning about a water body."""
    return Fault("warning", "plan", found, expected, remedy, feature=f"water '{body.water_id}'")
