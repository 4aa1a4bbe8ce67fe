"""A raster with soundings over it: against a bed that is known, and against limits."""

from typing import Any

import numpy as np
import pytest

from geoplan.water.bathymetry import BedPoints, BedSurface, bed_from_points, bed_from_raster
from geoplan.water.raster_overlay import RasterOfBed, bed_over_raster
from tests.unit.water.bowls import circle, grid, lines, no_points, paraboloid, points, shore

CENTRE, WATER, EAST, NORTH = grid()
TRUTH = paraboloid(EAST, NORTH)
NODE = np.arange(-34.0, 35.0)
UNIT = np.array([[1.0, 0.0, NODE[0]], [0.0, 1.0, NODE[0]]])


def old_error(east_m: Any, north_m: Any) -> Any:
    """What has come onto the bed since the raster was made: silt of 0.3 m, more to the east."""
    return 0.3 + 0.15 * np.sin(east_m / 9.0) * np.cos(north_m / 11.0)


def raster(sigma_m: float = 0.1, **changes: Any) -> RasterOfBed:
    """The bed before the silt."""
    east, north = np.meshgrid(NODE, NODE)
    bed = paraboloid(east, north) - old_error(east, north)
    return RasterOfBed(changes.get("bed", bed), UNIT, sigma_m)


def sounded(place: np.ndarray, noise_m: float = 0.05, seed: int = 5) -> BedPoints:
    noise = np.random.default_rng(seed).normal(0, noise_m, len(place))
    return points(place, paraboloid(*place.T) + noise)


def overlaid(soundings: BedPoints, of: RasterOfBed | None = None, **parts: Any) -> BedSurface:
    return bed_over_raster(
        CENTRE, CENTRE, WATER, of or raster(), soundings, shore(), parts.get("reach_m")
    )


def rmse(surface: BedSurface) -> float:
    return float(np.sqrt(((surface.bed_m - TRUTH)[WATER] ** 2).mean()))


def test_together_they_are_better_than_either_alone() -> None:
    place = lines(spacing_m=12.0, along_m=2.0)
    both = rmse(overlaid(sounded(place)))
    given = raster()
    alone = bed_from_raster(CENTRE, CENTRE, WATER, given.bed_m, UNIT, 0.1)
    points_only = bed_from_points(CENTRE, CENTRE, WATER, sounded(place), shore(), None)
    assert both < 0.07
    assert both < rmse(points_only)
    assert both < 0.3 * rmse(alone)


def test_the_bed_relied_on_holds_where_the_raster_alone_would_not() -> None:
    surface = overlaid(sounded(lines(spacing_m=12.0, along_m=2.0)))
    alone = bed_from_raster(CENTRE, CENTRE, WATER, raster().bed_m, UNIT, 0.1)
    at = (-0.5, 0.0, 0.5)
    highest = np.max([paraboloid(EAST + i, NORTH + k) for i in at for k in at], axis=0)
    assert (surface.reliable_bed_m >= highest)[WATER].mean() > 0.985
    assert (alone.reliable_bed_m >= highest)[WATER].mean() < 0.8


def test_exact_soundings_of_a_right_raster_change_nothing() -> None:
    east = np.tile(NODE, (len(NODE), 1))
    right = raster(bed=-0.02 * east - 3.0)
    place = lines()
    surface = overlaid(points(place, -0.02 * place[:, 0] - 3.0), right)
    assert surface.bed_m[WATER] == pytest.approx((-0.02 * EAST - 3.0)[WATER], abs=1e-9)


def test_no_cell_is_relied_on_below_a_sounding_in_it() -> None:
    stump = points(np.vstack([lines(), [[3.2, 4.1]]]), np.append(paraboloid(*lines().T), -1.0))
    surface = overlaid(stump)
    row, col = np.searchsorted(CENTRE + 0.5, [4.1, 3.2])
    assert (surface.reliable_bed_m[row - 1 : row + 2, col - 1 : col + 2] >= -1.0).all()


def test_out_of_reach_soundings_raise_the_raster_and_never_lower_it() -> None:
    corner = circle(3.0, 12) + np.array([-20.0, 0.0])
    far = WATER & (EAST > 5.0)
    base = raster(bed=np.full((69, 69), -3.0))
    deeper = overlaid(points(corner, np.full(12, -3.5)), base, reach_m=8.0)
    higher = overlaid(points(corner, np.full(12, -2.5)), base, reach_m=8.0)
    assert (deeper.bed_m[far] >= -3.0).all()
    assert (deeper.reliable_bed_m[far] >= -3.0 + 2.33 * 0.1 - 1e-9).all()
    assert (higher.bed_m[far] > -2.9).all()
    near = np.hypot(EAST + 20.0, NORTH) < 2.0
    assert (deeper.bed_m[near] < -3.3).all()


def test_a_lone_sounding_settles_its_own_place_and_no_more() -> None:
    surface = overlaid(points(np.array([[0.4, 0.4]]), np.array([-2.4])))
    near, far = np.hypot(EAST, NORTH) < 1.0, WATER & (np.hypot(EAST, NORTH) > 20.0)
    assert surface.bed_m[near].max() == pytest.approx(-2.4, abs=0.15)
    assert surface.sigma_m[far].min() > 2.0 * surface.sigma_m[near].max()


def test_where_the_raster_ends_soundings_make_the_bed_and_beyond_both_nothing_is_known() -> None:
    bed = raster().bed_m.copy()
    bed[:, NODE > 0] = np.nan
    place = lines()
    place = place[(place[:, 0] < 15.0)]
    surface = overlaid(sounded(place), raster(bed=bed), reach_m=5.0)
    alone = bed_from_points(CENTRE, CENTRE, WATER, sounded(place), shore(), 5.0)
    beside = WATER & (EAST > 3.5)
    assert np.array_equal(surface.is_unsurveyed[beside], alone.is_unsurveyed[beside])
    assert surface.is_unsurveyed[beside].any()
    assert not surface.is_unsurveyed[WATER & (EAST < 0)].any()
    known = beside & ~alone.is_unsurveyed
    assert np.array_equal(surface.reliable_bed_m[known], alone.reliable_bed_m[known])


def test_contours_over_a_raster_do_not_count_as_soundings() -> None:
    ring = circle(15.0, 90)
    drawn = points(ring, np.full(90, -1.0), is_contour=True)
    surface = overlaid(drawn)
    alone = bed_from_raster(CENTRE, CENTRE, WATER, raster().bed_m, UNIT, 0.1)
    assert np.array_equal(surface.bed_m[WATER], alone.bed_m[WATER])


def test_without_water_there_is_no_bed() -> None:
    dry = np.zeros_like(WATER)
    surface = bed_over_raster(CENTRE, CENTRE, dry, raster(), sounded(lines()), no_points(), None)
    assert np.isnan(surface.bed_m).all()
