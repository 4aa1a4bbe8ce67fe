"""The water's cells and the soundings round each: how far they reach, and what they rule out."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter
from scipy.spatial import cKDTree

from geoplan.water import BoolArray, FloatArray, IntArray
from geoplan.water.bed import BedPoints
from geoplan.water.triangulation import cell_borders

#: Typical distances to a sounding within which a depth is believed (judgement) [1].
REACH_SPACINGS = 3.0


@dataclass(frozen=True, eq=False)
class SoundedCells:
    """
    Water cells in coordinates near the origin, and the distance of each to soundings.

    Attributes
    ----------
    easting_m, northing_m : ndarray of float, shapes (cols,) and (rows,)
        Cell centres [m].
    water : ndarray of bool, shape (rows, cols)
        True on the water.
    centre_m : ndarray of float, shape (k, 2)
        Easting and northing of the water's cells [m].
    sounding_distance_m : ndarray of float, shape (k,)
        Distance to the nearest sounding [m].
    nearest_sounding : ndarray of int, shape (k,)
        Which that is.
    usual_distance_m : float
        Median of the distances [m].
    reach_m : float
        Farthest from a sounding that a depth is believed [m].
    """

    easting_m: FloatArray
    northing_m: FloatArray
    water: BoolArray
    centre_m: FloatArray
    sounding_distance_m: FloatArray
    nearest_sounding: IntArray
    usual_distance_m: float
    reach_m: float

    @property
    def is_far(self) -> BoolArray:
        """Tell which cells are out of reach, shape (k,)."""
        return self.sounding_distance_m > self.reach_m


def sounded_cells(
    easting_m: FloatArray,
    northing_m: FloatArray,
    water: BoolArray,
    points: BedPoints,
    reach_m: float | None,
) -> SoundedCells:
    """
    Return the water's cells with their distance to soundings, and the reach in force.

    Parameters
    ----------
    easting_m, northing_m : ndarray of float, shapes (cols,) and (rows,)
        Cell centres near the origin [m].
    water : ndarray of bool, shape (rows, cols)
        True on the water, in one cell at least.
    points : BedPoints
        Soundings, one at least, in the same coordinates.
    reach_m : float or None
        The reach; ``None``: three times the median distance [m].

    Returns
    -------
    SoundedCells
        The cells.
    """
    row, col = np.nonzero(water)
    centre = np.column_stack([easting_m[col], northing_m[row]])
    tree = cKDTree(np.column_stack([points.easting_m, points.northing_m]))
    distance, nearest = tree.query(centre)
    usual = float(np.median(distance))
    if reach_m is None:
        reach_m = REACH_SPACINGS * usual
    return SoundedCells(easting_m, northing_m, water, centre, distance, nearest, usual, reach_m)


def held_to_soundings(reliable_m: FloatArray, cells: SoundedCells, points: BedPoints) -> FloatArray:
    """
    Return a bed relied on, held to the soundings themselves.

    Parameters
    ----------
    reliable_m : ndarray of float, shape (k,)
        Bed relied on before [m].
    cells : SoundedCells
        The water's cells.
    points : BedPoints
        The soundings by which the cells were made.

    Returns
    -------
    ndarray of float, shape (k,)
        Not below any sounding in the cell and the eight round it, nor below the lowest within
        reach; NaN out of their reach [m].
    """
    place = np.column_stack([points.easting_m, points.northing_m])
    held = np.maximum(reliable_m, shoalest_round(cells, points))
    lowest = lowest_within_reach(held, cells, place, points.bed_m)
    return np.where(cells.is_far, np.nan, np.maximum(held, lowest))


def highest_round(value_m: FloatArray, water: BoolArray) -> FloatArray:
    """
    Return the highest value on the straight way from each cell half to those round it.

    Parameters
    ----------
    value_m : ndarray of float, shape (rows, cols)
        Elevations; those off the water are not looked at [m].
    water : ndarray of bool, shape (rows, cols)
        True on the water.

    Returns
    -------
    ndarray of float, shape (k,)
        For the water's cells [m].
    """
    around = maximum_filter(np.where(water, value_m, -np.inf), size=3, mode="nearest")
    half: FloatArray = (value_m + around)[water] / 2.0
    return half


def shoalest_round(cells: SoundedCells, points: BedPoints) -> FloatArray:
    """
    Return the highest sounding in each water cell and the eight round it.

    Parameters
    ----------
    cells : SoundedCells
        The water's cells.
    points : BedPoints
        Soundings in the same coordinates.

    Returns
    -------
    ndarray of float, shape (k,)
        Elevation; minus infinity where there is none [m].
    """
    col = np.searchsorted(cell_borders(cells.easting_m), points.easting_m, side="right") - 1
    row = np.searchsorted(cell_borders(cells.northing_m), points.northing_m, side="right") - 1
    rows, cols = cells.water.shape
    is_on = (row >= 0) & (row < rows) & (col >= 0) & (col < cols)
    highest = np.full(cells.water.shape, -np.inf)
    np.maximum.at(highest, (row[is_on], col[is_on]), points.bed_m[is_on])
    around: FloatArray = maximum_filter(highest, size=3, mode="constant", cval=-np.inf)
    return around[cells.water]


def lowest_within_reach(
    value_m: FloatArray, cells: SoundedCells, sounding_m: FloatArray, bed_m: FloatArray
) -> FloatArray:
    """
    Return the lowest sounding within reach of cells that lie below their nearest one.

    Parameters
    ----------
    value_m : ndarray of float, shape (k,)
        Elevation of the cells [m].
    cells : SoundedCells
        The water's cells.
    sounding_m : ndarray of float, shape (n, 2)
        Easting and northing of the soundings by which the cells were made [m].
    bed_m : ndarray of float, shape (n,)
        Their elevation [m].

    Returns
    -------
    ndarray of float, shape (k,)
        Elevation; minus infinity for cells above their nearest sounding, which are above the
        lowest too, and for cells out of reach [m].
    """
    lowest = np.full(len(value_m), -np.inf)
    doubtful = np.flatnonzero(~cells.is_far & (value_m < bed_m[cells.nearest_sounding]))
    tree = cKDTree(sounding_m)
    for chunk in np.array_split(doubtful, len(doubtful) // 4096 + 1):
        around = tree.query_ball_point(cells.centre_m[chunk], cells.reach_m * (1 + 1e-12))
        lowest[chunk] = [bed_m[near].min() for near in around]
    return lowest
