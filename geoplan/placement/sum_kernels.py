"""
What rafts and their grown sets at poses hold of a field, compiled.

A pose's sum is over the nodes that its set touches; the integrals of their hats over the set are
the weights. These are alike for all poses of a kind, of one heading and one place within a cell,
and are made when a pose of that kind is first asked.
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
def paid_at(tables: Tables, asked: Asked, turn: int, row: int, col: int) -> float:
    """
    Return what the field pays to a pose.

    Parameters
    ----------
    tables : Tables
        Weights.
    asked : Asked
        Worth and field.
    turn, row, col : int
        The pose on the finest lattice.

    Returns
    -------
    float
        Integral over its grown set [unit of the benefit].
    """
    kind, node = kind_of(tables, turn, row, col)
    total = 0.0
    for e in range(tables.counts[kind, 0]):
        total += tables.weights[kind, e] * asked.field[node + tables.steps[kind, e]]
    return total


@inner
def worth_at(tables: Tables, asked: Asked, turn: int, row: int, col: int) -> float:
    """
    Return what a raft at a pose is worth.

    Parameters
    ----------
    tables : Tables
        Weights.
    asked : Asked
        Worth and field.
    turn, row, col : int
        The pose on the finest lattice.

    Returns
    -------
    float
        Worth [unit of the benefit].
    """
    kind, node = kind_of(tables, turn, row, col)
    first = tables.counts[kind, 0]
    total = 0.0
    for e in range(first, first + tables.counts[kind, 1]):
        total += tables.weights[kind, e] * asked.worth[node + tables.steps[kind, e]]
    return total * asked.share


@numba.njit(cache=True)
def worths(tables: Tables, asked: Asked, poses: Any) -> FloatArray:
    """
    Return what rafts at poses are worth.

    Parameters
    ----------
    tables : Tables
        Weights.
    asked : Asked
        Worth of a square metre.
    poses : ndarray of int, shape (n, 3)
        Poses on the finest lattice.

    Returns
    -------
    ndarray of float, shape (n,)
        Worth [unit of the benefit].
    """
    out = np.empty(len(poses))
    for k in range(len(poses)):
        out[k] = worth_at(tables, asked, poses[k, 0], poses[k, 1], poses[k, 2])
    return out


@numba.njit(cache=True)
def lattice_sums(tables: Tables, values: FloatArray, poses: Any, is_grown: bool) -> FloatArray:
    """
    Return what sets at poses of the lattice hold of a field.

    Parameters
    ----------
    tables : Tables
        Weights.
    values : ndarray of float, shape (nodes,)
        The field at the nodes, with the grid's border [unit of the field].
    poses : ndarray of int, shape (n, 3)
        Heading, row and column on the lattice; fastest where sorted by these.
    is_grown : bool
        Whether over the grown set, else over the raft.

    Returns
    -------
    ndarray of float, shape (n,)
        Integrals over the sets [unit of the field times m²].

    Notes
    -----
    Poses one cell apart in a row are of one kind, and their nodes lie side by side: node after node
    of the set is added to all of them at once, in the order in which each would be summed alone.
    """
    out = np.zeros(len(poses))
    first = 0
    while first < len(poses):
        turn, row, col = poses[first]
        last = first + 1
        while (
            last < len(poses)
            and poses[last, 0] == turn
            and poses[last, 1] == row
            and poses[last, 2] - col == last - first
        ):
            last += 1
        for place in range(min(STEPS, last - first)):
            own = out[first + place : last : STEPS]
            pose = (turn * FINER, row * FINER, (col + place) * FINER)
            _add_run(tables, values, pose, is_grown, own)
        first = last
    return out


@inner
def _add_run(tables: Tables, values: FloatArray, pose: Any, is_grown: bool, out: Any) -> None:
    """Add the sums of a pose, and of those one cell, two cells and so on further in its row."""
    kind, node = kind_of(tables, pose[0], pose[1], pose[2])
    first = 0 if is_grown else tables.counts[kind, 0]
    total = np.zeros(len(out))
    for e in range(first, first + tables.counts[kind, 0 if is_grown else 1]):
        weight, at = tables.weights[kind, e], node + tables.steps[kind, e]
        part = values[at : at + len(out)]
        for k in range(len(total)):
            total[k] += weight * part[k]
    out[:] = total
