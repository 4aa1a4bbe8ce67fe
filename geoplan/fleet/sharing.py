"""Share one stock and one budget between water bodies, from what rafts are worth in each."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geoplan.crs import WGS84, transformed
from geoplan.district import Allocation, LimitUse, PolicyWorth, WaterShare
from geoplan.errors import InfeasibleError
from geoplan.fleet.allocation import (
    Choices,
    IntArray,
    Limits,
    OutOfReachError,
    Selection,
    selected,
)
from geoplan.fleet.ceiling import Ceiling
from geoplan.fleet.curves import RemovalCurve
from geoplan.fleet.policies import at_least_as_good, equal_cover, inflow_order
from geoplan.fleet.reasons import why
from geoplan.hydraulics import inflow_load_g_d
from geoplan.plan import Plan
from geoplan.reasons import HeldRaft
from geoplan.settings import Settings
from geoplan.site import FloatArray, ShareTerms, WaterBody

#: Water bodies whose load is not known come after all others: their rafts count for this share of
#: the least that a raft brings where it is known [1].
_TOKEN = 0.01


@dataclass(frozen=True, eq=False)
class _Sharer:
    """What sharing out needs to know of a water body."""

    water_id: str
    terms: ShareTerms
    there_m2: float  # rafts that lie there already
    load_g_d: float
    longitude_deg: float
    latitude_deg: float


def _sharer(body: WaterBody, settings: Settings) -> _Sharer:
    """Return what sharing out needs to know of a water body, which need not be held for it."""
    centre = transformed(body.outline.centroid, body.crs, WGS84)
    return _Sharer(
        body.water_id,
        body.terms,
        sum(float(raft.outline.area) for raft in body.rafts),
        inflow_load_g_d(body, settings),
        float(centre.x),
        float(centre.y),
    )


@dataclass(frozen=True, eq=False)
class _District:
    """The water bodies, their curves in one currency, and the limits that they share."""

    bodies: Sequence[_Sharer]
    curves: Sequence[RemovalCurve]
    settings: Settings
    scale: FloatArray  # (waters,) from the worth of a curve to that of the allocation

    @property
    def wards(self) -> list[str]:
        """Return the names of the wards with limits."""
        return [ward.name for ward in self.settings.district.ward]

    def use(self, index: int, counts: FloatArray) -> FloatArray:
        """Return what plans of a water body use of each limit: stock, budget, wards."""
        terms = self.bodies[index].terms
        price = np.array([kind.cost for kind in self.settings.raft])
        total = counts.sum(axis=1)
        cost = counts @ price + np.where(total > 0, terms.mobilisation_cost, 0.0)
        ward = [total * (name == terms.ward) for name in self.wards]
        return np.column_stack([counts, cost, *ward])

    def limits(self) -> Limits:
        """Return the limits that all share."""
        stock = [np.inf if kind.stock is None else kind.stock for kind in self.settings.raft]
        budget = self.settings.budget.limit
        wards = self.settings.district.ward
        most = [np.inf if ward.most_rafts is None else ward.most_rafts for ward in wards]
        least = [ward.least_rafts or -np.inf for ward in wards]
        return Limits(
            np.array([*[-np.inf] * (len(stock) + 1), *least]),
            np.array([*stock, np.inf if budget is None else budget, *most]),
        )


def shared_out(
    bodies: Iterable[WaterBody], curves: Sequence[RemovalCurve], settings: Settings
) -> Allocation:
    """
    Return how many rafts of each type each water body gets.

    Parameters
    ----------
    bodies : iterable of WaterBody
        Water bodies that share; none is held.
    curves : sequence of RemovalCurve
        What rafts are worth in each, in the same order.
    settings : Settings
        Stock, cost, budget and wards.

    Returns
    -------
    Allocation
        The best selection of counts, with prices, bounds and reasons.

    Raises
    ------
    InfeasibleError
        If what must be cannot be: a ward's least, or rafts in a water body that must have some.

    Notes
    -----
    Loads are added as they stand. Water bodies whose load is not known come last, ranked by the
    worth of their places and by what flows in.
    """
    district = _district(bodies, curves, settings)
    sharers = district.bodies
    offered = [_offered(district, index) for index in range(len(sharers))]
    choices = Choices(
        np.repeat(np.arange(len(sharers)), [len(rows) for rows in offered]),
        np.concatenate(
            [c.kept[rows] * s for c, rows, s in zip(curves, offered, district.scale, strict=True)]
        ),
        np.concatenate([district.use(k, curves[k].counts[rows]) for k, rows in enumerate(offered)]),
    )
    limits = district.limits()
    try:
        found = selected(choices, limits)
    except OutOfReachError:
        raise InfeasibleError(_what_cannot_be(district, choices, limits)) from None
    types = len(settings.raft)
    others = _policies(district, offered, choices, limits)
    found = at_least_as_good(found, choices, iter(others.values()))
    bound = _ceiling(district).by_areas(found.prices)
    return Allocation(
        unit=_unit(curves),
        value=found.value,
        choice_bound=found.bound,
        bound=max(bound, found.value),
        shares=tuple(_share(district, k, choices, found, types) for k in range(len(sharers))),
        limits=tuple(_limit_uses(district, choices, limits, found)),
        policies=tuple(
            PolicyWorth(
                name,
                float(choices.value[chosen].sum()),
                float(choices.use[chosen, types].sum()),
                round(float(choices.use[chosen, :types].sum())),
            )
            for name, chosen in others.items()
            if chosen is not None
        ),
    )


def _district(
    bodies: Iterable[WaterBody], curves: Sequence[RemovalCurve], settings: Settings
) -> _District:
    """Return a district of water bodies, none of which is held."""
    sharers = [_sharer(body, settings) for body in bodies]
    return _District(sharers, curves, settings, _scales(curves))


def ceiling_of(
    bodies: Iterable[WaterBody], curves: Sequence[RemovalCurve], settings: Settings
) -> Ceiling:
    """
    Return what bounds a district.

    Parameters
    ----------
    bodies : iterable of WaterBody
        Water bodies that share; none is held.
    curves : sequence of RemovalCurve
        What rafts are worth in each, in the same order.
    settings : Settings
        Stock, cost, budget and wards.

    Returns
    -------
    Ceiling
        Its limits are in the order of those of the allocation.
    """
    return _ceiling(_district(bodies, curves, settings))


def _ceiling(district: _District) -> Ceiling:
    """Return what bounds a district."""
    bodies, limits, types = district.bodies, district.limits(), len(district.settings.raft)
    fixed = np.zeros((len(bodies), len(limits.most)))
    fixed[:, types] = [body.terms.mobilisation_cost for body in bodies]
    may = np.array([body.terms.wanted != "never" for body in bodies])
    use = np.array([_unit_use(district, index) for index in range(len(bodies))])
    areas = np.array([kind.area_m2 for kind in district.settings.raft])
    return Ceiling(district.curves, district.scale * may, areas, fixed, use, limits)


def _policies(
    district: _District, offered: Sequence[IntArray], choices: Choices, limits: Limits
) -> dict[str, IntArray | None]:
    """Return simple ways to share out, by what they are called."""
    cover = np.concatenate([_cover_pct(district, k)[rows] for k, rows in enumerate(offered)])
    load = np.array([sharer.load_g_d for sharer in district.bodies])
    return {
        "the same cover everywhere": equal_cover(choices, cover, limits),
        "most load flowing in first": inflow_order(choices, cover, load, limits),
    }


def allotments(allocation: Allocation, settings: Settings) -> list[dict[str, int]]:
    """
    Return the allocation as each water body's plan takes it.

    Parameters
    ----------
    allocation : Allocation
        Who gets what.
    settings : Settings
        Stock, budget and wards.

    Returns
    -------
    list of dict of str to int
        For each water body the most rafts of each type; a type that nothing limits is left out
        where the water body gets any raft.
    """
    capped = {ward.name for ward in settings.district.ward if ward.most_rafts is not None}
    out = []
    for share in allocation.shares:
        counts = dict(share.counts)
        is_free = bool(counts) and settings.budget.limit is None and share.ward not in capped
        out.append(
            {
                kind.name: counts.get(kind.name, 0)
                for kind in settings.raft
                if not (is_free and kind.stock is None)
            }
        )
    return out


def with_held(
    curves: Sequence[RemovalCurve], held: Sequence[HeldRaft], settings: Settings
) -> list[RemovalCurve]:
    """
    Return curves of which every count has the rafts that a person holds in the water body.

    Parameters
    ----------
    curves : sequence of RemovalCurve
        What rafts are worth in each water body.
    held : sequence of HeldRaft
        Rafts of the site whose places are fixed.
    settings : Settings
        Raft types.

    Returns
    -------
    list of RemovalCurve
        The counts that hold them, the first of them alone. Where they lie is not looked at: what
        the counts are worth is then an estimate, and the bounds hold.
    """
    out = []
    for curve in curves:
        names = [raft.raft_type for raft in held if raft.water_id == curve.water_id]
        there = np.array([float(names.count(kind.name)) for kind in settings.raft])
        below = (curve.counts <= there).all(axis=1)
        above = (curve.counts >= there).all(axis=1) & (curve.counts.sum(axis=1) > there.sum())
        counts = np.vstack([there, curve.counts[above]])
        kept = np.append(curve.kept[below].max(), curve.kept[above])
        out.append(replace(curve, counts=counts, kept=kept) if names else curve)
    return out


def unmet_limits(plan: Plan, min_cover_pct: float) -> tuple[str, ...]:
    """
    Return what a site asks of its plan and the plan does not give.

    Parameters
    ----------
    plan : Plan
        The plan.
    min_cover_pct : float
        Least cover of the normal pool that is asked for [%].

    Returns
    -------
    tuple of str
        In words, with by how much; empty where every limit is met.
    """
    out = []
    has_rafts = False
    for water in plan.waters:
        has_rafts = has_rafts or bool(water.rafts)
        cover = next((part.cover_pct for part in water.cover if part.level_name == "normal"), 0.0)
        if cover < min_cover_pct - 1e-9:
            out.append(
                f"{water.water_id}: {cover:.2f} % of the normal pool is covered,"
                f" {min_cover_pct - cover:.2f} % less than the {min_cover_pct:g} % asked for"
            )
    return tuple(out) if has_rafts else ("no raft could be placed on any water", *out)


def _scales(curves: Sequence[RemovalCurve]) -> FloatArray:
    """Return by how much the worth of each curve counts."""
    scale = np.array([1.0 if c.is_load else max(c.inflow_l_s, 1e-3) for c in curves])
    rates: dict[bool, list[float]] = {True: [], False: []}
    for curve, factor in zip(curves, scale, strict=True):
        rafts = curve.counts.sum(axis=1)
        rate = factor * curve.kept[rafts > 0] / rafts[rafts > 0]
        rates[curve.is_load] += [float(one) for one in rate if one > 0]
    if rates[True] and rates[False]:
        token = _TOKEN * min(rates[True]) / max(rates[False])
        scale = scale * np.array([1.0 if curve.is_load else token for curve in curves])
    return scale


def _unit(curves: Sequence[RemovalCurve]) -> str:
    """Return the unit of the allocation: that of the loads where there are any."""
    loads = sorted({curve.unit for curve in curves if curve.is_load}, key=len, reverse=True)
    if loads:
        return loads[0]
    return "worth of places times inflow (relative)"


def _offered(district: _District, index: int) -> IntArray:
    """Return the rows of a curve that a water body may have; the first is none where it may."""
    curve, body = district.curves[index], district.bodies[index]
    terms = body.terms
    rafts = curve.counts.sum(axis=1)
    none = np.flatnonzero(rafts == rafts.min())[:1]  # nothing, or what a person holds there
    if terms.wanted == "never":
        return none
    limits = district.limits()
    fits = (district.use(index, curve.counts) <= limits.most + 1e-9).all(axis=1)
    is_enough = _cover_pct(district, index) >= terms.min_cover_pct - 1e-6
    some = np.flatnonzero((rafts > rafts.min()) & fits & is_enough)
    if terms.wanted != "must" or rafts.min() > 0:
        return np.concatenate([none, some])
    if len(some):
        return some
    fullest = np.flatnonzero((rafts > 0) & fits)
    return fullest[np.argsort(-curve.kept[fullest], kind="stable")[:1]] if len(fullest) else none


def _cover_pct(district: _District, index: int) -> FloatArray:
    """Return the cover of the normal pool with each plan of a curve [%]."""
    curve, body = district.curves[index], district.bodies[index]
    areas = np.array([kind.area_m2 for kind in district.settings.raft])
    cover: FloatArray = 100.0 * (body.there_m2 + curve.counts @ areas) / max(curve.pool_m2, 1e-9)
    return cover


def _share(
    district: _District, index: int, choices: Choices, found: Selection, types: int
) -> WaterShare:
    """Return what one water body gets, and why."""
    curve, body, scale = district.curves[index], district.bodies[index], district.scale[index]
    chosen = found.chosen[index]
    counts, worth = choices.use[chosen, :types], float(choices.value[chosen])
    names = [kind.name for kind in district.settings.raft]
    more = (curve.counts >= counts).all(axis=1) & (curve.counts.sum(axis=1) > counts.sum())
    with np.errstate(divide="ignore", invalid="ignore"):
        gains = (curve.kept * scale - worth) / (curve.counts.sum(axis=1) - counts.sum())
    areas = np.array([kind.area_m2 for kind in district.settings.raft])
    next_worth = float(gains[more].max(initial=0.0))
    most_worth = float(curve.kept.max() * scale)
    rafts_price = (_unit_use(district, index) @ found.prices).min()
    cover = _cover_pct(district, index)
    return WaterShare(
        water_id=body.water_id,
        ward=body.terms.ward,
        wanted=body.terms.wanted,
        counts=tuple((n, round(k)) for n, k in zip(names, counts, strict=True) if k > 0),
        raft_area_m2=float(counts @ areas),
        cover_pct=100.0 * (body.there_m2 + float(counts @ areas)) / max(curve.pool_m2, 1e-9),
        cost=float(choices.use[chosen, types]),
        worth=worth,
        worth_bound=max(worth, curve.bound(counts) * float(scale)),
        most_worth=most_worth,
        next_worth=next_worth,
        why=why(body.terms, counts, curve, next_worth, float(rafts_price), cover),
        longitude_deg=body.longitude_deg,
        latitude_deg=body.latitude_deg,
        is_relative=curve.is_relative,
    )


def _unit_use(district: _District, index: int) -> FloatArray:
    """Return what one raft of each type uses of each limit in one water body."""
    counts = np.eye(len(district.settings.raft))
    use = district.use(index, counts)
    use[:, len(counts)] -= district.bodies[index].terms.mobilisation_cost
    return use


def _limit_uses(
    district: _District, choices: Choices, limits: Limits, found: Selection
) -> list[LimitUse]:
    """Return what is used of each limit, and what one more would bring."""
    names = [(kind.name, "stock") for kind in district.settings.raft]
    names += [("budget", "budget"), *((ward, "ward") for ward in district.wards)]
    used = choices.use[found.chosen].sum(axis=0)
    return [
        LimitUse(
            name,
            kind,
            float(limits.least[k]) if np.isfinite(limits.least[k]) else None,
            float(limits.most[k]) if np.isfinite(limits.most[k]) else None,
            float(used[k]),
            float(found.prices[k]),
        )
        for k, (name, kind) in enumerate(names)
    ]


def _what_cannot_be(district: _District, choices: Choices, limits: Limits) -> str:
    """Return in words which demand is out of reach."""
    top = np.maximum.reduceat(choices.use, choices.starts).sum(axis=0)
    low = np.minimum.reduceat(choices.use, choices.starts).sum(axis=0)
    types = len(district.settings.raft)
    for k, ward in enumerate(district.settings.district.ward, types + 1):
        if ward.least_rafts is not None and top[k] < ward.least_rafts:
            return (
                f"ward '{ward.name}': least_rafts asks for {ward.least_rafts}, and its water"
                f" bodies have room for {top[k]:.0f}; lower it, or look at the rules that take"
                " most room"
            )
    must = [body.water_id for body in district.bodies if body.terms.wanted == "must"]
    for at in np.flatnonzero(low > limits.most + 1e-9):
        name = "the budget" if at == types else "the stock or a ward's most_rafts"
        return (
            f"the water bodies that must have rafts ({', '.join(must[:10])}) need {low[at]:g} at"
            f" least, and {name} allows {limits.most[at]:g}; raise it, or let some of them go"
        )
    return (
        "stock, budget, the least of the wards and the water bodies that must have rafts"
        f" ({', '.join(must[:10]) or 'none'}) cannot all be kept; loosen one of them"
    )
