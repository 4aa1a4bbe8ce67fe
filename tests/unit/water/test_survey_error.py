"""The uncertainty between soundings, from beds whose error is known."""

import numpy as np
import pytest

from geoplan.water.survey_error import LEAST_MISFIT_M, between_sigma_m, typical_misfit
from geoplan.water.triangulation import triangulated


def lattice(step_m: float, count: int = 15):
    at = np.arange(count) * step_m
    east, north = np.meshgrid(at - at.mean(), at - at.mean())
    return np.column_stack([east.ravel(), north.ravel()])


def surface_of(place, bed):
    surface = triangulated(place, bed)
    assert surface is not None
    return surface


def every(place):
    return np.ones(len(place), bool)


def test_a_plane_has_the_least_misfit() -> None:
    place = lattice(4.0)
    surface = surface_of(place, 3.0 + 0.2 * place[:, 0] - 0.1 * place[:, 1])
    inner = np.abs(place).max(axis=1) < 20
    misfit, distance = typical_misfit(surface, inner, 1.0)
    assert misfit == LEAST_MISFIT_M
    assert distance == pytest.approx(4.0)


def test_noise_shows_with_its_size_and_that_of_the_neighbours() -> None:
    """One sounding against the weighted mean of up to three."""
    place = lattice(2.0, 40)
    noise = np.random.default_rng(3).normal(0, 0.2, len(place))
    misfit, _ = typical_misfit(surface_of(place, noise), every(place), 0.5)
    assert 0.2 * np.sqrt(1 + 1 / 3) * 0.85 < misfit < 0.2 * np.sqrt(2) * 1.15


def test_a_few_gross_errors_do_not_carry_the_misfit() -> None:
    place = lattice(2.0, 40)
    bed = np.random.default_rng(4).normal(0, 0.1, len(place))
    clean, _ = typical_misfit(surface_of(place, bed), every(place), 0.5)
    bed[::200] += 50.0
    spoilt, _ = typical_misfit(surface_of(place, bed), every(place), 0.5)
    assert spoilt < 2 * clean


def test_close_points_along_a_track_do_not_pass_for_a_close_survey() -> None:
    """Ripples of 12 m: small from one sounding to the next, not in a gap."""
    east, north = np.meshgrid(np.arange(0, 120, 10.0), np.arange(0, 120, 1.0))
    place = np.column_stack([east.ravel(), north.ravel()])
    bed = 0.3 * np.sin(2 * np.pi * (place[:, 0] + place[:, 1]) / 12)
    surface = surface_of(place, bed)
    along, at_along = typical_misfit(surface, every(place), 0.5)
    across, at_across = typical_misfit(surface, every(place), 4.0)
    assert at_along == pytest.approx(1.0)
    assert at_across >= 4.0
    assert along < 0.06
    assert across > 0.2


def test_soundings_left_out_together_do_not_spoil_each_others_gap() -> None:
    """The distance to the nearest that is kept is the radius, not more than one step beyond."""
    place = np.random.default_rng(5).uniform(0, 60, (900, 2))
    surface = surface_of(place, np.zeros(len(place)))
    for radius_m in (1.0, 3.0, 6.0):
        _, distance = typical_misfit(surface, every(place), radius_m)
        assert radius_m <= distance < radius_m + 2.0


def test_uncertainty_grows_with_the_distance_to_the_nearest_point() -> None:
    place = lattice(4.0)
    surface = surface_of(place, np.random.default_rng(6).normal(0, 0.3, len(place)))
    at = np.random.default_rng(7).uniform(-20, 20, (500, 2))
    sigma = between_sigma_m(surface, every(place), ~every(place), at, np.zeros(500, np.int64))
    near = place[np.abs(place).max(axis=1) <= 20]
    distance = np.hypot(*(at[:, None] - near[None]).transpose(2, 0, 1)).min(axis=1)
    assert (np.diff(sigma[np.argsort(distance)]) >= -1e-12).all()
    assert sigma[np.argmin(distance)] < 0.5 * sigma.max()


def test_between_contours_the_bed_is_uniform() -> None:
    """Range over the root of twelve; a triangle on one contour gets one interval."""
    place = np.array([[0, 0], [0, 5], [10, 0], [10, 5], [20, 0], [20, 5]], float)
    surface = surface_of(place, np.array([0, 0, -1, -1, -2, -2], float))
    contour = np.ones(6, bool)
    sigma = between_sigma_m(
        surface, ~contour, contour, np.array([[5.0, 2.5]]), np.zeros(1, np.int64)
    )
    assert sigma[0] == pytest.approx(1 / np.sqrt(12))
    flat = surface_of(place, np.array([0, 0, 0, 0, -2, -2], float))
    triangle = np.flatnonzero((flat.bed_m[flat.triangles] == 0).all(axis=1))[:1]
    sigma = between_sigma_m(flat, ~contour, contour, np.array([[5.0, 2.5]]), triangle)
    assert sigma[0] == pytest.approx(2 / np.sqrt(12))


def test_where_nothing_is_left_the_misfit_is_the_range_of_the_points() -> None:
    surface = surface_of(np.array([[0, 0], [1, 0], [0, 1.0]]), np.array([0.0, -1.0, -3.0]))
    misfit, _ = typical_misfit(surface, np.ones(3, bool), 5.0)
    assert misfit == pytest.approx(3.0 / np.sqrt(12))
