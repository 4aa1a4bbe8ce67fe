"""How far the gradient of a worth is from any linear field near each node, compiled."""

from typing import Any

import numba
import numpy as np

from geoplan.site import FloatArray

#: Nodes in a side of the blocks that share one linear field.
_BLOCK = 4


@numba.njit(cache=True)
def _bends(nodes: FloatArray, i: int, j: int, step: int, h: float) -> Any:
    """Return second derivatives over a few steps: east, north and mixed [unit of the nodes/m²]."""
    far2 = (step * h) ** 2
    east = (nodes[i, j + step] - 2 * nodes[i, j] + nodes[i, j - step]) / far2
    north = (nodes[i + step, j] - 2 * nodes[i, j] + nodes[i - step, j]) / far2
    mixed = nodes[i + step, j + step] - nodes[i + step, j - step]
    mixed += nodes[i - step, j - step] - nodes[i - step, j + step]
    return east, north, mixed / (4 * far2)


@numba.njit(cache=True)
def _half_range(nodes: FloatArray, window: Any, bends: Any, h: float, axis: int) -> float:
    """Return half the range of a slope less a linear one, in a window of nodes."""
    own, mixed = bends
    high, low = -np.inf, np.inf
    first_row, last_row, first_col, last_col = window
    up, right = 1 - axis, axis
    for i in range(first_row, last_row + 1 - up):
        for j in range(first_col, last_col + 1 - right):
            if axis == 1:
                slope = (nodes[i, j + 1] - nodes[i, j]) / h - (own * (j + 0.5) + mixed * i) * h
            else:
                slope = (nodes[i + 1, j] - nodes[i, j]) / h - (own * (i + 0.5) + mixed * j) * h
            high, low = max(high, slope), min(low, slope)
    return float((high - low + abs(own) * h) / 2)


@numba.njit(cache=True)
def bent_ranges(nodes: FloatArray, h: float, radius: int) -> Any:
    """
    Return half the local range of a gradient less the linear field that is nearest to it.

    Parameters
    ----------
    nodes : ndarray of float, shape (rows + 2·radius, cols + 2·radius)
        Values with a border, bilinear between the nodes [any unit].
    h : float
        Distance between nodes [m].
    radius : int
        Nodes within reach of each, and width of the border.

    Returns
    -------
    tuple of ndarray of float, shape (rows, cols)
        Root of both axes' squares [1/m], and the difference of the linear field's main curvatures
        [1/m²], in the unit of the nodes.

    Notes
    -----
    Along a side between nodes the slope is constant, within a cell between those of its two
    sides; the linear field varies by its own curvature times h along a side, which is added.
    """
    rows, cols = nodes.shape[0] - 2 * radius, nodes.shape[1] - 2 * radius
    half, spread = np.empty((rows, cols)), np.empty((rows, cols))
    step = radius // 2
    for i in range(0, rows, _BLOCK):
        for j in range(0, cols, _BLOCK):
            end_i, end_j = min(i + _BLOCK, rows), min(j + _BLOCK, cols)
            middle = (i + end_i - 1) // 2 + radius, (j + end_j - 1) // 2 + radius
            east, north, mixed = _bends(nodes, middle[0], middle[1], step, h)
            window = (i, end_i - 1 + 2 * radius, j, end_j - 1 + 2 * radius)
            a = _half_range(nodes, window, (east, mixed), h, 1)
            b = _half_range(nodes, window, (north, mixed), h, 0)
            half[i:end_i, j:end_j] = np.hypot(a, b)
            spread[i:end_i, j:end_j] = np.hypot(east - north, 2 * mixed)
    return half, spread
