"""In-water distance, against straight lines, exact paths and laws of distances."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geoplan.water.distance import distance_field


def test_open_water_has_straight_distances() -> None:
    water = np.ones((80, 120), bool)
    row, col = np.mgrid[0:80, 0:120]
    distance = distance_field(water, 0.5, 10.3, 20.6)
    exact = 0.5 * np.hypot(row - 10.3, col - 20.6)
    np.testing.assert_allclose(distance, exact, rtol=5e-3)
    assert (distance >= exact - 1e-12).all()


def test_land_and_pools_apart_are_out_of_reach() -> None:
    water = np.ones((10, 11), bool)
    water[:, 5] = False
    distance = distance_field(water, 1.0, 2.0, 2.0)
    assert np.isinf(distance[:, 5:]).all()
    assert np.isfinite(distance[:, :5]).all()


def test_where_there_is_no_water_nothing_is_in_reach() -> None:
    assert np.isinf(distance_field(np.zeros((2, 3), bool), 1.0, 0.0, 0.0)).all()


def test_no_way_leads_between_two_cells_that_touch_at_a_corner() -> None:
    distance = distance_field(np.array([[True, False], [False, True]]), 1.0, 0.0, 0.0)
    assert distance.tolist() == [[0.0, np.inf], [np.inf, np.inf]]


def test_a_source_on_land_begins_at_the_nearest_water() -> None:
    water = np.ones((40, 40), bool)
    water[:, :10] = False
    distance = distance_field(water, 2.0, 20.0, 7.0)
    assert distance[20, 10] == pytest.approx(6.0)
    assert distance[20, 30] == pytest.approx(46.0, rel=1e-9)


def test_round_two_sides_of_a_square_the_way_is_the_path_over_its_corners() -> None:
    """A square of 6 m between two places 20 m apart: 2 √58 + 6."""
    cell_m = 0.1
    at = np.arange(-15, 15, cell_m) + cell_m / 2
    east, north = np.meshgrid(at, at)
    water = (np.abs(east) > 3) | (np.abs(north) > 3)
    place = (0 + 15) / cell_m - 0.5, (-10 + 15) / cell_m - 0.5
    distance = distance_field(water, cell_m, *place)
    to = distance[149:151, 249:251].mean()
    assert to == pytest.approx(2 * np.sqrt(58) + 6, rel=0.005)


@settings(max_examples=20)
@given(st.integers(0, 10_000))
def test_distances_obey_the_laws_of_distances(seed: int) -> None:
    """
    Never below the straight line; the same there and back; no shorter by way of a third.

    Round islands of three cells a grid is good to most of a cell.
    """
    rng = np.random.default_rng(seed)
    water = np.ones((40, 40), bool)
    for row, col in rng.integers(4, 32, (4, 2)):
        water[row : row + 6, col : col + 3] = False
    a, b, c = rng.permutation(np.argwhere(water))[:3]
    from_a, from_b = (distance_field(water, 1.0, *map(float, place)) for place in (a, b))
    assert from_a[tuple(b)] >= np.hypot(*(a - b)) - 1e-12
    assert from_a[tuple(b)] == pytest.approx(from_b[tuple(a)], rel=0.03, abs=0.75)
    assert from_a[tuple(c)] <= (from_a[tuple(b)] + from_b[tuple(c)]) * 1.03 + 0.75


def test_neighbours_differ_by_a_cell_at_most() -> None:
    water = np.ones((50, 50), bool)
    water[20:30, 10:40] = False
    distance = distance_field(water, 1.0, 10.0, 25.0)
    for axis in (0, 1):
        step = np.diff(np.where(water, distance, np.nan), axis=axis)
        assert np.nanmax(np.abs(step)) <= 1.0 + 1e-9


@pytest.mark.parametrize(
    ("cell_m", "row", "words"), [(0.0, 0.0, "cell_size_m"), (1.0, np.nan, "finite place")]
)
def test_arguments_that_make_no_sense_are_refused(cell_m, row, words) -> None:
    with pytest.raises(ValueError, match=words):
        distance_field(np.ones((2, 2), bool), cell_m, row, 0.0)
