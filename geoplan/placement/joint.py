"""
Joint moves: all rafts of a plan moved and turned at once.

Rows of what keeps rafts apart and in their region are linear in small moves. A linear programme
finds the moves of all rafts within a short reach that gain most; what is lacking is bought back
before worth is. Repeated, that settles a plan where no joint move gains.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import highspy
import numpy as np

from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.parting_kernels import count_astray, worths_of
from geoplan.placement.partings import Rows, Shapes, edge_rows, inner_edges, pair_rows, together
from geoplan.placement.pose_kernels import Water
from geoplan.placement.price_programme import quiet_solver
from geoplan.site import FloatArray
from geoplan.water import IntArray

#: Reach of the first and of the last joint moves [m], and moves at most.
_FIRST_M, _LAST_M = 0.5, 2e-4
_MOST_MOVES = 40
#: Two corners come no nearer in a joint move than this many times its reach [1].
_REACHES = 5.0
#: A joint move that gains no more than this is followed by nearer ones [1].
_LITTLE = 1e-5
#: Reaches of the last moves, which part what is still too near [m].
_PARTINGS_M = (5e-3, 2e-3, 1e-3, 2e-4, 2e-4)
#: Moves after which a plan must lack less than this much, or half of what it did [m].
_EARLY, _HOPEFUL_M = 8, 0.25
#: A metre too near costs as much as the worthiest raft this many times.
_PENALTY = 4.0
#: Room beyond the least, so that rounding breaks no rule, and what may be lacking [m].
_SPARE_M, _TOLERANCE_M = 3e-7, 3e-7
_STEP_M = 1e-4


@dataclass(frozen=True, eq=False)
class Pool:
    """
    The water as joint moves see it.

    Attributes
    ----------
    water : Water
        Worth and sides of each type.
    edges : tuple of ndarray of float, shape (n, 2, 2)
        Edges of each type's region, its water on their left [m].
    gap_m : float
        Distance between rafts [m].
    """

    water: Water
    edges: tuple[FloatArray, ...]
    gap_m: float

    @classmethod
    def of(cls, water: Water, regions: Sequence[AllowedRegion], gap_m: float) -> "Pool":
        """
        Return the pool of regions.

        Parameters
        ----------
        water : Water
            The same regions as the compiled search sees them.
        regions : sequence of AllowedRegion
            Where rafts of each type may lie.
        gap_m : float
            Distance between rafts [m].

        Returns
        -------
        Pool
            Ready for joint moves.
        """
        return cls(water, tuple(inner_edges(region.region) for region in regions), gap_m)

    def worth(self, poses: FloatArray, kinds: IntArray) -> FloatArray:
        """
        Return what rafts are worth.

        Parameters
        ----------
        poses : ndarray of float, shape (n, 3)
            Easting, northing [m] and turn [rad].
        kinds : ndarray of int, shape (n,)
            Their types.

        Returns
        -------
        ndarray of float, shape (n,)
            Worth of each [worth of planted m²].
        """
        out: FloatArray = worths_of(self.water, poses, kinds, 0.0)[:, 0]
        return out

    def rows(self, poses: FloatArray, kinds: IntArray, near_m: float) -> Rows:
        """
        Return what keeps rafts apart and in their region.

        Parameters
        ----------
        poses : ndarray of float, shape (n, 3)
            Easting, northing [m] and turn [rad].
        kinds : ndarray of int, shape (n,)
            Their types.
        near_m : float
            Rows with more room are left out [m].

        Returns
        -------
        Rows
            Pairs of rafts, then rafts and edges.
        """
        shapes = Shapes.of(poses, self.water.sides[kinds])
        out = pair_rows(shapes, self.gap_m + _SPARE_M, near_m)
        for kind, edges in enumerate(self.edges):
            mine = np.flatnonzero(kinds == kind)
            if len(mine):
                found = edge_rows(shapes.of_some(mine), edges, near_m)
                second = np.where(found.second >= 0, mine[found.second], -1)
                first = np.where(found.first >= 0, mine[found.first], -1)
                out = together(out, found._replace(first=first, second=second))
        return out

    def lacking_m(self, rows: Rows, poses: FloatArray, kinds: IntArray) -> float:
        """
        Return by how much rafts are too near each other or the edges, and a metre for each astray.

        Parameters
        ----------
        rows : Rows
            What keeps these rafts apart and in their region.
        poses : ndarray of float, shape (n, 3)
            Easting, northing [m] and turn [rad].
        kinds : ndarray of int, shape (n,)
            Their types.

        Returns
        -------
        float
            Nothing for a legal plan [m].
        """
        # Rows alone cannot tell water from land behind an edge.
        return rows.lacking_m() + count_astray(self.water, poses, kinds)


def settled(
    pool: Pool, poses: FloatArray, kinds: IntArray, little: float = _LITTLE
) -> tuple[FloatArray, float]:
    """
    Return rafts where no joint move gains, and what is still lacking there.

    Parameters
    ----------
    pool : Pool
        The water.
    poses : ndarray of float, shape (n, 3)
        Easting, northing [m] and turn [rad]; rafts may be too near.
    kinds : ndarray of int, shape (n,)
        Their types.
    little : float
        Share of the worth: a move that gains no more is followed by nearer ones [1].

    Returns
    -------
    ndarray of float, shape (n, 3)
        Easting, northing [m] and turn [rad].
    float
        By how much all pairs together are too near; nothing where the plan is legal [m].
    """
    solver, reach = _solver(), _FIRST_M
    arm = np.hypot(*pool.water.sides[kinds].T) / 2
    worth = pool.worth(poses, kinds)
    penalty = _PENALTY * float((pool.water.nodes.max(axis=(1, 2)) * pool.water.planted).max())
    rows = pool.rows(poses, kinds, _REACHES * reach)
    lack = start = pool.lacking_m(rows, poses, kinds)
    for move in range(_MOST_MOVES):
        step = _best_move(solver, rows, _slopes(pool, poses, kinds), arm, reach, penalty)
        if step is None:
            break
        tried = poses + step
        near = pool.rows(tried, kinds, _REACHES * reach)
        new_worth, new_lack = pool.worth(tried, kinds), pool.lacking_m(near, tried, kinds)
        gain = new_worth.sum() - worth.sum() - penalty * (new_lack - lack)
        if gain > 1e-9 * abs(worth.sum()):
            poses, rows, worth, lack = tried, near, new_worth, new_lack
        # Far moves of little gain go to and fro: what they seek is nearer.
        if gain <= little * abs(worth.sum()):
            reach /= 3
        if reach < _LAST_M or (move == _EARLY and lack > max(_HOPEFUL_M, start / 2)):
            break
    if 0 < lack < _HOPEFUL_M:
        slopes = _slopes(pool, poses, kinds)
        poses, lack = _parted(pool, solver, poses, kinds, slopes)
    return poses, lack


def _solver() -> Any:
    """Return a solver for programmes so small that looking for simpler ones does not pay."""
    solver = quiet_solver()
    solver.setOptionValue("presolve", "off")
    return solver


def _parted(
    pool: Pool, solver: Any, poses: FloatArray, kinds: IntArray, slopes: FloatArray
) -> tuple[FloatArray, float]:
    """Return rafts moved by little until nothing is lacking."""
    arm = np.hypot(*pool.water.sides[kinds].T) / 2
    penalty = 1e3 * float(np.abs(slopes).max(initial=0.0)) + 1e-9
    rows = pool.rows(poses, kinds, 0.1)
    for reach in _PARTINGS_M:
        step = _best_move(solver, rows, slopes, arm, reach, penalty)
        if step is None:
            break
        poses = poses + step
        rows = pool.rows(poses, kinds, 0.1)
        if rows.lacking_m() <= _TOLERANCE_M:
            break
    return poses, pool.lacking_m(rows, poses, kinds)


def _slopes(pool: Pool, poses: FloatArray, kinds: IntArray) -> FloatArray:
    """Return the change of each raft's worth as it moves east, north and turns, shape (n, 3)."""
    found = worths_of(pool.water, poses, kinds, _STEP_M)
    out: FloatArray = (found[:, 1:] - found[:, :1]) / _STEP_M
    return out


def _best_move(
    solver: Any, rows: Rows, slopes: FloatArray, arm: FloatArray, reach_m: float, penalty: float
) -> FloatArray | None:
    """Return the joint move within a reach that gains most, what is lacking priced."""
    n = len(slopes)
    scale = np.stack([np.ones(n), np.ones(n), 1 / arm], axis=1)
    count = len(rows.room_m)
    owner = np.where(rows.first >= 0, rows.first, rows.second)
    index = np.full((count, 7), -1)
    value = np.zeros((count, 7))
    for at, who, rate in ((0, rows.first, rows.first_rate), (3, rows.second, rows.second_rate)):
        for axis in range(3):
            index[:, at + axis] = np.where(who >= 0, 3 * who + axis, -1)
            value[:, at + axis] = rate[:, axis] * scale[who, axis]
    index[:, 6], value[:, 6] = 3 * n + owner, 1.0
    is_used = index >= 0
    start = np.concatenate([[0], np.cumsum(is_used.sum(axis=1))])
    solver.passModel(
        *(4 * n, count, int(start[-1])),
        *(int(highspy.MatrixFormat.kRowwise), int(highspy.ObjSense.kMinimize), 0.0),
        np.concatenate([-(slopes * scale).ravel(), np.full(n, penalty)]),
        np.concatenate([np.full(3 * n, -reach_m), np.zeros(n)]),
        np.concatenate([np.full(3 * n, reach_m), np.full(n, highspy.kHighsInf)]),
        *(-rows.room_m, np.full(count, highspy.kHighsInf)),
        *(start, index[is_used], value[is_used], np.zeros(4 * n, np.int32)),
    )
    solver.run()
    if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        return None
    found = np.array(solver.getSolution().col_value[: 3 * n]).reshape(n, 3)
    out: FloatArray = found * scale
    return out
