"""
A plain greedy over turned lattices: the plan that no other should be worth less than.

It is no way to pack well, but cheap, and on a small or ragged pond it now and then beats rows.
"""

import math
from collections.abc import Sequence

import numpy as np

from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.bound import Limit
from geoplan.placement.improve import as_poses, water_of
from geoplan.placement.pose_kernels import Rafts, Terms, taken_in_turn
from geoplan.placement.rows import frame, turned_edges
from geoplan.placement.search import Poses
from geoplan.placement.worth import WorthSurface
from geoplan.site import FloatArray

#: Turns of the lattices [°], and the distance between places [m], wider where there are more.
_LATTICE_TURNS_DEG = (0.0, 22.5, 45.0, 67.5)
_LATTICE_M = 0.5
_LATTICE_PLACES = 40_000


def lattice_plan(
    surfaces: Sequence[WorthSurface],
    regions: Sequence[AllowedRegion],
    limits: Sequence[Limit],
    gap_m: float,
) -> list[Poses]:
    """
    Return the plan of a plain greedy: the best place of a turned lattice, again and again.

    Parameters
    ----------
    surfaces : sequence of WorthSurface
        Worth for each type.
    regions : sequence of AllowedRegion
        Where rafts of each type may lie.
    limits : sequence of Limit
        Sums that are bounded.
    gap_m : float
        Distance between rafts [m].

    Returns
    -------
    list of Poses
        Legal rafts by type, in the order of ``regions``.
    """
    water = water_of(surfaces, regions)
    use = np.array([limit.per_raft for limit in limits]).reshape(-1, len(regions))
    most = np.array([limit.most for limit in limits])
    places = [
        turned
        for index, (surface, region) in enumerate(zip(surfaces, regions, strict=True))
        for turned in _lattice(index, surface, region, gap_m)
    ]
    table = np.concatenate([np.zeros((0, 5)), *places])
    each_m2 = np.array([region.raft_type.area_m2 for region in regions])
    table = table[np.argsort(-table[:, 3] / each_m2[table[:, 4].astype(int)], kind="stable")]
    east, north, turn, value, kind = (np.ascontiguousarray(column) for column in table.T)
    state = Rafts(east, north, turn, value, kind.astype(np.int64))
    n = taken_in_turn(water, state, Terms(gap_m, _LATTICE_M, each_m2, use, most))
    return as_poses(Rafts(*[column[:n] for column in state]), regions)


def _lattice(
    index: int, surface: WorthSurface, region: AllowedRegion, gap_m: float
) -> list[FloatArray]:
    """Return the worthiest places of turned lattices: east, north, turn, value and type."""
    out = []
    step_m = max(_LATTICE_M, math.sqrt(region.region.area / _LATTICE_PLACES))
    heads = region.headings
    common = () if heads is None else heads.common_deg(region.region)
    for turn_deg in (*_LATTICE_TURNS_DEG, *common):
        edges = turned_edges(region.region, turn_deg)
        for is_across in (False, True):
            turned = frame(
                edges,
                surface,
                region.raft_type,
                gap_m,
                turn_deg,
                is_across=is_across,
                step_m=step_m,
                headings=heads,
            )
            if turned is None:
                continue
            strips, places = np.nonzero(turned.value > 0)
            east, north = turned.positions(strips.astype(float), places.astype(float))
            turn = np.full(len(east), math.radians(90.0 - turned.heading_deg))
            out.append(
                np.column_stack(
                    [east, north, turn, turned.value[strips, places], np.full(len(east), index)]
                )
            )
    return out
