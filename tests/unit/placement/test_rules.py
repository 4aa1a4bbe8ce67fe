"""Each rule takes away what it says, by hand arithmetic on a square pond with a flat bed."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from geoplan.grid import SiteFields, water_grid
from geoplan.placement.allowed import Surroundings, allowed_region, grown
from geoplan.placement.measure import least_under
from geoplan.placement.place import place_rafts
from geoplan.placement.rules import LIMIT_RULES, REGION_RULES, RULES, InflowJet
from geoplan.plan import WaterEdge
from geoplan.settings import Settings
from geoplan.site import (
    ExistingRaft,
    Inflow,
    KeepClear,
    Levels,
    Outlet,
    Soundings,
    WaterBody,
)

SIDE = 40.0
BASE = {
    "name": "Square",
    "levels": {"low_m": 9.5, "normal_m": 10.0, "high_m": 10.5},
    "raft": [
        {"name": "a", "length_m": 4, "width_m": 2, "draft_m": 0.2, "root_depth_m": 0.8, "stock": 9}
    ],
}


def around(bed_m: float = 7.0, shallow_cols: int = 0, **parts: object) -> Surroundings:
    settings = Settings.model_validate(BASE | parts.pop("settings", {}))  # type: ignore[operator]
    square = shapely.box(0, 0, SIDE, SIDE)
    none = np.zeros(0)
    body = WaterBody(
        "w",
        "",
        "+proj=tmerc +lat_0=56 +lon_0=9 +k=1 +ellps=WGS84 +units=m",
        square,
        10.0,
        Levels(9.5, 10.0, 10.5),
        20.0,
        Soundings(none, none, none, none),
    )
    body = replace(body, **parts)  # type: ignore[arg-type]
    grid = water_grid(square, 0.5)
    bed = np.where(grid.water, bed_m, np.nan)
    bed[:, 4 : 4 + shallow_cols] = 9.0
    fields = SiteFields(
        grid, bed, bed * 0 + 0.05, bed, np.zeros(grid.shape, bool), np.ones(grid.shape)
    )
    edges = tuple(
        WaterEdge(name, level, shapely.multipolygons([square]), SIDE**2, SIDE**2 * (level - bed_m))
        for name, level in body.levels.named()
    )
    return Surroundings(body, fields, edges, settings)


def left_m2(about: Surroundings, name: str) -> float:
    rules = [rule for rule in REGION_RULES if rule.name == name]
    return float(allowed_region(about, about.settings.raft[0], rules).region.area)


def test_every_rule_has_its_own_name() -> None:
    names = [rule.name for rule in RULES]
    assert len(set(names)) == len(names) == len(REGION_RULES) + 1 + len(LIMIT_RULES)


def test_bank_leaves_the_square_less_a_border() -> None:
    # Two metres, and 0.1 m because the low edge is a contour of the bed.
    assert left_m2(around(), "bank") == pytest.approx((SIDE - 4.2) ** 2, rel=4e-3)
    assert left_m2(around(), "bank") < (SIDE - 4.0) ** 2


def test_depth_takes_away_whole_cells_that_are_too_shallow() -> None:
    # Need: 0.2 + 0.8 + 0.05 + 0.3 = 1.35 m; at 9.5 m the bed at 9.0 m leaves half a metre.
    assert left_m2(around(shallow_cols=10), "depth") == pytest.approx(SIDE * (SIDE - 5.0))
    assert left_m2(around(bed_m=9.5 - 1.349), "depth") == 0.0
    assert left_m2(around(bed_m=9.5 - 1.351), "depth") == pytest.approx(SIDE**2)


def test_outlet_keeps_three_widths() -> None:
    outlet = Outlet("o", shapely.Point(0, 0), width_m=3.0)
    taken = SIDE**2 - left_m2(around(outlets=(outlet,)), "outlet")
    assert taken == pytest.approx(math.pi * 81 / 4, rel=3e-2)
    assert taken > math.pi * 81 / 4


def test_keep_clear_takes_its_own_distance() -> None:
    line = KeepClear(shapely.LineString([(20, -5), (20, 45)]), 2.0, "main")
    taken = SIDE**2 - left_m2(around(keep_clear=(line,)), "keep_clear")
    assert taken == pytest.approx(SIDE * 4.0, rel=2e-2)


def test_gap_keeps_from_rafts_that_are_there() -> None:
    there = ExistingRaft("x", shapely.box(10, 10, 14, 12))
    taken = SIDE**2 - left_m2(around(rafts=(there,)), "gap")
    assert taken == pytest.approx(4 * 2 + 2 * 6 * 1.0 + math.pi, rel=2e-2)


def test_inflow_without_pipe_keeps_the_distance_asked() -> None:
    rule = InflowJet()
    about = around(settings={"clearances": {"inflow_m": 3.0}})
    assert rule.standoff_m(about, Inflow("i", shapely.Point(0, 0), 5.0)) == 3.0


def test_inflow_keeps_out_of_the_round_jet() -> None:
    # Check C6: U0 2 m/s from a pipe of 0.6 m falls to 0.3 m/s at 24.8 m (Albertson et al. 1950);
    # in deep water the round jet is the longer one, and the rule adds 15 %.
    about = around(bed_m=-20.0)
    flow_l_s = 2.0 * math.pi * 0.3**2 * 1000
    inflow = Inflow("i", shapely.Point(0, 0), 1.0, flow_l_s, 0.6)
    assert InflowJet().standoff_m(about, inflow) == pytest.approx(24.8 * 1.15, rel=1e-3)


def test_a_grown_shape_is_never_short_of_the_true_offset() -> None:
    shape = grown(shapely.Point(0, 0), 3.0)
    angle = np.linspace(0, 2 * np.pi, 1001)
    circle = shapely.points(2.999999 * np.cos(angle), 2.999999 * np.sin(angle))
    assert shapely.covers(shape, circle).all()


def test_least_depth_counts_every_cell_touched() -> None:
    grid = water_grid(shapely.box(0, 0, 10, 10), 0.5)
    depth = np.where(grid.water, 2.0, 0.0)
    depth[14, 14] = 0.7  # the cell whose west edge lies at 5.0 m
    under = least_under(grid, depth, [shapely.box(2, 2, 5.01, 7), shapely.box(2, 2, 4.99, 7)])
    assert under.tolist() == [0.7, 2.0]


def test_stock_cover_and_budget_each_bind() -> None:
    nine = place_rafts(around())
    assert len(nine.rafts) == 9  # the stock
    cover = around(settings={"cover": {"max_pct": 3.0}})
    capped = place_rafts(replace(cover, body=replace(cover.body, max_cover_pct=3.0)))
    assert len(capped.rafts) == 5  # floor(0.03 · 1600 / 8 − a hair): 48 m² hold 6 of 8 m², less one
    poor = place_rafts(
        around(settings={"budget": {"limit": 100.0}, "raft": [BASE["raft"][0] | {"cost": 40.0}]})
    )  # type: ignore[index,operator]
    assert len(poor.rafts) == 2


def test_words_say_why_nothing_fits() -> None:
    nothing = place_rafts(around(bed_m=9.4))
    assert not nothing.rafts
    assert "depth" in nothing.why_none
    assert "1.35 m" in nothing.why_none
    empty = place_rafts(around(), None, {"a": 0})
    assert "stock" in empty.why_none
