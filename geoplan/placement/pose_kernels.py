"""One raft in any position and heading, compiled: is it legal, what is it worth, can it gain."""

from typing import Any, NamedTuple

import numba
import numpy as np

from geoplan.compiled import ZERO, inner
from geoplan.site import FloatArray

#: Points a side at which a raft's mean worth is taken, as in `WorthSurface.mean_under`.
_SAMPLES = 16
#: No raft; as a plain number it would have its callee compiled once more.
_NONE = np.int64(-1)


class Water(NamedTuple):
    """
    Region and worth of each type, as the compiled search sees them.

    Attributes
    ----------
    edges : ndarray of float, shape (n, 4)
        Edges of the regions of all types, start and end, working CRS [m].
    cell_start, cell_items : ndarray of int
        Edges that may pass through each square cell, type after type, row after row.
    band_start, band_items : ndarray of int
        Edges that may pass through each row of cells, type after type.
    west, south, cell : float
        Corner and side of the cells [m].
    rows, cols : int
        Number of cells.
    nodes : ndarray of float, shape (types, rows, cols)
        Worth of a square metre of each type, bilinear between nodes [unit of the worth].
    node_west, node_south, node_step : float
        First node and distance between nodes [m].
    sides : ndarray of float, shape (types, 2)
        Length and width [m].
    planted : ndarray of float, shape (types,)
        Planted area of a raft [m²].
    head_middle, head_half : ndarray of float, shape (rows, cols)
        Headings allowed to a raft whose centre lies in a cell: middle and half width of a band,
        counter-clockwise from grid east; empty where any is allowed [rad].
    head_place : ndarray of float, shape (3,)
        West and south corner and side of those cells [m].
    """

    edges: FloatArray
    cell_start: Any
    cell_items: Any
    band_start: Any
    band_items: Any
    west: float
    south: float
    cell: float
    rows: int
    cols: int
    nodes: FloatArray
    node_west: float
    node_south: float
    node_step: float
    sides: FloatArray
    planted: FloatArray
    head_middle: FloatArray
    head_half: FloatArray
    head_place: FloatArray


class Rafts(NamedTuple):
    """
    Rafts in the water; arrays with room for more than there are.

    Attributes
    ----------
    east, north : ndarray of float, shape (capacity,)
        Centres, working CRS [m].
    turn : ndarray of float, shape (capacity,)
        Long axis, counter-clockwise from grid east [rad].
    value : ndarray of float, shape (capacity,)
        Worth [worth of planted m²].
    kind : ndarray of int, shape (capacity,)
        Index of the type.
    """

    east: FloatArray
    north: FloatArray
    turn: FloatArray
    value: FloatArray
    kind: Any


class Terms(NamedTuple):
    """
    What rafts must keep, and what they pay.

    Attributes
    ----------
    gap : float
        Distance between rafts [m].
    step : float
        Coarsest step between places [m].
    prices : ndarray of float, shape (types,)
        What a raft of each type must be worth at least [worth of planted m²].
    use : ndarray of float, shape (limits, types)
        What a raft of each type adds to each sum that is bounded [unit of the limit].
    most : ndarray of float, shape (limits,)
        Limits of the sums [unit of the limit].
    """

    gap: float
    step: float
    prices: FloatArray
    use: FloatArray
    most: FloatArray


@numba.njit(cache=True)
def binned(edges: FloatArray, kinds: Any, types: int, box: FloatArray, rows: int, cols: int) -> Any:
    """
    Return which edges may pass through each cell of a grid.

    Parameters
    ----------
    edges : ndarray of float, shape (n, 4)
        Start and end [m].
    kinds : ndarray of int, shape (n,)
        Type whose region each edge bounds.
    types : int
        Number of types.
    box : ndarray of float, shape (4,)
        West, south, width and height of a cell [m].
    rows, cols : int
        Number of cells; what lies beyond them is put into the outermost.

    Returns
    -------
    ndarray of int, shape (types · rows · cols + 1,)
        Where each cell's edges begin in the list.
    ndarray of int
        Edges, cell after cell.
    """
    n = len(edges)
    span = np.empty((n, 4), np.int64)
    count = np.zeros(types * rows * cols + 1, np.int64)
    for k in range(n):
        for axis in range(2):
            low = min(edges[k, axis], edges[k, axis + 2]) - 1e-6
            high = max(edges[k, axis], edges[k, axis + 2]) + 1e-6
            most = (cols if axis == 0 else rows) - 1
            span[k, axis] = min(max(int((low - box[axis]) / box[axis + 2]), 0), most)
            span[k, axis + 2] = min(max(int((high - box[axis]) / box[axis + 2]), 0), most)
        for row in range(span[k, 1], span[k, 3] + 1):
            for col in range(span[k, 0], span[k, 2] + 1):
                count[(kinds[k] * rows + row) * cols + col + 1] += 1
    start = np.cumsum(count)
    fill = start[:-1].copy()
    items = np.empty(start[-1], np.int64)
    for k in range(n):
        for row in range(span[k, 1], span[k, 3] + 1):
            for col in range(span[k, 0], span[k, 2] + 1):
                cell = (kinds[k] * rows + row) * cols + col
                items[fill[cell]] = k
                fill[cell] += 1
    return start, items


@inner
def edges_near(water: Water, kind: int, east: float, north: float, reach: float) -> Any:
    """
    Return the edges of a type's region that may come within a distance of a point.

    Parameters
    ----------
    water : Water
        The water.
    kind : int
        The type.
    east, north : float
        The point [m].
    reach : float
        Distance, along each axis [m].

    Returns
    -------
    ndarray of int, shape (n,)
        Edges; one that passes several cells is there more than once.
    """
    r0 = min(max(int((north - reach - water.south) / water.cell), 0), water.rows - 1)
    r1 = min(max(int((north + reach - water.south) / water.cell), 0), water.rows - 1)
    c0 = min(max(int((east - reach - water.west) / water.cell), 0), water.cols - 1)
    c1 = min(max(int((east + reach - water.west) / water.cell), 0), water.cols - 1)
    total = 0
    for row in range(r0, r1 + 1):
        base = (kind * water.rows + row) * water.cols
        total += water.cell_start[base + c1 + 1] - water.cell_start[base + c0]
    out = np.empty(total, np.int64)
    n = 0
    for row in range(r0, r1 + 1):
        base = (kind * water.rows + row) * water.cols
        for j in range(water.cell_start[base + c0], water.cell_start[base + c1 + 1]):
            out[n] = water.cell_items[j]
            n += 1
    return out


@inner
def lies_inside(water: Water, kind: int, east: float, north: float) -> bool:
    """
    Tell whether a point lies in a type's region, by the edges west of it.

    Parameters
    ----------
    water : Water
        The water.
    kind : int
        The type.
    east, north : float
        The point [m].

    Returns
    -------
    bool
        True where an odd number of edges is passed.
    """
    row = min(max(int((north - water.south) / water.cell), 0), water.rows - 1)
    band = kind * water.rows + row
    inside = False
    for j in range(water.band_start[band], water.band_start[band + 1]):
        k = water.band_items[j]
        y0, y1 = water.edges[k, 1], water.edges[k, 3]
        if (y0 <= north) != (y1 <= north):
            x0, x1 = water.edges[k, 0], water.edges[k, 2]
            if x0 + (north - y0) / (y1 - y0) * (x1 - x0) < east:
                inside = not inside
    return inside


@inner
def worth_at(water: Water, kind: int, east: float, north: float) -> float:
    """
    Return the worth of a square metre at a point.

    Parameters
    ----------
    water : Water
        The water.
    kind : int
        The type.
    east, north : float
        The point [m].

    Returns
    -------
    float
        Worth there, that of the nearest node beyond the grid [unit of the worth].
    """
    last_row, last_col = water.nodes.shape[1] - 1, water.nodes.shape[2] - 1
    y = min(max((north - water.node_south) / water.node_step, 0.0), float(last_row))
    x = min(max((east - water.node_west) / water.node_step, 0.0), float(last_col))
    r, c = min(int(y), max(last_row - 1, 0)), min(int(x), max(last_col - 1, 0))
    up, right = y - r, x - c
    r1, c1 = min(r + 1, last_row), min(c + 1, last_col)
    below = (1 - right) * water.nodes[kind, r, c] + right * water.nodes[kind, r, c1]
    above = (1 - right) * water.nodes[kind, r1, c] + right * water.nodes[kind, r1, c1]
    return float((1 - up) * below + up * above)


@inner
def _band(water: Water, east: float, north: float) -> Any:
    """Return middle and half width of the band of headings allowed at a centre [rad]."""
    rows, cols = water.head_half.shape
    if rows == 0:
        return 0.0, np.pi
    west, south, step = water.head_place
    row = min(max(int(np.floor((north - south) / step)), 0), rows - 1)
    col = min(max(int(np.floor((east - west) / step)), 0), cols - 1)
    return water.head_middle[row, col], water.head_half[row, col]


@numba.njit(cache=True)
def may_head(water: Water, kind: int, pose: Any) -> bool:
    """
    Tell whether a raft lies as it may where it lies.

    Parameters
    ----------
    water : Water
        The water.
    kind : int
        Type of the raft; a square one may lie by either side.
    pose : tuple of float
        Easting, northing [m] and turn [rad].

    Returns
    -------
    bool
        True within the band of its cell.
    """
    middle, half = _band(water, pose[0], pose[1])
    if half >= np.pi / 2:
        return True
    period = np.pi / 2 if water.sides[kind, 0] == water.sides[kind, 1] else np.pi
    off = (pose[2] - middle) % period
    return bool(min(off, period - off) <= half + 1e-9)


@inner
def nearest_allowed(water: Water, east: float, north: float, turn: float) -> float:
    """
    Return the turn next to one, by which rafts may lie along or across.

    Parameters
    ----------
    water : Water
        The water.
    east, north : float
        Centre [m].
    turn : float
        Turn wished for, counter-clockwise from grid east [rad].

    Returns
    -------
    float
        The same turn where it is allowed [rad].
    """
    middle, half = _band(water, east, north)
    if half >= np.pi / 2:
        return turn
    half = max(half, 0.0)
    off = (turn - middle + np.pi / 4) % (np.pi / 2) - np.pi / 4
    return float(turn - off + min(max(off, -half), half))


@numba.njit(cache=True)
def raft_worth(water: Water, kind: int, east: float, north: float, turn: float) -> float:
    """
    Return what a raft is worth.

    Parameters
    ----------
    water : Water
        The water.
    kind : int
        The type.
    east, north, turn : float
        Centre [m] and long axis [rad].

    Returns
    -------
    float
        Planted area times the mean worth under the raft [worth of planted m²].
    """
    cos, sin = np.cos(turn), np.sin(turn)
    length, width = water.sides[kind, 0], water.sides[kind, 1]
    flat, wide = water.nodes[kind].ravel(), water.nodes.shape[2]
    last_row, last_col = water.nodes.shape[1] - 1, wide - 1
    north_by, east_by = (wide if last_row > 0 else 0), min(1, last_col)
    most_row, most_col = float(max(last_row - 1, 0)), float(max(last_col - 1, 0))
    node, up, right = np.empty(_SAMPLES, np.int64), np.empty(_SAMPLES), np.empty(_SAMPLES)
    total = 0.0
    for i in range(_SAMPLES):
        u = ((i + 0.5) / _SAMPLES - 0.5) * length
        # As `worth_at`; first where the points lie, which a processor does for several at once.
        for j in range(_SAMPLES):
            v = ((j + 0.5) / _SAMPLES - 0.5) * width
            at_east, at_north = east + u * cos - v * sin, north + u * sin + v * cos
            y = min(max((at_north - water.node_south) / water.node_step, 0.0), float(last_row))
            x = min(max((at_east - water.node_west) / water.node_step, 0.0), float(last_col))
            row, col = min(np.floor(y), most_row), min(np.floor(x), most_col)
            up[j], right[j] = y - row, x - col
            node[j] = int(row) * wide + int(col)
        for j in range(_SAMPLES):
            k = node[j]
            n = k + north_by
            below = (1 - right[j]) * flat[k] + right[j] * flat[k + east_by]
            above = (1 - right[j]) * flat[n] + right[j] * flat[n + east_by]
            total += (1 - up[j]) * below + up[j] * above
    return float(water.planted[kind] * total / _SAMPLES**2)


@inner
def _corner_gap(ahead: float, aside: float, turn: float, one: Any, other: Any) -> float:
    """Return the least squared distance from the corners of one rectangle to another."""
    cos, sin = np.cos(turn), np.sin(turn)
    best = np.inf
    for sign_u in (-1.0, 1.0):
        for sign_v in (-1.0, 1.0):
            u = ahead + sign_u * one[0] / 2 * cos - sign_v * one[1] / 2 * sin
            v = aside + sign_u * one[0] / 2 * sin + sign_v * one[1] / 2 * cos
            du = max(abs(u) - other[0] / 2, 0.0)
            dv = max(abs(v) - other[1] / 2, 0.0)
            best = min(best, du * du + dv * dv)
    return best


@numba.njit(cache=True)
def rectangles_apart(ahead: float, aside: float, turn: float, one: Any, other: Any) -> float:
    """
    Return the distance between two rectangles, seen from the second.

    Parameters
    ----------
    ahead, aside : float
        Centre of the first along and across the second's long axis [m].
    turn : float
        Turn of the first against the second [rad].
    one, other : array_like of float, shape (2,)
        Length and width of the first and the second [m].

    Returns
    -------
    float
        Distance; zero where they meet [m].
    """
    cos, sin = np.cos(turn), np.sin(turn)
    c, s = abs(cos), abs(sin)
    # Where no side's direction parts them they meet; apart, a corner is nearest to the other.
    is_apart = (
        abs(ahead) > (other[0] + one[0] * c + one[1] * s) / 2
        or abs(aside) > (other[1] + one[0] * s + one[1] * c) / 2
        or abs(ahead * cos + aside * sin) > (one[0] + other[0] * c + other[1] * s) / 2
        or abs(-ahead * sin + aside * cos) > (one[1] + other[0] * s + other[1] * c) / 2
    )
    if not is_apart:
        return 0.0
    back_ahead, back_aside = -(ahead * cos + aside * sin), -(-ahead * sin + aside * cos)
    return float(
        np.sqrt(
            min(
                _corner_gap(ahead, aside, turn, one, other),
                _corner_gap(back_ahead, back_aside, -turn, other, one),
            )
        )
    )


@inner
def keeps_gap(
    water: Water, rafts: Rafts, n: int, kind: int, pose: Any, gap: float, skip: int
) -> bool:
    """
    Tell whether a raft keeps the gap from all others.

    Parameters
    ----------
    water : Water
        The water.
    rafts : Rafts
        The others.
    n : int
        How many there are.
    kind : int
        Type of the raft.
    pose : tuple of float
        Easting, northing [m] and turn [rad].
    gap : float
        Distance to keep [m].
    skip : int
        Index of the raft itself among the others, or -1.

    Returns
    -------
    bool
        True where no other is nearer.
    """
    one = water.sides[kind]
    own = np.hypot(one[0], one[1]) / 2
    for i in range(n):
        other = water.sides[rafts.kind[i]]
        dx, dy = pose[0] - rafts.east[i], pose[1] - rafts.north[i]
        reach = own + np.hypot(other[0], other[1]) / 2 + gap
        if i == skip or dx * dx + dy * dy >= reach * reach:
            continue
        cos, sin = np.cos(rafts.turn[i]), np.sin(rafts.turn[i])
        apart = rectangles_apart(
            dx * cos + dy * sin, -dx * sin + dy * cos, pose[2] - rafts.turn[i], one, other
        )
        if apart < max(gap - 1e-9, 1e-12):
            return False
    return True


@numba.njit(cache=True)
def taken_in_turn(water: Water, rafts: Rafts, terms: Terms) -> int:
    """
    Take rafts in the order given, each that keeps the gap from those before it and the limits.

    Parameters
    ----------
    water : Water
        The water.
    rafts : Rafts
        Rafts to choose from; those taken are moved to the front.
    terms : Terms
        Gap and limits.

    Returns
    -------
    int
        How many were taken.
    """
    n: int = ZERO
    used = np.zeros(len(terms.most))
    for i in range(len(rafts.kind)):
        kind = rafts.kind[i]
        is_free = True
        for limit in range(len(used)):
            is_free &= used[limit] + terms.use[limit, kind] <= terms.most[limit] + 1e-9
        pose = (rafts.east[i], rafts.north[i], rafts.turn[i])
        if not is_free or not keeps_gap(water, rafts, n, kind, pose, terms.gap, _NONE):
            continue
        rafts.east[n], rafts.north[n], rafts.turn[n] = pose
        rafts.value[n], rafts.kind[n] = rafts.value[i], kind
        used += terms.use[:, kind]
        n += 1
    return n


@numba.njit(cache=True)
def fits_region(water: Water, kind: int, pose: Any) -> bool:
    """
    Tell whether a raft lies whole in its type's region.

    Parameters
    ----------
    water : Water
        The water.
    kind : int
        The type.
    pose : tuple of float
        Easting, northing [m] and turn [rad].

    Returns
    -------
    bool
        True where its centre is inside and no edge enters it.
    """
    half_u, half_v = water.sides[kind, 0] / 2 - 1e-9, water.sides[kind, 1] / 2 - 1e-9
    cos, sin = np.cos(pose[2]), np.sin(pose[2])
    if not lies_inside(water, kind, pose[0], pose[1]):
        return False
    for k in edges_near(water, kind, pose[0], pose[1], np.hypot(half_u, half_v)):
        x0, y0 = water.edges[k, 0] - pose[0], water.edges[k, 1] - pose[1]
        x1, y1 = water.edges[k, 2] - pose[0], water.edges[k, 3] - pose[1]
        u, v = x0 * cos + y0 * sin, -x0 * sin + y0 * cos
        du, dv = x1 * cos + y1 * sin - u, -x1 * sin + y1 * cos - v
        begin, end = 0.0, 1.0
        for at, step, half in ((u, du, half_u), (v, dv, half_v)):
            if abs(step) < 1e-12:
                if abs(at) >= half:
                    end = -1.0
                continue
            first, second = (-half - at) / step, (half - at) / step
            begin, end = max(begin, min(first, second)), min(end, max(first, second))
        if begin < end:
            return False
    return True


@numba.njit(cache=True)
def climbed(water: Water, rafts: Rafts, n: int, gap: float, steps: FloatArray) -> int:
    """
    Move and turn each raft uphill as long as it stays legal.

    Parameters
    ----------
    water : Water
        The water.
    rafts : Rafts
        Rafts, moved in place.
    n : int
        How many there are.
    gap : float
        Distance to keep [m].
    steps : ndarray of float, shape (k,)
        Lengths of the moves, from long to short [m].

    Returns
    -------
    int
        Moves made.
    """
    moves = 0
    for i in range(n):
        kind = rafts.kind[i]
        arm = np.hypot(water.sides[kind, 0], water.sides[kind, 1]) / 2
        for step in steps:
            for _ in range(20):
                best, best_pose = rafts.value[i] * (1 + 1e-9) + 1e-12, (0.0, 0.0, 0.0)
                found = False
                for move in range(10):
                    angle = rafts.turn[i] + move * np.pi / 4
                    far = step if move < 8 else 0.0
                    spin = 0.0 if move < 8 else (2.0 * move - 17.0) * step / arm
                    pose = (
                        rafts.east[i] + far * np.cos(angle),
                        rafts.north[i] + far * np.sin(angle),
                        rafts.turn[i] + spin,
                    )
                    value = raft_worth(water, kind, pose[0], pose[1], pose[2])
                    if (
                        value > best
                        and keeps_gap(water, rafts, n, kind, pose, gap, i)
                        and may_head(water, kind, pose)
                        and fits_region(water, kind, pose)
                    ):
                        best, best_pose, found = value, pose, True
                if not found:
                    break
                rafts.east[i], rafts.north[i], rafts.turn[i] = best_pose
                rafts.value[i] = best
                moves += 1
    return moves
