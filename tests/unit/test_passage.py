"""The widest way through open water, where it is known by construction."""

import pytest
import shapely
from shapely.geometry import LineString, Point

from geoplan.passage import WIDEST_M, passage_m

POND = shapely.box(0, 0, 30, 30)


@pytest.mark.parametrize("width", [1.0, 2.4, 6.0])
def test_a_channel_is_as_wide_as_it_is(width: float) -> None:
    water = shapely.union_all([POND, shapely.box(30, 10, 60, 10 + width)])
    found = passage_m(water, [], Point(60, 10 + width / 2))
    assert width - 0.1 <= found <= width


def test_a_raft_leaves_the_wider_side_of_it() -> None:
    water = shapely.union_all([POND, shapely.box(30, 10, 60, 16)])
    raft = shapely.box(40, 11.0, 44, 13.4)  # leaves 1.0 m and 2.6 m
    assert 2.5 <= passage_m(water, [raft], Point(60, 13)) <= 2.6


def test_a_raft_across_closes_it() -> None:
    water = shapely.union_all([POND, shapely.box(30, 10, 60, 12)])
    assert passage_m(water, [shapely.box(40, 9, 44, 13)], Point(60, 11)) == 0.0


def test_wide_water_is_only_told_to_be_wide() -> None:
    assert passage_m(shapely.box(0, 0, 90, 90), [], LineString([(90, 40), (90, 50)])) == WIDEST_M


def test_rafts_never_widen_it() -> None:
    water = Point(0, 0).buffer(25.0).difference(Point(8, 0).buffer(6.0))
    spot = Point(25, 0)
    alone = passage_m(water, [], spot)
    rafts = [shapely.box(16, y, 19, y + 2) for y in (-8, 0, 8)]
    assert passage_m(water, rafts, spot) <= alone
