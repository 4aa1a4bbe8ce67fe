r"""
What every legal pose of a raft lacks, by branch and bound over boxes of poses, compiled.

A box of poses spans a step of the lattice along each axis and a step of headings. What a pose in it
lacks is at most what its eight corners lack and a remainder (see `pose_lattice`), which falls with
the square of the box. A box that may lack something is cut into eight, those without a legal pose
left out, down to the finest lattice. Weights of sums are made when a pose of a kind is first asked.
"""

import math
from typing import Any, NamedTuple

import numba
import numpy as np

from geoplan.compiled import inner
from geoplan.grid import BoolArray
from geoplan.placement.hat_kernels import hat_sums
from geoplan.site import FloatArray

#: Lattice poses in a cell's side, and headings in a half turn.
STEPS = 2
HEADINGS = 24
#: Steps of the finest lattice in one of the lattice; boxes are halved down to it.
FINER = 8
#: Shift of a raft's points below which a box of poses is taken to hold a legal one [m].
_TOLERANCE_M = 0.02


class Tables(NamedTuple):
    """
    Weights of nodes in sums over a raft and over its grown set, filled in as they are asked for.

    Attributes
    ----------
    is_made : ndarray of bool, shape (kinds,)
        Which kinds of poses (heading, place within a cell) have their weights.
    counts : ndarray of int, shape (kinds, 2)
        How many nodes have a weight for the raft and for its grown set.
    steps : ndarray of int, shape (kinds, k)
        Places of those nodes from the pose's own, grid with its border row after row; the grown
        set's first, then the raft's.
    weights : ndarray of float, shape (kinds, k)
        Their integrals [m²].
    raft, grown : ndarray of float, shape (n, 2)
        Corners, the long axis to the north, counter-clockwise, in cells [1].
    wide, border : int
        Nodes in a row of the grid with its border, and nodes of that border on each side.
    cell_m2 : float
        Area of a cell [m²].
    """

    is_made: BoolArray
    counts: Any
    steps: Any
    weights: FloatArray
    raft: FloatArray
    grown: FloatArray
    wide: int
    border: int
    cell_m2: float


class Asked(NamedTuple):
    """
    What poses of one type are worth and pay.

    Attributes
    ----------
    worth, field : ndarray of float, shape (nodes,)
        Worth of a square metre and price of one, with the grid's border [unit of the benefit a m²].
    share : float
        Planted share of a raft's area [1].
    rises : ndarray of float, shape (headings, rows, cols)
        What a box of the lattice in a cell can lack beyond its corners [unit of the benefit].
    """

    worth: FloatArray
    field: FloatArray
    share: float
    rises: FloatArray


@inner
def _make(tables: Tables, kind: int) -> None:
    """Fill in the weights of a kind of pose."""
    per = STEPS * FINER
    turn, up, right = kind // per**2, kind // per % per / per, kind % per / per
    angle = turn * math.pi / (HEADINGS * FINER)
    cos, sin = math.cos(angle), math.sin(angle)
    first = 0
    for which in range(2):
        shape = tables.grown if which == 0 else tables.raft
        ring = np.empty_like(shape)
        # Clockwise from north.
        ring[:, 0] = shape[:, 0] * cos + shape[:, 1] * sin + right
        ring[:, 1] = -shape[:, 0] * sin + shape[:, 1] * cos + up
        count = hat_sums(
            ring, tables.cell_m2, tables.wide, tables.steps[kind, first:],
            tables.weights[kind, first:],
        )  # fmt: skip
        tables.counts[kind, which] = count
        first += count
    tables.is_made[kind] = True


@inner
def kind_of(tables: Tables, turn: int, row: int, col: int) -> Any:
    """
    Return a fine pose's kind, its weights made, and the place of its node.

    Parameters
    ----------
    tables : Tables
        Weights.
    turn, row, col : int
        The pose on the finest lattice.

    Returns
    -------
    tuple of int
        Kind and node.
    """
    per = STEPS * FINER
    kind = (turn % (HEADINGS * FINER) * per + row % per) * per + col % per
    if not tables.is_made[kind]:
        _make(tables, kind)
    return kind, (row // per + tables.border) * tables.wide + col // per + tables.border


@inner
def _paid(tables: Tables, asked: Asked, turn: int, row: int, col: int) -> float:
    """Return what the field pays to a pose."""
    kind, node = kind_of(tables, turn, row, col)
    total = 0.0
    for e in range(tables.counts[kind, 0]):
        total += tables.weights[kind, e] * asked.field[node + tables.steps[kind, e]]
    return total


@inner
def _worth(tables: Tables, asked: Asked, turn: int, row: int, col: int) -> float:
    """Return what a raft at a pose is worth."""
    kind, node = kind_of(tables, turn, row, col)
    first = tables.counts[kind, 0]
    total = 0.0
    for e in range(first, first + tables.counts[kind, 1]):
        total += tables.weights[kind, e] * asked.worth[node + tables.steps[kind, e]]
    return total * asked.share


@numba.njit(cache=True)
def worths_and_pays(tables: Tables, asked: Asked, poses: Any, has_worth: bool) -> Any:
    """
    Return what poses are worth and what the field pays them.

    Parameters
    ----------
    tables : Tables
        Weights.
    asked : Asked
        Worth and field.
    poses : ndarray of int, shape (n, 3)
        Poses on the finest lattice.
    has_worth : bool
        Whether the worth is wanted; zero without.

    Returns
    -------
    tuple of ndarray of float, shape (n,)
        Worth and pay [unit of the benefit].
    """
    worth, paid = np.zeros(len(poses)), np.zeros(len(poses))
    for k in range(len(poses)):
        turn, row, col = poses[k]
        paid[k] = _paid(tables, asked, turn, row, col)
        if has_worth:
            worth[k] = _worth(tables, asked, turn, row, col)
    return worth, paid


@numba.njit(cache=True)
def judged_boxes(
    tables: Tables, asked: Asked, boxes: Any, corners: FloatArray, spans: Any, shore: Any
) -> Any:
    """
    Return what the poses of boxes lack at most, and where.

    Parameters
    ----------
    tables : Tables
        Weights.
    asked : Asked
        Worth, field and remainders.
    boxes : ndarray of int, shape (n, 4)
        Heading, row and column of each box's first corner on the lattice, and whether the shore
        is near.
    corners : ndarray of float, shape (n, 8)
        What the corners lack, paid by all that they pay [unit of the benefit].
    spans : tuple
        What each box pays beside the field, shape (n,) [unit of the benefit], and the finest step
        to go down to, 1 or 2.
    shore : tuple
        Points of the region's boundary, sorted from the west, shape (k, 2) [m], distance between
        lattice poses [m], half the raft's length and width [m].

    Returns
    -------
    ndarray of float, shape (n,)
        What a pose of each box can lack; zero for nothing [unit of the benefit].
    ndarray of int, shape (n, 3)
        Of each box that lacks something the corner that lacks most, on the finest lattice.
    """
    apart, least = spans
    most, where = np.zeros(len(boxes)), np.zeros((len(boxes), 3), np.int64)
    near = np.empty((len(shore[0]), 2))
    for b in range(len(boxes)):
        turn, row, col, is_mixed = boxes[b]
        rise = asked.rises[turn, row // STEPS, col // STEPS]
        if corners[b].max() + rise <= 0.0:
            continue
        count = _near_points(shore, row, col, near) if is_mixed else 0
        if is_mixed and count == 0:
            is_mixed = 0
        most[b] = _deepest(
            tables, asked, (turn * FINER, row * FINER, col * FINER), (apart[b], rise, least),
            corners[b], near[:count], shore, where[b],
        )  # fmt: skip
    return most, where


@inner
def _near_points(shore: Any, row: int, col: int, near: FloatArray) -> int:
    """Collect the points of the boundary near a box of the lattice; return how many."""
    edge, spacing, half_length, half_width = shore
    y, x = (row + 0.5) * spacing, (col + 0.5) * spacing
    far = math.hypot(half_length, half_width) + spacing
    first = np.searchsorted(edge[:, 0], x - far)
    last = np.searchsorted(edge[:, 0], x + far)
    count = 0
    for e in range(first, last):
        if abs(edge[e, 1] - y) < far:
            near[count, 0], near[count, 1] = edge[e, 0], edge[e, 1]
            count += 1
    return count


@inner
def _worst_corner(
    tables: Tables, asked: Asked, place: Any, box: Any, apart: float, known: FloatArray
) -> Any:
    """Return what the corner of a part of a box lacks that lacks most, and which it is."""
    own, at = -np.inf, 0
    for k in range(8):
        i = box[0] + k // 4 * box[3]
        j, m = box[1] + k // 2 % 2 * box[3], box[2] + k % 2 * box[3]
        if known[i, j, m] == np.inf:
            pose = (place[0] + i, place[1] + j, place[2] + m)
            paid = _paid(tables, asked, pose[0], pose[1], pose[2])
            known[i, j, m] = _worth(tables, asked, pose[0], pose[1], pose[2]) - paid - apart
        if known[i, j, m] > own:
            own, at = known[i, j, m], k
    return own, at


@inner
def _lay_parts(stack: Any, n: int, box: Any, at: int) -> int:
    """Lay the eight parts of a box on a stack, that at a corner on top; return its height."""
    t, r, c, half = box
    for k in range(8):
        part = (at + 1 + k) % 8
        stack[n, 0], stack[n, 1] = t + part // 4 * half, r + part // 2 % 2 * half
        stack[n, 2], stack[n, 3] = c + part % 2 * half, half
        n += 1
    return n


@inner
def _deepest(
    tables: Tables,
    asked: Asked,
    place: Any,
    terms: Any,
    corners: FloatArray,
    near: FloatArray,
    shore: Any,
    where: Any,
) -> float:
    """Return what a box lacks at most, cut down to the finest boxes that may hold legal poses."""
    apart, rise, least = terms
    known = np.full((FINER + 1, FINER + 1, FINER + 1), np.inf)
    for k in range(8):
        known[k // 4 * FINER, k // 2 % 2 * FINER, k % 2 * FINER] = corners[k]
    stack = np.empty((64, 4), np.int64)
    stack[0, 0] = stack[0, 1] = stack[0, 2] = 0
    stack[0, 3] = FINER
    n, most, top = 1, 0.0, -np.inf
    while n > 0:
        n -= 1
        t, r, c, size = stack[n, 0], stack[n, 1], stack[n, 2], stack[n, 3]
        own, at = _worst_corner(tables, asked, place, (t, r, c, size), apart, known)
        bound = own + rise * (size / FINER) ** 2
        if bound <= most:
            continue
        if size < FINER and len(near) and not _may(place, (t, r, c, size), near, shore):
            continue
        if size <= least:
            most = bound
            if own > top:
                top = own
                where[0] = place[0] + t + at // 4 * size
                where[1] = place[1] + r + at // 2 % 2 * size
                where[2] = place[2] + c + at % 2 * size
            continue
        n = _lay_parts(stack, n, (t, r, c, size // 2), at)
    return most


@inner
def _may(place: Any, box: Any, near: FloatArray, shore: Any) -> bool:
    """Tell whether a part of a box may hold a legal pose."""
    spacing = shore[1] / FINER
    half = box[3] / 2
    x, y = (place[2] + box[2] + half) * spacing, (place[1] + box[1] + half) * spacing
    step = math.pi / (HEADINGS * FINER)
    middle = (place[0] + box[0] + half) * step
    state = box_state(x, y, middle, half * spacing, half * step, near, shore[2], shore[3])
    return bool(state > 0)


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
        reach = shift + math.hypot(dx, dy) * turn
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
    half_length: float,
    half_width: float,
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
    half_length, half_width : float
        Half the raft's sides [m].

    Returns
    -------
    int
        0 for none, 1 where some may be, 2 where no point is within reach of any.
    """
    far = math.hypot(half_length, half_width)
    stack = np.empty((256, 5))
    stack[0, 0], stack[0, 1], stack[0, 2], stack[0, 3], stack[0, 4] = x, y, heading, half, half_turn
    n = 1
    while n > 0:
        n -= 1
        cx, cy, angle, move, turn = stack[n]
        ahead_x, ahead_y = math.sin(angle), math.cos(angle)
        shift = move * (abs(ahead_x) + abs(ahead_y))
        deepest = _deepest_point(
            cx, cy, (ahead_x, ahead_y), shift, turn, near, half_length, half_width
        )
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
    near = np.empty((len(edge), 2))
    shore = (edge, spacing, half_length, half_width)
    for b in range(len(boxes)):
        count = _near_points(shore, boxes[b, 0], boxes[b, 1], near)
        y, x = (boxes[b, 0] + 0.5) * spacing, (boxes[b, 1] + 0.5) * spacing
        for turn in range(HEADINGS):
            out[turn, b] = box_state(
                x, y, (turn + 0.5) * math.pi / HEADINGS, spacing / 2, math.pi / HEADINGS / 2,
                near[:count], half_length, half_width,
            )  # fmt: skip
    return out
