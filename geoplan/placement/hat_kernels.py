"""Integrals of nodes' hats over convex polygons, exact, compiled."""

from typing import Any

import numba
import numpy as np

from geoplan.compiled import inner
from geoplan.site import FloatArray

#: Axes; as plain numbers each would be compiled by itself.
_EAST, _NORTH = np.int64(0), np.int64(1)


@inner
def _clipped(ring: FloatArray, n: int, axis: int, level: float, sign: float, out: Any) -> int:
    """Keep the part of a polygon on one side of a line along an axis; return its corners' count."""
    m = 0
    for k in range(n):
        last = k - 1 if k > 0 else n - 1
        before = sign * (ring[last, axis] - level)
        here = sign * (ring[k, axis] - level)
        if (before > 0.0 and here < 0.0) or (before < 0.0 and here > 0.0):
            share = before / (before - here)
            other = 1 - axis
            out[m, axis] = level
            out[m, other] = ring[last, other] + share * (ring[k, other] - ring[last, other])
            m += 1
        if here >= 0.0:
            out[m, 0], out[m, 1] = ring[k, 0], ring[k, 1]
            m += 1
    return m


@inner
def _shared(ring: FloatArray, n: int, row: int, col: int, out: FloatArray) -> None:
    """Add the integrals of four hats over a polygon within the square between their nodes."""
    area = right = up = both = 0.0
    x0, y0 = ring[0, 0] - col, ring[0, 1] - row
    for k in range(1, n - 1):
        x1, y1 = ring[k, 0] - col, ring[k, 1] - row
        x2, y2 = ring[k + 1, 0] - col, ring[k + 1, 1] - row
        part = ((x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)) / 2
        area += part
        right += part * (x0 + x1 + x2) / 3
        up += part * (y0 + y1 + y2) / 3
        products = x0 * y0 + x1 * y1 + x2 * y2 + (x0 + x1 + x2) * (y0 + y1 + y2)
        both += part * products / 12
    out[0, 0] += area - right - up + both
    out[0, 1] += right - both
    out[1, 0] += up - both
    out[1, 1] += both


@numba.njit(cache=True)
def hat_sums(ring: FloatArray, scale: float, wide: int, steps: Any, weights: FloatArray) -> int:
    """
    Fill in the integrals of hats on nodes one apart over a convex polygon.

    Parameters
    ----------
    ring : ndarray of float, shape (n, 2)
        Corners, counter-clockwise, in steps between nodes [1].
    scale : float
        Area of a square between nodes [m²].
    wide : int
        Nodes in a row of the grid.
    steps : ndarray of int, shape (k,)
        Filled in: places of nodes from the node at the origin, row after row.
    weights : ndarray of float, shape (k,)
        Filled in: integrals of their hats [m²].

    Returns
    -------
    int
        How many nodes there are.
    """
    n = len(ring)
    row0, row1 = int(np.floor(ring[:, 1].min())), int(np.floor(ring[:, 1].max()))
    col0, col1 = int(np.floor(ring[:, 0].min())), int(np.floor(ring[:, 0].max()))
    total = np.zeros((row1 - row0 + 2, col1 - col0 + 2))
    above, strip = np.empty((2 * n + 8, 2)), np.empty((2 * n + 8, 2))
    beside, cell = np.empty((2 * n + 8, 2)), np.empty((2 * n + 8, 2))
    for row in range(row0, row1 + 1):
        m = _clipped(ring, n, _NORTH, float(row), 1.0, above)
        m = _clipped(above, m, _NORTH, row + 1.0, -1.0, strip)
        if m < 3:
            continue
        first = int(np.floor(strip[:m, 0].min()))
        last = int(np.floor(strip[:m, 0].max()))
        for col in range(first, last + 1):
            k = _clipped(strip, m, _EAST, float(col), 1.0, beside)
            k = _clipped(beside, k, _EAST, col + 1.0, -1.0, cell)
            if k >= 3:
                r, c = row - row0, col - col0
                _shared(cell, k, row, col, total[r : r + 2, c : c + 2])
    count = 0
    for r in range(total.shape[0]):
        for c in range(total.shape[1]):
            if total[r, c] > 0.0:
                steps[count] = (row0 + r) * wide + col0 + c
                weights[count] = total[r, c] * scale
                count += 1
    return count
