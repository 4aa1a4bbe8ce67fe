"""The edge of the water traced through triangles, against closed forms."""

from functools import reduce

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from geoplan.water.triangle_levels import triangle_rings
from geoplan.water.triangulation import TriangulatedSurface, triangulated


def surface_of(seed: int, *, is_whole: bool = False) -> TriangulatedSurface:
    """A rough bed in a square whose rim stands higher than all in it."""
    rng = np.random.default_rng(seed)
    inner = rng.uniform(1.0, 19.0, (60, 2))
    rim = shapely.get_coordinates(shapely.segmentize(shapely.box(0, 0, 20, 20).exterior, 1.0))[:-1]
    bed = rng.uniform(0.0, 4.0, 60)
    bed = np.round(bed) if is_whole else bed
    surface = triangulated(
        np.concatenate([inner, rim]), np.concatenate([bed, np.full(len(rim), 5.0)])
    )
    assert surface is not None
    return surface


def traced_m2(surface: TriangulatedSurface, level_m: float) -> float:
    """Area within an odd number of rings."""
    rings = triangle_rings(surface, level_m)
    assert rings is not None
    rounds = [shapely.make_valid(shapely.Polygon(ring)) for ring in rings]
    return float(reduce(shapely.symmetric_difference, rounds, shapely.MultiPolygon()).area)


def wet_m2(surface: TriangulatedSurface, level_m: float) -> float:
    """Area below a level, triangle by triangle in closed form."""
    total = 0.0
    for corners, height in zip(
        surface.points_m[surface.triangles], surface.bed_m[surface.triangles], strict=True
    ):
        area, (low, middle, high) = shapely.Polygon(corners).area, np.sort(height)
        if level_m >= high:
            total += area
        elif level_m > middle:
            total += area * (1 - (high - level_m) ** 2 / ((high - low) * (high - middle)))
        elif level_m > low:
            total += area * (level_m - low) ** 2 / ((high - low) * (middle - low))
    return total


@given(st.integers(0, 10_000), st.floats(0.1, 4.9))
def test_the_traced_area_is_that_of_the_triangles(seed: int, level: float) -> None:
    surface = surface_of(seed)
    assert traced_m2(surface, level) == pytest.approx(wet_m2(surface, level), abs=1e-9)


@given(st.integers(0, 10_000), st.integers(1, 4))
def test_ground_at_the_very_level_is_dry(seed: int, level: int) -> None:
    surface = surface_of(seed, is_whole=True)
    flat = surface.bed_m[surface.triangles] == level
    flat_m2 = shapely.area(
        shapely.polygons(surface.points_m[surface.triangles[flat.all(axis=1)]])
    ).sum()
    wet = wet_m2(surface, float(level)) - flat_m2
    assert traced_m2(surface, float(level)) == pytest.approx(wet, abs=1e-9)


def test_an_island_in_a_bowl_is_a_ring_of_its_own() -> None:
    at = np.array([[0, 0], [8, 0], [8, 8], [0, 8], [2, 2], [6, 2], [6, 6], [2, 6], [4, 4]], float)
    surface = triangulated(at, np.array([4.0] * 4 + [0.0] * 4 + [4.0]))
    assert surface is not None
    rings = triangle_rings(surface, 2.0)
    assert rings is not None
    island_m2, round_m2 = sorted(shapely.Polygon(ring).area for ring in rings)
    assert island_m2 == pytest.approx(4.0)
    assert round_m2 - island_m2 == pytest.approx(wet_m2(surface, 2.0))


def test_water_that_reaches_the_hull_has_no_edge() -> None:
    surface = triangulated(
        np.array([[0.0, 0.0], [4.0, 0.0], [0.0, 4.0]]), np.array([0.0, 2.0, 2.0])
    )
    assert surface is not None
    assert triangle_rings(surface, 1.0) is None
