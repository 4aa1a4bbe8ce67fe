"""
The bed of a water body: most likely elevation, its uncertainty, and what may be relied on.

From soundings, contours or a raster to cells. Nothing here sees a mound that was never sounded:
the chance of it falls with the distance between soundings, not with the method.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from geoplan.water import BoolArray, FloatArray, IntArray
from geoplan.water.bed import RELIABLE_SIGMAS, BedPoints, BedSurface, on_water
from geoplan.water.mean_bed import SmoothBed, smooth_bed
from geoplan.water.raster_bed import bed_from_raster
from geoplan.water.sounded_cells import (
    SoundedCells,
    held_to_soundings,
    highest_round,
    sounded_cells,
)
from geoplan.water.survey_error import between_sigma_m
from geoplan.water.triangulation import TriangulatedSurface, cell_borders, triangulated

__all__ = [
    "RELIABLE_SIGMAS",
    "BedPoints",
    "BedSurface",
    "bed_from_points",
    "bed_from_raster",
    "s44_tvu_m",
]

#: Standard deviations of a sounding between it and the depth relied on: 95 % one-sided [1].
SOUNDING_SIGMAS = 1.645
#: Points beyond which triangles are spanned between the shoalest of each square only.
_MOST_VERTICES = 250_000
#: Constant part [m] and part per depth [1] of the total vertical uncertainty at 95 % of IHO
#: S-44, edition 6.0.0 (2020), table 1.
S44_ORDERS: dict[str, tuple[float, float]] = {
    "exclusive": (0.15, 0.0075),
    "special": (0.25, 0.0075),
    "1a": (0.5, 0.013),
    "1b": (0.5, 0.013),
    "2": (1.0, 0.023),
}


def s44_tvu_m(depth_m: float, order: str) -> float:
    """
    Return the total vertical uncertainty that a survey order allows, at 95 %.

    Parameters
    ----------
    depth_m : float
        Depth, not negative [m].
    order : {"exclusive", "special", "1a", "1b", "2"}
        Order of the survey.

    Returns
    -------
    float
        Largest allowed uncertainty of one sounding [m].

    Raises
    ------
    ValueError
        If the order is unknown or the depth negative.

    Notes
    -----
    ``sqrt(a² + (b d)²)`` [1]_. It is a budget for soundings: what lies between them is extra.

    References
    ----------
    .. [1] International Hydrographic Organization, *Standards for Hydrographic Surveys*, S-44,
       edition 6.0.0, 2020, section 3.2.3 and table 1.

    Examples
    --------
    >>> round(s44_tvu_m(2.0, "special"), 4)
    0.2504
    """
    if order not in S44_ORDERS:
        raise ValueError(f"order must be one of {', '.join(S44_ORDERS)}, not {order!r}")
    if not depth_m >= 0:
        raise ValueError(f"depth_m must not be negative, not {depth_m:g}")
    constant_m, per_depth = S44_ORDERS[order]
    return math.hypot(constant_m, per_depth * depth_m)


def bed_from_points(
    easting_m: FloatArray,
    northing_m: FloatArray,
    water: BoolArray,
    points: BedPoints,
    shore: BedPoints,
    reach_m: float | None,
) -> BedSurface:
    r"""
    Return the bed from soundings, contours and the water's edge.

    Parameters
    ----------
    easting_m : ndarray of float, shape (cols,)
        Eastings of the cell centres, rising evenly [m].
    northing_m : ndarray of float, shape (rows,)
        Northings of the cell centres, rising evenly [m].
    water : ndarray of bool, shape (rows, cols)
        True on the water.
    points : BedPoints
        Soundings and points along contours; may be empty.
    shore : BedPoints
        Water's edge with islands, at the level of the outline, so dense that no triangle spans
        land.
    reach_m : float or None
        Farthest from a sounding that a depth is believed; ``None``: three times the median
        distance from the water's cells to the nearest sounding [m].

    Returns
    -------
    BedSurface
        The bed; without any points at the level of the edge, that is without depth.

    Raises
    ------
    ValueError
        If the grid is smaller than two by two, ``reach_m`` is not positive, the edge is empty
        where there are no soundings, or all points lie on one line.

    Notes
    -----
    The mean is a thin plate that land cuts, on a trend with the distance from the shore where
    that predicts better (``mean_bed``); with fewer than twelve blocks of soundings it is linear on
    Delaunay triangles. The edge takes part as points at its level.

    .. math:: \sigma^2 = \sigma_s^2 + \sigma_i^2

    where :math:`\sigma_s` is the largest uncertainty of the vertices of the triangle round a cell
    and :math:`\sigma_i` what lies between them: by kriging, by the contour interval, or by leaving
    soundings out of a small survey (``survey_error``). The bed relied on is the mean anywhere in
    the cell plus 2.33 σ; not below the triangles plus 1.645 :math:`\sigma_s`, so that no smoothing
    makes water deeper than it was sounded; not below the lowest sounding within reach, nor below
    any sounding in the cell and the eight round it. The method, its evidence and its limits:
    ``docs/methods/bed.md``.

    Examples
    --------
    >>> def points(rows):
    ...     e, n, z = np.array(rows, float).T
    ...     return BedPoints(e, n, z, np.full(len(e), 0.05), np.zeros(len(e), bool))
    >>> corners = points([(0, 0, 5), (4, 0, 5), (4, 4, 5), (0, 4, 5)])
    >>> centre = np.array([1.0, 2.0, 3.0])
    >>> surveyed = points([(2, 2, 3)])
    >>> surface = bed_from_points(centre, centre, np.ones((3, 3), bool), surveyed, corners, None)
    >>> surface.bed_m[1].tolist()
    [4.0, 3.0, 4.0]
    """
    _require_usable(easting_m, northing_m, reach_m)
    if len(points) == 0 or not water.any():
        return _without_survey(water, shore, reach_m)
    middle = np.array([easting_m.mean(), northing_m.mean()])
    points, shore = _moved(points, middle), _moved(shore, middle)
    kept, is_sounding = _distinct(points, shore)
    surface = triangulated(kept.place_m, kept.bed_m)
    if surface is None:
        raise ValueError("the bed needs three points that do not lie on one line")
    cells = sounded_cells(easting_m - middle[0], northing_m - middle[1], water, points, reach_m)
    chord_m, triangle = surface.at(cells.easting_m, cells.northing_m, water)
    grid = (cells.easting_m, cells.northing_m, water)
    smooth = smooth_bed(*grid, points, shore, cells.usual_distance_m)
    vertex_m = _vertex_sigma_m(surface, kept, cells, triangle[water])
    by_kriging_m = _by_kriging_m(smooth, water, vertex_m)
    kinds = (is_sounding, kept.is_contour)
    between_m = between_sigma_m(surface, *kinds, cells.centre_m, triangle[water], by_kriging_m)
    sigma_m = np.hypot(vertex_m, between_m)
    bed_m = chord_m[water] if smooth is None else _bounded(smooth, water, points, shore, sigma_m)
    by_triangles_m = surface.highest_in_cells(cells.easting_m, cells.northing_m, water)[water]
    highest_m = by_triangles_m if smooth is None else highest_round(on_water(water, bed_m), water)
    highest_m = np.maximum(
        highest_m + RELIABLE_SIGMAS * sigma_m, by_triangles_m + SOUNDING_SIGMAS * vertex_m
    )
    reliable_m = held_to_soundings(highest_m, cells, points)
    is_unsurveyed = np.zeros(water.shape, bool)
    is_unsurveyed[water] = np.isnan(reliable_m)
    return BedSurface(
        on_water(water, bed_m),
        on_water(water, sigma_m),
        on_water(water, reliable_m),
        is_unsurveyed,
        cells.reach_m,
        chord_m,
        replace(surface, points_m=surface.points_m + middle),
    )


def _require_usable(easting_m: FloatArray, northing_m: FloatArray, reach_m: float | None) -> None:
    """Refuse a grid that is none, and a reach that reaches nothing."""
    cell_borders(easting_m), cell_borders(northing_m)
    if reach_m is not None and not reach_m > 0:
        raise ValueError(f"reach_m must be positive, not {reach_m:g}")


def _by_kriging_m(
    smooth: SmoothBed | None, water: BoolArray, vertex_m: FloatArray
) -> FloatArray | None:
    """Return what kriging knows of the bed between soundings, the soundings' own doubt apart."""
    if smooth is None or smooth.between_sigma_m is None:
        return None
    # Soundings of one survey err alike, so that together they are no better than one.
    between_m: FloatArray = np.sqrt(
        np.maximum(smooth.between_sigma_m[water] ** 2 - vertex_m**2, 0.0)
    )
    return between_m


def _moved(points: BedPoints, middle_m: FloatArray) -> BedPoints:
    """Return points near the origin: large coordinates cost digits."""
    return BedPoints(
        points.easting_m - middle_m[0],
        points.northing_m - middle_m[1],
        points.bed_m,
        points.sigma_m,
        points.is_contour,
    )


def _bounded(
    smooth: SmoothBed, water: BoolArray, points: BedPoints, shore: BedPoints, sigma_m: FloatArray
) -> FloatArray:
    """Return the smooth bed in each cell, no higher than any point and not far below the lowest."""
    highest = max(points.bed_m.max(), shore.bed_m.max(initial=-np.inf))
    lowest = min(points.bed_m.min(), shore.bed_m.min(initial=np.inf))
    return np.clip(smooth.bed_m[water], lowest - RELIABLE_SIGMAS * sigma_m, highest)


def _without_survey(water: BoolArray, shore: BedPoints, reach_m: float | None) -> BedSurface:
    """Return a bed at the water's edge: without a survey there is no depth to rely on."""
    if len(shore) == 0:
        raise ValueError("a bed without soundings needs the level of the water's edge")
    return BedSurface(
        np.where(water, shore.bed_m.max(), np.nan),
        np.where(water, np.inf, np.nan),
        np.full(water.shape, np.nan),
        water.copy(),
        reach_m or 0.0,
        np.where(water, shore.bed_m.max(), np.nan),
    )


@dataclass(frozen=True, eq=False)
class _Vertices:
    """Distinct points of the bed near the origin."""

    place_m: FloatArray
    bed_m: FloatArray
    sigma_m: FloatArray
    is_contour: BoolArray


def _distinct(points: BedPoints, shore: BedPoints) -> tuple[_Vertices, BoolArray]:
    """
    Return points and edge without twins, and which of them are soundings.

    Of a survey too dense to span triangles between all, the shoalest of each square are kept.
    """
    both = [points, shore]
    place = np.concatenate([np.column_stack([p.easting_m, p.northing_m]) for p in both])
    bed = np.concatenate([p.bed_m for p in both])
    sigma = np.concatenate([p.sigma_m for p in both])
    is_contour = np.concatenate([p.is_contour for p in both])
    is_sounding = np.arange(len(bed)) < len(points)
    is_sounding &= ~is_contour
    key = np.round(place * 1000.0)
    if len(points) > _MOST_VERTICES:
        side_m = math.sqrt(float(np.ptp(place, axis=0).prod()) / _MOST_VERTICES)
        key[: len(points)] = np.floor(place[: len(points)] / side_m) * 1000.0 + 0.5
    order = np.lexsort([-bed, key[:, 1], key[:, 0]])
    is_first = np.ones(len(order), bool)
    is_first[1:] = (np.diff(key[order], axis=0) != 0).any(axis=1)
    kept = np.sort(order[is_first])
    return (
        _Vertices(place[kept], bed[kept], sigma[kept], is_contour[kept]),
        is_sounding[kept],
    )


def _vertex_sigma_m(
    surface: TriangulatedSurface, kept: _Vertices, cells: SoundedCells, triangle: IntArray
) -> FloatArray:
    """Return the largest uncertainty of the points that a cell's value is made from."""
    sigma: FloatArray = kept.sigma_m[surface.triangles[triangle]].max(axis=1)
    outside = triangle < 0
    if outside.any():
        _, nearest = cKDTree(kept.place_m).query(cells.centre_m[outside])
        sigma[outside] = kept.sigma_m[nearest]
    return sigma
