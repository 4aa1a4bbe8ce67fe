"""Islands that appear and pools that part, in a pond with a planted mound and ridge."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from geoplan.cover import water_edges
from geoplan.grid import SiteFields
from geoplan.low_water import appeared_islands, low_water_notes
from geoplan.plan import Route
from geoplan.site import LaunchPlace
from tests.unit.cover_ponds import OUTLINE, rectangular_pond
from tests.unit.exports.small_plan import raft


def with_bed(fields: SiteFields, raised: np.ndarray, top_m: float) -> SiteFields:
    """The same with part of the bed raised to a height."""
    bed = np.where(raised & fields.grid.water, np.fmax(fields.bed_m, top_m), fields.bed_m)
    return replace(fields, bed_m=bed, reliable_bed_m=bed)


BODY, PLAIN = rectangular_pond()
EAST, NORTH = np.meshgrid(PLAIN.grid.easting_m, PLAIN.grid.northing_m)


def test_a_mound_between_low_and_normal_level_is_one_island_of_its_area() -> None:
    fields = with_bed(PLAIN, np.hypot(EAST - 30, NORTH - 10) < 4.0, -0.1)
    [note] = low_water_notes(BODY, water_edges(BODY, fields, 3.0), (), ())
    assert "1 island of up to" in note.found
    assert "appears at -0.30 m (low level)" in note.found
    edge = water_edges(BODY, fields, 3.0)[0]
    [island] = appeared_islands(OUTLINE, edge.outline)
    # The contour runs within half a cell of the mound's edge.
    assert np.pi * 3.5**2 < island.area < np.pi * 4.6**2


def test_an_island_that_was_there_is_not_new() -> None:
    hole = shapely.Point(30, 10).buffer(3.0)
    body, fields = rectangular_pond(outline=shapely.difference(OUTLINE, hole))
    assert low_water_notes(body, water_edges(body, fields, 3.0), (), ()) == ()


def test_a_plain_pond_has_nothing_to_tell() -> None:
    assert low_water_notes(BODY, water_edges(BODY, PLAIN, 3.0), (), ()) == ()


@pytest.fixture
def parted() -> tuple[object, ...]:
    """A ridge across the pond that falls dry at low level, and a launch place in the west."""
    fields = with_bed(PLAIN, np.abs(EAST - 50) < 2.0, -0.1)
    body = replace(BODY, launches=(LaunchPlace("west", shapely.Point(0, 10)),))
    return body, water_edges(body, fields, 3.0)


def test_pools_are_counted_and_rafts_that_are_cut_off_are_named(parted: tuple) -> None:
    body, edges = parted
    rafts = [raft("near", "w", 20.0, 10.0, 90.0), raft("far", "w", 65.0, 10.0, 90.0)]
    pools, cut_off = low_water_notes(body, edges, rafts, ())
    assert "falls apart into 2 pools at -0.30 m (low level)" in pools.found
    assert "rafts 'far' in a pool that is cut off" in cut_off.found
    assert "near" not in cut_off.found


def test_a_raft_with_a_way_or_a_launch_place_of_its_own_pool_is_not_cut_off(
    parted: tuple,
) -> None:
    body, edges = parted
    far = raft("far", "w", 65.0, 10.0, 90.0)
    way = Route(
        "far",
        "west",
        1,
        shapely.LineString([(0, 10), (65, 10)]),
        65.0,
        1.0,
        1.2,
        0.0,
        True,
        "nearest",
        *(0.3, 2.4, 4.67, 4.0, 0.4, 0.5, 576.0, 2, "winch or vehicle", 3022.0),
    )
    assert len(low_water_notes(body, edges, [far], [way])) == 1
    both = (*body.launches, LaunchPlace("east", shapely.Point(80, 10)))
    assert len(low_water_notes(replace(body, launches=both), edges, [far], ())) == 1
