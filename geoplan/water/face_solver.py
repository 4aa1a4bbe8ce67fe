"""
Solves balances of flows through the faces of a grid that are alike both ways.

Conjugate gradients on one multigrid cycle a step. A coarser cell is four finer ones, the flow
between two of them that of a grid with twice the spacing. Beside other factors the whole costs a
fifth of making those of the matrix, in time and in memory.
"""

from typing import Any

import numba
import numpy as np

from geoplan.compiled import inner
from geoplan.water import FloatArray

#: Residual at which the iteration ends, of the right side [1], and steps at most.
_TIGHT = 1e-14
_MOST_STEPS = 100
#: Residual with which a solution is accepted, of the right side [1].
_ACCEPTED = 1e-11
#: Cells along the longer side of the coarsest grid, at most, and sweeps there.
_COARSEST, _SWEEPS = 4, 8


def through_faces(
    east: FloatArray, north: FloatArray, beside: FloatArray, right: FloatArray
) -> FloatArray | None:
    r"""
    Return the potential whose flow through faces carries sources off.

    Parameters
    ----------
    east : ndarray of float, shape (rows, cols - 1)
        Conductance of the face of each cell with its eastern neighbour, not negative [any unit].
    north : ndarray of float, shape (rows - 1, cols)
        The same with the northern neighbour [any unit].
    beside : ndarray of float, shape (rows, cols)
        Conductance of each cell to a potential of zero, not negative; in every part that is joined
        through faces it is positive somewhere [any unit].
    right : ndarray of float, shape (rows, cols)
        Source in each cell; zero in a cell without any conductance [any unit].

    Returns
    -------
    ndarray of float, shape (rows, cols), or None
        Potential, its balance closed to 1e-11 of the sources; zero in a cell without any
        conductance. ``None`` where the iteration did not come to that [unit of the source over
        that of the conductance].

    Notes
    -----
    Least squares of the error in the norm of the balance [1]_; the cycle is one sweep over the
    cells in two colours, down and up again, which is symmetric, so that it may stand before the
    gradients. Sums are taken in one order.

    References
    ----------
    .. [1] M. R. Hestenes and E. Stiefel, "Methods of conjugate gradients for solving linear
       systems", J. Res. Nat. Bur. Stand. 49, 409-436, 1952. :doi:`10.6028/jres.049.044`

    Examples
    --------
    >>> beside, right = np.array([[1.0, 0.0, 0.0]]), np.array([[0.0, 0.0, 2.0]])
    >>> through_faces(np.ones((1, 2)), np.zeros((0, 3)), beside, right).round(9).tolist()
    [[2.0, 4.0, 6.0]]
    """
    shapes = _shapes(right.shape)
    parts = _balances(shapes, east, north, beside)
    found = np.zeros((right.shape[0] + 2, right.shape[1] + 2))
    if not _conjugate(shapes, parts, np.pad(right, 1).ravel(), found.ravel()):
        return None
    return np.ascontiguousarray(found[1:-1, 1:-1])


def _shapes(shape: tuple[int, ...]) -> Any:
    """Return where each grid begins in the arrays, and its rows and columns with a border."""
    out = []
    rows, cols, at = *shape, 0
    while True:
        out.append((at, rows + 2, cols + 2))
        at += (rows + 2) * (cols + 2)
        if max(rows, cols) <= _COARSEST:
            return np.array([*out, (at, 0, 0)])
        rows, cols = (rows + 1) // 2, (cols + 1) // 2


@numba.njit(cache=True)
def _balances(shapes: Any, east: FloatArray, north: FloatArray, beside: FloatArray) -> FloatArray:
    """
    Return the balances of the cells of all grids, one after the other, by row.

    Rows: the conductance to the east and to the north, to a potential of zero, the sum of all and
    its inverse, zero for a cell without any.
    """
    parts = np.zeros((5, shapes[-1, 0]))
    rows, cols = shapes[0, 1], shapes[0, 2]
    for i in range(rows - 2):
        for j in range(cols - 2):
            k = (i + 1) * cols + j + 1
            if j < cols - 3:
                parts[0, k] = east[i, j]
            if i < rows - 3:
                parts[1, k] = north[i, j]
            parts[2, k] = beside[i, j]
    for level in range(1, len(shapes) - 1):
        _coarsen(shapes, level, parts)
    for level in range(len(shapes) - 1):
        at, rows, cols = shapes[level]
        for k in range(at + cols, at + (rows - 1) * cols):
            total = parts[0, k] + parts[0, k - 1] + parts[1, k] + parts[1, k - cols] + parts[2, k]
            parts[3, k] = total
            parts[4, k] = 1 / total if total > 0 else 0.0
    return parts


@inner
def _coarsen(shapes: Any, level: int, parts: FloatArray) -> None:
    """Fill in the conductances of a coarser grid: half of what passes between its cells."""
    fine_at, fine_rows, fine_cols = shapes[level - 1]
    at, _, cols = shapes[level]
    for i in range(1, fine_rows - 1):
        for j in range(1, fine_cols - 1):
            k = fine_at + i * fine_cols + j
            to = at + (i + 1 >> 1) * cols + (j + 1 >> 1)
            if j % 2 == 0:
                parts[0, to] += parts[0, k] / 2
            if i % 2 == 0:
                parts[1, to] += parts[1, k] / 2
            parts[2, to] += parts[2, k]


@inner
def _sweep(shape: Any, parts: Any, x: FloatArray, b: FloatArray, colour: int) -> None:
    """Balance every other cell of a grid with those round it."""
    at, rows, cols = shape
    for i in range(1, rows - 1):
        first = at + i * cols
        for k in range(first + 1 + (i + colour) % 2, first + cols - 1, 2):
            x[k] = parts[4, k] * (
                b[k]
                + parts[0, k] * x[k + 1]
                + parts[0, k - 1] * x[k - 1]
                + parts[1, k] * x[k + cols]
                + parts[1, k - cols] * x[k - cols]
            )


@inner
def _rest(shapes: Any, level: int, parts: Any, x: FloatArray, b: FloatArray) -> None:
    """Fill in the right side of the coarser grid, and begin there from nothing."""
    fine_at, fine_rows, fine_cols = shapes[level]
    at, rows, cols = shapes[level + 1]
    x[at : at + rows * cols] = 0.0
    b[at : at + rows * cols] = 0.0
    for i in range(1, fine_rows - 1):
        first, to = fine_at + i * fine_cols, at + (i + 1 >> 1) * cols
        # The other colour was balanced last: nothing is left there.
        for j in range(1 + i % 2, fine_cols - 1, 2):
            k = first + j
            b[to + (j + 1 >> 1)] += (
                b[k]
                + parts[0, k] * x[k + 1]
                + parts[0, k - 1] * x[k - 1]
                + parts[1, k] * x[k + fine_cols]
                + parts[1, k - fine_cols] * x[k - fine_cols]
                - parts[3, k] * x[k]
            )


@inner
def _cycle(shapes: Any, parts: Any, x: FloatArray, b: FloatArray) -> None:
    """Fill in the first grid's near solution for its right side, by all grids."""
    last = len(shapes) - 2
    x[: shapes[1, 0]] = 0.0
    for level in range(last):
        _sweep(shapes[level], parts, x, b, 0)
        _sweep(shapes[level], parts, x, b, 1)
        _rest(shapes, level, parts, x, b)
    for turn in range(2 * _SWEEPS):
        colour = turn if turn < _SWEEPS else turn + 1  # the same forth and back
        _sweep(shapes[last], parts, x, b, colour % 2)
    for level in range(last - 1, -1, -1):
        fine_at, fine_rows, fine_cols = shapes[level]
        at, _, cols = shapes[level + 1]
        for i in range(1, fine_rows - 1):
            for j in range(1, fine_cols - 1):
                k = fine_at + i * fine_cols + j
                if parts[4, k] > 0:
                    x[k] += x[at + (i + 1 >> 1) * cols + (j + 1 >> 1)]
        _sweep(shapes[level], parts, x, b, 1)
        _sweep(shapes[level], parts, x, b, 0)


@inner
def _dot(one: FloatArray, other: FloatArray) -> float:
    """Return the sum of products, in four sums side by side: one waits for its last term."""
    a = b = c = d = 0.0
    whole = len(one) // 4 * 4
    for k in range(0, whole, 4):
        a += one[k] * other[k]
        b += one[k + 1] * other[k + 1]
        c += one[k + 2] * other[k + 2]
        d += one[k + 3] * other[k + 3]
    for k in range(whole, len(one)):
        a += one[k] * other[k]
    return float((a + b) + (c + d))


@numba.njit(cache=True)
def _conjugate(shapes: Any, parts: Any, right: FloatArray, found: FloatArray) -> bool:
    """Fill in the solution, and tell whether its residual is as small as can be asked."""
    _, rows, cols = shapes[0]
    size = len(right)
    x, b = np.zeros(shapes[-1, 0]), np.zeros(shapes[-1, 0])
    rest, way, pushed = right.copy(), np.zeros(size), np.zeros(size)
    end = _TIGHT**2 * _dot(right, right)
    gain = 1.0
    for _ in range(_MOST_STEPS):
        if _dot(rest, rest) <= end:
            break
        b[:size] = rest
        _cycle(shapes, parts, x, b)
        next_gain = _dot(rest, x[:size])
        for k in range(size):
            way[k] = x[k] + (next_gain / gain) * way[k]
        gain = next_gain
        _push(rows, cols, parts, way, pushed)
        step = gain / _dot(way, pushed)
        for k in range(size):
            found[k] += step * way[k]
            rest[k] -= step * pushed[k]
    _push(rows, cols, parts, found, pushed)
    rest[:] = right - pushed
    return bool(_dot(rest, rest) <= _ACCEPTED**2 * _dot(right, right))


@inner
def _push(rows: int, cols: int, parts: Any, x: FloatArray, out: FloatArray) -> None:
    """Fill in what cells give to those round them."""
    for k in range(cols, (rows - 1) * cols):
        out[k] = parts[3, k] * x[k] - (
            parts[0, k] * x[k + 1]
            + parts[0, k - 1] * x[k - 1]
            + parts[1, k] * x[k + cols]
            + parts[1, k - cols] * x[k - cols]
        )
