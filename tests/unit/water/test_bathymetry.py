"""The bed from points and rasters: what is relied on errs to the shoal side."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geoplan.water.bathymetry import (
    RELIABLE_SIGMAS,
    BedPoints,
    bed_from_points,
    bed_from_raster,
    s44_tvu_m,
)
from tests.unit.water.bowls import (
    RADIUS_M,
    circle,
    grid,
    lines,
    no_points,
    paraboloid,
    points,
    shore,
)

CENTRE, WATER, EAST, NORTH = grid()


def sounded(seed: int, sigma_m: float = 0.05, reach_m: float | None = None):
    """The paraboloid with noisy soundings along lines."""
    place = lines()
    noise = np.random.default_rng(seed).normal(0, sigma_m, len(place))
    soundings = points(place, paraboloid(*place.T) + noise, sigma_m)
    return soundings, bed_from_points(CENTRE, CENTRE, WATER, soundings, shore(), reach_m)


def test_a_bowl_is_found_within_its_noise_and_the_chord_of_its_triangles() -> None:
    _, surface = sounded(1)
    error = (surface.bed_m - paraboloid(EAST, NORTH))[WATER]
    assert np.sqrt((error**2).mean()) < 0.06
    assert np.isnan(surface.bed_m[~WATER]).all()
    assert not surface.is_unsurveyed[~WATER].any()


def test_the_bed_relied_on_holds_in_close_to_99_of_100_cells() -> None:
    """
    The true bed at its highest in the cell, on a rough bottom, five surveys.

    Of a cell on the shore its water counts: what lies beyond the outline is land above the level.
    """
    rng = np.random.default_rng(7)
    wave = rng.normal(0, 2 * np.pi / 12, (80, 2))
    phase = rng.uniform(0, 2 * np.pi, 80)

    def bed(east, north):
        rough = sum(
            np.cos(k[0] * east + k[1] * north + p) for k, p in zip(wave, phase, strict=True)
        )
        edge = np.clip((RADIUS_M - np.hypot(east, north)) / 4, 0, 1)
        return paraboloid(east, north) + 0.15 * np.sqrt(2 / 80) * rough * edge

    at = (-0.5, 0.0, 0.5)
    places = [(EAST + i, NORTH + k) for i in at for k in at]
    wet = [np.hypot(*place) < RADIUS_M for place in places]
    true = np.max(
        [np.where(w, bed(*place), -np.inf) for w, place in zip(wet, places, strict=True)], axis=0
    )
    held = []
    for seed in range(5):
        place = lines()
        noise = np.random.default_rng(seed).normal(0, 0.05, len(place))
        soundings = points(place, bed(*place.T) + noise)
        surface = bed_from_points(CENTRE, CENTRE, WATER, soundings, shore(), None)
        known = WATER & ~surface.is_unsurveyed
        held.append((surface.reliable_bed_m >= true)[known].mean())
    assert np.mean(held) >= 0.985


@settings(max_examples=25)
@given(st.integers(0, 10_000), st.integers(1, 60), st.booleans())
def test_reliable_depth_is_below_the_mean_and_the_deepest_sounding(
    seed: int, count: int, is_far: bool
) -> None:
    rng = np.random.default_rng(seed)
    place = rng.uniform(-RADIUS_M, RADIUS_M, (count, 2))
    bed = rng.uniform(-4, 0.2, count)
    surface = bed_from_points(
        CENTRE, CENTRE, WATER, points(place, bed), shore(), 12.0 if is_far else None
    )
    known = WATER & ~surface.is_unsurveyed
    assert (surface.reliable_bed_m >= surface.bed_m)[known].all()
    assert np.isnan(surface.reliable_bed_m[~known]).all()
    for row, col in np.argwhere(known)[:: max(1, known.sum() // 40)]:
        away = np.hypot(place[:, 0] - CENTRE[col], place[:, 1] - CENTRE[row])
        assert surface.reliable_bed_m[row, col] >= bed[away <= surface.reach_m].min()


@settings(max_examples=25)
@given(st.integers(0, 10_000))
def test_a_shoal_sounding_wins_in_its_cell_and_those_round_it(seed: int) -> None:
    rng = np.random.default_rng(seed)
    place = lines()
    bed = paraboloid(*place.T)
    stump = int(rng.integers(len(place)))
    bed[stump] = -0.1
    surface = bed_from_points(CENTRE, CENTRE, WATER, points(place, bed, 0.0), shore(), 100.0)
    col, row = np.floor(place[stump] - CENTRE[0] + 0.5).astype(int)
    around = surface.reliable_bed_m[row - 1 : row + 2, col - 1 : col + 2]
    assert (around[~np.isnan(around)] >= -0.1).all()


def test_an_inlet_without_soundings_is_unsurveyed_and_has_no_depth() -> None:
    place = lines()
    place = place[place[:, 0] < 0]
    soundings = points(place, paraboloid(*place.T))
    surface = bed_from_points(CENTRE, CENTRE, WATER, soundings, shore(), None)
    far = WATER & (surface.reach_m + 0.1 < EAST)
    assert far.any()
    assert surface.is_unsurveyed[far].all()
    assert np.isnan(surface.reliable_bed_m[far]).all()


def test_the_reach_is_three_times_the_median_distance_to_a_sounding() -> None:
    soundings, surface = sounded(1)
    away = np.hypot(
        EAST[WATER][:, None] - soundings.easting_m, NORTH[WATER][:, None] - soundings.northing_m
    ).min(axis=1)
    assert surface.reach_m == pytest.approx(3 * np.median(away))
    assert (surface.is_unsurveyed[WATER] == (away > surface.reach_m)).all()


def test_without_points_the_water_has_no_depth_anywhere() -> None:
    surface = bed_from_points(CENTRE, CENTRE, WATER, no_points(), shore(12.0), None)
    assert (surface.bed_m[WATER] == 12.0).all()
    assert (surface.sigma_m[WATER] == np.inf).all()
    assert (surface.is_unsurveyed == WATER).all()
    assert np.isnan(surface.reliable_bed_m).all()


def test_a_pond_smaller_than_a_cell_has_no_bed() -> None:
    soundings = points(np.zeros((1, 2)), np.array([-1.0]))
    surface = bed_from_points(CENTRE, CENTRE, WATER & False, soundings, shore(), None)
    assert np.isnan(surface.bed_m).all()
    assert not surface.is_unsurveyed.any()


def test_of_two_soundings_in_one_place_the_shoaler_counts() -> None:
    place = np.array([[0.5, 0.5], [0.5, 0.5]])
    surface = bed_from_points(
        CENTRE, CENTRE, WATER, points(place, np.array([-3.0, -2.0])), shore(), None
    )
    at = int(np.flatnonzero(CENTRE == 0.5)[0])
    assert surface.bed_m[at, at] == pytest.approx(-2.0)


def test_one_sounding_alone_is_believed_beside_it_only() -> None:
    """Without it the pond is flat, so nothing says how the bed runs to the shore."""
    place = np.array([[0.5, 0.5]])
    surface = bed_from_points(CENTRE, CENTRE, WATER, points(place, np.array([-3.0])), shore(), None)
    at = int(np.flatnonzero(CENTRE == 0.5)[0])
    off = int(np.flatnonzero(CENTRE == 10.5)[0])
    assert -3.0 < surface.reliable_bed_m[at, at] < -2.6
    assert surface.reliable_bed_m[at, off] > 0.0


def test_contours_alone_give_a_bed_between_them() -> None:
    rings = [circle(radius, int(6 * radius)) for radius in (10.0, 20.0)]
    bed = np.repeat([-2.0, -1.0], [len(ring) for ring in rings])
    contours = points(np.concatenate(rings), bed, is_contour=True)
    surface = bed_from_points(CENTRE, CENTRE, WATER, contours, shore(), 15.0)
    at = int(np.flatnonzero(CENTRE == 0.5)[0])
    off = int(np.flatnonzero(CENTRE == 15.5)[0])
    assert surface.bed_m[at, off] == pytest.approx(-1.45, abs=0.03)
    assert surface.sigma_m[at, off] == pytest.approx(np.hypot(0.05, 1 / np.sqrt(12)), rel=1e-6)
    assert -3.0 < surface.bed_m[at, at] < -2.0  # a cone drawn on would be 3 m deep
    assert surface.reliable_bed_m[at, at] > -2.0


def test_the_same_survey_far_from_the_origin_gives_the_same_bed() -> None:
    # Off the lattice: four points on a circle have two triangulations, and rounding chooses.
    place = lines() + np.random.default_rng(2).uniform(-0.3, 0.3, lines().shape)
    soundings, edge = points(place, paraboloid(*place.T)), shore()
    surface = bed_from_points(CENTRE, CENTRE, WATER, soundings, edge, None)
    moved = [
        BedPoints(p.easting_m + 4e5, p.northing_m + 6e6, p.bed_m, p.sigma_m, p.is_contour)
        for p in (soundings, edge)
    ]
    other = bed_from_points(CENTRE + 4e5, CENTRE + 6e6, WATER, moved[0], moved[1], None)
    np.testing.assert_allclose(other.bed_m, surface.bed_m, atol=1e-6)


@pytest.mark.parametrize(
    ("reach_m", "words"), [(0.0, "reach_m must be positive"), (-1.0, "reach_m must be positive")]
)
def test_a_reach_that_is_no_distance_is_refused(reach_m: float, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        bed_from_points(CENTRE, CENTRE, WATER, no_points(), shore(), reach_m)


def test_nothing_to_go_by_is_refused() -> None:
    with pytest.raises(ValueError, match="level of the water's edge"):
        bed_from_points(CENTRE, CENTRE, WATER, no_points(), no_points(), None)
    line = points(np.array([[0.0, 0.0], [1.0, 1.0]]), np.zeros(2))
    with pytest.raises(ValueError, match="do not lie on one line"):
        bed_from_points(CENTRE, CENTRE, WATER, line, no_points(), None)


def test_points_with_gaps_are_refused() -> None:
    with pytest.raises(ValueError, match="bed_m must hold 1 finite"):
        points(np.zeros((1, 2)), np.array([np.nan]))
    with pytest.raises(ValueError, match="is_contour must hold"):
        BedPoints(np.zeros(1), np.zeros(1), np.zeros(1), np.zeros(1), np.zeros(2, bool))


def raster_of(bed, step_m: float = 2.0):
    """A raster north up over the bowl, and its affine."""
    at = np.arange(-RADIUS_M - 3, RADIUS_M + 3, step_m)
    values = bed(*np.meshgrid(at, at[::-1]))
    return values, np.array([[step_m, 0, at[0]], [0, -step_m, at[-1]]])


def test_a_plane_raster_is_reproduced_and_turned_rasters_too() -> None:
    def plane(east, north):
        return 0.03 * east - 0.02 * north - 1.0

    values, affine = raster_of(plane)
    surface = bed_from_raster(CENTRE, CENTRE, WATER, values, affine, 0.1)
    np.testing.assert_allclose(surface.bed_m[WATER], plane(EAST, NORTH)[WATER], atol=1e-12)
    turn = np.array([[np.cos(0.3), -np.sin(0.3)], [np.sin(0.3), np.cos(0.3)]])
    turned = np.column_stack([turn * 2.0, [-5.0, -70.0]])
    col, row = np.meshgrid(np.arange(60.0), np.arange(60.0))
    place = np.einsum("ij,jrc->irc", turned, np.stack([col, row, np.ones_like(col)]))
    surface = bed_from_raster(CENTRE, CENTRE, WATER, plane(*place), turned, 0.1)
    known = WATER & ~surface.is_unsurveyed
    inside = known & (np.hypot(EAST, NORTH) < 10)
    assert inside.any()
    np.testing.assert_allclose(surface.bed_m[inside], plane(EAST, NORTH)[inside], atol=1e-12)


@settings(max_examples=20)
@given(st.integers(0, 10_000), st.sampled_from([0.3, 1.0, 2.7]))
def test_no_point_of_a_cell_is_above_the_bed_relied_on(seed: int, step_m: float) -> None:
    rng = np.random.default_rng(seed)
    values, affine = raster_of(lambda east, north: rng.normal(0, 1, east.shape), step_m)
    surface = bed_from_raster(CENTRE, CENTRE, WATER, values, affine, 0.2)
    east, north = rng.uniform(-0.5, 0.5, (2, *WATER.shape))
    col = (EAST + east - affine[0, 2]) / step_m
    row = (NORTH + north - affine[1, 2]) / -step_m
    c, r = np.floor(col).astype(int), np.floor(row).astype(int)
    u, v = col - c, row - r
    inside = WATER & (np.hypot(EAST, NORTH) < RADIUS_M - 1)
    c, r, u, v = c[inside], r[inside], u[inside], v[inside]
    between = (
        values[r, c] * (1 - u) * (1 - v)
        + values[r, c + 1] * u * (1 - v)
        + values[r + 1, c] * (1 - u) * v
        + values[r + 1, c + 1] * u * v
    )
    reliable = surface.reliable_bed_m[inside]
    assert (between + RELIABLE_SIGMAS * 0.2 <= reliable + 1e-9).all()


def test_water_farther_than_two_raster_cells_from_a_value_is_unsurveyed() -> None:
    values, affine = raster_of(lambda east, north: np.where(east < 0, -1.0 + 0 * north, np.nan))
    surface = bed_from_raster(CENTRE, CENTRE, WATER, values, affine, 0.1)
    last = -1.0  # the last column of nodes with a value stands at -1 m
    assert (surface.is_unsurveyed == (WATER & (last + 4.0 < EAST))).all()
    near = WATER & ~surface.is_unsurveyed
    assert (surface.bed_m[near] == -1.0).all()
    assert surface.reach_m == pytest.approx(4.0)


def test_a_raster_without_a_value_or_with_negative_sigma_is_refused() -> None:
    values, affine = raster_of(lambda east, _north: np.full(east.shape, np.nan))
    with pytest.raises(ValueError, match="holds no value"):
        bed_from_raster(CENTRE, CENTRE, WATER, values, affine, 0.1)
    with pytest.raises(ValueError, match="must not be negative"):
        bed_from_raster(CENTRE, CENTRE, WATER, np.zeros((3, 3)), affine, -0.1)


def test_arrays_are_locked() -> None:
    _, surface = sounded(1)
    with pytest.raises(ValueError, match="read-only"):
        surface.bed_m[0, 0] = 1.0


def test_unknown_orders_and_negative_depths_are_refused() -> None:
    with pytest.raises(ValueError, match="order must be one of"):
        s44_tvu_m(2.0, "3")
    with pytest.raises(ValueError, match="must not be negative"):
        s44_tvu_m(-1.0, "2")
