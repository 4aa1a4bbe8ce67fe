"""
Which boxes of poses may hold a legal one, by interval branch and bound, compiled.

No legal raft has a point of its region's boundary in its inside, so a box of poses holds none where
every part of it has one there.
"""

import math
from typing import Any

import numba
import numpy as np

from geoplan.compiled import inner
from geoplan.placement.sum_kernels import HEADINGS
from geoplan.site import FloatArray

#: Shift of a raft's points below which a box of poses is taken to hold a legal one [m].
_TOLERANCE_M = 0.02


@inner
def near_points(shore: Any, row: int, col: int, near: FloatArray) -> int:
    """
    Collect the points of the boundary within reach of rafts in a box of the lattice.

    Parameters
    ----------
    shore : tuple
        Points of the boundary, sorted from the west, shape (k, 2) [m], distance between lattice
        poses [m], half the raft's length and width [m].
    row, col : int
        The box's first corner on the lattice.
    near : ndarray of float, shape (n, 2)
        Filled in with the points, that nearest to the box's middle first [m].

    Returns
    -------
    int
        How many they are.
    """
    edge, spacing, half_length, half_width = shore
    y, x = (row + 0.5) * spacing, (col + 0.5) * spacing
    far = math.hypot(half_length, half_width) + spacing
    first = np.searchsorted(edge[:, 0], x - far)
    last = np.searchsorted(edge[:, 0], x + far)
    count, least = 0, far * far
    for e in range(first, last):
        dx, dy = edge[e, 0] - x, edge[e, 1] - y
        away = dx * dx + dy * dy
        if away < far * far:
            near[count, 0], near[count, 1] = edge[e, 0], edge[e, 1]
            if away < least:
                # Where a point lies inside all rafts of a box, the first that is looked at does.
                near[count, 0], near[count, 1] = near[0, 0], near[0, 1]
                near[0, 0], near[0, 1] = edge[e, 0], edge[e, 1]
                least = away
            count += 1
    return count


@inner
def _deepest_point(
    east: float,
    north: float,
    ahead: Any,
    shift: float,
    turn: float,
    near: FloatArray,
    half_length: float,
    half_width: float,
) -> float:
    """
    Return how deep in a box's middle raft the deepest point lies.

    It is infinite where a point lies inside every raft of the box, and minus infinite where no
    point can lie inside any.
    """
    deepest, nearest = -np.inf, -np.inf
    for k in range(len(near)):
        dx, dy = near[k, 0] - east, near[k, 1] - north
        inside = min(
            half_length - abs(dx * ahead[0] + dy * ahead[1]),
            half_width - abs(dx * ahead[1] - dy * ahead[0]),
        )
        reach = shift + math.sqrt(dx * dx + dy * dy) * turn
        if inside > 0.0 and inside > reach:
            return np.inf
        deepest = max(deepest, inside)
        nearest = max(nearest, inside + reach)
    return deepest if nearest > 0.0 else -np.inf


@inner
def box_state(
    x: float,
    y: float,
    heading: float,
    half: float,
    half_turn: float,
    near: FloatArray,
    size: Any,
    stack: FloatArray,
) -> int:
    """
    Tell whether a box of poses may hold one without a boundary point inside it.

    Parameters
    ----------
    x, y : float
        Middle of the box [m].
    heading : float
        Its middle heading, clockwise from north [rad].
    half, half_turn : float
        Half its side [m] and half its headings [rad].
    near : ndarray of float, shape (n, 2)
        Points of the boundary near it [m].
    size : tuple of float
        Half the raft's length and width [m].
    stack : ndarray of float, shape (256, 5)
        Room to work in [any].

    Returns
    -------
    int
        0 for none, 1 where some may be, 2 where no point is within reach of any.
    """
    far = math.hypot(size[0], size[1])
    stack[0, 0], stack[0, 1], stack[0, 2], stack[0, 3], stack[0, 4] = x, y, heading, half, half_turn
    n = 1
    while n > 0:
        n -= 1
        cx, cy, angle, move, turn = stack[n]
        ahead_x, ahead_y = math.sin(angle), math.cos(angle)
        shift = move * (abs(ahead_x) + abs(ahead_y))
        deepest = _deepest_point(cx, cy, (ahead_x, ahead_y), shift, turn, near, size[0], size[1])
        if deepest == -np.inf and n == 0 and move == half and turn == half_turn:
            return 2
        if deepest == np.inf:
            continue
        # The pose in the middle is one that the box holds.
        if deepest <= 0.0 or shift + far * turn < _TOLERANCE_M or n > 246:
            return 1
        if shift > far * turn:
            for k in range(4):
                stack[n, 0], stack[n, 1] = cx + (k % 2 - 0.5) * move, cy + (k // 2 - 0.5) * move
                stack[n, 2], stack[n, 3], stack[n, 4] = angle, move / 2, turn
                n += 1
        else:
            for k in range(2):
                stack[n, 0], stack[n, 1], stack[n, 2] = cx, cy, angle + (k - 0.5) * turn
                stack[n, 3], stack[n, 4] = move, turn / 2
                n += 1
    return 0


@numba.njit(cache=True)
def box_states(
    boxes: Any, edge: FloatArray, spacing: float, half_length: float, half_width: float
) -> Any:
    """
    Tell for each square of the lattice and heading step whether it may hold a legal pose.

    Parameters
    ----------
    boxes : ndarray of int, shape (n, 2)
        Rows and columns of squares.
    edge : ndarray of float, shape (k, 2)
        Points of the region's boundary, sorted from the west [m].
    spacing : float
        Distance between lattice poses [m].
    half_length, half_width : float
        Half the raft's sides [m].

    Returns
    -------
    ndarray of int, shape (headings, n)
        States as of `box_state`.
    """
    out = np.zeros((HEADINGS, len(boxes)), np.int64)
    near, stack = np.empty((len(edge), 2)), np.empty((256, 5))
    shore = (edge, spacing, half_length, half_width)
    for b in range(len(boxes)):
        count = near_points(shore, boxes[b, 0], boxes[b, 1], near)
        if count == 0:
            out[:, b] = 2
            continue
        y, x = (boxes[b, 0] + 0.5) * spacing, (boxes[b, 1] + 0.5) * spacing
        for turn in range(HEADINGS):
            out[turn, b] = box_state(
                x, y, (turn + 0.5) * math.pi / HEADINGS, spacing / 2, math.pi / HEADINGS / 2,
                near[:count], (half_length, half_width), stack,
            )  # fmt: skip
    return out


@numba.njit(cache=True)
def boxes_of(states: Any, squares: Any, rows: int, cols: int) -> Any:
    """
    Return the boxes that may hold a legal pose, and the lattice poses at their corners.

    Parameters
    ----------
    states : ndarray of int, shape (headings, n)
        States of squares as of `box_state`.
    squares : ndarray of int, shape (n, 2)
        Their rows and columns.
    rows, cols : int
        Squares of the lattice along each axis.

    Returns
    -------
    tuple of ndarray of int
        Poses, boxes and corners as `PoseBoxes` has them; boxes by headings, then as the squares.
    """
    number = np.full((HEADINGS, rows + 1, cols + 1), -1, np.int32)
    count = 0
    for turn in range(HEADINGS):
        for n in range(len(squares)):
            if states[turn, n]:
                count += 1
                for k in range(8):
                    i, j = squares[n, 0] + k // 2 % 2, squares[n, 1] + k % 2
                    number[(turn + k // 4) % HEADINGS, i, j] = 0
    poses = _numbered(number)
    boxes, corners = np.empty((count, 4), np.int64), np.empty((count, 8), np.int32)
    b = 0
    for turn in range(HEADINGS):
        for n in range(len(squares)):
            if states[turn, n]:
                row, col = squares[n]
                boxes[b, 0], boxes[b, 1], boxes[b, 2] = turn, row, col
                boxes[b, 3] = states[turn, n] == 1
                for k in range(8):
                    i, j = row + k // 2 % 2, col + k % 2
                    corners[b, k] = number[(turn + k // 4) % HEADINGS, i, j]
                b += 1
    return poses, boxes, corners


@inner
def _numbered(number: Any) -> Any:
    """Return where what is not below zero lies, and number it in that order."""
    places = np.empty(((number >= 0).sum(), 3), np.int64)
    n = 0
    for place, held in np.ndenumerate(number):
        if held >= 0:
            number[place] = n
            places[n, 0], places[n, 1], places[n, 2] = place
            n += 1
    return places
