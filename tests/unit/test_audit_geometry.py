"""The audit's own frame, bed, edges, volumes and jets, against closed forms and publications."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Transformer

from geoplan.audit import audit_plan
from geoplan.audit.bed import CellBed, raw_bed
from geoplan.audit.edges import _joined, edge_at, volume_m3
from geoplan.audit.evidence import samples
from geoplan.audit.frame import frame_of
from geoplan.audit.neighbours import jet_reach_m
from geoplan.audit.overlaid_bed import OverlaidBed
from geoplan.audit.rays import to_edge_m
from geoplan.errors import GeoplanError
from geoplan.site import BedRaster, Contour, Inflow, Levels, Soundings, WaterBody
from geoplan.written import WrittenPlan
from tests.audit_faults.pond import (
    CRS,
    honest_plan,
    honest_site,
    materials,
    posts,
    raft,
    retaped,
    settings,
)
from tests.laws.ponds import varied_site

NONE = np.zeros(0)


def body(outline: shapely.Polygon, level_m: float = 10.0, **parts: object) -> WaterBody:
    water = WaterBody(
        "w", "", CRS, outline, level_m, Levels(9.5, 10, 10.5), 20, Soundings(NONE, NONE, NONE, NONE)
    )
    return replace(water, **parts)  # type: ignore[arg-type]


def frame_and_outline(water: WaterBody) -> tuple[object, shapely.Polygon]:
    frame = frame_of(water.outline, water.crs, CRS)
    return frame, frame.of_site(water.outline)


def sounded(easting: np.ndarray, northing: np.ndarray, bed: np.ndarray) -> Soundings:
    return Soundings(easting, northing, bed, np.full(len(bed), 0.05))


def lattice(half: float, step: float) -> tuple[np.ndarray, np.ndarray]:
    axis = np.arange(-half, half + step / 2, step)
    easting, northing = np.meshgrid(axis, axis)
    return easting.ravel(), northing.ravel()


# Frame


@pytest.mark.published(
    "C. F. F. Karney, J. Geodesy 87 (2013): an eighth of the WGS 84 ellipsoid holds"
    " 63 758 202 715 511.06 m2 (F2; seen quoted by a third party)"
)
def test_area_of_an_octant() -> None:
    frame = frame_of(shapely.box(44, 44, 46, 46), "EPSG:4326", "EPSG:4326")
    octant = frame.of_file(shapely.Polygon([(0, 0), (90, 0), (0, 90)]))
    assert frame.area_m2(octant) == pytest.approx(63_758_202_715_511.06, rel=1e-9)


@pytest.mark.published(
    "Ordnance Survey, A guide to coordinate systems in Great Britain, worked example: 52 39 27.2531"
    " N, 1 43 4.5177 E (OSGB36) is E 651409.903, N 313177.270 (F4; recalled)"
)
def test_axis_order_and_datum_of_the_national_grid() -> None:
    point = shapely.Point(651409.903, 313177.270)
    longitude, latitude = 1 + 43 / 60 + 4.5177 / 3600, 52 + 39 / 60 + 27.2531 / 3600
    frame = frame_of(point.buffer(100), "EPSG:27700", "EPSG:4277")
    there = frame.of_site(point)
    here = frame.of_file(shapely.Point(longitude, latitude))
    assert shapely.distance(there, here) < 2e-3


def test_lengths_are_geodesic_where_the_grid_is_not() -> None:
    # At the central meridian of a UTM zone the scale is 0.9996: 99.96 m of grid are 100 m.
    frame = frame_of(shapely.box(499_000, 6e6, 501_000, 6_001_000), "EPSG:25832", "EPSG:25832")
    line = frame.of_file(shapely.LineString([(500_000, 6e6), (500_000, 6e6 + 99.96)]))
    assert frame.steps_m(line)[0] == pytest.approx(100.0, abs=1e-5)


def test_holes_are_land() -> None:
    ring = shapely.box(0, 0, 100, 80).difference(shapely.box(10, 10, 30, 20))
    water = body(ring)
    frame, outline = frame_and_outline(water)
    assert frame.area_m2(outline) == pytest.approx(7800.0, rel=1e-7)  # type: ignore[attr-defined]


@pytest.mark.parametrize("crs", ["EPSG:25832", "EPSG:4326", "EPSG:3857", "EPSG:27700", "EPSG:4978"])
def test_the_verdict_does_not_hang_on_the_crs_of_the_file(crs: str) -> None:
    plan = honest_plan()
    way = Transformer.from_crs(CRS.replace("+ellps", "+datum"), crs, always_xy=True)

    def turn(geometry: shapely.Geometry) -> shapely.Geometry:
        return shapely.transform(geometry, lambda c: np.column_stack(way.transform(*c.T)))

    def put(row: object) -> object:
        easting, northing = way.transform(row.easting_m, row.northing_m)  # type: ignore[attr-defined]
        return replace(row, easting_m=easting, northing_m=northing)  # type: ignore[type-var]

    turned = WrittenPlan(
        crs,
        tuple(replace(row, outline=turn(row.outline)) for row in plan.rafts),
        tuple(put(row) for row in plan.moorings),  # type: ignore[misc]
        tuple(replace(row, path=turn(row.path)) for row in plan.routes),
        tuple(replace(row, outline=turn(row.outline)) for row in plan.edges),
        materials=plan.materials,
        loads=plan.loads,
        marks=tuple(put(row) for row in plan.marks),  # type: ignore[misc]
        tapes=tuple(put(row) for row in plan.tapes),  # type: ignore[misc]
    )
    report = audit_plan(turned, honest_site())
    failed = {finding.check for finding in report.findings if not finding.passed}
    # Earth-centred coordinates have no place on a map, and nothing is judged.
    assert failed == ({"record"} if crs == "EPSG:4978" else set())


# Bed


@pytest.mark.published(
    "A plane is reproduced by a triangulation, and a sounding at its own place: exact (F16)"
)
def test_plane_is_reproduced_and_the_sounding_returned() -> None:
    easting, northing = lattice(40, 5)
    plane = 7 + 0.02 * easting - 0.03 * northing
    water = body(shapely.box(-60, -60, 60, 60), soundings=sounded(easting, northing, plane))
    frame, _ = frame_and_outline(water)
    bed = raw_bed(water, frame, 0.05)  # type: ignore[arg-type]
    rng = np.random.default_rng(1)
    places = rng.uniform(-39, 39, (500, 2))
    got, sigma = bed.at(places)
    assert got == pytest.approx(7 + places @ [0.02, -0.03], abs=1e-6)
    assert sigma == pytest.approx(0.05)
    at_soundings, _ = bed.at(np.column_stack([easting, northing]))
    assert at_soundings == pytest.approx(plane, abs=1e-6)


def test_two_soundings_in_one_place_leave_the_shoaler() -> None:
    place = np.array([0.0, 0.0, 10.0]), np.array([0.0, 0.0, 0.0]), np.array([7.0, 8.5, 7.0])
    water = body(shapely.box(-30, -30, 30, 30), soundings=sounded(*place))
    frame, _ = frame_and_outline(water)
    bed = raw_bed(water, frame, 0.05)  # type: ignore[arg-type]
    assert bed.at(np.zeros((1, 2)))[0][0] == pytest.approx(8.5, abs=1e-6)
    assert sorted(bed.inside(shapely.box(-1, -1, 1, 1))[0]) == [7.0, 8.5]


def test_contours_count_as_soundings_along_their_line() -> None:
    ring = shapely.LineString([(-10, -10), (10, -10), (10, 10), (-10, 10), (-10, -10)])
    water = body(shapely.box(-20, -20, 20, 20), contours=(Contour(ring, 8.0),))
    frame, outline = frame_and_outline(water)
    bed = raw_bed(water, frame, 0.05)  # type: ignore[arg-type]
    got, sigma = bed.at(np.array([[0.0, 0.0], [15.0, 0.0]]))
    assert got == pytest.approx([8.0, 9.0], abs=0.01)
    assert sigma == pytest.approx(0.05)
    # the bank falls 2 m in 10 m: at 9.5 m the edge lies 2.5 m in, less what corners cut off
    low = edge_at(outline, 10.0, bed, 9.5, 3.0)
    assert shapely.distance(shapely.Point(0, 0), low.exterior) == pytest.approx(17.5, abs=0.01)


def test_beyond_the_triangles_the_nearest_node_holds() -> None:
    water = body(shapely.box(-5, -5, 5, 5))
    frame, _ = frame_and_outline(water)
    bed = raw_bed(water, frame, 0.05)  # type: ignore[arg-type]
    assert bed.at(np.array([[50.0, 0.0]]))[0][0] == pytest.approx(10.0)


# Raster


def tilted(
    rows: int, cols: int, cell: float, turn_deg: float = 20.0
) -> tuple[BedRaster, np.ndarray]:
    """A raster of the plane 8 + 0.02 e on a turned lattice about the origin."""
    angle = math.radians(turn_deg)
    turn = cell * np.array(
        [[math.cos(angle), math.sin(angle)], [math.sin(angle), -math.cos(angle)]]
    )
    shift = -turn @ [(cols - 1) / 2, (rows - 1) / 2]
    col, row = np.meshgrid(np.arange(cols), np.arange(rows))
    easting = turn[0, 0] * col + turn[0, 1] * row + shift[0]
    return BedRaster(8 + 0.02 * easting, np.column_stack([turn, shift])), easting


def raster_bed(raster: BedRaster, outline: shapely.Polygon) -> tuple[CellBed, shapely.Polygon]:
    water = body(outline, bed_raster=raster)
    frame, moved = frame_and_outline(water)
    bed = raw_bed(water, frame, 0.1)  # type: ignore[arg-type]
    assert isinstance(bed, CellBed)
    return bed, moved


def test_raster_plane_is_reproduced_and_cut() -> None:
    raster, _ = tilted(160, 160, 1.0)
    bed, outline = raster_bed(raster, shapely.box(-40, -30, 40, 30))
    places = np.random.default_rng(2).uniform(-30, 30, (300, 2))
    got, sigma = bed.at(places)
    assert got == pytest.approx(8 + 0.02 * places[:, 0], abs=1e-6)
    assert (sigma == 0.1).all()
    # under 8.2 m lies what is west of 10 m; the water there is a wedge 50 m long and 1 m deep
    west = edge_at(outline, 10.0, bed, 8.2, 3.0)
    assert shapely.area(west) == pytest.approx(50 * 60, rel=1e-6)
    assert volume_m3(outline, bed, 8.2) == pytest.approx(50 * 1.0 / 2 * 60, rel=0.01)
    inside, _ = bed.inside(shapely.box(-2, -1, 2, 1))
    assert 6 <= len(inside) <= 10
    assert inside == pytest.approx(8.0, abs=0.04)


def test_raster_is_believed_two_cells_beyond_its_last_valid_one() -> None:
    raster, easting = tilted(100, 100, 1.0, turn_deg=0.0)
    holed = BedRaster(np.where(easting > 0, np.nan, raster.bed_m), raster.affine)
    bed, _ = raster_bed(holed, shapely.box(-20, -20, 20, 20))
    got, _ = bed.at(np.array([[-5.2, 0.0], [0.9, 0.0], [4.0, 0.0]]))
    assert got[0] == pytest.approx(8 - 0.02 * 5.2, abs=1e-6)
    assert got[1] == pytest.approx(8 - 0.02 * 0.5, abs=1e-6)
    assert np.isnan(got[2])


def test_raster_elsewhere_is_no_survey() -> None:
    raster, _ = tilted(20, 20, 1.0)
    outline = shapely.box(5000, 0, 5060, 40)
    water = body(outline, bed_raster=raster)
    frame, _ = frame_and_outline(water)
    assert len(raw_bed(water, frame, 0.1).measured_m) == 0  # type: ignore[arg-type]


def test_soundings_put_a_raster_right_and_where_it_ends_stand_alone() -> None:
    raster, easting = tilted(100, 100, 1.0, turn_deg=0.0)
    holed = BedRaster(np.where(easting > 5.0, np.nan, 8.0), raster.affine)
    lattice = np.stack(np.meshgrid(np.arange(-18.0, 19, 4), np.arange(-18.0, 19, 4)), -1)
    east, north = lattice.reshape(-1, 2).T
    sounded = Soundings(east, north, np.full(100, 8.4), np.full(100, 0.02))
    water = body(shapely.box(-20, -20, 20, 20), bed_raster=holed, soundings=sounded)
    frame, outline = frame_and_outline(water)
    bed = raw_bed(water, frame, 0.1)  # type: ignore[arg-type]
    assert isinstance(bed, OverlaidBed)
    got, sigma = bed.at(np.array([[-8.0, 3.0], [14.0, 3.0], [-19.9, 0.0]]))
    # 0.4 m higher between soundings; over land's edge it fades to the raster; without one, points.
    assert got[:2] == pytest.approx([8.4, 8.4], abs=1e-6)
    assert got[2] == pytest.approx(8.0 + 0.4 * 0.1 / 2.0, abs=0.01)
    assert sigma == pytest.approx([0.02, 0.02, 0.1])
    inside, _ = bed.inside(shapely.box(-3, -3, 3, 3))
    assert len(inside) >= 36
    assert inside == pytest.approx(8.4, abs=1e-6)
    # Half the bank's way is above 8.2 m in the raster's part; the whole is one lattice of nodes.
    assert volume_m3(outline, bed, 10.0) == pytest.approx(1600 * 1.6, rel=0.06)


def test_a_sounding_far_away_never_lowers_a_raster() -> None:
    raster, _ = tilted(160, 160, 1.0, turn_deg=0.0)
    flat = BedRaster(np.full((160, 160), 8.0), raster.affine)
    east, north = np.full(6, -30.0), np.arange(6.0)
    for step in (-0.5, 0.5):
        sounded = Soundings(east, north, np.full(6, 8.0 + step), np.full(6, 0.05))
        water = body(shapely.box(-40, -30, 40, 30), bed_raster=flat, soundings=sounded)
        frame, _ = frame_and_outline(water)
        bed = raw_bed(water, frame, 0.1, 10.0)  # type: ignore[arg-type]
        got, sigma = bed.at(np.array([[-15.0, 2.0], [-29.5, 2.0]]))
        assert got[0] == 8.0 if step < 0 else got[0] > 8.05
        assert got[1] == pytest.approx(8.0 + step, abs=0.05)
        assert sigma[0] == 0.1


def test_raft_over_a_raster_is_judged_by_soundings_too() -> None:
    raster, _ = tilted(200, 200, 0.5, turn_deg=0.0)
    flat = BedRaster(np.full((200, 200), 8.0), raster.affine)
    site = honest_site(bed_raster=flat)
    plan = replace(honest_plan(), edges=())
    failed = {f.check for f in audit_plan(plan, site).findings if not f.passed}
    assert failed == {"cover"}  # no edges are written
    sounded = site.water_bodies[0].soundings
    bed = sounded.bed_m + np.where(np.hypot(sounded.easting_m + 6, sounded.northing_m) < 3, 0.9, 0)
    shoal = replace(site.water_bodies[0], soundings=replace(sounded, bed_m=bed))
    report = audit_plan(plan, replace(site, water_bodies=(shoal,)))
    found = [f for f in report.findings if f.check == "depth" and not f.passed]
    assert [f.raft_id for f in found] == ["R1"]
    assert found[0].measured == pytest.approx(9.5 - 8.9 - 1.645 * 0.05 - 1.05, abs=1e-3)


def test_raster_of_a_hundred_thousand_cells_is_cut_in_time() -> None:
    axis = np.arange(316) - 157.5
    col, row = np.meshgrid(axis, axis)
    basin = BedRaster(
        10 - 3 * np.exp(-(col**2 + row**2) / 9000), np.array([[1.0, 0, -157.5], [0, 1.0, -157.5]])
    )
    bed, outline = raster_bed(basin, shapely.Point(0, 0).buffer(155, quad_segs=64))
    low = edge_at(outline, 10.0, bed, 9.0, 3.0)
    # 1 m of a Gaussian basin 3 m deep is reached at r² = 9000 ln 3
    assert shapely.area(low) == pytest.approx(math.pi * 9000 * math.log(3), rel=1e-3)


def test_raft_over_a_raster_is_judged_by_its_cells() -> None:
    raster, _ = tilted(200, 200, 0.5, turn_deg=0.0)
    flat = np.full(raster.bed_m.shape, 8.0)
    site = honest_site(
        soundings=Soundings(NONE, NONE, NONE, NONE), bed_raster=BedRaster(flat, raster.affine)
    )
    plan = replace(honest_plan(), edges=())
    failed = {f.check for f in audit_plan(plan, site).findings if not f.passed}
    assert failed == {"cover"}  # no edges are written
    flat[100, 88] = 8.9  # one cell under the first raft, at (-5.75, -0.25)
    shoal = replace(site.water_bodies[0], bed_raster=BedRaster(flat, raster.affine))
    report = audit_plan(plan, replace(site, water_bodies=(shoal,)))
    found = [f for f in report.findings if f.check == "depth" and not f.passed]
    assert [f.raft_id for f in found] == ["R1"]
    assert found[0].measured == pytest.approx(9.5 - 8.9 - 1.645 * 0.05 - 1.05, abs=1e-6)


# Edges and volumes


def test_edge_at_and_above_its_own_level() -> None:
    water = body(shapely.box(0, 0, 80, 20))
    frame, outline = frame_and_outline(water)
    bed = raw_bed(water, frame, 0.05)  # type: ignore[arg-type]
    assert edge_at(outline, 10.0, bed, 10.0005, 3.0) is outline
    high = edge_at(outline, 10.0, bed, 10.3, 3.0)
    assert shapely.area(high) == pytest.approx(1600 + 200 * 0.9 + math.pi * 0.81, rel=1e-4)


def test_where_nothing_is_known_the_edge_follows_the_assumed_bank() -> None:
    """0.1 m lower on a bank of one in three: 0.3 m in from every side."""
    water = body(shapely.box(0, 0, 80, 20))
    frame, outline = frame_and_outline(water)
    bed = raw_bed(water, frame, 0.05)  # type: ignore[arg-type]
    low = edge_at(outline, 10.0, bed, 9.9, 3.0)
    assert shapely.area(low) == pytest.approx(79.4 * 19.4, rel=1e-6)


@pytest.mark.published(
    "Conical frustum, radii 20 and 10 m, depth 2 m: h/3 (A1 + A2 + root A1 A2) = 1466.077 m3,"
    " exact (F9)"
)
def test_volume_and_edge_of_a_frustum() -> None:
    turns = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    rim = np.column_stack([np.cos(turns), np.sin(turns)])
    rings = [(20.0 - 10 * k / 10, 10.0 - 2 * k / 10) for k in range(1, 11)]
    places = np.concatenate([rim * radius for radius, _ in rings])
    beds = np.repeat([height for _, height in rings], len(turns))
    water = body(shapely.Polygon(20 * rim), soundings=sounded(*places.T, beds))
    frame, outline = frame_and_outline(water)
    bed = raw_bed(water, frame, 0.05)  # type: ignore[arg-type]
    assert volume_m3(outline, bed, 10.0) == pytest.approx(1466.077, rel=5e-4)
    half = edge_at(outline, 10.0, bed, 9.0, 3.0)
    assert shapely.area(half) == pytest.approx(math.pi * 15**2, rel=5e-4)
    cone = math.pi / 3 * (15**2 + 10**2 + 150)
    assert volume_m3(outline, bed, 9.0) == pytest.approx(cone, rel=1e-3)


@given(st.lists(st.floats(-3, 3), min_size=3, max_size=3), st.floats(-2, 2))
def test_prism_agrees_with_quadrature(heights: list[float], level: float) -> None:
    class OneTriangle:
        def triangles(self) -> tuple[np.ndarray, np.ndarray]:
            corners = np.array([[[0.0, 0.0], [4.0, 0.0], [0.0, 3.0]]])
            return corners, np.array([heights])

    # midpoints of n² congruent triangles: second order, also across the water's edge
    n = 120
    i, j = (a.ravel() for a in np.meshgrid(np.arange(n), np.arange(n)))
    up, down = i + j < n, i + j < n - 1
    u = np.concatenate([(i[up] + 1 / 3) / n, (i[down] + 2 / 3) / n])
    v = np.concatenate([(j[up] + 1 / 3) / n, (j[down] + 2 / 3) / n])
    bed = heights[0] * (1 - u - v) + heights[1] * u + heights[2] * v
    wanted = 6.0 * np.maximum(level - bed, 0.0).mean()
    got = volume_m3(shapely.box(-1, -1, 5, 5), OneTriangle(), level)  # type: ignore[arg-type]
    assert got == pytest.approx(wanted, abs=2e-3)


@pytest.mark.parametrize("number", [45, 138, 266, 383])
def test_dry_ground_is_all_that_the_triangles_leave_dry(number: int) -> None:
    """Second method: the volume in closed form grows with the level by the area of the water."""
    (water,) = varied_site(number, (10.0, 22.0)).water_bodies
    frame, outline = frame_and_outline(water)
    bed, low = raw_bed(water, frame, 0.05, None), water.levels.low_m
    found = edge_at(outline, water.outline_level_m, bed, low, 3.0).area
    step = 1e-5
    grown = volume_m3(outline, bed, low + step) - volume_m3(outline, bed, low - step)
    assert found == pytest.approx(grown / (2 * step), abs=0.01)


def test_rays_end_at_the_first_edge() -> None:
    pond = shapely.box(0, 0, 10, 10) - shapely.box(4, 4, 6, 6) | shapely.box(12, 0, 20, 10)
    ways = np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.6, 0.8]])
    away = to_edge_m(pond, np.array([[1.0, 5.0], [13.0, 2.0], [30.0, 5.0]]), ways)
    np.testing.assert_allclose(away[0], [3.0, 1.0, 5.0, 6.25])
    np.testing.assert_allclose(away[1], [7.0, 1.0, 8.0, 10.0])
    np.testing.assert_allclose(away[2], [np.inf, 10.0, np.inf, np.inf])


def test_water_falls_with_the_level() -> None:
    rng = np.random.default_rng(4)
    places = rng.uniform(-25, 25, (300, 2))
    water = body(
        shapely.box(-30, -30, 30, 30), soundings=sounded(*places.T, rng.uniform(7, 9.8, 300))
    )
    frame, outline = frame_and_outline(water)
    bed = raw_bed(water, frame, 0.05)  # type: ignore[arg-type]
    levels = np.linspace(7, 10, 13)
    edges = [edge_at(outline, 10.0, bed, level, 3.0) for level in levels]
    volumes = [volume_m3(outline, bed, level) for level in levels]
    for lower, higher in pairwise(edges):
        assert shapely.area(shapely.difference(lower, higher)) < 1e-6
    # the change of volume between two levels lies between the two areas times the rise
    for k in range(len(levels) - 2):
        rise = volumes[k + 1] - volumes[k]
        step = levels[1] - levels[0]
        assert edges[k].area * step - 1e-6 <= rise <= edges[k + 1].area * step + 1e-6


# Samples and jets


def test_samples_hold_corners_and_edges() -> None:
    outline = shapely.box(0, 0, 4, 2.4)
    points = samples(outline)
    assert {tuple(c) for c in shapely.get_coordinates(outline)} <= {tuple(p) for p in points}
    gaps = shapely.distance(shapely.points(points)[:, None], outline)
    assert gaps.max() == 0
    anywhere = np.random.default_rng(3).uniform((0, 0), (4, 2.4), (500, 2))
    nearest = np.hypot(*(anywhere[:, None] - points).transpose(2, 0, 1)).min(axis=1)
    assert nearest.max() < 0.25 / math.sqrt(2) + 1e-9


@pytest.mark.published(
    "Albertson et al. 1950: plane jet 2.28 U0 root(b0/x); D 0.6, h 1.2, U0 2 reach 0.3 m/s at"
    " 54.4 m (C7; constant recalled)"
)
def test_plane_jet() -> None:
    inflow = Inflow("a", shapely.Point(0, 0), None, 2000 * math.pi * 0.36 / 4, 0.6)
    assert jet_reach_m(inflow, 1.2, 0.3) == pytest.approx(54.4, abs=0.05)


@pytest.mark.published("Albertson et al. 1950: round jet 6.2 D U0/x (C6; constant recalled)")
def test_round_jet() -> None:
    # in very deep water the round jet is the longer: 6.2 x 0.3 x 1 / 0.3
    inflow = Inflow("a", shapely.Point(0, 0), 1000 * math.pi * 0.09 / 4, None, 0.3)
    assert jet_reach_m(inflow, 500.0, 0.3) == pytest.approx(6.2, rel=1e-12)


def test_jet_without_pipe_or_flow_or_speed() -> None:
    here = shapely.Point(0, 0)
    assert jet_reach_m(Inflow("a", here, 5.0), 1.0, 0.3) == 0
    assert jet_reach_m(Inflow("a", here, None, None, 0.3), 1.0, 0.3) == 0
    slow = Inflow("a", here, 1000 * 0.29 * math.pi * 0.09 / 4, None, 0.3)
    assert jet_reach_m(slow, 1.0, 0.3) == 0
    pond = jet_reach_m(Inflow("a", here, 500.0, None, 0.5), 0.1, 0.3)
    assert pond == jet_reach_m(Inflow("a", here, 500.0, None, 0.5), 0.5, 0.3)


# Size of the work


def test_two_hundred_rafts_on_a_lake_are_judged() -> None:
    easting, northing = lattice(136, 8)
    kind = settings().raft[0].model_copy(update={"stock": None})
    site = honest_site(
        settings=settings(budget={"limit": 1e9}, wind={"design_m_s": 0.0}).model_copy(
            update={"raft": (kind,)}
        ),
        outline=shapely.box(-141, -141, 141, 141),
        soundings=sounded(easting, northing, np.full(len(easting), 8.0)),
        rafts=(),
        launches=(),
        marks=(),
        keep_clear=(),
        inflows=(),
        outlets=(),
    )
    places = {f"R{i}-{j}": (-95.0 + 10 * i, -45.0 + 10 * j) for i in range(20) for j in range(10)}
    plan = WrittenPlan(
        CRS,
        tuple(raft(name, *place) for name, place in places.items()),
        tuple(post for name, place in places.items() for post in posts(name, *place)),
        (),
        (),
    )
    blank = {"mark_1": "", "mark_2": "", "tape_1_m": None, "tape_2_m": None}
    plan = replace(
        plan,
        tapes=tuple(replace(row, **blank) for row in retaped(plan).tapes),  # type: ignore[arg-type]
        materials=materials(len(places)),
    )
    report = audit_plan(plan, site)
    assert {f.check for f in report.findings if not f.passed} == {"cover"}  # no edges are written
    assert sum(f.check == "depth" and f.passed for f in report.findings) == 200


def test_dry_ground_that_cannot_be_joined_is_not_taken_for_water() -> None:
    # Two squares that overlap by half are no parts of one bed: their union keeps 1.5 m² of 2.
    parts = np.array([shapely.box(0, 0, 1, 1), shapely.box(0.5, 0, 1.5, 1)])
    with pytest.raises(GeoplanError, match=r"could not join 2\.0 m² of dry ground"):
        _joined(parts)
