r"""
What every legal pose of a raft lacks, by branch and bound over boxes of poses, compiled.

A box of poses spans a step of the lattice along each axis and a step of headings. What a pose in it
lacks is at most what its eight corners lack and a remainder (see `pose_lattice`), which falls with
the square of the box. A box that may lack something is cut into eight, those without a legal pose
left out, down to the finest lattice.
"""

import math
from typing import Any

import numba
import numpy as np

from geoplan.compiled import inner
from geoplan.placement.box_kernels import box_state, near_points
from geoplan.placement.sum_kernels import (
    FINER,
    HEADINGS,
    STEPS,
    Asked,
    Tables,
    paid_at,
    worth_at,
)
from geoplan.site import FloatArray


@numba.njit(cache=True)
def judged_boxes(
    tables: Tables, asked: Asked, held: Any, lacks: FloatArray, spans: Any, shore: Any
) -> Any:
    """
    Return what the poses of boxes lack at most, and where.

    Parameters
    ----------
    tables : Tables
        Weights.
    asked : Asked
        Worth, field and remainders.
    held : tuple
        Heading, row and column of each box's first corner on the lattice, and whether the shore is
        near, shape (n, 4); which lattice poses its corners are, shape (n, 8).
    lacks : ndarray of float, shape (poses,)
        What each lattice pose lacks of the field [unit of the benefit].
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
    (boxes, poses), (apart, least) = held, spans
    most, where = np.zeros(len(boxes)), np.zeros((len(boxes), 3), np.int64)
    near, room = np.empty((len(shore[0]), 2)), np.empty((256, 5))
    corners = np.empty(8)
    for b in range(len(boxes)):
        turn, row, col, is_mixed = boxes[b]
        rise = asked.rises[turn, row // STEPS, col // STEPS]
        own = -np.inf
        for k in range(8):
            own = max(own, lacks[poses[b, k]])
        if own - apart[b] + rise <= 0.0:
            continue
        for k in range(8):
            corners[k] = lacks[poses[b, k]] - apart[b]
        count = near_points(shore, row, col, near) if is_mixed else 0
        most[b] = _deepest(
            tables, asked, (turn * FINER, row * FINER, col * FINER), (apart[b], rise, least),
            corners, near[:count], (shore, room), where[b],
        )  # fmt: skip
    return most, where


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
            paid = paid_at(tables, asked, pose[0], pose[1], pose[2])
            known[i, j, m] = worth_at(tables, asked, pose[0], pose[1], pose[2]) - paid - apart
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
    search: Any,
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
        if size < FINER and len(near) and not _may(place, (t, r, c, size), near, search):
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
def _may(place: Any, box: Any, near: FloatArray, search: Any) -> bool:
    """Tell whether a part of a box may hold a legal pose."""
    shore, room = search
    spacing = shore[1] / FINER
    half = box[3] / 2
    x, y = (place[2] + box[2] + half) * spacing, (place[1] + box[1] + half) * spacing
    step = math.pi / (HEADINGS * FINER)
    middle = (place[0] + box[0] + half) * step
    state = box_state(x, y, middle, half * spacing, half * step, near, (shore[2], shore[3]), room)
    return bool(state > 0)
