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
    else:
        d = GRAVITY_M_S2 * depth_m / stress**2
        shoal = math.tanh(0.530 * d**0.75)
        height = 0.283 * shoal * math.tanh(0.00565 * x**0.5 / shoal)
        slow = math.tanh(0.833 * d**0.375)
        period = 7.54 * slow * math.tanh(0.0379 * x ** (1 / 3) / slow)
    return Waves(height * stress**2 / GRAVITY_M_S2, period * stress / GRAVITY_M_S2, duration_s)


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
    friction = math.sqrt(0.001 * (1.1 + 0.035 * wind_m_s)) * wind_m_s
    x = GRAVITY_M_S2 * fetch_m / friction**2
    return Waves(
        0.0413 * x**0.5 * friction**2 / GRAVITY_M_S2,
        0.651 * x ** (1 / 3) * friction / GRAVITY_M_S2,
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
    return (3.6 * wind_m_s) ** 2 * (fetch_m / 1000.0) / (62_000.0 * depth_m)


def _require_positive(**values: float) -> None:
    """Refuse what no formula here is made for."""
    for name, value in values.items():
        if not value > 0:
            raise ValueError(f"{name} must be positive, not {value}")
