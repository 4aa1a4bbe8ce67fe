"""The wading leg on ponds known by hand."""

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point

from geoplan.launch.bank import WadingGround, WadingLeg, wading_leg
from tests.unit.launch.lakes import LOW_M, SIGMA_M, fields

POND = shapely.box(0, 0, 40, 30)
NOTHING = shapely.GeometryCollection()


def leg(
    bank: shapely.Geometry,
    room: shapely.Polygon,
    outline: shapely.Polygon = POND,
    depth_low_m: object = 0.5,
    obstacles: shapely.Geometry = NOTHING,
    wading_m: float = 0.7,
) -> WadingLeg | None:
    ground = WadingGround.of(outline, fields(outline, depth_low_m), LOW_M, wading_m)  # type: ignore[arg-type]
    return wading_leg(bank, room, ground, obstacles, (4.0, 2.4))


def test_leads_to_the_nearest_place_and_says_how_deep_it_may_be() -> None:
    found = leg(Point(10, 0), shapely.box(2, 5, 38, 28))
    assert found is not None
    assert list(found.line.coords) == [(10.0, 0.0), (10.0, 5.0)]
    # Reliable 0.5 m; likely 2.33 sigma deeper; at the deepest as much again.
    assert found.deepest_m == pytest.approx(0.5 + 2 * 2.33 * SIGMA_M)


def test_a_bank_is_left_at_its_nearest_point() -> None:
    found = leg(LineString([(3, -1), (12, -1)]), shapely.box(20, 5, 38, 28))
    assert found is not None
    assert found.line.coords[0] == (12.0, -1.0)


def test_a_bank_in_the_room_needs_no_leg() -> None:
    found = leg(Point(10, 10), shapely.box(2, 5, 38, 28))
    assert found is not None
    assert found.line.length == 0
    assert found.deepest_m == 0


def test_the_part_that_the_raft_reaches_over_is_not_walked() -> None:
    """Deep from 1.5 m off the bank: people at the stern stand 1 m off it."""
    deep = lambda e, n: np.where(n > 1.5, 2.0, 0.3)  # noqa: E731
    found = leg(Point(10, 0), shapely.box(2, 3, 38, 28), depth_low_m=deep)
    assert found is not None
    assert found.deepest_m == pytest.approx(0.3 + 2 * 2.33 * SIGMA_M)
    found = leg(Point(10, 0), shapely.box(2, 4, 38, 28), depth_low_m=deep)
    assert found is not None
    assert found.deepest_m == pytest.approx(2.0 + 2 * 2.33 * SIGMA_M)


def test_a_steep_bank_is_crossed_by_pole_but_not_a_basin() -> None:
    steep = lambda e, n: np.full(e.shape, 1.5)  # noqa: E731
    assert leg(Point(10, 0), shapely.box(2, 6.9, 38, 28), depth_low_m=steep) is not None
    assert leg(Point(10, 0), shapely.box(2, 7.5, 38, 28), depth_low_m=steep) is None


def test_deep_water_in_between_is_not_waded() -> None:
    ditch = lambda e, n: np.where((n > 8) & (n < 14), 1.5, 0.3)  # noqa: E731
    assert leg(Point(10, 0), shapely.box(2, 20, 38, 28), depth_low_m=ditch) is None
    assert leg(Point(10, 0), shapely.box(2, 20, 38, 28), depth_low_m=ditch, wading_m=1.6)


def test_a_spit_is_gone_round_and_an_island_too() -> None:
    spit = POND.difference(shapely.box(0, 6, 12, 6.5))
    room = shapely.box(2, 8, 38, 28)
    found = leg(Point(10, 0), room, outline=spit)
    assert found is not None
    assert shapely.length(shapely.difference(found.line, spit)) < 1e-6
    assert 8.0 < found.line.length < 8.7
    island = POND.difference(shapely.box(8, 3, 12, 4))
    found = leg(Point(10, 0), room, outline=island)
    assert found is not None
    assert shapely.length(shapely.difference(found.line, island)) < 1e-6


def test_land_that_is_too_wide_to_go_round_ends_it() -> None:
    wall = POND.difference(shapely.box(0, 6, 39, 6.5))
    assert leg(Point(2, 0), shapely.box(2, 8, 6, 28), outline=wall) is None


def test_a_launch_place_may_lie_on_land() -> None:
    found = leg(Point(10, -6), shapely.box(2, 5, 38, 28))
    assert found is not None
    assert found.line.length == pytest.approx(11)


def test_a_raft_in_the_way_is_passed_at_half_the_width() -> None:
    old = shapely.box(9, 1, 11, 4)
    found = leg(Point(10, -3), shapely.box(2, 5, 38, 28), obstacles=old)
    assert found is not None
    assert shapely.distance(found.line, old) >= 1.2 - 1e-6
    assert leg(Point(10, 0.5), shapely.box(2, 5, 38, 28), obstacles=old) is None


def test_depth_off_the_cells_is_none() -> None:
    found = leg(Point(-30, 10), shapely.box(5, 5, 38, 28))
    assert found is not None
    assert found.deepest_m == pytest.approx(0.5 + 2 * 2.33 * SIGMA_M)
