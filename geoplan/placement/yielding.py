"""
By how much a rule would have to yield for a raft to fit where none does, the others kept.

The room is solved again with one rule made weaker, and the least amount is found by halving.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import shapely
from shapely.geometry.base import BaseGeometry

from geoplan.cut_cells import cells_polygon
from geoplan.placement.allowed import (
    ROUNDING_ROOM_M,
    AllowedRegion,
    Surroundings,
    grown,
    reachable_parts,
)
from geoplan.placement.bound import Limit
from geoplan.placement.rules import (
    GAP,
    HEADING,
    LIMIT_RULES,
    REGION_RULES,
    SUN_ROOM_H,
    DepthForRoots,
    InflowJet,
)
from geoplan.placement.search import TURNS_DEG, best_rows
from geoplan.placement.why_not import unsurveyed
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType
from geoplan.reasons import RuleYield

#: Amounts are found to this and rounded up to it [m or h].
_STEP = 0.01
_HALVINGS = 12
#: Headings are found to this, and rounded up to whole degrees [°].
_STEP_DEG = 0.5

#: What a rule takes away once it has yielded by an amount.
_Weaker = Callable[[float], BaseGeometry]


def rule_yields(
    around: Surroundings, regions: Sequence[AllowedRegion], limits: Sequence[Limit]
) -> tuple[RuleYield, ...]:
    """
    Return by how much each rule would have to yield for one raft to fit.

    Parameters
    ----------
    around : Surroundings
        The water body, in which no raft was placed.
    regions : sequence of AllowedRegion
        Where rafts of each type may lie.
    limits : sequence of Limit
        Sums that are bounded.

    Returns
    -------
    tuple of RuleYield
        One for each rule that could open room by itself, that which opens most first; where there
        is room, one for each limit that leaves nothing for it.
    """
    if any(not region.region.is_empty for region in regions):
        found = list(_limits(around, regions, limits))
        if found:
            return tuple(found)
    best: dict[str, RuleYield] = {}
    for region in regions:
        if around.headings is not None and (wider := _wider(around, region)) is not None:
            return (wider,)
        for one in _of_type(around, region.raft_type):
            before = best.get(one.rule)
            if before is None or one.amount < before.amount:
                best[one.rule] = one
    return tuple(sorted(best.values(), key=lambda one: (-one.opens_m2, one.rule)))


def has_place(around: Surroundings, room: BaseGeometry, kind: RaftType) -> bool:
    """
    Tell whether the search finds a place for one raft.

    Parameters
    ----------
    around : Surroundings
        The water body.
    room : BaseGeometry
        Where the raft may lie, working CRS [m].
    kind : RaftType
        Its type.

    Returns
    -------
    bool
        False too where the room is longer than the raft nowhere.
    """
    if room.is_empty:
        return False
    surface = WorthSurface.on(around.fields.grid, around.fields.worth)
    gap_m, heads = GAP.gap_m(around), around.headings
    # Most rooms hold a raft whatever its turn: one turn tells.
    return any(
        len(best_rows(room, surface, kind, gap_m, 1, heads, turns).poses) > 0
        for turns in (TURNS_DEG[:1], TURNS_DEG[1:])
    )


def _of_type(around: Surroundings, kind: RaftType) -> Iterator[RuleYield]:
    """Yield what each rule would have to give for one raft of a type."""
    taken = {rule.name: rule.forbidden(around, kind) for rule in REGION_RULES}
    for name, (most, unit, weaker) in _weaker(around, kind).items():
        others = shapely.union_all([area for rule, area in taken.items() if rule != name])
        open_water = shapely.difference(around.low_water, others)
        amount = _least(around, kind, open_water, most, weaker)
        if amount is not None:
            room = _room(open_water, weaker(amount), kind)
            words = _words(name, amount, room.area, kind)
            yield RuleYield(name, kind.name, amount, unit, float(room.area), words)
    blind = unsurveyed(around)
    if not blind.is_empty:
        rest = shapely.union_all([area for rule, area in taken.items() if rule != "depth"])
        shallow = shapely.difference(taken["depth"], blind)
        room = _room(shapely.difference(around.low_water, rest), shallow, kind)
        if has_place(around, room, kind):
            words = (
                f"sounding the {blind.area:.0f} m² that nobody has sounded could open up to"
                f" {room.area:.0f} m² for '{kind.name}', if it is deep enough there"
            )
            yield RuleYield("survey", kind.name, float(blind.area), "m2", float(room.area), words)


def _weaker(around: Surroundings, kind: RaftType) -> dict[str, tuple[float, str, _Weaker]]:
    """Return for each rule how far it can yield, in what unit, and what it then takes."""
    body, keep = around.body, around.settings.clearances
    grid, fields = around.fields.grid, around.fields
    jet = InflowJet()

    def cells(short: BaseGeometry | object) -> BaseGeometry:
        return cells_polygon(grid.west_m, grid.south_m, grid.cell_size_m, short)  # type: ignore[arg-type]

    def off(parts: Sequence[tuple[BaseGeometry, float]]) -> tuple[float, str, _Weaker]:
        def weaker(by: float) -> BaseGeometry:
            rest = [grown(g, d - by + ROUNDING_ROOM_M) for g, d in parts if d > by]
            return shapely.union_all(rest)

        return max((d for _, d in parts), default=0.0), "m", weaker

    need = DepthForRoots().need_m(around, kind)
    depth = fields.reliable_depth_m(body.levels.low_m)
    out = {
        "bank": off([(shapely.boundary(around.low_water), keep.bank_m)]),
        "depth": (
            need,
            "m",
            lambda by: cells((depth < need - by) | (depth <= 0) | fields.is_unsurveyed),
        ),
        "keep_clear": off([(part.geometry, part.buffer_m) for part in body.keep_clear]),
        "outlet": off(
            [(o.geometry, max(keep.outlet_m, 3.0 * (o.width_m or 0.0))) for o in body.outlets]
        ),
        "inflow": off([(one.point, jet.standoff_m(around, one)) for one in body.inflows]),
        "gap": off([(outline, GAP.gap_m(around)) for outline in GAP.there(around)]),
    }
    if fields.sun_h is not None:
        sun_h, least_h = fields.sun_h, around.settings.sun.least_h + SUN_ROOM_H
        out["sun"] = (least_h, "h", lambda by: cells(grid.water & (sun_h < least_h - by)))
    return out


def _wider(around: Surroundings, region: AllowedRegion) -> RuleYield | None:
    """Return by how much held headings must widen for a raft of a type to fit its room."""
    heads, kind = around.headings, region.raft_type
    if heads is None or region.region.is_empty:
        return None

    def fits(by_deg: float) -> bool:
        return has_place(replace(around, headings=heads.widened(by_deg)), region.region, kind)

    low, high = 0.0, 90.0
    if not fits(high):
        return None
    while high - low > _STEP_DEG:
        middle = (low + high) / 2
        low, high = (low, middle) if fits(middle) else (middle, high)
    amount = float(math.ceil(high))
    room_m2 = float(region.region.area)
    words = f"{amount:.0f} degrees more to turn from {heads.along} would let '{kind.name}' fit"
    return RuleYield(HEADING.name, kind.name, amount, "deg", room_m2, words)


def _least(
    around: Surroundings, kind: RaftType, open_water: BaseGeometry, most: float, weaker: _Weaker
) -> float | None:
    """Return the least amount by which a rule must yield; None where no amount helps."""
    if most <= 0 or not has_place(around, _room(open_water, weaker(most), kind), kind):
        return None
    low, high = 0.0, most
    for _ in range(_HALVINGS):
        if high - low <= _STEP / 4:
            break
        middle = (low + high) / 2
        if has_place(around, _room(open_water, weaker(middle), kind), kind):
            high = middle
        else:
            low = middle
    return min(most, math.ceil(high / _STEP - 1e-9) * _STEP)


def _room(open_water: BaseGeometry, taken: BaseGeometry, kind: RaftType) -> BaseGeometry:
    """Return the room that a rule leaves of what the others leave."""
    return reachable_parts(shapely.difference(open_water, taken), kind)


def _words(name: str, amount: float, opens_m2: float, kind: RaftType) -> str:
    """Return in words what would open room."""
    what = {
        "depth": f"{amount:.2f} m more water at low level, or roots {amount:.2f} m shorter",
        "bank": f"a bank distance {amount:.2f} m less",
        "keep_clear": f"{amount:.2f} m less to what is kept clear",
        "outlet": f"{amount:.2f} m less to the outlet",
        "inflow": f"{amount:.2f} m less to the inflow",
        "gap": f"{amount:.2f} m less to the rafts already there",
        "sun": f"{amount:.2f} h of sun a day less for the plants",
    }[name]
    return f"{what}, would open {opens_m2:.0f} m² for '{kind.name}'".replace(
        "less, would", "less would"
    )


def _limits(
    around: Surroundings, regions: Sequence[AllowedRegion], limits: Sequence[Limit]
) -> Iterator[RuleYield]:
    """Yield by how much each limit falls short of one raft that there is room for."""
    types = around.settings.raft
    # Limits are rounded to whole rafts for the search; what is lacking is counted before that.
    raw = {
        limit.name: limit
        for rule in LIMIT_RULES
        for limit in rule.limits(around, types, {})
        if limit.name != "stock"
    }
    for index, region in enumerate(regions):
        if region.region.is_empty or not has_place(around, region.region, region.raft_type):
            continue
        for limit in limits:
            short = limit.per_raft[index] - raw.get(limit.name, limit).most
            if limit.per_raft[index] <= 0 or short <= 1e-9:
                continue
            amount, unit, words = _short(around, limit, short)
            room_m2 = float(region.region.area)
            kind = region.raft_type.name
            yield RuleYield(limit.name, kind, amount, unit, room_m2, f"{words} ('{kind}')")


def _short(around: Surroundings, limit: Limit, short: float) -> tuple[float, str, str]:
    """Return by how much a limit falls short of one raft, its unit, and words."""
    if limit.name == "cover":
        pct = math.ceil(10_000.0 * short / around.edges[1].area_m2) / 100.0
        cap = around.body.max_cover_pct
        return pct, "%", f"one raft needs {cap + pct:.2f} % of the normal pool, {cap:g} % may be"
    if limit.name == "budget":
        return short, "currency", f"one raft costs {short:g} more than is left"
    return short, "rafts", f"one raft is wanted, {max(limit.most, 0):g} are left"


def as_words(yields: Sequence[RuleYield], most: int = 3) -> str:
    """
    Return what would open room, in one sentence.

    Parameters
    ----------
    yields : sequence of RuleYield
        What each rule would have to give.
    most : int
        How many are named.

    Returns
    -------
    str
        Starts with a semicolon, to follow a reason.

    Examples
    --------
    >>> as_words([RuleYield("bank", "a", 0.5, "m", 42.0, "0.5 m less would open 42 m²")])
    '; 0.5 m less would open 42 m²'
    """
    if not yields:
        return "; no rule alone could open room"
    return "".join(f"; {one.words}" for one in yields[:most])
