r"""
Water that round corners leave: no packing fills it, and each raft may be charged for it.

Let r be half the gap. Rafts grown by r have round corners, and between three of them water is left.
Of the water nearer to a raft than to any other, at least (√3/2 − π/4) r² lies within 2r/√3 of each
corner, beyond r: as much as round a quarter of a disc in the densest packing of discs. It is
proven in ``docs/methods/placement.md`` ("What round corners leave") for any rafts whose sides are
no shorter than the gap, with three facts in units of r. Let ρ be the way along a normal at which
another raft is as near.

1. Two other rafts are never both as near as a point whose own raft is nearer than 2/√3, for three
   points two apart do not fit into a smaller disc. Where ρ < 2/√3, along the raft's edge, it is
   the work of one raft.
2. Round a corner arcsec ρ changes by no more than the normal turns, and along a side by less.
3. A raft is convex: where its nearest point lies in direction θⱼ from the corner,
   ρ ≥ sec²((θ − θⱼ)/2).

The water left lies in the region grown by r, unless the corner is within 0.835 r of the region's
edge. There the field is raised by a share that makes good for it: see :func:`shore_raise`.
"""

import math

import numpy as np
from scipy.ndimage import maximum_filter, minimum_filter

from geoplan.raft import RaftType
from geoplan.site import FloatArray

#: Area that a corner's waste is counted as; proven is √3/2 − π/4 = 0.0806 [square of half the gap].
CORNER_WASTE = 0.08
#: How far the waste reaches from its corner, and to the foot of it [half the gap].
_REACH = 1.417
_FOOT = 0.835
#: Up to this radius a corner near the shore is paid for by the field round it [half the gap].
_MOST_ROUND = 4.0


def corner_waste_m2(raft_type: RaftType, gap_m: float) -> float:
    """
    Return the area that the corners of a raft leave to no other.

    Parameters
    ----------
    raft_type : RaftType
        The raft.
    gap_m : float
        Distance between rafts [m].

    Returns
    -------
    float
        Waste of four corners; none is claimed where a side is shorter than the gap [m²].

    Examples
    --------
    >>> kind = RaftType(name="a", length_m=4.0, width_m=2.4, draft_m=0.2, planted_share=1.0)
    >>> round(corner_waste_m2(kind, 1.0), 3), corner_waste_m2(kind, 2.5)
    (0.08, 0.0)
    """
    if min(raft_type.length_m, raft_type.width_m) < gap_m:
        return 0.0
    return 4 * CORNER_WASTE * (gap_m / 2) ** 2


def _round_m(raft_type: RaftType, gap_m: float) -> float:
    """Return the radius about a corner whose field pays for it near the shore [m]."""
    return min(raft_type.length_m / 2, raft_type.width_m / 2, _MOST_ROUND * gap_m / 2)


def shore_width_m(raft_type: RaftType, gap_m: float) -> float:
    """
    Return how far from the edge of its region a raft's field is raised.

    Parameters
    ----------
    raft_type : RaftType
        The raft.
    gap_m : float
        Distance between rafts [m].

    Returns
    -------
    float
        Beyond it lies nothing of a disc that pays for a corner near the edge [m].

    Examples
    --------
    >>> kind = RaftType(name="a", length_m=4.0, width_m=2.4, draft_m=0.2, planted_share=1.0)
    >>> round(shore_width_m(kind, 1.0), 4)
    1.6175
    """
    return _FOOT * gap_m / 2 + _round_m(raft_type, gap_m)


def shore_raise(raft_type: RaftType, gap_m: float) -> float:
    """
    Return by what share a field is raised near the shore.

    Parameters
    ----------
    raft_type : RaftType
        The raft.
    gap_m : float
        Distance between rafts [m].

    Returns
    -------
    float
        So much more of a field over that part of a grown raft which lies within half a side of
        its corner is worth what the corner's waste would be [1].

    Notes
    -----
    That part is a quarter of a disc, two strips as wide as half the gap, cut by the disc's edge,
    and a quarter of a disc of half the gap. Those of the four corners are disjoint.

    Examples
    --------
    >>> kind = RaftType(name="a", length_m=4.0, width_m=2.4, draft_m=0.2, planted_share=1.0)
    >>> round(shore_raise(kind, 1.0), 4)
    0.008
    """
    r, far = gap_m / 2, _round_m(raft_type, gap_m)
    if corner_waste_m2(raft_type, gap_m) == 0.0:
        return 0.0
    strip = (r * math.sqrt(far**2 - r**2) + far**2 * math.asin(r / far)) / 2
    return CORNER_WASTE * r**2 / (math.pi * (far**2 + r**2) / 4 + 2 * strip)


def corner_allowance(
    nodes: FloatArray, cell_size_m: float, raft_type: RaftType, gap_m: float, paid_m2: float
) -> FloatArray:
    """
    Bound how much less the worth round a raft's corners is than under the raft.

    Parameters
    ----------
    nodes : ndarray of float, shape (rows, cols)
        Worth, bilinear between the nodes [any unit].
    cell_size_m : float
        Distance between nodes [m].
    raft_type : RaftType
        The raft.
    gap_m : float
        Distance between rafts [m].
    paid_m2 : float
        Area of the grown raft and its waste [m²].

    Returns
    -------
    ndarray of float, shape (rows, cols)
        What must be added at each node, within reach of any raft, that waste at the least worth
        near its corner pays as the mean over the grown raft would [unit of the nodes].

    Notes
    -----
    Opposite corners and opposite points of the grown raft lie evenly about its centre, so that half
    the local range of the gradient, ρ, bounds what their means differ by; from a corner to the
    least near it the worth falls by the steepest gradient at most.
    """
    length, width, h = raft_type.length_m, raft_type.width_m, cell_size_m
    near_m = max(_REACH * gap_m / 2, _round_m(raft_type, gap_m))
    corner_m = math.hypot(length, width) / 2
    # Reach from a centre, half a cell to its node, and one to the far end of a patch.
    radius = math.ceil((corner_m + near_m) / h) + 2
    size = 2 * radius + 1
    steepest, bent = 0.0, 0.0
    for axis in (0, 1):
        # Beyond the grid the worth stays what it is at its edge.
        slope = np.diff(np.pad(nodes, 1, mode="edge"), axis=axis) / h
        high = maximum_filter(slope, size, mode="nearest")
        low = minimum_filter(slope, size, mode="nearest")
        # The side after a node stands for it; the window has a node to spare.
        inside = (slice(1, None), slice(1, -1)) if axis == 0 else (slice(1, -1), slice(1, None))
        steepest = np.hypot(steepest, np.maximum(high, -low)[inside])
        bent = np.hypot(bent, ((high - low) / 2)[inside])
    spread_m = math.hypot(length + gap_m, width + gap_m) / math.sqrt(12)
    share = corner_waste_m2(raft_type, gap_m) / paid_m2
    need = share * (near_m * steepest + (corner_m + spread_m) * bent)
    out: FloatArray = maximum_filter(need, size, mode="nearest")
    return out
