"""
Why not here: every part of the water at normal level, with the rule that keeps a raft out of it.

A place is forbidden where no type may lie. The rules are asked in their order, and the first that
forbids a place to every type governs it; what is left is room, and the plan settles the rest.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate

import numpy as np
import shapely
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from geoplan.crs import geodesic_area_m2
from geoplan.cut_cells import cells_polygon
from geoplan.placement.allowed import (
    ROUNDING_ROOM_M,
    AllowedRegion,
    Surroundings,
    grown,
)
from geoplan.placement.bound import Limit
from geoplan.placement.heading_room import out_of_reach
from geoplan.placement.rules import GAP, HEADING, REGION_RULES
from geoplan.plan import PlacedRaft
from geoplan.raft import footprints
from geoplan.reasons import WhyNot

#: Areas are laid on this lattice, so that neighbours share their vertices [m].
_LATTICE_M = 1e-5


@dataclass(frozen=True, eq=False)
class _Barred:
    """Water that a rule forbids to every type, with its name and words."""

    rule: str
    words: str
    area: BaseGeometry


def why_not(
    around: Surroundings,
    regions: Sequence[AllowedRegion],
    limits: Sequence[Limit],
    rafts: Sequence[PlacedRaft],
) -> tuple[WhyNot, ...]:
    """
    Return the water at normal level by what keeps a further raft out of it.

    Parameters
    ----------
    around : Surroundings
        The water body.
    regions : sequence of AllowedRegion
        Where rafts of each type may lie.
    limits : sequence of Limit
        Sums that are bounded.
    rafts : sequence of PlacedRaft
        The rafts of the plan.

    Returns
    -------
    tuple of WhyNot
        Parts that do not overlap and together are the water at normal level; none is empty.
    """
    water = _lattice(around.edges[1].outline)
    barred = list(_barred(around, regions))
    areas = [_lattice(shapely.intersection(part.area, water)) for part in barred]
    out = []
    left = water
    for part, area, only_m2 in zip(barred, areas, _only_m2(areas), strict=True):
        here = _cut(left, area, inside=True)
        left = _cut(left, area, inside=False)
        out.append(_why(around, part, here, (float(area.area), only_m2)))
    room = shapely.union_all([region.region for region in regions])
    narrow = _Barred("narrow", _narrow_words(around), _cut(left, room, inside=False))
    out.append(_why(around, narrow, narrow.area, (float(narrow.area.area),) * 2))
    left = _cut(left, room, inside=True)
    if around.headings is not None:
        turned = _turned_away(around, regions, rafts)
        here = _Barred(turned.rule, turned.words, _cut(left, turned.area, inside=True))
        left = _cut(left, turned.area, inside=False)
        out.append(_why(around, here, here.area, (float(here.area.area),) * 2))
    for part in _in_room(around, regions, limits, rafts):
        here = _cut(left, part.area, inside=True)
        left = _cut(left, part.area, inside=False)
        out.append(_why(around, part, here, (0.0, 0.0), is_room=True))
    return tuple(part for part in out if not part.area.is_empty)


def _only_m2(areas: Sequence[BaseGeometry]) -> Iterator[float]:
    """Yield how much of each area is in no other: not in those before it, nor in those after."""
    before = list(accumulate(areas, shapely.union, initial=MultiPolygon()))
    after = list(accumulate(reversed(areas), shapely.union, initial=MultiPolygon()))[::-1]
    for index, area in enumerate(areas):
        rest = shapely.difference(area, before[index])
        yield float(shapely.difference(rest, after[index + 1]).area)


def _why(
    around: Surroundings,
    part: _Barred,
    area: BaseGeometry,
    alone_and_only_m2: tuple[float, float],
    *,
    is_room: bool = False,
) -> WhyNot:
    """Return an answer with its area."""
    polygons = MultiPolygon(_polygons(area))
    area_m2 = geodesic_area_m2(polygons, around.body.crs) if not polygons.is_empty else 0.0
    return WhyNot(part.rule, part.words, polygons, area_m2, *alone_and_only_m2, is_room)


def _barred(around: Surroundings, regions: Sequence[AllowedRegion]) -> Iterator[_Barred]:
    """Yield what each rule forbids to every type; depth apart from what nobody has sounded."""
    types = around.settings.raft
    easiest = min(types, key=lambda kind: kind.draft_m + kind.root_depth_m)
    by_rule = zip(*(region.forbidden for region in regions), strict=True)
    for rule, areas in zip(REGION_RULES, by_rule, strict=True):
        if rule.name == "depth":
            yield _Barred("survey", "not surveyed: too far from any sounding", unsurveyed(around))
        area = areas[0] if len(areas) == 1 else shapely.intersection_all(areas)
        words = rule.words(around, easiest).removesuffix(", or not surveyed")
        yield _Barred(rule.name, words, area)


def unsurveyed(around: Surroundings) -> BaseGeometry:
    """
    Return the water of which no depth is known.

    Parameters
    ----------
    around : Surroundings
        The water body.

    Returns
    -------
    BaseGeometry
        Whole cells, working CRS [m].
    """
    fields = around.fields
    grid = fields.grid
    unknown = grid.water & (fields.is_unsurveyed | np.isnan(fields.reliable_bed_m))
    return cells_polygon(grid.west_m, grid.south_m, grid.cell_size_m, unknown)


def _turned_away(
    around: Surroundings, regions: Sequence[AllowedRegion], rafts: Sequence[PlacedRaft]
) -> _Barred:
    """Return the room that no raft of any type covers which lies as it may."""
    parts = [
        shapely.union(
            out_of_reach(region, around.fields.grid),
            shapely.difference(around.edges[1].outline, region.region),
        )
        for region in regions
    ]
    planned = _outlines([raft for raft in rafts if raft.status == "planned"])
    area = shapely.difference(shapely.intersection_all(parts), shapely.union_all(planned))
    least = min(around.settings.raft, key=lambda kind: kind.width_m)
    return _Barred(HEADING.name, HEADING.words(around, least), area)


def _narrow_words(around: Surroundings) -> str:
    """Return in words that what the rules leave is smaller than a raft."""
    least = min(around.settings.raft, key=lambda kind: kind.width_m)
    return f"too narrow for '{least.name}' ({least.length_m:g} by {least.width_m:g} m)"


def _in_room(
    around: Surroundings,
    regions: Sequence[AllowedRegion],
    limits: Sequence[Limit],
    rafts: Sequence[PlacedRaft],
) -> Iterator[_Barred]:
    """Yield what the plan makes of the room, in the order in which it is asked."""
    everywhere = around.edges[1].outline
    planned = [raft for raft in rafts if raft.status == "planned"]
    if planned:
        taken = shapely.union_all(_outlines(planned))
        yield _Barred("raft", "a raft of this plan lies here", taken)
        gap_m = GAP.gap_m(around)
        near = grown(shapely.multipolygons(_outlines(planned)), gap_m + ROUNDING_ROOM_M)
        yield _Barred("gap", f"within {gap_m:g} m of a raft of this plan", near)
    counts = {region.raft_type.name: 0 for region in regions}
    for raft in planned:
        counts[raft.raft_type] += not raft.is_kept  # the limits know of those already
    spent = _spent(regions, limits, counts)
    if spent:
        yield _Barred(spent[0], f"nothing left of: {spent[1]}", everywhere)
    else:
        yield _Barred("free", "nothing forbids a raft here; no further one was placed", everywhere)


def _outlines(rafts: Sequence[PlacedRaft]) -> list[BaseGeometry]:
    """Return the footprints of rafts."""
    return list(
        footprints(
            [raft.easting_m for raft in rafts],
            [raft.northing_m for raft in rafts],
            [raft.heading_deg for raft in rafts],
            [raft.length_m for raft in rafts],
            [raft.width_m for raft in rafts],
        )
    )


def _spent(
    regions: Sequence[AllowedRegion], limits: Sequence[Limit], counts: Mapping[str, int]
) -> tuple[str, str] | None:
    """Return the limits that leave no further raft of any type with room, if they do."""
    stops: list[Limit] = []
    for index, region in enumerate(regions):
        if region.region.is_empty:
            continue
        tight = [limit for limit in limits if _is_spent(limit, index, regions, counts)]
        if not tight:
            return None
        stops += [limit for limit in tight[:1] if limit not in stops]
    if not stops:
        return None
    return stops[0].name, ", ".join(limit.words for limit in stops)


def _is_spent(
    limit: Limit, index: int, regions: Sequence[AllowedRegion], counts: Mapping[str, int]
) -> bool:
    """Tell whether a limit leaves no further raft of a type."""
    used = sum(
        per * (counts[region.raft_type.name])
        for per, region in zip(limit.per_raft, regions, strict=True)
    )
    return limit.per_raft[index] > 0 and used + limit.per_raft[index] > limit.most + 1e-9


def _lattice(geometry: BaseGeometry) -> BaseGeometry:
    """Return the areas of a geometry on the lattice."""
    return MultiPolygon(_polygons(shapely.set_precision(geometry, _LATTICE_M)))


def _cut(left: BaseGeometry, area: BaseGeometry, *, inside: bool) -> BaseGeometry:
    """Return the part of the rest inside or outside of an area, on the lattice."""
    cut = shapely.intersection if inside else shapely.difference
    # Areas that only touch leave lines beside polygons, and an overlay takes no mixture.
    return MultiPolygon(_polygons(cut(left, MultiPolygon(_polygons(area)), grid_size=_LATTICE_M)))


def _polygons(geometry: BaseGeometry) -> list[BaseGeometry]:
    """Return the polygons of a geometry."""
    return [part for part in shapely.get_parts(geometry) if part.geom_type == "Polygon"]
