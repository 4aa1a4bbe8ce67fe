"""What the bed must return where the truth is known."""

import numpy as np
import pytest

from geoplan.water.bathymetry import bed_from_points
from tests.unit.water.bowls import circle, grid, lines, points

CENTRE, WATER, EAST, NORTH = grid()


def plane(east_m, north_m):
    return 11.0 + 0.03 * east_m - 0.05 * north_m


@pytest.mark.published("Exact: a plane does not bend, so a plate drawn to it is that plane")
@pytest.mark.parametrize("far_m", [0.0, 6e6])
def test_a_plane_is_reproduced(far_m: float) -> None:
    """Also six thousand kilometres from the origin of the coordinates."""
    edge = circle(40.0, 200)
    soundings = points(lines() + far_m, plane(*lines().T))
    shore = points(edge + far_m, plane(*edge.T))
    surface = bed_from_points(CENTRE + far_m, CENTRE + far_m, WATER, soundings, shore, None)
    true = plane(EAST, NORTH)[WATER]
    np.testing.assert_allclose(surface.bed_m[WATER], true, atol=1e-4)
    np.testing.assert_allclose(surface.edge_bed_m[WATER], true, atol=1e-9 if far_m else 1e-12)


@pytest.mark.published("Exact: a linear interpolator returns a sounding at its own place")
def test_a_sounding_is_returned_by_the_bed_that_edges_follow() -> None:
    rng = np.random.default_rng(11)
    row, col = np.nonzero(WATER)
    chosen = rng.choice(len(row), 60, replace=False)
    row, col = row[chosen], col[chosen]
    place = np.column_stack([CENTRE[col], CENTRE[row]])
    bed = rng.uniform(-3, -1, 60)
    edge = circle(31.0, 200)
    surface = bed_from_points(
        CENTRE, CENTRE, WATER, points(place, bed), points(edge, np.zeros(200)), None
    )
    np.testing.assert_allclose(surface.edge_bed_m[row, col], bed, atol=1e-9)


def bowl_survey(line_m: float | None, count: int, seed: int = 3):
    """A pond of a hectare, its shore lobed, sounded along lines or at random places."""
    rng = np.random.default_rng(seed)
    at = np.arange(-90.25, 90.25, 0.5)
    east, north = np.meshgrid(at, at)
    water = np.hypot(east, north) < lobed(east, north)
    if line_m is None:
        place = rng.uniform(-90, 90, (40 * count, 2))
    else:
        place = np.stack(np.meshgrid(np.arange(-85, 90, line_m), np.arange(-90, 90, 1.0)), -1)
        place = place.reshape(-1, 2) + np.array([rng.uniform(0, 5), 0.0])
    place = place[np.hypot(*place.T) < lobed(*place.T) - 0.5]
    place = place[:count] if line_m is None else place
    bed = lobed_bed(*place.T) + rng.normal(0, 0.05, len(place))
    angle = np.linspace(0, 2 * np.pi, 550, endpoint=False)
    edge = lobed(np.cos(angle), np.sin(angle))[:, None]
    edge = edge * np.column_stack([np.cos(angle), np.sin(angle)])
    shore = points(edge, np.zeros(550), 0.03)
    surface = bed_from_points(at, at, water, points(place, bed), shore, None)
    volume = -surface.bed_m[water].sum() * 0.25
    error = (surface.bed_m - lobed_bed(east, north))[water]
    return volume, float(np.sqrt((error**2).mean()))


def lobed(east_m, north_m):
    """Distance of the lobed shore from the centre, in the direction of a place."""
    angle = np.arctan2(north_m, east_m)
    return 56.4 * (1 + 0.30 * np.cos(3 * angle) + 0.22 * np.sin(5 * angle))


def lobed_bed(east_m, north_m):
    return -3.0 * (1 - (np.hypot(east_m, north_m) / lobed(east_m, north_m)) ** 2)


#: Area of the lobed shore times half the greatest depth [m³].
LOBED_M3 = np.pi * 56.4**2 * (1 + (0.30**2 + 0.22**2) / 2) * 3.0 / 2


@pytest.mark.published("Exact: A D/2 of a paraboloid over a star-shaped shore")
def test_lines_ten_metres_apart_give_the_volume_within_half_a_percent() -> None:
    volume, rmse = bowl_survey(10.0, 0)
    assert volume == pytest.approx(LOBED_M3, rel=0.005)
    assert rmse <= 0.06


@pytest.mark.published("Exact: A D/2 of a paraboloid over a star-shaped shore")
def test_sixty_random_soundings_give_the_volume_within_three_percent() -> None:
    volume, _ = bowl_survey(None, 60)
    assert volume == pytest.approx(LOBED_M3, rel=0.03)
