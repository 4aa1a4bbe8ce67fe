"""Posts: laws of their positions, and lengths."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from geoplan.mooring.posts import post_length_m, post_positions
from geoplan.raft import footprints

METRES = st.floats(-1e3, 1e3)
SIDES = st.floats(0.5, 30.0)
HEADINGS = st.floats(0.0, 360.0)


def places(*pose: float, offset_m: float = 0.1) -> np.ndarray:
    return np.stack([part[0] for part in post_positions(*pose, offset_m)], axis=1)


@given(METRES, METRES, HEADINGS, SIDES, SIDES, st.floats(0.0, 2.0))
def test_turning_by_half_a_turn_gives_the_same_posts(
    east: float, north: float, heading: float, length: float, width: float, offset: float
) -> None:
    here = places(east, north, heading, length, width, offset_m=offset)
    turned = places(east, north, heading + 180.0, length, width, offset_m=offset)
    np.testing.assert_allclose(turned[[2, 3, 0, 1]], here, atol=1e-9)


@given(METRES, METRES, HEADINGS, SIDES, SIDES, st.floats(0.01, 2.0))
def test_every_post_is_the_offset_away_from_the_raft(
    east: float, north: float, heading: float, length: float, width: float, offset: float
) -> None:
    raft = footprints(east, north, heading, length, width)[0]
    posts = shapely.points(places(east, north, heading, length, width, offset_m=offset))
    np.testing.assert_allclose(shapely.distance(raft, posts), offset, atol=1e-9)


@given(METRES, METRES, HEADINGS, SIDES, SIDES)
def test_first_post_is_by_the_first_corner_and_the_rest_follow_clockwise(
    east: float, north: float, heading: float, length: float, width: float
) -> None:
    posts = places(east, north, heading, length, width)
    corners = shapely.get_coordinates(footprints(east, north, heading, length, width)[0])[:4]
    gaps = np.hypot(*(posts[0] - corners).T)
    assert gaps.argmin() == 0
    assert not shapely.is_ccw(shapely.LinearRing(posts))


def test_many_rafts_at_once_equal_each_by_itself() -> None:
    rng = np.random.default_rng(0)
    east, north = rng.uniform(-50, 50, (2, 5))
    heading, length, width = rng.uniform(0, 180, 5), rng.uniform(3, 8, 5), rng.uniform(1, 3, 5)
    easting, northing = post_positions(east, north, heading, length, width)
    assert easting.shape == northing.shape == (5, 4)
    for k in range(5):
        alone = places(east[k], north[k], heading[k], length[k], width[k])
        np.testing.assert_allclose(np.stack([easting[k], northing[k]], axis=1), alone, atol=1e-12)


@pytest.mark.parametrize(
    ("pose", "offset_m"),
    [
        ((np.nan, 0.0, 0.0, 4.0, 2.0), 0.1),
        ((0.0, 0.0, np.inf, 4.0, 2.0), 0.1),
        ((0.0, 0.0, 0.0, 0.0, 2.0), 0.1),
        ((0.0, 0.0, 0.0, 4.0, -2.0), 0.1),
        ((0.0, 0.0, 0.0, 4.0, 2.0), -0.1),
        ((0.0, 0.0, 0.0, 4.0, 2.0), np.nan),
    ],
)
def test_poses_that_cannot_be_are_refused(pose: tuple[float, ...], offset_m: float) -> None:
    with pytest.raises(ValueError, match="must"):
        post_positions(*pose, offset_m)


def test_length_is_water_margin_and_embedment() -> None:
    found = post_length_m(np.array([[0.0, 1.25]]), 0.5, 1.0)
    np.testing.assert_allclose(found, [[1.5, 2.75]])


@pytest.mark.parametrize("parts", [(-0.1, 0.5, 1.0), (1.0, -0.5, 1.0), (1.0, 0.5, np.nan)])
def test_negative_or_unknown_lengths_are_refused(parts: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="0 or more"):
        post_length_m(*parts)
