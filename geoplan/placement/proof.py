"""The bound that is printed, the area bound or the price field's, and what proves it again."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from geoplan.certificate import Certificate, PricedLimit, PricedRoom, TangentShare
from geoplan.placement.allowed import Surroundings, grown
from geoplan.placement.benefit import Benefit, Tangent, average, best_shares
from geoplan.placement.bound import SLACK_M, BoundedRoom
from geoplan.placement.held import HeldBenefit
from geoplan.placement.patience import ENDLESS, Patience
from geoplan.placement.place import Placement, place_benefit
from geoplan.placement.price_field import FieldProof, price_field
from geoplan.placement.price_problem import node_areas
from geoplan.placement.worth import WorthSurface
from geoplan.site import FloatArray

#: Gap from which a tighter bound is sought [%].
_WORTH_PROVING_PCT = 1.0


def proven(
    around: Surroundings,
    benefit: Benefit | None,
    placement: Placement,
    *,
    by_field: bool = True,
    patience: Patience = ENDLESS,
) -> tuple[Placement, Certificate | None]:
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
    by_field : bool
        Whether a price field is sought, which takes longer than all else of a small pond; without,
        the area bound is certified as it is.
    patience : Patience
        When the search for a better field must stop.

    Returns
    -------
    Placement
        The same rafts; the report says which bound holds.
    Certificate or None
        Field and prices that prove it again; ``None`` where no raft has room.

    Notes
    -----
    Both fields are for the average of two tangents, of the water as it is and of the plan, whose
    area bound is the least. Every average bounds, and the area bound stands wherever the price
    field proves less, or where time ran out. Worths are rounded up to single precision first, so
    that the worth as written is the one that is proven.
    """
    report, room = placement.report, placement.room
    if room is None or not placement.regions:
        return placement, None
    tangent, shares = _averaged(around, benefit, placement, room)
    surfaces = tangent.surfaces
    may_gain = by_field and not report.is_stopped_by_time
    may_gain = may_gain and report.gap_pct >= _WORTH_PROVING_PCT
    by_area = _area_field(surfaces, room)
    known = min(report.bound - tangent.constant, by_area.value)
    proof = (
        price_field(
            surfaces, room.regions, room.gap_m, room.limits, known, by_area.prices, patience
        )
        if may_gain
        else None
    )
    basis, words = "area bound", report.bound_basis
    if proof is None or proof.value >= known:
        proof = by_area
    else:
        basis, words = "price field", "price field, proven for every position and heading"
    bound = max(report.value, min(report.bound, tangent.constant + proof.value))
    better = replace(report, bound=bound, bound_basis=words)
    return replace(placement, report=better), _certified(basis, proof, tangent, shares, room)


def _averaged(
    around: Surroundings, benefit: Benefit | None, placement: Placement, room: BoundedRoom
) -> tuple[Tangent, tuple[TangentShare, ...]]:
    """Return the average of tangents that is bounded, rounded up, and what it is made of."""
    benefit = benefit or place_benefit(around)
    if placement.held:
        names = tuple(kind.name for kind in around.settings.raft)
        benefit = HeldBenefit(benefit, placement.held, names)
    tangents, words = [benefit.tangent(())], ["the water without new rafts"]
    weights: tuple[float, ...] = (1.0,)
    if not benefit.is_linear and any(len(part) for part in placement.free):
        tangents.append(benefit.tangent(placement.free))
        words.append("the plan")
        weights = best_shares(tangents, [room.corrected(t.surfaces) for t in tangents], room)
    mixed = average(tangents, weights)
    parts = zip(words, weights, tangents, strict=True)
    shares = tuple(TangentShare(at, share, t.constant) for at, share, t in parts)
    return replace(mixed, surfaces=tuple(_as_written(each) for each in mixed.surfaces)), shares


def _as_written(surface: WorthSurface) -> WorthSurface:
    """Return a surface rounded up to single precision."""
    return replace(surface, nodes=_up(surface.nodes).astype(float))


def _up(values: FloatArray) -> FloatArray:
    """Return values rounded up to single precision; zero stays zero."""
    single = np.asarray(values).astype(np.float32)
    return np.where(single < values, np.nextafter(single, np.float32(np.inf)), single)


def _area_field(surfaces: Sequence[WorthSurface], room: BoundedRoom) -> FieldProof:
    """Return the area bound as a field at the nodes with its prices."""
    bound = room.closest(surfaces)
    prices, charge = np.array(bound.prices), bound.charge
    field = np.zeros(surfaces[0].nodes.shape)
    for index, region in enumerate(room.regions):
        kind = region.raft_type
        rent = sum(p * limit.per_raft[index] for p, limit in zip(prices, room.limits, strict=True))
        height = (kind.planted_area_m2 * charge.worth[index] - rent) / charge.paid_m2[index]
        # Nodes of squares that rafts of this type can cover; the field has no other claim.
        near = _highest_beside(room.shares[index] > 0).astype(bool)
        np.maximum(field, np.where(near, height, 0.0), out=field)
    field = field * np.maximum(1.0, _highest_beside(charge.raised))
    field = _up(field).astype(float)
    wide = shapely.union_all([grown(r.region, room.gap_m / 2 + SLACK_M) for r in room.regions])
    value = float((field * node_areas(surfaces[0], wide)).sum())
    value += sum(float(p) * limit.most for p, limit in zip(prices, room.limits, strict=True))
    return FieldProof(value * (1 + 1e-9), field, tuple(float(p) for p in prices), (), (), 0.0, 0)


def _highest_beside(patches: FloatArray) -> FloatArray:
    """Return the highest value of the up to four patches beside each node."""
    wide = np.pad(patches.astype(float), 1)
    out: FloatArray = np.maximum(
        np.maximum(wide[1:, 1:], wide[1:, :-1]), np.maximum(wide[:-1, 1:], wide[:-1, :-1])
    )
    return out


def _certified(
    basis: str,
    proof: FieldProof,
    tangent: Tangent,
    shares: tuple[TangentShare, ...],
    room: BoundedRoom,
) -> Certificate:
    """Return a proof with the worth that it is of."""
    first = tangent.surfaces[0]
    limits = tuple(
        PricedLimit(limit.words, tuple(limit.per_raft), limit.most, price)
        for limit, price in zip(room.limits, proof.prices, strict=True)
    )
    rents = tuple(
        sum(limit.price * limit.per_raft[t] for limit in limits) for t in range(len(room.regions))
    )
    return Certificate(
        basis=basis,
        proven=tangent.constant + proof.value,
        constant=tangent.constant,
        field_integral=proof.value - proof.apart(room.limits),
        tangents=shares,
        raft_types=tuple(region.raft_type.name for region in room.regions),
        raft_prices=rents,
        limits=limits,
        rooms=tuple(
            PricedRoom(price, part.most)
            for price, part in zip(proof.room_prices, proof.rooms, strict=True)
        ),
        margin=proof.margin,
        most_rafts=proof.most_rafts,
        gap_m=room.gap_m,
        west_m=first.west_m,
        south_m=first.south_m,
        cell_size_m=first.cell_size_m,
        field=proof.field.astype(np.float32),
        worth=np.stack([each.nodes for each in tangent.surfaces]).astype(np.float32),
        room_at=_room_at(first, proof),
        regions=tuple(region.region for region in room.regions),
    )


def _room_at(surface: WorthSurface, proof: FieldProof) -> FloatArray:
    """Return the number of the priced room at the nodes, 0 for none."""
    rows, cols = surface.nodes.shape
    east, north = np.meshgrid(
        surface.west_m + np.arange(cols) * surface.cell_size_m,
        surface.south_m + np.arange(rows) * surface.cell_size_m,
    )
    out: FloatArray = np.zeros((rows, cols))
    for number, part in enumerate(proof.rooms, 1):
        out[shapely.contains_xy(part.outline, east, north)] = number
    return out
