"""Rafts held to a direction: closed forms on a square pond, a channel and a corridor."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from geoplan.grid import water_grid
from geoplan.headings import headings_of, with_headings
from geoplan.placement.allowed import AllowedRegion, Surroundings
from geoplan.placement.heading_room import out_of_reach
from geoplan.placement.headings import Headings, along_bank, along_flow, along_wind
from geoplan.placement.held import held_faults
from geoplan.placement.improve import water_of
from geoplan.placement.place import place_rafts
from geoplan.placement.pose_kernels import may_head
from geoplan.placement.rules import REGION_RULES
from geoplan.placement.why_not import why_not
from geoplan.placement.worth import WorthSurface
from geoplan.placement.yielding import rule_yields
from geoplan.raft import RaftType, footprints
from geoplan.reasons import HeldRaft
from geoplan.site import Inflow, Outlet
from tests.unit.placement.test_rules import SIDE, around

RAFT = RaftType(name="a", length_m=4.0, width_m=2.0, draft_m=0.2)
#: Three metres wide and twenty long, east to west.
CORRIDOR = shapely.multipolygons([shapely.box(5, 10, 25, 13)])


def held(along: str, tolerance_deg: float, **parts: object) -> Surroundings:
    heading = {"along": along, "tolerance_deg": tolerance_deg}
    tables = {"heading": heading, "wind": {"from_deg": 210.0}}
    return with_headings(around(settings=tables, **parts))[0]


def off_deg(heading: np.ndarray, way: np.ndarray) -> np.ndarray:
    """Angle between axes, by their cosine."""
    return np.degrees(np.arccos(np.minimum(np.abs(np.cos(np.radians(heading - way))), 1.0)))


def test_rafts_lie_along_the_wind() -> None:
    (poses,) = place_rafts(held("wind", 8.0)).poses
    assert len(poses) == 9  # the whole stock
    assert off_deg(poses.heading_deg, 210.0).max() <= 8.0


def test_rafts_lie_along_the_nearest_bank_of_a_square() -> None:
    (poses,) = place_rafts(held("bank", 6.0)).poses
    assert len(poses) == 9
    x, y = poses.easting_m, poses.northing_m
    way = np.where(np.minimum(x, SIDE - x) < np.minimum(y, SIDE - y), 0.0, 90.0)
    assert off_deg(poses.heading_deg, way).max() <= 6.0


def test_no_heading_is_allowed_where_two_banks_are_as_near() -> None:
    grid = water_grid(shapely.box(0, 0, SIDE, SIDE), 0.5)
    heads = along_bank(grid, shapely.box(0, 0, SIDE, SIDE), 20.0)
    diagonal = np.array([10.25])
    turns = np.arange(0.0, 180.0, 5.0)
    many = np.full(len(turns), diagonal[0])
    assert not heads.allows(RAFT, many, many, turns).any()
    assert heads.allows(RAFT, diagonal, diagonal + 5.0, np.array([0.0])).all()


def test_rafts_lie_along_the_flow_on_the_axis_of_a_pond() -> None:
    # By symmetry the water on the line from inflow to outlet runs along it, due east.
    about = held(
        "flow",
        5.0,
        inflows=(Inflow("i", shapely.Point(0, 20), 10.0),),
        outlets=(Outlet("o", shapely.Point(SIDE, 20), width_m=1.0),),
    )
    heads = about.headings
    assert heads is not None
    # The cells of inflow and outlet lie a quarter of a metre off that line.
    easting = np.arange(8.25, 32.0, 2.0)
    row = np.full(len(easting), 20.0)
    assert heads.allows(RAFT, easting, row + 0.01, np.full(len(easting), 90.0)).all()
    assert not heads.allows(RAFT, easting, row + 0.01, np.full(len(easting), 100.0)).any()
    (poses,) = place_rafts(about).poses
    assert len(poses) == 9
    assert heads.allows(RAFT, poses.easting_m, poses.northing_m, poses.heading_deg).all()


def test_still_water_holds_no_heading() -> None:
    grid = water_grid(shapely.box(0, 0, 20, 20), 0.5)
    east = np.where(grid.easting_m < 10, 1.0, 0.01) * np.ones(grid.shape)
    heads = along_flow(grid, [(east, 0 * east)], 0.1, 10.0, 4.0)
    across = np.array([0.0])
    assert not heads.allows(RAFT, np.array([5.0]), np.array([10.0]), across).any()
    assert heads.allows(RAFT, np.array([17.0]), np.array([10.0]), across).all()


@pytest.mark.parametrize("apart_deg", [0.0, 16.0, 30.0, 44.0, 70.0])
def test_flows_that_part_narrow_the_band(apart_deg: float) -> None:
    """Each lies half of it off the middle, and what that is above 10° is taken off the band."""
    grid = water_grid(shapely.box(0, 0, 20, 20), 0.5)
    ones = np.ones(grid.shape)
    half = np.radians(apart_deg / 2)
    flows = [(np.cos(turn) * ones, np.sin(turn) * ones) for turn in (half, -half)]
    heads = along_flow(grid, flows, 0.1, 15.0, 4.0)
    assert heads.middle_deg[20, 20] == pytest.approx(90.0)
    assert heads.half_deg[20, 20] == pytest.approx(15.0 - max(apart_deg / 2 - 10.0, 0.0), abs=1e-6)
    # The farther of the two may then be off by no more than the band and 10°.
    assert heads.half_deg[20, 20] + apart_deg / 2 <= 25.0 + 1e-6


def test_flow_that_is_not_known_is_said() -> None:
    about = around(settings={"heading": {"along": "flow"}})
    heads, notes = headings_of(about.body, about.settings, about.fields)
    assert heads is None
    assert "not known to flow" in notes[0].found


def test_wind_without_a_direction_is_refused() -> None:
    with pytest.raises(ValueError, match="from_deg"):
        around(settings={"heading": {"along": "wind"}})


def test_compiled_search_and_headings_agree() -> None:
    rng = np.random.default_rng(4)
    grid = water_grid(shapely.box(0, 0, 30, 30), 0.5)
    for kind in (RAFT, RAFT.model_copy(update={"width_m": 4.0})):
        middle, half = rng.uniform(0, 180, grid.shape), rng.uniform(-5, 95, grid.shape)
        heads = Headings("", 0.0, grid.west_m, grid.south_m, 0.5, middle, half)
        region = AllowedRegion(kind, shapely.multipolygons([shapely.box(0, 0, 30, 30)]), (), heads)
        water = water_of([WorthSurface.on(grid, np.ones(grid.shape))], [region])
        x, y, turn = rng.uniform(0, 30, 500), rng.uniform(0, 30, 500), rng.uniform(-7, 7, 500)
        compiled = [may_head(water, 0, pose) for pose in zip(x, y, turn, strict=True)]
        assert compiled == heads.allows(kind, x, y, 90.0 - np.degrees(turn)).tolist()
        assert 100 < sum(compiled) < 450


@pytest.mark.parametrize(("from_deg", "share"), [(90.0, 0.0), (0.0, 1.0)])
def test_a_corridor_holds_rafts_along_it_alone(from_deg: float, share: float) -> None:
    grid = water_grid(shapely.box(0, 0, 30, 30), 0.25)
    region = AllowedRegion(RAFT, CORRIDOR, (), along_wind(grid, from_deg, 2.0))
    left = shapely.intersection(out_of_reach(region, grid), CORRIDOR).area
    assert left == pytest.approx(share * CORRIDOR.area, abs=0.03 * CORRIDOR.area)


def test_tolerance_that_would_let_a_raft_fit_is_that_of_a_turned_rectangle() -> None:
    # Turned by φ a raft of 4 by 2 m is 4 sin φ + 2 cos φ wide: 3 m at 15.57°, so that it must turn
    # by 74.43° from a wind along the short way; 2° less half a degree of room are allowed.
    about = around(settings={"heading": {"along": "wind"}, "wind": {"from_deg": 0.0}})
    heads = along_wind(about.fields.grid, 0.0, 2.0)
    region = AllowedRegion(about.settings.raft[0], CORRIDOR, (), heads)
    (found,) = rule_yields(replace(about, headings=heads), [region], ())
    assert found.rule == "heading"
    least = 90.0 - (math.degrees(math.asin(3 / math.sqrt(20))) - math.degrees(math.atan(0.5))) - 1.5
    # The search turns its frames by 7.5°.
    assert least <= found.amount <= least + 8.5


def test_why_not_names_the_heading_where_no_raft_fits_that_way() -> None:
    about = held("wind", 2.0)
    kind = about.settings.raft[0]
    forbidden = tuple(rule.forbidden(about, kind) for rule in REGION_RULES)
    region = AllowedRegion(kind, CORRIDOR, (), about.headings, forbidden)
    parts = {part.rule: part for part in why_not(about, [region], (), ())}
    assert parts["heading"].area.area == pytest.approx(CORRIDOR.area, abs=0.5)
    assert "along the wind" in parts["heading"].words


def test_a_held_raft_that_lies_across_is_refused_with_the_angle() -> None:
    about = held("wind", 10.0)
    outline = footprints([20.0], [20.0], [100.0], [4.0], [2.0])[0]
    raft = HeldRaft("mine.geojson, row 1", "w", "a", 20.0, 20.0, 100.0, outline)
    (fault,) = held_faults(replace(about, held=(raft,)))
    # 70° off the wind, 10° allowed less half a degree of room.
    assert "60.5 degrees too far from the wind" in fault.found
