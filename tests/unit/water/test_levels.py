"""Area, volume and edge at levels."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from geoplan.water.levels import hypsography, level_rings
from tests.unit.water.bowls import RADIUS_M, grid, paraboloid

CENTRE, WATER, EAST, NORTH = grid(0.5)
BOWL = np.where(WATER, paraboloid(EAST, NORTH), np.nan)


def area_of(bed, centre, level_m: float) -> float:
    regions = level_rings(bed, centre, centre, level_m)
    return float(sum(shapely.Polygon(rings[0], rings[1:]).area for rings in regions))


@given(st.integers(0, 10_000))
def test_area_and_volume_rise_and_the_area_is_the_slope_of_the_volume(seed: int) -> None:
    rng = np.random.default_rng(seed)
    bed = rng.normal(100, 2, (12, 9))
    bed[rng.random(bed.shape) < 0.3] = np.nan
    level = np.sort(rng.uniform(93, 107, 50))
    area, volume = hypsography(bed, 0.25, level)
    assert (np.diff(area) >= 0).all()
    assert (np.diff(volume) >= 0).all()
    rise = np.diff(level)
    assert (np.diff(volume) >= area[:-1] * rise - 1e-9).all()
    assert (np.diff(volume) <= area[1:] * rise + 1e-9).all()
    second = [0.25 * np.nansum(np.maximum(z - bed, 0)) for z in level]
    np.testing.assert_allclose(volume, second, atol=1e-9)


def test_no_water_has_neither_area_nor_volume() -> None:
    area, volume = hypsography(np.full((2, 2), np.nan), 1.0, np.array([0.0, 1.0]))
    assert area.tolist() == volume.tolist() == [0.0, 0.0]


def test_arguments_that_make_no_sense_are_refused() -> None:
    with pytest.raises(ValueError, match="cell_area_m2 must be positive"):
        hypsography(BOWL, 0.0, np.array([0.0]))
    with pytest.raises(ValueError, match="levels must be finite"):
        hypsography(BOWL, 1.0, np.array([np.nan]))


@pytest.mark.parametrize("level_m", [-2.5, -1.0, -0.3])
def test_the_contour_of_a_bowl_encloses_its_area(level_m: float) -> None:
    exact = np.pi * RADIUS_M**2 * (1 + level_m / 3.0)
    assert area_of(BOWL, CENTRE, level_m) == pytest.approx(exact, rel=1e-3)


def test_above_the_edge_the_contour_follows_the_border_of_the_cells() -> None:
    """Corners of border cells are cut, so it lies at most an eighth of a cell inside."""
    flat = np.where(WATER, -1.0, np.nan)
    assert area_of(flat, CENTRE, 0.0) == pytest.approx(WATER.sum() * 0.25, rel=0.01)


def test_an_island_is_a_hole_and_two_pools_are_two_regions() -> None:
    bed = np.full((9, 20), -1.0)
    bed[3:6, 3:6] = 1.0
    bed[:, 12] = np.nan
    regions = level_rings(bed, np.arange(20.0), np.arange(9.0), 0.0)
    assert sorted(len(rings) for rings in regions) == [1, 2]
    for rings in regions:
        for ring in rings:
            assert (ring[0] == ring[-1]).all()


@given(st.integers(0, 10_000))
def test_higher_water_contains_lower_water(seed: int) -> None:
    rng = np.random.default_rng(seed)
    bed = rng.normal(0, 1, (8, 8))
    at = np.arange(8.0)

    def wet(level: float) -> shapely.Geometry:
        regions = level_rings(bed, at, at, level)
        return shapely.union_all([shapely.Polygon(r[0], r[1:]).buffer(0) for r in regions])

    low, high = wet(-0.5), wet(0.4)
    assert shapely.difference(low, high).area < 1e-9


def test_dry_ground_has_no_edge() -> None:
    at = np.arange(3.0)
    assert level_rings(np.ones((3, 3)), at, at, 0.0) == []
    assert level_rings(np.full((3, 3), np.nan), at, at, 0.0) == []
