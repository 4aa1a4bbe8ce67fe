"""
What no plan of one water body is worth beyond what its rafts pay for what all water bodies share.

The prices of a district's limits leave few places that are worth them, so that a price field needs
to be sought over those alone, and most water bodies have none.
"""

from collections.abc import Sequence

import numpy as np

from geoplan.fleet.curves import cover_limit
from geoplan.placement.allowed import ROUNDING_ROOM_M, AllowedRegion, Ground
from geoplan.placement.benefit import Benefit, Tangent, average, best_shares
from geoplan.placement.bound import Limit, bounded_room
from geoplan.placement.place import packed_for, place_benefit, regions_of
from geoplan.placement.price_field import price_field
from geoplan.placement.rules import GAP
from geoplan.planner import surroundings_of
from geoplan.settings import Settings
from geoplan.site import WaterBody
from geoplan.treatment import load_benefit


def surplus_bound(
    body: WaterBody,
    settings: Settings,
    paid: Sequence[float],
    counts: Sequence[float],
    known: float,
    ground: Ground | None = None,
) -> float:
    """
    Return what no plan of a water body is worth beyond what its rafts pay.

    Parameters
    ----------
    body : WaterBody
        The water body.
    settings : Settings
        Settings of the site; stock and budget are not looked at.
    paid : sequence of float
        What a raft of each type pays [unit of the benefit].
    counts : sequence of float
        Rafts of each type for which the bound should be tight; it holds for any [1].
    known : float
        A bound that is known already [unit of the benefit].
    ground : Ground or None
        What was found of the water body before; ``None``: it is found here.

    Returns
    -------
    float
        The lower of what is known and what a price field proves, for every number of rafts, every
        position and every heading [unit of the benefit].

    Notes
    -----
    The average of the tangents of the water without rafts and with so many bounds what any number
    of them is worth; it is taken where the area bound of so many is the least.
    """
    around, _ = surroundings_of(body, settings, ground=ground)
    load, _ = load_benefit(body, settings, around.fields, ground.bare if ground else None)
    benefit: Benefit = load or place_benefit(around)
    regions = regions_of(around)
    if all(region.region.is_empty for region in regions):
        return min(known, 0.0)
    cover, gap_m = cover_limit(around), GAP.gap_m(around)
    tangent = _tight_for(counts, benefit, regions, cover, gap_m)
    beyond = known - tangent.constant
    proof = price_field(tangent.surfaces, regions, gap_m, [cover], beyond, paid_before=paid)
    return known if proof is None else min(known, tangent.constant + proof.value)


def _tight_for(
    counts: Sequence[float],
    benefit: Benefit,
    regions: Sequence[AllowedRegion],
    cover: Limit,
    gap_m: float,
) -> Tangent:
    """Return a tangent that bounds every plan, and those of so many rafts well."""
    bare = benefit.tangent(())
    if benefit.is_linear or not any(counts):
        return bare
    own = np.eye(len(counts))
    limits = [cover, *(Limit("count", "", tuple(own[t]), n) for t, n in enumerate(counts))]
    plan = packed_for(bare.surfaces, regions, limits, gap_m + ROUNDING_ROOM_M)
    if not any(map(len, plan)):
        return bare
    tangents = [bare, benefit.tangent(plan)]
    room = bounded_room(bare.surfaces[0], regions, gap_m, limits)
    corrected = [room.corrected(tangent.surfaces) for tangent in tangents]
    return average(tangents, best_shares(tangents, corrected, room))
