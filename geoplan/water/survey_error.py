"""
How far the bed may lie from a surface through its soundings, judged by the soundings themselves.

It speaks of what is like the rest of the survey; a lone mound between soundings is not.
"""

import math

import numpy as np
from scipy.spatial import cKDTree

from geoplan.water import BoolArray, FloatArray, IntArray
from geoplan.water.triangulation import TriangulatedSurface, triangulated

#: Least typical misfit of a sounding to the surface without it: what a pole reads on soft bed by
#: chance in a survey too small or too flat to show it (judgement) [m].
LEAST_MISFIT_M = 0.05
#: Shares of the water whose distance to the points is the one that soundings are left out for [1].
_TRIED_SHARES = (0.5, 0.95)
#: Left-out soundings that settle a typical misfit [1].
_ENOUGH = 200


def between_sigma_m(
    surface: TriangulatedSurface,
    is_sounding: BoolArray,
    is_contour: BoolArray,
    centre_m: FloatArray,
    triangle: IntArray,
    by_kriging_m: FloatArray | None = None,
) -> FloatArray:
    """
    Return the uncertainty of what lies between the points, at places.

    Parameters
    ----------
    surface : TriangulatedSurface
        Triangles between soundings, contours and water's edge.
    is_sounding, is_contour : ndarray of bool, shape (n,)
        Which vertices are soundings, and which lie on contours.
    centre_m : ndarray of float, shape (k, 2)
        Easting and northing of the places [m].
    triangle : ndarray of int, shape (k,)
        Triangle that each lies in, -1 outside the hull.
    by_kriging_m : ndarray of float, shape (k,), or None
        The uncertainty between soundings where it is known better than from triangles [m].

    Returns
    -------
    ndarray of float, shape (k,)
        One standard deviation [m].

    Notes
    -----
    Between soundings of a small survey it is measured by leaving soundings out
    (``typical_misfit``), once at the distance d₁ from the nearest point that half the water has,
    and once at d₂ that 95 % of it has, and follows s₁ √(d/d₁) up to the first, a straight line to
    the second, and s₂ d/d₂ beyond. The root, and the line beyond, are the less favourable of
    smooth and rough beds.

    On a triangle with a vertex on a contour, and everywhere if there is no sounding, the bed is
    taken as uniform over the range of the vertices, and over one contour interval at least, for
    a triangle between points of one contour is flat by construction only: range / √12.
    """
    vertex = surface.triangles[triangle]
    by_contour = is_contour[vertex].any(axis=1)
    by_contour |= not is_sounding.any()
    sigma: FloatArray = np.empty(len(centre_m))
    if by_kriging_m is not None:
        sigma[:] = by_kriging_m
    elif not by_contour.all():
        distance, _ = cKDTree(surface.points_m).query(centre_m)
        sigma = _grown_misfit_m(surface, is_sounding, distance)
    if by_contour.any():
        span = np.ptp(surface.bed_m[vertex[by_contour]], axis=1)
        interval = _contour_interval_m(surface.bed_m[~is_sounding])
        sigma[by_contour] = np.maximum(span, interval) / math.sqrt(12.0)
    return sigma


def _contour_interval_m(bed_m: FloatArray) -> float:
    """Return the usual step between contours, the water's edge among them."""
    heights = np.unique(bed_m)
    return float(np.median(np.diff(heights))) if len(heights) > 1 else LEAST_MISFIT_M


def _grown_misfit_m(
    surface: TriangulatedSurface, is_sounding: BoolArray, distance_m: FloatArray
) -> FloatArray:
    """Return the misfit to expect at distances from the nearest point."""
    (near, at_near), (far, at_far) = (
        typical_misfit(surface, is_sounding, float(np.quantile(distance_m, share)))
        for share in _TRIED_SHARES
    )
    far, at_far = max(far, near), max(at_far, at_near)
    within = near * np.sqrt(distance_m / at_near)
    between = near + (far - near) * (distance_m - at_near) / max(at_far - at_near, 1e-9)
    beyond = far * distance_m / at_far
    return np.select([distance_m <= at_near, distance_m <= at_far], [within, between], beyond)


def typical_misfit(
    surface: TriangulatedSurface, is_sounding: BoolArray, radius_m: float
) -> tuple[float, float]:
    """
    Return how far soundings lie off the surface without them and all others within a radius.

    Parameters
    ----------
    surface : TriangulatedSurface
        Triangles between soundings and water's edge.
    is_sounding : ndarray of bool, shape (n,)
        Which vertices are soundings, one at least.
    radius_m : float
        Radius of the gap that is made round each [m].

    Returns
    -------
    float
        Typical misfit, as a standard deviation [m].
    float
        Typical distance from a left-out sounding to the nearest point that was kept [m].

    Notes
    -----
    Leaving out a single sounding of a track says how rough the bed is from one sounding to the
    next, not across the gap to the next track; so all within the radius go. The misfit is the
    largest of three: 1.4826 times the median of the absolute residuals; their 90th percentile
    over 1.645, because a pond is flat in most of its area and steep where it matters; and
    0.05 m. Where too little is left to judge by, it is the range of all points over √12.
    """
    radius_m = max(radius_m, 1e-3)
    apart_m = 2.0 * max(radius_m, _usual_step_m(surface.points_m[is_sounding]))
    residual, distance = [np.zeros(0)], [np.zeros(0)]
    for shift in ((0, 0), (1, 1), (1, 0), (0, 1)):
        out = _spread_out(surface.points_m, is_sounding, apart_m, shift)
        if not len(out):
            continue
        missing = cKDTree(surface.points_m[out]).query(surface.points_m)[0] <= radius_m
        kept = ~(missing & is_sounding)
        rest = triangulated(surface.points_m[kept], surface.bed_m[kept])
        if rest is None:
            continue
        place = surface.points_m[out]
        residual.append(np.abs(surface.bed_m[out] - rest.at_places(place)))
        distance.append(cKDTree(rest.points_m).query(place)[0])
        if sum(map(len, residual)) >= _ENOUGH:
            break
    misfit, away = np.concatenate(residual), np.concatenate(distance)
    if not len(misfit):
        return max(float(np.ptp(surface.bed_m)) / math.sqrt(12.0), LEAST_MISFIT_M), radius_m
    typical = max(
        1.4826 * float(np.median(misfit)),
        float(np.quantile(misfit, 0.9)) / 1.645,
        LEAST_MISFIT_M,
    )
    return typical, float(np.median(away))


def _usual_step_m(place_m: FloatArray) -> float:
    """Return the median distance from a sounding to the next one; zero for a single one."""
    if len(place_m) < 2:
        return 0.0
    return float(np.median(cKDTree(place_m).query(place_m, k=2)[0][:, 1]))


def _spread_out(
    place_m: FloatArray, is_sounding: BoolArray, apart_m: float, shift: tuple[int, int]
) -> IntArray:
    """
    Return soundings that lie apart, so that the neighbours of each are kept.

    In each square of twice that distance, the sounding nearest to its centre if it is within
    half of it along both axes. The four shifts together look at every sounding.
    """
    at = place_m / (2.0 * apart_m) + np.array(shift) / 2.0
    square = np.floor(at)
    off = np.abs(at - square - 0.5).max(axis=1)
    candidate = np.flatnonzero(is_sounding & (off <= 0.25))
    order = candidate[np.lexsort([off[candidate], square[candidate, 1], square[candidate, 0]])]
    is_first = np.ones(len(order), bool)
    is_first[1:] = (np.diff(square[order], axis=0) != 0).any(axis=1)
    return order[is_first]
