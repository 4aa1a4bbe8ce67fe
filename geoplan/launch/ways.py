"""
The way of each raft from a bank to its place: shortest for its width, with room to turn.

The shortest way for a raft's width is taken if the raft can be towed, turned and hauled along it;
else the shortest on which it could be turned anywhere; else the first, and it is said.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import shapely
import shapely.ops
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from geoplan.grid import SiteFields
from geoplan.hulls import bare_mass_kg
from geoplan.launch.bank import WadingGround, WadingLeg, wading_leg
from geoplan.launch.bank_choice import BankScore, bank_handling, bank_score, reason_for
from geoplan.launch.free_water import free_water, joined, only_polygons, taken_back
from geoplan.launch.handling import Handling
from geoplan.launch.manoeuvre import Manoeuvre, grown_water, manoeuvre
from geoplan.launch.paths import VisibilityGraph, simpler_inside
from geoplan.plan import PlacedRaft
from geoplan.raft import RaftType, footprints
from geoplan.settings import Settings
from geoplan.site import FloatArray, WaterBody

#: Water below the hull that towing needs. Judgement [m].
DRAFT_MARGIN_M = 0.10
#: Simplification of water with many corners; a way stays clear of the banks all the same [m].
_SIMPLIFY_M = 0.1
_ROUNDING_M = 1e-6
#: Segments of a quarter of the disc in which people hold a raft: within a millimetre of round.
_HELD_ARC = 32


@dataclass(frozen=True, eq=False)
class Lake:
    """
    What the ways of one water body are drawn on.

    Attributes
    ----------
    body : WaterBody
        The water body and its banks.
    fields : SiteFields
        Bed and its uncertainty.
    edge_low : BaseGeometry
        Open water at low level, working CRS [m].
    depth_low_m : ndarray of float, shape (rows, cols)
        Reliable depth at low level [m].
    ground : WadingGround
        Where people may walk.
    settings : Settings
        Raft types, crew and rates.
    """

    body: WaterBody
    fields: SiteFields
    edge_low: BaseGeometry
    depth_low_m: FloatArray
    ground: WadingGround
    settings: Settings

    @classmethod
    def of(
        cls, body: WaterBody, fields: SiteFields, edge_low: BaseGeometry, settings: Settings
    ) -> "Lake":
        """
        Return what the ways of a water body are drawn on.

        Parameters
        ----------
        body : WaterBody
            The water body.
        fields : SiteFields
            Bed and its uncertainty.
        edge_low : BaseGeometry
            Open water at low level, working CRS [m].
        settings : Settings
            Raft types, crew and rates.

        Returns
        -------
        Lake
            With depth and wading ground at low level.
        """
        low_m = body.levels.low_m
        ground = WadingGround.of(body.outline, fields, low_m, settings.launch.wading_m)
        return cls(body, fields, edge_low, fields.reliable_depth_m(low_m), ground, settings)

    @cached_property
    def _deep(self) -> dict[float, MultiPolygon]:
        """Return water that is deep enough by the depth needed, as far as it was asked for."""
        return {}

    @cached_property
    def raft_types(self) -> dict[str, RaftType]:
        """Return the raft types by name."""
        return {kind.name: kind for kind in self.settings.raft}

    def type_of(self, raft: PlacedRaft) -> RaftType:
        """
        Return the type of a raft.

        Parameters
        ----------
        raft : PlacedRaft
            The raft.

        Returns
        -------
        RaftType
            Its type.

        Raises
        ------
        ValueError
            If the settings have none of that name.
        """
        if raft.raft_type not in self.raft_types:
            raise ValueError(
                f"raft '{raft.raft_id}' is of type '{raft.raft_type}', which is not among the"
                f" settings' types {sorted(self.raft_types)}"
            )
        return self.raft_types[raft.raft_type]

    def free_for(self, raft: PlacedRaft, obstacles: Sequence[BaseGeometry]) -> BaseGeometry:
        """
        Return the water that a raft may cross.

        Parameters
        ----------
        raft : PlacedRaft
            The raft.
        obstacles : sequence of BaseGeometry
            Rafts in the water, working CRS [m].

        Returns
        -------
        MultiPolygon
            Water that is deep enough for its draft and ``DRAFT_MARGIN_M``, working CRS [m].
        """
        need_m = self.type_of(raft).draft_m + DRAFT_MARGIN_M
        if need_m not in self._deep:
            self._deep[need_m] = free_water(
                self.fields.grid, self.depth_low_m, need_m, self.edge_low
            )
        return only_polygons(shapely.difference(self._deep[need_m], joined(obstacles)))


@dataclass(frozen=True, eq=False)
class Way:
    """
    One way: the wading leg, then the tow to the raft's centre.

    Attributes
    ----------
    launch_id : str
        The bank.
    leg : WadingLeg
        From the bank to where towing begins.
    tow_m : ndarray of float, shape (n, 2)
        Way of the centre from there [m].
    manoeuvre : Manoeuvre
        How the raft is towed, turned and hauled along it.
    handling : Handling
        How it is brought into the water.
    bank_reason : str
        Why that bank.
    """

    launch_id: str
    leg: WadingLeg
    tow_m: FloatArray
    manoeuvre: Manoeuvre
    handling: Handling
    bank_reason: str = ""

    @property
    def line(self) -> LineString:
        """Return the whole way, from the bank."""
        return _line(np.vstack([shapely.get_coordinates(self.leg.line)[:1], self.tow_m]))

    @property
    def tow(self) -> LineString:
        """Return the way without the wading leg."""
        return _line(self.tow_m)

    def swept(self, width_m: float) -> Any:
        """
        Return all water that a raft sweeps, the wading leg included.

        Parameters
        ----------
        width_m : float
            Its width [m].

        Returns
        -------
        ndarray of Polygon
            Pieces, working CRS [m].
        """
        waded = shapely.buffer(self.leg.line, width_m / 2)
        return np.concatenate([self.manoeuvre.swept, np.array([waded], object)])

    @property
    def open_tow(self) -> LineString:
        """Return the tow up to where the raft takes the heading of its place."""
        whole = self.tow
        # Of a raft turned where towing begins, rounding may leave less than nothing, and a
        # distance below nothing would be counted from the end.
        open_m = max(whole.length - self.manoeuvre.turn_before_m, 0.0)
        return shapely.ops.substring(whole, 0.0, open_m)


def raft_places(rafts: Sequence[PlacedRaft]) -> list[Polygon]:
    """
    Return the water that each raft covers in its place.

    Parameters
    ----------
    rafts : sequence of PlacedRaft
        The rafts.

    Returns
    -------
    list of Polygon
        Footprints, working CRS [m].
    """
    return list(
        footprints(
            [raft.easting_m for raft in rafts],
            [raft.northing_m for raft in rafts],
            [raft.heading_deg for raft in rafts],
            [raft.length_m for raft in rafts],
            [raft.width_m for raft in rafts],
        )
    )


def ways_to(
    lake: Lake, rafts: Sequence[PlacedRaft], obstacles: Sequence[BaseGeometry]
) -> dict[str, Way]:
    """
    Return the way of each raft that can be reached.

    Parameters
    ----------
    lake : Lake
        The water.
    rafts : sequence of PlacedRaft
        Rafts to be brought to their places.
    obstacles : sequence of BaseGeometry
        Rafts in the water, working CRS [m].

    Returns
    -------
    dict of str to Way
        By the raft's identity. A way without room to turn is returned where there is no other.
    """

    def size(raft: PlacedRaft) -> tuple[float, float, float]:
        # What the free water of a raft depends on.
        return lake.type_of(raft).draft_m, raft.width_m, raft.length_m

    found: dict[str, Way] = {}
    for _, alike in itertools.groupby(sorted(rafts, key=size), size):
        group = list(alike)
        free = lake.free_for(group[0], obstacles)
        ways = _ways_kept_off(lake, group, free, obstacles, is_wide=False)
        tight = [r for r in group if r.raft_id in ways and not ways[r.raft_id].manoeuvre.is_clear]
        if tight:
            wide = _ways_kept_off(lake, tight, free, obstacles, is_wide=True)
            ways |= {name: way for name, way in wide.items() if way.manoeuvre.is_clear}
        found |= ways
    return found


def _ways_kept_off(
    lake: Lake,
    rafts: Sequence[PlacedRaft],
    free: BaseGeometry,
    obstacles: Sequence[BaseGeometry],
    *,
    is_wide: bool,
) -> dict[str, Way]:
    """
    Return the ways of rafts of one size that keep off all that bars them.

    By half the width, and only within its own place may a raft be nearer; or wide, by half the
    diagonal, from where a raft is hauled in with the heading of its place.
    """
    width_m, length_m = rafts[0].width_m, rafts[0].length_m
    reach_m = (float(np.hypot(width_m, length_m)) if is_wide else width_m) / 2
    room = simpler_inside(taken_back(free, reach_m), _SIMPLIFY_M)
    if room.is_empty:
        return {}
    parts = shapely.get_parts(room)
    centres = shapely.points([(raft.easting_m, raft.northing_m) for raft in rafts])
    part_index = shapely.STRtree(parts).nearest(centres)
    last_legs = shapely.shortest_line(parts[part_index], centres)
    can_end = _covered(last_legs, raft_places(rafts))
    if is_wide:
        can_end |= _covered(last_legs, free)
    taken = joined(obstacles)
    found: dict[str, Way] = {}
    for index in np.unique(part_index[can_end]):
        goals = [
            (raft, last_leg)
            for raft, last_leg, here, can in zip(rafts, last_legs, part_index, can_end, strict=True)
            if can and here == index
        ]
        found |= _best_from_banks(lake, goals, parts[index], taken, free)
    return found


def _covered(legs: FloatArray, water: Any) -> NDArray[np.bool_]:
    """Tell which last legs lie in water, one for all or one for each."""
    grown = shapely.buffer(np.asarray(water, object), _ROUNDING_M, join_style="mitre")
    inside: NDArray[np.bool_] = shapely.covers(grown, legs)
    return inside


def _best_from_banks(
    lake: Lake,
    goals: Sequence[tuple[PlacedRaft, LineString]],
    part: Polygon,
    taken: BaseGeometry,
    free: BaseGeometry,
) -> dict[str, Way]:
    """Return the best of the ways from all launch places, through one part of the room."""
    graph = VisibilityGraph(part)
    first, given = goals[0][0], lake.settings.launch
    size_m = first.length_m, first.width_m
    mass_kg = bare_mass_kg(lake.type_of(first), given)
    found: dict[str, list[tuple[BankScore, Way]]] = {}
    for launch in sorted(lake.body.launches, key=lambda place: place.launch_id):
        leg = wading_leg(launch.geometry, part, lake.ground, taken, size_m)
        if leg is None:
            continue
        start = shapely.get_point(leg.line, 1)
        handling = bank_handling(launch, mass_kg, given)
        paths = graph.paths_from(start, [shapely.get_point(line, 0) for _, line in goals])
        tows = [
            (raft, _tow_m(path, last_leg), last_leg.length)
            for (raft, last_leg), path in zip(goals, paths, strict=True)
            if path is not None
        ]
        water = _water_about([tow_m for _, tow_m, _ in tows], free, start, size_m, taken)
        for raft, tow_m, in_place_m in tows:
            brought = manoeuvre(tow_m, size_m, raft.heading_deg, water, in_place_m)
            way = Way(launch.launch_id, leg, tow_m, brought, handling)
            score = bank_score(launch, leg, way.line.length, handling, given)
            found.setdefault(raft.raft_id, []).append((score, way))
    return {name: _chosen(tried, len(lake.body.launches)) for name, tried in found.items()}


def _water_about(
    tows_m: Sequence[FloatArray],
    free: BaseGeometry,
    start: BaseGeometry,
    size_m: tuple[float, float],
    taken: BaseGeometry,
) -> BaseGeometry:
    """Return water about ways, with the place where people hold a raft and turn it to be towed."""
    diagonal_m = float(np.hypot(*size_m))
    points = shapely.multipoints(np.vstack([shapely.get_coordinates(start), *tows_m]))
    # A raft reaches half its diagonal from its way; what is farther off is not asked for.
    near = shapely.box(*shapely.bounds(shapely.buffer(points.envelope, diagonal_m)))
    held = shapely.buffer(start, diagonal_m / 2, quad_segs=_HELD_ARC)
    turned = shapely.difference(held, taken)
    return grown_water(shapely.union(shapely.intersection(free, near), turned))


def _chosen(tried: list[tuple[BankScore, Way]], bank_count: int) -> Way:
    """Return the way from the best bank; one with room to turn goes before one without."""
    clear = [one for one in tried if one[1].manoeuvre.is_clear] or tried
    scores = [score for score, _ in clear]
    _, way = min(clear, key=lambda one: one[0])
    return replace(way, bank_reason=reason_for(scores, bank_count))


def _tow_m(path: LineString, last_leg: LineString) -> FloatArray:
    """Return the way of the centre from where towing begins, shape (n, 2)."""
    tow_m = np.vstack([shapely.get_coordinates(path), shapely.get_coordinates(last_leg)[1:]])
    joined: FloatArray = shapely.get_coordinates(_line(tow_m))
    return joined


def _line(points_m: FloatArray) -> LineString:
    """Return a line through points, each but once; of length zero where all are one."""
    step_m = np.hypot(*np.diff(points_m, axis=0).T)
    keep = points_m[np.concatenate([[True], step_m > _ROUNDING_M])]
    # The end is the raft's centre to the last digit, even where it closes on the point before.
    keep = np.vstack([keep[:-1], points_m[-1:]]) if len(keep) > 1 else np.repeat(keep, 2, axis=0)
    return LineString(keep)
