"""The load that rafts keep back: concave, bounded by its tangents, and balanced."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely

from geoplan.cover import water_edges
from geoplan.effect import effect_of, worth_map
from geoplan.fields import site_fields
from geoplan.fleet.curves import weighed
from geoplan.fleet.store import packed, unpacked
from geoplan.hydraulics import hydraulics, known_flows
from geoplan.placement.allowed import Surroundings
from geoplan.placement.place import place_rafts
from geoplan.placement.search import Poses
from geoplan.placement.worth import WorthSurface
from geoplan.planner import plan_water
from geoplan.settings import Settings
from geoplan.site import Inflow, Levels, Outlet, Soundings, WaterBody
from geoplan.treatment import LoadBenefit

SIDE = 40.0


def settings(**parts: object) -> Settings:
    return Settings.model_validate(
        {
            "name": "Basin",
            "levels": {"low_m": 9.8, "normal_m": 10.0, "high_m": 10.2},
            "survey": {"sigma_m": 0.02},
            "raft": [
                {"name": "a", "length_m": 4, "width_m": 2.4, "draft_m": 0.2, "root_depth_m": 0.6,
                 "stock": 8},
                {"name": "b", "length_m": 3, "width_m": 3, "draft_m": 0.2, "root_depth_m": 0.6,
                 "stock": 4},
            ],
        }
        | parts
    )  # fmt: skip


def basin(**parts: object) -> WaterBody:
    east, north = np.meshgrid(np.arange(1.0, SIDE, 2.0), np.arange(1.0, SIDE, 2.0))
    points = east.ravel(), north.ravel()
    away = np.minimum.reduce([points[0], SIDE - points[0], points[1], SIDE - points[1]])
    bed = 10.0 - np.minimum(2.6, 0.3 * away)
    square = shapely.box(0, 0, SIDE, SIDE)
    body = WaterBody(
        "w", "", "+proj=tmerc +lat_0=56 +lon_0=9 +k=1 +datum=WGS84 +units=m", square, 10.0,
        Levels(9.8, 10.0, 10.2), 30.0,
        Soundings(*points, bed, np.full(len(bed), 0.02)),
        inflows=(Inflow("in", shapely.Point(0, 20), 3.0, concentrations={"tn_mg_l": 4.0}),),
        outlets=(Outlet("out", shapely.Point(SIDE, 20), 1.0),),
    )  # fmt: skip
    return replace(body, **parts)  # type: ignore[arg-type]


def benefit(body: WaterBody | None = None, made: Settings | None = None) -> LoadBenefit:
    body, made = body or basin(), made or settings()
    fields = site_fields(body, made)
    flow, _ = hydraulics(body, made, fields)
    assert flow is not None
    return LoadBenefit(body, made, fields, flow, made.treatment.rates_m_yr()[0])


@pytest.fixture(scope="module")
def shared() -> LoadBenefit:
    return benefit()


def random_plan(made: LoadBenefit, seed: int) -> list[Poses]:
    rng = np.random.default_rng(seed)
    out = []
    for kind in made.settings.raft:
        count = int(rng.integers(1, 9))
        east, north = rng.uniform(4, SIDE - 4, (2, count))
        out.append(Poses(kind, east, north, rng.uniform(0, 180, count), np.zeros(count)))
    return out


def least_room_above(made: LoadBenefit, count: int) -> float:
    """The least by which tangents at random plans lie above others, relative to the worth."""
    types = [kind.name for kind in made.settings.raft]
    tangents = [made.tangent(random_plan(made, seed)) for seed in range(count)]
    least = np.inf
    for seed in range(1000, 1000 + count):
        plan = random_plan(made, seed)
        surface = tangents[0].surfaces[0]
        area = {
            part.raft_type.name: surface.deposit_m2(
                part.raft_type, part.easting_m, part.northing_m, part.heading_deg
            )
            for part in plan
        }
        kept = made.kept_g_d(plan)
        for touched in tangents:
            linear = touched.constant + sum(
                float((area[name] * own.nodes).sum())
                for name, own in zip(types, touched.surfaces, strict=True)
            )
            least = min(least, (linear - kept) / kept)
    return float(least)


def test_every_tangent_lies_above_the_load_kept_by_every_other_plan(shared: LoadBenefit) -> None:
    """1,024 pairs of plans."""
    assert least_room_above(shared, 32) >= -1e-9


def test_a_tangent_touches_at_its_own_plan(shared: LoadBenefit) -> None:
    plan = random_plan(shared, 3)
    touched = shared.tangent(plan)
    assert touched.value == pytest.approx(shared.kept_g_d(plan), rel=1e-9)
    assert shared.tangent(()).value == shared.tangent(()).constant == 0.0


def test_area_at_nodes_and_mean_under_rafts_are_one_functional() -> None:
    rng = np.random.default_rng(2)
    kind = settings().raft[0]
    surface = WorthSurface(0.0, 0.0, 0.5, rng.random((61, 61)))
    east, north = rng.uniform(6, 24, (2, 12))
    heading = rng.uniform(0, 180, 12)
    area = surface.deposit_m2(kind, east, north, heading)
    worth = kind.planted_area_m2 * surface.mean_under(kind, east, north, heading)
    assert (area * surface.nodes).sum() == pytest.approx(worth.sum(), rel=1e-12)
    assert area.sum() == pytest.approx(12 * kind.planted_area_m2, rel=1e-12)


def test_mean_age_of_what_leaves_is_volume_over_flow(shared: LoadBenefit) -> None:
    """Water that gains one unit for each second it stays leaves with V/Q of them."""
    flow = shared.hydraulics
    volume = flow.basin.depth_m * flow.basin.cell_area_m2
    aged = replace(flow, load_g_s=volume)
    still = shared.settings.treatment.model_copy(update={"settling_m_yr": 0.0})
    made = LoadBenefit(
        shared.body, shared.settings.model_copy(update={"treatment": still}), shared.fields,
        aged, shared.rate_m_yr,
    )  # fmt: skip
    age_s = made.solved(()).load_out_g_s / flow.basin.outflow_m3_s.sum()
    assert age_s == pytest.approx(volume.sum() / 0.003, rel=1e-9)


def test_more_rate_keeps_more_and_never_all(shared: LoadBenefit) -> None:
    plan = random_plan(shared, 5)
    out = [shared.solved(plan, rate).load_out_g_s for rate in (0.0, 5.0, 50.0, 5e4)]
    assert all(a > b > 0 for a, b in pairwise(out))


def test_plan_is_within_its_bound_and_its_shares_add_up() -> None:
    plan = plan_water(basin(), settings())
    planned = [raft for raft in plan.rafts if raft.status == "planned"]
    assert planned
    assert plan.report.value <= plan.report.bound
    total = sum(raft.removal_g_d or 0.0 for raft in planned)
    assert total == pytest.approx(plan.report.value, rel=1e-9)
    effect = plan.effect
    assert effect is not None
    assert not effect.is_relative
    assert effect.load_in_g_d == pytest.approx(3.0 * 4.0 * 86.4, rel=1e-9)
    assert effect.removed_g_d == pytest.approx(plan.report.value, rel=1e-9)
    low, high = effect.removed_range_g_d
    assert 0 < low < high
    kept = [point.kept_g_d for point in effect.curve]
    counts = [point.raft_count for point in effect.curve]
    assert counts == sorted(counts)
    assert all(point.kept_g_d <= point.bound_g_d + 1e-9 for point in effect.curve)
    assert max(kept) == kept[-1]
    assert sum(point.is_chosen for point in effect.curve) == 1
    assert all(case.kept_g_d <= case.bound_g_d + 1e-9 for case in effect.sensitivity)


def test_worth_map_covers_the_water_and_streamlines_reach_the_outlet() -> None:
    body, made = basin(), settings()
    load = benefit(body, made)
    edges = water_edges(body, load.fields, 3.0)
    around = Surroundings(body, load.fields, edges, made)
    shown = worth_map(around, load)
    assert sum(area.area for area in shown.areas) == pytest.approx(SIDE**2, rel=0.02)
    assert len(shown.streamlines) >= 8
    end = shapely.Point(SIDE, 20)
    reached = [line for line in shown.streamlines if line.distance(end) < 1.5]
    assert len(reached) >= len(shown.streamlines) / 2
    assert all(body.outline.buffer(0.5).covers(line) for line in shown.streamlines)


def test_existing_rafts_keep_load_back_before_any_is_planned() -> None:
    from geoplan.site import ExistingRaft

    body = basin(rafts=(ExistingRaft("old", shapely.box(18, 18, 24, 22)),))
    made = settings()
    load = benefit(body, made)
    edges = water_edges(body, load.fields, 3.0)
    around = Surroundings(body, load.fields, edges, made)
    placed = place_rafts(around, load)
    effect = effect_of(around, load, placed)
    assert effect.removed_g_d > placed.report.value > 0


@pytest.mark.parametrize(
    ("inflow", "flow_l_s", "assumed"),
    [
        (Inflow("a", shapely.Point(0, 20), 3.0, concentrations={"tn_mg_l": 2.0}), 3.0, False),
        # 5 ha, 700 mm, runoff 0.4: 14,000 m³ a year.
        (
            Inflow(
                "b", shapely.Point(0, 20), None, None, None, 5.0, 0.4, {"tn_mg_l": 2.0}
            ),
            14_000_000 / (365 * 86_400),
            True,
        ),
        # 1 L/s for each hectare of water, which is 0.16 ha.
        (Inflow("c", shapely.Point(0, 20)), 0.16, True),
    ],
)  # fmt: skip
def test_flow_is_measured_or_from_rain_or_assumed(
    inflow: Inflow, flow_l_s: float, assumed: bool
) -> None:
    flow = known_flows(basin(inflows=(inflow,)), settings())[0]
    assert flow.flow_m3_s == pytest.approx(flow_l_s / 1000.0, rel=1e-9)
    assert flow.is_assumed is assumed
    given = known_flows(basin(inflows=(inflow,)), settings(rain={"annual_mm": 700.0}))[0]
    assert given.is_assumed is (inflow.inflow_id == "c")


def test_without_an_outlet_places_are_ranked_and_the_plan_says_so() -> None:
    plan = plan_water(basin(outlets=()), settings())
    assert plan.effect is None
    assert any("no outlet" in note.found for note in plan.notes)
    assert all(raft.removal_g_d is None for raft in plan.rafts)
    assert "relative" in plan.report.unit


def test_an_inflow_in_a_pool_without_an_outlet_is_named() -> None:
    """A dyke with a gap of 0.1 m: on cells of half a metre the way is closed."""
    two = shapely.box(0, 0, SIDE, SIDE).difference(shapely.box(12, -1, 14, SIDE - 0.1))
    body = basin(outline=two)
    fields = site_fields(body, settings())
    flow, notes = hydraulics(body, settings(), fields)
    assert flow is None
    assert any("pool that no outlet drains" in note.found for note in notes)


def test_a_flow_of_zero_brings_nothing_and_two_at_one_place_are_named() -> None:
    none = Inflow("dry", shapely.Point(0, 10), 0.0)
    twin = Inflow("twin", shapely.Point(0, 20), 1.0, concentrations={"tn_mg_l": 4.0})
    body = basin(inflows=(*basin().inflows, none, twin))
    flow, notes = hydraulics(body, settings(), site_fields(body, settings()))
    assert flow is not None
    assert [part.inflow.inflow_id for part in flow.flows] == ["in", "twin"]
    assert flow.basin.outflow_m3_s.sum() == pytest.approx(0.004)
    found = " ".join(note.found for note in notes)
    assert "'dry' with flow_l_s 0" in found
    assert "'twin' at the same place" in found


def test_a_plan_from_what_weighing_left_is_the_same() -> None:
    body, made = basin(), settings()
    curve, ground = weighed(body, made)
    assert ground.bare is not None
    assert curve.kept.max() > 0
    left = unpacked(packed(ground))
    share = {"a": 2, "b": 1}
    with_it = plan_water(body, made, share, detail="brief", ground=left)
    without = plan_water(body, made, share, detail="brief")
    assert packed(with_it.rafts) == packed(without.rafts)
    assert with_it.report == without.report
    assert packed(with_it.effect) == packed(without.effect)


def test_what_enters_beside_an_outlet_is_left_out() -> None:
    """Four hundredths of a pond 40 m wide are 1.6 m: nearer than that nothing passes the rafts."""
    other = Inflow("far", shapely.Point(20, 0), 1.0, concentrations={"tn_mg_l": 4.0})
    for away, kept in ((0.0, ["far"]), (1.59, ["far"]), (1.61, ["in", "far"])):
        body = basin(
            inflows=(*basin().inflows, other),
            outlets=(Outlet("out", shapely.Point(0, 20 + away), 1.0),),
        )
        flow, notes = hydraulics(body, settings(), site_fields(body, settings()))
        assert flow is not None
        assert [part.inflow.inflow_id for part in flow.flows] == kept
        # Load and water are those of the inflows that are left: 4 mg/L in 1 L/s and in 3.
        litres = 1.0 if kept == ["far"] else 4.0
        assert flow.load_g_s.sum() == pytest.approx(litres * 0.004)
        assert flow.basin.outflow_m3_s.sum() == pytest.approx(litres * 0.001)
        assert any("from outlet 'out'" in note.found for note in notes) is (kept == ["far"])


def test_where_all_leaves_at_once_places_are_ranked_and_no_load_is_stated() -> None:
    body = basin(outlets=(Outlet("out", shapely.LineString([(0, 19), (0, 21)]), 2.0),))
    plan = plan_water(body, settings(), {"a": 1}, detail="brief")
    assert plan.effect is None
    assert plan.rafts
    assert any("0.0 m from outlet 'out'" in note.found for note in plan.notes)


def test_water_that_leaves_by_the_cell_that_it_enters_has_no_streamlines() -> None:
    body = basin(outlets=(Outlet("out", shapely.Point(0, 18.3), 1.0),))
    plan = plan_water(body, settings(grid={"cell_m": 4.0}), {"a": 1}, detail="brief")
    assert plan.worth_map is not None
    assert plan.worth_map.streamlines == ()


def test_where_what_flows_in_is_clean_no_raft_is_worth_anything() -> None:
    clean = Inflow("in", shapely.Point(0, 20), 3.0, concentrations={"tn_mg_l": 0.0})
    plan = plan_water(basin(inflows=(clean,)), settings(), {"a": 1})
    assert not plan.rafts
    assert plan.why_none.startswith("a raft would take out nothing: no TN gets there")
    assert plan.worth_map is not None
    assert plan.worth_map.steps == (0.0, 0.0)
    (whole,) = plan.worth_map.areas
    assert whole.area == pytest.approx(SIDE**2)


def test_no_room_is_claimed_for_a_raft_longer_than_the_water() -> None:
    """The longest line in a basin of 40 m is 57 m, clearances not counted."""
    long = {"name": "long", "length_m": 58, "width_m": 2, "draft_m": 0.2, "root_depth_m": 0.4}
    for stock in (0, 3):
        plan = plan_water(basin(), settings(raft=[long | {"stock": stock}]))
        assert not plan.rafts
        assert "there is room" not in plan.why_none
        assert "one raft is wanted" not in plan.why_none


def test_where_nobody_looked_for_more_room_none_is_denied() -> None:
    plan = plan_water(basin(), settings(), {"a": 0, "b": 0}, detail="brief")
    assert plan.why_none.startswith("there is room, but nothing is left for it of: stock of 'a'")
    assert "open room" not in plan.why_none
