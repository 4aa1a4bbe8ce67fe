"""Why a plan is as it is: what forbids more, what would open room, what a limit is worth."""

from dataclasses import replace

from geoplan.placement.allowed import Surroundings
from geoplan.placement.alternatives import other_plan
from geoplan.placement.benefit import Benefit
from geoplan.placement.bound import Limit
from geoplan.placement.place import Placement, place_benefit
from geoplan.placement.why_not import why_not
from geoplan.placement.yielding import rule_yields
from geoplan.reasons import LimitPrice, Reasons


def reasons_of(
    around: Surroundings,
    benefit: Benefit | None,
    placement: Placement,
    *,
    is_brief: bool = False,
) -> Reasons:
    """
    Return why a plan is as it is.

    Parameters
    ----------
    around : Surroundings
        The water body.
    benefit : Benefit or None
        What plans are worth; ``None``: the worth of places in the fields.
    placement : Placement
        The plan.
    is_brief : bool
        Whether what the sharing out of a district tells already is left away: prices of limits,
        a second plan, and what would open room in water that has room.

    Returns
    -------
    Reasons
        What forbids a further raft where, what would open room where none was placed, what one
        more unit of each limit is worth, and a plan that looks different.
    """
    placed = any(len(part) for part in placement.poses)
    why = why_not(around, placement.regions, placement.limits, placement.rafts)
    if is_brief:
        has_room = placed or any(not region.region.is_empty for region in placement.regions)
        none = () if has_room else rule_yields(around, placement.regions, placement.limits)
        return Reasons(why_not=why, yields=none)
    worth = benefit or place_benefit(around)
    return Reasons(
        why_not=why,
        yields=()
        if placed or placement.is_worthless
        else rule_yields(around, placement.regions, placement.limits),
        prices=limit_prices(around, placement),
        alternatives=other_plan(worth, placement) if placed else (),
    )


def limit_prices(around: Surroundings, placement: Placement) -> tuple[LimitPrice, ...]:
    """
    Return what one more unit of each limit could bring.

    Parameters
    ----------
    around : Surroundings
        The water body.
    placement : Placement
        The plan.

    Returns
    -------
    tuple of LimitPrice
        By how much the area bound of the plan's own tangent rises; none where there is no room.

    Notes
    -----
    An upper estimate: no plan with one more gains more over that bound, and one that gains as
    much need not be found. A limit that is not the tightest has the price zero.
    """
    room, surfaces = placement.room, placement.surfaces
    if room is None or not surfaces:
        return ()
    corrected, cell_m = room.corrected(surfaces), surfaces[0].cell_size_m
    base = room.bound(corrected, cell_m).value
    out = []
    for index, limit in enumerate(room.limits):
        words, step = _step(limit, around.edges[1].area_m2)
        more = list(room.limits)
        more[index] = replace(limit, most=limit.most + step)
        gain = replace(room, limits=tuple(more)).bound(corrected, cell_m).value - base
        out.append(LimitPrice(limit.words, words, max(gain, 0.0)))
    return tuple(out)


def _step(limit: Limit, pool_m2: float) -> tuple[str, float]:
    """Return the step of a limit that a person thinks in, and its size in the limit's unit."""
    return {
        "stock": ("one more raft", 1.0),
        "cover": ("one more per cent of the normal pool", pool_m2 / 100.0),
        "budget": ("one more unit of currency", 1.0),
    }.get(limit.name, ("one more", 1.0))
