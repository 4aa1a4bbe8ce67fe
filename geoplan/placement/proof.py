"""The bound that is printed: the area bound, or the price field where that is tighter."""

from dataclasses import replace

from geoplan.placement.allowed import Surroundings
from geoplan.placement.benefit import Benefit, Tangent, tightest
from geoplan.placement.held import HeldBenefit
from geoplan.placement.place import Placement, place_benefit
from geoplan.placement.price_field import price_field
from geoplan.plan import SolveReport

#: Gap from which a tighter bound is sought [%].
_WORTH_PROVING_PCT = 1.0


def tightened(around: Surroundings, benefit: Benefit | None, placement: Placement) -> Placement:
    """
    Return a placement with the tighter of its bound and that of the price field.

    Parameters
    ----------
    around : Surroundings
        The water body.
    benefit : Benefit or None
        What plans are worth; ``None``: the worth of places in the fields.
    placement : Placement
        Rafts with the area bound.

    Returns
    -------
    Placement
        The same rafts; the report says which bound holds.

    Notes
    -----
    The price field is sought for the average of two tangents, of the water as it is and of the
    plan, whose area bound is the least. Every average bounds, and the area bound stands wherever
    the field proves less,
    or where time ran out.
    """
    report, room = placement.report, placement.room
    if room is None or report.is_stopped_by_time or report.gap_pct < _WORTH_PROVING_PCT:
        return placement
    benefit = benefit or place_benefit(around)
    if placement.held:
        names = tuple(kind.name for kind in around.settings.raft)
        benefit = HeldBenefit(benefit, placement.held, names)
    tangent = benefit.tangent(())
    if not benefit.is_linear and any(len(part) for part in placement.free):
        tangents: list[Tangent] = [tangent, benefit.tangent(placement.free)]
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
