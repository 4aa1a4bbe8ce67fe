"""
Which surveyed raft is which planned one.

Arrays only. Places and names are both evidence, and either may be wrong: a raft drifts, a crew
mixes up two labels. Each pairing is given the log-odds of both; the best assignment as a whole is
taken, and where exchanging two rafts would be nearly as good it is said.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: How near its planned place a crew leaves a raft, one standard deviation [m]. *Judgement*.
PLACING_SIGMA_M = 0.5
#: Twice the log-odds against a name that was given to the wrong raft: 1 in 100, shared by the two
#: that were exchanged. *Judgement*.
MISNAMED = float(np.log(100.0))
#: The same against a raft that no longer lies where it was placed; beyond it distance says no more.
#: *Judgement*.
MOVED = 30.0
#: The same against a raft that is missing, or was never planned. *Judgement*.
UNPAIRED = 20.0
#: Farthest that a raft without the right name may lie to be taken for a planned one, squared
#: standard deviations [1]: 1 in 3,000.
FARTHEST = 16.0
#: Below 20 to 1 an identity is called doubtful.
DOUBTFUL = 2.0 * float(np.log(20.0))
_NEVER = 1e9


@dataclass(frozen=True, eq=False)
class Matching:
    """
    Pairs of surveyed and planned rafts.

    Attributes
    ----------
    planned : ndarray of int, shape (m,)
        Planned raft of each surveyed one; -1 where it has none.
    is_sure : ndarray of bool, shape (m,)
        Whether exchanging it with another is at least 20 times less likely.
    """

    planned: IntArray
    is_sure: BoolArray


def match_rafts(
    seen_m: FloatArray,
    sigma_m: FloatArray,
    planned_m: FloatArray,
    is_named: BoolArray,
    misfit: FloatArray,
) -> Matching:
    r"""
    Pair surveyed rafts with planned ones.

    Parameters
    ----------
    seen_m : ndarray of float, shape (m, 2)
        Surveyed centres [m].
    sigma_m : ndarray of float, shape (m,)
        Standard deviation of each along each axis [m].
    planned_m : ndarray of float, shape (n, 2)
        Planned centres [m].
    is_named : ndarray of bool, shape (m, n)
        Whether the surveyed raft bears the planned one's name. A row without any is a raft that
        nobody named.
    misfit : ndarray of float, shape (m, n)
        How much worse the size of the planned raft fits the fixes than the size that fits best,
        in squared standard deviations [1].

    Returns
    -------
    Matching
        The most likely assignment.

    Notes
    -----
    Minus twice the log-likelihood of a pair is :math:`d^2 / (\sigma^2 + \sigma_p^2)`, capped
    where the name is right (a raft may drift any distance), plus a constant where the name is
    another's. The sum is minimised over all assignments.

    Examples
    --------
    >>> place = np.array([[0.0, 0.0], [10.0, 0.0]])
    >>> labels_exchanged = np.array([[False, True], [True, False]])
    >>> match_rafts(place, np.full(2, 0.03), place, labels_exchanged, np.zeros((2, 2))).planned
    array([0, 1])
    """
    count, planned_count = len(seen_m), len(planned_m)
    if count == 0 or planned_count == 0:
        return Matching(np.full(count, -1, np.int64), np.ones(count, bool))
    cost = _cost(seen_m, sigma_m, planned_m, is_named, misfit)
    size = count + planned_count
    whole = np.zeros((size, size))
    whole[:count, :planned_count] = cost
    whole[:count, planned_count:] = UNPAIRED
    whole[count:, :planned_count] = UNPAIRED
    _, column = linear_sum_assignment(whole)
    chosen = column[:count]
    pair = np.where(chosen < planned_count, chosen, -1).astype(np.int64)
    return Matching(pair, _is_sure(cost, pair))


def _cost(
    seen_m: FloatArray,
    sigma_m: FloatArray,
    planned_m: FloatArray,
    is_named: BoolArray,
    misfit: FloatArray,
) -> FloatArray:
    """Return minus twice the log-odds of every pair."""
    away = seen_m[:, None, :] - planned_m[None, :, :]
    apart = (away**2).sum(axis=2) / (sigma_m**2 + PLACING_SIGMA_M**2)[:, None]
    has_name = np.asarray(is_named.any(axis=1))[:, None]
    other = np.where(apart <= FARTHEST, apart + np.where(has_name, MISNAMED, 0.0), _NEVER)
    cost = np.where(is_named, np.minimum(apart, MOVED), other) + misfit
    return np.asarray(np.minimum(cost, _NEVER), dtype=np.float64)


def _is_sure(cost: FloatArray, pair: IntArray) -> BoolArray:
    """Tell which pairs stand well apart from an exchange with another, or with a missing raft."""
    sure = np.ones(len(pair), bool)
    paired = np.flatnonzero(pair >= 0)
    own = cost[paired, pair[paired]]
    crossed = cost[np.ix_(paired, pair[paired])]
    exchange = crossed + crossed.T - own[:, None] - own[None, :]
    np.fill_diagonal(exchange, np.inf)
    sure[paired] = exchange.min(axis=1, initial=np.inf) >= DOUBTFUL
    idle = np.setdiff1d(np.arange(cost.shape[1]), pair[paired])
    if len(idle):
        sure[paired] &= (cost[np.ix_(paired, idle)] - own[:, None]).min(axis=1) >= DOUBTFUL
    return sure
