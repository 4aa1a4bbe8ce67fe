"""Placement of one water body: regions, bound, search, and each raft measured where it lies."""

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from geoplan.grid import WaterGrid
from geoplan.placement.allowed import (
    ROUNDING_ROOM_M,
    AllowedRegion,
    Surroundings,
    allowed_region,
    grown,
)
from geoplan.placement.bound import Limit, area_bound
from geoplan.placement.rules import GAP, LIMIT_RULES, REGION_RULES
from geoplan.placement.search import Poses, best_rows
from geoplan.placement.worth import WorthSurface
from geoplan.plan import PlacedRaft, SolveReport
from geoplan.raft import RaftType
from geoplan.site import ExistingRaft, FloatArray

#: Orders in which up to this many types are tried; more are tried largest first alone.
_MOST_PERMUTED = 3


@dataclass(frozen=True, eq=False)
class Placement:
    """
    Rafts in their places, with what says how good that is.

    Attributes
    ----------
    rafts : tuple of PlacedRaft
        Planned rafts, the most worth first, then those already there.
    report : SolveReport
        Value, bound and how they were found.
    room_m2 : float
        Water in which a raft of some type may lie [m²].
    why_none : str
        Where no raft was placed: what took most room or count away; else empty.
    """

    rafts: tuple[PlacedRaft, ...]
    report: SolveReport
    room_m2: float
    why_none: str


def place_rafts(
    around: Surroundings, allotment: Mapping[str, int] | None = None, seed: int = 0
) -> Placement:
    """
    Place rafts of all types where they are worth most, within every rule.

    Parameters
    ----------
    around : Surroundings
        The water body, its fields and settings.
    allotment : mapping of str to int or None
        Rafts of each type that this water body may have; ``None``: the whole stock.
    seed : int
        Seed of the search; this search draws nothing at random.

    Returns
    -------
    Placement
        Rafts, and the bound that no legal plan with these limits can beat.
    """
    types = around.settings.raft
    regions = [allowed_region(around, kind, REGION_RULES) for kind in types]
    limits = _limits(around, types, allotment or {})
    surface = WorthSurface.of(around.fields)
    gap_m = GAP.gap_m(around)
    poses, frames = _best_order(surface, regions, limits, gap_m + ROUNDING_ROOM_M)
    value = sum(float(part.value.sum()) for part in poses)
    room = shapely.union_all([region.region for region in regions])
    bound = 0.0
    if not room.is_empty:
        bound = area_bound(surface, regions, gap_m, limits).value
    report = SolveReport(
        method="rows in the best of turned frames, at one price",
        status="every pass finished",
        value=value,
        bound=max(bound, value),
        unit="m² of planted raft at full worth (relative)",
        frames_tried=frames,
        seed=seed,
    )
    why = "" if any(len(part) for part in poses) else _why_none(around, regions, limits)
    return Placement(_measured(around, surface, poses), report, float(room.area), why)


def _limits(
    around: Surroundings, types: tuple[RaftType, ...], allotment: Mapping[str, int]
) -> tuple[Limit, ...]:
    """Return every limit; with one type alone, as whole numbers of rafts."""
    limits = [limit for rule in LIMIT_RULES for limit in rule.limits(around, types, allotment)]
    if len(types) > 1:
        return tuple(limits)
    whole = []
    for limit in limits:
        per = limit.per_raft[0]
        most = per * math.floor(limit.most / per + 1e-9) if per > 0 else limit.most
        whole.append(Limit(limit.name, limit.words, limit.per_raft, most))
    return tuple(whole)


def _count_left(limits: Sequence[Limit], used: FloatArray, index: int) -> int:
    """Return how many more rafts of a type the limits allow."""
    counts = [
        math.floor((limit.most - used[k]) / limit.per_raft[index] + 1e-9)
        for k, limit in enumerate(limits)
        if limit.per_raft[index] > 0
    ]
    return max(0, min(counts, default=10**6))


def _orders(types: int) -> Iterable[tuple[int, ...]]:
    """Return the orders in which types are placed."""
    if types <= _MOST_PERMUTED:
        return itertools.permutations(range(types))
    return [tuple(range(types)), tuple(reversed(range(types)))]


def _best_order(
    surface: WorthSurface,
    regions: Sequence[AllowedRegion],
    limits: Sequence[Limit],
    gap_m: float,
) -> tuple[list[Poses], int]:
    """Place type after type in each order; return the best plan and the frames tried."""
    best: list[Poses] = []
    best_value = -1.0
    frames = 0
    for order in _orders(len(regions)):
        placed, tried = _in_order(order, surface, regions, limits, gap_m)
        frames += tried
        value = sum(float(part.value.sum()) for part in placed)
        if value > best_value + 1e-9:
            best, best_value = placed, value
    return best, frames


def _in_order(
    order: Sequence[int],
    surface: WorthSurface,
    regions: Sequence[AllowedRegion],
    limits: Sequence[Limit],
    gap_m: float,
) -> tuple[list[Poses], int]:
    """Place the types one after the other, each clear of those before it."""
    used = np.zeros(len(limits))
    placed: list[Poses] = []
    frames = 0
    for index in order:
        kind, region = regions[index].raft_type, regions[index].region
        for part in placed:
            if len(part):
                taken = grown(shapely.multipolygons(part.outlines), gap_m)
                region = shapely.difference(region, taken)
        count = _count_left(limits, used, index)
        if count == 0 or region.is_empty:
            continue
        found = best_rows(_only_polygons(region), surface, kind, gap_m, count)
        frames += found.frames_tried
        placed.append(found.poses)
        used += np.array([limit.per_raft[index] for limit in limits]) * len(found.poses)
    return placed, frames


def _only_polygons(geometry: shapely.Geometry) -> shapely.Geometry:
    """Return the polygons of a geometry as one."""
    parts = shapely.get_parts(geometry)
    return shapely.multipolygons(parts[shapely.get_type_id(parts) == 3])


def _why_none(
    around: Surroundings, regions: Sequence[AllowedRegion], limits: Sequence[Limit]
) -> str:
    """Return in words what keeps every raft out."""
    for index, region in enumerate(regions):
        if not region.region.is_empty and _count_left(limits, np.zeros(len(limits)), index) == 0:
            tight = [limit for limit in limits if limit.per_raft[index] > limit.most]
            words = ", ".join(limit.words for limit in tight) or "a limit"
            return f"there is room, but not one '{region.raft_type.name}' fits within: {words}"
    water_m2 = max(around.low_water.area, 1e-9)
    name, lost, words = max(regions[0].taken_m2, key=lambda part: part[1])
    if lost <= 0:
        return "the water is smaller than a raft with its clearances"
    return (
        f"no place holds a raft; the rule '{name}' alone takes {100 * lost / water_m2:.0f} % of"
        f" the open water: {words}"
    )


def _measured(
    around: Surroundings, surface: WorthSurface, poses: Sequence[Poses]
) -> tuple[PlacedRaft, ...]:
    """Return every raft with what lies under and round it, the most worth first."""
    rows = [
        (
            float(part.value[k]),
            part.raft_type,
            float(part.easting_m[k]),
            float(part.northing_m[k]),
            float(part.heading_deg[k]),
            shape,
        )
        for part in poses
        for k, shape in enumerate(part.outlines)
    ]
    rows.sort(key=lambda row: (-round(row[0] / row[1].planted_area_m2, 9), row[2], row[3]))
    existing = around.body.rafts
    outlines = [row[5] for row in rows] + [raft.outline for raft in existing]
    if not outlines:
        return ()
    low = around.body.levels.low_m
    grid = around.fields.grid
    depth = least_under(grid, around.fields.reliable_depth_m(low), outlines)
    sun = None if around.fields.sun_h is None else least_under(grid, around.fields.sun_h, outlines)
    bank = shapely.distance(np.array(outlines), shapely.boundary(around.low_water))
    gaps = nearest_gap_m(outlines)
    keep = around.settings.clearances
    digits = max(2, len(str(len(rows))))
    out = []
    for k, (value, kind, easting, northing, heading, _) in enumerate(rows):
        out.append(
            PlacedRaft(
                raft_id=f"{around.body.water_id}-R{k + 1:0{digits}d}",
                water_id=around.body.water_id,
                raft_type=kind.name,
                easting_m=easting,
                northing_m=northing,
                heading_deg=heading,
                length_m=kind.length_m,
                width_m=kind.width_m,
                area_m2=kind.area_m2,
                planted_area_m2=kind.planted_area_m2,
                depth_low_m=float(depth[k]),
                root_clearance_m=float(
                    depth[k] - kind.draft_m - kind.root_depth_m - keep.sediment_m
                ),
                bank_clearance_m=float(bank[k]),
                gap_m=gaps[k],
                sun_h=None if sun is None else float(sun[k]),
                worth=value / kind.planted_area_m2,
                removal_g_d=None,
            )
        )
    for k, raft in enumerate(existing, len(rows)):
        out.append(_existing(around, surface, raft, float(depth[k]), float(bank[k]), gaps[k]))
    return tuple(out)


def _existing(
    around: Surroundings,
    surface: WorthSurface,
    raft: ExistingRaft,
    depth_m: float,
    bank_m: float,
    gap_m: float | None,
) -> PlacedRaft:
    """Return a raft that is there already, measured by the rectangle round it."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(raft.outline))
    sides = np.diff(corners[:3], axis=0)
    lengths = np.hypot(sides[:, 0], sides[:, 1])
    long_side = sides[int(np.argmax(lengths))]
    centre = raft.outline.centroid
    return PlacedRaft(
        raft_id=raft.raft_id,
        water_id=around.body.water_id,
        raft_type="",
        easting_m=float(centre.x),
        northing_m=float(centre.y),
        heading_deg=float(np.degrees(np.arctan2(long_side[0], long_side[1])) % 180.0),
        length_m=float(lengths.max()),
        width_m=float(lengths.min()),
        area_m2=float(raft.outline.area),
        planted_area_m2=float(raft.outline.area),
        depth_low_m=depth_m,
        root_clearance_m=depth_m,
        bank_clearance_m=bank_m,
        gap_m=gap_m,
        sun_h=None,
        worth=float(surface.at(np.array([centre.x]), np.array([centre.y]))[0]),
        removal_g_d=None,
        status="existing",
    )


def nearest_gap_m(outlines: Sequence[shapely.Geometry]) -> list[float | None]:
    """
    Return the distance from each raft to the nearest other.

    Parameters
    ----------
    outlines : sequence of Polygon
        Footprints [m].

    Returns
    -------
    list of float or None
        Distances; ``None`` for a raft that is the only one [m].

    Examples
    --------
    >>> nearest_gap_m([shapely.box(0, 0, 1, 1), shapely.box(3, 0, 4, 1)])
    [2.0, 2.0]
    """
    if len(outlines) < 2:
        return [None] * len(outlines)
    shapes = np.array(outlines)
    tree = shapely.STRtree(shapes)
    (own, _), distance = tree.query_nearest(
        shapes, exclusive=True, return_distance=True, all_matches=False
    )
    gaps: list[float | None] = [None] * len(outlines)
    for index, metres in zip(own, distance, strict=True):
        gaps[int(index)] = float(metres)
    return gaps


def least_under(
    grid: WaterGrid, values: FloatArray, outlines: Sequence[shapely.Geometry]
) -> FloatArray:
    """
    Return the least of a field under each raft, every cell that it touches counted whole.

    Parameters
    ----------
    grid : WaterGrid
        The cells.
    values : ndarray of float, shape (rows, cols)
        What holds anywhere in a cell.
    outlines : sequence of Polygon
        Footprints, working CRS [m].

    Returns
    -------
    ndarray of float, shape (n,)
        Least value; zero where a raft reaches beyond the grid.
    """
    h = grid.cell_size_m
    out = np.zeros(len(outlines))
    for k, outline in enumerate(outlines):
        west, south, east, north = outline.bounds
        c0, c1 = math.floor((west - grid.west_m) / h), math.floor((east - grid.west_m) / h)
        r0, r1 = math.floor((south - grid.south_m) / h), math.floor((north - grid.south_m) / h)
        if min(c0, r0) < 0 or c1 >= grid.shape[1] or r1 >= grid.shape[0]:
            continue
        cols, rows = np.meshgrid(np.arange(c0, c1 + 1), np.arange(r0, r1 + 1))
        cells = shapely.box(
            grid.west_m + cols * h,
            grid.south_m + rows * h,
            grid.west_m + (cols + 1) * h,
            grid.south_m + (rows + 1) * h,
        )
        shapely.prepare(outline)
        touched = shapely.intersects(outline, cells)
        out[k] = values[r0 : r1 + 1, c0 : c1 + 1][touched].min()
    return out
