"""
A point set out by two tapes from marks on the bank, and how far it may be off.

It sees arrays only. That the ground between mark and point can be taped is not known here.
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from geoplan.site import FloatArray

#: Tapes that cross flatter than this leave a point that slides along them; judgement [°].
LEAST_CROSSING_DEG = 30.0
#: Half axes that hold 95 % of a plane normal distribution, in standard deviations: the root of
#: −2 ln 0.05 [1].
P95_SIGMAS = float(np.sqrt(-2.0 * np.log(0.05)))


@dataclass(frozen=True)
class TapeLimits:
    """
    What tapes can do.

    Attributes
    ----------
    sigma_m : float
        One standard deviation of a tape's reading, that of its mark in it [m].
    longest_m : float
        Longest tape that is stretched over water [m].
    """

    sigma_m: float
    longest_m: float


@dataclass(frozen=True)
class TapeFix:
    """
    The two tapes of a point.

    Attributes
    ----------
    marks : tuple of int
        Indices of the two marks, in rising order.
    tapes_m : tuple of float
        Distance from each [m].
    crossing_deg : float
        Angle at which the tapes cross, 0 to 90 [°].
    error_major_m, error_minor_m : float
        Half axes of the ellipse in which the point lies with 95 % [m].
    error_axis_deg : float
        Long axis of the ellipse, clockwise from grid north, 0 to 180 [°].
    """

    marks: tuple[int, int]
    tapes_m: tuple[float, float]
    crossing_deg: float
    error_major_m: float
    error_minor_m: float
    error_axis_deg: float


def error_ellipse(ways_m: FloatArray, sigma_m: float) -> tuple[float, float, float]:
    """
    Return the ellipse in which a point taped from two marks lies with 95 %.

    Parameters
    ----------
    ways_m : ndarray of float, shape (2, 2)
        East and north from the point to each mark [m].
    sigma_m : float
        One standard deviation of either tape [m].

    Returns
    -------
    major_m : float
        Long half axis [m].
    minor_m : float
        Short half axis [m].
    axis_deg : float
        Long axis, clockwise from grid north, 0 to 180 [°].

    Notes
    -----
    With unit vectors u₁, u₂ along the tapes the covariance of the point is σ²(AᵀA)⁻¹, A = (u₁, u₂).
    Its principal deviations are σ/√(1 ∓ |cos γ|) for tapes that cross at γ: the point slides along
    the tapes where they lie nearly in line.

    Examples
    --------
    >>> major, minor, _ = error_ellipse(np.array([[9.0, 0.0], [0.0, 7.0]]), 0.05)
    >>> round(major, 6) == round(minor, 6) == round(0.05 * P95_SIGMAS, 6)
    True
    """
    units = ways_m / np.hypot(ways_m[:, 0], ways_m[:, 1])[:, None]
    weight, direction = np.linalg.eigh(units.T @ units)
    half = P95_SIGMAS * sigma_m / np.sqrt(np.maximum(weight, 1e-12))
    axis_deg = float(np.degrees(np.arctan2(direction[0, 0], direction[1, 0])) % 180.0)
    return float(half[0]), float(half[1]), axis_deg


def best_fix(point_m: FloatArray, marks_m: FloatArray, limits: TapeLimits) -> TapeFix | None:
    """
    Return the two marks whose tapes fix a point best.

    Parameters
    ----------
    point_m : ndarray of float, shape (2,)
        Easting and northing of the point [m].
    marks_m : ndarray of float, shape (n, 2)
        Eastings and northings of the marks [m].
    limits : TapeLimits
        What tapes can do.

    Returns
    -------
    TapeFix or None
        The pair with the smallest ellipse, by its long axis; of equal ones the shorter tapes.
        ``None`` where no two tapes are short enough and cross between 30° and 150°.

    Examples
    --------
    >>> marks = np.array([[9.0, 0.0], [9.0, 1.0], [0.0, 9.0]])
    >>> best_fix(np.array([0.0, 0.0]), marks, TapeLimits(0.05, 50.0)).marks
    (0, 2)
    """
    ways = marks_m - point_m
    tapes = np.hypot(ways[:, 0], ways[:, 1])
    near = np.flatnonzero((tapes > 0) & (tapes <= limits.longest_m))
    one, other = np.array(list(combinations(near, 2)), np.int64).reshape(-1, 2).T
    cosine = np.abs((ways[one] * ways[other]).sum(axis=1)) / (tapes[one] * tapes[other])
    crossing = cosine <= np.cos(np.radians(LEAST_CROSSING_DEG))
    if not crossing.any():
        return None
    one, other, cosine = one[crossing], other[crossing], cosine[crossing]
    best = np.lexsort((other, one, tapes[one] + tapes[other], cosine.round(6)))[0]
    pair = int(one[best]), int(other[best])
    major_m, minor_m, axis_deg = error_ellipse(ways[list(pair)], limits.sigma_m)
    return TapeFix(
        marks=pair,
        tapes_m=(float(tapes[pair[0]]), float(tapes[pair[1]])),
        crossing_deg=float(np.degrees(np.arccos(min(1.0, cosine[best])))),
        error_major_m=major_m,
        error_minor_m=minor_m,
        error_axis_deg=axis_deg,
    )
