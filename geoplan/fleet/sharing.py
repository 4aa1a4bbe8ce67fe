"""Share one stock and one budget between water bodies."""

from collections.abc import Sequence

from geoplan.plan import WaterPlan
from geoplan.settings import Settings

Allotments = dict[str, dict[str, int]]


def _counts(plan: WaterPlan) -> dict[str, int]:
    """Return how many rafts of each type a plan places."""
    counts: dict[str, int] = {}
    for raft in plan.rafts:
        if raft.status == "planned":
            counts[raft.raft_type] = counts.get(raft.raft_type, 0) + 1
    return counts


def shared_out(waters: Sequence[WaterPlan], settings: Settings) -> Allotments:
    """
    Return how many rafts of each type each water body keeps under one stock and one budget.

    Parameters
    ----------
    waters : sequence of WaterPlan
        Each planned as if it had everything.
    settings : Settings
        Stock of each type, cost and budget.

    Returns
    -------
    dict of str to dict of str to int
        For each water body, rafts by type; types without any are left out.

    Notes
    -----
    The rafts that take out most, for their cost where there is a budget, keep their place; those
    of waters whose loads are not known come last, ranked by worth and inflow.
    """
    kinds = {kind.name: kind for kind in settings.raft}
    left = {kind.name: kind.stock for kind in settings.raft}
    budget = settings.budget.limit
    ranked = []
    for plan in waters:
        for raft in plan.rafts:
            if raft.status == "planned":
                worth = raft.removal_g_d or 1e-9 * raft.worth * plan.inflow_l_s
                cost = kinds[raft.raft_type].cost
                rate = worth / cost if budget is not None and cost > 0 else worth
                ranked.append((-rate, plan.water_id, raft.raft_id, raft.raft_type, cost))
    kept: Allotments = {plan.water_id: {} for plan in waters}
    for _, water_id, _, kind_name, cost in sorted(ranked):
        stock = left[kind_name]
        if (stock is not None and stock <= 0) or (budget is not None and cost > budget + 1e-9):
            continue
        if stock is not None:
            left[kind_name] = stock - 1
        if budget is not None:
            budget -= cost
        kept[water_id][kind_name] = kept[water_id].get(kind_name, 0) + 1
    everything = {kind.name: 0 for kind in settings.raft}
    return {
        plan.water_id: share
        if (share := kept[plan.water_id]) == _counts(plan)
        else everything | share
        for plan in waters
    }
