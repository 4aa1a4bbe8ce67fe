"""
The water that a raft on lines may sweep.

For each heading, the places of the centre that all lines allow are the meeting of discs, drawn
from outside; the raft swept over them is convex. Headings go by in steps, with room for all
between, so that no legal pose leaves the envelope.
"""

import math

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from geoplan.site import FloatArray

#: Step of the heading [°].
STEP_DEG = 2.0
_CORNERS = 64


def swept_envelope(
    length_m: float,
    width_m: float,
    fairleads_m: FloatArray,
    anchors_m: FloatArray,
    radius_m: FloatArray,
    step_deg: float = STEP_DEG,
) -> BaseGeometry:
    """
    Return the water that a raft may cover with all its lines no more than taut.

    Parameters
    ----------
    length_m, width_m : float
        Sides of the raft [m].
    fairleads_m, anchors_m : ndarray of float, shape (n, 2)
        Seen from the raft in its place: (ahead, to starboard) of the centre [m].
    radius_m : ndarray of float, shape (n,)
        How far from above its anchor each fairlead may get [m].
    step_deg : float
        Step of the heading [°].

    Returns
    -------
    BaseGeometry
        Polygon in the same coordinates, never less than what can be swept; empty where no pose
        is legal [m].

    Notes
    -----
    A pose between two steps differs from the nearer by half a step of heading at the same centre:
    fairleads then move by at most half a step times their distance from the centre, which is
    added to each radius, and points of the raft by half a step times half its diagonal, which is
    added round the envelope. Yaw matters: with the heading fixed a tenth of the poses would leave
    it.
    """
    half_step = math.radians(step_deg) / 2
    turns = np.radians(np.arange(-180.0, 180.0, step_deg))
    cos, sin = np.cos(turns), np.sin(turns)
    rotation = np.stack([np.stack([cos, -sin], -1), np.stack([sin, cos], -1)], -2)
    wide = (radius_m + np.hypot(*fairleads_m.T) * half_step) / math.cos(math.pi / _CORNERS)
    round_it = np.linspace(0.0, 2.0 * math.pi, _CORNERS, endpoint=False)
    ring = np.stack([np.cos(round_it), np.sin(round_it)], -1)
    middles = anchors_m - np.einsum("tij,nj->tni", rotation, fairleads_m)
    discs = shapely.polygons(
        middles[:, :, None, :] + wide[None, :, None, None] * ring[None, None, :, :]
    )
    legal = discs[:, 0]
    for line in range(1, discs.shape[1]):
        legal = shapely.intersection(legal, discs[:, line])
    corners = np.array([[1.0, 1.0], [1.0, -1.0], [-1.0, -1.0], [-1.0, 1.0]])
    corners = corners * np.array([length_m / 2, width_m / 2])
    swept = []
    for turn, places in zip(rotation, legal, strict=True):
        if places.is_empty:
            continue
        centres = shapely.get_coordinates(places)
        reached = (centres[:, None, :] + (corners @ turn.T)[None, :, :]).reshape(-1, 2)
        swept.append(shapely.convex_hull(shapely.multipoints(reached)))
    if not swept:
        return Polygon()
    room = math.hypot(length_m, width_m) / 2 * half_step / math.cos(math.pi / _CORNERS)
    return shapely.buffer(shapely.union_all(swept), room * 1.02 + 1e-6, quad_segs=_CORNERS // 4)


def excursion_m(envelope: BaseGeometry, length_m: float, width_m: float) -> float:
    """
    Return how far beyond its footprint a raft may sweep.

    Parameters
    ----------
    envelope : BaseGeometry
        What it sweeps, seen from the raft in its place [m].
    length_m, width_m : float
        Its sides [m].

    Returns
    -------
    float
        Greatest distance of the envelope from the footprint [m].
    """
    footprint = shapely.box(-length_m / 2, -width_m / 2, length_m / 2, width_m / 2)
    points = shapely.points(shapely.get_coordinates(envelope))
    return float(shapely.distance(points, footprint).max(initial=0.0))
