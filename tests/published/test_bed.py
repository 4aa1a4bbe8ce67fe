"""What every exact linear interpolator must return."""

import numpy as np
import pytest

from geoplan.water.bathymetry import bed_from_points
from tests.unit.water.bowls import circle, grid, lines, points

CENTRE, WATER, EAST, NORTH = grid()


def plane(east_m, north_m):
    return 11.0 + 0.03 * east_m - 0.05 * north_m


@pytest.mark.published("Exact: a plane is reproduced by linear interpolation inside the hull")
@pytest.mark.parametrize("far_m", [0.0, 6e6])
def test_a_plane_is_reproduced(far_m: float) -> None:
    """Also six thousand kilometres from the origin of the coordinates."""
    edge = circle(40.0, 200)
    soundings = points(lines() + far_m, plane(*lines().T))
    shore = points(edge + far_m, plane(*edge.T))
    surface = bed_from_points(CENTRE + far_m, CENTRE + far_m, WATER, soundings, shore, None)
    np.testing.assert_allclose(
        surface.bed_m[WATER], plane(EAST, NORTH)[WATER], atol=1e-9 if far_m else 1e-12
    )


@pytest.mark.published("Exact: an interpolator returns a sounding at its own place")
def test_a_sounding_is_returned() -> None:
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
    np.testing.assert_allclose(surface.bed_m[row, col], bed, atol=1e-9)
