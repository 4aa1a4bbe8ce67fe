"""Sun positions, day length and shadows against published values and closed forms."""

import math

import numpy as np
import pandas as pd
import pytest
from pvlib import solarposition

from geoplan.water.solar import AZIMUTHS, Crowns, Walls, horizon_slope, mean_sun_h, sun_path

NONE_W = Walls(np.zeros((0, 4)), np.zeros(0))
NONE_C = Crowns(np.zeros((0, 2)), np.zeros(0), np.zeros(0), np.zeros(0))
HERE = np.zeros(1)


@pytest.mark.published(
    "Reda and Andreas (2004), NREL/TP-560-34302, Table A5.1: zenith 50.11162, azimuth 194.34024;"
    " seen in several independent test suites"
)
def test_the_library_that_we_use_gives_the_worked_example() -> None:
    time = pd.DatetimeIndex([pd.Timestamp("2003-10-17 12:30:30", tz="Etc/GMT+7")])
    sun = solarposition.spa_python(
        time, 39.742476, -105.1786, altitude=1830.14, pressure=82000, temperature=11, delta_t=67
    )
    assert sun["apparent_zenith"].iloc[0] == pytest.approx(50.11162, abs=3e-4)
    assert sun["azimuth"].iloc[0] == pytest.approx(194.34024, abs=3e-4)


@pytest.mark.published(
    "Closed form of the hour angle at 51.5 N: 9.840, 7.556 and 4.875 h above 10, 20 and 30 degrees"
    " at the equinox"
)
@pytest.mark.parametrize(("horizon_deg", "hours"), [(10, 9.840), (20, 7.556), (30, 4.875)])
def test_hours_above_an_even_horizon_at_the_equinox(horizon_deg: float, hours: float) -> None:
    """At noon of that day the declination is +0.15°, worth up to 0.04 h at 30°."""
    path = sun_path(0.0, 51.5, "03-20", "03-20", 2024, step_min=1)
    slope = np.full((1, AZIMUTHS), math.tan(math.radians(horizon_deg)))
    assert mean_sun_h(slope, path)[0] == pytest.approx(hours, abs=0.07)


@pytest.mark.published("Closed form: a pole or wall of height H hides up to atan(H/r)")
def test_a_wall_hides_what_its_height_and_distance_say() -> None:
    wall = Walls(np.array([[-50.0, 12.0, 50.0, 12.0]]), np.array([5.0]))
    slope = horizon_slope(HERE, HERE, wall, NONE_C)[0]
    azimuth = (np.arange(AZIMUTHS) + 0.5) * 2 * np.pi / AZIMUTHS
    seen = np.abs(np.angle(np.exp(1j * azimuth))) < math.atan(50 / 12) - 0.01
    expected = 5.0 * np.cos(azimuth[seen]) / 12.0
    # 1 mm of shadow on the water at this height is 1e-3 · slope / 12 of slope.
    np.testing.assert_allclose(slope[seen], expected, rtol=8e-5)
    hidden = np.abs(np.angle(np.exp(1j * azimuth))) > math.atan(50 / 12) + 0.01
    assert (slope[hidden] == 0).all()


@pytest.mark.published("Closed form: tangent to a sphere from a point, sin(e − e0) = r/R")
def test_a_round_crown_hides_up_to_its_tangent() -> None:
    """A ball of radius 2 at height 6 and distance 10: e = asin(2/|R|) + atan(6/10)."""
    crown = Crowns(np.array([[0.0, 10.0]]), np.array([2.0]), np.array([8.0]), np.array([4.0]))
    slope = horizon_slope(HERE, HERE, NONE_W, crown)[0]
    tangent = math.tan(math.asin(2 / math.hypot(10, 6)) + math.atan2(6, 10))
    assert slope.max() == pytest.approx(tangent, rel=1e-4)
