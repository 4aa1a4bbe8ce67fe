"""
What soundings say of the bed between them by local ordinary kriging, and how uncertain it is.

Mostly the standard error is asked for; the value serves where soundings correct a raster.
"""

import math
from dataclasses import dataclass
from typing import Any

import numba
import numpy as np
from scipy.optimize import nnls
from scipy.spatial import cKDTree

from geoplan.compiled import inner
from geoplan.water import FloatArray, IntArray

#: Measurements round a place that are asked. More change a standard error by a percent.
_NEIGHBOURS = 24
#: Measurements from which the variogram is taken, at most.
_MOST_FOR_VARIOGRAM = 1500
#: Measurements between all of which covariances are found at once, at most.
_MOST_PAIRED = 2000
#: Places that are done side by side.
_ABREAST = 8
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
    """
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
    """
    value_m = np.zeros(len(place_m))
    return kriged(model, place_m, (value_m, variance_m2), at_m, not_with)[1]


def one_sided_scale(misfit: FloatArray) -> float:
    """
    Return by how much a standard error must grow for what was left out to hold.

    Parameters
    ----------
    misfit : ndarray of float, shape (n,)
        How much higher left-out measurements lie than predicted, in standard errors [1].

    Returns
    -------
    float
        The larger of the 95th percentile over 1.645 and the 99th over 2.326, which are those of a
        normal distribution; 1 at least [1].

    Examples
    --------
    >>> round(one_sided_scale(np.linspace(-4.0, 4.0, 1001)), 2)
    2.19
    """
    shares = zip((0.95, 0.99), (1.645, 2.326), strict=True)
    return max(1.0, *(float(np.quantile(misfit, share)) / sigmas for share, sigmas in shares))


def kriged(
    model: Variogram,
    place_m: FloatArray,
    measured: tuple[FloatArray, FloatArray],
    at_m: FloatArray,
    not_with: tuple[IntArray, IntArray] | None = None,
) -> tuple[FloatArray, FloatArray]:
    r"""
    Return the value and the standard error of ordinary kriging at places.

    Parameters
    ----------
    model : Variogram
        Covariance of the bed.
    place_m : ndarray of float, shape (n, 2)
        Measurements [m].
    measured : tuple of ndarray of float, shapes (n,)
        Value of each [m] and variance of its error [m²].
    at_m : ndarray of float, shape (k, 2)
        Places [m].
    not_with : tuple of ndarray of int, shapes (n,) and (k,), or None
        Parts of the survey: a measurement of a place's own part is not asked.

    Returns
    -------
    ndarray of float, shape (k,)
        Best linear unbiased value [m].
    ndarray of float, shape (k,)
        One standard deviation of it, the nugget of the bed in it [m].

    Notes
    -----
    With covariances C between the 24 nearest measurements, c to the place, and their errors on
    the diagonal [1]_:

    .. math::

        \hat z = (c + 1 \mu)^T C^{-1} z, \quad
        \mu = (1 - 1^T C^{-1} c) / (1^T C^{-1} 1), \quad
        \sigma^2 = s - c^T C^{-1} c + \mu^2 \, 1^T C^{-1} 1

    References
    ----------
    .. [1] N. Cressie, *Statistics for Spatial Data*, revised edition, Wiley, 1993, section 3.2.

    Examples
    --------
    >>> model = Variogram(sill_m2=0.04, nugget_m2=0.0, range_m=5.0)
    >>> place, at = np.array([[0.0, 0.0], [4.0, 0.0]]), np.array([[2.0, 0.0]])
    >>> measured = np.array([1.0, 2.0]), np.zeros(2)
    >>> kriged(model, place, measured, at)[0].round(6).tolist()
    [1.5]
    """
    value, out = np.empty(len(at_m)), np.empty(len(at_m))
    groups = [(np.arange(len(place_m)), np.arange(len(at_m)))]
    if not_with is not None:
        groups = [
            (np.flatnonzero(not_with[0] != part), np.flatnonzero(not_with[1] == part))
            for part in np.unique(not_with[1])
        ]
    noise = measured[1] + model.nugget_m2
    smooth = (model.sill_m2, math.sqrt(3.0) / model.range_m)
    known = np.ascontiguousarray(place_m)
    # Most pairs are asked for by many places.
    between = _between(known if len(known) <= _MOST_PAIRED else known[:0], smooth)
    for asked, places in groups:
        count = min(_NEIGHBOURS, len(asked))
        tree = cKDTree(known[asked])
        for chunk in np.array_split(places, len(places) // 20_000 + 1):
            near = asked[tree.query(at_m[chunk], k=np.arange(1, count + 1))[1]]
            value[chunk], out[chunk] = _kriged(
                np.ascontiguousarray(at_m[chunk]),
                known,
                np.ascontiguousarray(measured[0]),
                noise,
                near.astype(np.int64),
                between,
                smooth,
            )
    return value, np.sqrt(out**2 + model.nugget_m2)


@inner
def _covariance(east_m: float, north_m: float, smooth: Any) -> float:
    """Return the covariance of the smooth part between places that lie so far apart."""
    scaled = smooth[1] * math.sqrt(east_m**2 + north_m**2)
    return float(smooth[0] * (1.0 + scaled) * math.exp(-scaled))


@numba.njit(cache=True)
def _between(known: FloatArray, smooth: Any) -> FloatArray:
    """Return the covariances of the smooth part between all places."""
    out = np.empty((len(known), len(known)))
    for i in range(len(known)):
        for j in range(i + 1):
            east, north = known[i, 0] - known[j, 0], known[i, 1] - known[j, 1]
            out[i, j] = out[j, i] = _covariance(east, north, smooth)
    return out


@numba.njit(cache=True)
def _kriged(
    at: FloatArray,
    known: FloatArray,
    measured: FloatArray,
    noise: FloatArray,
    near: IntArray,
    between: FloatArray,
    smooth: tuple[float, float],
) -> tuple[FloatArray, FloatArray]:
    """
    Return value and kriging error of the smooth part at places, by Cholesky factors.

    Some places are done side by side, as a processor does several numbers at once. Covariances
    between measurements are looked up where they are known.
    """
    sill, count = smooth[0], near.shape[1]
    value, out = np.empty(len(at)), np.empty(len(at))
    # Below the covariances stand three right-hand sides: covariance to the place, ones, and what
    # was measured.
    rows, column = np.empty((count + 3, count, _ABREAST)), np.empty((count, _ABREAST))
    for first in range(0, len(at), _ABREAST):
        for k in range(_ABREAST):
            p = min(first + k, len(at) - 1)
            for i in range(count):
                a = near[p, i]
                for j in range(i + 1):
                    b = near[p, j]
                    if len(between) > 0:
                        rows[i, j, k] = between[a, b]
                    else:
                        rows[i, j, k] = _covariance(
                            known[a, 0] - known[b, 0], known[a, 1] - known[b, 1], smooth
                        )
                rows[i, i, k] += noise[a] + 1e-9 * sill + 1e-12
                rows[count, i, k] = _covariance(
                    at[p, 0] - known[a, 0], at[p, 1] - known[a, 1], smooth
                )
                rows[count + 1, i, k], rows[count + 2, i, k] = 1.0, measured[a]
        _eliminate(rows, column)
        for k in range(min(_ABREAST, len(at) - first)):
            value[first + k], out[first + k] = _solved(rows[count:, :, k], sill)
    return value, out


@inner
def _solved(side: FloatArray, sill: float) -> Any:
    """Return value and error from the right-hand sides after elimination."""
    total = (side[1] * side[1]).sum()
    shift = (1.0 - (side[0] * side[1]).sum()) / total
    explained = (side[0] * side[0]).sum()
    error = math.sqrt(max(sill - explained, 0.0) + shift**2 * total)
    return ((side[0] + shift * side[1]) * side[2]).sum(), error


@inner
def _eliminate(rows: FloatArray, column: FloatArray) -> None:
    """
    Factor matrices side by side, and solve for the right-hand sides below them, in place.

    Columns are eliminated one after the other.
    """
    more, count, _ = rows.shape
    for k in range(count):
        for lane in range(_ABREAST):
            column[k, lane] = math.sqrt(max(rows[k, k, lane], 1e-12))
        for i in range(k + 1, more):
            for lane in range(_ABREAST):
                rows[i, k, lane] /= column[k, lane]
        for j in range(k + 1, count):
            for lane in range(_ABREAST):
                column[j, lane] = rows[j, k, lane]
        for i in range(k + 1, more):
            for j in range(k + 1, min(i + 1, count)):
                for lane in range(_ABREAST):
                    rows[i, j, lane] -= rows[i, k, lane] * column[j, lane]
