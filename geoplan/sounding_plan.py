"""
Where one more sounding would open most room for rafts.

A raft may lie only where the bed that is relied on is deep enough. Where the most likely bed is
deep enough and the relied-on one is not, a sounding that finds the likely bed opens water.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.ndimage import maximum_filter
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from geoplan.fields import bed_surface, shore_points
from geoplan.grid import BoolArray, WaterGrid, water_grid
from geoplan.settings import Settings
from geoplan.site import FloatArray, Soundings, WaterBody
from geoplan.water.bathymetry import RELIABLE_SIGMAS

#: Cells on which places are compared: they need not be as fine as the plan's.
_CELLS = 3000
#: Most places that are compared with each other, evenly thinned.
_MOST_CANDIDATES = 400
#: Distances at which the uncertainty is read off the survey.
_DISTANCE_STEPS = 24


@dataclass(frozen=True)
class SoundingPlace:
    """
    A place where one more sounding would open room for rafts.

    Attributes
    ----------
    water_id : str
        Which water body.
    rank : int
        From 1, in the order in which to sound.
    easting_m, northing_m : float
        Working CRS [m].
    gain_m2 : float
        Room that a sounding there opens if it finds the most likely bed, places of a lower rank
        being sounded before [m²].
    depth_low_m : float
        Most likely depth there at low level [m].
    sigma_m : float
        One standard deviation of it today [m].
    is_unsurveyed : bool
        True where the place is too far from any sounding for a depth to be believed.
    """

    water_id: str
    rank: int
    easting_m: float
    northing_m: float
    gain_m2: float
    depth_low_m: float
    sigma_m: float
    is_unsurveyed: bool


@dataclass(frozen=True, eq=False)
class _Doubtful:
    """Cells that the most likely bed would open, and what is known of each."""

    place_m: FloatArray
    highest_m: FloatArray
    sigma_m: FloatArray
    point_distance_m: FloatArray
    sounding_distance_m: FloatArray
    depth_low_m: FloatArray
    is_far: BoolArray


def where_to_sound(body: WaterBody, settings: Settings, most: int = 5) -> tuple[SoundingPlace, ...]:
    r"""
    Return the places where one more sounding would open most room for rafts.

    Parameters
    ----------
    body : WaterBody
        The water body with its soundings, contours and raster.
    settings : Settings
        Raft types, clearances and survey.
    most : int
        Most places to return.

    Returns
    -------
    tuple of SoundingPlace
        In the order in which to sound; none where nothing is known of the bed, or where a
        sounding opens less room than the smallest raft takes.

    Notes
    -----
    The uncertainty of the bed grows with the distance d to the nearest point: f(d) is read off
    the survey itself, as the median over its cells, made to rise. A sounding at a distance r from
    a cell that finds the most likely bed there leaves the mean as it is and

    .. math:: \sigma' = \min(\sigma, \sigma f(\min(d, r)) / f(d))

    The cell is open where the highest likely bed in it plus 2.33 σ′ leaves the depth that the
    least demanding raft needs at low level, and a sounding is within reach. Depth and distance to
    the bank are the only rules looked at. Each place is the best one after those before it.

    An approximation: the survey's error model is not fitted again, and a sounding that finds a
    shoal opens nothing.

    Contours and rasters carry no soundings by which a growth could be read. There a sounding is
    tried in the middle of each unsurveyed part in turn, the widest first, and the whole bed made
    anew with it.
    """
    grid = _grid(body)
    if not _is_surveyed(body) or not grid.water.any():
        return ()
    doubtful, growth, reach_m, limit_m = _doubtful_cells(body, settings, grid)
    if not len(doubtful.place_m):
        return ()
    if not len(body.soundings):
        return _places_by_trial(body, settings, grid, doubtful, most)
    cell_m = grid.cell_size_m
    step = -(-len(doubtful.place_m) // _MOST_CANDIDATES)
    candidates = np.arange(0, len(doubtful.place_m), step)
    apart_m = np.hypot(
        *(doubtful.place_m[candidates, None, :] - doubtful.place_m[None, :, :]).transpose(2, 0, 1)
    )
    smallest_m2 = min(kind.area_m2 for kind in settings.raft)
    places: list[SoundingPlace] = []
    point_m = doubtful.point_distance_m
    sounding_m = doubtful.sounding_distance_m
    is_open = np.zeros(len(point_m), bool)
    for rank in range(1, most + 1):
        would_open = _opened(
            doubtful,
            np.minimum(point_m, apart_m),
            np.minimum(sounding_m, apart_m) <= reach_m,
            growth,
            limit_m,
        )
        gain_m2 = (would_open & ~is_open).sum(axis=1) * cell_m**2
        best = int(np.argmax(gain_m2))
        if gain_m2[best] < smallest_m2:
            break
        places.append(_place(body, doubtful, int(candidates[best]), rank, float(gain_m2[best])))
        is_open |= would_open[best]
        point_m = np.minimum(point_m, apart_m[best])
        sounding_m = np.minimum(sounding_m, apart_m[best])
    return tuple(places)


def unsurveyed_water(body: WaterBody, settings: Settings) -> BaseGeometry:
    """
    Return the water that is too far from anything measured for a depth to be believed.

    Parameters
    ----------
    body : WaterBody
        The water body.
    settings : Settings
        Survey settings.

    Returns
    -------
    BaseGeometry
        On the cells by which places to sound are compared, cut with the outline, working CRS [m].
    """
    grid = _grid(body)
    if not _is_surveyed(body) or not grid.water.any():
        return body.outline
    half_m = grid.cell_size_m / 2.0
    row, col = np.nonzero(bed_surface(body, grid, settings).is_unsurveyed)
    east, north = grid.easting_m[col], grid.northing_m[row]
    cells = shapely.box(east - half_m, north - half_m, east + half_m, north + half_m)
    return shapely.intersection(shapely.union_all(cells), body.outline)


def _grid(body: WaterBody) -> WaterGrid:
    """Return the cells on which places are compared."""
    return water_grid(body.outline, max(0.5, float(np.sqrt(body.outline.area / _CELLS))))


def _is_surveyed(body: WaterBody) -> bool:
    """Tell whether anything is known of the bed."""
    raster = body.bed_raster
    has_raster = raster is not None and bool(np.isfinite(raster.bed_m).any())
    return has_raster or len(body.soundings) > 0 or len(body.contours) > 0


def _places_by_trial(
    body: WaterBody, settings: Settings, grid: WaterGrid, doubtful: _Doubtful, most: int
) -> tuple[SoundingPlace, ...]:
    """Return places in unsurveyed parts whose sounding opens room in a bed made anew."""
    smallest_m2 = min(kind.area_m2 for kind in settings.raft)
    before_m2 = _open_m2(body, settings, grid)
    apart_m = doubtful.point_distance_m.copy()
    places: list[SoundingPlace] = []
    for _ in range(most):
        cell = int(np.argmax(np.where(doubtful.is_far, apart_m, -1.0)))
        if not doubtful.is_far[cell] or apart_m[cell] <= 0:
            break
        place_m, bed_m = doubtful.place_m[cell], body.levels.low_m - doubtful.depth_low_m[cell]
        old = body.soundings
        tried = replace(
            body,
            soundings=Soundings(
                np.append(old.easting_m, place_m[0]),
                np.append(old.northing_m, place_m[1]),
                np.append(old.bed_m, bed_m),
                np.append(old.sigma_m, settings.survey.sigma_m),
            ),
        )
        after_m2 = _open_m2(tried, settings, grid)
        away_m = np.hypot(*(doubtful.place_m - place_m).T)
        # Cells nearer to it than to anything measured are answered by it.
        apart_m = np.where(away_m < apart_m, 0.0, apart_m)
        if after_m2 - before_m2 >= smallest_m2:
            gain_m2 = after_m2 - before_m2
            places.append(_place(body, doubtful, cell, len(places) + 1, gain_m2))
            body, before_m2 = tried, after_m2
    return tuple(places)


def _open_m2(body: WaterBody, settings: Settings, grid: WaterGrid) -> float:
    """Return the water whose depth is relied on as enough for the least demanding raft [m²]."""
    bed = bed_surface(body, grid, settings)
    row, col = np.nonzero(grid.water & (bed.reliable_bed_m <= _limit_m(body, settings)))
    inside = shapely.buffer(body.outline, -settings.clearances.bank_m)
    shapely.prepare(inside)
    open_cells = shapely.contains_xy(inside, grid.easting_m[col], grid.northing_m[row])
    return float(open_cells.sum()) * grid.cell_size_m**2


def _limit_m(body: WaterBody, settings: Settings) -> float:
    """Return the highest bed over which the least demanding raft may lie [m]."""
    keep = settings.clearances
    need_m = min(kind.draft_m + kind.root_depth_m for kind in settings.raft)
    return body.levels.low_m - need_m - keep.sediment_m - keep.root_m


def _place(
    body: WaterBody, doubtful: _Doubtful, cell: int, rank: int, gain_m2: float
) -> SoundingPlace:
    """Return one place."""
    return SoundingPlace(
        water_id=body.water_id,
        rank=rank,
        easting_m=float(doubtful.place_m[cell, 0]),
        northing_m=float(doubtful.place_m[cell, 1]),
        gain_m2=gain_m2,
        depth_low_m=float(doubtful.depth_low_m[cell]),
        sigma_m=float(doubtful.sigma_m[cell]),
        is_unsurveyed=bool(doubtful.is_far[cell]),
    )


@dataclass(frozen=True, eq=False)
class _Growth:
    """Uncertainty by distance to the nearest point, rising."""

    distance_m: FloatArray
    sigma_m: FloatArray

    def at(self, distance_m: FloatArray) -> FloatArray:
        """Return the uncertainty at distances; in proportion beyond the farthest [m]."""
        inside: FloatArray = np.interp(distance_m, self.distance_m, self.sigma_m)
        inside *= np.maximum(distance_m / self.distance_m[-1], 1.0)
        return inside


def _opened(
    doubtful: _Doubtful,
    distance_m: FloatArray,
    is_near: BoolArray,
    growth: _Growth,
    limit_m: float,
) -> BoolArray:
    """Tell which cells are deep enough with the nearest point at distances, (places, cells)."""
    shrunk = growth.at(distance_m) / growth.at(doubtful.point_distance_m)
    sigma_m = doubtful.sigma_m * np.minimum(shrunk, 1.0)
    deep: BoolArray = (doubtful.highest_m + RELIABLE_SIGMAS * sigma_m <= limit_m) & is_near
    return deep


def _doubtful_cells(
    body: WaterBody, settings: Settings, grid: WaterGrid
) -> tuple[_Doubtful, _Growth, float, float]:
    """Return the cells in doubt, growth of the uncertainty, reach, and highest bed allowed."""
    bed = bed_surface(body, grid, settings)
    row, col = np.nonzero(grid.water)
    place_m = np.column_stack([grid.easting_m[col], grid.northing_m[row]])
    measured = _measured_places(body)
    shore = shore_points(body)
    every = measured
    if body.bed_raster is None:
        every = np.concatenate([measured, np.column_stack([shore.easting_m, shore.northing_m])])
    point_m, _ = cKDTree(every).query(place_m)
    sounding_m, _ = cKDTree(measured).query(place_m)
    is_far = bed.is_unsurveyed[row, col]
    sigma_m = bed.sigma_m[row, col]
    highest_m = np.where(
        is_far,
        _highest_round(bed.bed_m)[row, col],
        bed.reliable_bed_m[row, col] - RELIABLE_SIGMAS * sigma_m,
    )
    keep = settings.clearances
    limit_m = _limit_m(body, settings)
    inside = shapely.buffer(body.outline, -keep.bank_m)
    shapely.prepare(inside)
    is_doubtful: BoolArray = shapely.contains_xy(inside, place_m[:, 0], place_m[:, 1])
    is_doubtful &= (bed.bed_m[row, col] <= limit_m) & (highest_m <= limit_m)
    is_doubtful &= is_far | (bed.reliable_bed_m[row, col] > limit_m)
    kept = np.flatnonzero(is_doubtful)
    doubtful = _Doubtful(
        place_m[kept],
        highest_m[kept],
        sigma_m[kept],
        point_m[kept],
        sounding_m[kept],
        (body.levels.low_m - bed.bed_m[row, col])[kept],
        is_far[kept],
    )
    return doubtful, _growth(point_m, sigma_m, settings.survey.sigma_m), bed.reach_m, limit_m


def _measured_places(body: WaterBody) -> FloatArray:
    """Return the places that the doubt grows away from, the edge apart, shape (n, 2) [m]."""
    lines = [
        shapely.get_coordinates(shapely.segmentize(contour.line, 1.0)) for contour in body.contours
    ]
    soundings = np.column_stack([body.soundings.easting_m, body.soundings.northing_m])
    raster = body.bed_raster
    if raster is None:
        return np.concatenate([soundings, *lines])
    if len(soundings):
        return soundings
    row, col = np.nonzero(np.isfinite(raster.bed_m))
    return (raster.affine @ np.stack([col, row, np.ones(len(row))])).T


def _growth(distance_m: FloatArray, sigma_m: FloatArray, sounding_sigma_m: float) -> _Growth:
    """Return the usual uncertainty by distance, from the cells of the water."""
    order = np.argsort(distance_m, kind="stable")
    parts: Sequence[FloatArray] = np.array_split(order, min(_DISTANCE_STEPS, len(order)))
    distance = np.array([float(np.median(distance_m[part])) for part in parts])
    sigma = np.array([float(np.median(sigma_m[part])) for part in parts])
    sigma = np.maximum.accumulate(np.maximum(sigma, sounding_sigma_m))
    return _Growth(
        np.concatenate([[0.0], np.maximum(distance, 1e-6)]),
        np.concatenate([[sounding_sigma_m], sigma]),
    )


def _highest_round(bed_m: FloatArray) -> FloatArray:
    """Return the highest bed in each cell and the eight round it [m]."""
    known = np.where(np.isnan(bed_m), -np.inf, bed_m)
    highest: FloatArray = maximum_filter(known, size=3, mode="nearest")
    return highest
