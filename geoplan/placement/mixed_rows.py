"""
Rows that lie along and rows that lie across, in one turned frame.

A row of rafts along fills its length by other remainders than one of rafts across, so that each
row takes the lay that pays more. Both lays share the strips; neither loses room along its row.
"""

import math
from typing import Any

import numba
import numpy as np
from shapely.geometry.base import BaseGeometry

from geoplan.placement.bridged_rows import band_rows, packed_bridged
from geoplan.placement.headings import Headings
from geoplan.placement.row_kernels import fill_row
from geoplan.placement.rows import Frame, frame, turned_edges
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType
from geoplan.site import FloatArray

#: What the strips may lose between two rows of either lay before finer ones are tried [m].
_WASTE_M = 0.02

#: Frames of one turn whose strips are the same, one for each lay.
Lays = tuple[Frame, ...]
#: Frames with the places that are filled, strip and place of each raft.
Packed = list[tuple[Frame, Any]]


def lays(
    region: BaseGeometry,
    surface: WorthSurface,
    raft_type: RaftType,
    gap_m: float,
    turn_deg: float,
    step_m: float,
    headings: Headings | None,
) -> Lays:
    """
    Return the frames of both lays of a region turned by an angle.

    Parameters
    ----------
    region : BaseGeometry
        Where the whole raft must lie, working CRS [m].
    surface : WorthSurface
        Worth of planted area.
    raft_type : RaftType
        The type packed.
    gap_m : float
        Distance between rafts [m].
    turn_deg : float
        Direction of the rows, clockwise from grid east [°].
    step_m : float
        Coarsest step between places [m].
    headings : Headings or None
        Which way rafts may lie; ``None``: any.

    Returns
    -------
    tuple of Frame
        Those in which a raft fits; a square raft has one.
    """
    strip_m = _strip_m(raft_type.width_m + gap_m, raft_type.length_m + gap_m, step_m)
    is_square = raft_type.length_m == raft_type.width_m
    edges = turned_edges(region, turn_deg)
    made = (
        frame(
            *(edges, surface, raft_type, gap_m, turn_deg),
            is_across=is_across,
            step_m=(step_m, strip_m),
            headings=headings,
        )
        for is_across in ((False,) if is_square else (False, True))
    )
    return tuple(one for one in made if one is not None)


def _strip_m(short_m: float, long_m: float, step_m: float) -> float:
    """Return the widest strips of which rows of both depths waste next to nothing."""
    least = math.ceil(short_m / step_m - 1e-9)
    waste = {}
    for count in range(least, 2 * least + 1):
        strip = short_m / count
        waste[count] = math.ceil(long_m / strip - 1e-9) * strip - long_m
        if waste[count] <= _WASTE_M:
            return strip
    return short_m / min(waste, key=lambda count: (waste[count], count))


def pack_lays(both: Lays, price: float) -> Packed:
    """
    Return the places of the rows of either lay that are worth most at one price per raft.

    Parameters
    ----------
    both : tuple of Frame
        One or two frames with the same strips.
    price : float
        What each raft must be worth at least [worth of planted m²].

    Returns
    -------
    list of (Frame, ndarray of int, shape (n, 2))
        Strip and place of each raft, by frame; no two are nearer than the gap.
    """
    first, last = both[0], both[-1]
    kind, places = packed_mixed(
        first.value,
        last.value,
        price,
        np.array([first.places_per_raft, last.places_per_raft]),
        np.array([first.strips_per_row, last.strips_per_row]),
    )
    if len(both) == 1:
        return [(first, places)]
    return [(one, places[kind == k]) for k, one in enumerate(both)]


def pack_bridged(both: Lays, price: float) -> Packed:
    """
    Return the places that are worth most where rows of one lay may be bridged by the other.

    Parameters
    ----------
    both : tuple of Frame
        One or two frames with the same strips.
    price : float
        What each raft must be worth at least [worth of planted m²].

    Returns
    -------
    list of (Frame, ndarray of int, shape (n, 2))
        Strip and place of each raft, by frame; worth no less than rows alone.
    """
    per_row = tuple(one.strips_per_row for one in both)
    rows = band_rows((per_row[0], per_row[-1])) if len(both) > 1 else None
    if rows is None:
        return pack_lays(both, price)
    first, last = both
    places = packed_bridged(
        first.value,
        last.value,
        price,
        np.array([first.places_per_raft, last.places_per_raft]),
        np.array(per_row),
        np.array(rows),
        np.array([first.step_along_m, last.step_along_m]),
    )
    return [(first, places[0]), (last, places[1])]


def worth_of(packed: Packed, price: float) -> float:
    """
    Return what packed places are worth after each raft has paid a price.

    Parameters
    ----------
    packed : list of (Frame, ndarray)
        Frames with the places that are filled.
    price : float
        Price of a raft [worth of planted m²].

    Returns
    -------
    float
        Worth [worth of planted m²].
    """
    return sum(
        float(one.value[places[:, 0], places[:, 1]].sum() - price * len(places))
        for one, places in packed
    )


@numba.njit(cache=True)
def packed_mixed(
    along: FloatArray, across: FloatArray, price: float, per_raft: Any, per_row: Any
) -> Any:
    """
    Return the rafts of the rows that are worth most, each row of one lay.

    Parameters
    ----------
    along, across : ndarray of float, shape (strips, places)
        Worth of a raft at each place in either lay; -inf where none may lie. Strip 0 is the same
        [worth of planted m²].
    price : float
        Price of a raft [worth of planted m²].
    per_raft, per_row : ndarray of int, shape (2,)
        Least steps from raft to raft along a row, and from a row of each lay to the next.

    Returns
    -------
    ndarray of int, shape (n,)
        Lay of each raft: 0 along, 1 across.
    ndarray of int, shape (n, 2)
        Its strip and place.
    """
    lengths = (along.shape[0], across.shape[0])
    most_strips = max(lengths[0], lengths[1])
    levels = max(lengths[0] + per_row[0], lengths[1] + per_row[1])
    best = np.zeros(max(along.shape[1], across.shape[1]) + 1)
    row = np.zeros((2, most_strips))
    for s in range(lengths[0]):
        fill_row(along[s], price, per_raft[0], best)
        row[0, s] = best[along.shape[1]]
    for s in range(lengths[1]):
        fill_row(across[s], price, per_raft[1], best)
        row[1, s] = best[across.shape[1]]
    total = np.zeros(levels + 1)
    chosen = np.full(levels + 1, -1)
    for level in range(1, levels + 1):
        total[level] = total[level - 1]
        for k in range(2):
            s = level - per_row[k]
            if 0 <= s < lengths[k] and total[s] + row[k, s] > total[level]:
                total[level], chosen[level] = total[s] + row[k, s], k
    longest = max(along.shape[1] // per_raft[0], across.shape[1] // per_raft[1]) + 1
    room = (levels // per_row.min() + 1) * longest
    kind, found = np.empty(room, np.int64), np.empty((room, 2), np.int64)
    n = 0
    level = levels
    while level > 0:
        k = chosen[level]
        if k < 0:
            level -= 1
            continue
        level -= per_row[k]
        value = along[level] if k == 0 else across[level]
        fill_row(value, price, per_raft[k], best)
        i = len(value) - 1
        while i >= 0:
            if best[i + 1] > best[i]:
                kind[n], found[n, 0], found[n, 1] = k, level, i
                n += 1
                i -= per_raft[k]
            else:
                i -= 1
    return kind[:n].copy(), found[:n].copy()
