"""Joint moves: rooms and their rates against shapely, plans that stay legal and gain."""

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.improve import as_poses, is_legal, water_of
from geoplan.placement.joint import Pool, settled
from geoplan.placement.partings import Rows, Shapes, edge_rows, inner_edges, pair_rows
from geoplan.placement.pose_kernels import Rafts
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType
from tests.unit.placement.test_improve import SMALL, region, slope

SIDES_M = np.array([[4.0, 2.4], [3.0, 1.5]])
ANYWHERE = st.floats(-3.0, 3.0)
TURN = st.floats(0.0, 3.1)


def rows_of(poses: np.ndarray, gap_m: float = 0.0) -> Rows:
    return pair_rows(Shapes.of(poses, SIDES_M), gap_m, 100.0)


@given(ANYWHERE, ANYWHERE, TURN, TURN)
def test_room_between_rafts_is_their_distance(x: float, y: float, one: float, two: float) -> None:
    poses = np.array([[0.0, 0.0, one], [x, y, two]])
    first, other = (shapely.Polygon(ring) for ring in Shapes.of(poses, SIDES_M).corner)
    apart = shapely.distance(first, other)
    least = rows_of(poses).room_m.min()
    if apart > 1e-9:
        assert least == pytest.approx(apart, abs=1e-9)
        assert rows_of(poses, 0.5).room_m.min() == pytest.approx(apart - 0.5, abs=1e-9)
    else:
        assert least <= 1e-9


@settings(deadline=None)
@given(st.floats(4.5, 6.0), st.floats(-4.0, 4.0), TURN, TURN, st.integers(0, 5))
def test_rates_are_differences_of_rooms(
    x: float, y: float, one: float, two: float, column: int
) -> None:
    poses = np.array([[0.0, 0.0, one], [x, y, two]])
    first, other = (shapely.Polygon(ring) for ring in Shapes.of(poses, SIDES_M).corner)
    assume(shapely.distance(first, other) > 0.01)
    moved = poses.copy()
    raft, axis = divmod(column, 3)
    moved[raft, axis] += 1e-6
    here, there = rows_of(poses), rows_of(moved)
    rate = np.where(here.first == raft, here.first_rate[:, axis], 0.0)
    rate += np.where(here.second == raft, here.second_rate[:, axis], 0.0)
    found = there.room_m.min() - here.room_m.min()
    ties = np.flatnonzero(here.room_m < here.room_m.min() + 1e-5)
    # The least of the rooms moves by the rate of one of those that are least.
    assert 1e-6 * rate[ties].min() - 1e-9 < found < 1e-6 * rate[ties].max() + 1e-9


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 40), st.floats(-10, 10), st.floats(-10, 10), TURN)
def test_nothing_is_lacking_exactly_where_the_region_covers(
    seed: int, x: float, y: float, turn: float
) -> None:
    here = region(seed, SMALL).region
    if not shapely.contains_xy(here, x, y):
        return
    shapes = Shapes.of(np.array([[x, y, turn]]), np.array([[3.0, 1.6]]))
    lacking = edge_rows(shapes, inner_edges(here), 100.0).lacking_m()
    shape = shapely.Polygon(shapes.corner[0])
    if lacking == 0.0:
        assert shapely.covers(shapely.buffer(here, 1e-9), shape)
    else:
        assert not shapely.covers(shapely.buffer(here, -1e-9), shape)


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 40), st.integers(0, 3))
def test_settled_rafts_are_legal_or_said_to_lack(seed: int, more: int) -> None:
    here, surface = region(seed, SMALL), slope(seed)
    pool = Pool.of(water_of([surface], [here]), [here], 0.8)
    inside = here.region.representative_point()
    poses = np.array([[inside.x + 0.3 * k, inside.y, 0.7 * k] for k in range(1 + more)])
    kinds = np.zeros(len(poses), np.int64)
    found, lacking = settled(pool, poses, kinds)
    plan = as_poses(
        Rafts(found[:, 0], found[:, 1], found[:, 2], pool.worth(found, kinds), kinds), [here]
    )
    assert is_legal(plan, [here], 0.8) == (lacking < 1e-6)


def test_two_rafts_in_a_channel_are_pushed_to_its_worthy_end() -> None:
    # Worth rises evenly to the east: in a channel as wide as a raft both lie at its end, a gap
    # apart, and nowhere else (by hand).
    kind = RaftType(name="a", length_m=3.0, width_m=1.6, draft_m=0.2, planted_share=1.0)
    channel = AllowedRegion(kind, shapely.multipolygons([shapely.box(0, 0, 12, 1.6001)]), ())
    east = np.tile(np.arange(-2.0, 14.5, 0.5), (9, 1))
    surface = WorthSurface(-2.0, -1.0, 0.5, 1.0 + 0.1 * east)
    pool = Pool.of(water_of([surface], [channel]), [channel], 0.8)
    start = np.array([[2.0, 0.8, 0.0], [6.5, 0.8, 0.0]])
    found, lacking = settled(pool, start, np.zeros(2, np.int64))
    assert lacking < 1e-6
    assert found[:, 0] == pytest.approx([12 - 1.5 - 0.8 - 3.0, 12 - 1.5], abs=1e-3)
