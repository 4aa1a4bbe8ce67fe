"""The bed from a raster of elevations."""

import math

import numba
import numpy as np
from scipy.ndimage import distance_transform_edt, map_coordinates

from geoplan.water import BoolArray, FloatArray, IntArray
from geoplan.water.bed import RELIABLE_SIGMAS, BedSurface, on_water
from geoplan.water.triangulation import cell_borders

#: Raster cells without a value over which the bed is still believed (judgement) [1].
REACH_RASTER_CELLS = 2.0


def bed_from_raster(
    easting_m: FloatArray,
    northing_m: FloatArray,
    water: BoolArray,
    raster_bed_m: FloatArray,
    affine: FloatArray,
    sigma_m: float,
) -> BedSurface:
    """
    Return the bed from a raster of elevations.

    Parameters
    ----------
    easting_m : ndarray of float, shape (cols,)
        Eastings of the cell centres, rising evenly [m].
    northing_m : ndarray of float, shape (rows,)
        Northings of the cell centres, rising evenly [m].
    water : ndarray of bool, shape (rows, cols)
        True on the water.
    raster_bed_m : ndarray of float, shape (raster rows, raster columns)
        Elevation at the raster's nodes, NaN where there is none [m].
    affine : ndarray of float, shape (2, 3)
        ``affine @ (col, row, 1)`` is easting and northing of a node [m].
    sigma_m : float
        One standard deviation of the raster's values, not negative [m].

    Returns
    -------
    BedSurface
        Bilinear between nodes; the nearest value where some of the four are missing.

    Raises
    ------
    ValueError
        If the raster holds no value, the affine has no inverse or ``sigma_m`` is negative.

    Notes
    -----
    The bed relied on is the highest node whose bilinear support touches the cell, plus 2.33 σ:
    no point of a bilinear surface is above the nodes round it. Unsurveyed is water whose
    nearest node with a value is farther than two raster cells.

    Examples
    --------
    >>> raster = np.array([[1.0, 2.0], [1.0, 2.0]])
    >>> unit = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    >>> centre = np.array([0.25, 0.75])
    >>> surface = bed_from_raster(centre, centre, np.ones((2, 2), bool), raster, unit, 0.1)
    >>> surface.bed_m[0].tolist(), surface.reliable_bed_m[0].round(3).tolist()
    ([1.25, 1.75], [2.233, 2.233])
    """
    is_known = np.isfinite(raster_bed_m)
    if not is_known.any():
        raise ValueError("the bed raster holds no value")
    if not sigma_m >= 0:
        raise ValueError(f"sigma_m must not be negative, not {sigma_m:g}")
    inverse = np.linalg.inv(affine[:, :2])
    east, north = np.meshgrid(easting_m - affine[0, 2], northing_m - affine[1, 2])
    col, row = (inverse[k, 0] * east[water] + inverse[k, 1] * north[water] for k in range(2))
    bed_m, is_far = _at_nodes(np.where(is_known, raster_bed_m, np.nan), row, col)
    half_cell = np.array([_step(easting_m), _step(northing_m)]) / 2
    half_col, half_row = np.abs(inverse) @ half_cell
    lattice = np.where(is_known, raster_bed_m, -np.inf)
    reliable_m = np.maximum(_highest_within(lattice, row, col, half_row, half_col), bed_m)
    reliable_m += RELIABLE_SIGMAS * sigma_m
    reliable_m[is_far] = np.nan
    is_unsurveyed = np.zeros(water.shape, bool)
    is_unsurveyed[water] = is_far
    on_cells = on_water(water, bed_m)
    return BedSurface(
        on_cells,
        np.where(water, sigma_m, np.nan),
        on_water(water, reliable_m),
        is_unsurveyed,
        REACH_RASTER_CELLS * math.sqrt(abs(float(np.linalg.det(affine[:, :2])))),
        on_cells,
    )


def raster_at(
    raster_bed_m: FloatArray, affine: FloatArray, easting_m: FloatArray, northing_m: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """
    Return a raster at places.

    Parameters
    ----------
    raster_bed_m : ndarray of float, shape (raster rows, raster columns)
        Elevation at the nodes, NaN where there is none; one is known at least [m].
    affine : ndarray of float, shape (2, 3)
        ``affine @ (col, row, 1)`` is easting and northing of a node [m].
    easting_m, northing_m : ndarray of float, shape (n,)
        Places [m].

    Returns
    -------
    ndarray of float, shape (n,)
        Bilinear between nodes; the nearest value where some of the four are missing [m].
    ndarray of bool, shape (n,)
        True farther than two raster cells from the nearest node with a value.
    """
    inverse = np.linalg.inv(affine[:, :2])
    east, north = easting_m - affine[0, 2], northing_m - affine[1, 2]
    col, row = (inverse[k, 0] * east + inverse[k, 1] * north for k in range(2))
    return _at_nodes(raster_bed_m, row, col)


def _at_nodes(
    raster_bed_m: FloatArray, row: FloatArray, col: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Return the raster at places in its own rows and columns, and which are too far from it."""
    nearest = distance_transform_edt(
        np.isnan(raster_bed_m), return_distances=False, return_indices=True
    )
    at = _nodes_at(row, col, raster_bed_m.shape)
    known_row, known_col = nearest[0][at], nearest[1][at]
    value = _bilinear(raster_bed_m, row, col)
    value = np.where(np.isnan(value), raster_bed_m[known_row, known_col], value)
    return value, np.hypot(row - known_row, col - known_col) > REACH_RASTER_CELLS


def _step(centre_m: FloatArray) -> float:
    """Return the side of a cell."""
    return float(np.ptp(cell_borders(centre_m))) / len(centre_m)


def _nodes_at(
    row: FloatArray, col: FloatArray, shape: tuple[int, int]
) -> tuple[IntArray, IntArray]:
    """Return the node of the raster nearest to each place."""
    return (
        np.clip(np.rint(row), 0, shape[0] - 1).astype(np.int64),
        np.clip(np.rint(col), 0, shape[1] - 1).astype(np.int64),
    )


def _bilinear(raster_bed_m: FloatArray, row: FloatArray, col: FloatArray) -> FloatArray:
    """Return values between nodes, NaN where one of them is missing or outside."""
    value: FloatArray = map_coordinates(
        raster_bed_m, np.stack([row, col]), order=1, mode="constant", cval=np.nan
    )
    return value


@numba.njit(cache=True)
def _highest_within(
    lattice: FloatArray, row: FloatArray, col: FloatArray, half_row: float, half_col: float
) -> FloatArray:
    """Return the highest node whose bilinear support touches the rectangle round each place."""
    highest = np.full(len(row), -np.inf)
    for k in range(len(row)):
        top = min(int(np.ceil(row[k] + half_row)), lattice.shape[0] - 1)
        right = min(int(np.ceil(col[k] + half_col)), lattice.shape[1] - 1)
        for r in range(max(int(np.floor(row[k] - half_row)), 0), top + 1):
            for c in range(max(int(np.floor(col[k] - half_col)), 0), right + 1):
                highest[k] = max(highest[k], lattice[r, c])
    return highest
