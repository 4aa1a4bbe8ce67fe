"""
The edge of the water on a bed of triangles, traced from one side of a triangle to the next.

It is exact for that bed: no lattice rounds off the pools that a low level leaves.
"""

import numpy as np

from geoplan.water import FloatArray, IntArray
from geoplan.water.triangulation import TriangulatedSurface


def triangle_rings(surface: TriangulatedSurface, level_m: float) -> list[FloatArray] | None:
    """
    Return the lines between what lies below a level and what does not.

    Parameters
    ----------
    surface : TriangulatedSurface
        The bed.
    level_m : float
        Level; ground at the level itself is dry [m].

    Returns
    -------
    list of ndarray of float, shape (k, 2), or None
        Closed rings, first vertex repeated last, pools and islands alike; ``None`` where ground
        below the level reaches the hull, beyond which nothing is known [m].

    Examples
    --------
    >>> from geoplan.water.triangulation import triangulated
    >>> at = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0], [2.0, 2.0]])
    >>> bowl = triangulated(at, np.array([2.0, 2.0, 2.0, 2.0, 0.0]))
    >>> [ring] = triangle_rings(bowl, 1.0)
    >>> sorted(ring[1:].tolist())
    [[1.0, 1.0], [1.0, 3.0], [3.0, 1.0], [3.0, 3.0]]
    """
    is_wet = surface.bed_m < level_m
    count = is_wet[surface.triangles].sum(axis=1)
    cut = surface.triangles[(count == 1) | (count == 2)]
    wet = is_wet[cut]
    # The corner that stands alone: both sides that the level crosses end there.
    alone = np.where(wet.sum(axis=1) == 1, wet.argmax(axis=1), wet.argmin(axis=1))
    row = np.arange(len(cut))
    own = cut[row, alone]
    others = np.column_stack([cut[row, (alone + 1) % 3], cut[row, (alone + 2) % 3]])
    ends = np.sort(np.stack([np.broadcast_to(own[:, None], others.shape), others]), axis=0)
    side, index, met = np.unique(
        ends[0] * len(is_wet) + ends[1], return_inverse=True, return_counts=True
    )
    if (met != 2).any():
        return None
    place = _crossings(surface, np.column_stack(np.divmod(side, len(is_wet))), level_m)
    return [place[ring] for ring in _cycles(index.reshape(-1, 2), len(side))]


def _crossings(surface: TriangulatedSurface, ends: IntArray, level_m: float) -> FloatArray:
    """Return where the level crosses sides of triangles: at a dry end that is level, exactly."""
    height = surface.bed_m[ends]
    dry = height.argmax(axis=1)
    row = np.arange(len(ends))
    high, low = height[row, dry], height[row, 1 - dry]
    begin, end = surface.points_m[ends[row, dry]], surface.points_m[ends[row, 1 - dry]]
    place: FloatArray = begin + ((high - level_m) / (high - low))[:, None] * (end - begin)
    return place


def _cycles(segments: IntArray, count: int) -> list[list[int]]:
    """Return the cycles of segments of which two meet at every node, first node repeated last."""
    order = np.argsort(segments.ravel(), kind="stable")
    beside = segments.ravel()[order ^ 1].reshape(count, 2).tolist()
    is_seen = [False] * count
    out = []
    for start in range(count):
        ring: list[int] = []
        here, before = start, -1
        while not is_seen[here]:
            is_seen[here] = True
            ring.append(here)
            one, other = beside[here]
            here, before = (other if one == before else one), here
        if ring:
            out.append([*ring, start])
    return out
