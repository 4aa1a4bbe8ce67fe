"""The water's edge and the cover at each level."""

import dataclasses

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from geoplan.cover import area_sigma_m2, edge_at, headroom, surface_cover, water_edges
from geoplan.site import Soundings
from tests.unit.cover_ponds import OUTLINE, RAFTS, rectangular_pond

LEVEL = st.floats(-1.9, 1.5)


@settings(max_examples=20)
@given(st.lists(LEVEL, min_size=3, max_size=3))
def test_higher_water_has_more_area_and_volume_and_holds_the_lower(levels: list[float]) -> None:
    body, fields = rectangular_pond(tuple(sorted(levels)), cell_m=1.0)
    low, normal, high = water_edges(body, fields, 3.0)
    assert low.area_m2 <= normal.area_m2 + 1e-6
    assert normal.area_m2 <= high.area_m2 + 1e-6
    assert low.volume_m3 <= normal.volume_m3 + 1e-9
    assert normal.volume_m3 <= high.volume_m3 + 1e-9
    assert shapely.difference(low.outline, normal.outline).area < 1e-6
    assert shapely.difference(normal.outline, high.outline).area < 1e-6


def test_volumes_are_those_of_the_basin() -> None:
    """Prismoids with sides one in three, 2 m deep at level zero."""

    def exact(level_m: float) -> float:
        def area(above_m: float) -> float:
            return (80 + 6 * above_m) * (20 + 6 * above_m)

        depth = 2.0 + level_m
        return depth / 6 * (area(-2.0) + 4 * area(-2.0 + depth / 2) + area(level_m))

    body, fields = rectangular_pond()
    volumes = [edge.volume_m3 for edge in water_edges(body, fields, 3.0)]
    assert volumes == pytest.approx([exact(-0.3), exact(0.0), exact(0.3)], rel=5e-4)


def test_at_its_own_level_the_surveyed_outline_stands_as_it_is() -> None:
    body, fields = rectangular_pond((-0.3, 0.0004, 0.3))
    normal = water_edges(body, fields, 3.0)[1]
    assert shapely.get_parts(normal.outline)[0].equals(OUTLINE)
    assert not normal.is_assumed


def test_islands_grow_as_the_water_falls_and_shrink_as_it_rises() -> None:
    island = shapely.box(36, 6, 44, 14)
    body, fields = rectangular_pond(outline=OUTLINE.difference(island), cell_m=0.25)
    sides = []
    for edge in water_edges(body, fields, 3.0):
        part = max(shapely.get_parts(edge.outline), key=lambda one: one.area)
        sides.append(np.sqrt(shapely.Polygon(part.interiors[0]).area))
    assert sides == pytest.approx([9.8, 8.0, 6.2], abs=0.1)


def test_a_small_island_drowns() -> None:
    island = shapely.box(39, 9, 41, 11)
    body, fields = rectangular_pond((-0.3, 0.0, 0.5), OUTLINE.difference(island))
    assert len(shapely.get_parts(water_edges(body, fields, 3.0)[2].outline)[0].interiors) == 0


def test_low_water_may_fall_apart_into_pools_or_dry_up() -> None:
    """A waist 8 m wide, at most 1.33 m deep, between two basins of 2 m."""
    shape = shapely.union_all(
        [shapely.box(0, 0, 20, 20), shapely.box(15, 6, 45, 14), shapely.box(40, 0, 60, 20)]
    )
    body, fields = rectangular_pond((-2.5, -1.6, 0.0), shape)
    dry, pools, _ = water_edges(body, fields, 3.0)
    assert dry.outline.is_empty
    assert dry.area_m2 == dry.volume_m3 == 0.0
    assert len(shapely.get_parts(pools.outline)) == 2
    cover = surface_cover([dry], RAFTS, body.crs)[0]
    assert cover.cover_pct == 100.0


def test_unsurveyed_water_of_a_sounded_pond_counts_as_dry_below_the_outline() -> None:
    body, fields = rectangular_pond()
    bed = np.where(fields.grid.water, 0.0, np.nan)
    edges = water_edges(body, dataclasses.replace(fields, bed_m=bed), 3.0)
    assert [edge.area_m2 > 0 for edge in edges] == [False, True, True]
    assert edges[1].volume_m3 == 0.0


def test_without_any_survey_the_edge_follows_the_assumed_bank() -> None:
    """One in three from 80 x 20 m at 0.3 m below and above."""
    body, fields = rectangular_pond()
    empty = np.zeros(0)
    unsounded = dataclasses.replace(body, soundings=Soundings(empty, empty, empty, empty))
    edges = water_edges(unsounded, fields, 3.0)
    assert [edge.area_m2 for edge in edges] == pytest.approx([1423.24, 1600.0, 1783.24], rel=1e-6)
    assert [edge.is_assumed for edge in edges] == [True, False, True]


def test_rafts_that_overlap_count_once_and_one_over_land_counts_whole() -> None:
    body, fields = rectangular_pond()
    edges = water_edges(body, fields, 3.0)
    twice = surface_cover(edges, [shapely.box(10, 5, 14, 7), shapely.box(12, 5, 16, 7)], body.crs)
    assert twice[1].raft_area_m2 == pytest.approx(12.0, rel=1e-6)
    ashore = surface_cover(edges, [shapely.box(-2, 5, 2, 7)], body.crs)
    assert ashore[0].raft_area_m2 == ashore[2].raft_area_m2 == pytest.approx(8.0, rel=1e-6)


def test_without_rafts_nothing_is_covered() -> None:
    body, fields = rectangular_pond((-2.5, 0.0, 0.3))
    covers = surface_cover(water_edges(body, fields, 3.0), [], body.crs)
    assert [(cover.cover_pct, cover.sigma_pct) for cover in covers] == [(0.0, 0.0)] * 3


def test_more_vertices_on_a_line_do_not_make_the_area_more_certain() -> None:
    body, fields = rectangular_pond()
    normal = water_edges(body, fields, 3.0)[1]
    dense = dataclasses.replace(normal, outline=shapely.segmentize(normal.outline, 0.5))
    plain_cover, dense_cover = surface_cover([normal, dense], RAFTS, body.crs)
    assert dense_cover.sigma_pct == pytest.approx(plain_cover.sigma_pct, rel=1e-9)
    assert area_sigma_m2(dense.outline, 0.5) < 0.3 * area_sigma_m2(normal.outline, 0.5)


def test_a_hole_adds_to_the_uncertainty_of_an_area() -> None:
    """Two rings of independent corners: squares add."""
    hole = shapely.box(30, 5, 40, 15)
    whole = area_sigma_m2(OUTLINE.difference(hole), 0.5)
    assert whole == pytest.approx(np.hypot(area_sigma_m2(OUTLINE, 0.5), area_sigma_m2(hole, 0.5)))


def test_a_bank_that_leans_over_the_water_is_refused() -> None:
    body, fields = rectangular_pond()
    with pytest.raises(ValueError, match="bank_slope must not be negative"):
        water_edges(body, fields, -1.0)


def test_any_level_may_be_asked_for() -> None:
    """80 m² of rafts on the basin at +0.15 m: sides of 80.9 and 20.9 m, in closed form."""
    body, fields = rectangular_pond((-0.3, 0.0, 0.3), cell_m=1.0)
    edge = edge_at(body, fields, "asked", 0.15, 3.0)
    assert edge.area_m2 == pytest.approx(80.9 * 20.9, rel=1e-4)
    (cover,) = surface_cover([edge], RAFTS, body.crs)
    assert cover.cover_pct == pytest.approx(100 * cover.raft_area_m2 / (80.9 * 20.9), rel=1e-4)


def test_headroom_never_lets_the_limit_be_passed() -> None:
    body, fields = rectangular_pond((-0.3, 0.0, 0.3), cell_m=1.0)
    normal = surface_cover(water_edges(body, fields, 3.0), RAFTS, body.crs)[1]
    for limit in (1.0, 5.0, 5.1, 20.0):
        more = headroom(normal, limit, 2.0)
        allowed = limit / 100 * normal.water_area_m2
        assert more == 0 or normal.raft_area_m2 + 2.0 * more <= allowed + 1e-6
        assert normal.raft_area_m2 + 2.0 * (more + 1) > allowed
