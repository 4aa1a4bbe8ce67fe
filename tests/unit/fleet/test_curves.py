"""What the curve promises, held against plans made and solved by themselves."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from geoplan.fleet.curves import RemovalCurve, removal_curve
from geoplan.fleet.planning import own_settings
from geoplan.fleet.reasons import why
from geoplan.planner import plan_water
from geoplan.site import Inflow, Levels, ShareTerms
from tests.laws.ponds import random_site
from tests.laws.test_load_benefit import basin, settings


@pytest.mark.parametrize("seed", [1, 2])
def test_plans_lie_between_promise_and_bound(seed: int) -> None:
    site = random_site(seed)
    body, settings = site.water_bodies[0], own_settings(site.settings)
    curve = removal_curve(body, settings)
    assert curve.is_load
    assert curve.counts[0].sum() == curve.kept[0] == 0
    rows = np.unique(np.linspace(1, len(curve.kept) - 1, 3).astype(int))
    for counts, kept in zip(curve.counts[rows], curve.kept[rows], strict=True):
        names = [kind.name for kind in settings.raft]
        share = {name: int(count) for name, count in zip(names, counts, strict=True)}
        made = plan_water(body, settings, share, detail=False)
        placed = [
            sum(raft.raft_type == n and raft.status == "planned" for raft in made.rafts)
            for n in names
        ]
        assert curve.bound(np.array(placed)) >= made.report.value - 1e-9
        assert curve.bound(counts) >= kept
        assert made.report.value >= 0.85 * kept


def test_an_inflow_at_the_outlet_itself_is_no_fault() -> None:
    # A mixed district has such ponds; in and out cancel but for rounding, and nothing flows.
    site = random_site(1)
    body = site.water_bodies[0]
    inflow = body.inflows[0]
    for factor in (1.0, 1.1, 0.37, 3.3):
        inflows = (replace(inflow, flow_l_s=factor * (inflow.flow_l_s or 1.0)),)
        outlets = (replace(body.outlets[0], geometry=inflow.point, width_m=None),)
        known = replace(body, inflows=inflows, outlets=outlets)
        curve = removal_curve(known, own_settings(site.settings))
        assert np.isfinite(curve.kept).all()
        assert (curve.kept >= 0).all()


def test_stock_and_budget_change_no_curve() -> None:
    site = random_site(2)
    kinds = tuple(kind.model_copy(update={"stock": 1}) for kind in site.settings.raft)
    other = site.settings.model_copy(update={"raft": kinds})
    assert own_settings(other) == own_settings(site.settings)


def test_a_pond_without_room_promises_nothing() -> None:
    site = random_site(1)
    body = replace(site.water_bodies[0], max_cover_pct=0.0)
    curve = removal_curve(body, own_settings(site.settings))
    assert curve.kept.tolist() == [0.0]
    assert curve.bound(np.array([3.0])) == 0.0
    assert told(curve) == "the cover allowed leaves nothing for a raft"


def test_room_in_which_no_raft_is_found_has_a_bound_all_the_same() -> None:
    """The longest line in a basin of 40 m is 57 m: rows find no place for rafts of 58 m."""
    long = {"name": "long", "length_m": 58, "width_m": 2, "draft_m": 0.2, "root_depth_m": 0.4}
    curve = removal_curve(basin(), settings(raft=[long]))
    assert curve.counts.tolist() == [[0.0]]
    assert curve.bound(np.array([1.0])) > 0.0
    assert told(curve) == "no raft was found that fits into the room and cover there is"


def test_where_nothing_is_room_or_nothing_worth_it_is_told_apart() -> None:
    clean = Inflow("in", shapely.Point(0, 20), 3.0, concentrations={"tn_mg_l": 0.0})
    curve = removal_curve(basin(inflows=(clean,)), settings())
    assert curve.bound(np.array([1.0, 1.0])) == 0.0
    assert told(curve) == "a raft would take out nothing here"
    dry = removal_curve(basin(levels=Levels(6.0, 10.0, 10.2)), settings())
    assert told(dry) == "there is no room for a raft"


def told(curve: RemovalCurve) -> str:
    """Why water of this curve gets no raft."""
    none = np.zeros(curve.counts.shape[1])
    return why(ShareTerms(), none, curve, 0.0, 0.0, np.zeros(len(curve.counts)))
