"""Sun and shade: a second method, and what must always hold."""

import numpy as np
import pytest

from geoplan.water.solar import Crowns, Walls, horizon_slope, mean_sun_h, sun_path
from tests.published.test_sun import HERE, NONE_C, NONE_W


def test_shade_by_brute_force_over_the_suns_of_a_season() -> None:
    """A second method: every sun, every wall, by intersecting the ray with the wall."""
    rng = np.random.default_rng(5)
    ends = rng.uniform(-30, 30, (4, 4))
    top = rng.uniform(2, 6, 4)
    path = sun_path(9.5, 56.1, "05-01", "08-20", 2025)
    place = np.array([[3.0, -2.0]])
    slope = horizon_slope(place[:, 0], place[:, 1], Walls(ends, top), NONE_C)
    azimuth = np.radians(path.azimuth_deg)[:, None]
    rise = np.tan(np.radians(path.elevation_deg))
    ax, ay = ends[:, 0] - 3.0, ends[:, 1] + 2.0
    ex, ey = ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1]
    across = np.sin(azimuth) * ey - np.cos(azimuth) * ex
    reach = (ax * ey - ay * ex) / across
    along = (ax * np.cos(azimuth) - ay * np.sin(azimuth)) / across
    hit = (reach > 0) & (along >= 0) & (along <= 1)
    hidden = (hit & (rise[:, None] < top / reach)).any(axis=1)
    expected = (~hidden).sum() * path.step_h / path.day_count
    assert 2.0 < expected < 14.0
    assert mean_sun_h(slope, path)[0] == pytest.approx(expected, rel=0.01)


def test_more_trees_never_give_more_sun() -> None:
    path = sun_path(9.5, 56.1, "04-15", "10-01", 2025, step_min=30)
    few = Crowns(np.array([[0.0, -8.0]]), np.array([2.0]), np.array([9.0]), np.array([2.0]))
    many = Crowns(
        np.array([[0.0, -8.0], [5.0, -9.0]]),
        np.array([2.0, 3.0]),
        np.array([9.0, 12.0]),
        np.array([2.0, 2.0]),
    )
    open_h, few_h, many_h = (
        mean_sun_h(horizon_slope(HERE, HERE, NONE_W, crowns), path)[0]
        for crowns in (NONE_C, few, many)
    )
    assert open_h > few_h > many_h
