"""
What joint moves ask again and again, compiled: what rafts are worth, and what parts them.

A row of the tables holds the raft that is kept above a level, the raft that holds the level, the
rates of either as it moves east, north and turns, the room, and the number of the pair.
"""

from typing import Any

import numba
import numpy as np

from geoplan.compiled import inner
from geoplan.placement.pose_kernels import Water, lies_inside, raft_worth
from geoplan.site import FloatArray

#: Columns of a table: two rafts, three rates of either, room and pair.
COLUMNS = 10


@numba.njit(cache=True)
def worths_of(water: Water, poses: FloatArray, kinds: Any, moved: float) -> FloatArray:
    """
    Return what rafts are worth where they lie, and a little to each side.

    Parameters
    ----------
    water : Water
        The water.
    poses : ndarray of float, shape (n, 3)
        Easting, northing [m] and turn [rad].
    kinds : ndarray of int, shape (n,)
        Their types.
    moved : float
        How far they are moved; nothing for their worth in place alone [m or rad].

    Returns
    -------
    ndarray of float, shape (n, 1) or (n, 4)
        Worth in place, moved east, moved north and turned [worth of planted m²].
    """
    count = 4 if moved > 0 else 1
    out = np.empty((len(poses), count))
    for i in range(len(poses)):
        for k in range(count):
            east = poses[i, 0] + (moved if k == 1 else 0.0)
            north = poses[i, 1] + (moved if k == 2 else 0.0)
            turn = poses[i, 2] + (moved if k == 3 else 0.0)
            out[i, k] = raft_worth(water, kinds[i], east, north, turn)
    return out


@numba.njit(cache=True)
def count_astray(water: Water, poses: FloatArray, kinds: Any) -> int:
    """
    Return how many centres of rafts lie outside their region.

    Parameters
    ----------
    water : Water
        The water.
    poses : ndarray of float, shape (n, 3)
        Easting, northing [m] and turn [rad].
    kinds : ndarray of int, shape (n,)
        Their types.

    Returns
    -------
    int
        Number of them.
    """
    count = 0
    for i in range(len(poses)):
        if not lies_inside(water, kinds[i], poses[i, 0], poses[i, 1]):
            count += 1
    return count


@inner
def _write(table: Any, n: int, first: int, second: int, rates: Any, room: float, pair: int) -> None:
    """Write one row."""
    table[n, 0], table[n, 1] = first, second
    for k in range(6):
        table[n, 2 + k] = rates[k]
    table[n, 8], table[n, 9] = room, pair


@inner
def _beyond(corner: Any, x: float, y: float, normal: Any, half: float) -> float:
    """Return how far corners lie beyond a line that is so far from a point."""
    best = np.inf
    for i in range(len(corner)):
        best = min(best, (corner[i, 0] - x) * normal[0] + (corner[i, 1] - y) * normal[1])
    return float(best - half)


@inner
def _parting(rafts: Any, a: int, b: int) -> Any:
    """Return which direction parts two rafts most: side of the second or first, or a line."""
    centre, corner, normal, half = rafts
    least, nearest = np.inf, 0
    for k in range(16):
        far = np.hypot(
            corner[a, k // 4, 0] - corner[b, k % 4, 0], corner[a, k // 4, 1] - corner[b, k % 4, 1]
        )
        if far < least:
            least, nearest = far, k
    best, side = -np.inf, 0
    for k in range(8):
        owner, other = (b, a) if k < 4 else (a, b)
        x, y = centre[owner, 0], centre[owner, 1]
        away = _beyond(corner[other], x, y, normal[owner, k % 4], half[owner, k % 4])
        if away > best:
            best, side = away, k
    i, j = nearest // 4, nearest % 4
    line_x = (corner[a, i, 0] - corner[b, j, 0]) / max(least, 1e-12)
    line_y = (corner[a, i, 1] - corner[b, j, 1]) / max(least, 1e-12)
    away = np.inf
    for k in range(16):
        dx = corner[a, k // 4, 0] - corner[b, k % 4, 0]
        dy = corner[a, k // 4, 1] - corner[b, k % 4, 1]
        away = min(away, dx * line_x + dy * line_y)
    return (8 if away > best else side), j, line_x, line_y


@inner
def _rows_above(
    table: Any, n: int, rafts: Any, first: int, second: int, level: Any, near: float, pair: int
) -> int:
    """Write rows of a raft whose corners are kept beyond a line that another holds."""
    centre, corner, _, _ = rafts
    x, y, nx, ny, held, spin = level
    for i in range(4):
        dx, dy = corner[first, i, 0] - x, corner[first, i, 1] - y
        room = dx * nx + dy * ny - held
        if room >= near:
            continue
        own_x, own_y = (
            corner[first, i, 0] - centre[first, 0],
            corner[first, i, 1] - centre[first, 1],
        )
        turn = own_x * ny - own_y * nx
        # A side turns with its raft, farther corners by more; a corner that holds a line does not.
        other = -dx * ny + dy * nx if np.isnan(spin) else spin
        _write(table, n, first, second, (nx, ny, turn, -nx, -ny, other), room, pair)
        n += 1
    return n


@numba.njit(cache=True)
def pair_table(rafts: Any, gap: float, near: float) -> FloatArray:
    """
    Return the rows of rafts that are near each other.

    Parameters
    ----------
    rafts : tuple of ndarray of float
        Centres (n, 2) [m], corners (n, 4, 2) [m], outward normals of the sides (n, 4, 2) [1] and
        their distances from the centre (n, 4) [m].
    gap : float
        Distance to keep [m].
    near : float
        Pairs and corners with more room than this are left out [m].

    Returns
    -------
    ndarray of float, shape (rows, 10)
        The table [m, rates 1 or m a radian].
    """
    centre, corner, normal, half = rafts
    count = len(centre)
    table = np.empty((2 * count * max(count - 1, 0), COLUMNS))
    n = pair = np.int64(0)  # no literal: one compiled version of what is called
    for a in range(count):
        for b in range(a + 1, count):
            reach = np.hypot(half[a, 0], half[a, 1]) + np.hypot(half[b, 0], half[b, 1])
            far = np.hypot(centre[a, 0] - centre[b, 0], centre[a, 1] - centre[b, 1])
            if far >= reach + gap + near:
                continue
            best, j, line_x, line_y = _parting(rafts, a, b)
            if best < 8:
                owner, other, side = (b, a, best) if best < 4 else (a, b, best - 4)
                nx, ny = normal[owner, side, 0], normal[owner, side, 1]
                held = half[owner, side] + gap
                level = centre[owner, 0], centre[owner, 1], nx, ny, held, np.nan
                n = _rows_above(table, n, rafts, other, owner, level, near, pair)
            else:
                x, y = corner[b, j, 0], corner[b, j, 1]
                spin = line_x * (y - centre[b, 1]) - line_y * (x - centre[b, 0])
                level = x, y, line_x, line_y, gap, spin
                n = _rows_above(table, n, rafts, a, b, level, near, pair)
            pair += 1
    return table[:n]


@numba.njit(cache=True)
def edge_table(rafts: Any, edges: FloatArray, near: float) -> FloatArray:
    """
    Return the rows of rafts that are near an edge of their region.

    Parameters
    ----------
    rafts : tuple of ndarray of float
        Centres, corners, normals and half sides, as for pairs [m, normals 1].
    edges : ndarray of float, shape (n, 2, 2)
        Edges with the water on their left [m].
    near : float
        Edges and corners with more room than this are left out [m].

    Returns
    -------
    ndarray of float, shape (rows, 10)
        The table; -1 for an edge [m, rates 1 or m a radian].
    """
    centre, _, _, half = rafts
    count = 0
    hits = np.empty((len(centre) * len(edges), 2), np.int64)
    for raft in range(len(centre)):
        far = np.hypot(half[raft, 0], half[raft, 1]) + near
        for k in range(len(edges)):
            off = -np.inf
            for axis in range(2):
                low = min(edges[k, 0, axis], edges[k, 1, axis]) - centre[raft, axis]
                high = centre[raft, axis] - max(edges[k, 0, axis], edges[k, 1, axis])
                off = max(off, low, high)
            if off < far:
                hits[count, 0], hits[count, 1] = raft, k
                count += 1
    table = np.empty((4 * count, COLUMNS))
    n = np.int64(0)
    for pair in range(count):
        n = _edge_rows(table, n, rafts, hits[pair, 0], edges[hits[pair, 1]], near, pair)
    return table[:n]


@inner
def _edge_rows(
    table: Any, n: int, rafts: Any, raft: int, edge: FloatArray, near: float, pair: int
) -> int:
    """Write the rows of one raft and one edge."""
    centre, corner, normal, half = rafts
    x, y = centre[raft, 0], centre[raft, 1]
    long = np.hypot(edge[1, 0] - edge[0, 0], edge[1, 1] - edge[0, 1])
    in_x, in_y = -(edge[1, 1] - edge[0, 1]) / long, (edge[1, 0] - edge[0, 0]) / long
    least, most = np.inf, -np.inf
    for i in range(4):
        depth = (corner[raft, i, 0] - edge[0, 0]) * in_x + (corner[raft, i, 1] - edge[0, 1]) * in_y
        least, most = min(least, depth), max(most, depth)
    best, side = -np.inf, 0
    for k in range(4):
        away = _beyond(edge, x, y, normal[raft, k], half[raft, k])
        if away > best:
            best, side = away, k
    # Wholly behind an edge a raft may lie in another arm of the water.
    if max(least, -most if most < 0 else -np.inf) > best:
        sign = 1.0 if least >= (-most if most < 0 else -np.inf) else -1.0
        level = edge[0, 0], edge[0, 1], sign * in_x, sign * in_y, 0.0, 0.0
        return int(_rows_above(table, n, rafts, raft, np.int64(-1), level, near, pair))
    nx, ny = normal[raft, side, 0], normal[raft, side, 1]
    for end in range(2):
        dx, dy = edge[end, 0] - x, edge[end, 1] - y
        room = dx * nx + dy * ny - half[raft, side]
        if room < near:
            rates = 0.0, 0.0, 0.0, -nx, -ny, -dx * ny + dy * nx
            _write(table, n, np.int64(-1), raft, rates, room, pair)
            n += 1
    return n
