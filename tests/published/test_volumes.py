"""Volumes of bowls and basins with closed forms, through the cells of a grid."""

import numpy as np
import pytest

from geoplan.water.levels import hypsography

CELL_M = 0.25


def grid(half_east_m: float, half_north_m: float):
    """Cell centres round the origin."""
    east = np.arange(-half_east_m, half_east_m, CELL_M) + CELL_M / 2
    north = np.arange(-half_north_m, half_north_m, CELL_M) + CELL_M / 2
    return np.meshgrid(east, north)


def volume_m3(bed_m, level_m: float = 0.0) -> float:
    return float(hypsography(bed_m, CELL_M**2, np.array([level_m]))[1][0])


def bowl(profile):
    """Elliptic bowl of half-axes 40 and 20 m; its bed by the distance from the centre, 0 to 1."""
    east, north = grid(42, 22)
    radius = np.hypot(east / 40, north / 20)
    return np.where(radius < 1, profile(np.minimum(radius, 1)), np.nan)


@pytest.mark.published("Exact: (h/3)(A1 + A2 + √(A1 A2)), radii 20 and 10 m, 2 m deep: 1466.077 m³")
def test_frustum_of_a_cone() -> None:
    radius = np.hypot(*grid(22, 22))
    bed = np.where(radius < 20, -np.minimum(2, (20 - radius) / 5), np.nan)
    assert volume_m3(bed) == pytest.approx(1466.077, rel=1e-4)


@pytest.mark.published("Exact, prismoidal: 50 x 30 m with sides one in three, 2 m deep: 2136 m³")
def test_rectangular_basin_with_sloping_sides() -> None:
    east, north = grid(25, 15)
    to_edge = np.minimum(25 - np.abs(east), 15 - np.abs(north))
    assert volume_m3(-np.minimum(2, to_edge / 3)) == pytest.approx(2136.0, rel=1e-4)


@pytest.mark.published("Exact: conic slices between 0, 800, 1500 and 2400 m² a metre apart")
def test_conic_slices_between_tabled_areas() -> None:
    """3330.937 m³, where average areas would give 3500."""
    radii = np.sqrt(np.array([0.0, 800.0, 1500.0, 2400.0]) / np.pi)
    radius = np.hypot(*grid(30, 30))
    bed = np.where(radius <= radii[-1], np.interp(radius, radii, [0.0, 1.0, 2.0, 3.0]), np.nan)
    area, volume = hypsography(bed, CELL_M**2, np.array([1.0, 2.0, 3.0]))
    np.testing.assert_allclose(area, [800, 1500, 2400], rtol=1e-3)
    assert volume[-1] == pytest.approx(3330.937, rel=1e-4)


@pytest.mark.published(
    "Exact: elliptic paraboloid A d/2 = 2513.274 m³, half its area at half depth"
)
def test_paraboloid() -> None:
    bed = bowl(lambda radius: -2 * (1 - radius**2))
    area, volume = hypsography(bed, CELL_M**2, np.array([-1.0, 0.0]))
    assert volume[1] == pytest.approx(2513.274, rel=1e-4)
    assert area[0] / area[1] == pytest.approx(0.5, rel=1e-3)


@pytest.mark.published("Exact: elliptic cone A d/3 = 1675.516 m³")
def test_cone() -> None:
    assert volume_m3(bowl(lambda radius: -2 * (1 - radius))) == pytest.approx(1675.516, rel=1e-4)


@pytest.mark.published("Exact: half an ellipsoid 2 A d/3 = 3351.032 m³")
def test_half_ellipsoid() -> None:
    bed = bowl(lambda radius: -2 * np.sqrt(1 - radius**2))
    assert volume_m3(bed) == pytest.approx(3351.032, rel=1e-4)
