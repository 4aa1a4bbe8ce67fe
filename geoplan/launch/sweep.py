"""
The water that a raft sweeps on its way: a rectangle that is towed, turned and hauled.

Pieces are exact but for arcs, which are drawn outside the true ones by 0.14 % of their radius.
"""

import math
from typing import Any

import numpy as np
import shapely

from geoplan.raft import footprints
from geoplan.site import FloatArray

#: Largest step of an arc [rad].
_STEP = math.radians(6.0)
#: Shorter legs are no legs [m].
_ROUNDING_M = 1e-6


def tow_sweep(
    tow_m: FloatArray, size_m: tuple[float, float], heading_deg: float, turn_before_m: float
) -> Any:
    """
    Return the water that a raft sweeps from where towing begins to its place.

    Parameters
    ----------
    tow_m : ndarray of float, shape (n, 2)
        Way of the centre [m].
    size_m : tuple of float
        Length and width [m].
    heading_deg : float
        Long axis in its place, clockwise from grid north [°].
    turn_before_m : float
        Where it is turned to that heading: distance before the end, on the last leg [m].

    Returns
    -------
    ndarray of Polygon, shape (m,)
        Convex pieces: a strip for each leg, four sectors for each turn, and the last haul.

    Notes
    -----
    The raft is towed end-on along each leg and turned about its centre at each bend; from the last
    turn on it keeps its heading and is hauled sideways or on the skew. It is the same seen from
    either end, so no turn is over 90°. Where towing begins half of it lies behind the start.
    """
    points_m = _without_repeats(tow_m)
    length_m, width_m = size_m
    end = points_m[-1]
    final = math.radians(90.0 - heading_deg)
    if len(points_m) == 1:
        return np.array([_rectangle(end, size_m, heading_deg)], object)
    legs = np.diff(points_m, axis=0)
    reach = np.hypot(legs[:, 0], legs[:, 1])
    angle = np.arctan2(legs[:, 1], legs[:, 0])
    back_m = min(turn_before_m, float(reach[-1]))
    turn_at = end - legs[-1] / reach[-1] * back_m
    to = np.vstack([points_m[1:-1], turn_at])
    strips = _strips(points_m[:-1], to, angle, (length_m / 2, width_m / 2))
    places = np.vstack([points_m[1:-1], turn_at])
    sectors = _sectors(places, angle, np.append(angle[1:], final), size_m)
    haul = shapely.convex_hull(
        shapely.union(
            _rectangle(turn_at, size_m, heading_deg), _rectangle(end, size_m, heading_deg)
        )
    )
    return np.concatenate([strips, sectors, np.array([haul], object)])


def _without_repeats(tow_m: FloatArray) -> FloatArray:
    """Return a way without legs of no length; one point where it has none."""
    step_m = np.hypot(*np.diff(tow_m, axis=0).T)
    kept: FloatArray = tow_m[np.concatenate([[True], step_m > _ROUNDING_M])]
    return kept


def _rectangle(centre: FloatArray, size_m: tuple[float, float], heading_deg: float) -> Any:
    """Return the raft at a place."""
    return footprints(centre[0], centre[1], heading_deg, *size_m)[0]


def _strips(
    begin: FloatArray,
    to: FloatArray,
    angle: FloatArray,
    half_m: tuple[float, float],
) -> Any:
    """Return the strips of straight legs, half a raft beyond both ends."""
    along = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    across = np.stack([-along[:, 1], along[:, 0]], axis=1) * half_m[1]
    stern, bow = begin - along * half_m[0], to + along * half_m[0]
    return shapely.polygons(
        np.stack([stern - across, bow - across, bow + across, stern + across], axis=1)
    )


def _sectors(
    places: FloatArray, before: FloatArray, after: FloatArray, size_m: tuple[float, float]
) -> Any:
    """
    Return what the corners of a raft sweep as it turns about its centre.

    Together with the raft before and after the turn they are all that it sweeps: a point passed by
    the raft but under it neither before nor after is passed by the ray to one of the corners.
    """
    turn = (after - before + math.pi / 2) % math.pi - math.pi / 2
    count = max(1, math.ceil(float(np.abs(turn).max(initial=0.0)) / _STEP))
    share = np.linspace(0.0, 1.0, count + 1)
    corner = math.atan2(size_m[1], size_m[0])
    rays = np.array([corner, math.pi - corner, math.pi + corner, -corner])
    angle = before[:, None, None] + rays[:, None] + turn[:, None, None] * share
    radius = math.hypot(*size_m) / 2 / np.cos(np.abs(turn) / count / 2)
    arcs = np.stack([np.cos(angle), np.sin(angle)], axis=-1) * radius[:, None, None, None]
    centre = np.zeros((*arcs.shape[:2], 1, 2))
    rings = places[:, None, None, :] + np.concatenate([centre, arcs], axis=2)
    real = np.abs(turn) > 1e-6
    return shapely.polygons(rings[real].reshape(-1, count + 2, 2))
