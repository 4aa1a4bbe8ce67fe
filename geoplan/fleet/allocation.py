r"""
Which choice for which water body, when all draw on the same limits: best, with a proof.

Each water body has choices, of which one is taken; each is worth something and uses something of
shared limits. With prices π for the limits every water body chooses for itself, and

.. math:: \phi(\pi) = \sum_p \max_{c \in p} (v_c - \pi \cdot u_c) + \mu \cdot b - \nu \cdot a,
   \qquad \pi = \mu - \nu, \quad \mu, \nu \ge 0

bounds every selection that keeps a ≤ Σu ≤ b. The least φ is found by cutting planes, in as many
variables as there are limits, however many water bodies there are. A mixed-integer programme over
the choices that are nearly best at those prices gives the selection; a choice that loses more at
those prices than bound and selection differ by is in no better selection, so that leaving it out
proves nothing away.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_array, vstack

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Gap at which a large programme may stop, and one small enough to be settled [1].
_LARGE_GAP = 2e-4
_SMALL_GAP = 1e-9
#: Choices up to which the programme is settled as a small one.
_SMALL = 4_000
#: Choices beside the best of each water body that a large programme begins with.
_BESIDE = 2_000
_NODES = 20_000
_ROUNDS = 250
_BLOCKS = 24
#: Share of the way back to the best prices so far: cutting planes swing less.
_BACK = 0.4


class OutOfReachError(ValueError):
    """No selection keeps every limit."""


@dataclass(frozen=True, eq=False)
class Choices:
    """
    What may be chosen for each water body; exactly one of its choices is.

    Attributes
    ----------
    water : ndarray of int, shape (n,)
        Water body of each choice, in rising order from 0 without a gap.
    value : ndarray of float, shape (n,)
        What it is worth [unit of the worth].
    use : ndarray of float, shape (n, limits)
        What it uses of each limit [unit of the limit].
    """

    water: IntArray
    value: FloatArray
    use: FloatArray

    @property
    def starts(self) -> IntArray:
        """Return the first choice of each water body, shape (waters,)."""
        return np.flatnonzero(np.diff(self.water, prepend=-1))


@dataclass(frozen=True, eq=False)
class Limits:
    """
    Sums that every selection must keep.

    Attributes
    ----------
    least, most : ndarray of float, shape (limits,)
        Bounds of the sum of what is used; infinite where there is none [unit of the limit].
    """

    least: FloatArray
    most: FloatArray


@dataclass(frozen=True, eq=False)
class Selection:
    """
    A choice for each water body, and what proves how good it is.

    Attributes
    ----------
    chosen : ndarray of int, shape (waters,)
        Index of the choice taken.
    value : float
        What all are worth [unit of the worth].
    bound : float
        No selection from these choices is worth more [unit of the worth].
    prices : ndarray of float, shape (limits,)
        What one more unit of each limit would bring at most; negative where less of it had to be
        used than is asked for [unit of the worth per unit of the limit].
    """

    chosen: IntArray
    value: float
    bound: float
    prices: FloatArray

    @property
    def gap_pct(self) -> float:
        """Return by how much a better selection could beat this one at most [%]."""
        return 100.0 * max(0.0, 1.0 - self.value / self.bound) if self.bound > 0 else 0.0


def selected(choices: Choices, limits: Limits) -> Selection:
    """
    Return the best selection within limits.

    Parameters
    ----------
    choices : Choices
        What may be chosen for each water body.
    limits : Limits
        Sums that must be kept.

    Returns
    -------
    Selection
        Proven best where there are few choices, else within 0.1 % or what its bound says.

    Raises
    ------
    OutOfReachError
        If no selection keeps the limits.

    Examples
    --------
    Two ponds, at most one raft: the better one gets it, and the next would bring 2.

    >>> choices = Choices(np.array([0, 0, 1, 1]), np.array([0.0, 3.0, 0.0, 2.0]),
    ...                   np.array([[0.0], [1.0], [0.0], [1.0]]))
    >>> found = selected(choices, Limits(np.array([-np.inf]), np.array([1.0])))
    >>> found.chosen.tolist(), found.value, found.bound
    ([1, 2], 3.0, 3.0)
    >>> bool(2.0 <= found.prices[0] <= 3.0)
    True
    """
    prices, bound = _best_prices(choices, limits)
    net = choices.value - choices.use @ prices
    best = _best_each(choices, net)
    loss = net[best][choices.water] - net
    small = len(loss) <= _SMALL
    beside, chosen, value = (len(loss) if small else _BESIDE), None, -np.inf
    while True:
        kept = _kept(loss, best, beside)
        found = _programme(choices, limits, kept, _SMALL_GAP if small else _LARGE_GAP, bound)
        if found is not None and found[1] > value:
            chosen, value = found[0], found[1]
        if found is not None and len(kept) == len(loss):
            bound = min(bound, max(value, found[2]))
        is_proven = value >= bound - 0.5e-3 * abs(bound)
        if len(kept) == len(loss) or (chosen is not None and is_proven):
            break
        beside *= 4
    if chosen is None:
        raise OutOfReachError("no selection keeps every limit")
    return Selection(chosen, value, max(bound, value), prices)


def _best_each(choices: Choices, net: FloatArray) -> IntArray:
    """Return the best choice of each water body; of equals the first."""
    starts = choices.starts
    top = np.maximum.reduceat(net, starts)
    where = np.flatnonzero(net >= top[choices.water])
    _, first = np.unique(choices.water[where], return_index=True)
    best: IntArray = where[first]
    return best


def _best_prices(choices: Choices, limits: Limits) -> tuple[FloatArray, float]:
    """Return the prices with the least bound found, and the bound."""
    upper, lower = np.isfinite(limits.most), np.isfinite(limits.least)
    count = len(limits.most)
    # Everything is made comparable: prices then are shares of the largest that could matter.
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = np.where(choices.use > 0, choices.value[:, None] / choices.use, 0.0)
    top = np.maximum(rate.max(axis=0, initial=0.0), 1e-12)
    sign = np.concatenate([np.diag(top)[upper], -np.diag(top)[lower]])
    rhs = np.concatenate([(top * np.where(upper, limits.most, 0.0))[upper],
                          -(top * np.where(lower, limits.least, 0.0))[lower]])  # fmt: skip
    if not len(rhs):
        return np.zeros(count), float(np.maximum.reduceat(choices.value, choices.starts).sum())
    waters = len(choices.starts)
    block = (np.arange(waters) * min(_BLOCKS, waters)) // waters
    cuts: list[tuple[Any, Any]] = []  # worth and use of each block at some prices
    best_x, best_phi = np.zeros(len(rhs)), np.inf
    x = np.zeros(len(rhs))
    for _ in range(_ROUNDS):
        at = _best_each(choices, choices.value - choices.use @ (x @ sign))
        worth = np.bincount(block, choices.value[at])
        use = np.stack([np.bincount(block, column) for column in (choices.use[at] @ sign.T).T], 1)
        cuts.append((worth, use))
        phi = float(worth.sum() - x @ use.sum(axis=0) + x @ rhs)
        if phi < best_phi:
            best_x, best_phi = x, phi
        master, floor = _master(cuts, rhs)
        if best_phi - floor <= 1e-6 * abs(best_phi):
            break
        x = _BACK * best_x + (1 - _BACK) * master
    return best_x @ sign, best_phi


def _master(cuts: list[tuple[Any, Any]], rhs: FloatArray) -> tuple[FloatArray, float]:
    """Return the prices with the least of the bound's model so far, and that least."""
    blocks, count = len(cuts[0][0]), len(rhs)
    rows = np.concatenate(
        [np.hstack([-use, -np.eye(blocks)]) for _, use in cuts]
    )  # worth − x·use ≤ θ
    limit = np.concatenate([-worth for worth, _ in cuts])
    # No price above 1 helps against a most; one for a least may have to be larger.
    bounds = [(0.0, 1e3)] * count + [(None, None)] * blocks
    cost = np.concatenate([rhs, np.ones(blocks)])
    found = linprog(cost, A_ub=rows, b_ub=limit, bounds=bounds, method="highs")
    if found.status != 0:
        return np.zeros(count), -np.inf
    return found.x[:count], float(found.fun)


def _kept(loss: FloatArray, best: IntArray, beside: int) -> IntArray:
    """Return the best choice of each water body and those that lose least beside them."""
    others = np.setdiff1d(np.arange(len(loss)), best)
    near = others[np.argsort(loss[others], kind="stable")[:beside]]
    return np.sort(np.concatenate([best, near]))


def _programme(
    choices: Choices, limits: Limits, kept: IntArray, gap: float, bound: float
) -> tuple[IntArray, float, float] | None:
    """Return the best selection among kept choices, its worth and what bounds it."""
    water = choices.water[kept]
    free = np.bincount(water)[water] > 1
    fixed, open_ = kept[~free], kept[free]
    used = choices.use[fixed].sum(axis=0)
    settled = float(choices.value[fixed].sum())
    if not len(open_):
        is_within = np.all(used <= limits.most + 1e-9) and np.all(used >= limits.least - 1e-9)
        return (np.sort(fixed), settled, settled) if is_within else None
    names, row = np.unique(choices.water[open_], return_inverse=True)
    one = csr_array((np.ones(len(open_)), (row, np.arange(len(open_)))))
    matrix = vstack([one, csr_array(choices.use[open_].T)], format="csr")
    low = np.concatenate([np.ones(len(names)), limits.least - used - 1e-9])
    high = np.concatenate([np.ones(len(names)), limits.most - used + 1e-9])
    rest = max(bound - settled, 1e-12)
    options: dict[str, Any] = {"node_limit": _NODES}
    options["mip_rel_gap"] = min(0.5, gap * max(abs(bound), 1e-12) / rest)
    found = milp(
        -choices.value[open_],
        constraints=LinearConstraint(matrix, low, high),
        integrality=np.ones(len(open_)),
        bounds=Bounds(0.0, 1.0),
        options=options,
    )
    if found.x is None:
        return None
    chosen = np.sort(np.concatenate([fixed, open_[found.x > 0.5]]))
    dual = found.mip_dual_bound
    best = settled - float(dual) if dual is not None else bound
    return chosen, float(choices.value[chosen].sum()), best
