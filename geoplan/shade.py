"""
Hours of sun on the water of a body, from the buildings and trees round it.

Obstacles stand on ground at the outline's level, and the water is taken at low level, where they
rise highest above it. Ground that rises behind the bank is known from a surface model alone; where
there is one, it counts beside the obstacles that are drawn.
"""

import datetime as dt
from functools import lru_cache

import numpy as np
import shapely
from scipy import ndimage
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from geoplan.crs import WGS84, transformed_points
from geoplan.grid import BoolArray, WaterGrid
from geoplan.settings import Settings
from geoplan.site import FloatArray, ShadeObject, WaterBody
from geoplan.water.solar import (
    AZIMUTHS,
    Crowns,
    SunPath,
    Surface,
    Walls,
    horizon_slope,
    mean_sun_h,
    sun_path,
)

#: Year whose sun is used where the survey is not dated; years differ by minutes.
_YEAR = 2025
#: Coarsest spacing of the points at which sun is computed [m].
_SPACING_M = 1.0
#: Points done at once, which bounds the memory of their horizons.
_AT_ONCE = 8000
#: Crown of a tree whose radius is not given, as a share of its height. Judgement [1].
_CROWN_SHARE = 0.3
#: Share of the sun that passes a bare crown. Judgement [1].
BARE_SHARE = 0.5
#: What a surface model shows over the water up to here above high level is the water, reeds or
#: boats; above it is a crown that hangs over. Judgement [m].
_OVER_WATER_M = 0.5
#: Parts of a degree to which a place is rounded for the sun: within 0.005° it stands no more than
#: 0.01° elsewhere at any time, a fiftieth of its own disc.
_PLACE_STEPS = 100
#: A block and the next: corners of blocks are one more than blocks.
_PAIR = np.ones((2, 2), bool)
#: Finest cells in which a surface model is walked; finer ones are joined, their highest kept [m].
_FINEST_M = 1.0


def sun_field(body: WaterBody, settings: Settings, grid: WaterGrid) -> FloatArray:
    """
    Return the mean hours of direct sun a day over the growing season.

    Parameters
    ----------
    body : WaterBody
        The water body and what shades it.
    settings : Settings
        Season, and dates between which leaves are out.
    grid : WaterGrid
        The cells.

    Returns
    -------
    ndarray of float, shape (rows, cols)
        The least hours at the corners of a block of cells a metre wide or less, and under any
        crown that reaches into the cell; those of an open sky where nothing shades [h].
    """
    path = _path(body, settings)
    if not body.shade and body.surface_raster is None:
        open_sky = mean_sun_h(np.zeros((1, AZIMUTHS), np.float32), path)
        return np.full(grid.shape, float(open_sky[0]))
    step = max(1, int(_SPACING_M / grid.cell_size_m + 1e-9))
    wanted = _near_water(grid, step)
    corners = ndimage.binary_dilation(np.pad(wanted, ((0, 1), (0, 1))), origin=-1, structure=_PAIR)
    row, col = np.nonzero(corners)
    side_m = step * grid.cell_size_m
    at_corner = np.full(corners.shape, np.inf)
    easting = grid.west_m + np.asarray(col, float) * side_m
    northing = grid.south_m + np.asarray(row, float) * side_m
    at_corner[corners] = _hours(body, settings, path, easting, northing)
    hours = np.minimum(at_corner[1:], at_corner[:-1])
    hours = np.minimum(hours[:, 1:], hours[:, :-1])
    nearest = ndimage.distance_transform_edt(~wanted, return_distances=False, return_indices=True)
    hours = hours[tuple(nearest)]
    whole = np.repeat(np.repeat(hours, step, axis=0), step, axis=1)
    out: FloatArray = whole[: grid.shape[0], : grid.shape[1]].copy()
    _darken_under_crowns(out, grid, body, settings, path)
    return out


def _near_water(grid: WaterGrid, step: int) -> BoolArray:
    """Return the blocks of cells that hold water or lie beside it; all where there is none."""
    rows, cols = (-(-size // step) * step for size in grid.shape)
    padded = np.zeros((rows, cols), bool)
    padded[: grid.shape[0], : grid.shape[1]] = grid.water
    wet = padded.reshape(rows // step, step, cols // step, step).any(axis=(1, 3))
    near: BoolArray = ndimage.binary_dilation(wet, np.ones((3, 3)), iterations=2)
    return near if near.any() else np.ones_like(near)


def _darken_under_crowns(
    hours: FloatArray, grid: WaterGrid, body: WaterBody, settings: Settings, path: SunPath
) -> None:
    """Lower the hours of every cell that a crown reaches into: at its rim they fall at once."""
    crowns = _obstacles(body.shade, 0.0)[1]
    foot, radius = crowns.centre_m, crowns.radius_m
    west_m, south_m, cell_m = grid.west_m, grid.south_m, grid.cell_size_m
    east_m, north_m = (
        low + size * cell_m for low, size in zip((west_m, south_m), grid.shape[::-1], strict=True)
    )
    # From the foot to the nearest place on the grid.
    away_m = np.hypot(
        foot[:, 0] - np.clip(foot[:, 0], west_m, east_m),
        foot[:, 1] - np.clip(foot[:, 1], south_m, north_m),
    )
    over = np.flatnonzero(away_m <= radius)
    under_h = _hours(body, settings, path, foot[over, 0], foot[over, 1])
    half_m = cell_m / 2
    for (easting_m, northing_m), reach_m, least_h in zip(
        foot[over], radius[over], under_h, strict=True
    ):
        cols = np.flatnonzero(np.abs(grid.easting_m - easting_m) <= reach_m + half_m)
        rows = np.flatnonzero(np.abs(grid.northing_m - northing_m) <= reach_m + half_m)
        aside_m = np.maximum(np.abs(grid.easting_m[cols] - easting_m) - half_m, 0.0)
        along_m = np.maximum(np.abs(grid.northing_m[rows] - northing_m) - half_m, 0.0)
        is_under = np.hypot(along_m[:, None], aside_m[None, :]) <= reach_m
        window = np.ix_(rows, cols)
        hours[window] = np.where(is_under, np.minimum(hours[window], least_h), hours[window])


def _path(body: WaterBody, settings: Settings) -> SunPath:
    """Return the sun of the season over the middle of the water."""
    centre = body.outline.centroid
    longitude, latitude = transformed_points(
        np.array([centre.x]), np.array([centre.y]), body.crs, WGS84
    )
    year = settings.survey.date.year if settings.survey.date else _YEAR
    first, last = settings.sun.season
    steps = _PLACE_STEPS
    return _path_at(round(longitude[0] * steps), round(latitude[0] * steps), first, last, year)


# A season takes 0.6 MB: enough for a town, and no more where each water body has its own.
@lru_cache(maxsize=32)
def _path_at(longitude: int, latitude: int, first: str, last: str, year: int) -> SunPath:
    """Return the sun over a place given in hundredths of a degree; neighbours share it."""
    return sun_path(longitude / _PLACE_STEPS, latitude / _PLACE_STEPS, first, last, year)


def _hours(
    body: WaterBody,
    settings: Settings,
    path: SunPath,
    easting_m: FloatArray,
    northing_m: FloatArray,
) -> FloatArray:
    """Return the hours at points; a bare crown lets part of the sun through."""
    rise = body.outline_level_m - body.levels.low_m
    everything = (*_obstacles(body.shade, rise), _surface(body))
    evergreen = [part for part in body.shade if not part.deciduous]
    lasting = (*_obstacles(evergreen, rise), everything[2])
    in_leaf = _in_leaf(path, settings)
    out = np.zeros(len(easting_m))
    for begin in range(0, len(out), _AT_ONCE):
        part = slice(begin, begin + _AT_ONCE)
        leafy = horizon_slope(easting_m[part], northing_m[part], *everything)
        out[part] = mean_sun_h(leafy, path, np.where(in_leaf, 1.0, 1.0 - BARE_SHARE))
        if not in_leaf.all():
            bare = leafy
            if len(evergreen) < len(body.shade):
                bare = horizon_slope(easting_m[part], northing_m[part], *lasting)
            out[part] += mean_sun_h(bare, path, np.where(in_leaf, 0.0, BARE_SHARE))
    return out


def _in_leaf(path: SunPath, settings: Settings) -> BoolArray:
    """Return which positions of the sun fall between the dates of leaf."""
    first = dt.date.fromisoformat(f"{_YEAR}-{settings.sun.season[0]}")
    dates = [(first + dt.timedelta(days=day)).strftime("%m-%d") for day in range(path.day_count)]
    out_on, fall_on = settings.sun.leaf
    leafy = np.array(
        [
            out_on <= date <= fall_on if out_on <= fall_on else not fall_on < date < out_on
            for date in dates
        ]
    )
    inside: BoolArray = leafy[np.asarray(path.day, int)]
    return inside


def _obstacles(
    shade: list[ShadeObject] | tuple[ShadeObject, ...], rise_m: float
) -> tuple[Walls, Crowns]:
    """Return buildings as walls and trees as crowns, heights above the water."""
    ends: list[FloatArray] = []
    tops: list[float] = []
    trees: list[tuple[float, float, float, float, float]] = []
    for part in shade:
        top = part.height_m + rise_m
        if isinstance(part.geometry, Point):
            radius = part.crown_radius_m or _CROWN_SHARE * part.height_m
            trees.append((part.geometry.x, part.geometry.y, radius, top, part.base_m + rise_m))
        else:
            for ring in _rings(part.geometry):
                corners = shapely.get_coordinates(ring)
                ends.append(np.hstack([corners[:-1], corners[1:]]))
                tops += [top] * (len(corners) - 1)
    tree = np.array(trees).reshape(-1, 5)
    return (
        Walls(np.concatenate([np.zeros((0, 4)), *ends]), np.array(tops)),
        Crowns(tree[:, :2].copy(), tree[:, 2].copy(), tree[:, 3].copy(), tree[:, 4].copy()),
    )


def _surface(body: WaterBody) -> Surface | None:
    """Return the surface model as heights above low water, what lies on the water left out."""
    raster = body.surface_raster
    if raster is None:
        return None
    cols, rows = np.meshgrid(*(np.arange(size) for size in raster.surface_m.shape[::-1]))
    affine = raster.affine
    easting = affine[0, 0] * cols + affine[0, 1] * rows + affine[0, 2]
    northing = affine[1, 0] * cols + affine[1, 1] * rows + affine[1, 2]
    shapely.prepare(body.outline)
    is_water = shapely.contains_xy(body.outline, easting, northing)
    is_water &= raster.surface_m <= body.levels.high_m + _OVER_WATER_M
    top = np.where(is_water, np.nan, raster.surface_m - body.levels.low_m)
    cell_m = float(np.sqrt(abs(np.linalg.det(affine[:, :2]))))
    join = max(1, int(_FINEST_M / cell_m + 1e-9))
    # Centres of joined cells lie (join - 1)/2 cells on.
    joined = affine @ np.array(
        [[join, 0.0, (join - 1) / 2], [0.0, join, (join - 1) / 2], [0.0, 0.0, 1.0]]
    )
    inverse = np.linalg.inv(np.vstack([joined, [0.0, 0.0, 1.0]]))
    return Surface(_highest(top, join), inverse[:2].copy())


def _highest(top: FloatArray, join: int) -> FloatArray:
    """Return the highest of square blocks of cells, NaN where none is known."""
    rows, cols = (-(-size // join) * join for size in top.shape)
    low = np.full((rows, cols), -np.inf)
    low[: top.shape[0], : top.shape[1]] = np.nan_to_num(top, nan=-np.inf)
    blocks = low.reshape(rows // join, join, cols // join, join).max(axis=(1, 3))
    blocks[np.isneginf(blocks)] = np.nan
    return np.asarray(blocks)


def _rings(geometry: BaseGeometry) -> list[BaseGeometry]:
    """Return the outer rings of polygons, and lines as they are."""
    return [
        part.exterior if hasattr(part, "exterior") else part for part in shapely.get_parts(geometry)
    ]
