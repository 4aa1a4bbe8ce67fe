"""
What every legal pose lacks of a price field, and the field raised where it does.

Boxes that may lack something are told one by one. What they lack can be made good in two ways: each
raft of a plan adds the largest lack to the bound, or the field rises where poses lack, by so much
that the grown set of each such pose gains its lack. The cheapest mixture of the two is taken.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter

from geoplan.placement.judge_kernels import judged_boxes
from geoplan.placement.patience import ENDLESS, Patience
from geoplan.placement.price_problem import PoseSet, Problem
from geoplan.placement.sum_kernels import STEPS, Asked, lattice_sums
from geoplan.site import FloatArray
from geoplan.water import IntArray

#: Shares of the largest lack that each raft adds to the bound; the rest the field makes good.
_SHARES = (0.0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.7, 1.0)
#: Boxes judged between two looks at the clock, a few tenths of a second of them at the most.
_AT_ONCE = 20_000


@dataclass(frozen=True, eq=False)
class Judgement:
    """
    What the poses of one type lack.

    Attributes
    ----------
    lack : ndarray of float, shape (boxes,)
        What a legal pose of each box can lack; zero for nothing [unit of the benefit].
    where : ndarray of int, shape (boxes, 3)
        The pose of each box that lacks most, on the finest lattice.
    asked : Asked
        What was judged.
    """

    lack: FloatArray
    where: IntArray
    asked: Asked


def judged(
    kind: PoseSet,
    field: FloatArray,
    rent: float,
    room_prices: FloatArray,
    least: int,
    patience: Patience = ENDLESS,
) -> Judgement | None:
    """
    Return what the poses of a type lack.

    Parameters
    ----------
    kind : PoseSet
        The poses.
    field : ndarray of float, shape (rows, cols)
        Price of water at the nodes [unit of the benefit a m²].
    rent : float
        What a raft pays for the limits that it uses [unit of the benefit].
    room_prices : ndarray of float, shape (rooms,)
        What a raft in each room pays more [unit of the benefit].
    least : int
        Side of the boxes in which the search ends, in steps of the finest lattice.
    patience : Patience
        When to break off.

    Returns
    -------
    Judgement or None
        A bound for every legal pose; ``None`` where time was up before all were judged.
    """
    asked, held = kind.asked(field), kind.held
    paid = np.zeros(len(held.poses))
    # What is worth too little to lack anything need not be asked what the field pays it.
    may = np.flatnonzero(kind.worth > rent - 2 * asked.rises.max(initial=0.0))
    for part in _parts(len(may)):
        if patience.is_over():
            return None
        some = may[part]
        paid[some] = lattice_sums(kind.tables, asked.field, held.poses[some], True)
    apart = rent + room_prices[kind.box_room]
    lacks = kind.worth - paid
    shore = (
        held.edge, math.sqrt(kind.tables.cell_m2) / STEPS, kind.kind.length_m / 2,
        kind.kind.width_m / 2,
    )  # fmt: skip
    lack, where = np.zeros(len(held.boxes)), np.zeros((len(held.boxes), 3), np.int64)
    for part in _parts(len(held.boxes)):
        if patience.is_over():
            return None
        lack[part], where[part] = judged_boxes(
            kind.tables, asked, (held.boxes[part], held.corners[part]), lacks,
            (apart[part], least), shore,
        )  # fmt: skip
    return Judgement(lack * (1 + 1e-9), where, asked)


def _parts(count: int) -> Iterator[slice]:
    """Yield parts of so many boxes, between which the clock may be read."""
    return (slice(first, first + _AT_ONCE) for first in range(0, count, _AT_ONCE))


def made_good(problem: Problem, judgements: Sequence[Judgement]) -> tuple[float, FloatArray]:
    """
    Return how what poses lack is made good at the least cost.

    Parameters
    ----------
    problem : Problem
        The poses.
    judgements : sequence of Judgement
        What those of each type lack.

    Returns
    -------
    float
        What each raft of a plan adds to the bound [unit of the benefit].
    ndarray of float, shape (rows, cols)
        What the field gains at the nodes [unit of the benefit a m²].
    """
    shape = problem.node_area_m2.shape
    needs, beyond = [], 0.0
    for kind, judgement in zip(problem.types, judgements, strict=True):
        border = kind.tables.border
        need = np.zeros(shape)
        lacking = np.flatnonzero(judgement.lack)
        boxes = kind.held.boxes[lacking]
        np.maximum.at(need, (boxes[:, 1] // STEPS, boxes[:, 2] // STEPS), judgement.lack[lacking])
        # Where a grown set may leave the grid the field cannot rise under all of it.
        inner = np.zeros(shape, bool)
        inner[border:-border, border:-border] = True
        beyond = max(beyond, float(need[~inner].max(initial=0.0)))
        needs.append((maximum_filter(need, 2 * border + 1), kind.grown_m2))
    top = max(float(need.max(initial=0.0)) for need, _ in needs)
    best: tuple[float, float, FloatArray] = (math.inf, 0.0, np.zeros(shape))
    for share in _SHARES:
        margin = max(share * top, beyond)
        gain = np.zeros(shape)
        for need, grown_m2 in needs:
            # Weights of a grown set add up to its area, so that it gains the lack at least.
            np.maximum(gain, np.maximum(need - margin, 0.0) / grown_m2 * (1 + 1e-9), out=gain)
        cost = margin * problem.most_rafts + float((gain * problem.node_area_m2).sum())
        if cost < best[0]:
            best = (cost, margin, gain)
    return best[1], best[2]
