"""
How depth grows away from the shore: what to expect where nothing was sounded.

Only the mean bed and volumes use it. No depth is relied on for it.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import distance_transform_edt, map_coordinates

from geoplan.water import BoolArray, FloatArray
from geoplan.water.flow import balanced, given_away, whole_faces

#: Cells of the lattice on which a membrane is solved, at most.
_MOST_CELLS = 20_000
#: Soundings that a trend needs, and those beyond which only some are asked.
_FEWEST, _MOST = 8, 3000


@dataclass(frozen=True)
class ShoreTrend:
    """
    Depth below the water's edge as a function of the way from it.

    Attributes
    ----------
    level_m : float
        Level of the edge [m].
    depth_m : float
        Depth far from the shore [m].
    length_m : float
        Way over which 63 % of it is reached [m].
    misfit_m : float
        Mean absolute misfit of the soundings it was taken from [m].
    """

    level_m: float
    depth_m: float
    length_m: float
    misfit_m: float = 0.0

    def bed_m(self, shore_m: FloatArray) -> FloatArray:
        """
        Return the expected bed.

        Parameters
        ----------
        shore_m : ndarray of float
            Way from the shore, a distance or that of a membrane, not negative [m].

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
    Return the trend of soundings with the way from the shore.

    Parameters
    ----------
    shore_m : ndarray of float, shape (n,)
        Way of each sounding from the shore [m].
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
    length = np.geomspace(0.05, 3.0, 30) * float(shore_m.max())
    share = -np.expm1(-shore_m / length[:, None])
    limit = np.full(len(length), np.median(depth))
    for _ in range(12):
        pull = share / np.maximum(np.abs(depth - limit[:, None] * share), 0.01)
        limit = pull @ depth / np.maximum((pull * share).sum(axis=1), 1e-12)
    misfit = np.abs(depth - limit[:, None] * share).mean(axis=1)
    best, least = None, np.inf
    for k in np.flatnonzero(limit > 0):
        if misfit[k] < least * (1 - 1e-9):
            best, least = k, misfit[k]
    if best is None:
        return None
    return ShoreTrend(level_m, float(limit[best]), float(length[best]), float(misfit[best]))


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


def membrane_m(water: BoolArray, cell_m: float) -> FloatArray:
    r"""
    Return how far out in open water cells lie, by a membrane held at the shore.

    Parameters
    ----------
    water : ndarray of bool, shape (rows, cols)
        True on the water, in one cell at least; outside the grid is land.
    cell_m : float
        Side of a cell [m].

    Returns
    -------
    ndarray of float, shape (rows, cols)
        Sag over the root of the largest sag; zero on land [m].

    Notes
    -----
    :math:`\nabla^2 u = -1` with :math:`u = 0` at the shore, on 20,000 cells at most. Beside a
    straight shore it grows like the distance, and the more the wider the water is: a cove half as
    wide is shallower, which a distance does not know. In a disc :math:`u/\sqrt{u_0}` is
    :math:`(R^2 - r^2)/2R`.

    Examples
    --------
    >>> at = np.arange(-10, 10) + 0.5
    >>> disc = np.hypot(*np.meshgrid(at, at)) < 10
    >>> round(float(membrane_m(disc, 1.0).max()), 1)
    5.0
    """
    step = max(1, math.ceil(math.sqrt(water.sum() / _MOST_CELLS)))
    share = _coarse(water, step)
    wet = share >= 0.5 if (share >= 0.5).any() else share > 0
    sag = _sag_m2(wet, step * cell_m)
    row, col = np.nonzero(water)
    out = np.zeros(water.shape)
    at = [(index + 0.5) / step - 0.5 for index in (row, col)]
    out[row, col] = map_coordinates(sag, at, order=1, mode="nearest")
    return out / math.sqrt(sag.max())


def _coarse(water: BoolArray, step: int) -> FloatArray:
    """Return the share of water in squares of cells."""
    rows, cols = (-(-size // step) for size in water.shape)
    padded = np.zeros((rows * step, cols * step))
    padded[: water.shape[0], : water.shape[1]] = water
    share: FloatArray = padded.reshape(rows, step, cols, step).mean(axis=(1, 3))
    return share


def _sag_m2(wet: BoolArray, cell_m: float) -> FloatArray:
    """Return the sag of a membrane under unit load, held half a cell beyond the last cells."""
    faces = whole_faces(wet)
    held = np.where(wet, 2.0 * (4.0 - given_away(faces.east, faces.north)), 0.0)
    return balanced(wet, (faces.east, faces.north), held, np.where(wet, cell_m**2, 0.0))
