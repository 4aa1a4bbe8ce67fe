"""
A second plan that looks different, with what choosing it would cost.

Someone who must choose sees more in two plans than in one: the best water is barred, and the same
stock is placed again in what is left.
"""

from collections.abc import Sequence

import numpy as np
import shapely

from geoplan.placement.allowed import (
    ROUNDING_ROOM_M,
    AllowedRegion,
    reachable_parts,
)
from geoplan.placement.benefit import Benefit
from geoplan.placement.bound import BoundedRoom
from geoplan.placement.improve import BRIEF_EFFORT
from geoplan.placement.place import Placement, best_plan
from geoplan.placement.search import Poses
from geoplan.reasons import Alternative, AlternativeRaft
from geoplan.site import FloatArray

#: A plan looks different where at least this share of its raft area lies elsewhere [%].
_LOOKS_DIFFERENT_PCT = 50.0
#: Shares of the planned rafts, nearest to their best place, whose water is barred [1].
_BARRED_SHARES = (0.5, 0.75, 1.0)


def other_plan(benefit: Benefit, placement: Placement) -> tuple[Alternative, ...]:
    """
    Return a plan that differs visibly from the one chosen.

    Parameters
    ----------
    benefit : Benefit
        What plans are worth, held rafts not counted in.
    placement : Placement
        The plan chosen.

    Returns
    -------
    tuple of Alternative
        The one that costs least of those that look different; none where no raft fits elsewhere.

    Notes
    -----
    A disc round the best part of the plan is barred: its centre is the mean of the rafts,
    weighted by their worth, and it holds half, three quarters or all of them.
    """
    room = placement.room
    if room is None or not placement.free:
        return ()
    found = []
    for share in _BARRED_SHARES:
        disc, words = _disc(placement.free, share)
        poses = _placed(benefit, placement, _outside(room.regions, disc), room)
        if any(len(part) for part in poses):
            one = _alternative(benefit, placement, poses, words)
            if one.moved_pct >= _LOOKS_DIFFERENT_PCT:
                found.append(one)
    return tuple(sorted(found, key=lambda one: one.cost_pct)[:1])


def _disc(free: Sequence[Poses], share: float) -> tuple[shapely.Geometry, str]:
    """Return the disc that holds a share of the rafts nearest to their best place, and words."""
    value = np.concatenate([part.value for part in free])
    easting = np.concatenate([part.easting_m for part in free])
    northing = np.concatenate([part.northing_m for part in free])
    reach = np.concatenate(
        [
            np.full(len(part), np.hypot(part.raft_type.length_m, part.raft_type.width_m) / 2)
            for part in free
        ]
    )
    weight = np.maximum(value, 0.0) + 1e-12
    centre = (
        float(np.average(easting, weights=weight)),
        float(np.average(northing, weights=weight)),
    )
    far = np.sort(np.hypot(easting - centre[0], northing - centre[1]) + reach)
    radius = float(far[max(0, int(np.ceil(share * len(far))) - 1)])
    return shapely.Point(*centre).buffer(radius), f"no raft within {radius:.0f} m of the best water"


def _outside(regions: Sequence[AllowedRegion], disc: shapely.Geometry) -> list[AllowedRegion]:
    """Return the regions without a disc."""
    return [
        AllowedRegion(
            region.raft_type,
            reachable_parts(shapely.difference(region.region, disc), region.raft_type),
            region.taken_m2,
            region.headings,
        )
        for region in regions
    ]


def _placed(
    benefit: Benefit, placement: Placement, regions: Sequence[AllowedRegion], room: BoundedRoom
) -> list[Poses]:
    """Return the packing for the worth of the water with the held rafts alone."""
    gap_m = room.gap_m + ROUNDING_ROOM_M
    surfaces = benefit.tangent(placement.held).surfaces
    seed = placement.report.seed
    return best_plan(surfaces, regions, room.limits, gap_m, seed, BRIEF_EFFORT)[0]


def _alternative(
    benefit: Benefit, placement: Placement, poses: Sequence[Poses], words: str
) -> Alternative:
    """Return a plan with its worth beside the plan's."""
    whole = (*placement.held, *poses)
    value = benefit.tangent(whole).value
    planned = shapely.union_all(_outlines(placement.free))
    others = _outlines(poses)
    area = float(shapely.area(others).sum())
    same = float(shapely.area(shapely.intersection(others, planned)).sum())
    best = placement.report.value
    rafts = tuple(
        AlternativeRaft(part.raft_type.name, *pose, part.raft_type.length_m, part.raft_type.width_m)
        for part in whole
        for pose in zip(
            part.easting_m.tolist(),
            part.northing_m.tolist(),
            part.heading_deg.tolist(),
            strict=True,
        )
    )
    return Alternative(
        words,
        rafts,
        value,
        100.0 * (1.0 - value / best) if best > 0 else 0.0,
        100.0 * (1.0 - same / area) if area > 0 else 0.0,
    )


def _outlines(poses: Sequence[Poses]) -> FloatArray:
    """Return the footprints of rafts."""
    parts = [part.outlines for part in poses if len(part)]
    return np.concatenate(parts) if parts else np.zeros(0, object)
