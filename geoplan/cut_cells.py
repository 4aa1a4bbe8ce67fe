"""
Between cells and polygons: cells as polygons, and cells and their faces cut by polygons.

All of it is exact. The area bound counts cells on the edge of a region with the very share inside,
and water passes between cells through what is open of their face.
"""

import numba
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geoplan.compiled import ZERO, inner
from geoplan.grid import BoolArray
from geoplan.site import FloatArray


def cells_polygon(
    west_m: float, south_m: float, cell_size_m: float, cells: BoolArray
) -> BaseGeometry:
    """
    Return the union of cells as polygons.

    Parameters
    ----------
    west_m, south_m : float
        Lower left corner of cell (0, 0) [m].
    cell_size_m : float
        Side of a cell [m].
    cells : ndarray of bool, shape (rows, cols)
        Those wanted.

    Returns
    -------
    BaseGeometry
        Union of whole squares [m].

    Examples
    --------
    >>> cells_polygon(0.0, 0.0, 0.5, np.array([[True, True], [False, True]])).area
    0.75
    """
    step = np.diff(np.pad(cells, ((0, 0), (1, 1))).astype(np.int8), axis=1)
    rows, first = np.nonzero(step == 1)
    _, last = np.nonzero(step == -1)
    runs = shapely.box(
        west_m + first * cell_size_m,
        south_m + rows * cell_size_m,
        west_m + last * cell_size_m,
        south_m + (rows + 1) * cell_size_m,
    )
    return shapely.union_all(runs)


def cell_coverage(
    region: BaseGeometry, west_m: float, south_m: float, cell_size_m: float, shape: tuple[int, int]
) -> FloatArray:
    """
    Return the share of each cell that lies inside polygons.

    Parameters
    ----------
    region : Polygon or MultiPolygon
        Valid polygons [m].
    west_m, south_m : float
        Lower left corner of cell (0, 0) [m].
    cell_size_m : float
        Side of a cell [m].
    shape : tuple of int
        Rows and columns; the region must lie within them.

    Returns
    -------
    ndarray of float, shape (rows, cols)
        Share from 0 to 1, exact to rounding [1].

    Raises
    ------
    ValueError
        If the region reaches beyond the cells.

    Notes
    -----
    By Green's theorem the share is a sum over the edges: each piece of an edge within one cell
    adds its rise to every cell east of it, and its own cell the part east of the piece.

    Examples
    --------
    >>> cell_coverage(shapely.box(0.5, 0, 2, 1), 0.0, 0.0, 1.0, (1, 3))
    array([[0.5, 1. , 0. ]])
    """
    share = np.zeros((shape[0], shape[1] + 1))
    for part in shapely.get_parts(region):
        if part.is_empty:
            continue
        oriented = shapely.orient_polygons(part)
        for ring in (oriented.exterior, *oriented.interiors):
            corners = shapely.get_coordinates(ring)
            cells = (corners - (west_m, south_m)) / cell_size_m
            low, high = cells.min(axis=0), cells.max(axis=0)
            if low.min() < 0 or high[0] > shape[1] or high[1] > shape[0]:
                raise ValueError("the region reaches beyond the cells")
            _add_ring(share, cells)
    covered: FloatArray = np.clip(-np.cumsum(share, axis=1)[:, :-1], 0.0, 1.0)
    return np.where(covered < 1e-12, 0.0, covered)


def ring_edges(region: BaseGeometry) -> FloatArray:
    """
    Return the edges of the rings of polygons.

    Parameters
    ----------
    region : Polygon or MultiPolygon
        Polygons [m].

    Returns
    -------
    ndarray of float, shape (n, 4)
        Start and end of each edge, ring after ring [m].

    Examples
    --------
    >>> ring_edges(shapely.box(0, 0, 2, 1))[0].tolist()
    [2.0, 0.0, 2.0, 1.0]
    """
    rings = shapely.get_rings(shapely.get_parts(region))
    corners, ring = shapely.get_coordinates(rings, return_index=True)
    edges: FloatArray = np.hstack([corners[:-1], corners[1:]])[ring[:-1] == ring[1:]]
    return edges


@inner
def sort_rows(rows: FloatArray) -> None:
    """
    Sort rows by their first column, in place.

    Parameters
    ----------
    rows : ndarray of float, shape (n, k)
        Rows; those with the same first column may change places [any unit].

    Notes
    -----
    A heap sort. Sorts of numpy would do, but are compiled anew for every shape and take seconds.
    """
    n = len(rows)
    for top in range(n // 2 - 1, -1, -1):
        _sink(rows, top, n)
    for end in range(n - 1, 0, -1):
        for k in range(rows.shape[1]):
            rows[0, k], rows[end, k] = rows[end, k], rows[0, k]
        _sink(rows, ZERO, end)


@inner
def sort_near_rows(rows: FloatArray) -> None:
    """
    Sort rows that are nearly in order by their first column, in place.

    Parameters
    ----------
    rows : ndarray of float, shape (n, k)
        Rows, few of them far from their place [any unit].
    """
    for place in range(1, len(rows)):
        at = place
        while at > 0 and rows[at - 1, 0] > rows[at, 0]:
            for k in range(rows.shape[1]):
                rows[at, k], rows[at - 1, k] = rows[at - 1, k], rows[at, k]
            at -= 1


@inner
def _sink(rows: FloatArray, top: int, end: int) -> None:
    """Let a row sink to its place in a heap of the rows before an end."""
    while 2 * top + 1 < end:
        child = 2 * top + 1
        if child + 1 < end and rows[child, 0] < rows[child + 1, 0]:
            child += 1
        if rows[top, 0] >= rows[child, 0]:
            return
        for k in range(rows.shape[1]):
            rows[top, k], rows[child, k] = rows[child, k], rows[top, k]
        top = child


@numba.njit(cache=True)
def _add_ring(share: FloatArray, corners: FloatArray) -> None:
    """Add the rise of every edge of a ring to the cells that it crosses."""
    last_row, last_col = share.shape[0] - 1, share.shape[1] - 2
    for k in range(len(corners) - 1):
        x0, y0 = corners[k]
        x1, y1 = corners[k + 1]
        lines = int(abs(np.floor(x1) - np.floor(x0)) + abs(np.floor(y1) - np.floor(y0)))
        at = np.empty((lines + 4, 1))
        at[0, 0] = 0.0
        n = 1
        if x1 != x0:
            for line in range(int(np.ceil(min(x0, x1))), int(np.floor(max(x0, x1))) + 1):
                at[n, 0] = (line - x0) / (x1 - x0)
                n += 1
        if y1 != y0:
            for line in range(int(np.ceil(min(y0, y1))), int(np.floor(max(y0, y1))) + 1):
                at[n, 0] = (line - y0) / (y1 - y0)
                n += 1
        at[n, 0] = 1.0
        sort_rows(at[: n + 1])
        for c in range(n):
            middle = 0.5 * (at[c, 0] + at[c + 1, 0])
            rise = (at[c + 1, 0] - at[c, 0]) * (y1 - y0)
            x = x0 + middle * (x1 - x0)
            row = min(max(int(np.floor(y0 + middle * (y1 - y0))), 0), last_row)
            col = min(max(int(np.floor(x)), 0), last_col)
            share[row, col] += rise * (col + 1 - x)
            share[row, col + 1] += rise * (x - col)


def face_shares(
    region: BaseGeometry, west_m: float, south_m: float, cell_size_m: float, shape: tuple[int, int]
) -> tuple[FloatArray, FloatArray]:
    """
    Return the share of the faces between cells that lies inside polygons.

    Parameters
    ----------
    region : Polygon or MultiPolygon
        Valid polygons [m].
    west_m, south_m : float
        Lower left corner of cell (0, 0) [m].
    cell_size_m : float
        Side of a cell [m].
    shape : tuple of int
        Rows and columns.

    Returns
    -------
    ndarray of float, shape (rows, cols - 1)
        Share of the face to the eastern neighbour, exact to rounding [1].
    ndarray of float, shape (rows - 1, cols)
        Share of the face to the northern neighbour [1].

    Examples
    --------
    >>> east, north = face_shares(shapely.box(0, 0, 2, 0.25), 0.0, 0.0, 1.0, (2, 2))
    >>> east.tolist(), north.tolist()
    ([[0.25], [0.0]], [[0.0, 0.0]])
    """
    ends = (ring_edges(region) - (west_m, south_m, west_m, south_m)) / cell_size_m
    turned = np.ascontiguousarray(ends[:, [1, 0, 3, 2]])
    east = _line_shares(ends, shape[1], shape[0])[1:].T
    north = _line_shares(turned, shape[0], shape[1])[1:]
    return np.ascontiguousarray(east), north


@numba.njit(cache=True)
def _line_shares(edges: FloatArray, lines: int, cells: int) -> FloatArray:
    """Return how much of each unit of the lines x = 0, 1, ... lies inside, shape (lines, cells)."""
    count = np.zeros(lines + 1, np.int64)
    for k in range(len(edges)):
        low, high = min(edges[k, 0], edges[k, 2]), max(edges[k, 0], edges[k, 2])
        for line in range(max(0, int(np.ceil(low))), min(lines - 1, int(np.ceil(high)) - 1) + 1):
            count[line + 1] += 1
    start = np.cumsum(count)
    fill = start[:-1].copy()
    crossing = np.empty((start[-1], 1))
    for k in range(len(edges)):
        x0, y0, x1, y1 = edges[k]
        for line in range(
            max(0, int(np.ceil(min(x0, x1)))), min(lines - 1, int(np.ceil(max(x0, x1))) - 1) + 1
        ):
            crossing[fill[line], 0] = y0 + (line - x0) / (x1 - x0) * (y1 - y0)
            fill[line] += 1
    out = np.zeros((lines, cells))
    for line in range(lines):
        ends = crossing[start[line] : start[line + 1]]
        sort_rows(ends)
        for pair in range(0, len(ends) - 1, 2):
            low, high = max(ends[pair, 0], 0.0), min(ends[pair + 1, 0], float(cells))
            cell = int(np.floor(low))
            while cell < high and cell < cells:
                out[line, cell] += min(high, cell + 1.0) - max(low, float(cell))
                cell += 1
    return out
