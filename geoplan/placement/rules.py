"""
The rules of placement, one class each, with their words for why a raft may not lie somewhere.

Four kinds: a region rule takes water away, a pair rule keeps rafts apart, a limit rule bounds a
sum, and one holds headings. Each has a twin of the same name in the audit, written apart; a test
fails for one without.
"""

from collections.abc import Mapping
from typing import Protocol

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geoplan.cut_cells import cells_polygon
from geoplan.placement.allowed import (
    ROUNDING_ROOM_M,
    RegionRule,
    Surroundings,
    grown,
)
from geoplan.placement.bound import Limit
from geoplan.raft import RaftType
from geoplan.reasons import HeldRaft
from geoplan.site import Inflow
from geoplan.water.jets import jet_reach_m

#: The mean depth in which a jet spreads is known to some 15 % in small ponds (*judgement*: two
#: honest ways of drawing the bed differed by 10 % in random ones); the reach goes with one over it.
#: A share [1].
_JET_ROOM = 1.15
#: Where the low edge is a contour of the bed and not the surveyed outline, two honest ways of
#: drawing it lay up to 4.5 cm apart in random ponds; a raft keeps this much more off it [m].
_CONTOUR_ROOM_M = 0.1
#: The audit counts the sun by another way; a raft keeps this much more than the least [h].
SUN_ROOM_H = 0.1
#: Levels nearer than this are the same [m].
_SAME_LEVEL_M = 1e-3
#: Room for a post and its sleeve on either side of a gap. Common practice, no source [m].
_POST_ROOM_M = 0.3


def _around_water(around: Surroundings) -> BaseGeometry:
    """Return a box well round the water body."""
    return shapely.box(*shapely.buffer(around.body.outline, 100.0).bounds)


class InsideWater:
    """A raft lies in the water when it is low, islands and dry bed left out."""

    name = "water"

    def forbidden(self, around: Surroundings, raft_type: RaftType) -> BaseGeometry:
        """Return everything that is not open water at low level."""
        return shapely.difference(_around_water(around), around.low_water)

    def words(self, around: Surroundings, raft_type: RaftType) -> str:
        """Return the rule in words."""
        return f"dry at the low level of {around.body.levels.low_m:.2f} m"


class BankDistance:
    """Open water stays between a raft and the bank at low level."""

    name = "bank"

    def forbidden(self, around: Surroundings, raft_type: RaftType) -> BaseGeometry:
        """Return the water nearer to the low water's edge than allowed."""
        body = around.body
        is_surveyed = abs(body.levels.low_m - body.outline_level_m) < _SAME_LEVEL_M
        room = ROUNDING_ROOM_M if is_surveyed else _CONTOUR_ROOM_M
        distance = around.settings.clearances.bank_m + room
        return grown(shapely.boundary(around.low_water), distance)

    def words(self, around: Surroundings, raft_type: RaftType) -> str:
        """Return the rule in words."""
        return f"within {around.settings.clearances.bank_m:g} m of the bank at low level"


class DepthForRoots:
    """Hanging roots stay clear of the bed when the water is low."""

    name = "depth"

    def need_m(self, around: Surroundings, raft_type: RaftType) -> float:
        """Return the reliable depth that a raft needs at low level [m]."""
        keep = around.settings.clearances
        return raft_type.draft_m + raft_type.root_depth_m + keep.sediment_m + keep.root_m

    def forbidden(self, around: Surroundings, raft_type: RaftType) -> BaseGeometry:
        """Return the cells, as whole squares, that are too shallow or not surveyed."""
        fields = around.fields
        depth = fields.reliable_depth_m(around.body.levels.low_m)
        shallow = depth < self.need_m(around, raft_type)
        grid = fields.grid
        return cells_polygon(grid.west_m, grid.south_m, grid.cell_size_m, shallow)

    def words(self, around: Surroundings, raft_type: RaftType) -> str:
        """Return the rule in words."""
        return (
            f"shallower at low level than the {self.need_m(around, raft_type):.2f} m that"
            f" '{raft_type.name}' needs for draft, roots, sediment and clearance,"
            " or not surveyed"
        )


class KeptClear:
    """Services, lanes and whatever else the site keeps clear."""

    name = "keep_clear"

    def forbidden(self, around: Surroundings, raft_type: RaftType) -> BaseGeometry:
        """Return what is kept clear with its distance."""
        return shapely.union_all(
            [
                grown(part.geometry, part.buffer_m + ROUNDING_ROOM_M)
                for part in around.body.keep_clear
            ]
        )

    def words(self, around: Surroundings, raft_type: RaftType) -> str:
        """Return the rule in words."""
        reasons = sorted({part.reason for part in around.body.keep_clear if part.reason})
        return "kept clear" + (f" ({', '.join(reasons)})" if reasons else "")


class OutletDistance:
    """A raft that breaks loose must not be at the outlet already."""

    name = "outlet"

    def forbidden(self, around: Surroundings, raft_type: RaftType) -> BaseGeometry:
        """Return the water nearer to an outlet than the distance or three of its widths."""
        least = around.settings.clearances.outlet_m
        return shapely.union_all(
            [
                grown(out.geometry, max(least, 3.0 * (out.width_m or 0.0)) + ROUNDING_ROOM_M)
                for out in around.body.outlets
            ]
        )

    def words(self, around: Surroundings, raft_type: RaftType) -> str:
        """Return the rule in words."""
        return f"within {around.settings.clearances.outlet_m:g} m or three widths of the outlet"


class InflowJet:
    """A raft lies outside the jet of an inflow at peak flow."""

    name = "inflow"

    def standoff_m(self, around: Surroundings, inflow: Inflow) -> float:
        """Return the distance to keep from an inflow [m]."""
        keep = around.settings.clearances
        flow_m3_s = (inflow.peak_flow_l_s or inflow.flow_l_s or 0.0) / 1000.0
        depth_m = _spreading_depth_m(around)
        reach = jet_reach_m(inflow.pipe_diameter_m, flow_m3_s, depth_m, keep.jet_speed_m_s)
        return float(max(keep.inflow_m, reach * _JET_ROOM))

    def forbidden(self, around: Surroundings, raft_type: RaftType) -> BaseGeometry:
        """Return the water within the stand-off of any inflow."""
        discs = []
        for inflow in around.body.inflows:
            distance = self.standoff_m(around, inflow)
            if distance > 0:
                discs.append(grown(inflow.point, distance + ROUNDING_ROOM_M))
        return shapely.union_all(discs)

    def words(self, around: Surroundings, raft_type: RaftType) -> str:
        """Return the rule in words."""
        speed = around.settings.clearances.jet_speed_m_s
        return f"in the jet of an inflow (faster than {speed:g} m/s at peak flow)"


def _spreading_depth_m(around: Surroundings) -> float:
    """Return the mean depth at normal level: of the bed, or of straight lines between soundings.

    Few soundings in a bowl leave a fifth of its water below such lines; the lesser depth counts.
    """
    normal, linear_m = around.edges[1], around.fields.edge_bed_m
    mean_m = normal.volume_m3 / max(normal.area_m2, 1e-9)
    if linear_m is None:
        return mean_m
    depth_m = normal.level_m - linear_m[around.fields.grid.water]
    return min(mean_m, float(depth_m[depth_m > 0].mean())) if (depth_m > 0).any() else mean_m


class SunForPlants:
    """Plants get enough sun through the growing season."""

    name = "sun"

    def forbidden(self, around: Surroundings, raft_type: RaftType) -> BaseGeometry:
        """Return the cells, as whole squares, with too few hours of sun."""
        fields = around.fields
        if fields.sun_h is None:
            return shapely.MultiPolygon()
        grid = fields.grid
        dark = grid.water & (fields.sun_h < around.settings.sun.least_h + SUN_ROOM_H)
        return cells_polygon(grid.west_m, grid.south_m, grid.cell_size_m, dark)

    def words(self, around: Surroundings, raft_type: RaftType) -> str:
        """Return the rule in words."""
        return f"less than {around.settings.sun.least_h:g} h of sun a day in the growing season"


class GapBetween:
    """Rafts keep apart, from each other and from those already there."""

    name = "gap"

    def _least_m(self, around: Surroundings) -> float:
        """Return the distance that is asked, and never less than posts need [m]."""
        return max(around.settings.clearances.gap_m, _POST_ROOM_M)

    def gap_m(self, around: Surroundings) -> float:
        """Return the distance between rafts in their places, so that none on lines meet [m]."""
        swing = max(around.holding_of(kind).excursion_m for kind in around.settings.raft)
        return self._least_m(around) + 2.0 * swing

    def to_existing_m(self, around: Surroundings, raft_type: RaftType) -> float:
        """
        Return the distance that a raft keeps to rafts that are there already.

        Parameters
        ----------
        around : Surroundings
            The water body.
        raft_type : RaftType
            Type of the raft.

        Returns
        -------
        float
            The gap, and what a raft of the type swings on lines; those that are there do not [m].
        """
        swing = around.holding_of(raft_type).excursion_m
        return self._least_m(around) + swing

    def forbidden(self, around: Surroundings, raft_type: RaftType) -> BaseGeometry:
        """Return the water too near to rafts that are there already, or held by a person."""
        least_m = self._least_m(around) + ROUNDING_ROOM_M
        near = [grown(raft.outline, least_m) for raft in around.body.rafts]
        # Held rafts may swing on lines too; those that are there are moored by others.
        swing_m = self.gap_m(around) - self._least_m(around)
        near += [grown(raft.outline, least_m + swing_m / 2.0) for raft in around.held]
        return shapely.union_all(near)

    def there(self, around: Surroundings) -> list[BaseGeometry]:
        """
        Return the rafts whose places are settled before any is placed.

        Parameters
        ----------
        around : Surroundings
            The water body.

        Returns
        -------
        list of BaseGeometry
            Outlines, working CRS [m].
        """
        there: list[BaseGeometry] = [raft.outline for raft in around.body.rafts]
        return there + [raft.outline for raft in around.held]

    def words(self, around: Surroundings, raft_type: RaftType) -> str:
        """Return the rule in words."""
        held = " or held" if around.held else ""
        return f"within {self.gap_m(around):g} m of a raft already there{held}"


class HeldInPlace:
    """What holds a raft reaches the bed, and what it sweeps on its lines is legal water too."""

    name = "mooring"

    def forbidden(self, around: Surroundings, raft_type: RaftType) -> BaseGeometry:
        """Return water too deep for posts, or nearer to what is forbidden than lines allow."""
        held = around.holding_of(raft_type)
        grid = around.fields.grid
        if held.kind == "posts":
            return cells_polygon(grid.west_m, grid.south_m, grid.cell_size_m, held.too_deep)
        parts = []
        for rule in (*_ON_THE_BED, *_ROUND_THE_RAFT):
            reach = held.excursion_m
            if rule in _ON_THE_BED:
                # Anchors lie where the bed is known and the water is no bank.
                reach = max(reach, held.reach_m)
            parts.append(grown(rule.forbidden(around, raft_type), reach + ROUNDING_ROOM_M))
        return shapely.union_all(parts)

    def words(self, around: Surroundings, raft_type: RaftType) -> str:
        """Return the rule in words."""
        held = around.holding_of(raft_type)
        if held.kind == "posts":
            return f"too deep for posts of {around.settings.mooring.longest_post_m:g} m"
        return (
            f"within {held.excursion_m:.1f} m, which rafts on lines may swing at low level, of"
            f" what is forbidden, or within {held.reach_m:.1f} m, where their anchors lie, of"
            " shallow or unsurveyed water"
        )


class HeldHeading:
    """A raft lies along the flow, the wind or the bank, where the site asks for it."""

    name = "heading"

    def off_deg(self, around: Surroundings, raft: HeldRaft) -> float:
        """
        Return by how much a raft is turned beyond what is allowed where it lies.

        Parameters
        ----------
        around : Surroundings
            The water body.
        raft : HeldRaft
            The raft.

        Returns
        -------
        float
            Angle; zero or less where it lies as it may [°].
        """
        if around.headings is None:
            return 0.0
        kind = next(kind for kind in around.settings.raft if kind.name == raft.raft_type)
        place = (np.array([v]) for v in (raft.easting_m, raft.northing_m, raft.heading_deg))
        return float(around.headings.off_deg(kind, *place)[0])

    def words(self, around: Surroundings, raft_type: RaftType) -> str:
        """Return the rule in words."""
        if around.headings is None:
            return "a raft may lie any way"
        held = around.headings
        return (
            f"no '{raft_type.name}' fits here that lies along {held.along} to within"
            f" {held.tolerance_deg:g} degrees"
        )


class LimitRule(Protocol):
    """
    A rule that bounds a sum over rafts.

    Attributes
    ----------
    name : str
        Key of the rule; the audit's twin has the same.
    """

    name: str

    def limits(
        self, around: Surroundings, types: tuple[RaftType, ...], allotment: Mapping[str, int]
    ) -> tuple[Limit, ...]:
        """Return the sums that are bounded; none where nothing is."""


class Stock:
    """No more rafts of a type than stand in the yard, or are allotted to this water."""

    name = "stock"

    def limits(
        self, around: Surroundings, types: tuple[RaftType, ...], allotment: Mapping[str, int]
    ) -> tuple[Limit, ...]:
        """Return one limit for each type that is counted."""
        out = []
        for index, raft_type in enumerate(types):
            most = allotment.get(raft_type.name, raft_type.stock)
            if most is not None:
                left = most - sum(raft.raft_type == raft_type.name for raft in around.held)
                unit = tuple(1.0 if k == index else 0.0 for k in range(len(types)))
                words = f"stock of '{raft_type.name}'"
                out.append(Limit(self.name, words, unit, float(max(0, left))))
        return tuple(out)


class Budget:
    """All rafts together, and setting up for them, cost no more than may be spent."""

    name = "budget"

    def limits(
        self, around: Surroundings, types: tuple[RaftType, ...], allotment: Mapping[str, int]
    ) -> tuple[Limit, ...]:
        """Return the limit of the cost, where there is one."""
        most = around.settings.budget.limit
        if most is None:
            return ()
        cost = {kind.name: kind.cost for kind in types}
        left = most - around.body.terms.mobilisation_cost
        left -= sum(cost[raft.raft_type] for raft in around.held)
        return (Limit(self.name, "budget", tuple(kind.cost for kind in types), max(0.0, left)),)


class CoverShare:
    """Rafts cover no more of the normal pool than allowed, those already there included."""

    name = "cover"

    def limits(
        self, around: Surroundings, types: tuple[RaftType, ...], allotment: Mapping[str, int]
    ) -> tuple[Limit, ...]:
        """Return the limit of the area."""
        there = sum(float(outline.area) for outline in GAP.there(around))
        most = around.body.max_cover_pct / 100.0 * around.edges[1].area_m2 * (1 - 1e-6) - there
        areas = tuple(kind.area_m2 for kind in types)
        return (Limit(self.name, "cover of the normal pool", areas, max(0.0, most)),)


GAP = GapBetween()
_ON_THE_BED: tuple[RegionRule, ...] = (InsideWater(), DepthForRoots())
_ROUND_THE_RAFT: tuple[RegionRule, ...] = (
    BankDistance(),
    KeptClear(),
    OutletDistance(),
    InflowJet(),
    GAP,
)
REGION_RULES: tuple[RegionRule, ...] = (
    InsideWater(),
    BankDistance(),
    DepthForRoots(),
    KeptClear(),
    OutletDistance(),
    InflowJet(),
    SunForPlants(),
    GAP,
    HeldInPlace(),
)
LIMIT_RULES: tuple[LimitRule, ...] = (Stock(), Budget(), CoverShare())
HEADING = HeldHeading()
RULES: tuple[RegionRule | LimitRule | HeldHeading, ...] = (*REGION_RULES, HEADING, *LIMIT_RULES)
