"""
What a raft is worth in a turned window, and where it may lie there, compiled.

Edges of the region and rafts that stay cast exact shadows on a strip: an edge, or a rectangle
grown by the gap, cut by the strip. A raft is legal where it meets no shadow and lies inside.
Worth comes first and costs little: legality is looked at only where a raft would pay.
"""

from typing import Any

import numba
import numpy as np

from geoplan.compiled import inner
from geoplan.grid import BoolArray
from geoplan.placement.pose_kernels import Water, lies_inside, may_head
from geoplan.site import FloatArray


@inner
def _hidden(low: float, high: float, along: float, grid: Any, places: int) -> Any:
    """Return the first and the last place of a strip whose raft would meet a shadow."""
    first, step = grid[0], grid[2]
    begin = max(int(np.floor((low - along - first) / step + 1e-9)) + 1, 0)
    return begin, min(int(np.ceil((high - first) / step - 1e-9)) - 1, places - 1)


@inner
def _block(diff: Any, hidden: Any) -> None:
    """Count a shadow on the places of a strip."""
    if hidden[0] <= hidden[1]:
        diff[hidden[0]] += 1
        diff[hidden[1] + 1] -= 1


@inner
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


@inner
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
def running_sums(nodes: FloatArray, at: Any, view: Any, grid: Any, shape: Any) -> FloatArray:
    """
    Return running sums of the worth over the small cells of a window.

    Parameters
    ----------
    nodes : ndarray of float, shape (rows, cols)
        Worth at the nodes, bilinear between them [unit of the worth].
    at : tuple of float
        Easting and northing of the first node and the distance between nodes [m].
    view : tuple of float
        Centre of the window, easting and northing [m], cosine and sine of its turn [1].
    grid : tuple of float
        First place along and across, and the sides of the cells, window's frame [m].
    shape : tuple of int
        Rows and columns of cells.

    Returns
    -------
    ndarray of float, shape (rows + 1, cols + 1)
        Sums over all cells before a corner [unit of the worth].
    """
    east, north, cos, sin = view
    first, second, du, dv = grid
    last_row, last_col = nodes.shape[0] - 1, nodes.shape[1] - 1
    col_step, row_step = du * cos / at[2], du * sin / at[2]
    u = first + du / 2
    flat, wide = nodes.ravel(), nodes.shape[1]
    north_by, east_by = (wide if last_row > 0 else 0), min(1, last_col)
    most_row, most_col = float(max(last_row - 1, 0)), float(max(last_col - 1, 0))
    node, up, right = np.empty(shape[1], np.int64), np.empty(shape[1]), np.empty(shape[1])
    sums = np.zeros((shape[0] + 1, shape[1] + 1))
    for i in range(shape[0]):
        v = second + (i + 0.5) * dv
        col_start = (east + u * cos - v * sin - at[0]) / at[2]
        row_start = (north + u * sin + v * cos - at[1]) / at[2]
        # First where the cells lie, which a processor does for several at once.
        for j in range(shape[1]):
            y = min(max(row_start + j * row_step, 0.0), float(last_row))
            x = min(max(col_start + j * col_step, 0.0), float(last_col))
            row, col = min(np.floor(y), most_row), min(np.floor(x), most_col)
            up[j], right[j] = y - row, x - col
            node[j] = int(row) * wide + int(col)
        line = 0.0
        for j in range(shape[1]):
            k = node[j]
            n = k + north_by
            below = flat[k] + right[j] * (flat[k + east_by] - flat[k])
            above = flat[n] + right[j] * (flat[n + east_by] - flat[n])
            line += below + up[j] * (above - below)
            sums[i + 1, j + 1] = sums[i, j + 1] + line
    return sums


@numba.njit(cache=True)
def mark_worth(
    sums: FloatArray, size: Any, scale: float, price: float, shape: Any, value: Any, pays: Any
) -> bool:
    """
    Fill in what a raft is worth above its price at each place of a window.

    Parameters
    ----------
    sums : ndarray of float, shape (rows, cols)
        Running sums of the worth at the corners of cells [unit of the worth].
    size : tuple of float
        Sides of the raft along and across the rows, in cells [1].
    scale : float
        Worth of a raft for each unit of the sums [worth of planted m²].
    price : float
        Price of a raft [worth of planted m²].
    shape : tuple of int
        Strips and places of the raft.
    value : ndarray of float, of that shape or larger
        Filled in [worth of planted m²].
    pays : ndarray of bool, shape (strips,) or longer
        Filled in: true where any place of a strip is worth more than the price.

    Returns
    -------
    bool
        True where any strip pays.
    """
    strips, places = shape
    wide, high = int(size[0]), int(size[1])
    ahead, above = size[0] - wide, size[1] - high
    line = np.empty(places + wide + 1)
    is_any = False
    for s in range(strips):
        for i in range(len(line)):
            top = sums[s + high, i]
            line[i] = scale * (top + above * (sums[s + high + 1, i] - top) - sums[s, i])
        best = 0.0
        for i in range(places):
            end = line[i + wide]
            value[s, i] = end + ahead * (line[i + wide + 1] - end) - line[i] - price
            best = max(best, value[s, i])
        pays[s] = best > 0
        is_any |= best > 0
    return is_any


@inner
def keep_legal(
    water: Water, kind: int, raft: Any, view: Any, grid: Any, shapes: Any, value: Any, pays: Any
) -> None:
    """
    Take the worth from the places of a window at which a raft is not legal.

    Parameters
    ----------
    water : Water
        The water.
    kind : int
        Type of the raft.
    raft : tuple
        Its sides along and across the rows [m], and how many strips and places it has.
    view : tuple of float
        Centre of the window, easting and northing [m], cosine and sine of its turn [1].
    grid : tuple of float
        First place along and across, and the steps between places, window's frame [m].
    shapes : tuple
        In the window's frame: edges of the type's region, shape (n, 4) [m], corners of the rafts
        that stay, shape (k, 4, 2) [m], and the gap [m].
    value : ndarray of float, shape (strips, places) or larger
        Worth; zero afterwards where a raft may not lie [worth of planted m²].
    pays : ndarray of bool, shape (strips,) or longer
        Strips to be looked at; false afterwards where nothing is left.
    """
    east, north, cos, sin = view
    _, _, strips, places = raft
    turn = np.arctan2(sin, cos) + (0.0 if raft[0] == water.sides[kind, 0] else np.pi / 2)
    is_free_to_head = water.head_half.shape[0] == 0
    shadow = np.zeros((strips, places + 1), np.int32)
    _cast(shadow, pays, raft, grid, shapes)
    for s in range(strips):
        if not pays[s]:
            continue
        covered = 0
        was_free = inside = left = False
        v = grid[1] + s * grid[3] + raft[1] / 2
        for i in range(places):
            covered += shadow[s, i]
            is_free = covered == 0
            if is_free and (not was_free or not is_free_to_head):
                u = grid[0] + i * grid[2] + raft[0] / 2
                pose = (east + u * cos - v * sin, north + u * sin + v * cos, turn)
                if not was_free:
                    inside = lies_inside(water, kind, pose[0], pose[1])
                if not may_head(water, kind, pose):
                    value[s, i] = 0.0
            was_free = is_free
            if not (is_free and inside):
                value[s, i] = 0.0
            left |= value[s, i] > 0
        pays[s] = left


@inner
def _cast(shadow: Any, pays: BoolArray, raft: Any, grid: Any, shapes: Any) -> None:
    """Cast the shadows of edges and rafts on the strips that pay."""
    edges, fixed, gap = shapes
    along, across, strips, places = raft
    _, second, _, dv = grid
    for k in range(len(edges)):
        u0, v0, u1, v1 = edges[k, 0], edges[k, 1], edges[k, 2], edges[k, 3]
        low, high = min(v0, v1), max(v0, v1)
        # Strips are deep and edges short: on all that hold an edge whole it casts one shadow.
        whole = _hidden(*_edge_shadow(u0, v0, u1, v1, low - 1.0, high + 1.0), along, grid, places)
        for s in _strips(low, high, second, across, dv, strips):
            if pays[s]:
                bottom = second + s * dv
                top = bottom + across
                if bottom <= low and high <= top and low < top and high > bottom:
                    _block(shadow[s], whole)
                    continue
                a, b = _edge_shadow(u0, v0, u1, v1, bottom, top)
                if a <= b:
                    _block(shadow[s], _hidden(a, b, along, grid, places))
    for k in range(len(fixed)):
        v = fixed[k, :, 1]
        low = min(v[0], v[1], v[2], v[3]) - gap
        high = max(v[0], v[1], v[2], v[3]) + gap
        for s in _strips(low, high, second, across, dv, strips):
            if pays[s]:
                bottom = second + s * dv
                a, b = _raft_shadow(fixed[k], gap, bottom, bottom + across)
                if a <= b:
                    _block(shadow[s], _hidden(a, b, along, grid, places))


@inner
def _strips(low: float, high: float, second: float, across: float, dv: float, strips: int) -> Any:
    """Return the strips that something from one height to another may meet."""
    begin = max(int(np.floor((low - across - second) / dv)) - 1, 0)
    return range(begin, min(int(np.ceil((high - second) / dv)) + 1, strips))
