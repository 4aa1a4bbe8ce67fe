"""Placement of one water body: regions, bound, search, and each raft measured where it lies."""

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from geoplan.placement.allowed import (
    ROUNDING_ROOM_M,
    AllowedRegion,
    Surroundings,
    allowed_region,
    grown,
)
from geoplan.placement.benefit import Benefit, PlaceBenefit, Tangent, tightest
from geoplan.placement.bound import BoundedRoom, Limit, bounded_room
from geoplan.placement.held import HeldBenefit, held_poses, with_held_marked
from geoplan.placement.improve import DEFAULT_EFFORT, Effort
from geoplan.placement.lattice import lattice_plan
from geoplan.placement.measure import measured_rafts
from geoplan.placement.patience import ENDLESS, Patience
from geoplan.placement.raising import raised, worth_of
from geoplan.placement.rules import GAP, HEADING, LIMIT_RULES, REGION_RULES
from geoplan.placement.search import TURNS_DEG, Poses, best_rows
from geoplan.placement.worth import WorthSurface
from geoplan.placement.yielding import has_place
from geoplan.plan import PlacedRaft, SolveReport
from geoplan.raft import RaftType
from geoplan.site import FloatArray

#: Up to this many types are placed in every order; of more, orders are tried from the first and the
#: last, each type moved to the front.
_MOST_PERMUTED = 3
#: Tangents taken at most.
_ROUNDS = 3
#: How a search ended.
_NO_ROOM, _FINISHED = "no room for a raft", "every round finished"


@dataclass(frozen=True, eq=False)
class Placement:
    """
    Rafts in their places, with what says how good that is.

    Attributes
    ----------
    rafts : tuple of PlacedRaft
        Planned rafts, the most worth first, then those already there.
    report : SolveReport
        Value, bound and how they were found.
    room_m2 : float
        Water in which a raft of some type may lie [m²].
    why_none : str
        Where no raft was placed: what took most room or count away; else empty.
    poses : tuple of Poses
        The planned rafts by type, as the benefit sees them.
    room : BoundedRoom or None
        Where rafts may lie, ready to bound other worths; ``None`` without room for any.
    held : tuple of Poses
        The first of ``poses``: rafts that a person has fixed.
    regions : tuple of AllowedRegion
        Where rafts of each type may lie.
    limits : tuple of Limit
        Sums that are bounded, held rafts taken off.
    surfaces : tuple of WorthSurface
        Worth of a square metre of each type with the plan in the water.
    """

    rafts: tuple[PlacedRaft, ...]
    report: SolveReport
    room_m2: float
    why_none: str
    poses: tuple[Poses, ...] = ()
    room: BoundedRoom | None = None
    held: tuple[Poses, ...] = ()
    regions: tuple[AllowedRegion, ...] = ()
    limits: tuple[Limit, ...] = ()
    surfaces: tuple[WorthSurface, ...] = ()

    @property
    def is_worthless(self) -> bool:
        """Tell whether there is room, and no place in it worth anything to a raft of any type."""
        has_room = any(not region.region.is_empty for region in self.regions)
        return has_room and not any(part.nodes.max() > 0 for part in self.surfaces)

    @property
    def free(self) -> tuple[Poses, ...]:
        """Return the planned rafts that the search placed, held ones left out."""
        return self.poses[len(self.held) :]


def place_rafts(
    around: Surroundings,
    benefit: Benefit | None = None,
    allotment: Mapping[str, int] | None = None,
    seed: int = 0,
    patience: Patience = ENDLESS,
    *,
    is_brief: bool = False,
    effort: Effort = DEFAULT_EFFORT,
) -> Placement:
    """
    Place rafts of all types where they are worth most, within every rule.

    Parameters
    ----------
    around : Surroundings
        The water body, its fields and settings.
    benefit : Benefit or None
        What plans are worth; ``None``: the worth of places in the fields.
    allotment : mapping of str to int or None
        Rafts of each type that this water body may have; ``None``: the whole stock.
    seed : int
        Seed of the windows that are packed anew.
    patience : Patience
        How long the search may go on once there is a plan.
    is_brief : bool
        Whether the room of rafts is left away where the limits leave none of them: nobody asks
        for prices there.
    effort : Effort
        How long to improve.

    Returns
    -------
    Placement
        Rafts, and the bound that no legal plan with these limits can beat.
    """
    types = around.settings.raft
    benefit = benefit or place_benefit(around)
    held = held_poses(around)
    if held:
        benefit = HeldBenefit(benefit, held, tuple(kind.name for kind in types))
    regions = regions_of(around)
    limits = _limits(around, types, allotment or {})
    gap_m = GAP.gap_m(around)
    room = shapely.union_all([region.region for region in regions])

    if is_brief and not any(_may_lie(regions, limits)):
        found = _nothing(benefit, regions)
    else:
        found = _cut_and_pack(benefit, regions, limits, gap_m, (seed, effort, patience))
    poses = (*held, *found.poses)
    is_none = not any(len(part) for part in poses)
    rafts = with_held_marked(measured_rafts(around, found.tangent.surfaces, poses), around.held)
    made = Placement(
        rafts,
        _reported(found, benefit, seed, patience),
        float(room.area),
        "",
        poses,
        found.room,
        held,
        regions,
        limits,
        found.tangent.surfaces,
    )
    return replace(made, why_none=_why_none(around, made)) if is_none else made


def regions_of(around: Surroundings) -> tuple[AllowedRegion, ...]:
    """
    Return where rafts of each type may lie.

    Parameters
    ----------
    around : Surroundings
        The water body.

    Returns
    -------
    tuple of AllowedRegion
        As they are known, else found now.
    """
    types = around.settings.raft
    found = (allowed_region(around, kind, REGION_RULES) for kind in types)
    return around.known_regions or tuple(found)


@dataclass(frozen=True, eq=False)
class _Found:
    """The best plan of a few rounds, its tangent, and the bound."""

    poses: list[Poses]
    tangent: Tangent
    bound: float
    frames: int
    status: str
    room: BoundedRoom | None = None
    rounds: int = 0


def _reported(found: _Found, benefit: Benefit, seed: int, patience: Patience) -> SolveReport:
    """Return the report of what was found."""
    return SolveReport(
        method="rows in the best of turned frames, at one price; windows packed anew"
        + ("" if benefit.is_linear else "; tangents of the load removed"),
        status=found.status,
        value=found.tangent.value,
        bound=max(found.bound, found.tangent.value),
        unit=benefit.unit,
        frames_tried=found.frames,
        seed=seed,
        rounds=found.rounds,
        is_stopped_by_time=found.status == patience.words,
    )


def _nothing(benefit: Benefit, regions: Sequence[AllowedRegion]) -> _Found:
    """Return the plan of no raft, where none may be laid: it is its own bound."""
    bare = benefit.tangent(())
    if all(region.region.is_empty for region in regions):
        return _Found([], bare, 0.0, 0, _NO_ROOM)
    return _Found([], bare, bare.value, 0, _FINISHED, rounds=1)


def _cut_and_pack(
    benefit: Benefit,
    regions: Sequence[AllowedRegion],
    limits: Sequence[Limit],
    gap_m: float,
    how: tuple[int, Effort, Patience],
) -> _Found:
    """Pack for the tangent, take the tangent at the plan, and again until plan and bound meet."""
    _, effort, patience = how
    tangents = [benefit.tangent(())]
    if all(region.region.is_empty for region in regions):
        return _Found([], tangents[0], 0.0, 0, _NO_ROOM)
    room = bounded_room(tangents[0].surfaces[0], regions, gap_m, limits)
    corrected = [room.corrected(tangents[0].surfaces)]
    least, packed_for = tightest(tangents, corrected, room)
    best, best_tangent, frames = [], tangents[0], 0
    status = _FINISHED
    rounds = 0
    for _ in range(1 if benefit.is_linear else _ROUNDS):
        poses, tried = best_plan(
            packed_for.surfaces, regions, limits, gap_m + ROUNDING_ROOM_M, *how
        )
        frames, rounds = frames + tried, rounds + 1
        here = benefit.tangent(poses)
        if here.value > best_tangent.value:
            best, best_tangent = poses, here
        if not any(len(part) for part in poses):
            break
        if patience.is_over():
            status = patience.words
            break
        if benefit.is_linear:
            break
        tangents.append(here)
        corrected.append(room.corrected(here.surfaces))
        tighter, candidate = tightest(tangents, corrected, room)
        won = least - tighter
        least, packed_for = min(least, tighter), candidate
        if won < effort.worth_a_round * least:
            status = "another round would bring next to nothing"
            break
    return _Found(best, best_tangent, least, frames, status, room, rounds)


def place_benefit(around: Surroundings) -> PlaceBenefit:
    """
    Return the worth of places in the fields as a benefit.

    Parameters
    ----------
    around : Surroundings
        The water body and its fields.

    Returns
    -------
    PlaceBenefit
        The same surface for every type.
    """
    types = around.settings.raft
    surface = WorthSurface.on(around.fields.grid, around.fields.worth)
    return PlaceBenefit(
        (surface,) * len(types),
        tuple(kind.name for kind in types),
        "m² of planted raft at full worth (relative)",
    )


def _limits(
    around: Surroundings, types: tuple[RaftType, ...], allotment: Mapping[str, int]
) -> tuple[Limit, ...]:
    """Return every limit; with one type alone, as whole numbers of rafts."""
    limits = [limit for rule in LIMIT_RULES for limit in rule.limits(around, types, allotment)]
    if len(types) > 1:
        return tuple(limits)
    whole = []
    for limit in limits:
        per = limit.per_raft[0]
        most = per * math.floor(limit.most / per + 1e-9) if per > 0 else limit.most
        whole.append(Limit(limit.name, limit.words, limit.per_raft, most))
    return tuple(whole)


def _count_left(limits: Sequence[Limit], used: FloatArray, index: int) -> int:
    """Return how many more rafts of a type the limits allow."""
    counts = [
        math.floor((limit.most - used[k]) / limit.per_raft[index] + 1e-9)
        for k, limit in enumerate(limits)
        if limit.per_raft[index] > 0
    ]
    return max(0, min(counts, default=10**6))


def _may_lie(regions: Sequence[AllowedRegion], limits: Sequence[Limit]) -> Iterable[bool]:
    """Tell of each type whether it has room, and the limits leave one raft of it."""
    none = np.zeros(len(limits))
    return (
        not region.region.is_empty and _count_left(limits, none, index) > 0
        for index, region in enumerate(regions)
    )


def _orders(types: int) -> Iterable[tuple[int, ...]]:
    """Return the orders in which types are placed."""
    if types <= _MOST_PERMUTED:
        return itertools.permutations(range(types))
    return [tuple(range(types)), tuple(reversed(range(types)))]


def packed_for(
    surfaces: Sequence[WorthSurface],
    regions: Sequence[AllowedRegion],
    limits: Sequence[Limit],
    gap_m: float,
    turns_deg: Sequence[float] = TURNS_DEG,
) -> list[Poses]:
    """
    Return the best plan found for linear worths.

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
    turns_deg : sequence of float
        Which way rows run, besides along the water and as rafts may lie [°].

    Returns
    -------
    list of Poses
        Rafts by type.
    """
    return _best_order(surfaces, regions, limits, gap_m, turns_deg)[0]


def best_plan(
    surfaces: Sequence[WorthSurface],
    regions: Sequence[AllowedRegion],
    limits: Sequence[Limit],
    gap_m: float,
    seed: int,
    effort: Effort = DEFAULT_EFFORT,
    patience: Patience = ENDLESS,
) -> tuple[list[Poses], int]:
    """
    Return the best plan found for linear worths, improved.

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
    seed : int
        Seed of the windows that are packed anew.
    effort : Effort
        How long to improve.
    patience : Patience
        When to stop in any case, once there are rows.

    Returns
    -------
    list of Poses
        Rafts by type, never worth less than those of a plain greedy over lattices.
    int
        Frames tried.
    """
    if not any(_may_lie(regions, limits)):
        return [], 0
    rows, tried = _best_order(surfaces, regions, limits, gap_m)
    greedy = lattice_plan(surfaces, regions, limits, gap_m)
    plan = raised((rows, greedy), surfaces, regions, limits, gap_m, seed, effort, patience)
    return plan, tried


def _best_order(
    surfaces: Sequence[WorthSurface],
    regions: Sequence[AllowedRegion],
    limits: Sequence[Limit],
    gap_m: float,
    turns_deg: Sequence[float] = TURNS_DEG,
) -> tuple[list[Poses], int]:
    """Place type after type in each order; return the best plan and the frames tried."""
    found: dict[tuple[int, ...], tuple[list[Poses], int]] = {}

    def worth(order: tuple[int, ...]) -> float:
        if order not in found:
            found[order] = _in_order(order, surfaces, regions, limits, gap_m, turns_deg)
        return worth_of(found[order][0])

    best = max(_orders(len(regions)), key=worth)
    if len(regions) > _MOST_PERMUTED:
        # Each type in turn to the front, as long as that pays.
        for index in range(len(regions)):
            best = max(best, (index, *(k for k in best if k != index)), key=worth)
    return found[best][0], sum(tried for _, tried in found.values())


def _in_order(
    order: Sequence[int],
    surfaces: Sequence[WorthSurface],
    regions: Sequence[AllowedRegion],
    limits: Sequence[Limit],
    gap_m: float,
    turns_deg: Sequence[float],
) -> tuple[list[Poses], int]:
    """Place the types one after the other, each clear of those before it."""
    used = np.zeros(len(limits))
    placed: list[Poses] = []
    frames = 0
    for index in order:
        kind, region = regions[index].raft_type, regions[index].region
        for part in placed:
            if len(part):
                taken = grown(shapely.multipolygons(part.outlines), gap_m)
                region = shapely.difference(region, taken)
        count = _count_left(limits, used, index)
        if count == 0 or region.is_empty:
            continue
        left, heads = _only_polygons(region), regions[index].headings
        found = best_rows(left, surfaces[index], kind, gap_m, count, heads, turns_deg)
        frames += found.frames_tried
        placed.append(found.poses)
        used += np.array([limit.per_raft[index] for limit in limits]) * len(found.poses)
    return placed, frames


def _only_polygons(geometry: shapely.Geometry) -> shapely.Geometry:
    """Return the polygons of a geometry as one."""
    parts = shapely.get_parts(geometry)
    return shapely.multipolygons(parts[shapely.get_type_id(parts) == 3])


def _why_none(around: Surroundings, placement: Placement) -> str:
    """Return in words what keeps every raft out."""
    regions, limits = placement.regions, placement.limits
    if around.low_water.is_empty:
        return f"all of it falls dry at the low level of {around.body.levels.low_m:g} m"
    if placement.is_worthless:
        what = around.settings.treatment.constituent.upper()
        return f"a raft would take out nothing: no {what} gets there, or jet or shade stop it"
    for index, region in enumerate(regions):
        is_spent = _count_left(limits, np.zeros(len(limits)), index) == 0
        if is_spent and has_place(around, region.region, region.raft_type):
            tight = [limit for limit in limits if limit.per_raft[index] > limit.most]
            words = ", ".join(limit.words for limit in tight) or "a limit"
            return f"there is room, but nothing is left for it of: {words}"
    if around.headings is not None and any(not r.region.is_empty for r in regions):
        return HEADING.words(around, regions[0].raft_type)
    water_m2 = max(around.low_water.area, 1e-9)
    name, lost, words = max(regions[0].taken_m2, key=lambda part: part[1])
    if lost <= 0:
        return "the water is smaller than a raft with its clearances"
    return (
        f"no place holds a raft; the rule '{name}' alone takes {100 * lost / water_m2:.0f} % of"
        f" the open water: {words}"
    )
