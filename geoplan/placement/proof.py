"""The bound that is printed: the area bound, or the price field where that is tighter."""

from dataclasses import replace

from geoplan.placement.benefit import Benefit, Tangent, tightest
from geoplan.placement.place import Placement
from geoplan.placement.price_field import price_field
from geoplan.plan import SolveReport

#: Gap from which a tighter bound is sought [%].
_WORTH_PROVING_PCT = 1.0


def tightened(placement: Placement, benefit: Benefit) -> Placement:
    """
    Return a placement with the tighter of its bound and that of the price field.

    Parameters
    ----------
    placement : Placement
        Rafts with the area bound.
    benefit : Benefit
        What plans are worth.

    Returns
    -------
    Placement
        The same rafts; the report says which bound holds.

    Notes
    -----
    The price field is sought for the average of two tangents, of the water as it is and of the
    plan, whose area bound is the least. Every average bounds, and the area bound stands wherever
    the field proves less.
    """
    report, room = placement.report, placement.room
    if room is None or report.gap_pct < _WORTH_PROVING_PCT:
        return placement
    tangent = benefit.tangent(())
    if not benefit.is_linear and any(len(part) for part in placement.poses):
        tangents: list[Tangent] = [tangent, benefit.tangent(placement.poses)]
        corrected = [room.corrected(each.surfaces) for each in tangents]
        _, tangent = tightest(tangents, corrected, room)
    proof = price_field(tangent.surfaces, room.regions, room.gap_m, room.limits)
    if proof is None or tangent.constant + proof.value >= report.bound:
        return placement
    proven: SolveReport = replace(
        report,
        bound=max(report.value, tangent.constant + proof.value),
        bound_basis="price field, proven for every position and heading",
    )
    return replace(placement, report=proven)
