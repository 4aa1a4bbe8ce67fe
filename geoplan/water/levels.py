"""
Area, volume and edge of the water at any level.

Below the surveyed level the bed decides; above it there is no bed here, and callers extrapolate.
"""

from itertools import pairwise
from typing import Any

import contourpy
import numpy as np
from scipy.ndimage import distance_transform_edt

from geoplan.water import FloatArray


def hypsography(
    bed_m: FloatArray, cell_area_m2: float, level_m: FloatArray
) -> tuple[FloatArray, FloatArray]:
    r"""
    Return the water's area and volume at levels.

    Parameters
    ----------
    bed_m : ndarray of float, shape (rows, cols)
        Bed elevation of each cell, NaN off the water [m].
    cell_area_m2 : float
        Area of a cell, positive [m²].
    level_m : ndarray of float, shape (n,)
        Levels, in any order [m].

    Returns
    -------
    ndarray of float, shape (n,)
        Area of the cells whose bed is not above the level [m²].
    ndarray of float, shape (n,)
        Volume of water between bed and level [m³].

    Raises
    ------
    ValueError
        If ``cell_area_m2`` is not positive or a level is not finite.

    Notes
    -----
    .. math:: A(z) = a \, \#\{b_i \le z\}, \qquad V(z) = a \sum_{b_i \le z} (z - b_i)

    so that dV/dz = A, and both rise with z. Sorted once: a thousand levels cost no more than
    one. Above the level at which the outline was drawn the area stays that of the outline.

    Examples
    --------
    >>> bed = np.array([[1.0, 2.0], [np.nan, 3.0]])
    >>> area, volume = hypsography(bed, 4.0, np.array([0.0, 2.5, 4.0]))
    >>> area.tolist(), volume.tolist()
    ([0.0, 8.0, 12.0], [0.0, 8.0, 24.0])
    """
    if not cell_area_m2 > 0:
        raise ValueError(f"cell_area_m2 must be positive, not {cell_area_m2:g}")
    level = np.asarray(level_m, float)
    if not np.isfinite(level).all():
        raise ValueError("levels must be finite")
    heights = np.sort(bed_m[~np.isnan(bed_m)])
    if not len(heights):
        return np.zeros(level.shape), np.zeros(level.shape)
    # From the lowest point up: sums of heights above a far-off datum lose digits.
    lowest = heights[0]
    total = np.concatenate([[0.0], np.cumsum(heights - lowest)])
    wet = np.searchsorted(heights, level, side="right")
    volume = cell_area_m2 * np.maximum(wet * (level - lowest) - total[wet], 0.0)
    return cell_area_m2 * wet.astype(np.float64), volume


def level_rings(
    bed_m: FloatArray, easting_m: FloatArray, northing_m: FloatArray, level_m: float
) -> list[list[FloatArray]]:
    """
    Return the regions where the bed is below a level.

    Parameters
    ----------
    bed_m : ndarray of float, shape (rows, cols)
        Bed elevation at cell centres, NaN off the water [m].
    easting_m : ndarray of float, shape (cols,)
        Eastings of the cell centres, rising evenly [m].
    northing_m : ndarray of float, shape (rows,)
        Northings of the cell centres, rising evenly [m].
    level_m : float
        Level [m].

    Returns
    -------
    list of list of ndarray of float, shape (k, 2)
        For each region its outer ring, then its holes; easting and northing, first vertex
        repeated last [m].

    Notes
    -----
    Linear between cell centres. Land stands as far above the level as the nearest water's bed
    is below it, so that where bed is known on one side only the edge runs midway, along the
    border of the cells. A caller with a surveyed edge cuts the regions with it: at the level of
    the survey itself the contour is worst, because the slope breaks there.

    Examples
    --------
    >>> bed = np.full((3, 3), 2.0)
    >>> bed[1, 1] = 0.0
    >>> centre = np.arange(3.0)
    >>> [ring] = level_rings(bed, centre, centre, 1.0)[0]
    >>> sorted(ring[1:].tolist())
    [[0.5, 1.0], [1.0, 0.5], [1.0, 1.5], [1.5, 1.0]]
    """
    is_land = np.pad(np.isnan(bed_m), 1, constant_values=True)
    if is_land.all():
        return []
    height = np.pad(bed_m, 1, mode="edge")
    if np.isnan(bed_m).any():
        nearest = distance_transform_edt(is_land, return_distances=False, return_indices=True)
        height = height[tuple(nearest)]
    height[is_land] = level_m + np.abs(level_m - height[is_land])
    lines = contourpy.contour_generator(
        _with_margin(easting_m),
        _with_margin(northing_m),
        height,
        fill_type=contourpy.FillType.OuterOffset,
    )
    lowest = min(float(height.min()), level_m) - 1.0
    filled: Any = lines.filled(lowest, level_m)
    return [[points[a:b] for a, b in pairwise(at)] for points, at in zip(*filled, strict=True)]


def _with_margin(centre_m: FloatArray) -> FloatArray:
    """Return coordinates with one more on either side."""
    return np.concatenate(
        [[2 * centre_m[0] - centre_m[1]], centre_m, [2 * centre_m[-1] - centre_m[-2]]]
    )
