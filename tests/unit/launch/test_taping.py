"""Tapes from the bank: errors by closed form and by chance, marks chosen by trying every pair."""

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from geoplan.launch.bank_marks import OFF_THE_EDGE_M, suggested_marks, taping_notes
from geoplan.launch.set_out import points_to_set_out
from geoplan.launch.taping import P95_SIGMAS, TapeLimits, best_fix, error_ellipse
from geoplan.settings import Settings
from geoplan.site import KeepClear, Mark
from tests.unit.launch.lakes import body, raft, settings

LIMITS = TapeLimits(0.05, 50.0)


@pytest.mark.parametrize("crossing_deg", [30.0, 60.0, 90.0, 120.0, 150.0])
def test_the_ellipse_of_two_tapes_in_closed_form(crossing_deg: float) -> None:
    """Half axes σ/√(1 ∓ |cos γ|); the long one halves the flat angle between the tapes."""
    angle = math.radians(crossing_deg)
    ways = np.array([[0.0, 7.0], [9.0 * math.sin(angle), 9.0 * math.cos(angle)]])
    major, minor, axis = error_ellipse(ways, 0.05)
    cosine = abs(math.cos(angle))
    assert major == pytest.approx(P95_SIGMAS * 0.05 / math.sqrt(1 - cosine), rel=1e-9)
    assert minor == pytest.approx(P95_SIGMAS * 0.05 / math.sqrt(1 + cosine), rel=1e-9)
    if crossing_deg < 90:
        assert axis == pytest.approx((crossing_deg / 2 + 90) % 180)
    if crossing_deg > 90:
        assert axis == pytest.approx(crossing_deg / 2)


def test_ninety_five_of_a_hundred_points_lie_in_the_ellipse() -> None:
    """Points set out with tapes that are off at random, by intersecting circles."""
    rng = np.random.default_rng(5)
    marks = np.array([[0.0, 0.0], [30.0, 0.0]])
    point = np.array([4.0, 16.0])
    tapes = np.hypot(*(marks - point).T) + rng.normal(0, 0.05, (200_000, 2))
    along = (tapes[:, 0] ** 2 - tapes[:, 1] ** 2 + 900) / 60
    off = np.column_stack([along, np.sqrt(tapes[:, 0] ** 2 - along**2)]) - point
    major, minor, axis = error_ellipse(marks - point, 0.05)
    turn = math.radians(axis)
    u = off @ [math.sin(turn), math.cos(turn)] / major
    v = off @ [math.cos(turn), -math.sin(turn)] / minor
    assert np.mean(u**2 + v**2 <= 1) == pytest.approx(0.95, abs=0.003)


@given(st.integers(0, 100_000))
def test_no_other_pair_of_marks_is_better(seed: int) -> None:
    rng = np.random.default_rng(seed)
    marks, point = rng.uniform(-60, 60, (7, 2)), rng.uniform(-20, 20, 2)
    fix = best_fix(point, marks, LIMITS)
    fair = []
    for one, other in itertools.combinations(range(7), 2):
        ways = marks[[one, other]] - point
        turn = np.degrees(np.diff(np.arctan2(ways[:, 0], ways[:, 1])))[0] % 180
        if np.hypot(*ways.T).max() <= 50 and 30 <= turn <= 150:
            fair.append(error_ellipse(ways, 0.05)[0])
    assert (fix is None) == (not fair)
    if fix is not None:
        assert fix.error_major_m <= min(fair) * (1 + 1e-5)
        assert fix.tapes_m[0] == pytest.approx(math.dist(point, marks[fix.marks[0]]))


def test_long_tapes_and_flat_crossings_fix_nothing() -> None:
    point = np.zeros(2)
    assert best_fix(point, np.array([[50.1, 0.0], [0.0, 20.0]]), LIMITS) is None
    assert best_fix(point, np.array([[49.9, 0.0], [0.0, 20.0]]), LIMITS) is not None
    assert best_fix(point, np.array([[9.0, 0.0], [9.0, 5.0]]), LIMITS) is None  # 29.1 degrees
    assert best_fix(point, np.array([[9.0, 0.0], [9.0, 5.3]]), LIMITS) is not None  # 30.5 degrees
    assert best_fix(point, np.zeros((0, 2)), LIMITS) is None


POND = shapely.box(0, 0, 60, 40)


def test_proposed_marks_stand_on_the_bank_and_serve_every_point() -> None:
    rafts = [raft(f"R{k}", 12.0 + 9 * k, 14.0 + 4 * (k % 3)) for k in range(5)]
    pond = body(POND, [])
    marks = suggested_marks(pond, POND, rafts, (), settings())
    assert 2 <= len(marks) <= 8
    assert [mark.mark_id for mark in marks] == [f"M{k + 1}" for k in range(len(marks))]
    for mark in marks:
        assert shapely.distance(mark.point, POND) == pytest.approx(OFF_THE_EDGE_M, abs=0.02)
    points = points_to_set_out(rafts, (), marks, settings())
    assert len(points) == 25
    assert all(point.fix is not None for point in points)
    assert max(point.fix.error_major_m for point in points if point.fix) < 0.2
    (note,) = taping_notes(pond, rafts, (), marks, settings())
    assert "'M1'" in str(note)
    assert "pipes and cables" in str(note)


def test_marks_of_the_site_are_enough_and_none_is_proposed_over_a_pipe() -> None:
    rafts = [raft("R1", 30, 10)]
    given_marks = (Mark("M1", shapely.Point(10, -2)), Mark("B", shapely.Point(50, -2)))
    pond = body(POND, [])
    assert suggested_marks(_with(pond, marks=given_marks), POND, rafts, (), settings()) == ()
    south = KeepClear(shapely.LineString([(-9, 0), (69, 0)]), 5.0, "main")
    one = _with(pond, marks=given_marks[:1], keep_clear=(south,))
    marks = suggested_marks(one, POND, rafts, (), settings())
    assert marks
    assert "M1" not in {mark.mark_id for mark in marks}
    assert all(shapely.distance(mark.point, south.geometry) > 5 for mark in marks)


def test_points_out_of_reach_of_the_bank_are_counted() -> None:
    sea = shapely.box(0, 0, 400, 400)
    rafts = [raft("R1", 200, 200)]
    marks = suggested_marks(body(sea, []), sea, rafts, (), settings())
    assert marks == ()
    (note,) = taping_notes(body(sea, []), rafts, (), marks, settings())
    assert "5 of 5 points" in str(note)
    short = Settings.model_validate(
        {**settings().model_dump(), "setting_out": {"longest_tape_m": 3}}
    )
    assert suggested_marks(body(POND, []), POND, [raft("R1", 30, 20)], (), short) == ()


def _with(pond: object, **parts: object) -> object:
    from dataclasses import replace

    return replace(pond, **parts)  # type: ignore[type-var]
