"""
Sun on the water: where the sun stands, what hides it, and how many hours a place gets.

Sun positions are those of the NREL algorithm. What hides the sun is kept as a horizon: for each
place and azimuth the steepest line of sight that is blocked. Only that upper edge is kept, so the
sun seen under a crown is lost, which errs towards shade.
"""

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from geoplan.compiled import inner

FloatArray = NDArray[np.float64]

#: Directions in which the horizon is kept; at 720 the season's hours are within 1 %.
AZIMUTHS = 720
#: The sun counts from this height; lower it is weak, and far hills that no site holds hide it [°].
LEAST_ELEVATION_DEG = 3.0
#: Cells along a side of the blocks that are passed over where nothing in them is high enough.
_BLOCK_CELLS = 8
#: Seconds between the times at which the sun's place among the stars is computed, and by which
#: terrestrial time is ahead of the turn of the Earth: seconds of it are nothing to a shadow.
_NODE_S, _DELTA_T_S = 21_600.0, 67.0
#: Slope of sight under a crown or inside a building: nothing of the sun is seen [1].
_COVERED = 1e6


@dataclass(frozen=True, eq=False)
class SunPath:
    """
    Where the sun stands through a season.

    Attributes
    ----------
    azimuth_deg, elevation_deg : ndarray of float, shape (n,)
        Clockwise from true north, and above the horizon without refraction [°].
    day : ndarray of int, shape (n,)
        Day of the season, from 0.
    day_count : int
        Days in the season.
    step_h : float
        Time between positions [h].
    """

    azimuth_deg: FloatArray
    elevation_deg: FloatArray
    day: Any
    day_count: int
    step_h: float

    @cached_property
    def by_sector(self) -> tuple[Any, FloatArray, Any]:
        """Return the order by sector and height, the slopes in it, and where sectors begin."""
        azimuth = self.azimuth_deg % 360.0
        sector = np.minimum((azimuth / 360.0 * AZIMUTHS).astype(np.int64), AZIMUTHS - 1)
        order = np.argsort(sector + self.elevation_deg / 91.0, kind="stable")
        rise = np.tan(np.radians(self.elevation_deg[order]))
        return order, rise, np.searchsorted(sector[order], np.arange(AZIMUTHS + 1))


@dataclass(frozen=True, eq=False)
class Walls:
    """
    Upright walls that hide the sun: the sides of buildings.

    Attributes
    ----------
    ends_m : ndarray of float, shape (n, 4)
        Easting and northing of both ends [m].
    top_m : ndarray of float, shape (n,)
        Height of the top above the water [m].
    """

    ends_m: FloatArray
    top_m: FloatArray


@dataclass(frozen=True, eq=False)
class Crowns:
    """
    Crowns of trees, as spheroids on a trunk.

    Attributes
    ----------
    centre_m : ndarray of float, shape (n, 2)
        Easting and northing of the trunk [m].
    radius_m : ndarray of float, shape (n,)
        Radius in plan [m].
    top_m, base_m : ndarray of float, shape (n,)
        Heights of top and underside above the water [m].
    """

    centre_m: FloatArray
    radius_m: FloatArray
    top_m: FloatArray
    base_m: FloatArray


@dataclass(frozen=True, eq=False)
class Surface:
    """
    A surface model as blocks: each cell stands as high as its highest point.

    Attributes
    ----------
    top_m : ndarray of float, shape (rows, cols)
        Height above the water; NaN where there is nothing that could shade [m].
    to_cell : ndarray of float, shape (2, 3)
        From easting and northing to column and row, whole at cell centres:
        ``to_cell @ (easting_m, northing_m, 1)`` [1/m].
    """

    top_m: FloatArray
    to_cell: FloatArray


def sun_path(
    longitude_deg: float,
    latitude_deg: float,
    first: str,
    last: str,
    year: int,
    step_min: int = 10,
) -> SunPath:
    """
    Return the positions of the sun through a season.

    Parameters
    ----------
    longitude_deg, latitude_deg : float
        Place, WGS 84 [°].
    first, last : str
        First and last day of the season, ``MM-DD``; a season may run over the new year.
    year : int
        Year in which it begins.
    step_min : int
        Time between positions [min].

    Returns
    -------
    SunPath
        Positions above `LEAST_ELEVATION_DEG`.

    Raises
    ------
    ValueError
        If a day is not a date.

    Notes
    -----
    The NREL solar position algorithm [1]_, through pvlib; positions are taken in the middle of
    each step. True north is meant: a working grid centred on the water has it at the centre.

    References
    ----------
    .. [1] I. Reda and A. Andreas, "Solar position algorithm for solar radiation applications",
       NREL/TP-560-34302, 2004.
    """
    begin, end = (np.datetime64(f"{year}-{day}", "s") for day in (first, last))
    if end < begin:
        end = np.datetime64(f"{year + 1}-{last}", "s")
    days = int((end - begin) // np.timedelta64(1, "D")) + 1
    count = days * 24 * 60 // step_min
    # Days are those of the sun, not of a clock: each begins at the place's own midnight.
    local_s = float(begin.astype(np.int64)) - longitude_deg / 15.0 * 3600.0
    time_s = local_s + (np.arange(count, dtype=float) + 0.5) * (step_min * 60.0)
    azimuth, elevation = _seen_from(longitude_deg, latitude_deg, time_s)
    up = elevation > LEAST_ELEVATION_DEG
    day = (np.arange(count) * step_min) // (24 * 60)
    return SunPath(azimuth[up], elevation[up], day[up], days, step_min / 60.0)


def _seen_from(
    longitude_deg: float, latitude_deg: float, time_s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """
    Return azimuth and elevation of the sun at times since 1970, UTC.

    Where it stands in the sky of stars changes so evenly that a cubic through four times a day
    is within a millionth of a degree; what turns with the place is done for each time.
    """
    from pvlib import spa

    among_stars = _among_stars(float(time_s[0]), float(time_s[-1]))
    sidereal, ascension, declination, radius = among_stars(time_s).T
    hour = spa.local_hour_angle(sidereal, longitude_deg, ascension)
    parallax = spa.equatorial_horizontal_parallax(radius)
    reduced = spa.uterm(latitude_deg)
    x, y = spa.xterm(reduced, latitude_deg, 0.0), spa.yterm(reduced, latitude_deg, 0.0)
    shift = spa.parallax_sun_right_ascension(x, parallax, hour, declination)
    declination = spa.topocentric_sun_declination(declination, x, y, parallax, shift, hour)
    hour = spa.topocentric_local_hour_angle(hour, shift)
    elevation = spa.topocentric_elevation_angle_without_atmosphere(latitude_deg, declination, hour)
    astronomers = spa.topocentric_astronomers_azimuth(hour, declination, latitude_deg)
    return spa.topocentric_azimuth_angle(astronomers), elevation


@lru_cache(maxsize=16)
def _among_stars(first_s: float, last_s: float) -> Any:
    """Return where the sun stands among the stars by time; places on one meridian share it."""
    from pvlib import spa
    from scipy.interpolate import CubicSpline

    node_s = np.arange(first_s - _NODE_S, last_s + 2 * _NODE_S, _NODE_S)
    sidereal, ascension, declination = spa.solar_position(
        node_s, 0.0, 0.0, 0.0, 0.0, 0.0, _DELTA_T_S, 0.0, 1, sst=True
    )
    (radius,) = spa.solar_position(node_s, 0.0, 0.0, 0.0, 0.0, 0.0, _DELTA_T_S, 0.0, 1, esd=True)
    turning = (np.unwrap(angle, period=360.0) for angle in (sidereal, ascension))
    return CubicSpline(node_s, np.column_stack([*turning, declination, radius]))


def horizon_slope(
    easting_m: FloatArray,
    northing_m: FloatArray,
    walls: Walls,
    crowns: Crowns,
    surface: Surface | None = None,
) -> NDArray[np.float32]:
    """
    Return the steepest blocked line of sight from each place in each direction.

    Parameters
    ----------
    easting_m, northing_m : ndarray of float, shape (n,)
        Places on the water [m].
    walls : Walls
        Sides of buildings.
    crowns : Crowns
        Trees.
    surface : Surface or None
        Surface model; it hides what any of the others hides, and more.

    Returns
    -------
    ndarray of float, shape (n, AZIMUTHS)
        Tangent of the highest elevation that is hidden; 0 where nothing is [1].

    Notes
    -----
    Directions are the middles of equal sectors from true north, clockwise. A wall hides
    H/r at distance r along the direction; a spheroid hides up to the tangent line in the vertical
    plane through the eye, in closed form. A cell of the surface model hides from where the
    direction enters it, the nearest half cell left out, so it never hides less than what stands
    in it; what lies beyond the reach of the lowest sun that counts is not looked at.
    """
    slope = np.zeros((len(easting_m), AZIMUTHS), np.float32)
    _raise_walls(slope, easting_m, northing_m, walls.ends_m, walls.top_m)
    _raise_crowns(
        slope,
        easting_m,
        northing_m,
        crowns.centre_m,
        crowns.radius_m,
        crowns.top_m,
        crowns.base_m,
    )
    if surface is not None and np.nanmax(surface.top_m, initial=0.0) > 0.0:
        _raise_by_surface(slope, easting_m, northing_m, surface)
    return slope


def _raise_by_surface(
    slope: NDArray[np.float32], easting_m: FloatArray, northing_m: FloatArray, surface: Surface
) -> None:
    """Raise the horizon of each place by a surface model, blocks of cells first."""
    top = np.ascontiguousarray(np.nan_to_num(surface.top_m, nan=0.0))
    rows, cols = (-(-size // _BLOCK_CELLS) for size in top.shape)
    padded = np.zeros((rows * _BLOCK_CELLS, cols * _BLOCK_CELLS))
    padded[: top.shape[0], : top.shape[1]] = top
    blocks = padded.reshape(rows, _BLOCK_CELLS, cols, _BLOCK_CELLS).max(axis=(1, 3))
    least_slope = math.tan(math.radians(LEAST_ELEVATION_DEG))
    _raise_surface(slope, easting_m, northing_m, padded, blocks, surface.to_cell, least_slope)


@numba.njit(cache=True)
def _raise_surface(
    slope: Any,
    easting: FloatArray,
    northing: FloatArray,
    top: FloatArray,
    blocks: FloatArray,
    to_cell: FloatArray,
    least_slope: float,
) -> None:
    """Raise the horizon of each place by the cells that its directions pass."""
    sectors = slope.shape[1]
    highest = blocks.max()
    half_m = 0.5 / math.sqrt(abs(to_cell[0, 0] * to_cell[1, 1] - to_cell[0, 1] * to_cell[1, 0]))
    for i in range(len(easting)):
        # Cells are counted from their corners, so that they change at whole numbers.
        col0 = to_cell[0, 0] * easting[i] + to_cell[0, 1] * northing[i] + to_cell[0, 2] + 0.5
        row0 = to_cell[1, 0] * easting[i] + to_cell[1, 1] * northing[i] + to_cell[1, 2] + 0.5
        for j in range(sectors):
            angle = (j + 0.5) * 2 * math.pi / sectors
            sin, cos = math.sin(angle), math.cos(angle)
            step = (
                to_cell[0, 0] * sin + to_cell[0, 1] * cos,
                to_cell[1, 0] * sin + to_cell[1, 1] * cos,
            )
            steepest = max(slope[i, j], least_slope)
            seen = _steepest(top, blocks, (col0, row0), step, (steepest, highest, half_m))
            slope[i, j] = max(slope[i, j], seen)


@numba.njit(cache=True)
def _reach_m(place: float, step: float, line: int) -> float:
    """Return how far along a direction the next line between cells lies [m]."""
    if step == 0.0:
        return math.inf
    return max(((line + 1 if step > 0 else line) - place) / step, 0.0)


@inner
def _steepest(
    top: FloatArray,
    blocks: FloatArray,
    place: tuple[float, float],
    step: tuple[float, float],
    limits: tuple[float, float, float],
) -> float:
    """Return the steepest slope of sight along a direction, walking block by block."""
    steepest, highest, half_m = limits
    best, entered = 0.0, 0.0
    size = top.shape[0] // blocks.shape[0]
    col_way, row_way = (1 if step[0] > 0 else -1), (1 if step[1] > 0 else -1)
    col, row = math.floor(place[0] / size), math.floor(place[1] / size)
    while highest > steepest * max(entered, half_m):
        beyond_col = col >= blocks.shape[1] if col_way > 0 else col < 0
        beyond_row = row >= blocks.shape[0] if row_way > 0 else row < 0
        if beyond_col or beyond_row:
            break
        next_col = _reach_m(place[0] / size, step[0] / size, col)
        next_row = _reach_m(place[1] / size, step[1] / size, row)
        is_inside = 0 <= row < blocks.shape[0] and 0 <= col < blocks.shape[1]
        if is_inside and blocks[row, col] > steepest * max(entered, half_m):
            span_m = (entered, min(next_col, next_row), half_m)
            seen = _steepest_within(top, (col * size, row * size), size, place, step, span_m)
            best = max(best, seen)
            steepest = max(steepest, seen)
        entered = min(next_col, next_row)
        if next_col < next_row:
            col += col_way
        else:
            row += row_way
    return best


@inner
def _steepest_within(
    top: FloatArray,
    corner: tuple[int, int],
    size: int,
    place: tuple[float, float],
    step: tuple[float, float],
    span_m: tuple[float, float, float],
) -> float:
    """Return the steepest slope of sight over the cells of a block, walking cell by cell."""
    entered, leaves, half_m = span_m
    best = 0.0
    col_way, row_way = (1 if step[0] > 0 else -1), (1 if step[1] > 0 else -1)
    # Rounding may put the way in just outside the block.
    col = min(max(math.floor(place[0] + step[0] * entered), corner[0]), corner[0] + size - 1)
    row = min(max(math.floor(place[1] + step[1] * entered), corner[1]), corner[1] + size - 1)
    while entered <= leaves:
        if not (0 <= col - corner[0] < size and 0 <= row - corner[1] < size):
            break
        best = max(best, top[row, col] / max(entered, half_m))
        next_col = _reach_m(place[0], step[0], col)
        next_row = _reach_m(place[1], step[1], row)
        entered = min(next_col, next_row)
        if next_col < next_row:
            col += col_way
        else:
            row += row_way
    return best


@numba.njit(cache=True)
def _raise_walls(
    slope: Any, easting: FloatArray, northing: FloatArray, ends: FloatArray, top: FloatArray
) -> None:
    """Raise the horizon of each place by walls."""
    sectors = slope.shape[1]
    width = 2 * math.pi / sectors
    for i in range(len(easting)):
        for k in range(len(ends)):
            if top[k] <= 0:
                continue
            ax, ay = ends[k, 0] - easting[i], ends[k, 1] - northing[i]
            bx, by = ends[k, 2] - easting[i], ends[k, 3] - northing[i]
            first = math.atan2(ax, ay)
            turn = math.atan2(bx, by) - first
            turn -= 2 * math.pi * round(turn / (2 * math.pi))
            if turn < 0:
                first, turn = first + turn, -turn
            area = ax * by - ay * bx
            begin = math.ceil(first / width - 0.5)
            for j in range(begin, math.floor((first + turn) / width - 0.5) + 1):
                angle = (j + 0.5) * width
                across = math.sin(angle) * (by - ay) - math.cos(angle) * (bx - ax)
                if across == 0.0:
                    continue
                reach = area / across
                seen = top[k] / reach if reach > 1e-6 else _COVERED
                sector = j % sectors
                slope[i, sector] = max(slope[i, sector], seen)


@numba.njit(cache=True)
def _raise_crowns(
    slope: Any,
    easting: FloatArray,
    northing: FloatArray,
    centre: FloatArray,
    radius: FloatArray,
    top: FloatArray,
    base: FloatArray,
) -> None:
    """Raise the horizon of each place by crowns."""
    sectors = slope.shape[1]
    width = 2 * math.pi / sectors
    angle = (np.arange(sectors) + 0.5) * width
    sin, cos = np.sin(angle), np.cos(angle)
    for i in range(len(easting)):
        for k in range(len(centre)):
            dx, dy = centre[k, 0] - easting[i], centre[k, 1] - northing[i]
            away = math.hypot(dx, dy)
            if top[k] <= 0:
                continue
            if away <= radius[k]:
                slope[i, :] = _COVERED
                continue
            middle, half = (top[k] + base[k]) / 2, (top[k] - base[k]) / 2
            bearing = math.atan2(dx, dy)
            span = math.asin(radius[k] / away)
            begin = math.ceil((bearing - span) / width - 0.5)
            for j in range(begin, math.floor((bearing + span) / width - 0.5) + 1):
                sector = j % sectors
                along = dx * sin[sector] + dy * cos[sector]
                aside = dx * cos[sector] - dy * sin[sector]
                a2 = radius[k] ** 2 - aside**2
                if a2 <= 0:
                    continue
                b2 = half**2 * a2 / radius[k] ** 2
                scale = along**2 - a2
                root = along**2 * middle**2 - scale * (middle**2 - b2)
                seen = (along * middle + math.sqrt(max(root, 0.0))) / scale
                slope[i, sector] = max(slope[i, sector], seen)


def mean_sun_h(slope: NDArray[np.float32], path: SunPath, share: Any = None) -> FloatArray:
    """
    Return the mean hours of direct sun a day.

    Parameters
    ----------
    slope : ndarray of float, shape (n, AZIMUTHS)
        Horizon of each place, as a slope [1].
    path : SunPath
        The season's sun.
    share : ndarray of float, shape (positions,), or None
        How much of the sun counts at each of its positions; all where None [1].

    Returns
    -------
    ndarray of float, shape (n,)
        Hours of sun above the horizon, over all days of the season [h].
    """
    share = np.ones(len(path.day)) if share is None else np.asarray(share, float)
    order, rise, start = path.by_sector
    hours = _sun_count(slope, rise, share[order], start) * (path.step_h / path.day_count)
    out: FloatArray = hours
    return out


@numba.njit(cache=True)
def _sun_count(slope: Any, rise: FloatArray, share: FloatArray, start: Any) -> Any:
    """Sum the shares of the positions of the sun that stand above the horizon of each place."""
    sectors = slope.shape[1]
    lowest = np.full(sectors, np.inf)
    for j in range(sectors):
        if start[j + 1] > start[j]:
            lowest[j] = rise[start[j]]
    out = np.full(slope.shape[0], share.sum())
    for i in range(slope.shape[0]):
        for j in range(sectors):
            if slope[i, j] > lowest[j]:
                k = start[j]
                while k < start[j + 1] and rise[k] < slope[i, j]:
                    out[i] -= share[k]
                    k += 1
    return out
