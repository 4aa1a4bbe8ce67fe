"""The hot loops of packing by rows, compiled: legal places, and a row worth most."""

from typing import Any

import numba
import numpy as np

from geoplan.compiled import inner
from geoplan.cut_cells import sort_near_rows
from geoplan.grid import BoolArray
from geoplan.site import FloatArray


@numba.njit(cache=True)
def legal_places(
    edges: FloatArray,
    low: FloatArray,
    along: float,
    across: float,
    dx: float,
    dy: float,
    strips: int,
    places: int,
) -> BoolArray:
    """
    Return where a raft's rectangle meets no edge of the region and lies inside it.

    Parameters
    ----------
    edges : ndarray of float, shape (n, 4)
        Edges of the region's rings in frame coordinates, start and end, best in the order of their
        western ends [m].
    low : ndarray of float, shape (2,)
        Lower left corner of place (0, 0) [m].
    along, across : float
        Sides of the raft along and across the rows [m].
    dx, dy : float
        Steps along and across the rows [m].
    strips, places : int
        Size of the frame.

    Returns
    -------
    ndarray of bool, shape (strips, places)
        True where the raft, its corner at that place, lies in the region.
    """
    count = np.zeros(strips + 1, np.int64)
    first = np.empty(len(edges), np.int64)
    last = np.empty(len(edges), np.int64)
    for k in range(len(edges)):
        bottom = min(edges[k, 1], edges[k, 3]) - low[1]
        top = max(edges[k, 1], edges[k, 3]) - low[1]
        first[k] = max(0, int(np.ceil((bottom - across) / dy - 1e-9)))
        last[k] = min(strips - 1, int(np.floor(top / dy + 1e-9)))
        for s in range(first[k], last[k] + 1):
            count[s + 1] += 1
    start = np.cumsum(count)
    fill = start[:-1].copy()
    owner = np.empty(start[-1], np.int64)
    for k in range(len(edges)):
        for s in range(first[k], last[k] + 1):
            owner[fill[s]] = k
            fill[s] += 1
    legal = np.zeros((strips, places), np.bool_)
    for s in range(strips):
        mine = owner[start[s] : start[s + 1]]
        shadow, crossing = _shadows(edges, mine, s * dy + low[1], across)
        if len(shadow) > 0:
            _mark_strip(shadow, crossing, low[0], along, dx, legal[s])
    return legal


@inner
def _shadows(edges: FloatArray, mine: Any, bottom: float, across: float) -> Any:
    """Return the sorted shadows of edges on a strip, and where they cross its middle."""
    top, middle = bottom + across, bottom + across / 2
    shadow = np.empty((len(mine), 2))
    crossing = np.empty((len(mine), 1))
    n_shadow = n_crossing = 0
    for k in mine:
        x0, y0, x1, y1 = edges[k, 0], edges[k, 1], edges[k, 2], edges[k, 3]
        if y0 > y1:
            x0, y0, x1, y1 = x1, y1, x0, y0
        if y1 <= bottom or y0 >= top:
            continue
        slope = (x1 - x0) / (y1 - y0) if y1 > y0 else 0.0
        a = x0 + slope * (max(y0, bottom) - y0)
        b = x0 + slope * (min(y1, top) - y0) if y1 > y0 else x1
        shadow[n_shadow, 0] = min(a, b)
        shadow[n_shadow, 1] = max(a, b)
        n_shadow += 1
        if y0 <= middle < y1:
            crossing[n_crossing, 0] = x0 + slope * (middle - y0)
            n_crossing += 1
    sort_near_rows(shadow[:n_shadow])
    sort_near_rows(crossing[:n_crossing])
    return shadow[:n_shadow], crossing[:n_crossing]


@inner
def _mark_strip(
    shadow: FloatArray, crossing: FloatArray, west: float, along: float, dx: float, legal: BoolArray
) -> None:
    """Mark the legal places of a strip: between shadows, where an odd number of edges is passed."""
    end = shadow[0, 1]
    passed = 0
    for j in range(1, len(shadow)):
        begin = shadow[j, 0]
        if begin - end >= along:
            while passed < len(crossing) and crossing[passed, 0] < (begin + end) / 2:
                passed += 1
            if passed % 2 == 1:
                first = int(np.ceil((end - west) / dx - 1e-9))
                last = int(np.floor((begin - along - west) / dx + 1e-9))
                legal[max(first, 0) : min(last, len(legal) - 1) + 1] = True
        end = max(end, shadow[j, 1])


@inner
def fill_row(value: FloatArray, price: float, per_raft: int, best: FloatArray) -> None:
    """
    Fill in the best worth of the places up to each, every raft paying the price.

    Parameters
    ----------
    value : ndarray of float, shape (places,)
        Worth of a raft at each place; -inf where none may lie [worth of planted m²].
    price : float
        Price of a raft [worth of planted m²].
    per_raft : int
        Least steps from raft to raft.
    best : ndarray of float, shape (places + 1,) or longer
        Filled in: best worth of the first places [worth of planted m²].
    """
    most = best[0]
    for i in range(len(value)):
        take = value[i] - price
        if take > 0:
            if i >= per_raft:
                take += best[i + 1 - per_raft]
            most = max(most, take)
        best[i + 1] = most


@numba.njit(cache=True)
def bilinear(nodes: FloatArray, rows: FloatArray, cols: FloatArray) -> FloatArray:
    """
    Return a bilinear surface at points, the nearest value beyond its edge.

    Parameters
    ----------
    nodes : ndarray of float, shape (rows, cols)
        Values at the nodes [any unit].
    rows, cols : ndarray of float, shape (n,)
        Points, in steps from node (0, 0) [1].

    Returns
    -------
    ndarray of float, shape (n,)
        Values there, in the unit of the nodes.
    """
    last_row, last_col = nodes.shape[0] - 1, nodes.shape[1] - 1
    out = np.empty(len(rows))
    for k in range(len(rows)):
        y = min(max(rows[k], 0.0), float(last_row))
        x = min(max(cols[k], 0.0), float(last_col))
        r, c = min(int(y), max(last_row - 1, 0)), min(int(x), max(last_col - 1, 0))
        up, right = y - r, x - c
        r1, c1 = min(r + 1, last_row), min(c + 1, last_col)
        out[k] = (1 - up) * ((1 - right) * nodes[r, c] + right * nodes[r, c1]) + up * (
            (1 - right) * nodes[r1, c] + right * nodes[r1, c1]
        )
    return out


@inner
def range_of(counts: Any) -> Any:
    """
    Return the least and the greatest of counts.

    Parameters
    ----------
    counts : ndarray of int, shape (n,)
        Counts; at least one.

    Returns
    -------
    int
        The least.
    int
        The greatest.
    """
    least = greatest = counts[0]
    for count in counts:
        least, greatest = min(least, count), max(greatest, count)
    return least, greatest


@inner
def extremes(sides: FloatArray) -> Any:
    """
    Return how far rafts reach.

    Parameters
    ----------
    sides : ndarray of float, shape (n, 2)
        Length and width of each type [m].

    Returns
    -------
    float
        The longest diagonal [m].
    float
        The longest side [m].
    float
        The shortest side [m].
    """
    diagonal, longest, least = 0.0, 0.0, np.inf
    for k in range(len(sides)):
        diagonal = max(diagonal, np.hypot(sides[k, 0], sides[k, 1]))
        longest = max(longest, sides[k, 0], sides[k, 1])
        least = min(least, sides[k, 0], sides[k, 1])
    return diagonal, longest, least


@inner
def best_stack(value: FloatArray, pays: Any, apart: Any, depth: Any) -> Any:
    """
    Return the rafts of the best stack of rows of several kinds.

    Parameters
    ----------
    value : ndarray of float, shape (kinds, strips, places)
        Worth of a raft of each kind at each place; none where it is not above 0
        [worth of planted m²].
    pays : ndarray of bool, shape (kinds, strips)
        Strips that hold such a place.
    apart, depth : ndarray of int, shape (kinds,)
        Least steps from raft to raft along a row, and from a row to the next.

    Returns
    -------
    ndarray of int, shape (n, 3)
        Kind, strip and place of each.
    """
    kinds, strips, places = value.shape
    best, row = np.zeros(places + 1), np.zeros((kinds, strips))
    for k in range(kinds):
        for s in range(strips):
            if pays[k, s]:
                fill_row(value[k, s], 0.0, apart[k], best)
                row[k, s] = best[places]
    chosen = _chosen(row, depth)
    least, _ = range_of(apart)
    shallow, _ = range_of(depth)
    found = np.empty(((strips // shallow + 2) * (places // least + 2), 3), np.int64)
    n, level = 0, len(chosen) - 1
    while level > 0:
        k = chosen[level]
        if k < 0:
            level -= 1
            continue
        level -= depth[k]
        fill_row(value[k, level], 0.0, apart[k], best)
        more = n + places_of_row(best, apart[k], found[n:, 2])
        found[n:more, 0], found[n:more, 1] = k, level
        n = more
    return found[:n]


@inner
def places_of_row(best: Any, per_raft: int, found: Any) -> int:
    """
    Fill in the places of a row's rafts.

    Parameters
    ----------
    best : ndarray of float, shape (places + 1,)
        From ``fill_row`` [worth of planted m²].
    per_raft : int
        Least steps from raft to raft.
    found : ndarray of int
        Filled in: the places, the last first.

    Returns
    -------
    int
        How many there are.
    """
    n, i = 0, len(best) - 2
    while i >= 0:
        if best[i + 1] > best[i]:
            found[n] = i
            n += 1
            i -= per_raft
        else:
            i -= 1
    return n


@inner
def _chosen(row: FloatArray, depth: Any) -> Any:
    """Return the kind of the row that ends at each level in the best stack of rows, or -1."""
    kinds, strips = row.shape
    _, deepest = range_of(depth)
    levels = strips + deepest
    total = np.zeros(levels + 1)
    chosen = np.full(levels + 1, -1)
    for level in range(1, levels + 1):
        total[level] = total[level - 1]
        for k in range(kinds):
            s = level - depth[k]
            if 0 <= s < strips and total[s] + row[k, s] > total[level]:
                total[level], chosen[level] = total[s] + row[k, s], k
    return chosen
