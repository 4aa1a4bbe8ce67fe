"""In-water distance from the outline itself: narrows, thin land and inflows on the bank."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon, box

from geoplan.grid import WaterGrid, water_grid
from geoplan.narrows import distance_from_m, narrows_note, way_grid
from geoplan.site import FloatArray
from tests.published.test_distance_grid import round_a_circle

POND = box(0, 0, 60, 40)


def distances(outline: Polygon, point: Point, cell_m: float = 0.5) -> tuple[WaterGrid, FloatArray]:
    grid = water_grid(outline, cell_m)
    return grid, distance_from_m(way_grid(outline, grid), outline, point)


def at(grid: WaterGrid, distance: FloatArray, east: float, north: float) -> float:
    row = int((north - grid.south_m) / grid.cell_size_m)
    return float(distance[row, int((east - grid.west_m) / grid.cell_size_m)])


@pytest.mark.parametrize("thickness", [0.02, 0.1, 0.4])
def test_no_way_leads_across_a_causeway_thinner_than_a_cell(thickness: float) -> None:
    """Its tip lies at 35 m: the way leads round it."""
    cut = POND.difference(box(30.1, -1, 30.1 + thickness, 35))
    grid, distance = distances(cut, Point(20, 0))
    by_tip = np.hypot(10.1, 35) + thickness + np.hypot(40.25 - 30.1 - thickness, 34.75)
    assert by_tip * 0.999 < at(grid, distance, 40.25, 0.25) < by_tip * 1.025


def test_no_way_leads_across_a_slanting_causeway() -> None:
    cut = POND.difference(LineString([(20, -5), (45, 35)]).buffer(0.03, cap_style="flat"))
    grid, distance = distances(cut, Point(10, 0))
    by_tip = np.hypot(35, 35) + np.hypot(45 - 40.25, 35 - 0.25)
    assert by_tip * 0.999 < at(grid, distance, 40.25, 0.25) < by_tip * 1.025


@pytest.mark.parametrize(("east", "near", "far"), [(30.1, 29.75, 30.75), (30.2, 30.75, 29.75)])
def test_an_inflow_on_a_causeway_flows_to_its_own_side(
    east: float, near: float, far: float
) -> None:
    cut = POND.difference(box(30.1, -1, 30.2, 35))
    grid, distance = distances(cut, Point(east, 20.0))
    assert at(grid, distance, near, 20.25) < 1.2
    assert at(grid, distance, far, 20.25) > 30.0


def test_a_way_leads_through_a_narrows_of_less_than_a_cell() -> None:
    two = shapely.union_all([box(0, 0, 30, 40), box(30.3, 0, 60, 40), box(29, 20.3, 31, 20.5)])
    coarse = water_grid(two, 0.5)
    ways = way_grid(two, coarse)
    assert (ways.split, ways.lost) == (3, ())
    grid, distance = distances(two, Point(10, 20.4))
    assert at(grid, distance, 50.25, 20.25) == pytest.approx(40.25, rel=0.005)
    assert narrows_note(ways, "pond") == ()


def test_a_way_leads_between_an_island_and_a_bank_nearer_than_a_cell() -> None:
    """North of the island the water is closed by a wall, so only the narrows leads east."""
    walled = POND.difference(box(20, 0.2, 40, 30)).difference(box(29.9, 29, 30.1, 41))
    outline = shapely.union_all([walled, box(0, -0.2, 60, 0.2)])
    grid, distance = distances(outline, Point(5, 0))
    assert at(grid, distance, 55.25, 0.25) == pytest.approx(50.25, rel=0.005)


def test_narrows_that_no_allowed_grid_shows_are_said() -> None:
    two = shapely.union_all(
        [box(0, 0, 300, 400), box(300.3, 0, 600, 400), box(299, 20.31, 301, 20.32)]
    )
    ways = way_grid(two, water_grid(two, 0.5))
    (note,) = narrows_note(ways, "lake")
    assert "narrows" in note.found
    assert ways.grid.water.size <= 2_000_000


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000))
def test_without_thin_land_the_ways_are_those_of_the_cells(seed: int) -> None:
    """Distances from the outline are never below the straight line, and reach all of a pond."""
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    away = 25 + 6 * np.cos(2 * angle + rng.uniform(0, 6))
    pond = Polygon(np.column_stack([away * np.sin(angle), away * np.cos(angle)]))
    bank = pond.exterior.interpolate(rng.uniform(), normalized=True)
    grid, distance = distances(pond, bank)
    east, north = np.meshgrid(grid.easting_m, grid.northing_m)
    straight = np.hypot(east - bank.x, north - bank.y)
    assert np.isfinite(distance[grid.water]).all()
    assert (distance >= straight - 1e-9)[grid.water].all()
    assert np.isinf(distance[~grid.water]).all()


def test_accuracy_round_an_island_at_half_a_metre() -> None:
    """Mean within 0.3 % and largest within 2.5 % of tangents and arc."""
    island = Point(0, 0).buffer(30, quad_segs=64)
    outline = box(-100, -100, 100, 100).difference(island)
    grid, distance = distances(outline, Point(-70.3, -55.1))
    east, north = np.meshgrid(grid.easting_m, grid.northing_m)
    exact = round_a_circle((-70.3, -55.1), east, north, 30.0)
    error = (distance / exact - 1)[grid.water & (exact > 5)]
    assert np.abs(error).mean() < 0.003
    assert np.abs(error).max() < 0.025
