"""The linear surface, against an independent interpolator and dense sampling."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import LinearNDInterpolator

from geoplan.water.triangulation import cell_borders, triangulated

CENTRE = np.arange(-9.5, 10.0, 1.0)


def random_surface(seed: int, count: int = 60):
    rng = np.random.default_rng(seed)
    place = np.concatenate(
        [rng.uniform(-10, 10, (count, 2)), [[-10, -10], [10, -10], [10, 10], [-10, 10]]]
    )
    bed = rng.normal(0, 1, len(place))
    surface = triangulated(place, bed)
    assert surface is not None
    return surface, LinearNDInterpolator(place, bed)


@given(st.integers(0, 10_000))
def test_values_agree_with_another_interpolator(seed: int) -> None:
    surface, other = random_surface(seed)
    value, triangle = surface.at(CENTRE, CENTRE)
    np.testing.assert_allclose(value, other(*np.meshgrid(CENTRE, CENTRE)), atol=1e-9)
    assert (triangle >= 0).all()
    place = np.random.default_rng(seed).uniform(-9.9, 9.9, (50, 2))
    np.testing.assert_allclose(surface.at_places(place), other(place), atol=1e-9)


@given(st.integers(0, 10_000))
def test_no_point_of_a_cell_is_above_its_highest(seed: int) -> None:
    surface, other = random_surface(seed)
    highest = surface.highest_in_cells(CENTRE, CENTRE)
    rng = np.random.default_rng(seed)
    for _ in range(20):
        east, north = rng.uniform(-0.5, 0.5, (2, len(CENTRE), len(CENTRE)))
        value = other(CENTRE[None, :] + east, CENTRE[:, None] + north)
        assert (value <= highest + 1e-9).all()


def test_the_highest_of_a_cell_is_reached_by_dense_sampling() -> None:
    surface, other = random_surface(5)
    highest = surface.highest_in_cells(CENTRE, CENTRE)
    fine = np.linspace(-0.5, 0.5, 101)
    for row, col in ((3, 4), (10, 10), (15, 2)):
        value = other(*np.meshgrid(CENTRE[col] + fine, CENTRE[row] + fine))
        assert value.max() == pytest.approx(highest[row, col], abs=0.05)


def test_a_vertex_on_the_border_raises_the_cells_on_both_sides() -> None:
    place = np.array([[0, 0], [4, 0], [4, 4], [0, 4], [2.0, 1.5]], float)
    surface = triangulated(place, np.array([0, 0, 0, 0, 5.0]))
    assert surface is not None
    centre = np.array([0.5, 1.5, 2.5, 3.5])
    highest = surface.highest_in_cells(centre, centre)
    assert highest[1, 1] == highest[1, 2] == 5.0


def test_outside_the_hull_the_nearest_vertex_counts() -> None:
    surface = triangulated(np.array([[0, 0], [1, 0], [0, 1.0]]), np.array([1.0, 2.0, 3.0]))
    assert surface is not None
    value, triangle = surface.at(np.array([-1.0, 2.0]), np.array([-1.0, 5.0]))
    assert value.tolist() == [[1.0, 2.0], [3.0, 3.0]]
    assert (triangle == -1).all()


@pytest.mark.parametrize("count", [0, 2, 5])
def test_too_few_points_or_points_on_a_line_make_no_surface(count: int) -> None:
    along = np.arange(count, dtype=float)
    assert triangulated(np.column_stack([along, 2 * along]), along) is None


@pytest.mark.parametrize("centre", [[1.0], [2.0, 1.0]])
def test_a_grid_of_one_cell_or_one_that_falls_is_refused(centre: list[float]) -> None:
    with pytest.raises(ValueError, match="two rows and columns"):
        cell_borders(np.array(centre))
