"""Cover at three levels, and the uncertainty of areas."""

import numpy as np
import pytest
import shapely

from geoplan.cover import area_sigma_m2, surface_cover, water_edges
from tests.unit.cover_ponds import RAFTS, rectangular_pond


@pytest.mark.published("Exact: 80 m² of rafts on 80 x 20 m with banks of one in three, ± 0.3 m")
def test_cover_at_three_levels() -> None:
    body, fields = rectangular_pond()
    edges = water_edges(body, fields, 3.0)
    areas = [edge.area_m2 for edge in edges]
    assert areas == pytest.approx([1423.24, 1600.0, 1783.24], rel=2e-4)
    covers = [cover.cover_pct for cover in surface_cover(edges, RAFTS, body.crs)]
    assert covers == pytest.approx([5.621, 5.000, 4.486], abs=1.5e-3)
    assert [edge.is_assumed for edge in edges] == [False, False, True]


@pytest.mark.published(
    "Chrisman and Yandell (1988), Surveying and Mapping 48, 241-246, recalled; for a rectangle"
    " sigma √(a² + b²)"
)
@pytest.mark.parametrize(
    ("length_m", "width_m", "sigma_m", "area_sigma"),
    [(2.0, 1.0, 0.02, 0.0447), (80.0, 20.0, 0.5, 41.23), (80.0, 20.0, 0.05, 4.12)],
)
def test_uncertainty_of_a_rectangle(
    length_m: float, width_m: float, sigma_m: float, area_sigma: float
) -> None:
    box = shapely.box(0, 0, length_m, width_m)
    assert area_sigma_m2(box, sigma_m) == pytest.approx(area_sigma, rel=2e-3)


@pytest.mark.published("Second method for Chrisman and Yandell (1988): drawing the corners anew")
def test_uncertainty_of_an_area_by_drawing_its_corners() -> None:
    shape = shapely.Polygon([(0, 0), (80, 0), (90, 30), (40, 15), (0, 20)])
    corner = shapely.get_coordinates(shape)[:-1]
    drawn = corner + np.random.default_rng(1).normal(0, 0.5, (20_000, *corner.shape))
    areas = shapely.area(shapely.polygons(drawn))
    assert area_sigma_m2(shape, 0.5) == pytest.approx(areas.std(), rel=0.02)


@pytest.mark.published("Arithmetic on Chrisman and Yandell (1988): 40 rafts of 2 m² in 1600 m²")
def test_uncertainty_of_the_cover() -> None:
    """5.000 % with 0.130 %, nearly all of it from the edge of the pond."""
    body, fields = rectangular_pond()
    normal = surface_cover(water_edges(body, fields, 3.0), RAFTS, body.crs)[1]
    assert normal.cover_pct == pytest.approx(5.0, abs=1e-6)
    assert normal.sigma_pct == pytest.approx(0.130, abs=5e-4)
