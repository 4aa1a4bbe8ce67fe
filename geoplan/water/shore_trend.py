"""
How depth grows with the distance from the shore: what to expect where nothing was sounded.

Only the mean bed and volumes use it. No depth is relied on for it.
"""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import distance_transform_edt

from geoplan.water import BoolArray, FloatArray

#: Soundings that a trend needs, and those beyond which only some are asked.
_FEWEST, _MOST = 8, 3000


@dataclass(frozen=True)
class ShoreTrend:
    """
    Depth below the water's edge as a function of the distance from it.

    Attributes
    ----------
    level_m : float
        Level of the edge [m].
    depth_m : float
        Depth far from the shore [m].
    length_m : float
        Distance over which 63 % of it is reached [m].
    """

    level_m: float
    depth_m: float
    length_m: float

    def bed_m(self, shore_m: FloatArray) -> FloatArray:
        """
        Return the expected bed.

        Parameters
        ----------
        shore_m : ndarray of float
            Distance from the shore, not negative [m].

        Returns
        -------
        ndarray of float
            Elevation: level − depth (1 − exp(−distance/length)) [m].

        Examples
        --------
        >>> ShoreTrend(10.0, 2.0, 5.0).bed_m(np.array([0.0, 5.0])).round(2).tolist()
        [10.0, 8.74]
        """
        bed: FloatArray = self.level_m - self.depth_m * -np.expm1(-shore_m / self.length_m)
        return bed


def shore_trend(shore_m: FloatArray, bed_m: FloatArray, level_m: float) -> ShoreTrend | None:
    """
    Return the trend of soundings with the distance from the shore.

    Parameters
    ----------
    shore_m : ndarray of float, shape (n,)
        Distance of each sounding from the shore [m].
    bed_m : ndarray of float, shape (n,)
        Elevation of each [m].
    level_m : float
        Level of the water's edge [m].

    Returns
    -------
    ShoreTrend or None
        ``None`` where fewer than eight soundings are there, or they do not lie below the edge.

    Notes
    -----
    Least sum of absolute residuals, so that a stump or a gross error does not bend it: by
    reweighting for the depth, by trial for the length.
    """
    if len(bed_m) < _FEWEST or not shore_m.max() > 0:
        return None
    chosen = np.unique(np.linspace(0, len(bed_m) - 1, _MOST).astype(np.int64))
    shore_m, depth = shore_m[chosen], level_m - bed_m[chosen]
    best, least = None, np.inf
    for length in np.geomspace(0.05, 3.0, 30) * float(shore_m.max()):
        share = -np.expm1(-shore_m / length)
        limit = float(np.median(depth))
        for _ in range(12):
            weight = 1.0 / np.maximum(np.abs(depth - limit * share), 0.01)
            limit = float((weight * share) @ depth / max(float((weight * share) @ share), 1e-12))
        misfit = float(np.abs(depth - limit * share).mean())
        if misfit < least * (1 - 1e-9) and limit > 0:
            best, least = ShoreTrend(level_m, limit, float(length)), misfit
    return best


def shore_distance_m(water: BoolArray, cell_m: float) -> FloatArray:
    """
    Return the distance of cells from the shore, islands among it.

    Parameters
    ----------
    water : ndarray of bool, shape (rows, cols)
        True on the water; outside the grid is land.
    cell_m : float
        Side of a cell [m].

    Returns
    -------
    ndarray of float, shape (rows, cols)
        From the centre of the cell to the nearest border with land; zero on land [m].
    """
    padded = np.pad(water, 1)
    away: FloatArray = distance_transform_edt(padded)[1:-1, 1:-1]
    return np.where(water, (away - 0.5) * cell_m, 0.0)
