"""
Lines to anchors: taut limits, catenaries, dead weights.

Arrays and numbers only. Watch circles are largest when the water is low; lines must be long enough
for high water, or they pull the raft under.
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

GRAVITY_M_S2 = 9.80665
WATER_KG_M3 = 1000.0


def watch_radius_m(length_m: ArrayLike, depth_m: ArrayLike) -> FloatArray:
    """
    Return how far from above its anchor a taut line reaches at the surface.

    Parameters
    ----------
    length_m : array_like of float
        Length of the line, stretch included [m].
    depth_m : array_like of float
        Water over the anchor [m].

    Returns
    -------
    ndarray of float
        Radius sqrt(L² − h²); any sag only shortens it [m].

    Raises
    ------
    ValueError
        If a line is shorter than the water is deep: it would pull the raft under.

    Examples
    --------
    >>> watch_radius_m(6.0, [1.0, 2.0, 3.0]).round(3).tolist()
    [5.916, 5.657, 5.196]
    """
    length, depth = np.asarray(length_m, float), np.asarray(depth_m, float)
    if not (length >= depth).all():
        raise ValueError("a line is shorter than the water is deep: it pulls the raft under")
    radius: FloatArray = np.sqrt((length - depth) * (length + depth))
    return radius


def catenary(pull_n: float, weight_n_m: float, depth_m: float) -> tuple[float, float, float]:
    """
    Return the part of a heavy line that hangs free above a bed on which the rest lies.

    Parameters
    ----------
    pull_n : float
        Horizontal pull [N].
    weight_n_m : float
        Weight of the line under water [N/m].
    depth_m : float
        From the bed to the fairlead [m].

    Returns
    -------
    tuple of float
        Hanging length [m], its horizontal extent [m], tension at the fairlead [N].

    Notes
    -----
    With a = H/w: s = sqrt(h² + 2ah), x = a acosh(1 + h/a), T = H + wh.

    Examples
    --------
    >>> [round(value, 4) for value in catenary(500.0, 20.0, 3.0)]
    [12.6095, 12.1282, 560.0]
    """
    scale = pull_n / weight_n_m
    hanging = math.sqrt(depth_m**2 + 2.0 * scale * depth_m)
    return hanging, scale * math.acosh(1.0 + depth_m / scale), pull_n + weight_n_m * depth_m


def line_angle_deg(scope: float) -> float:
    """
    Return the angle of a straight line to the bed.

    Parameters
    ----------
    scope : float
        Length over depth [1].

    Returns
    -------
    float
        Angle asin(1 / scope) [°].

    Examples
    --------
    >>> round(line_angle_deg(5.0), 2)
    11.54
    """
    return math.degrees(math.asin(1.0 / scope))


def dead_weight_kg(
    pull_n: float, lift_n: float, friction: float, safety: float, density_kg_m3: float
) -> float:
    """
    Return the mass of a block that neither slides nor lifts.

    Parameters
    ----------
    pull_n, lift_n : float
        Horizontal and upward parts of the line's pull [N].
    friction : float
        Between block and bed [1].
    safety : float
        Factor on the pull [1].
    density_kg_m3 : float
        Of the block [kg/m³].

    Returns
    -------
    float
        In air; under water it weighs less by what it displaces [kg].

    Examples
    --------
    >>> round(dead_weight_kg(400.0, 300.0, 0.5, 1.0, 2000.0), 1)
    224.3
    """
    under_water_n = safety * (pull_n / friction + lift_n)
    return under_water_n / GRAVITY_M_S2 * density_kg_m3 / (density_kg_m3 - WATER_KG_M3)


def line_places(
    length_m: float, width_m: float, reach_m: float, splay_deg: float
) -> tuple[FloatArray, FloatArray]:
    """
    Return fairleads and anchors of four lines, seen from the raft.

    Parameters
    ----------
    length_m, width_m : float
        Sides of the raft [m].
    reach_m : float
        From fairlead to above the anchor [m].
    splay_deg : float
        Turn of a line from square across the raft towards the nearer end [°].

    Returns
    -------
    ndarray of float, shape (4, 2)
        Fairleads at the corners, (ahead, to starboard) of the centre; the first is ahead and to
        starboard, the rest follow clockwise [m].
    ndarray of float, shape (4, 2)
        Anchors [m].

    Notes
    -----
    Lines lead from the corners and not from thirds of the sides: for some sides lines from the
    thirds would point at the centre and leave the raft free to turn.
    """
    signs = np.array([[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]])
    fairleads = signs * np.array([length_m / 2, width_m / 2])
    splay = math.radians(splay_deg)
    anchors = fairleads + signs * reach_m * np.array([math.sin(splay), math.cos(splay)])
    return fairleads, anchors


def placed(at_m: FloatArray, easting_m: float, northing_m: float, heading_deg: float) -> FloatArray:
    """
    Return places seen from a raft, on the plan.

    Parameters
    ----------
    at_m : ndarray of float, shape (n, 2)
        (Ahead, to starboard) of the centre [m].
    easting_m, northing_m : float
        Centre [m].
    heading_deg : float
        Long axis, clockwise from grid north [°].

    Returns
    -------
    ndarray of float, shape (n, 2)
        Easting and northing [m].
    """
    angle = math.radians(heading_deg)
    ahead, starboard = at_m[:, 0], at_m[:, 1]
    east = easting_m + ahead * math.sin(angle) + starboard * math.cos(angle)
    north = northing_m + ahead * math.cos(angle) - starboard * math.sin(angle)
    places: FloatArray = np.stack([east, north], axis=1)
    return places
