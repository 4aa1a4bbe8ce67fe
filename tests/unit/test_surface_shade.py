"""Sun from a surface model: against walls of the same shape, and against the audit's own look."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from geoplan.audit import sun as audit_sun
from geoplan.audit.evidence import case_of
from geoplan.grid import water_grid
from geoplan.raft import footprints
from geoplan.shade import sun_field
from geoplan.site import FloatArray, ShadeObject, Site, SurfaceRaster
from geoplan.water.solar import (
    AZIMUTHS,
    LEAST_ELEVATION_DEG,
    Crowns,
    Surface,
    Walls,
    horizon_slope,
)
from geoplan.written import WrittenPlan, WrittenRaft
from tests.audit_faults.pond import honest_site
from tests.published.test_sun import NONE_C, NONE_W

SIZE = 160
CORNER_M = -80.0


def model(site: Site, heights: dict[tuple[float, float, float, float], float]) -> SurfaceRaster:
    """Cells of 1 m over 160 m: water and ground at the outline's level, boxes on it."""
    body = site.water_bodies[0]
    at = CORNER_M + np.arange(SIZE) + 0.5
    east, north = np.meshgrid(at, at[::-1])
    surface = np.full((SIZE, SIZE), body.outline_level_m)
    for (west, south, right, top), height in heights.items():
        inside = (east > west) & (east < right) & (north > south) & (north < top)
        surface[inside] = body.outline_level_m + height
    affine = np.array([[1.0, 0.0, CORNER_M + 0.5], [0.0, -1.0, -CORNER_M - 0.5]])
    return SurfaceRaster(surface, affine)


def with_model(site: Site, raster: SurfaceRaster | None, *shade: ShadeObject) -> Site:
    body = replace(site.water_bodies[0], shade=shade, surface_raster=raster)
    return replace(site, water_bodies=(body,))


def hours(site: Site, cell_m: float = 2.0) -> FloatArray:
    body = site.water_bodies[0]
    grid = water_grid(body.outline, cell_m)
    return np.where(grid.water, sun_field(body, site.settings, grid), np.nan)


HOUSE = (-6.0, -27.0, 6.0, -21.0)


def test_an_empty_shore_at_the_waters_level_leaves_the_sky_nearly_open() -> None:
    """Ground at the outline's level stands above low water by less than half a metre."""
    site = honest_site()
    body = site.water_bodies[0]
    open_h = hours(with_model(site, None))
    flat_h = hours(with_model(site, model(site, {})))
    middle = water_grid(body.outline, 2.0).water & (open_h - flat_h < 0.4)
    assert (flat_h <= open_h + 1e-9)[~np.isnan(open_h)].all()
    assert middle.sum() > 0.5 * np.isfinite(open_h).sum()


def test_a_house_in_the_model_shades_at_least_like_its_walls() -> None:
    site = honest_site()
    drawn = hours(with_model(site, None, ShadeObject(shapely.box(*HOUSE), 9.0)))
    seen = hours(with_model(site, model(site, {HOUSE: 9.0})))
    known = np.isfinite(drawn)
    assert (seen <= drawn + 0.02)[known].all()
    # Cells count from where they begin, up to a cell before the wall.
    assert np.median((drawn - seen)[known]) < 0.4
    open_h = hours(with_model(site, None))
    assert np.nanmax(open_h - drawn) > 1.0


def test_model_and_drawn_shade_count_together() -> None:
    site = honest_site()
    raster = model(site, {HOUSE: 9.0})
    tree = ShadeObject(shapely.Point(22, 0), 12.0, 4.0)
    both = hours(with_model(site, raster, tree))
    for alone in (hours(with_model(site, raster)), hours(with_model(site, None, tree))):
        known = np.isfinite(alone)
        assert (both <= alone + 1e-9)[known].all()
        assert (both < alone - 0.1)[known].any()


@pytest.mark.parametrize("turn_deg", [0.0, 23.0])
def test_a_cell_hides_up_to_its_top_from_where_it_begins(turn_deg: float) -> None:
    """A ring of high cells 20 m off: slopes lie between those of its near and its far side."""
    cos, sin = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    affine = np.array([[cos, sin, -40.0 * (cos + sin)], [-sin, cos, 40.0 * (sin - cos)]])
    cols, rows = np.meshgrid(np.arange(81), np.arange(81))
    away = np.hypot(cols - 40.0, rows - 40.0)
    top = np.where((away > 20) & (away < 23), 5.0, np.nan)
    inverse = np.linalg.inv(np.vstack([affine, [0, 0, 1]]))[:2]
    here = np.zeros(1)
    slope = horizon_slope(here, here, NONE_W, NONE_C, Surface(top, inverse))[0]
    assert (slope <= 5.0 / (20 - np.sqrt(0.5)) + 1e-6).all()
    assert (slope >= 5.0 / (20 + np.sqrt(2.0))).all()


@pytest.mark.parametrize("seed", range(6))
def test_walking_by_blocks_is_looking_at_every_cell(seed: int) -> None:
    """A second method: where a direction enters each cell, by the slabs of its sides."""
    rng = np.random.default_rng(seed)
    rows, cols = int(rng.integers(5, 60)), int(rng.integers(5, 60))
    top = np.where(rng.random((rows, cols)) < 0.1, rng.uniform(0, 9, (rows, cols)), np.nan)
    angle, cell_m = rng.uniform(0, 2 * np.pi), rng.uniform(0.7, 3.0)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]]) / cell_m
    place = rng.uniform(-10, max(rows, cols) + 10, 2)  # in the raster or beside it
    to_cell = np.column_stack([turn, place])
    here = np.zeros(1)
    slope = horizon_slope(here, here, NONE_W, NONE_C, Surface(top, to_cell))[0]
    row, col = np.indices(top.shape)
    for sector in range(0, AZIMUTHS, 7):
        way = (sector + 0.5) * 2 * np.pi / AZIMUTHS
        step = turn @ [np.sin(way), np.cos(way)]
        sides = np.stack([col - place[0], row - place[1]])
        low, high = (sides - 0.5) / step[:, None, None], (sides + 0.5) / step[:, None, None]
        enters = np.minimum(low, high).max(axis=0)
        leaves = np.maximum(low, high).min(axis=0)
        met = (leaves > np.maximum(enters, 0)) & np.isfinite(top)
        expected = (top / np.maximum(enters, cell_m / 2))[met].max(initial=0.0)
        if expected > np.tan(np.radians(LEAST_ELEVATION_DEG)) * 1.001:
            assert slope[sector] == pytest.approx(expected, rel=1e-5)
        else:
            assert slope[sector] <= expected + 1e-9


def test_nothing_above_the_water_hides_nothing() -> None:
    here = np.zeros(1)
    for top in (np.full((9, 9), np.nan), np.full((9, 9), -1.0)):
        surface = Surface(top, np.array([[1.0, 0, 4], [0, 1.0, 4]]))
        assert not horizon_slope(here, here, NONE_W, NONE_C, surface).any()


def test_far_ridges_count_up_to_the_reach_of_the_lowest_sun() -> None:
    """A ridge of 10 m at 150 m hides 3.8°; behind a nearer wall it changes nothing."""
    top = np.zeros((3, 400))
    top[:, 350] = 10.0
    surface = Surface(top, np.array([[1.0, 0.0, 200.0], [0.0, 1.0, 1.0]]))
    here = np.zeros(1)
    slope = horizon_slope(here, here, NONE_W, NONE_C, surface)[0]
    east = AZIMUTHS // 4
    assert slope[east] == pytest.approx(10.0 / 149.5, rel=0.001)
    assert slope[3 * east] == 0.0
    wall = Walls(np.array([[5.0, -3.0, 5.0, 3.0]]), np.array([4.0]))
    nearer = horizon_slope(here, here, wall, NONE_C, surface)[0]
    assert nearer[east] == pytest.approx(0.8, rel=0.001)


def test_a_crown_over_the_water_covers_it_and_a_boat_does_not() -> None:
    site = honest_site()
    body = site.water_bodies[0]
    rise = body.levels.high_m - body.outline_level_m
    over = (-3.0, -3.0, 3.0, 3.0)
    crown = hours(with_model(site, model(site, {over: rise + 8.0})))
    boat = hours(with_model(site, model(site, {over: rise + 0.3})))
    flat = hours(with_model(site, model(site, {})))
    row, col = (size // 2 for size in flat.shape)
    assert crown[row, col] < 3.0
    np.testing.assert_array_equal(boat, flat)


@pytest.mark.parametrize("seed", range(2))
def test_planner_and_audit_look_at_the_model_alike(seed: int) -> None:
    rng = np.random.default_rng(seed)
    boxes = {}
    for angle in rng.uniform(0, 2 * np.pi, 8):
        east, north = rng.uniform(26, 40) * np.array([np.sin(angle), np.cos(angle)])
        boxes[east - 4, north - 4, east + 4, north + 4] = float(rng.uniform(6, 16))
    bare = honest_site()
    site = with_model(bare, model(bare, boxes))
    body = site.water_bodies[0]
    grid = water_grid(body.outline, 0.5)
    field = sun_field(body, site.settings, grid)
    raft = footprints([0.0], [0.0], [90.0], [4.0], [2.4])[0]
    row = WrittenRaft("R1", body.water_id, site.settings.raft[0].name, "planned", raft, 4, 2.4, 1)
    written = WrittenPlan(body.crs, (row,), (), (), ())
    finding = next(iter(audit_sun.check_sun(case_of(written, site))))
    corners = shapely.get_coordinates(raft)
    cols = np.floor((corners[:, 0] - grid.west_m) / 0.5).astype(int)
    rows = np.floor((corners[:, 1] - grid.south_m) / 0.5).astype(int)
    planned = field[rows, cols].min()
    assert planned - 0.05 <= finding.measured <= planned + 0.9
    assert 2.0 < finding.measured < 13.5


def test_fine_cells_are_joined_by_their_highest() -> None:
    """Quarter-metre cells with one mast: the mast is not lost."""
    site = honest_site()
    coarse = model(site, {})
    fine = np.repeat(np.repeat(coarse.surface_m, 4, axis=0), 4, axis=1)
    level = site.water_bodies[0].outline_level_m
    fine[4 * 104 + 1 : 4 * 104 + 2, 280:360] = level + 10.0
    affine = np.array([[0.25, 0.0, CORNER_M + 0.125], [0.0, -0.25, -CORNER_M - 0.125]])
    mast = hours(with_model(site, SurfaceRaster(fine, affine)))
    flat = hours(with_model(site, coarse))
    assert np.nanmax(flat - mast) > 1.0


def test_crowns_alone_are_as_before_with_an_empty_model() -> None:
    crowns = Crowns(np.array([[0.0, -8.0]]), np.array([2.0]), np.array([9.0]), np.array([2.0]))
    here = np.zeros(1)
    empty = Surface(np.full((3, 3), np.nan), np.array([[1.0, 0, 1], [0, 1.0, 1]]))
    np.testing.assert_array_equal(
        horizon_slope(here, here, NONE_W, crowns, empty),
        horizon_slope(here, here, NONE_W, crowns),
    )
