"""What lies under and round a raft: depth, sun, bank, the next raft, and worth."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from geoplan.grid import WaterGrid
from geoplan.placement.allowed import Surroundings
from geoplan.placement.search import Poses
from geoplan.placement.worth import WorthSurface
from geoplan.plan import PlacedRaft
from geoplan.raft import RaftType
from geoplan.site import FloatArray


def measured_rafts(
    around: Surroundings, surfaces: Sequence[WorthSurface], poses: Sequence[Poses]
) -> tuple[PlacedRaft, ...]:
    """
    Return every raft with what lies under and round it.

    Parameters
    ----------
    around : Surroundings
        The water body.
    surfaces : sequence of WorthSurface
        Worth of planted area of each type, as it is with these rafts in the water.
    poses : sequence of Poses
        Rafts placed, by type.

    Returns
    -------
    tuple of PlacedRaft
        Planned rafts, numbered from the most worth, then those already there.
    """
    planned = _ranked(around, surfaces, poses)
    drafts = [*planned, *_existing(around, surfaces[0])]
    if not drafts:
        return ()
    outlines = [shape for _, _, shape in drafts]
    fields, keep = around.fields, around.settings.clearances
    low = around.body.levels.low_m
    depth = least_under(fields.grid, fields.reliable_depth_m(low), outlines)
    sun = None if fields.sun_h is None else least_under(fields.grid, fields.sun_h, outlines)
    bank = shapely.distance(np.array(outlines), shapely.boundary(around.low_water))
    gaps = nearest_gap_m(outlines)
    out = []
    for k, (raft, kind, _) in enumerate(drafts):
        hanging = 0.0 if kind is None else kind.draft_m + kind.root_depth_m + keep.sediment_m
        out.append(
            replace(
                raft,
                depth_low_m=float(depth[k]),
                root_clearance_m=float(depth[k]) - hanging,
                bank_clearance_m=float(bank[k]),
                gap_m=gaps[k],
                sun_h=None if sun is None else float(sun[k]),
            )
        )
    return tuple(out)


Draft = tuple[PlacedRaft, RaftType | None, shapely.Geometry]


def _ranked(
    around: Surroundings, surfaces: Sequence[WorthSurface], poses: Sequence[Poses]
) -> list[Draft]:
    """Return planned rafts in the order of their worth for each square metre, not yet measured."""
    names = [kind.name for kind in around.settings.raft]
    rows = []
    for part in poses:
        kind = part.raft_type
        worth = surfaces[names.index(kind.name)].mean_under(
            kind, part.easting_m, part.northing_m, part.heading_deg
        )
        # Nine figures, so that rounding of the fields cannot change the order.
        ranks = np.array([float(f"{value:.9g}") for value in worth])
        rows += [
            (
                -float(ranks[k]),
                float(part.easting_m[k]),
                float(part.northing_m[k]),
                float(part.heading_deg[k]),
                kind,
                shape,
            )
            for k, shape in enumerate(part.outlines)
        ]
    rows.sort(key=lambda row: row[:4])
    digits = max(2, len(str(len(rows))))
    water_id = around.body.water_id
    return [
        (
            _unmeasured(
                f"{water_id}-R{k:0{digits}d}", water_id, kind, easting, northing, heading, -worth
            ),
            kind,
            shape,
        )
        for k, (worth, easting, northing, heading, kind, shape) in enumerate(rows, 1)
    ]


def _unmeasured(
    raft_id: str,
    water_id: str,
    kind: RaftType,
    easting_m: float,
    northing_m: float,
    heading_deg: float,
    worth: float,
) -> PlacedRaft:
    """Return a planned raft of which only the place and the worth are known."""
    return PlacedRaft(
        raft_id=raft_id,
        water_id=water_id,
        raft_type=kind.name,
        easting_m=easting_m,
        northing_m=northing_m,
        heading_deg=heading_deg,
        length_m=kind.length_m,
        width_m=kind.width_m,
        area_m2=kind.area_m2,
        planted_area_m2=kind.planted_area_m2,
        depth_low_m=0.0,
        root_clearance_m=0.0,
        bank_clearance_m=0.0,
        gap_m=None,
        sun_h=None,
        worth=worth,
        removal_g_d=None,
    )


def _existing(around: Surroundings, surface: WorthSurface) -> list[Draft]:
    """Return the rafts that are there already, their sizes those of the rectangle round each."""
    out: list[Draft] = []
    for raft in around.body.rafts:
        corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(raft.outline))
        sides = np.diff(corners[:3], axis=0)
        lengths = np.hypot(sides[:, 0], sides[:, 1])
        ahead = sides[int(np.argmax(lengths))]
        centre = raft.outline.centroid
        place = PlacedRaft(
            raft_id=raft.raft_id,
            water_id=around.body.water_id,
            raft_type="",
            easting_m=float(centre.x),
            northing_m=float(centre.y),
            heading_deg=float(np.degrees(np.arctan2(ahead[0], ahead[1])) % 180.0),
            length_m=float(lengths.max()),
            width_m=float(lengths.min()),
            area_m2=float(raft.outline.area),
            planted_area_m2=float(raft.outline.area),
            depth_low_m=0.0,
            root_clearance_m=0.0,
            bank_clearance_m=0.0,
            gap_m=None,
            sun_h=None,
            worth=float(surface.at(np.array([centre.x]), np.array([centre.y]))[0]),
            removal_g_d=None,
            status="existing",
        )
        out.append((place, None, raft.outline))
    return out


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
        What holds anywhere in a cell, such as depth [m] or sun [h].
    outlines : sequence of Polygon
        Footprints, working CRS [m].

    Returns
    -------
    ndarray of float, shape (n,)
        Least value, in the unit of ``values``; zero where a raft reaches beyond the grid [m or h].
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
