"""
How uncertain the bed is between soundings: the standard error of local ordinary kriging.

What the bed is at a place is not asked here, only how much soundings round it say of it.
"""

import math
from dataclasses import dataclass

import numba
import numpy as np
from scipy.optimize import nnls
from scipy.spatial import cKDTree

from geoplan.water import FloatArray, IntArray

#: Measurements round a place that are asked. More change a standard error by a percent.
_NEIGHBOURS = 24
#: Measurements from which the variogram is taken, at most.
_MOST_FOR_VARIOGRAM = 1500
#: Classes of distance of a variogram.
_CLASSES = 16


@dataclass(frozen=True)
class Variogram:
    """
    How soundings differ with the distance between them.

    Attributes
    ----------
    sill_m2 : float
        Variance of the bed about its trend [m²].
    nugget_m2 : float
        Variance that is there at no distance [m²].
    range_m : float
        Length of the Matérn covariance [m].
    """

    sill_m2: float
    nugget_m2: float
    range_m: float


def variogram(place_m: FloatArray, residual_m: FloatArray, gap_m: float) -> Variogram | None:
    r"""
    Return the variogram of residuals.

    Parameters
    ----------
    place_m : ndarray of float, shape (n, 2)
        Easting and northing [m].
    residual_m : ndarray of float, shape (n,)
        What was measured less its trend [m].
    gap_m : float
        Usual distance between tracks [m].

    Returns
    -------
    Variogram or None
        ``None`` where fewer than 12 measurements or no variation are there to judge by.

    Notes
    -----
    Robust estimate of Cressie and Hawkins [1]_ in classes up to two and a half gaps,
    for it is the gap that matters; a Matérn model of order
    3/2, :math:`\gamma = n + s (1 - (1 + h) e^{-h}), h = \sqrt 3 d / \ell`, by least squares with
    weights of pairs over the squared mean of the class, n and s not negative.

    References
    ----------
    .. [1] N. Cressie and D. M. Hawkins, "Robust estimation of the variogram: I", Math. Geol. 12,
       115-125, 1980. :doi:`10.1007/BF01035243`
    """
    if len(residual_m) < 12:
        return None
    chosen = np.unique(np.linspace(0, len(place_m) - 1, _MOST_FOR_VARIOGRAM).astype(np.int64))
    place, residual = place_m[chosen], residual_m[chosen]
    lag, gamma, pairs = _classes(place, residual, 2.5 * gap_m)
    if len(lag) < 3 or not gamma.max() > 0:
        return None
    best, least = None, np.inf
    weight = np.sqrt(pairs) / np.maximum(gamma, 0.05 * gamma.max())
    for length in np.geomspace(0.3 * gap_m, 20.0 * gap_m, 25):
        shape = 1.0 - _matern(math.sqrt(3.0) * lag / length)
        (nugget, sill), misfit = nnls(np.column_stack([weight, weight * shape]), weight * gamma)
        if misfit < least * (1 - 1e-9):
            best, least = Variogram(float(sill), float(nugget), float(length)), misfit
    return best if best is not None and best.sill_m2 + best.nugget_m2 > 0 else None


def _classes(
    place_m: FloatArray, residual_m: FloatArray, farthest_m: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return mean distance, robust half mean square difference and number of pairs by class."""
    one, other = np.triu_indices(len(place_m), 1)
    lag = np.hypot(*(place_m[one] - place_m[other]).T)
    near = lag <= farthest_m
    lag, root = lag[near], np.sqrt(np.abs(residual_m[one[near]] - residual_m[other[near]]))
    number = np.minimum((lag / farthest_m * _CLASSES).astype(np.int64), _CLASSES - 1)
    pairs = np.bincount(number, minlength=_CLASSES)
    full = pairs >= 10
    count = pairs[full].astype(float)
    mean_lag = np.bincount(number, lag, _CLASSES)[full] / count
    fourth = (np.bincount(number, root, _CLASSES)[full] / count) ** 4
    return mean_lag, fourth / (2.0 * (0.457 + 0.494 / count)), count


def _matern(scaled: FloatArray) -> FloatArray:
    """Return the correlation at scaled distances."""
    value: FloatArray = (1.0 + scaled) * np.exp(-scaled)
    return value


def standard_error_m(
    model: Variogram,
    place_m: FloatArray,
    variance_m2: FloatArray,
    at_m: FloatArray,
    not_with: tuple[IntArray, IntArray] | None = None,
) -> FloatArray:
    r"""
    Return the standard error of ordinary kriging at places.

    Parameters
    ----------
    model : Variogram
        Covariance of the bed.
    place_m : ndarray of float, shape (n, 2)
        Measurements [m].
    variance_m2 : ndarray of float, shape (n,)
        Variance of the error of each [m²].
    at_m : ndarray of float, shape (k, 2)
        Places [m].
    not_with : tuple of ndarray of int, shapes (n,) and (k,), or None
        Parts of the survey: a measurement of a place's own part is not asked.

    Returns
    -------
    ndarray of float, shape (k,)
        One standard deviation of the bed, its nugget in it [m].

    Notes
    -----
    With covariances C between the 24 nearest measurements, c to the place, and their errors on
    the diagonal [1]_:

    .. math:: \sigma^2 = s - c^T C^{-1} c + (1 - 1^T C^{-1} c)^2 / (1^T C^{-1} 1)

    References
    ----------
    .. [1] N. Cressie, *Statistics for Spatial Data*, revised edition, Wiley, 1993, section 3.2.
    """
    out = np.empty(len(at_m))
    groups = [(np.arange(len(place_m)), np.arange(len(at_m)))]
    if not_with is not None:
        groups = [
            (np.flatnonzero(not_with[0] != part), np.flatnonzero(not_with[1] == part))
            for part in np.unique(not_with[1])
        ]
    noise = variance_m2 + model.nugget_m2
    for asked, places in groups:
        known = np.ascontiguousarray(place_m[asked])
        count = min(_NEIGHBOURS, len(asked))
        for chunk in np.array_split(places, len(places) // 20_000 + 1):
            near = cKDTree(known).query(at_m[chunk], k=np.arange(1, count + 1))[1]
            out[chunk] = _errors(
                np.ascontiguousarray(at_m[chunk]),
                known,
                noise[asked],
                near.astype(np.int64),
                model.sill_m2,
                math.sqrt(3.0) / model.range_m,
            )
    return np.sqrt(out**2 + model.nugget_m2)


@numba.njit(cache=True)
def _errors(
    at: FloatArray,
    known: FloatArray,
    noise: FloatArray,
    near: IntArray,
    sill: float,
    per_m: float,
) -> FloatArray:
    """Return the kriging error of the smooth part at places, by Cholesky factors."""
    count = near.shape[1]
    out = np.empty(len(at))
    low = np.empty((count, count))
    ones, side = np.empty(count), np.empty(count)
    for p in range(len(at)):
        for i in range(count):
            a = near[p, i]
            scaled = per_m * math.hypot(at[p, 0] - known[a, 0], at[p, 1] - known[a, 1])
            side[i] = sill * (1.0 + scaled) * math.exp(-scaled)
            ones[i] = 1.0
            for j in range(i + 1):
                b = near[p, j]
                scaled = per_m * math.hypot(known[a, 0] - known[b, 0], known[a, 1] - known[b, 1])
                value = sill * (1.0 + scaled) * math.exp(-scaled)
                if i == j:
                    value += noise[a] + 1e-9 * sill + 1e-12
                for k in range(j):
                    value -= low[i, k] * low[j, k]
                if i == j:
                    low[i, i] = math.sqrt(max(value, 1e-12))
                else:
                    low[i, j] = value / low[j, j]
            for k in range(i):
                side[i] -= low[i, k] * side[k]
                ones[i] -= low[i, k] * ones[k]
            side[i] /= low[i, i]
            ones[i] /= low[i, i]
        explained, mean, total = 0.0, 0.0, 0.0
        for i in range(count):
            explained += side[i] * side[i]
            mean += ones[i] * side[i]
            total += ones[i] * ones[i]
        out[p] = math.sqrt(max(sill - explained, 0.0) + (1.0 - mean) ** 2 / total)
    return out
