"""Improvement: never worth less, never illegal, within the limits, and the same every run."""

import itertools
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from geoplan.placement import improve, patience, raising
from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.bound import Limit
from geoplan.placement.improve import (
    DISTRICT_EFFORT,
    Effort,
    WindowGround,
    improved,
    is_legal,
    water_of,
)
from geoplan.placement.lattice import lattice_plan
from geoplan.placement.patience import Patience
from geoplan.placement.place import best_plan
from geoplan.placement.pose_kernels import (
    Rafts,
    Water,
    fits_region,
    raft_worth,
    rectangles_apart,
)
from geoplan.placement.search import Poses, best_rows
from geoplan.placement.window_kernels import swept
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType, footprints
from tests.unit.placement.test_rows import pond

SMALL = RaftType(name="a", length_m=3.0, width_m=1.6, draft_m=0.2, planted_share=1.0)
LARGE = RaftType(name="b", length_m=4.2, width_m=2.0, draft_m=0.2, planted_share=0.9)
GAP_M = 0.8
SHORT = Effort(rounds=3, windows_each=15, most_windows=200)


def slope(seed: int) -> WorthSurface:
    """Worth that falls from a point at the shore."""
    at = np.arange(-30.0, 30.5, 0.5)
    east, north = np.meshgrid(at, at)
    angle = np.random.default_rng(seed).uniform(0, 2 * np.pi)
    far = np.hypot(east - 11 * np.cos(angle), north - 11 * np.sin(angle))
    return WorthSurface(-30.0, -30.0, 0.5, np.exp(-far / 6))


def region(seed: int, kind: RaftType) -> AllowedRegion:
    return AllowedRegion(kind, shapely.multipolygons(shapely.get_parts(pond(seed))), ())


def total(plan: list[Poses]) -> float:
    return sum(float(part.value.sum()) for part in plan)


def pairs_too_near(plan: list[Poses]) -> int:
    """Count by brute force the pairs of rafts nearer than the gap."""
    shapes = [shape for part in plan for shape in part.outlines]
    return sum(
        shapely.distance(a, b) < GAP_M - 1e-6 for k, a in enumerate(shapes) for b in shapes[:k]
    )


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 25))
def test_improvement_is_legal_and_never_worth_less(seed: int, count: int) -> None:
    here, surface = region(seed, SMALL), slope(seed)
    limits = [Limit("stock", "", (1.0,), float(count))]
    rows = best_rows(here.region, surface, SMALL, GAP_M, count).poses
    plan = improved([rows], WindowGround.of([surface], [here]), limits, GAP_M, seed, SHORT)
    assert total(plan) >= rows.value.sum() * (1 - 1e-12)
    assert len(plan[0]) <= count
    assert pairs_too_near(plan) == 0
    assert shapely.covers(shapely.buffer(here.region, 1e-6), plan[0].outlines).all()
    again = surface.mean_under(SMALL, plan[0].easting_m, plan[0].northing_m, plan[0].heading_deg)
    assert plan[0].value == pytest.approx(SMALL.planted_area_m2 * again, rel=1e-9)


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 10_000))
def test_several_types_keep_every_limit_and_beat_the_greedy(seed: int) -> None:
    both, surfaces = [region(seed, SMALL), region(seed, LARGE)], [slope(seed)] * 2
    limits = [
        Limit("stock", "", (1.0, 0.0), 5.0),
        Limit("stock", "", (0.0, 1.0), 4.0),
        Limit("budget", "", (3.0, 5.5), 24.0),
    ]
    plan, _ = best_plan(surfaces, both, limits, GAP_M, seed, SHORT)
    counts = np.zeros(2)
    for part in plan:
        counts[0 if part.raft_type.name == "a" else 1] += len(part)
    assert all(np.dot(limit.per_raft, counts) <= limit.most + 1e-9 for limit in limits)
    assert pairs_too_near(plan) == 0
    assert is_legal(plan, both, GAP_M)
    assert total(plan) >= total(lattice_plan(surfaces, both, limits, GAP_M)) * (1 - 1e-12)


def test_no_frame_is_tried_for_a_stock_of_none() -> None:
    limits = [Limit("stock", "", (1.0,), 0.0)]
    assert best_plan([slope(3)], [region(3, SMALL)], limits, GAP_M, 5, SHORT) == ([], 0)


def test_the_same_seed_gives_the_same_rafts() -> None:
    here, surface = region(3, SMALL), slope(3)
    limits = [Limit("stock", "", (1.0,), 9.0)]
    first, second = (best_plan([surface], [here], limits, GAP_M, 5, SHORT)[0][0] for _ in range(2))
    assert np.array_equal(first.easting_m, second.easting_m)
    assert np.array_equal(first.heading_deg, second.heading_deg)


def test_large_districts_end_the_search_once_three_ends_are_alike(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    here, surface = region(3, SMALL), slope(3)
    limits = [Limit("stock", "", (1.0,), 1.0)]
    ends: list[float] = []

    def counted(*args: Any) -> list[Poses]:
        plan = improved(*args)
        ends.append(total(plan))
        return plan

    monkeypatch.setattr(raising, "improved", counted)
    full, _ = best_plan([surface], [here], limits, GAP_M, 5)
    every = len(ends)
    ends.clear()
    plan, _ = best_plan([surface], [here], limits, GAP_M, 5, DISTRICT_EFFORT)
    sought = ends[:-1]  # the last is of more windows round the best
    assert len(sought) < every / 2
    alike = [worth > max(sought) * (1 - 1e-4) for worth in sought]
    assert sum(alike) == 3
    assert is_legal(plan, [here], GAP_M)
    assert total(plan) > 0.99 * total(full)


def test_no_round_of_windows_begins_when_time_is_up(monkeypatch: pytest.MonkeyPatch) -> None:
    here, surface = region(3, SMALL), slope(3)
    limits = [Limit("stock", "", (1.0,), 9.0)]
    rows = best_rows(here.region, surface, SMALL, GAP_M, 9).poses
    rounds: list[int] = []

    def counted(water: Water, state: Rafts, n: int, *rest: Any) -> int:
        rounds.append(n)
        return swept(water, state, n, *rest)

    readings = itertools.chain([0.0, 0.0], itertools.repeat(9.0))
    monkeypatch.setattr(improve, "swept", counted)
    monkeypatch.setattr(patience, "time", SimpleNamespace(monotonic=lambda: next(readings)))
    plan = improved(
        [rows], WindowGround.of([surface], [here]), limits, GAP_M, 3, Effort(), Patience(5.0)
    )
    assert len(rounds) == 2
    assert is_legal(plan, [here], GAP_M)
    assert total(plan) >= rows.value.sum() * (1 - 1e-12)


def test_a_plan_that_breaks_the_gap_is_seen() -> None:
    here = region(1, SMALL)
    near = Poses(SMALL, np.array([5.0, 5.0]), np.zeros(2), np.zeros(2), np.ones(2))
    assert not is_legal([near], [here], GAP_M)


@given(*[st.floats(-4, 4)] * 2, st.floats(0, np.pi), st.floats(0, np.pi))
def test_distance_of_rectangles_is_that_of_polygons(
    ahead: float, aside: float, one_turn: float, other_turn: float
) -> None:
    cos, sin = np.cos(other_turn), np.sin(other_turn)
    east, north = ahead * cos - aside * sin, ahead * sin + aside * cos
    one = footprints(east, north, 90 - np.degrees(one_turn), 3.0, 1.6)[0]
    other = footprints(0.0, 0.0, 90 - np.degrees(other_turn), 4.2, 2.0)[0]
    found = rectangles_apart(
        ahead, aside, one_turn - other_turn, np.array([3.0, 1.6]), np.array([4.2, 2.0])
    )
    assert found == pytest.approx(shapely.distance(one, other), abs=1e-9)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 50), st.floats(-12, 12), st.floats(-12, 12), st.floats(0, np.pi))
def test_a_raft_fits_exactly_where_the_region_covers_it(
    seed: int, east: float, north: float, turn: float
) -> None:
    here, surface = region(seed, SMALL), slope(seed)
    water = water_of([surface], [here])
    shape = footprints(east, north, 90 - np.degrees(turn), 3.0, 1.6)[0]
    if fits_region(water, 0, (east, north, turn)):
        assert shapely.covers(shapely.buffer(here.region, 1e-6), shape)
    else:
        assert not shapely.covers(shapely.buffer(here.region, -1e-6), shape)
    mean = surface.mean_under(
        SMALL, np.array([east]), np.array([north]), np.array([90 - np.degrees(turn)])
    )
    assert raft_worth(water, 0, east, north, turn) == pytest.approx(
        SMALL.planted_area_m2 * mean[0], rel=1e-9
    )
