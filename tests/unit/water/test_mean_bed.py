"""The smooth bed and its parts: plate, trend, tracks, kriging."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geoplan.water import kriging
from geoplan.water.bathymetry import bed_from_points
from geoplan.water.kriging import Variogram, standard_error_m, variogram
from geoplan.water.mean_bed import smooth_bed
from geoplan.water.sheet import water_sheet
from geoplan.water.shore_trend import ShoreTrend, membrane_m, shore_distance_m, shore_trend
from geoplan.water.thin_plate import plate_on
from geoplan.water.tracks import folds, square_folds, tracks
from tests.unit.water.bowls import points


def track_lines(lines: int = 6, along_m: float = 1.0, apart_m: float = 10.0):
    east, north = np.meshgrid(np.arange(lines) * apart_m, np.arange(0, 50, along_m))
    return np.column_stack([east.ravel(), north.ravel()])


def test_tracks_are_found_in_any_order() -> None:
    place = track_lines()
    order = np.random.default_rng(1).permutation(len(place))
    turned = place @ np.array([[0.8, 0.6], [-0.6, 0.8]])
    track = tracks(turned[order])
    assert track is not None
    for line in range(6):
        assert len(set(track[place[order, 0] == 10.0 * line].tolist())) == 1
    assert len(set(track.tolist())) == 6


def test_neighbouring_tracks_are_left_out_apart() -> None:
    place = track_lines()
    part = folds(place, 10.0)
    by_line = [set(part[place[:, 0] == 10.0 * line].tolist()) for line in range(6)]
    assert all(len(parts) == 1 for parts in by_line)
    assert all(a != b for a, b in itertools.pairwise(by_line))


def test_scattered_soundings_and_crossing_lines_form_no_tracks() -> None:
    rng = np.random.default_rng(2)
    assert tracks(rng.uniform(0, 100, (80, 2))) is None
    along, across = track_lines(), track_lines()[:, ::-1]
    assert tracks(np.concatenate([along, across])) is None
    assert tracks(np.zeros((0, 2))) is None


@given(st.integers(-40, 40), st.integers(-40, 40))
def test_squares_that_touch_are_left_out_apart(east: int, north: int) -> None:
    middle = np.array([[east + 0.5, north + 0.5]])
    beside = middle + [[i, k] for i in (-1, 0, 1) for k in (-1, 0, 1) if (i, k) != (0, 0)]
    assert square_folds(middle, 1.0)[0] not in square_folds(beside, 1.0)


def test_a_trend_is_found_again_in_spite_of_stumps() -> None:
    rng = np.random.default_rng(3)
    away = rng.uniform(0, 30, 200)
    bed = ShoreTrend(12.0, 2.5, 6.0).bed_m(away) + rng.normal(0, 0.05, 200)
    bed[::10] = 12.0
    trend = shore_trend(away, bed, 12.0)
    assert trend is not None
    assert trend.depth_m == pytest.approx(2.5, abs=0.1)
    assert trend.length_m == pytest.approx(6.0, rel=0.15)


def test_a_bed_above_the_shore_or_too_few_soundings_have_no_trend() -> None:
    away = np.arange(1.0, 21.0)
    assert shore_trend(away, np.full(20, 13.0), 12.0) is None
    assert shore_trend(away[:5], np.full(5, 10.0), 12.0) is None


def test_the_shore_is_half_a_cell_from_the_first_centre() -> None:
    water = np.zeros((5, 9), bool)
    water[:, 2:7] = True
    assert shore_distance_m(water, 2.0)[2].tolist() == [0, 0, 1, 3, 5, 3, 1, 0, 0]


def test_a_membrane_sags_as_the_closed_forms_have_it() -> None:
    """In a disc (R² − r²)/2R; over a strip of half width w, x (2w − x)/(w √2)."""
    at = np.arange(-30, 30, 0.25) + 0.125
    away = np.hypot(*np.meshgrid(at, at))
    sag = membrane_m(away < 25.0, 0.25)
    inner = away < 24.0
    np.testing.assert_allclose(sag[inner], (625.0 - away[inner] ** 2) / 50.0, atol=0.15)
    assert (sag[away > 25.0] == 0).all()
    strip = np.zeros((14, 600), bool)
    strip[2:12] = True
    x = np.arange(10) + 0.5
    middle = membrane_m(strip, 1.0)[2:12, 300]
    np.testing.assert_allclose(middle, x * (10.0 - x) / (5.0 * np.sqrt(2.0)), atol=0.15)


def test_sixty_soundings_at_random_places_have_the_volume_of_a_lobed_pond() -> None:
    """Depth D (1 − (r/R)²) to a lobed shore R: volume A D/2; without a trend it is 4 % low."""

    def shore_radius(angle):
        return 56.4 * (1 + 0.30 * np.cos(3 * angle) + 0.22 * np.sin(5 * angle))

    def bed(east, north):
        return -3.0 * (1 - (np.hypot(east, north) / shore_radius(np.arctan2(north, east))) ** 2)

    at = np.arange(-90, 90) + 0.5
    east, north = np.meshgrid(at, at)
    water = bed(east, north) < 0
    angle = np.linspace(0, 2 * np.pi, 550, endpoint=False)
    edge = points((shore_radius(angle) * [np.cos(angle), np.sin(angle)]).T, np.zeros(550))
    exact = np.pi * 56.4**2 * (1 + (0.30**2 + 0.22**2) / 2) * 3.0 / 2
    off = []
    for seed in range(4):
        rng = np.random.default_rng(seed)
        place = rng.uniform(-90, 90, (4000, 2))
        place = place[bed(*place.T) < -0.05][:60]
        surveyed = points(place, bed(*place.T) + rng.normal(0, 0.05, 60))
        surface = bed_from_points(at, at, water, surveyed, edge, None)
        off.append(-surface.bed_m[water].sum() / exact - 1)
    assert abs(np.mean(off)) < 0.02
    assert np.abs(off).max() < 0.04


def test_a_stiff_plate_is_the_plane_of_least_squares() -> None:
    """Second method: ordinary least squares."""
    rng = np.random.default_rng(4)
    row, col = rng.uniform(0, 19, (2, 60))
    value = 1.0 + 0.1 * row - 0.2 * col + rng.normal(0, 0.3, 60)
    sheet = water_sheet(np.ones((20, 20), bool), 1)
    plate = plate_on(sheet, 1.0, sheet.weights(row, col), np.full(60, 4.0))
    drawn = plate.drawn(value, 1e5)
    design = np.column_stack([np.ones(60), row, col])
    best = design @ np.linalg.lstsq(design, value, rcond=None)[0]
    np.testing.assert_allclose(plate.weights @ drawn, best, atol=2e-2)


def test_left_out_parts_do_not_see_themselves() -> None:
    rng = np.random.default_rng(5)
    row, col = rng.uniform(0, 19, (2, 60))
    sheet = water_sheet(np.ones((20, 20), bool), 1)
    plate = plate_on(sheet, 1.0, sheet.weights(row, col), np.full(60, 100.0))
    value, fold = np.zeros(60), np.arange(60) % 3
    changed = np.where(fold == 1, 9.0, value)
    assert np.abs(plate.left_out(changed, 10.0, fold)[fold == 1]).max() < 1e-9
    assert np.isnan(plate.left_out(value, 10.0, np.where(fold == 2, -1, fold))[fold == 2]).all()


def test_parts_left_out_are_predicted_as_by_a_plate_drawn_without_them() -> None:
    """Second method: a plate drawn anew for each part, those measurements without weight."""
    rng = np.random.default_rng(6)
    row, col = rng.uniform(0, 19, (2, 80))
    sheet = water_sheet(np.ones((20, 20), bool), 1)
    precision = rng.uniform(50.0, 400.0, 80)
    plate = plate_on(sheet, 1.0, sheet.weights(row, col), precision)
    value, fold = rng.normal(2.0, 1.0, (80, 2)), np.arange(80) % 5 - 1
    for stiffness in (1.0, 1e3):
        found = plate.left_out(value, stiffness, fold)
        for part in range(4):
            own = fold == part
            drawn = plate.drawn(value, stiffness, np.where(own, 0.0, precision))
            np.testing.assert_allclose(found[own], plate.weights[own] @ drawn, atol=1e-9)


def test_a_part_that_held_its_water_alone_is_predicted_without_it_all_the_same() -> None:
    """Nothing is left to hold that water: the pull to zero decides, as without new algebra."""
    water = np.ones((10, 21), bool)
    water[:, 10] = False
    sheet = water_sheet(water, 1)
    row, col = np.tile(np.arange(1.0, 9.0), 2), np.repeat([4.0, 15.0], 8)
    plate = plate_on(sheet, 1.0, sheet.weights(row, col), np.full(16, 100.0))
    fold = np.repeat([-1, 0], 8)
    drawn = plate.drawn(row, 10.0, np.where(fold == 0, 0.0, 100.0))
    found = plate.left_out(row, 10.0, fold)
    np.testing.assert_allclose(found[fold == 0], (plate.weights @ drawn)[fold == 0], atol=1e-9)


def dense_error_m(model: Variogram, place, variance, at):
    """Ordinary kriging of all points in one system with a Lagrange multiplier."""

    def covariance(one, other):
        scaled = np.sqrt(3) * np.hypot(*(one[:, None] - other[None]).T).T / model.range_m
        return model.sill_m2 * (1 + scaled) * np.exp(-scaled)

    count = len(place)
    matrix = np.ones((count + 1, count + 1))
    matrix[:count, :count] = covariance(place, place) + np.diag(variance + model.nugget_m2)
    matrix[count, count] = 0.0
    side = np.vstack([covariance(place, at), np.ones(len(at))])
    weight = np.linalg.solve(matrix, side)
    return np.sqrt(model.sill_m2 + model.nugget_m2 - (weight * side).sum(axis=0))


@settings(max_examples=20)
@given(st.integers(0, 10_000), st.floats(2.0, 30.0), st.floats(0.0, 0.05))
def test_the_standard_error_is_that_of_the_whole_system(
    seed: int, range_m: float, nugget_m2: float
) -> None:
    rng = np.random.default_rng(seed)
    place, at = rng.uniform(0, 20, (20, 2)), rng.uniform(0, 20, (9, 2))
    variance = rng.uniform(0.001, 0.01, 20)
    model = Variogram(0.2, nugget_m2, range_m)
    error = standard_error_m(model, place, variance, at)
    np.testing.assert_allclose(error, dense_error_m(model, place, variance, at), rtol=1e-5)


def test_a_part_that_is_left_out_is_not_asked() -> None:
    place = track_lines(3)
    part = (place[:, 0] / 10.0).astype(np.int64)
    model, variance = Variogram(0.2, 0.0, 8.0), np.full(len(place), 0.0025)
    with_it = standard_error_m(model, place, variance, place)
    without = standard_error_m(model, place, variance, place, (part, part))
    assert (without > 2 * with_it).all()


def test_covariances_that_are_looked_up_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(5)
    place, at = rng.uniform(0, 40, (60, 2)), rng.uniform(0, 40, (13, 2))
    measured = rng.normal(size=60), np.full(60, 0.01)
    model = Variogram(0.3, 0.02, 9.0)
    known = kriging.kriged(model, place, measured, at)
    monkeypatch.setattr(kriging, "_MOST_PAIRED", 0)
    anew = kriging.kriged(model, place, measured, at)
    assert [one.tolist() for one in known] == [one.tolist() for one in anew]


def test_a_variogram_is_found_again() -> None:
    """A random field of many waves with the spectrum of a Matérn covariance of order 3/2."""
    rng = np.random.default_rng(6)
    place = rng.uniform(0, 120, (900, 2))
    # Its spectrum is a t distribution of 3 degrees: normal over the root of a scaled chi-square.
    normal, chi = rng.normal(0, 1, (400, 2)), rng.chisquare(3, (400, 1))
    vector = normal / np.sqrt(chi / 3.0) / 10.0
    phase = rng.uniform(0, 2 * np.pi, 400)
    field = 0.3 * np.sqrt(2 / 400) * np.cos(place @ vector.T + phase).sum(axis=1)
    model = variogram(place, field + rng.normal(0, 0.05, 900), 10.0)
    assert model is not None
    assert model.nugget_m2 == pytest.approx(0.0025, abs=0.002)
    assert 5.0 < model.range_m < 20.0
    slope = model.sill_m2 / model.range_m**2  # what the error over short ways hangs on
    assert slope == pytest.approx(0.09 / 100.0, rel=0.6)


def test_too_few_soundings_or_no_difference_have_no_variogram() -> None:
    place = track_lines(2, 5.0)
    assert variogram(place[:8], np.zeros(8), 10.0) is None
    assert variogram(place, np.zeros(len(place)), 10.0) is None


def dyked():
    """A basin 60 by 40 m with a dyke of one metre: 3 m deep west of it, 1 m east."""
    at_east, at_north = np.arange(0.25, 60, 0.5), np.arange(0.25, 40, 0.5)
    east, _ = np.meshgrid(at_east, at_north)
    water = np.abs(east - 30.0) > 0.5
    place = np.random.default_rng(8).uniform([1, 1], [59, 39], (400, 2))
    place = place[np.abs(place[:, 0] - 30.0) > 1.0]
    return at_east, at_north, water, place, east


def test_what_is_known_of_one_side_of_a_dyke_is_not_carried_to_the_other() -> None:
    at_east, at_north, water, place, east = dyked()
    bed = np.where(place[:, 0] < 30, -3.0, -1.0)
    none = points(np.zeros((0, 2)), np.zeros(0))
    smooth = smooth_bed(at_east, at_north, water, points(place, bed), none, 1.5)
    assert smooth is not None
    west, beyond = water & (east < 30), water & (east > 30)
    np.testing.assert_allclose(smooth.bed_m[west], -3.0, atol=0.02)
    np.testing.assert_allclose(smooth.bed_m[beyond], -1.0, atol=0.02)


def test_the_bed_relied_on_is_no_deeper_than_triangles_have_it() -> None:
    """A convex bank, over which a plate would swing deep."""
    rng = np.random.default_rng(9)
    at = np.arange(0.5, 60.0)
    water = np.ones((60, 60), bool)
    place = rng.uniform(0, 60, (300, 2))
    bed = -np.clip(place[:, 0] - 30.0, 0.0, 3.0)
    none = points(np.zeros((0, 2)), np.zeros(0))
    surface = bed_from_points(at, at, water, points(place, bed), none, None)
    known = ~surface.is_unsurveyed
    assert (surface.reliable_bed_m >= surface.edge_bed_m)[known].all()
    assert surface.reliable_bed_m[known].min() >= -3.0


def test_a_few_soundings_have_no_smooth_bed() -> None:
    at = np.arange(0.5, 20.0)
    few = points(np.random.default_rng(10).uniform(0, 20, (8, 2)), np.full(8, -1.0))
    none = points(np.zeros((0, 2)), np.zeros(0))
    assert smooth_bed(at, at, np.ones((20, 20), bool), few, none, 3.0) is None
