"""The area bound: its correction is an upper bound, its value a closed form where there is one."""

import numpy as np
import pytest
import shapely

from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.averaging import averaging_excess
from geoplan.placement.bound import Limit, area_bound, grown_area_m2
from geoplan.placement.patches import even_parts
from geoplan.placement.search import best_rows
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType, footprints

RAFT = RaftType(name="a", length_m=4.0, width_m=2.4, draft_m=0.2, planted_share=1.0)
SMALL = RaftType(name="b", length_m=2.4, width_m=2.0, draft_m=0.2, planted_share=1.0)


def surface_of(kind: str, size: int = 81, h: float = 0.5) -> WorthSurface:
    """A cone's tip, a ridge, and noise: the worst that a worth can do to an average."""
    at = (np.arange(size) - size // 2) * h
    east, north = np.meshgrid(at, at)
    nodes = {
        "cone": np.exp(-np.hypot(east - 1.1, north + 0.7) / 6.0),
        "ridge": np.exp(-np.abs(0.8 * east + 0.6 * north) / 5.0),
        "valley": 1 - np.exp(-np.abs(east) / 3.0),
        "noise": np.random.default_rng(3).random((size, size)),
        "flat": np.ones((size, size)),
    }[kind]
    return WorthSurface(float(at[0]), float(at[0]), h, nodes)


def mean_over(surface: WorthSurface, shape: shapely.Geometry, step: float) -> float:
    """Mean by a fine lattice of points: a second method, slow and plain."""
    west, south, east, north = shape.bounds
    x, y = np.meshgrid(np.arange(west, east, step), np.arange(south, north, step))
    inside = shapely.contains_xy(shape, x, y)
    return float(surface.at(x[inside], y[inside]).mean())


@pytest.mark.parametrize("size", [81, 501])  # poses are denser on the smaller grid
@pytest.mark.parametrize("kind", ["cone", "ridge", "valley", "noise"])
def test_mean_of_the_correction_is_never_less_than_a_sampled_excess(kind: str, size: int) -> None:
    gap = 1.0
    surface = surface_of(kind, size)
    excess = averaging_excess(surface, RAFT, gap)
    correction = WorthSurface(surface.west_m, surface.south_m, surface.cell_size_m, excess)
    rng = np.random.default_rng(7)
    worst = np.inf
    for _ in range(120):
        east, north = rng.uniform(-4, 4, 2)
        raft = footprints(east, north, rng.uniform(0, 180), 4.0, 2.4)[0]
        grown = shapely.buffer(raft, gap / 2, quad_segs=32)
        sampled = mean_over(surface, raft, 0.04) - mean_over(surface, grown, 0.04)
        worst = min(worst, mean_over(correction, grown, 0.04) - sampled)
    assert worst > -1e-3  # the lattice of the second method is good to that


def test_flat_worth_gives_the_packing_density_of_grown_rafts() -> None:
    surface = surface_of("flat")
    region = AllowedRegion(RAFT, shapely.box(-10, -8, 10, 8), ())
    found = area_bound([surface], [region], 1.0, [Limit("stock", "", (1.0,), 1e6)])
    border = 0.5 + 0.01  # half the gap and the bound's own slack
    area = 20 * 16 + 2 * (20 + 16) * border + np.pi * border**2
    expected = RAFT.planted_area_m2 * area / grown_area_m2(4.0, 2.4, 1.0)
    assert found.value == pytest.approx(expected, rel=2e-3)
    assert found.value >= expected * (1 - 1e-9)


def test_a_few_rafts_on_flat_worth_are_bounded_by_their_planted_area() -> None:
    surface = surface_of("flat")
    region = AllowedRegion(RAFT, shapely.box(-10, -8, 10, 8), ())
    found = area_bound([surface], [region], 1.0, [Limit("stock", "", (1.0,), 3.0)])
    assert found.value == pytest.approx(3 * RAFT.planted_area_m2, rel=1e-4)
    assert found.value >= 3 * RAFT.planted_area_m2


def test_several_types_are_bounded_by_what_they_may_use_together() -> None:
    surface = surface_of("flat")
    box = shapely.box(-15, -15, 15, 15)
    regions = [AllowedRegion(RAFT, box, ()), AllowedRegion(SMALL, box, ())]
    limits = [
        Limit("stock", "", (1.0, 0.0), 2.0),
        Limit("stock", "", (0.0, 1.0), 3.0),
        Limit("cover", "", (RAFT.area_m2, SMALL.area_m2), 1000.0),
    ]
    found = area_bound([surface, surface], regions, 1.0, limits)
    expected = 2 * RAFT.planted_area_m2 + 3 * SMALL.planted_area_m2
    assert found.value == pytest.approx(expected, rel=1e-3)
    assert found.value >= expected * (1 - 1e-9)


def test_no_plan_of_brute_force_beats_the_bound() -> None:
    """Two rafts on a fine lattice of poses in a small basin, all pairs tried."""
    gap = 1.0
    surface = surface_of("cone")
    basin = shapely.Point(0, 0).buffer(5.0)
    found = area_bound(
        [surface], [AllowedRegion(RAFT, basin, ())], gap, [Limit("stock", "", (1.0,), 2.0)]
    )
    east, north, heading = np.meshgrid(
        np.arange(-3, 3.01, 0.5), np.arange(-3, 3.01, 0.5), np.arange(0, 180, 15.0)
    )
    poses = footprints(east.ravel(), north.ravel(), heading.ravel(), 4.0, 2.4)
    legal = shapely.covers(basin, poses)
    poses = poses[legal]
    value = RAFT.planted_area_m2 * surface.mean_under(
        RAFT, east.ravel()[legal], north.ravel()[legal], heading.ravel()[legal]
    )
    tree = shapely.STRtree(poses)
    best = 0.0
    for k, pose in enumerate(poses):
        far = np.ones(len(poses), bool)
        far[tree.query(pose, predicate="dwithin", distance=gap - 1e-9)] = False
        if far.any():
            best = max(best, float(value[k] + value[far].max()))
    assert 0 < best <= found.value


@pytest.mark.parametrize(("size", "count"), [(1, 1), (7, 7), (10, 3), (4711, 300), (600, 300)])
def test_even_parts_are_those_of_numpy(size: int, count: int) -> None:
    order = np.random.default_rng(size).permutation(size)
    ours = [row.tolist() for block in even_parts(order, count) for row in block]
    assert ours == [part.tolist() for part in np.array_split(order, count)]


@pytest.mark.parametrize("bends", [(0.01, -0.02, 0.0), (-0.004, -0.004, 0.0), (0.0, 0.0, 0.015)])
def test_a_quadratic_worth_is_corrected_by_its_closed_form(bends: tuple[float, ...]) -> None:
    h, size = 0.5, 81
    at = (np.arange(size) - size // 2) * h
    east, north = np.meshgrid(at, at)
    a, b, c = bends
    nodes = 30.0 + (a * east**2 + b * north**2) / 2 + c * east * north
    surface = WorthSurface(float(at[0]), float(at[0]), h, nodes)
    found = averaging_excess(surface, RAFT, 1.0)[30:51, 30:51]
    # Mean squares along and across: of the raft, and of the raft grown by a disc of 0.5 m,
    # whose four straight strips and four quarter discs are integrated apart.
    raft = np.array([4.0**2, 2.4**2]) / 12
    wide = grown_mean_squares(4.0, 2.4, 0.5)
    less = raft - wide
    turn = np.linspace(0, np.pi, 1801)
    cos, sin = np.cos(turn), np.sin(turn)
    along = a * cos**2 + b * sin**2 + 2 * c * cos * sin
    across = a * sin**2 + b * cos**2 - 2 * c * cos * sin
    exact = max(0.0, float((along * less[0] + across * less[1]).max() / 2))
    assert found.min() >= exact - 1e-9
    # What is left: slopes jump from cell to cell, and weights are integrated in small squares.
    # The range of the gradient itself would ask for ten times that.
    assert found.max() <= exact + 0.06 * (abs(a) + abs(b) + 2 * abs(c))


def grown_mean_squares(length: float, width: float, r: float) -> np.ndarray:
    """Mean squares of both coordinates over a rectangle with a border of r and round corners."""
    step = 0.005
    x = np.arange(-length / 2 - r + step / 2, length / 2 + r, step)
    y = np.arange(-width / 2 - r + step / 2, width / 2 + r, step)
    east, north = np.meshgrid(x, y)
    beyond = np.hypot(
        np.maximum(np.abs(east) - length / 2, 0), np.maximum(np.abs(north) - width / 2, 0)
    )
    inside = beyond <= r
    return np.array([(east[inside] ** 2).mean(), (north[inside] ** 2).mean()])


@pytest.mark.parametrize("seed", range(4))
def test_worth_where_no_raft_may_lie_is_not_bounded(seed: int) -> None:
    rng = np.random.default_rng(seed)
    inner = surface_of(("cone", "flat", "ridge", "noise")[seed])
    region = shapely.Point(0.3, -0.2).buffer(8.0).difference(shapely.Point(2, 1).buffer(1.5))
    east, north = inner.west_m + inner.cell_size_m * np.indices(inner.nodes.shape)[::-1]
    # Nodes of no cell that the region touches are five times as good, and differ.
    beyond = ~shapely.contains_xy(shapely.buffer(region, 0.8), east, north)
    nodes = np.where(beyond, 5.0 + rng.random(inner.nodes.shape), inner.nodes)
    tempting = WorthSurface(inner.west_m, inner.south_m, inner.cell_size_m, nodes)
    held = [AllowedRegion(RAFT, shapely.multipolygons([region]), ())]
    for count in (2.0, 1e6):
        limit = [Limit("stock", "", (1.0,), count)]
        found = area_bound([tempting], held, 2.0, limit).value
        plain = area_bound([inner], held, 2.0, limit).value
        rows = best_rows(held[0].region, tempting, RAFT, 2.0, int(count)).poses
        assert len(rows) > 1
        assert float(rows.value.sum()) <= found
        assert found <= 1.25 * plain
