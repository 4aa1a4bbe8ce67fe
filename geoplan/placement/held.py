"""
Rafts whose places a person has fixed: how they count, and whether they may lie where they lie.

They are part of the plan: they take out load, count against stock, budget and cover, and keep
their gap. What breaks a rule is refused, with the amount by which it does.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from geoplan.errors import Fault
from geoplan.placement.allowed import Surroundings
from geoplan.placement.benefit import Benefit, Tangent
from geoplan.placement.measure import least_under
from geoplan.placement.rules import GAP, HEADING, DepthForRoots, InflowJet
from geoplan.placement.search import Poses
from geoplan.plan import PlacedRaft
from geoplan.raft import RaftType
from geoplan.reasons import HeldRaft
from geoplan.settings import Settings

#: A place that was written to a file and read back may be off by this much [m].
_ROUNDING_M = 1e-4
#: What that may turn a short raft by [°].
_TURNED_DEG = 0.02


@dataclass(frozen=True, eq=False)
class HeldBenefit:
    """
    A benefit in water where some rafts are held: a plan is worth them and the others together.

    Attributes
    ----------
    benefit : Benefit
        What plans are worth.
    held : tuple of Poses
        Rafts that every plan has.
    types : tuple of str
        Names of the raft types, in the order of the surfaces.
    """

    benefit: Benefit
    held: tuple[Poses, ...]
    types: tuple[str, ...]

    @property
    def unit(self) -> str:
        """Return the unit of the worth of a plan."""
        return self.benefit.unit

    @property
    def is_linear(self) -> bool:
        """Tell whether one tangent is the benefit itself."""
        return self.benefit.is_linear

    def tangent(self, poses: Sequence[Poses]) -> Tangent:
        """
        Return the worth of the held rafts with others, and the tangent in the others alone.

        Parameters
        ----------
        poses : sequence of Poses
            The other rafts, by type.

        Returns
        -------
        Tangent
            Worth of all; the constant holds what the tangent gives the held ones.
        """
        whole = self.benefit.tangent((*self.held, *poses))
        held = sum(
            float(
                (
                    whole.surfaces[self.types.index(part.raft_type.name)].mean_under(
                        part.raft_type, part.easting_m, part.northing_m, part.heading_deg
                    )
                    * part.raft_type.planted_area_m2
                ).sum()
            )
            for part in self.held
        )
        return Tangent(whole.value, whole.constant + held, whole.surfaces)


def held_poses(around: Surroundings) -> tuple[Poses, ...]:
    """
    Return the held rafts by type.

    Parameters
    ----------
    around : Surroundings
        The water body and its held rafts.

    Returns
    -------
    tuple of Poses
        One for each type that is held, their value not counted.
    """
    out = []
    for kind in around.settings.raft:
        mine = [raft for raft in around.held if raft.raft_type == kind.name]
        if mine:
            easting = np.array([raft.easting_m for raft in mine])
            northing = np.array([raft.northing_m for raft in mine])
            heading = np.array([raft.heading_deg for raft in mine])
            out.append(Poses(kind, easting, northing, heading, np.zeros(len(mine))))
    return tuple(out)


def with_held_marked(
    rafts: Sequence[PlacedRaft], held: Sequence[HeldRaft]
) -> tuple[PlacedRaft, ...]:
    """
    Return rafts with those marked whose places a person has fixed.

    Parameters
    ----------
    rafts : sequence of PlacedRaft
        Rafts of a plan.
    held : sequence of HeldRaft
        Held ones, whose places are the very same numbers.

    Returns
    -------
    tuple of PlacedRaft
        In the same order.
    """
    places = {(raft.easting_m, raft.northing_m, raft.heading_deg) for raft in held}
    return tuple(
        replace(raft, is_kept=True)
        if (raft.easting_m, raft.northing_m, raft.heading_deg) in places
        else raft
        for raft in rafts
    )


def held_faults(around: Surroundings) -> tuple[Fault, ...]:
    """
    Return which held rafts break a rule, and by how much.

    Parameters
    ----------
    around : Surroundings
        The water body and its held rafts.

    Returns
    -------
    tuple of Fault
        One for each raft and rule; empty where all may stay.
    """
    return (*_alone(around), *_pairs(around), *_cover(around))


def _fault(raft: HeldRaft, found: str, expected: str, remedy: str) -> Fault:
    """Return what is wrong with a held raft."""
    where = raft.where.split(", ", 1)
    return Fault(
        "error",
        where[0],
        found,
        expected,
        remedy,
        layer="rafts",
        feature=where[-1],
    )


def _alone(around: Surroundings) -> Iterator[Fault]:
    """Yield what is wrong with each held raft by itself."""
    kinds = {kind.name: kind for kind in around.settings.raft}
    apart = {name: GAP.to_existing_m(around, kind) for name, kind in kinds.items()}
    for raft in around.held:
        outside = float(shapely.area(shapely.difference(raft.outline, around.low_water)))
        if outside > 1e-3:
            yield _fault(
                raft,
                f"{outside:.2f} m² of the raft off the water at low level",
                "the whole raft in open water",
                "Move it, or leave it out.",
            )
            continue
        yield from _turned(around, raft)
        yield from _near(around, raft, apart[raft.raft_type])
        yield from _under(around, raft, kinds[raft.raft_type])


def _turned(around: Surroundings, raft: HeldRaft) -> Iterator[Fault]:
    """Yield that a held raft lies another way than rafts there may."""
    off_deg = HEADING.off_deg(around, raft)
    if off_deg > _TURNED_DEG and around.headings is not None:
        along = around.headings.along
        yield _fault(
            raft,
            f"the raft heading {raft.heading_deg:.1f} degrees, {off_deg:.1f} degrees too far from"
            f" {along}",
            f"{around.headings.tolerance_deg:g} degrees or less from {along}",
            "Turn it, or change [heading] in site.toml.",
        )


def _near(around: Surroundings, raft: HeldRaft, apart_m: float) -> Iterator[Fault]:
    """Yield what a held raft lies too near to; from rafts that are there it keeps its distance."""
    keep, jet = around.settings.clearances, InflowJet()
    wanted = [("the bank at low level", shapely.boundary(around.low_water), keep.bank_m)]
    wanted += [
        (f"what is kept clear ({part.reason or 'no reason stated'})", part.geometry, part.buffer_m)
        for part in around.body.keep_clear
    ]
    wanted += [
        (f"outlet '{o.outlet_id}'", o.geometry, max(keep.outlet_m, 3.0 * (o.width_m or 0.0)))
        for o in around.body.outlets
    ]
    wanted += [
        (f"inflow '{one.inflow_id}'", one.point, jet.standoff_m(around, one))
        for one in around.body.inflows
    ]
    wanted += [
        (f"raft '{old.raft_id}', which lies there already", old.outline, apart_m)
        for old in around.body.rafts
    ]
    for words, geometry, least_m in wanted:
        away = float(shapely.distance(raft.outline, geometry))
        touches = shapely.relate_pattern(raft.outline, geometry, "T********")
        if away < least_m - _ROUNDING_M or touches:
            yield _fault(
                raft,
                f"the raft {away:.2f} m from {words}, {max(least_m - away, 0.0):.2f} m too near",
                f"{least_m:g} m or more",
                "Move it, or change the distance in site.toml.",
            )


def _under(around: Surroundings, raft: HeldRaft, kind: RaftType) -> Iterator[Fault]:
    """Yield what a held raft lacks below and above it."""
    fields = around.fields
    inside = [shapely.buffer(raft.outline, -_ROUNDING_M, join_style="mitre")]
    need = DepthForRoots().need_m(around, kind)
    low_m = around.body.levels.low_m
    depth = float(least_under(fields.grid, fields.reliable_depth_m(low_m), inside)[0])
    if depth < need - 1e-6:
        yield _fault(
            raft,
            f"{depth:.2f} m of reliable depth under it at low level, {need - depth:.2f} m too"
            f" little for '{kind.name}'",
            f"{need:.2f} m for draft, roots, sediment and clearance",
            "Move it to deeper water, or sound there again.",
        )
    if fields.sun_h is None:
        return
    sun_h = float(least_under(fields.grid, fields.sun_h, inside)[0])
    least_h = around.settings.sun.least_h
    if sun_h < least_h - 1e-6:
        yield _fault(
            raft,
            f"{sun_h:.1f} h of sun a day, {least_h - sun_h:.1f} h too little",
            f"{least_h:g} h",
            "Move it into the sun, or change least_h in site.toml.",
        )


def _pairs(around: Surroundings) -> Iterator[Fault]:
    """Yield held rafts that lie on or too near to each other."""
    outlines = np.array([raft.outline for raft in around.held])
    if len(outlines) < 2:
        return
    gap_m = GAP.gap_m(around)
    first, second = shapely.STRtree(outlines).query(outlines, predicate="dwithin", distance=gap_m)
    for a, b in zip(first, second, strict=True):
        if a >= b:
            continue
        raft, other = around.held[int(a)], around.held[int(b)]
        away = float(shapely.distance(outlines[a], outlines[b]))
        common = float(shapely.area(shapely.intersection(outlines[a], outlines[b])))
        if common > 1e-6:
            found = f"the raft on that of {other.where}: {common:.2f} m² in common"
        elif away < gap_m - _ROUNDING_M:
            found = (
                f"the raft {away:.2f} m from that of {other.where}, {gap_m - away:.2f} m too near"
            )
        else:
            continue
        yield _fault(raft, found, f"{gap_m:g} m between rafts", "Move one, or leave it out.")


def _cover(around: Surroundings) -> Iterator[Fault]:
    """Yield a fault where held rafts alone cover too much."""
    if not around.held:
        return
    area = sum(float(outline.area) for outline in GAP.there(around))
    pct = 100.0 * area / max(around.edges[1].area_m2, 1e-9)
    cap = around.body.max_cover_pct
    if pct > cap:
        yield _fault(
            around.held[0],
            f"held and existing rafts that cover {pct:.2f} % of the normal pool of"
            f" '{around.body.water_id}', {pct - cap:.2f} % too much",
            f"{cap:g} % or less",
            "Hold fewer, or raise max_pct where the authority allows it.",
        )


def sum_faults(held: Sequence[HeldRaft], settings: Settings) -> tuple[Fault, ...]:
    """
    Return where held rafts are more than there are, or cost more than may be spent.

    Parameters
    ----------
    held : sequence of HeldRaft
        Held rafts of all water bodies.
    settings : Settings
        Stock and budget.

    Returns
    -------
    tuple of Fault
        One for each type, and one for the budget.
    """
    out = []
    counts = Counter(raft.raft_type for raft in held)
    for kind in settings.raft:
        if kind.stock is not None and counts[kind.name] > kind.stock:
            last = [raft for raft in held if raft.raft_type == kind.name][kind.stock]
            out.append(
                _fault(
                    last,
                    f"{counts[kind.name]} held rafts '{kind.name}', {kind.stock} in stock:"
                    f" {counts[kind.name] - kind.stock} too many",
                    "no more than the stock",
                    "Hold fewer, or correct the stock.",
                )
            )
    cost = sum(kind.cost * counts[kind.name] for kind in settings.raft)
    most = settings.budget.limit
    if held and most is not None and cost > most + 1e-9:
        out.append(
            _fault(
                held[0],
                f"held rafts that cost {cost:g}, {cost - most:g} too much",
                f"a cost of {most:g} or less",
                "Hold fewer, or raise the budget.",
            )
        )
    return tuple(out)
