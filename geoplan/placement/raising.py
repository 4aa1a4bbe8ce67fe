"""
The whole of improvement: windows from several seeds where rafts are few, then joint moves.

Where rafts are few a plan hangs on chance, and windows cost little: several seeds are tried. The
best ends are settled by moving all their rafts at once, the best of these to the last, and where
more windows raise it still it is settled again.
"""

import itertools
from collections.abc import Sequence

import numpy as np

from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.bound import Limit
from geoplan.placement.improve import (
    FEW_RAFTS,
    Effort,
    WindowGround,
    as_poses,
    improved,
    is_legal,
    state_of,
)
from geoplan.placement.joint import Pool, settled
from geoplan.placement.patience import ENDLESS, Patience
from geoplan.placement.pose_kernels import Rafts
from geoplan.placement.search import Poses
from geoplan.placement.worth import WorthSurface

#: Two ends worth the same to this share are one and the same plan [1].
_SAME = 1e-4
#: Joint moves that gain less go nearer: soon to choose among ends, late for the one chosen [1].
_COARSE, _FINE = 1e-5, 1e-9


def raised(
    starts: Sequence[Sequence[Poses]],
    surfaces: Sequence[WorthSurface],
    regions: Sequence[AllowedRegion],
    limits: Sequence[Limit],
    gap_m: float,
    seed: int,
    effort: Effort,
    patience: Patience = ENDLESS,
) -> list[Poses]:
    """
    Return the best plan that improvement finds from several starts.

    Parameters
    ----------
    starts : sequence of sequence of Poses
        Legal plans, by type; at least one.
    surfaces : sequence of WorthSurface
        Worth for each type.
    regions : sequence of AllowedRegion
        Where rafts of each type may lie.
    limits : sequence of Limit
        Sums that are bounded.
    gap_m : float
        Distance between rafts [m].
    seed : int
        Seed of the windows.
    effort : Effort
        How long to improve.
    patience : Patience
        When to stop in any case.

    Returns
    -------
    list of Poses
        Legal rafts by type, worth no less than any start.
    """
    ranked = [list(start) for start in sorted(starts, key=worth_of, reverse=True)]
    count = sum(len(part) for part in ranked[0])
    seeds = max(1, effort.few_windows // max(count, 4))
    if count > FEW_RAFTS:
        ranked, seeds = ranked[:1], 1
    else:  # and from nothing: plans that are begun alike end in the same trap
        ranked.append([])

    ground = WindowGround.of(surfaces, regions)
    how = (ground, limits, gap_m)
    ends: list[list[Poses]] = []
    for turn, start in itertools.product(range(seeds), ranked):
        if ends and (patience.is_over() or _is_found(ends, effort)):
            break
        ends.append(improved(start, *how, _seed(seed, turn), effort, patience))
    if count > effort.most_settled or patience.is_over():
        return max(ends, key=worth_of)
    pool = Pool.of(ground.water, regions, gap_m)
    coarse = [_settled(end, pool, regions, _COARSE) for end in _distinct(ends, effort)]
    best = _settled(max(coarse, key=worth_of), pool, regions, _FINE)
    if count <= FEW_RAFTS:
        more = improved(best, *how, _seed(seed, seeds), effort, patience)
        if worth_of(more) > worth_of(best) * (1 + _SAME):
            best = _settled(more, pool, regions, _FINE)
    return best


def _seed(seed: int, turn: int) -> int:
    """Return the seed of a turn: the plan's own first."""
    return seed if turn == 0 else int(np.random.SeedSequence([seed, turn]).generate_state(1)[0])


def worth_of(plan: Sequence[Poses]) -> float:
    """
    Return what a plan is worth.

    Parameters
    ----------
    plan : sequence of Poses
        Rafts by type.

    Returns
    -------
    float
        Sum over its rafts [worth of planted m²].
    """
    return sum(float(part.value.sum()) for part in plan)


def _is_found(ends: Sequence[list[Poses]], effort: Effort) -> bool:
    """Tell whether so many ends are worth as much as the best that no better one is to be hoped."""
    worths = [worth_of(end) for end in ends]
    alike = sum(worth >= max(worths) * (1 - _SAME) for worth in worths)
    return 0 < effort.ends_alike <= alike


def _distinct(ends: Sequence[list[Poses]], effort: Effort) -> list[list[Poses]]:
    """Return the best few plans that differ in worth."""
    out: list[list[Poses]] = []
    for end in sorted(ends, key=worth_of, reverse=True):
        if len(out) == effort.ends_settled:
            break
        if not out or worth_of(end) < worth_of(out[-1]) * (1 - _SAME):
            out.append(end)
    return out


def _settled(
    plan: list[Poses], pool: Pool, regions: Sequence[AllowedRegion], little: float
) -> list[Poses]:
    """Return a plan after joint moves, or as it was where they gain nothing."""
    state = state_of(plan, pool.water, [region.raft_type.name for region in regions])
    if len(state.kind) == 0:
        return plan
    poses, _ = settled(
        pool, np.column_stack([state.east, state.north, state.turn]), state.kind, little
    )
    value = pool.worth(poses, state.kind)
    moved = as_poses(Rafts(poses[:, 0], poses[:, 1], poses[:, 2], value, state.kind), regions)
    if worth_of(moved) > worth_of(plan) and is_legal(moved, regions, pool.gap_m):
        return moved
    return plan
