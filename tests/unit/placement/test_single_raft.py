"""What one raft is worth at most: closed forms, and poses drawn at random."""

import math

import numpy as np
import pytest
import shapely

from geoplan.placement import single_raft
from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.single_raft import most_of_one
from geoplan.raft import footprints
from tests.unit.placement.test_bound import RAFT, surface_of


def region_of(basin: shapely.Geometry) -> AllowedRegion:
    return AllowedRegion(RAFT, basin, ())


def test_on_flat_worth_one_raft_is_worth_its_planted_area() -> None:
    found = most_of_one(surface_of("flat"), region_of(shapely.Point(0, 0).buffer(5.0)), 0.0)
    assert found == pytest.approx(RAFT.planted_area_m2, rel=1e-6)


def test_what_was_found_stands_where_nothing_is_worth_more() -> None:
    found = most_of_one(surface_of("flat"), region_of(shapely.Point(0, 0).buffer(5.0)), 50.0)
    assert found == pytest.approx(50.0)


def test_where_no_raft_fits_none_is_worth_more() -> None:
    assert most_of_one(surface_of("cone"), region_of(shapely.box(-1.8, -1.8, 1.8, 1.8)), 0.0) == 0.0


@pytest.mark.parametrize("shape", ["cone", "ridge"])
@pytest.mark.parametrize("least", [0.0, 0.9])
def test_no_pose_drawn_at_random_is_worth_more(shape: str, least: float) -> None:
    surface, rng = surface_of(shape), np.random.default_rng(4)
    basin = shapely.Point(0, 0).buffer(6.0).difference(shapely.box(-1.5, -1.5, 1.5, 7.0))
    x, y = rng.uniform(-6, 6, 60_000), rng.uniform(-6, 6, 60_000)
    turn = rng.uniform(0, 180, 60_000)
    legal = shapely.covers(basin, footprints(x, y, turn, RAFT.length_m, RAFT.width_m))
    drawn = surface.mean_under(RAFT, x[legal], y[legal], turn[legal]) * RAFT.planted_area_m2
    found = most_of_one(surface, region_of(basin), least * float(drawn.max()))
    assert drawn.max() <= found * (1 + 5e-4)  # what the drawn ones are worth is a thousandth off
    assert found <= 1.1 * drawn.max()


def test_too_many_places_are_not_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(single_raft, "_MOST_BOXES", 1000)
    basin = region_of(shapely.Point(0, 0).buffer(5.0))
    assert most_of_one(surface_of("flat"), basin, 0.0) == math.inf
