"""What a raft sweeps, held against the raft drawn at many places of its way."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from geoplan.launch.sweep import tow_sweep
from geoplan.raft import footprints

SIZE = (4.0, 2.4)


def poses(tow: np.ndarray, heading_deg: float, back_m: float) -> list[tuple[float, float, float]]:
    """East, north and heading at many moments of a way: towed, turned, hauled in."""
    final = heading_deg
    legs = np.diff(tow, axis=0)
    headings = np.degrees(np.arctan2(legs[:, 0], legs[:, 1]))
    turn_at = tow[-1] - legs[-1] / np.hypot(*legs[-1]) * min(back_m, float(np.hypot(*legs[-1])))
    stops = [*tow[1:-1], turn_at]
    out = []
    for k, (begin, stop) in enumerate(zip(tow[:-1], stops, strict=True)):
        shares = np.linspace(0.0, 1.0, 15)
        out += [(*(begin + share * (stop - begin)), headings[k]) for share in shares]
        after = headings[k + 1] if k + 1 < len(headings) else final
        turn = (after - headings[k] + 90) % 180 - 90
        out += [(*stop, headings[k] + share * turn) for share in np.linspace(0, 1, 37)]
    out += [(*(turn_at + s * (tow[-1] - turn_at)), final) for s in np.linspace(0, 1, 15)]
    return out


@hypothesis_settings(max_examples=40, deadline=None)
@given(st.integers(0, 100_000))
def test_every_pose_of_the_way_lies_in_what_is_swept(seed: int) -> None:
    rng = np.random.default_rng(seed)
    tow = np.cumsum(np.vstack([[0, 0], rng.uniform(-9, 9, (3, 2))]), axis=0)
    if np.hypot(*np.diff(tow, axis=0).T).min() < 8.0 / 3:
        return
    heading, back = rng.uniform(0, 180), rng.uniform(0, 6)
    pieces = tow_sweep(tow, SIZE, heading, back)
    assert shapely.is_valid(pieces).all()
    swept = shapely.buffer(shapely.union_all(pieces), 1e-6)
    east, north, turned = np.array(poses(tow, heading, back)).T
    assert shapely.covers(swept, footprints(east, north, turned, *SIZE)).all()


def test_a_turn_on_the_spot_is_no_more_than_a_disc() -> None:
    """A quarter turn: the raft, the raft across, and four sectors within half a diagonal."""
    tow = np.array([[0.0, -10.0], [0.0, 0.0]])
    pieces = tow_sweep(tow, SIZE, 90.0, 0.0)
    radius = math.hypot(*SIZE) / 2
    disc = shapely.Point(0, 0).buffer(radius * 1.0015, quad_segs=256)
    assert shapely.covers(disc, pieces[1:]).all()


def test_a_straight_tow_to_its_own_heading_is_one_strip() -> None:
    pieces = tow_sweep(np.array([[0.0, 0.0], [0.0, 10.0]]), SIZE, 0.0, 0.0)
    assert shapely.union_all(pieces).area == pytest.approx(2.4 * (10 + 2.0 + 2.0))


def test_a_raft_launched_in_its_place_sweeps_its_place() -> None:
    pieces = tow_sweep(np.array([[5.0, 5.0], [5.0, 5.0]]), SIZE, 0.0, 0.0)
    assert [piece.area for piece in pieces] == pytest.approx([9.6])
