"""
Wind on the water: fetch, waves and set-up.

Two published methods stand side by side, each with the fetch it was made for; the larger wave is
used. Neither was calibrated below about 100 m of fetch, nor does either know other rafts.
"""

import math
from dataclasses import dataclass
from typing import Any

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

#: Directions of a rose, 3° apart: the radials of the Shore Protection Manual lie among them.
ROSE_COUNT = 120
#: Acceleration of gravity as the manuals compute with [m/s²].
GRAVITY_M_S2 = 9.81
#: Fetch below which neither method was calibrated [m]. Judgement.
LEAST_CALIBRATED_FETCH_M = 100.0
#: Radials of the Shore Protection Manual's fetch, about the wind's direction [°].
_SPM_RADIALS_DEG = np.arange(-12.0, 12.1, 3.0)
#: Radials of Saville's effective fetch [°].
_SAVILLE_RADIALS_DEG = np.arange(-42.0, 42.1, 6.0)


@dataclass(frozen=True)
class Waves:
    """
    Waves that a wind raises.

    Attributes
    ----------
    height_m : float
        Significant height [m].
    period_s : float
        Peak period [s].
    duration_s : float
        Least time the wind must blow for the fetch to be the limit; NaN where not given [s].
    """

    height_m: float
    period_s: float
    duration_s: float


@dataclass(frozen=True, eq=False)
class WaveRose:
    """
    Waves at places by the direction of the wind, by two methods.

    Attributes
    ----------
    spm_fetch_m, cem_fetch_m : ndarray of float, shape (n, ROSE_COUNT)
        Mean of nine radials, and straight upwind [m].
    spm_height_m, cem_height_m : ndarray of float, shape (n, ROSE_COUNT)
        Significant height [m].
    spm_period_s, cem_period_s : ndarray of float, shape (n, ROSE_COUNT)
        Peak period [s].
    setup_m : ndarray of float, shape (n, ROSE_COUNT)
        Rise of the water over the straight fetch [m].
    """

    spm_fetch_m: FloatArray
    cem_fetch_m: FloatArray
    spm_height_m: FloatArray
    cem_height_m: FloatArray
    spm_period_s: FloatArray
    cem_period_s: FloatArray
    setup_m: FloatArray

    @property
    def height_m(self) -> FloatArray:
        """Return the larger of both heights, shape (n, ROSE_COUNT) [m]."""
        return np.maximum(self.spm_height_m, self.cem_height_m)


def fetch_m(
    easting_m: FloatArray, northing_m: FloatArray, shore_m: FloatArray, from_deg: ArrayLike
) -> FloatArray:
    """
    Return the open water upwind of places.

    Parameters
    ----------
    easting_m, northing_m : ndarray of float, shape (n,)
        Places on the water [m].
    shore_m : ndarray of float, shape (m, 4)
        Pieces of the water's edge, islands too: easting and northing of both ends [m].
    from_deg : array_like of float, shape (k,)
        Directions from which the wind blows, clockwise from north [°].

    Returns
    -------
    ndarray of float, shape (n, k)
        Distance to the first shore upwind; infinite where there is none [m].
    """
    azimuth = np.radians(np.atleast_1d(np.asarray(from_deg, float)))
    out: FloatArray = _first_shore(
        np.asarray(easting_m, float),
        np.asarray(northing_m, float),
        np.ascontiguousarray(shore_m, float),
        azimuth,
    )
    return out


@numba.njit(cache=True)
def _first_shore(
    easting: FloatArray, northing: FloatArray, shore: FloatArray, azimuth: FloatArray
) -> Any:
    """Return the distance along each ray to the first piece of shore."""
    out = np.full((len(easting), len(azimuth)), np.inf)
    for i in range(len(easting)):
        for j in range(len(azimuth)):
            sin, cos = math.sin(azimuth[j]), math.cos(azimuth[j])
            for k in range(len(shore)):
                ax, ay = shore[k, 0] - easting[i], shore[k, 1] - northing[i]
                ex, ey = shore[k, 2] - shore[k, 0], shore[k, 3] - shore[k, 1]
                across = sin * ey - cos * ex
                if across == 0.0:
                    continue
                along = (ax * cos - ay * sin) / across
                reach = (ax * ey - ay * ex) / across
                if 0.0 <= along <= 1.0 and 0.0 <= reach < out[i, j]:
                    out[i, j] = reach
    return out


def fetch_rose_m(
    easting_m: FloatArray, northing_m: FloatArray, shore_m: FloatArray, count: int = ROSE_COUNT
) -> FloatArray:
    """
    Return the open water upwind of places in evenly spread directions.

    Parameters
    ----------
    easting_m, northing_m : ndarray of float, shape (n,)
        Places on the water [m].
    shore_m : ndarray of float, shape (m, 4)
        Pieces of the water's edge, islands too: easting and northing of both ends [m].
    count : int
        Directions, the first from north, clockwise.

    Returns
    -------
    ndarray of float, shape (n, count)
        Distance to the first shore upwind; infinite where there is none [m].

    Notes
    -----
    As ``fetch_m``; but each piece of shore is held only against the rays that it can meet, so the
    time does not grow with the number of directions.
    """
    out: FloatArray = _shore_by_sector(
        np.ascontiguousarray(easting_m, float),
        np.ascontiguousarray(northing_m, float),
        np.ascontiguousarray(shore_m, float),
        count,
    )
    return out


@numba.njit(cache=True)
def _shore_by_sector(
    easting: FloatArray, northing: FloatArray, shore: FloatArray, count: int
) -> Any:
    """Return the distance along evenly spread rays to the first piece of shore."""
    out = np.full((len(easting), count), np.inf)
    width = 2 * math.pi / count
    for i in range(len(easting)):
        for k in range(len(shore)):
            ax, ay = shore[k, 0] - easting[i], shore[k, 1] - northing[i]
            bx, by = shore[k, 2] - easting[i], shore[k, 3] - northing[i]
            first = math.atan2(ax, ay)
            turn = math.atan2(bx, by) - first
            turn -= 2 * math.pi * round(turn / (2 * math.pi))
            if turn < 0:
                first, turn = first + turn, -turn
            area = ax * by - ay * bx
            # A ray through a vertex must meet one of its two pieces, whatever the rounding.
            begin = math.ceil(first / width - 1e-9)
            for j in range(begin, math.floor((first + turn) / width + 1e-9) + 1):
                across = math.sin(j * width) * (by - ay) - math.cos(j * width) * (bx - ax)
                if across != 0.0 and area / across >= 0.0:
                    out[i, j % count] = min(out[i, j % count], area / across)
    return out


def depth_along_m(
    easting_m: FloatArray,
    northing_m: FloatArray,
    fetch_m: FloatArray,
    depth_m: FloatArray,
    corner_m: tuple[float, float, float],
) -> FloatArray:
    """
    Return the mean depth along each ray of a rose.

    Parameters
    ----------
    easting_m, northing_m : ndarray of float, shape (n,)
        Places on the water [m].
    fetch_m : ndarray of float, shape (n, count)
        Length of each ray; evenly spread, the first to the north, clockwise [m].
    depth_m : ndarray of float, shape (rows, cols)
        Depth of each cell, NaN where there is no water or nothing is known [m].
    corner_m : tuple of float
        Easting and northing of the lower left corner of the grid, and the cells' side [m].

    Returns
    -------
    ndarray of float, shape (n, count)
        Mean over points half a cell apart; cells that are not known are left out, and NaN where
        none is [m].
    """
    out: FloatArray = _mean_along(
        np.asarray(easting_m, float) - corner_m[0],
        np.asarray(northing_m, float) - corner_m[1],
        fetch_m,
        np.ascontiguousarray(depth_m, float),
        corner_m[2],
    )
    return out


@numba.njit(cache=True)
def _mean_along(
    east: FloatArray, north: FloatArray, fetch: FloatArray, depth: FloatArray, cell: float
) -> Any:
    """Return the mean of known cells along rays."""
    count = fetch.shape[1]
    out = np.full(fetch.shape, np.nan)
    for i in range(len(east)):
        for j in range(count):
            sin, cos = math.sin(j * 2 * math.pi / count), math.cos(j * 2 * math.pi / count)
            total, known = 0.0, 0
            for k in range(int(fetch[i, j] / (0.5 * cell)) + 1):
                row = math.floor((north[i] + 0.5 * k * cell * cos) / cell)
                col = math.floor((east[i] + 0.5 * k * cell * sin) / cell)
                if not (0 <= row < depth.shape[0] and 0 <= col < depth.shape[1]):
                    break
                if not math.isnan(depth[row, col]):
                    total += depth[row, col]
                    known += 1
            if known > 0:
                out[i, j] = total / known
    return out


def wave_rose(wind_m_s: float, fetch_m: FloatArray, depth_m: FloatArray) -> WaveRose:
    """
    Return waves and set-up at places for wind from each direction.

    Parameters
    ----------
    wind_m_s : float
        Wind at 10 m [m/s].
    fetch_m : ndarray of float, shape (n, ROSE_COUNT)
        Open water in evenly spread directions, from ``fetch_rose_m`` [m].
    depth_m : ndarray of float, shape (n, ROSE_COUNT)
        Mean depth along each; where it is not known, deep water is taken for the waves, and no
        set-up is given [m].

    Returns
    -------
    WaveRose
        Both methods, each with its own fetch.

    Raises
    ------
    ValueError
        If the wind, a fetch or a depth is not positive, or the rose is not of ROSE_COUNT rays.

    Notes
    -----
    Waves of the Shore Protection Manual in its form for shallow water, with the mean depth along
    the straight fetch; those of the Coastal Engineering Manual in deep water.
    """
    if fetch_m.shape[1] != ROSE_COUNT:
        raise ValueError(f"a rose has {ROSE_COUNT} rays, not {fetch_m.shape[1]}")
    _require_positive(
        wind_m_s=wind_m_s,
        fetch_m=float(fetch_m.min(initial=math.inf)),
        depth_m=float(np.nan_to_num(depth_m, nan=math.inf).min(initial=math.inf)),
    )
    half = len(_SPM_RADIALS_DEG) // 2
    mean = np.mean([np.roll(fetch_m, step, axis=1) for step in range(-half, half + 1)], axis=0)
    deep = np.nan_to_num(depth_m, nan=1e6)
    spm_height, spm_period = _spm_shallow(wind_m_s, mean, deep)
    cem_height, cem_period = _cem(wind_m_s, fetch_m)
    setup = np.where(np.isnan(depth_m), math.nan, _zuider_zee(wind_m_s, fetch_m, deep))
    return WaveRose(mean, fetch_m, spm_height, cem_height, spm_period, cem_period, setup)


def _spm_shallow(wind_m_s: float, fetch_m: Any, depth_m: Any) -> tuple[Any, Any]:
    """Return height and period by SPM 1984, eqs 3-39 and 3-40."""
    stress = 0.71 * wind_m_s**1.23
    x, d = GRAVITY_M_S2 * fetch_m / stress**2, GRAVITY_M_S2 * depth_m / stress**2
    shoal, slow = np.tanh(0.530 * d**0.75), np.tanh(0.833 * d**0.375)
    height = 0.283 * shoal * np.tanh(0.00565 * x**0.5 / shoal)
    period = 7.54 * slow * np.tanh(0.0379 * x ** (1 / 3) / slow)
    return height * stress**2 / GRAVITY_M_S2, period * stress / GRAVITY_M_S2


def _cem(wind_m_s: float, fetch_m: Any) -> tuple[Any, Any]:
    """Return height and period by CEM 2002, eqs II-2-36 to II-2-38."""
    friction = math.sqrt(0.001 * (1.1 + 0.035 * wind_m_s)) * wind_m_s
    x = GRAVITY_M_S2 * fetch_m / friction**2
    height = 0.0413 * x**0.5 * friction**2 / GRAVITY_M_S2
    return height, 0.651 * x ** (1 / 3) * friction / GRAVITY_M_S2


def _zuider_zee(wind_m_s: float, fetch_m: Any, depth_m: Any) -> Any:
    """Return the set-up by the Zuider Zee formula."""
    return (3.6 * wind_m_s) ** 2 * (fetch_m / 1000.0) / (62_000.0 * depth_m)


def spm_fetch_m(
    easting_m: FloatArray, northing_m: FloatArray, shore_m: FloatArray, from_deg: float
) -> FloatArray:
    """
    Return the fetch of the Shore Protection Manual 1984: the mean of nine radials 3° apart.

    Parameters
    ----------
    easting_m, northing_m : ndarray of float, shape (n,)
        Places on the water [m].
    shore_m : ndarray of float, shape (m, 4)
        Pieces of the water's edge [m].
    from_deg : float
        Direction from which the wind blows [°].

    Returns
    -------
    ndarray of float, shape (n,)
        Fetch [m].
    """
    rays = fetch_m(easting_m, northing_m, shore_m, from_deg + _SPM_RADIALS_DEG)
    mean: FloatArray = rays.mean(axis=1)
    return mean


def saville_fetch_m(
    easting_m: FloatArray, northing_m: FloatArray, shore_m: FloatArray, from_deg: float
) -> FloatArray:
    """
    Return Saville's effective fetch; for comparison only, no wave formula here is made for it.

    Parameters
    ----------
    easting_m, northing_m : ndarray of float, shape (n,)
        Places on the water [m].
    shore_m : ndarray of float, shape (m, 4)
        Pieces of the water's edge [m].
    from_deg : float
        Direction from which the wind blows [°].

    Returns
    -------
    ndarray of float, shape (n,)
        Projected radials weighted by their cosines, 15 of them to 42° [m].
    """
    cos = np.cos(np.radians(_SAVILLE_RADIALS_DEG))
    rays = fetch_m(easting_m, northing_m, shore_m, from_deg + _SAVILLE_RADIALS_DEG)
    out: FloatArray = (rays * cos**2).sum(axis=1) / cos.sum()
    return out


def spm_waves(wind_m_s: float, fetch_m: float, depth_m: float = math.inf) -> Waves:
    r"""
    Return waves by the Shore Protection Manual 1984, with its own fetch.

    Parameters
    ----------
    wind_m_s : float
        Wind at 10 m [m/s].
    fetch_m : float
        Mean of nine radials [m].
    depth_m : float
        Mean depth along the fetch; infinite for the deep-water form [m].

    Returns
    -------
    Waves
        Height, period and least duration.

    Raises
    ------
    ValueError
        If wind, fetch or depth is not positive.

    Notes
    -----
    .. math:: U_A = 0.71 U^{1.23}, \quad
        \frac{gH}{U_A^2} = 0.283 \tanh(0.53 D^{3/4})
        \tanh\frac{0.00565 X^{1/2}}{\tanh(0.53 D^{3/4})}

    with X = gF/U_A² and D = gd/U_A²; the deep form is 0.0016 X^{1/2} [1]_.

    References
    ----------
    .. [1] U.S. Army Corps of Engineers, *Shore Protection Manual*, 1984, eqs 3-28, 3-33 to 3-40
       (as transcribed by third parties).
    """
    _require_positive(wind_m_s=wind_m_s, fetch_m=fetch_m, depth_m=depth_m)
    stress = 0.71 * wind_m_s**1.23
    x = GRAVITY_M_S2 * fetch_m / stress**2
    duration_s = 68.8 * x ** (2 / 3) * stress / GRAVITY_M_S2
    if math.isinf(depth_m):
        height, period = 0.0016 * x**0.5, 0.2857 * x ** (1 / 3)
        return Waves(height * stress**2 / GRAVITY_M_S2, period * stress / GRAVITY_M_S2, duration_s)
    height, period = _spm_shallow(wind_m_s, fetch_m, depth_m)
    return Waves(float(height), float(period), duration_s)


def cem_waves(wind_m_s: float, fetch_m: float) -> Waves:
    r"""
    Return waves by the Coastal Engineering Manual, with the straight fetch.

    Parameters
    ----------
    wind_m_s : float
        Wind at 10 m [m/s].
    fetch_m : float
        Distance to the shore straight upwind [m].

    Returns
    -------
    Waves
        Height, peak period and least duration.

    Raises
    ------
    ValueError
        If wind or fetch is not positive.

    Notes
    -----
    .. math:: u_*^2 = 0.001 (1.1 + 0.035 U) U^2, \quad
        \frac{gH}{u_*^2} = 0.0413 \Bigl(\frac{gX}{u_*^2}\Bigr)^{1/2}

    Deep water [1]_.

    References
    ----------
    .. [1] U.S. Army Corps of Engineers, *Coastal Engineering Manual* EM 1110-2-1100, 2002,
       eqs II-2-36 to II-2-38 (height as transcribed by third parties, the rest recalled).
    """
    _require_positive(wind_m_s=wind_m_s, fetch_m=fetch_m)
    height, period = _cem(wind_m_s, fetch_m)
    return Waves(
        float(height),
        float(period),
        77.23 * fetch_m**0.67 / (wind_m_s**0.34 * GRAVITY_M_S2**0.33),
    )


def setup_m(wind_m_s: float, fetch_m: float, depth_m: float) -> float:
    """
    Return by how much a wind raises the water at the lee shore.

    Parameters
    ----------
    wind_m_s : float
        Wind at 10 m [m/s].
    fetch_m : float
        Length of open water along the wind [m].
    depth_m : float
        Mean depth along it [m].

    Returns
    -------
    float
        Set-up [m].

    Raises
    ------
    ValueError
        If wind, fetch or depth is not positive.

    Notes
    -----
    The Zuider Zee formula, U² F/(62 000 d) with U in km/h and F in km [1]_.

    References
    ----------
    .. [1] P. Novak et al., *Hydraulic Structures*, eq. 4.9.

    Examples
    --------
    >>> round(setup_m(20.0, 500.0, 1.5), 4)
    0.0279
    """
    _require_positive(wind_m_s=wind_m_s, fetch_m=fetch_m, depth_m=depth_m)
    return float(_zuider_zee(wind_m_s, fetch_m, depth_m))


def _require_positive(**values: float) -> None:
    """Refuse what no formula here is made for."""
    for name, value in values.items():
        if not value > 0:
            raise ValueError(f"{name} must be positive, not {value}")
