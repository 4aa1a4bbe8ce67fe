"""
The room that rafts reach which lie as they may, where headings are held.

Sampled by frames turned in steps: a cell that is not reached by any of them is one that, as far as
the frames see, no raft covers.
"""

import math

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geoplan.cut_cells import cells_polygon
from geoplan.grid import BoolArray, WaterGrid
from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.rows import Frame, frame, turned_edges
from geoplan.placement.worth import WorthSurface
from geoplan.site import FloatArray

#: Turns of the frames [°], and the most places in one.
_TURNS_DEG = tuple(float(turn) for turn in np.arange(0.0, 90.0, 7.5))
_PLACES = 40_000
_FINEST_M = 0.4


def out_of_reach(region: AllowedRegion, grid: WaterGrid) -> BaseGeometry:
    """
    Return the part of a region that no raft covers which lies as it may.

    Parameters
    ----------
    region : AllowedRegion
        Where rafts of a type may lie, and which way.
    grid : WaterGrid
        The cells of the water body.

    Returns
    -------
    BaseGeometry
        Whole cells, working CRS; empty where any heading is allowed [m].
    """
    heads = region.headings
    if heads is None or region.region.is_empty:
        return shapely.MultiPolygon()
    east, north = np.meshgrid(grid.easting_m, grid.northing_m)
    shapely.prepare(region.region)
    left = shapely.contains_xy(region.region, east, north)
    flat = WorthSurface.on(grid, np.ones(grid.shape))
    step_m = max(_FINEST_M, math.sqrt(region.region.area / _PLACES))
    for turn_deg in (*_TURNS_DEG, *heads.common_deg(region.region)):
        edges = turned_edges(region.region, turn_deg)
        for is_across in (False, True):
            turned = frame(
                *(edges, flat, region.raft_type, 0.0, turn_deg),
                is_across=is_across,
                step_m=step_m,
                headings=heads,
            )
            if turned is not None:
                rows, cols = np.nonzero(left)
                left[rows, cols] = ~_covered(turned, east[rows, cols], north[rows, cols])
    return cells_polygon(grid.west_m, grid.south_m, grid.cell_size_m, left)


def _covered(turned: Frame, east: FloatArray, north: FloatArray) -> BoolArray:
    """Tell which points lie under a raft at any place of a frame, or within a step of one."""
    legal = np.isfinite(turned.value)
    deep = math.ceil(turned.across_m / turned.step_across_m - 1e-9) + 1
    long = math.ceil(turned.along_m / turned.step_along_m - 1e-9) + 1
    sums = np.zeros((legal.shape[0] + 2 * deep + 1, legal.shape[1] + 2 * long + 1))
    sums[deep + 1 : -deep, long + 1 : -long] = legal
    sums = sums.cumsum(axis=0).cumsum(axis=1)
    sums = np.pad(sums, ((0, deep), (0, long)), mode="edge")
    angle = math.radians(turned.turn_deg)
    first = east * math.cos(angle) - north * math.sin(angle) - turned.first_m
    second = east * math.sin(angle) + north * math.cos(angle) - turned.second_m
    # Places that begin up to a raft, and a step, before the point.
    col = np.floor(first / turned.step_along_m).astype(np.int64) + long + 2
    row = np.floor(second / turned.step_across_m).astype(np.int64) + deep + 2
    high, wide = (np.clip(k, 0, n - 1) for k, n in zip((row, col), sums.shape, strict=True))
    low, near = np.clip(row - deep - 1, 0, None), np.clip(col - long - 1, 0, None)
    low, near = np.minimum(low, high), np.minimum(near, wide)
    count = sums[high, wide] - sums[low, wide] - sums[high, near] + sums[low, near]
    covered: BoolArray = count > 0.5
    return covered
