"""
The water in which a raft may lie, as exact geometry.

A raft is legal where its whole footprint lies in the allowed region of its type, whatever its
heading, unless headings are held. The region is what the rules leave of the water at low level;
each rule takes away polygons, drawn on the safe side: an arc is circumscribed, a cell counts as a
whole square.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Protocol

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from geoplan.grid import SiteFields
from geoplan.mooring.holding import Holding, holding
from geoplan.placement.headings import Headings
from geoplan.plan import WaterEdge
from geoplan.raft import RaftType
from geoplan.reasons import HeldRaft
from geoplan.settings import Settings
from geoplan.site import WaterBody
from geoplan.water.transport import BareWater

#: What rounding may take from a distance that is kept [m].
TOLERANCE_M = 1e-6
#: Room left beyond every distance rule, so that none is met only by rounding [m].
ROUNDING_ROOM_M = 1e-3
#: Share of the distance by which GEOS may simplify a line before it buffers it [1].
_BENDS_DROPPED = 0.01
_ARC = 16


@dataclass(frozen=True, eq=False)
class Surroundings:
    """
    What the rules of one water body look at.

    Attributes
    ----------
    body : WaterBody
        The water body and its parts.
    fields : SiteFields
        What is known of each cell.
    edges : tuple of WaterEdge
        Water's edge at low, normal and high level.
    settings : Settings
        Distances and limits.
    held : tuple of HeldRaft
        Rafts whose places a person has fixed.
    headings : Headings or None
        Which way rafts may lie; ``None``: any.
    known_regions : tuple of AllowedRegion
        Where each type may lie, where that was found before; empty where it was not.
    """

    body: WaterBody
    fields: SiteFields
    edges: tuple[WaterEdge, ...]
    settings: Settings
    held: tuple[HeldRaft, ...] = ()
    headings: Headings | None = None
    known_regions: "tuple[AllowedRegion, ...]" = ()

    @property
    def low_water(self) -> BaseGeometry:
        """Return the open water at low level."""
        return self.edges[0].outline

    def holding_of(self, kind: RaftType) -> Holding:
        """
        Return what holds rafts of a type here.

        Parameters
        ----------
        kind : RaftType
            The type.

        Returns
        -------
        Holding
            Posts or lines, and the room that takes; every rule asks for it, and it is kept.
        """
        if kind not in self._holdings:
            self._holdings[kind] = holding(self.body, self.fields, kind, self.settings)
        return self._holdings[kind]

    @cached_property
    def _holdings(self) -> dict[RaftType, Holding]:
        """Return what was asked for."""
        return {}


class RegionRule(Protocol):
    """
    A rule that keeps rafts out of part of the water.

    Attributes
    ----------
    name : str
        Key of the rule; the audit's twin has the same.
    """

    name: str

    def forbidden(self, around: Surroundings, raft_type: RaftType) -> BaseGeometry:
        """
        Return the water in which no part of a raft may lie.

        Parameters
        ----------
        around : Surroundings
            The water body.
        raft_type : RaftType
            The type of raft.

        Returns
        -------
        BaseGeometry
            Polygons, working CRS; empty where the rule forbids nothing [m].
        """

    def words(self, around: Surroundings, raft_type: RaftType) -> str:
        """
        Return why a raft may not lie there, in words with the rule's own numbers.

        Parameters
        ----------
        around : Surroundings
            The water body.
        raft_type : RaftType
            The type of raft.

        Returns
        -------
        str
            What follows "no raft here: ".
        """


@dataclass(frozen=True, eq=False)
class AllowedRegion:
    """
    Where a raft of one type may lie.

    Attributes
    ----------
    raft_type : RaftType
        The type.
    region : BaseGeometry
        Polygons within which every legal footprint lies whole, working CRS [m].
    taken_m2 : tuple of (str, float, str)
        For each rule: its name, the area of open water it takes away by itself [m²], and its
        words.
    headings : Headings or None
        Which way it may lie; ``None``: any.
    forbidden : tuple of BaseGeometry
        What each rule forbids, in the order of the rules, working CRS [m].
    """

    raft_type: RaftType
    region: BaseGeometry
    taken_m2: tuple[tuple[str, float, str], ...]
    headings: Headings | None = None
    forbidden: tuple[BaseGeometry, ...] = ()

    @cached_property
    def wide(self) -> BaseGeometry:
        """Return the region and a micrometre more, prepared: every end of a search asks it."""
        wide = shapely.buffer(self.region, TOLERANCE_M)
        shapely.prepare(wide)
        return wide


@dataclass(frozen=True, eq=False)
class Ground:
    """
    What a water body is, whatever rafts it gets: found once for all that is done with it.

    Attributes
    ----------
    fields : SiteFields
        What is known of each cell.
    edges : tuple of WaterEdge
        Water's edge at low, normal and high level.
    regions : tuple of AllowedRegion
        Where each type may lie with no raft held.
    bare : BareWater or None
        Flow and load without planned rafts; ``None`` where it is not known how water flows.
    """

    fields: SiteFields
    edges: tuple[WaterEdge, ...]
    regions: tuple[AllowedRegion, ...]
    bare: BareWater | None


def grown(geometry: BaseGeometry, distance_m: float) -> BaseGeometry:
    """
    Return a geometry with everything nearer than a distance, never less than that.

    Parameters
    ----------
    geometry : BaseGeometry
        Any geometry [m].
    distance_m : float
        Distance to keep [m].

    Returns
    -------
    BaseGeometry
        Polygons that hold the true offset; arcs are drawn from outside, at most 1.2 % beyond.

    Notes
    -----
    A round buffer replaces an arc by chords, which leave up to r(1 − cos(π/4n)) of it out for n
    segments a quarter circle, and GEOS first drops bends shallower than a hundredth of the
    distance; the radius is enlarged by what both can take.

    Examples
    --------
    >>> grown(shapely.Point(0, 0), 2.0).area > 3.14159265 * 4
    True
    """
    if geometry.is_empty or distance_m <= 0:
        return geometry
    radius_m = distance_m / (math.cos(math.pi / (4 * _ARC)) - _BENDS_DROPPED)
    return shapely.buffer(geometry, radius_m, quad_segs=_ARC)


def allowed_region(
    around: Surroundings, raft_type: RaftType, rules: Sequence[RegionRule]
) -> AllowedRegion:
    """
    Return the water in which rafts of a type may lie.

    Parameters
    ----------
    around : Surroundings
        The water body.
    raft_type : RaftType
        The type.
    rules : sequence of RegionRule
        Rules that take water away.

    Returns
    -------
    AllowedRegion
        What they leave, and what each takes by itself.
    """
    water = around.low_water
    taken = []
    forbidden = []
    for rule in rules:
        area = rule.forbidden(around, raft_type)
        forbidden.append(area)
        lost = shapely.area(shapely.intersection(area, water)) if not area.is_empty else 0.0
        taken.append((rule.name, float(lost), rule.words(around, raft_type)))
    left = shapely.difference(water, shapely.union_all(forbidden))
    room = reachable_parts(left, raft_type)
    return AllowedRegion(raft_type, room, tuple(taken), around.headings, tuple(forbidden))


def reachable_parts(region: BaseGeometry, raft_type: RaftType) -> BaseGeometry:
    """
    Drop what no raft of a type can reach: parts too small, tongues too narrow.

    Parameters
    ----------
    region : BaseGeometry
        Water that no rule takes away [m].
    raft_type : RaftType
        The type.

    Returns
    -------
    BaseGeometry
        Polygons that hold every place of a raft of the type in the region [m].
    """
    half = raft_type.width_m / 2
    # Every point of a raft lies within half·√2 of a point on its midline, which keeps half from
    # the edge; the first radius is short by more than GEOS may simplify, the second never is.
    core = shapely.buffer(region, -0.98 * half, quad_segs=_ARC)
    reachable = shapely.intersection(region, grown(core, math.sqrt(2) * half))
    parts: list[Any] = [
        part
        for part in shapely.get_parts(reachable)
        if isinstance(part, Polygon) and part.area >= raft_type.area_m2
    ]
    return shapely.MultiPolygon(parts)
