"""Free water, distances kept from its edge, and depths along a way."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from geoplan.grid import WaterGrid
from geoplan.launch.free_water import (
    SweptDepth,
    cell_squares,
    free_water,
    only_polygons,
    taken_back,
)


def random_cells(seed: int, size: int = 24) -> tuple[WaterGrid, np.ndarray]:
    rng = np.random.default_rng(seed)
    grid = WaterGrid(-7.5, 3.0, 0.75, np.ones((size, size), bool))
    return grid, rng.uniform(0, 2, (size, size))


def squares(grid: WaterGrid, cells: np.ndarray) -> np.ndarray:
    row, col = np.nonzero(cells)
    west = grid.west_m + col * grid.cell_size_m
    south = grid.south_m + row * grid.cell_size_m
    return shapely.box(west, south, west + grid.cell_size_m, south + grid.cell_size_m)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.0, 1.0))
def test_cells_cover_what_their_squares_cover(seed: int, share: float) -> None:
    grid, depth = random_cells(seed)
    cells = depth < 2 * share
    found = cell_squares(grid, cells)
    assert found.area == pytest.approx(cells.sum() * 0.75**2, abs=1e-9)
    assert shapely.covers(found, squares(grid, cells)).all()
    assert found.is_valid


def test_free_water_is_deep_enough_inside_the_edge_and_clear_of_rafts() -> None:
    grid = WaterGrid(0.0, 0.0, 1.0, np.ones((10, 20), bool))
    depth = np.where(np.arange(20) < 15, 1.0, 0.2) * np.ones((10, 1))
    edge, raft = shapely.box(0.5, 0, 20, 9), shapely.box(4, 4, 6, 5)
    found = free_water(grid, depth, 0.3, edge, [raft])
    assert found.area == pytest.approx(14.5 * 9 - 2)
    assert free_water(grid, depth, 1.5, edge).is_empty


def test_lines_and_points_are_left_out() -> None:
    mixed = shapely.GeometryCollection(
        [
            shapely.box(0, 0, 1, 1),
            shapely.LineString([(0, 0), (5, 5)]),
            shapely.MultiPolygon([shapely.box(2, 2, 3, 3)]),
            shapely.Point(9, 9),
        ]
    )
    assert only_polygons(mixed).area == 2.0
    assert only_polygons(shapely.Point(0, 0)).is_empty


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.3, 3.0), st.floats(0.01, 1.5))
def test_no_place_is_nearer_to_the_edge_than_asked(
    seed: int, distance_m: float, ragged_m: float
) -> None:
    """Ragged edges matter: GEOS drops small bends before it buffers."""
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    radius = 20 + rng.normal(0, ragged_m, 90)
    water = shapely.Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))
    water = water.buffer(0).difference(shapely.box(-4, -3, 3, 2))
    found = taken_back(water, distance_m)
    assert not found.is_empty
    assert shapely.distance(found, shapely.boundary(water)) >= distance_m
    # What is well clear of the edge is kept.
    clear = water.buffer(-distance_m * 1.02, quad_segs=64)
    assert shapely.area(shapely.difference(clear, found.buffer(1e-3))) < 1e-3


def test_no_distance_takes_nothing_away() -> None:
    water = shapely.box(0, 0, 5, 5)
    assert taken_back(water, 0.0).equals(water)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.2, 3.0))
def test_least_depth_equals_that_of_every_cell_within_the_strip(seed: int, half: float) -> None:
    grid, depth = random_cells(seed)
    rng = np.random.default_rng(seed)
    way = shapely.LineString(rng.uniform([-6, 4], [9, 19], (4, 2)))
    near = shapely.distance(squares(grid, grid.water), way) < half - 1e-6
    found = SweptDepth(grid, depth).least_m(way, half)
    assert found == pytest.approx(depth.ravel()[near].min(), abs=1e-12)


def test_a_way_of_no_length_has_the_depth_round_it() -> None:
    grid, depth = random_cells(3)
    swept = SweptDepth(grid, depth)
    point = shapely.Point(0.1, 10.1)
    still = shapely.LineString([point, point])
    near = shapely.distance(squares(grid, grid.water), point) < 1.2
    assert swept.least_m(point, 1.2) == depth.ravel()[near].min()
    assert swept.least_m(still, 1.2) == depth.ravel()[near].min()


def test_a_way_off_the_cells_has_no_depth() -> None:
    grid, depth = random_cells(3)
    way = shapely.LineString([(100, 100), (120, 100)])
    assert SweptDepth(grid, depth).least_m(way, 1.2) == 0.0
