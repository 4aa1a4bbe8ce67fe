"""The linear programme of the price field, solved anew as poses are added."""

import os
from collections.abc import Sequence
from typing import Any

import highspy
import numba
import numpy as np
from scipy.sparse import csr_array, hstack

from geoplan.placement.patience import ENDLESS, Patience
from geoplan.placement.price_problem import COARSE, SMALL_ROOM, PoseSet, Problem
from geoplan.placement.sum_kernels import (
    FINER,
    HEADINGS,
    STEPS,
    Asked,
    Tables,
    kind_of,
    worths,
)
from geoplan.site import FloatArray
from geoplan.water import IntArray

#: Poses taken up in one round.
_TAKEN = 2500
#: Steepest field: the price of a raft's own area lost over this distance [m].
_STEEPEST_M = 1.5
#: Price of water beyond the edge, as a share of what it would cost in the water: the field is not
#: heaped up there for nothing; a bound loses a few hundredths of a per cent by it.
_DRY = 0.03
#: Work that all solutions of a programme may cost: iterations by rows, some ten millions a second.
#: Counted and not timed, so that the same input gives the same bound.
_MOST_WORK = 35_000_000
#: How near to the best a point inside the best face is sought [1].
_INTERIOR = 1e-5


def first_poses(kind: PoseSet) -> IntArray:
    """
    Return every fourth heading at every second node, to begin with.

    Parameters
    ----------
    kind : PoseSet
        Lattice poses of a type.

    Returns
    -------
    ndarray of int, shape (n, 3)
        Poses on the finest lattice.
    """
    poses = kind.held.poses
    step = np.array([4, 2 * STEPS, 2 * STEPS])
    first: IntArray = poses[(poses % step == 0).all(axis=1)] * FINER
    return first


def worst(where: IntArray, lack: FloatArray) -> IntArray:
    """
    Return the poses that lack most, one in each cell.

    Parameters
    ----------
    where : ndarray of int, shape (boxes, 3)
        A pose of each box, on the finest lattice.
    lack : ndarray of float, shape (boxes,)
        What each lacks [unit of the benefit].

    Returns
    -------
    ndarray of int, shape (n, 3)
        Poses, the worst first.
    """
    lacking = np.flatnonzero(lack > 0)
    if len(lacking) == 0:
        return np.zeros((0, 3), int)
    cell = where[lacking, 1:] // (STEPS * FINER)
    place = cell[:, 0] * (int(cell[:, 1].max()) + 1) + cell[:, 1]
    order = lacking[np.argsort(-lack[lacking], kind="stable")]
    place = place[np.argsort(-lack[lacking], kind="stable")]
    # Of equals in a cell the first.
    _, first = np.unique(place, return_index=True)
    chosen: IntArray = where[order[np.sort(first)][:_TAKEN]]
    return chosen


def quiet_solver() -> Any:
    """
    Return a solver that says nothing, on one thread, the same every run.

    Returns
    -------
    Highs
        The solver. Its first words would go to standard output before an option can keep it quiet.
    """
    made: Any = highspy.Highs
    kept = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        solver = made()
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
    for option, setting in (
        ("log_to_console", False),
        ("output_flag", False),
        ("threads", 1),
        ("random_seed", 0),
    ):
        solver.setOptionValue(option, setting)
    return solver


class Programme:
    """
    The linear programme, to which poses are added; solved anew from where it was.

    Parameters
    ----------
    problem : Problem
        Poses, rooms, nodes and limits.
    """

    def __init__(self, problem: Problem) -> None:
        """Set up variables and the steepest slope of the field."""
        self._costs = problem.costs
        self._least = 0.0
        costs = self._costs.copy()
        coarse = problem.spread.shape[1]
        h = problem.surface.cell_size_m
        # Nodes beyond the water cost next to nothing: a price keeps the field from rising there.
        costs[:coarse] = np.maximum(costs[:coarse], _DRY * problem.spread.sum(axis=0) * h**2)
        self._solver = quiet_solver()
        upper = np.full(len(costs), highspy.kHighsInf)
        for index, room in enumerate(problem.rooms):
            if room.most > SMALL_ROOM:
                upper[coarse + len(problem.most) + index] = 0.0
        lower = np.zeros(len(costs))
        lower[coarse : coarse + len(problem.most)] = problem.least_prices
        self._solver.addVars(len(costs), lower, upper)
        self._solver.changeColsCost(len(costs), np.arange(len(costs), dtype=np.int32), costs)
        self.is_interior = bool(problem.least_prices.any())
        if self.is_interior:
            # A large programme: a point inside the best face is found sooner than a corner of it,
            # and proves as much, for whatever field is found is judged.
            self._solver.setOptionValue("solver", "ipm")
            self._solver.setOptionValue("run_crossover", "off")
            self._solver.setOptionValue("ipm_optimality_tolerance", _INTERIOR)
        self._work_left = _MOST_WORK
        self._is_extended = False
        self._taken: list[tuple[int, int, IntArray, FloatArray]] = []
        self._limit_slopes(problem)

    def _limit_slopes(self, problem: Problem) -> None:
        """Keep neighbours from differing by more than the steepest slope."""
        spread = problem.spread
        # A coarse node is the node where its hat is one.
        top = np.asarray(spread.argmax(axis=0)).ravel()
        place = {int(node): k for k, node in enumerate(top)}
        cols = problem.surface.nodes.shape[1]
        pairs = [
            (k, place[node + step])
            for node, k in place.items()
            for step in (COARSE, COARSE * cols)
            if node + step in place
        ]
        most = max(float(kind.worth.max(initial=0.0)) / kind.grown_m2 for kind in problem.types)
        slope = most / _STEEPEST_M * COARSE * problem.surface.cell_size_m
        count = len(pairs)
        self._solver.addRows(
            count, np.full(count, -slope), np.full(count, slope), 2 * count,
            np.arange(count, dtype=np.int32) * 2,
            np.array(pairs, np.int32).ravel(), np.tile([1.0, -1.0], count),
        )  # fmt: skip

    def go_on(self) -> None:
        """Allow the same work once more, for a field that proves more than was known."""
        if not self._is_extended:
            self._work_left += _MOST_WORK
        self._is_extended = True

    def take(self, chosen: Sequence[IntArray], asked: Sequence[Asked], problem: Problem) -> None:
        """
        Add poses of each type: all pay their worth, and what poses round them may lack now.

        Parameters
        ----------
        chosen : sequence of ndarray of int, shape (n, 3)
            Poses of each type on the finest lattice.
        asked : sequence of Asked
            Of each type the worth, and what boxes may lack beyond their corners.
        problem : Problem
            The poses.
        """
        for index, first, poses, worth in self._taken:
            count = len(poses)
            self._solver.changeRowsBounds(
                count, np.arange(first, first + count, dtype=np.int32),
                worth + rises_at(asked[index], poses), np.full(count, highspy.kHighsInf),
            )  # fmt: skip
        for index, (kind, poses) in enumerate(zip(problem.types, chosen, strict=True)):
            if len(poses) == 0:
                continue
            worth = worths(kind.tables, asked[index], poses) - problem.paid_before[index]
            self._taken.append((index, self._solver.getNumRow(), poses, worth))
            self._add(index, poses, worth + rises_at(asked[index], poses), problem)

    def _add(self, index: int, poses: IntArray, least: FloatArray, problem: Problem) -> None:
        """Add poses of a type that must pay so much."""
        kind, count = problem.types[index], len(poses)
        field = self._pose_weights(kind, poses, problem)
        price = csr_array(np.tile(problem.use[:, index], (count, 1)))
        room = csr_array(
            (np.ones(count), (np.arange(count), problem.rooms_of(poses))),
            (count, len(problem.rooms)),
        )
        rows = csr_array(hstack([field, price, room], format="csr"))
        self._solver.addRows(
            count, least, np.full(count, highspy.kHighsInf), rows.nnz,
            rows.indptr[:-1].astype(np.int32), rows.indices.astype(np.int32), rows.data,
        )  # fmt: skip

    @staticmethod
    def _pose_weights(kind: PoseSet, poses: IntArray, problem: Problem) -> csr_array:
        """Return the weights of coarse nodes in what poses pay, one row each."""
        shape, border = problem.surface.nodes.shape, kind.tables.border
        start, places, weights = _stencils(kind.tables, poses)
        owner = np.repeat(np.arange(len(poses)), np.diff(start))
        i, j = places // kind.tables.wide - border, places % kind.tables.wide - border
        inside = (i >= 0) & (i < shape[0]) & (j >= 0) & (j < shape[1])
        fine = csr_array(
            (weights[inside], (owner[inside], (i * shape[1] + j)[inside])),
            (len(poses), shape[0] * shape[1]),
        )
        return csr_array(fine @ problem.spread)

    def rented(self, problem: Problem, patience: Patience = ENDLESS) -> FloatArray | None:
        """
        Return the best prices without any field, which leave nothing to any pose.

        Parameters
        ----------
        problem : Problem
            The poses.
        patience : Patience
            When to break off.

        Returns
        -------
        ndarray of float or None
            The variables; ``None`` where the programme has no best, or time is up [units of each].
        """
        count, first = problem.spread.shape[1], self._solver.getNumRow()
        field = np.arange(count, dtype=np.int32)
        for index, kind in enumerate(problem.types):
            boxes, most = kind.held.boxes, kind.box_worth
            rooms = [np.flatnonzero(kind.box_room == room) for room in np.unique(kind.box_room)]
            best = np.array([own[np.argmax(most[own])] for own in rooms], int)
            if len(best):
                least = most[best] - problem.paid_before[index]
                self._add(index, boxes[best, :3] * FINER, least, problem)
        self._solver.changeColsBounds(count, field, np.zeros(count), np.zeros(count))
        found = self.solved(patience)
        self._solver.changeColsBounds(
            count, field, np.zeros(count), np.full(count, highspy.kHighsInf)
        )
        # With a field these ask more than is needed.
        rows = np.arange(first, self._solver.getNumRow(), dtype=np.int32)
        nothing = np.full(len(rows), -highspy.kHighsInf)
        self._solver.changeRowsBounds(len(rows), rows, nothing, -nothing)
        return found

    @property
    def objective(self) -> float:
        """Return what the last solution proves, where all poses pay as those taken up so far."""
        return self._least

    def solved(self, patience: Patience = ENDLESS) -> FloatArray | None:
        """
        Return the variables.

        Parameters
        ----------
        patience : Patience
            When to break off.

        Returns
        -------
        ndarray of float or None
            Field, prices and room prices; ``None`` where the programme has no best, or where the
            work that all solutions may cost is done, or time is up [units of each].
        """
        if patience.is_over():
            return None
        # The solver counts the time of all its runs.
        until_s = self._solver.getRunTime() + patience.left_s
        self._solver.setOptionValue("time_limit", until_s)
        rows = max(self._solver.getNumRow(), 1)
        self._solver.setOptionValue("simplex_iteration_limit", self._work_left // rows)
        self._solver.run()
        self._work_left -= rows * int(self._solver.getInfo().simplex_iteration_count)
        if self._solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        found = np.array(self._solver.getSolution().col_value)
        # Without the price of water beyond the edge, which no bound has to pay.
        self._least = float(self._costs @ np.maximum(found, 0.0))
        return found


def rises_at(asked: Asked, poses: IntArray) -> FloatArray:
    """
    Return what the finest boxes at poses can lack beyond their corners.

    Parameters
    ----------
    asked : Asked
        What boxes of the lattice can lack.
    poses : ndarray of int, shape (n, 3)
        Poses on the finest lattice.

    Returns
    -------
    ndarray of float, shape (n,)
        Remainders [unit of the benefit].
    """
    turn, row, col = poses.T
    cell = STEPS * FINER
    out: FloatArray = asked.rises[turn // FINER % HEADINGS, row // cell, col // cell] / FINER**2
    return out


@numba.njit(cache=True)
def _stencils(tables: Tables, poses: IntArray) -> Any:
    """Return where the weights of each pose's grown set start, their nodes and the weights."""
    start = np.zeros(len(poses) + 1, np.int64)
    for k in range(len(poses)):
        kind, _ = kind_of(tables, poses[k, 0], poses[k, 1], poses[k, 2])
        start[k + 1] = start[k] + tables.counts[kind, 0]
    places, weights = np.empty(start[-1], np.int64), np.empty(start[-1])
    for k in range(len(poses)):
        kind, node = kind_of(tables, poses[k, 0], poses[k, 1], poses[k, 2])
        for e in range(tables.counts[kind, 0]):
            places[start[k] + e] = node + tables.steps[kind, e]
            weights[start[k] + e] = tables.weights[kind, e]
    return start, places, weights
