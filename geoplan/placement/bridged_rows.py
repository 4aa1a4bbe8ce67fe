"""
Rows of one lay with a bridge of the other between them, compiled.

A row of rafts along leaves up to a raft's length empty at its far end, and rows beside each other
leave different lengths. A few rows of one lay are about as deep as a few of the other. Where all
of them are broken by columns of the other lay, as wide as need be, what is left at both ends
shrinks to the step of the places: rows fill from both shores, and the bridge takes up the rest.
"""

import math
from typing import Any

import numba
import numpy as np

from geoplan.placement.row_kernels import fill_row, places_of_row
from geoplan.site import FloatArray

#: Most rows of one lay in a band, and what bands of either lay may differ by in depth [1].
_MOST_ROWS = 6
_MOST_WASTE = 0.05
#: Columns of a bridge at most: so many shift a row by every remainder of the usual sizes.
_MOST_COLUMNS = 14


def band_rows(per_row: tuple[int, int]) -> tuple[int, int] | None:
    """
    Return how many rows of either lay are about as deep as each other.

    Parameters
    ----------
    per_row : tuple of int
        Strips from row to row of either lay.

    Returns
    -------
    tuple of int or None
        Rows of each lay in a band; ``None`` where no few rows are.

    Examples
    --------
    >>> band_rows((17, 25))
    (3, 2)
    """
    fits = []
    for first in range(1, _MOST_ROWS + 1):
        for second in range(1, _MOST_ROWS + 1):
            depths = sorted((first * per_row[0], second * per_row[1]))
            if depths[1] - depths[0] <= _MOST_WASTE * depths[1]:
                fits.append((depths[1], first, second))
    return min(fits)[1:] if fits else None


@numba.njit(cache=True)
def filled_from_both_ends(value: FloatArray, price: float, per_raft: int) -> Any:
    """
    Return what strips are worth, filled from either end up to each place.

    Parameters
    ----------
    value : ndarray of float, shape (strips, places)
        Worth of a raft at each place; -inf where none may lie [worth of planted m²].
    price : float
        Price of a raft [worth of planted m²].
    per_raft : int
        Least steps from raft to raft.

    Returns
    -------
    tuple of ndarray of float, shape (strips, places + 1)
        Worth of rafts at places before each, and of those at it and after it [worth of planted
        m²].
    """
    strips, places = value.shape
    before = np.zeros((strips, places + 1))
    after = np.zeros((strips, places + 1))
    best = np.zeros(places + 1)
    for s in range(strips):
        fill_row(value[s], price, per_raft, before[s])
        fill_row(value[s, ::-1].copy(), price, per_raft, best)
        after[s] = best[::-1]
    return before, after


@numba.njit(cache=True)
def _summed(ends: FloatArray, strip: int, row: int, rows: int, place: int) -> float:
    """Return what the rows of a band are worth up to, or from, a place."""
    total = 0.0
    for r in range(rows):
        if strip + r * row < ends.shape[0]:
            total += ends[strip + r * row, place]
    return total


@numba.njit(cache=True)
def _places_before(end_m: float, per_raft: int, step_m: float) -> int:
    """Return how many places a raft and its gap may begin at that end before an abscissa."""
    return max(0, math.floor(end_m / step_m + 1e-9) - per_raft + 1)


@numba.njit(cache=True)
def _place_after(begin_m: float, step_m: float) -> int:
    """Return the first place at or after an abscissa."""
    return math.ceil(begin_m / step_m - 1e-9)


@numba.njit(cache=True)
def best_bridge(strip: int, base: Any, other: Any, price: float) -> Any:
    """
    Return the bridge of a band that is worth most with the rows on both sides.

    Parameters
    ----------
    strip : int
        First strip of the band.
    base : tuple
        Of the lay that is broken: ``before`` and ``after``, steps from raft to raft and from row
        to row, rows, and the step between places [m].
    other : tuple
        Of the lay of the bridge: worths, and the same four figures.
    price : float
        Price of a raft [worth of planted m²].

    Returns
    -------
    float
        Worth of the band [worth of planted m²].
    int
        First place of the bridge.
    int
        Its columns; none where whole rows are worth as much.
    """
    before, after, base_raft, base_row, base_rows, base_step = base
    value, raft, row, rows, step = other
    last = before.shape[1] - 1
    most = _summed(before, strip, base_row, base_rows, last)
    at = columns = 0
    for first in range(value.shape[1]):
        left = _places_before(first * step, base_raft, base_step)
        total = _summed(before, strip, base_row, base_rows, min(left, last))
        for column in range(_MOST_COLUMNS):
            place = first + column * raft
            if place >= value.shape[1]:
                break
            for r in range(rows):
                if strip + r * row < value.shape[0]:
                    total += max(value[strip + r * row, place] - price, 0.0)
            right = _place_after((place + raft) * step, base_step)
            worth = total + _summed(after, strip, base_row, base_rows, min(right, last))
            if worth > most + 1e-12:
                most, at, columns = worth, first, column + 1
    return most, at, columns


@numba.njit(cache=True)
def row_places(value: FloatArray, price: float, per_raft: int, found: Any) -> Any:
    """
    Fill in the places of the rafts of one row that are worth most.

    Parameters
    ----------
    value : ndarray of float, shape (places,)
        Worth of a raft at each place; -inf where none may lie [worth of planted m²].
    price : float
        Price of a raft [worth of planted m²].
    per_raft : int
        Least steps from raft to raft.
    found : ndarray of int
        Filled in: the places, the last first.

    Returns
    -------
    int
        How many there are.
    """
    best = np.zeros(len(value) + 1)
    fill_row(value, price, per_raft, best)
    return places_of_row(best, per_raft, found)


@numba.njit(cache=True)
def band_places(strip: int, at: int, columns: int, base: Any, other: Any, price: float) -> Any:
    """
    Return the rafts of a band.

    Parameters
    ----------
    strip : int
        First strip of the band.
    at, columns : int
        First place of the bridge and its columns.
    base : tuple
        Of the lay that is broken: worths, steps from raft to raft and from row to row, rows, and
        the step between places [m].
    other : tuple
        The same of the lay of the bridge.
    price : float
        Price of a raft [worth of planted m²].

    Returns
    -------
    tuple of ndarray of int, shape (n, 2)
        Strip and place of the rafts of either lay, the broken one first.
    """
    value, base_raft, base_row, base_rows, base_step = base
    bridge, raft, row, rows, step = other
    found = np.empty(value.shape[1] + 2, np.int64)
    own = np.empty((base_rows * (value.shape[1] // base_raft + 2), 2), np.int64)
    crossing = np.empty((rows * columns, 2), np.int64)
    n = m = 0
    left = right = value.shape[1]
    if columns > 0:
        left = _places_before(at * step, base_raft, base_step)
        right = _place_after((at + columns * raft) * step, base_step)
    for r in range(base_rows):
        s = strip + r * base_row
        if s >= value.shape[0]:
            break
        for first, end in ((0, min(left, value.shape[1])), (right, value.shape[1])):
            if first < end:
                for k in range(row_places(value[s, first:end], price, base_raft, found)):
                    own[n, 0], own[n, 1] = s, first + found[k]
                    n += 1
    for r in range(rows):
        for column in range(columns):
            s, place = strip + r * row, at + column * raft
            if s < bridge.shape[0] and bridge[s, place] > price:
                crossing[m, 0], crossing[m, 1] = s, place
                m += 1
    return own[:n].copy(), crossing[:m].copy()


@numba.njit(cache=True)
def _worths(values: Any, price: float, per_raft: Any, per_row: Any, rows: Any, step_m: Any) -> Any:
    """Return what rows and bands that begin at each strip are worth, and the bands' bridges."""
    strips = max(values[0].shape[0], values[1].shape[0])
    worth, bridge = np.zeros((4, strips)), np.zeros((2, strips, 2), np.int64)
    for k in range(2):
        before, after = filled_from_both_ends(values[k], price, per_raft[k])
        worth[k, : len(before)] = before[:, -1]
        base = (before, after, per_raft[k], per_row[k], rows[k], step_m[k])
        o = 1 - k
        other = (values[o], per_raft[o], per_row[o], rows[o], step_m[o])
        for s in range(strips):
            worth[2 + k, s], bridge[k, s, 0], bridge[k, s, 1] = best_bridge(s, base, other, price)
    return worth, bridge


@numba.njit(cache=True)
def _stacked(worth: FloatArray, depth: Any) -> Any:
    """Return the kind of row or band that ends at each level in the best stack of them, or -1."""
    kinds, strips = worth.shape
    levels = strips + depth.max()
    total, chosen = np.zeros(levels + 1), np.full(levels + 1, -1)
    for level in range(1, levels + 1):
        total[level] = total[level - 1]
        for k in range(kinds):
            s = level - depth[k]
            if 0 <= s < strips and total[s] + worth[k, s] > total[level]:
                total[level], chosen[level] = total[s] + worth[k, s], k
    return chosen


@numba.njit(cache=True)
def packed_bridged(
    along: FloatArray,
    across: FloatArray,
    price: float,
    per_raft: Any,
    per_row: Any,
    rows: Any,
    step_m: Any,
) -> Any:
    """
    Return the rafts of the rows and bands that are worth most.

    Parameters
    ----------
    along, across : ndarray of float, shape (strips, places)
        Worth of a raft at each place in either lay; -inf where none may lie. Strip 0 and place 0
        are the same [worth of planted m²].
    price : float
        Price of a raft [worth of planted m²].
    per_raft, per_row : ndarray of int, shape (2,)
        Least steps from raft to raft along a row, and from a row of each lay to the next.
    rows : ndarray of int, shape (2,)
        Rows of each lay in a band.
    step_m : ndarray of float, shape (2,)
        Distance between places of each lay [m].

    Returns
    -------
    tuple of ndarray of int, shape (n, 2)
        Strip and place of the rafts along, and of those across.
    """
    values = (along, across)
    worth, bridge = _worths(values, price, per_raft, per_row, rows, step_m)
    deep = max(rows[0] * per_row[0], rows[1] * per_row[1])
    depth = np.array([per_row[0], per_row[1], deep, deep])
    chosen = _stacked(worth, depth)
    found = [np.empty((0, 2), np.int64), np.empty((0, 2), np.int64)]
    level = len(chosen) - 1
    while level > 0:
        kind = chosen[level]
        if kind < 0:
            level -= 1
            continue
        level -= depth[kind]
        k, o = kind % 2, 1 - kind % 2
        count, at, columns = 1, 0, 0
        if kind >= 2:
            count, at, columns = rows[k], bridge[k, level, 0], bridge[k, level, 1]
        base = (values[k], per_raft[k], per_row[k], count, step_m[k])
        other = (values[o], per_raft[o], per_row[o], rows[o], step_m[o])
        own, crossing = band_places(level, at, columns, base, other, price)
        found[k], found[o] = np.concatenate((found[k], own)), np.concatenate((found[o], crossing))
    return found[0], found[1]
