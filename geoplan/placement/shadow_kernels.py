"""
Where a raft may lie in a turned window, and what it is worth there, compiled.

Edges of the region and rafts that stay cast exact shadows on a strip: an edge, or a rectangle
grown by the gap, cut by the strip. A raft is legal where it meets no shadow and lies inside.
"""

from typing import Any

import numba
import numpy as np

from geoplan.placement.pose_kernels import Water, lies_inside, may_head, worth_at
from geoplan.site import FloatArray


@numba.njit(cache=True)
def _block(diff: Any, low: float, high: float, along: float, first: float, step: float) -> None:
    """Count a shadow on the places of a strip whose raft would meet it."""
    places = len(diff) - 1
    begin = max(int(np.floor((low - along - first) / step + 1e-9)) + 1, 0)
    end = min(int(np.ceil((high - first) / step - 1e-9)) - 1, places - 1)
    if begin <= end:
        diff[begin] += 1
        diff[end + 1] -= 1


@numba.njit(cache=True)
def _edge_shadow(u0: float, v0: float, u1: float, v1: float, bottom: float, top: float) -> Any:
    """Return from where to where an edge's part within a strip reaches along it."""
    if v0 > v1:
        u0, v0, u1, v1 = u1, v1, u0, v0
    if v1 <= bottom or v0 >= top:
        return 1.0, 0.0
    if v1 <= v0:
        return min(u0, u1), max(u0, u1)
    slope = (u1 - u0) / (v1 - v0)
    a = u0 + slope * (max(v0, bottom) - v0)
    b = u0 + slope * (min(v1, top) - v0)
    return min(a, b), max(a, b)


@numba.njit(cache=True)
def _raft_shadow(shape: FloatArray, gap: float, bottom: float, top: float) -> Any:
    """Return from where to where a raft grown by the gap reaches along a strip."""
    low, high = np.inf, -np.inf
    for j in range(4):
        u, v = shape[j, 0], shape[j, 1]
        if top > v - gap and bottom < v + gap:
            off = min(max(v, bottom), top) - v
            half = np.sqrt(max(gap * gap - off * off, 0.0))
            low, high = min(low, u - half), max(high, u + half)
        u1, v1 = shape[(j + 1) % 4, 0], shape[(j + 1) % 4, 1]
        long = np.hypot(u1 - u, v1 - v)
        du, dv = gap * (v1 - v) / long, -gap * (u1 - u) / long
        a, b = _edge_shadow(u + du, v + dv, u1 + du, v1 + dv, bottom, top)
        if a <= b:
            low, high = min(low, a), max(high, b)
    return low, high


@numba.njit(cache=True)
def mark_legal(
    water: Water,
    kind: int,
    raft: Any,
    view: Any,
    grid: Any,
    edges: FloatArray,
    others: Any,
    legal: Any,
) -> None:
    """
    Mark the places of a window at which a raft is legal.

    Parameters
    ----------
    water : Water
        The water.
    kind : int
        Type of the raft.
    raft : tuple of float
        Its sides along and across the rows [m].
    view : tuple of float
        Centre of the window, easting and northing [m], cosine and sine of its turn [1].
    grid : tuple of float
        First place along and across, and the steps between places, window's frame [m].
    edges : ndarray of float, shape (n, 4)
        Edges of the type's region near the window, in its frame [m].
    others : tuple
        Corners of the rafts that stay, in its frame, shape (k, 4, 2) [m], and the gap [m].
    legal : ndarray of bool, shape (strips, places)
        Filled in: true where a raft may lie.
    """
    fixed, gap = others
    along, across = raft
    east, north, cos, sin = view
    first, second, du, dv = grid
    strips, places = legal.shape
    turn = np.arctan2(sin, cos) + (0.0 if along == water.sides[kind, 0] else np.pi / 2)
    diff = np.zeros(places + 1, np.int64)
    for s in range(strips):
        bottom = second + s * dv
        top = bottom + across
        diff[:] = 0
        for k in range(len(edges)):
            low, high = _edge_shadow(
                edges[k, 0], edges[k, 1], edges[k, 2], edges[k, 3], bottom, top
            )
            if low <= high:
                _block(diff, low, high, along, first, du)
        for k in range(len(fixed)):
            low, high = _raft_shadow(fixed[k], gap, bottom, top)
            if low <= high:
                _block(diff, low, high, along, first, du)
        covered = 0
        was_free = False
        inside = False
        for i in range(places):
            covered += diff[i]
            is_free = covered == 0
            u, v = first + i * du + along / 2, bottom + across / 2
            pose = (east + u * cos - v * sin, north + u * sin + v * cos, turn)
            if is_free and not was_free:
                inside = lies_inside(water, kind, pose[0], pose[1])
            was_free = is_free
            legal[s, i] = is_free and inside and may_head(water, kind, pose)


@numba.njit(cache=True)
def running_sums(water: Water, kind: int, view: Any, grid: Any, rows: int, cols: int) -> FloatArray:
    """
    Return running sums of the worth over the small cells of a window.

    Parameters
    ----------
    water : Water
        The water.
    kind : int
        Type whose worth is summed.
    view : tuple of float
        Centre of the window, easting and northing [m], cosine and sine of its turn [1].
    grid : tuple of float
        First place along and across, and the sides of the cells, window's frame [m].
    rows, cols : int
        Number of cells.

    Returns
    -------
    ndarray of float, shape (rows + 1, cols + 1)
        Sums over all cells before a corner [unit of the worth].
    """
    east, north, cos, sin = view
    first, second, du, dv = grid
    sums = np.zeros((rows + 1, cols + 1))
    for r in range(rows):
        v = second + (r + 0.5) * dv
        line = 0.0
        for c in range(cols):
            u = first + (c + 0.5) * du
            line += worth_at(water, kind, east + u * cos - v * sin, north + u * sin + v * cos)
            sums[r + 1, c + 1] = sums[r, c + 1] + line
    return sums


@numba.njit(cache=True)
def sum_at(sums: FloatArray, row: float, col: float) -> float:
    """
    Return the running sum at a point between corners.

    Parameters
    ----------
    sums : ndarray of float, shape (rows, cols)
        Running sums at the corners of cells [unit of the worth].
    row, col : float
        The point, in cells [1].

    Returns
    -------
    float
        Sum there, bilinear within a cell [unit of the worth].
    """
    r, c = min(int(row), sums.shape[0] - 2), min(int(col), sums.shape[1] - 2)
    a, b = row - r, col - c
    return float(
        (1 - a) * ((1 - b) * sums[r, c] + b * sums[r, c + 1])
        + a * ((1 - b) * sums[r + 1, c] + b * sums[r + 1, c + 1])
    )
