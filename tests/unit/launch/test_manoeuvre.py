"""Room to be towed, turned and hauled: against poses of the raft, one by one."""

import numpy as np
import pytest
import shapely

from geoplan.launch.manoeuvre import TOUCH_M, grown_water, manoeuvre, rafts_swept
from geoplan.raft import footprints
from geoplan.site import FloatArray

SIZE_M = (4.0, 2.0)


def poses(way: FloatArray, heading_deg: float, turn_before_m: float) -> shapely.Geometry:
    """The raft at places a few centimetres apart, towed end-on, then with its last heading."""
    line = shapely.LineString(way)
    out = []
    for along in np.linspace(0.0, line.length, 400):
        here = shapely.line_interpolate_point(line, along)
        ahead = shapely.line_interpolate_point(line, min(along + 1e-3, line.length))
        back = shapely.line_interpolate_point(line, max(along - 1e-3, 0.0))
        towed = 90.0 - np.degrees(np.arctan2(ahead.y - back.y, ahead.x - back.x))
        is_last = line.length - along <= turn_before_m
        out.append(footprints(here.x, here.y, heading_deg if is_last else towed, *SIZE_M)[0])
    return shapely.union_all(out)


@pytest.mark.parametrize("seed", range(12))
def test_clear_means_that_every_pose_is_in_the_water(seed: int) -> None:
    random = np.random.default_rng(seed)
    way = np.array([[5.0, 5.0], [random.uniform(8, 14), random.uniform(8, 14)],
                    [random.uniform(14, 19), random.uniform(10, 19)]])  # fmt: skip
    heading = random.uniform(0, 180)
    islands = [shapely.Point(random.uniform(3, 20), random.uniform(3, 20)).buffer(0.8)
               for _ in range(3)]  # fmt: skip
    water = shapely.difference(shapely.box(0, 0, 23, 23), shapely.union_all(islands))
    found = manoeuvre(way, SIZE_M, heading, grown_water(water))
    swept = poses(way, heading, found.turn_before_m)
    near = shapely.buffer(water, 2 * TOUCH_M, join_style="mitre")
    outside = shapely.difference(swept, near)
    if found.is_clear:
        assert outside.area < 1e-6
    else:
        assert shapely.difference(shapely.union_all(found.swept), water).area > 0


def test_there_are_cases_of_both_kinds() -> None:
    """Otherwise the law above would say nothing."""
    way = np.array([[5.0, 5.0], [12.0, 12.0], [18.0, 12.0]])
    pond = shapely.box(0, 0, 23, 23)
    assert manoeuvre(way, SIZE_M, 10.0, grown_water(pond)).is_clear
    barred = shapely.difference(pond, shapely.Point(12.0, 12.0).buffer(0.5))
    assert not manoeuvre(way, SIZE_M, 10.0, grown_water(barred)).is_clear


def test_the_turn_is_made_where_there_is_room_for_it() -> None:
    """A raft that must lie across the end of a lane turns before it, in the wider water."""
    water = shapely.union(shapely.box(0, 0, 20, 20), shapely.box(20, 8.9, 24, 13.1))
    way = np.array([[5.0, 11.0], [22.0, 11.0]])
    found = manoeuvre(way, SIZE_M, 0.0, grown_water(water))
    assert found.is_clear
    assert found.turn_before_m >= 2.0


@pytest.mark.parametrize("seed", range(5))
def test_rafts_swept_are_those_that_overlap(seed: int) -> None:
    """By shapely, pair by pair."""
    random = np.random.default_rng(seed)
    places = footprints(random.uniform(0, 40, 12), random.uniform(0, 40, 12),
                        random.uniform(0, 180, 12), 4.0, 2.0)  # fmt: skip
    swept = [
        np.array([shapely.box(x, y, x + 3, y + 9)], object)
        for x, y in random.uniform(0, 35, (12, 2))
    ]
    found = rafts_swept(swept, places)
    for index, pieces in enumerate(swept):
        small = shapely.buffer(np.array(places, object), -1e-6, join_style="mitre")
        meets = {
            other
            for other in range(12)
            if other != index and shapely.intersects(pieces[0], small[other])
        }
        assert found[index] == meets
    assert any(found)
