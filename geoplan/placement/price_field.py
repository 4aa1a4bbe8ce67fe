r"""
The price field: the tight bound for small and awkward waters.

Let a field f ≥ 0 lie over the water, let rafts of type t pay λₜ, the prices of what they use, and
rafts of one room (a part of the water that no grown raft leaves) a price κ more. If every legal
pose pays its worth,

.. math:: \int_{D(p)} f + \lambda_t + \kappa_{room} \ge v(p),

then no legal plan is worth more than ∫f + Σ pⱼ bⱼ + Σ κ n, for grown rafts D are disjoint and a
room holds no more than n of them. The best f is found by a linear programme over lattice poses, in
which the poses that pay too little are taken up round after round.

That is a number. It is a bound once every pose is judged, by branch and bound over boxes of poses
(see `judge_kernels`): what poses still lack is made good by a margin δ, which each raft that a plan
can hold adds to the bound, and by the field, which rises where they lack it (see `pose_judge`).
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.bound import Limit
from geoplan.placement.patience import ENDLESS, Patience
from geoplan.placement.pose_judge import Judgement, judged, made_good
from geoplan.placement.price_problem import Problem, Room, posed
from geoplan.placement.price_programme import Programme, first_poses, worst
from geoplan.placement.worth import WorthSurface
from geoplan.site import FloatArray

#: Rounds at most, and gain of a round below which it has stalled. In large water a round costs
#: seconds, and must bring more.
_PACE = (14, 5e-4)
_LARGE_PACE = (8, 1e-3)
#: How many stalled rounds end the search.
_STALLED = 2
#: Rounds after which a field must prove less than this many times what is known.
_PATIENCE = 4
#: What a field proves beyond what its programme leaves to prove, as a share: below the first of
#: each pair the judge's search ends in boxes of the second, in steps of the finest lattice; below
#: the last figure the search for a better field ends.
_SIDES = ((5e-3, 1), (6e-2, 2), (math.inf, 4))
_NEAR = 1.5e-3
#: Shares of the known prices of limits below which none is sought, where the water is large: rows
#: leave room between them, so that the last raft is worth less than the area bound thinks. The
#: higher the share, the fewer the poses that may pay it; the first with few enough is taken.
_LEAST_PRICES = (0.8, 0.9, 0.95)
#: What share of the bound that is known the first poses must leave to prove there at most, for what
#: lies between poses takes some of the gain back.
_LARGE_HOPE = 0.99
_HOPEFUL = 1.2


@dataclass(frozen=True, eq=False)
class FieldProof:
    """
    A price field that every legal pose pays its worth to.

    Attributes
    ----------
    value : float
        No legal plan is worth more [unit of the benefit].
    field : ndarray of float32, shape (rows, cols)
        Price of water at the nodes, bilinear between them [unit of the benefit a m²].
    prices : tuple of float
        Price of one unit of each limit [unit of the benefit a unit of the limit].
    rooms : tuple of Room
        Rooms with a price of their own.
    room_prices : tuple of float
        What a raft there pays more [unit of the benefit].
    margin : float
        What a pose may lack; each raft of ``most_rafts`` adds it [unit of the benefit].
    most_rafts : int
        No legal plan holds more rafts.
    """

    value: float
    field: FloatArray
    prices: tuple[float, ...]
    rooms: tuple[Room, ...]
    room_prices: tuple[float, ...]
    margin: float
    most_rafts: int

    def apart(self, limits: Sequence[Limit]) -> float:
        """
        Return what the bound is made of beside the field.

        Parameters
        ----------
        limits : sequence of Limit
            Sums that are bounded, in the order of the prices.

        Returns
        -------
        float
            Prices of limits and rooms, and margins [unit of the benefit].
        """
        total = self.margin * self.most_rafts
        total += sum(p * limit.most for p, limit in zip(self.prices, limits, strict=True))
        for price, room in zip(self.room_prices, self.rooms, strict=True):
            total += price * room.most
        return total


def price_field(
    surfaces: Sequence[WorthSurface],
    regions: Sequence[AllowedRegion],
    gap_m: float,
    limits: Sequence[Limit],
    known: float = np.inf,
    prices: Sequence[float] = (),
    patience: Patience = ENDLESS,
    paid_before: Sequence[float] | None = None,
) -> FieldProof | None:
    """
    Return the best price field found, proven for every legal pose.

    Parameters
    ----------
    surfaces : sequence of WorthSurface
        Worth for each type, bilinear between the nodes of one grid.
    regions : sequence of AllowedRegion
        Where rafts of each type may lie.
    gap_m : float
        Distance between rafts [m].
    limits : sequence of Limit
        Sums that are bounded, over the types in the order of ``regions``.
    known : float
        A bound that is known already: the search ends early where it does not come near it
        [unit of the benefit].
    prices : sequence of float
        Prices of the limits in that bound: where the water is too large, it is enough to look at
        the part that may pay most of them [unit of the benefit a unit of the limit].
    patience : Patience
        When the search for a better field must stop, within a round too: the last field that was
        judged whole stands.
    paid_before : sequence of float or None
        What a raft of each type pays for what water bodies share: the bound is then of what plans
        are worth beyond that; ``None``: nothing [unit of the benefit].

    Returns
    -------
    FieldProof or None
        A bound for continuous positions and headings; ``None`` where the water is too large for
        it, or time is up. It may be worse than the area bound, which is to be compared.
    """
    pose = partial(
        posed, surfaces, regions, gap_m, limits, patience=patience, paid_before=paid_before
    )
    problem = _problem(pose, prices, patience)
    if problem is None:
        return None
    if problem.most_rafts == 0:
        nothing = np.zeros(surfaces[0].nodes.shape)
        return FieldProof(0.0, nothing, (0.0,) * len(limits), (), (), 0.0, 0)
    side, stalled = _SIDES[-1][1], 0
    programme, best = _begun(problem, side, patience)
    rounds, closed = _LARGE_PACE if programme.is_interior else _PACE
    for turn in range(rounds):
        found = programme.solved(patience)
        if found is None or (turn == 0 and _is_hopeless(programme, known)):
            break
        proof, judgements = _proof(problem, found, side, patience)
        if proof is None:
            break
        is_better = best is None or proof.value < (1 - closed) * best.value
        if best is None or proof.value < best.value:
            best = proof
        stalled = 0 if is_better else stalled + 1
        if best.value < known:
            programme.go_on()
        if turn >= _PATIENCE and best.value > _HOPEFUL * known:
            break
        beyond = proof.value / max(programme.objective, 1e-12) - 1
        rows = [worst(each.where, each.lack) for each in judgements]
        if beyond < _NEAR or stalled >= _STALLED or not any(map(len, rows)):
            break
        # After a stalled round the last one is judged as finely as can be.
        side = 1 if stalled else next(size for share, size in _SIDES if beyond < share)
        programme.take(rows, [each.asked for each in judgements], problem)
    return best


def _begun(problem: Problem, side: int, patience: Patience) -> tuple[Programme, FieldProof | None]:
    """Return a programme with its first poses, and what prices prove without any field."""
    programme = Programme(problem)
    rented = programme.rented(problem, patience)
    proof = None if rented is None else _proof(problem, rented, side, patience)[0]
    nothing = np.zeros(problem.node_area_m2.shape)
    asked = [kind.asked(nothing) for kind in problem.types]
    programme.take([first_poses(kind) for kind in problem.types], asked, problem)
    return programme, proof


def _problem(
    pose: Callable[[list[float] | None], Problem | None],
    prices: Sequence[float],
    patience: Patience,
) -> Problem | None:
    """Return the problem of all the water, or where it is too large of what can pay."""
    if patience.is_over():
        return None
    problem = pose(None)
    for share in _LEAST_PRICES if any(price > 0 for price in prices) else ():
        if problem is not None or patience.is_over():
            break
        problem = pose([share * price for price in prices])
    return problem


def _is_hopeless(programme: Programme, known: float) -> bool:
    """Tell whether the first poses of a large programme leave too little to gain."""
    return programme.is_interior and programme.objective > _LARGE_HOPE * known


def _proof(
    problem: Problem, found: FloatArray, least: int, patience: Patience
) -> tuple[FieldProof | None, list[Judgement]]:
    """
    Return what a field proves, made good where poses lack something, and what they lack.

    Without a judgement of every pose there is no proof: none is returned where time is up before.
    """
    exact, prices, room_prices = problem.split(np.maximum(found, 0.0))
    prices = np.maximum(prices, problem.least_prices)
    judgements = []
    for index, kind in enumerate(problem.types):
        rent = float(prices @ problem.use[:, index]) + float(problem.paid_before[index])
        judgement = judged(kind, exact, rent, room_prices, least, patience)
        if judgement is None:
            return None, []
        judgements.append(judgement)
    margin, gain = made_good(problem, judgements)
    # No grown set of a legal raft touches the hat of a node without water.
    exact = np.where(problem.node_area_m2 > 0, exact + gain, 0.0)
    # Up, so that the field as written pays no less than the one that is judged.
    field = np.nextafter(exact.astype(np.float32), np.float32(np.inf))
    field = np.where(exact > 0, field, np.float32(0.0)).astype(float)
    most = np.array([float(room.most) for room in problem.rooms])
    value = float((field * problem.node_area_m2).sum() + prices @ problem.most)
    value += float(room_prices @ most) + margin * problem.most_rafts
    priced = np.flatnonzero(room_prices > 0)
    proof = FieldProof(
        value * (1 + 1e-9),
        field,
        tuple(float(p) for p in prices),
        tuple(problem.rooms[k] for k in priced),
        tuple(float(room_prices[k]) for k in priced),
        margin,
        problem.most_rafts,
    )
    return proof, judgements
