"""
The way of each raft from the bank to its place, and the order in which they go.

A raft is towed end-on, as a disc of its width; the room it needs to turn is not known here.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from geoplan.errors import Fault
from geoplan.grid import SiteFields
from geoplan.launch.bank import WadingGround, WadingLeg, wading_leg
from geoplan.launch.free_water import SweptDepth, free_water, taken_back
from geoplan.launch.order import launch_order, rafts_in_the_way
from geoplan.launch.paths import VisibilityGraph, simpler_inside
from geoplan.plan import PlacedRaft, Route
from geoplan.raft import RaftType, footprints
from geoplan.settings import Settings
from geoplan.site import FloatArray, LaunchPlace, WaterBody

#: Water below the hull that towing needs. Judgement [m].
DRAFT_MARGIN_M = 0.10
#: Longest wading leg that is not remarked on. Judgement [m].
LONG_WADE_M = 10.0
#: Simplification of water with many corners; a way stays clear of the banks all the same [m].
_SIMPLIFY_M = 0.1
_ROUNDING_M = 1e-6
_MOST_NAMED = 20


@dataclass(frozen=True, eq=False)
class _Lake:
    """What the ways of one water body are drawn on."""

    body: WaterBody
    fields: SiteFields
    edge_low: BaseGeometry
    depth_low_m: FloatArray
    ground: WadingGround
    raft_types: dict[str, RaftType]

    @classmethod
    def of(
        cls, body: WaterBody, fields: SiteFields, edge_low: BaseGeometry, settings: Settings
    ) -> "_Lake":
        """Return what the ways of a water body are drawn on."""
        low_m = body.levels.low_m
        return cls(
            body=body,
            fields=fields,
            edge_low=edge_low,
            depth_low_m=fields.reliable_depth_m(low_m),
            ground=WadingGround.of(body.outline, fields, low_m, settings.launch.wading_m),
            raft_types={kind.name: kind for kind in settings.raft},
        )

    def draft_m(self, raft: PlacedRaft) -> float:
        """Return the draft of a raft's type [m]."""
        if raft.raft_type not in self.raft_types:
            raise ValueError(
                f"raft '{raft.raft_id}' is of type '{raft.raft_type}', which is not among the"
                f" settings' types {sorted(self.raft_types)}"
            )
        return self.raft_types[raft.raft_type].draft_m


@dataclass(frozen=True, eq=False)
class _Way:
    """One way: the wading leg, then the tow to the raft's centre."""

    launch_id: str
    leg: WadingLeg
    tow_m: FloatArray

    @property
    def line(self) -> LineString:
        """Return the whole way, from the bank."""
        return _line(np.vstack([shapely.get_coordinates(self.leg.line)[:1], self.tow_m]))

    @property
    def tow(self) -> LineString:
        """Return the way without the wading leg."""
        return _line(self.tow_m)


def tow_routes(
    body: WaterBody,
    fields: SiteFields,
    edges_low: BaseGeometry,
    rafts: Sequence[PlacedRaft],
    settings: Settings,
) -> tuple[tuple[Route, ...], tuple[Fault, ...]]:
    """
    Return the way of each planned raft and the order of launching.

    Parameters
    ----------
    body : WaterBody
        The water body, its launch places and the rafts in it already.
    fields : SiteFields
        Bed and its uncertainty.
    edges_low : BaseGeometry
        Open water at low level, working CRS [m].
    rafts : sequence of PlacedRaft
        Rafts of the plan; those not planned are obstacles.
    settings : Settings
        Raft types and wading depth.

    Returns
    -------
    tuple of Route
        In order of launching. A route begins on the bank with a straight wading leg and ends in
        the raft's centre; its least depth is that under the whole width towed, the wading leg
        left out.
    tuple of Fault
        Warnings: rafts that cannot be reached, a wading leg that is long or deep, and rafts
        that block each other.

    Raises
    ------
    ValueError
        If a raft is of a type that the settings do not have.

    Notes
    -----
    The way is the shortest through water whose reliable depth at low level is at least the draft
    and ``DRAFT_MARGIN_M``, half the raft's width away from anything else; only within its own
    place may a raft be nearer. The farthest raft goes first, but none after one that lies nearer
    to its way than half its width. Where that cannot be, the later raft is led round those in
    place; where there is no room, a warning names both.
    """
    planned = [raft for raft in rafts if raft.status == "planned"]
    if not planned:
        return (), ()
    if not body.launches:
        return (), (_no_launch(body, planned),)
    lake = _Lake.of(body, fields, edges_low, settings)
    there = _rafts_there(body, rafts)
    ways = _ways(lake, planned, there)
    reached = [raft for raft in planned if raft.raft_id in ways]
    lost = [raft for raft in planned if raft.raft_id not in ways]
    ordered, blocked = _ordered(lake, reached, ways, there)
    swept = SweptDepth(fields.grid, lake.depth_low_m)
    routes = tuple(
        Route(
            raft_id=raft.raft_id,
            launch_id=way.launch_id,
            sequence=sequence,
            path=way.line,
            length_m=way.line.length,
            least_depth_m=swept.least_m(way.tow, raft.width_m / 2),
        )
        for sequence, (raft, way) in enumerate(ordered, 1)
    )
    notes = (*_unreached(body, lost), *_wading_notes(lake, ordered), *blocked)
    return routes, notes


def _rafts_there(body: WaterBody, rafts: Sequence[PlacedRaft]) -> list[Polygon]:
    """Return the outlines of rafts that are in the water before the first is launched."""
    known = {raft.raft_id for raft in body.rafts}
    placed = [raft for raft in rafts if raft.status != "planned" and raft.raft_id not in known]
    return [*(raft.outline for raft in body.rafts), *_footprints(placed)]


def _footprints(rafts: Sequence[PlacedRaft]) -> list[Polygon]:
    """Return the water that each raft covers in its place."""
    return list(
        footprints(
            [raft.easting_m for raft in rafts],
            [raft.northing_m for raft in rafts],
            [raft.heading_deg for raft in rafts],
            [raft.length_m for raft in rafts],
            [raft.width_m for raft in rafts],
        )
    )


def _ways(
    lake: _Lake, rafts: Sequence[PlacedRaft], obstacles: Sequence[BaseGeometry]
) -> dict[str, _Way]:
    """Return the shortest way of each raft that can be reached, by its identity."""

    def size(raft: PlacedRaft) -> tuple[float, float, float]:
        """Return what the free water of a raft depends on."""
        return lake.draft_m(raft), raft.width_m, raft.length_m

    found: dict[str, _Way] = {}
    for (draft_m, width_m, _), alike in itertools.groupby(sorted(rafts, key=size), size):
        free = free_water(
            lake.fields.grid,
            lake.depth_low_m,
            draft_m + DRAFT_MARGIN_M,
            lake.edge_low,
            obstacles,
        )
        room = simpler_inside(taken_back(free, width_m / 2), _SIMPLIFY_M)
        found |= _ways_through(lake, list(alike), room, obstacles)
    return found


def _ways_through(
    lake: _Lake,
    rafts: Sequence[PlacedRaft],
    room: BaseGeometry,
    obstacles: Sequence[BaseGeometry],
) -> dict[str, _Way]:
    """Return the ways of rafts of one size through the room that their centres have."""
    if room.is_empty:
        return {}
    parts = shapely.get_parts(room)
    centres = shapely.points([(raft.easting_m, raft.northing_m) for raft in rafts])
    part_index = shapely.STRtree(parts).nearest(centres)
    last_legs = shapely.shortest_line(parts[part_index], centres)
    can_end = _lie_in_own_place(last_legs, _footprints(rafts))
    taken = shapely.union_all(list(obstacles))
    found: dict[str, _Way] = {}
    for index in np.unique(part_index[can_end]):
        goals = [
            (raft, last_leg)
            for raft, last_leg, here, can in zip(rafts, last_legs, part_index, can_end, strict=True)
            if can and here == index
        ]
        found |= _shortest_from_banks(lake, goals, parts[index], taken)
    return found


def _lie_in_own_place(legs: FloatArray, places: Sequence[Polygon]) -> NDArray[np.bool_]:
    """Tell which last legs lie within the water that the raft will cover."""
    water = shapely.buffer(np.array(places, object), _ROUNDING_M, join_style="mitre")
    inside: NDArray[np.bool_] = shapely.covers(water, legs)
    return inside


def _shortest_from_banks(
    lake: _Lake,
    goals: Sequence[tuple[PlacedRaft, LineString]],
    part: Polygon,
    taken: BaseGeometry,
) -> dict[str, _Way]:
    """Return the shortest of the ways from all launch places, through one part of the room."""
    graph = VisibilityGraph(part)
    size_m = goals[0][0].length_m, goals[0][0].width_m
    found: dict[str, _Way] = {}
    for launch in sorted(lake.body.launches, key=lambda place: place.launch_id):
        leg = wading_leg(launch.geometry, part, lake.ground, taken, size_m)
        if leg is None:
            continue
        start = shapely.get_point(leg.line, 1)
        paths = graph.paths_from(start, [shapely.get_point(line, 0) for _, line in goals])
        for (raft, last_leg), path in zip(goals, paths, strict=True):
            if path is None:
                continue
            way = _way(launch, leg, path, last_leg)
            best = found.get(raft.raft_id)
            if best is None or way.line.length < best.line.length:
                found[raft.raft_id] = way
    return found


def _way(launch: LaunchPlace, leg: WadingLeg, path: LineString, last_leg: LineString) -> _Way:
    """Return a way from its three parts."""
    tow_m = np.vstack([shapely.get_coordinates(path), shapely.get_coordinates(last_leg)[1:]])
    return _Way(launch.launch_id, leg, tow_m)


def _line(points_m: FloatArray) -> LineString:
    """Return a line through points, each but once; of length zero where all are one."""
    step_m = np.hypot(*np.diff(points_m, axis=0).T)
    keep = points_m[np.concatenate([[True], step_m > _ROUNDING_M])]
    # The end is the raft's centre to the last digit, even where it closes on the point before.
    keep = np.vstack([keep[:-1], points_m[-1:]]) if len(keep) > 1 else np.repeat(keep, 2, axis=0)
    return LineString(keep)


def _ordered(
    lake: _Lake,
    rafts: Sequence[PlacedRaft],
    ways: dict[str, _Way],
    there: Sequence[Polygon],
) -> tuple[list[tuple[PlacedRaft, _Way]], list[Fault]]:
    """Return rafts and ways in order of launching, led round rafts in place where need be."""
    if not rafts:
        return [], []
    own = _footprints(rafts)
    lines = [ways[raft.raft_id].line for raft in rafts]
    in_the_way = rafts_in_the_way(lines, [raft.width_m for raft in rafts], own)
    order = launch_order(
        [raft.raft_id for raft in rafts], [line.length for line in lines], in_the_way
    )
    ordered, blocked = [], []
    placed: list[int] = []
    for index in order:
        raft = rafts[index]
        way = ways[raft.raft_id]
        blockers = in_the_way[index].intersection(placed)
        if blockers:
            round_them = _ways(lake, [raft], [*there, *(own[other] for other in placed)])
            if raft.raft_id in round_them:
                way = round_them[raft.raft_id]
            else:
                names = sorted(rafts[other].raft_id for other in blockers)
                blocked.append(_blocked(lake.body, raft.raft_id, names))
        ordered.append((raft, way))
        placed.append(index)
    return ordered, blocked


def _warning(body: WaterBody, found: str, expected: str, remedy: str) -> Fault:
    """Return a warning about the launching of a water body."""
    return Fault("warning", "plan", found, expected, remedy, feature=f"water '{body.water_id}'")


def _names(raft_ids: Sequence[str]) -> str:
    """Return the names of rafts for a sentence, cut where there are many."""
    named = ", ".join(f"'{raft_id}'" for raft_id in raft_ids[:_MOST_NAMED])
    more = len(raft_ids) - _MOST_NAMED
    return f"{named} and {more} more" if more > 0 else named


def _no_launch(body: WaterBody, rafts: Sequence[PlacedRaft]) -> Fault:
    """Return the warning that no bank to launch from is known."""
    return _warning(
        body,
        f"no launch place for rafts {_names([raft.raft_id for raft in rafts])}",
        "a bank from which they can be launched",
        "No route is given; add the layer 'launches'.",
    )


def _unreached(body: WaterBody, rafts: Sequence[PlacedRaft]) -> list[Fault]:
    """Return the warning that names the rafts no route leads to."""
    if not rafts:
        return []
    return [
        _warning(
            body,
            f"no way from any launch place to rafts {_names([raft.raft_id for raft in rafts])}",
            "water as wide as the raft, reliably deeper at low level than its draft and"
            f" {DRAFT_MARGIN_M:g} m, and a bank from which people can wade to it",
            "No route is given; sound the way, add a launch place, or launch at a higher level.",
        )
    ]


def _wading_notes(lake: _Lake, ordered: Sequence[tuple[PlacedRaft, _Way]]) -> list[Fault]:
    """Return a warning for each launch place with a long wading leg or one that may be deep."""
    worst: dict[str, tuple[float, float]] = {}
    for _, way in ordered:
        length_m, deepest_m = worst.get(way.launch_id, (0.0, 0.0))
        leg = way.leg
        worst[way.launch_id] = max(length_m, leg.line.length), max(deepest_m, leg.deepest_m)
    return [
        _warning(
            lake.body,
            f"{length_m:.1f} m from launch place '{launch_id}' to water for towing, up to"
            f" {deepest_m:.2f} m deep at low level where people would walk",
            f"at most {LONG_WADE_M:g} m, and {lake.ground.wading_m:g} m deep",
            "Sound the way before the day; where it is deep keep out, and push the raft with poles"
            " or draw it on a rope.",
        )
        for launch_id, (length_m, deepest_m) in sorted(worst.items())
        if length_m > LONG_WADE_M or deepest_m > lake.ground.wading_m
    ]


def _blocked(body: WaterBody, raft_id: str, blockers: Sequence[str]) -> Fault:
    """Return the warning that a raft cannot pass those in place before it."""
    return _warning(
        body,
        f"raft '{raft_id}' cannot pass {_names(blockers)}, launched before it",
        "a way clear of rafts in place, half a raft's width on either side",
        "Hold those beside their places until it has passed, or launch it from another bank.",
    )
