"""Areas on the ellipsoid and coordinates between systems."""

import numpy as np
import pytest
import shapely

from geoplan.crs import WGS84, geodesic_area_m2, transformed_points, working_crs

#: Latitude and longitude of the corners [°].
ANTARCTICA = [
    (-63.1, -58), (-72.9, -74), (-71.9, -102), (-74.9, -102), (-74.3, -131), (-77.5, -163),
    (-77.4, 163), (-71.7, 172), (-65.9, 140), (-65.7, 113), (-66.6, 88), (-66.9, 59),
    (-69.8, 25), (-70.0, -4), (-71.0, -14), (-77.3, -33), (-77.9, -46), (-74.7, -61),
]  # fmt: skip


@pytest.mark.published(
    "GeographicLib documentation of Planimeter, Karney (2013), J. Geodesy 87, 43-55: read"
)
def test_area_of_the_eighteen_corners_of_antarctica() -> None:
    corners = [(longitude, latitude) for latitude, longitude in ANTARCTICA]
    area = geodesic_area_m2(shapely.Polygon(corners), WGS84)
    assert area == pytest.approx(13_662_703_680_020.1, abs=0.1)


@pytest.mark.published(
    "An eighth of the WGS 84 ellipsoid, 510 065 621 724 088.4 m² (quoted by a second source)"
)
def test_area_of_an_octant() -> None:
    octant = shapely.Polygon([(0, 0), (90, 0), (90, 90)])
    assert geodesic_area_m2(octant, WGS84) == pytest.approx(510_065_621_724_088.4 / 8, abs=1.0)


@pytest.mark.published(
    "Ordnance Survey, A Guide to Coordinate Systems in Great Britain, annex C: worked point,"
    " recalled"
)
def test_worked_point_of_the_british_grid() -> None:
    longitude = 1 + 43 / 60 + 4.5177 / 3600
    latitude = 52 + 39 / 60 + 27.2531 / 3600
    east, north = transformed_points(
        np.array([longitude]), np.array([latitude]), "EPSG:4277", "EPSG:27700"
    )
    assert east[0] == pytest.approx(651_409.903, abs=1e-3)
    assert north[0] == pytest.approx(313_177.270, abs=1e-3)


@pytest.mark.published("Exact: 100 x 80 m less 40 x 40 and a hole of 20 x 10 m")
def test_area_of_an_l_shape_with_an_island() -> None:
    shape = shapely.Polygon(
        [(0, 0), (100, 0), (100, 40), (60, 40), (60, 80), (0, 80)],
        [[(10, 10), (30, 10), (30, 20), (10, 20)]],
    )
    assert geodesic_area_m2(shape, working_crs(9.5, 56.1)) == pytest.approx(6200.0, abs=1e-4)
