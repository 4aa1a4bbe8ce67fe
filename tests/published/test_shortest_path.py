"""Shortest paths round obstacles whose length is known in closed form."""

import math

import pytest
import shapely
from shapely.geometry import Point

from geoplan.launch.paths import shortest_path

FAR = shapely.box(-50, -50, 50, 50)


@pytest.mark.published(
    "Taut string, exact: two tangents and an arc, 2 sqrt(10² - 5²) + 5 pi/3 = 22.556496"
)
def test_round_a_circle() -> None:
    """Circle of radius 5 as a polygon drawn from outside; chord excess below 2e-5 m."""
    sides = 2048
    radius = 5.0 / math.cos(math.pi / sides)
    corners = [
        (radius * math.cos(k * math.tau / sides), radius * math.sin(k * math.tau / sides))
        for k in range(sides)
    ]
    water = FAR.difference(shapely.Polygon(corners))
    path = shortest_path(water, Point(-10, 0), Point(10, 0))
    assert path is not None
    assert -5e-7 <= path.length - 22.556496 < 2e-5


@pytest.mark.published("Exact: round a 6 x 6 square by two corners, 2 sqrt(58) + 6 = 21.231546")
def test_round_a_square() -> None:
    """Tolerance: half the last printed digit."""
    water = FAR.difference(shapely.box(-3, -3, 3, 3))
    path = shortest_path(water, Point(-10, 0), Point(10, 0))
    assert path is not None
    assert path.length == pytest.approx(21.231546, abs=5e-7)


@pytest.mark.published(
    "Exact: L-shape of 6200 m² by its inner corner, sqrt(35² + 5²) + sqrt(5² + 35²) = 70.710678"
)
def test_round_the_corner_of_an_l_shape() -> None:
    """The straight line of 56.568542 m would cross land. Tolerance: half the last digit."""
    water = shapely.Polygon([(0, 0), (100, 0), (100, 40), (60, 40), (60, 80), (0, 80)])
    path = shortest_path(water, Point(95, 35), Point(55, 75))
    assert path is not None
    assert path.length == pytest.approx(70.710678, abs=5e-7)
    assert list(path.coords) == [(95.0, 35.0), (60.0, 40.0), (55.0, 75.0)]


@pytest.mark.published(
    "Taut string round a wall's tip: two right triangles 30, 40, 50 give 50 + 50 = 100.000 m"
)
def test_round_the_tip_of_a_wall() -> None:
    """The wall is 0.2 mm thick, which adds as much at most."""
    wall = shapely.box(-1e-4, 0, 1e-4, 100)
    water = shapely.box(-100, -100, 100, 90).difference(wall)
    path = shortest_path(water, Point(-40, 30), Point(40, 30))
    assert path is not None
    assert path.length == pytest.approx(100.0, abs=5e-4)
