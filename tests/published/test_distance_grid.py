"""In-water distance on a grid, against closed forms round obstacles."""

import numpy as np
import pytest

from geoplan.water import FloatArray
from geoplan.water.distance import distance_field


def round_a_circle(
    from_m: tuple[float, float], east_m: FloatArray, north_m: FloatArray, radius_m: float
) -> FloatArray:
    """Shortest way round a circle at the origin: a straight line, or two tangents and an arc."""
    start, end = np.hypot(*from_m), np.maximum(np.hypot(east_m, north_m), radius_m)
    turn = np.arctan2(north_m, east_m) - np.arctan2(from_m[1], from_m[0])
    turn = np.abs((turn + np.pi) % (2 * np.pi) - np.pi)
    arc = turn - np.arccos(radius_m / start) - np.arccos(radius_m / end)
    bent = np.sqrt(start**2 - radius_m**2) + np.sqrt(end**2 - radius_m**2) + radius_m * arc
    return np.where(arc > 0, bent, np.hypot(east_m - from_m[0], north_m - from_m[1]))


@pytest.mark.published("Exact: 2 √75 + 5 π/3 = 22.556496 m from (-10, 0) to (10, 0) round radius 5")
def test_ten_to_ten_round_a_circle() -> None:
    assert round_a_circle((-10.0, 0.0), np.array(10.0), np.array(0.0), 5.0) == pytest.approx(
        22.556496, abs=5e-7
    )
    cell_m = 0.1
    at = np.arange(-14, 14, cell_m) + cell_m / 2
    east, north = np.meshgrid(at, at)
    place = (14 / cell_m - 0.5, 4 / cell_m - 0.5)
    distance = distance_field(np.hypot(east, north) > 5, cell_m, *place)
    found = distance[139:141, 239:241].mean()
    assert found == pytest.approx(22.556496, rel=0.01)


@pytest.mark.published("Exact: tangents and arc round an island of 30 m in a square of 200 m")
@pytest.mark.parametrize(
    ("from_m", "mean", "largest"),
    [((-80.0, 0.0), 0.001, 0.015), ((-70.3, -55.1), 0.001, 0.015), ((-33.0, 5.0), 0.005, 0.03)],
)
def test_round_an_island_the_error_is_as_stated(
    from_m: tuple[float, float], mean: float, largest: float
) -> None:
    cell_m = 0.5
    at = np.arange(-100, 100, cell_m) + cell_m / 2
    east, north = np.meshgrid(at, at)
    water = np.hypot(east, north) > 30
    exact = round_a_circle(from_m, east, north, 30.0)
    place = ((from_m[1] + 100) / cell_m - 0.5, (from_m[0] + 100) / cell_m - 0.5)
    error = (distance_field(water, cell_m, *place) / exact - 1)[water & (exact > 1)]
    assert np.abs(error).mean() < mean
    assert error.max() < largest
    assert error.min() > -5e-4


@pytest.mark.published("Exact: (95, 35) to (55, 75) in an L of 100 x 80 m, by its corner: 50 √2 m")
def test_round_the_corner_of_an_l() -> None:
    """The straight line of 56.57 m leaves the water."""
    cell_m = 0.5
    east, north = np.meshgrid(np.arange(0.25, 100, cell_m), np.arange(0.25, 80, cell_m))
    water = (north < 40) | (east < 60)
    distance = distance_field(water, cell_m, 35 / cell_m - 0.5, 95 / cell_m - 0.5)
    to = distance[149:151, 109:111].mean()
    by_corner = np.hypot(35, 5) + np.hypot(5, 35)
    assert by_corner == pytest.approx(70.710678, abs=5e-7)
    assert to == pytest.approx(by_corner, rel=0.015)
