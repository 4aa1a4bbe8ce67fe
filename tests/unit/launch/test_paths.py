"""Shortest paths against brute force over all vertices, and the laws of a distance."""

import heapq
import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point

from geoplan.launch import paths
from geoplan.launch.paths import VisibilityGraph, shortest_path, simpler_inside


def pond(seed: int, corners: int = 22, islands: int = 3) -> shapely.Polygon:
    """A star-shaped shore with islands, drawn from one seed."""
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.random(corners)) * 2 * np.pi
    radius = rng.uniform(25, 60, corners)
    shore = shapely.Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))
    shore = shore.buffer(0).union(Point(0, 0).buffer(12, quad_segs=2))
    for _ in range(islands):
        east, north = rng.uniform(-25, 25, 2)
        island = shapely.affinity.rotate(
            shapely.box(east - 6, north - 2, east + 6, north + 2), rng.uniform(0, 180)
        )
        shore = shore.difference(island)
    return max(shapely.get_parts(shore), key=lambda part: part.area)


def points_in(water: shapely.Polygon, seed: int, count: int) -> list[Point]:
    rng = np.random.default_rng(seed)
    west, south, east, north = water.bounds
    found: list[Point] = []
    while len(found) < count:
        point = Point(rng.uniform(west, east), rng.uniform(south, north))
        if water.covers(point):
            found.append(point)
    return found


def brute_force_length_m(water: shapely.Polygon, start: Point, end: Point) -> float:
    """Every vertex, every pair, a line counts where it leaves no length outside; then Dijkstra."""
    nodes = [tuple(c) for c in shapely.get_coordinates(water)]
    nodes = [(start.x, start.y), (end.x, end.y), *dict.fromkeys(nodes)]
    links: dict[int, list[tuple[int, float]]] = {k: [] for k in range(len(nodes))}
    for i, j in itertools.combinations(range(len(nodes)), 2):
        line = LineString([nodes[i], nodes[j]])
        if line.difference(water).length < 1e-6:
            links[i].append((j, line.length))
            links[j].append((i, line.length))
    best = {0: 0.0}
    heap = [(0.0, 0)]
    while heap:
        so_far, node = heapq.heappop(heap)
        if node == 1:
            return so_far
        for other, length in links[node]:
            if so_far + length < best.get(other, math.inf):
                best[other] = so_far + length
                heapq.heappush(heap, (best[other], other))
    return math.inf


@pytest.mark.parametrize("seed", range(50))
def test_equals_brute_force_over_all_vertices(seed: int) -> None:
    water = pond(seed)
    graph = VisibilityGraph(water)
    start, *ends = points_in(water, seed, 4)
    for end, path in zip(ends, graph.paths_from(start, ends), strict=True):
        assert path is not None
        assert path.length == pytest.approx(brute_force_length_m(water, start, end), abs=1e-6)
        assert path.difference(water).length < 1e-5


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_laws_of_a_distance(seed: int) -> None:
    water = pond(seed)
    graph = VisibilityGraph(water)
    a, b, c = points_in(water, seed + 1, 3)

    def between(first: Point, second: Point) -> float:
        path = graph.path(first, second)
        assert path is not None
        assert path.coords[0] == (first.x, first.y)
        assert path.coords[-1] == (second.x, second.y)
        return float(path.length)

    assert between(a, b) >= a.distance(b) - 1e-9
    assert between(a, b) == pytest.approx(between(b, a), abs=1e-6)
    assert between(a, c) <= between(a, b) + between(b, c) + 1e-6


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000))
def test_more_land_never_shortens_a_path(seed: int) -> None:
    water = pond(seed, islands=2)
    start, end = points_in(water, seed, 2)
    island = Point(0, 0).buffer(4, quad_segs=3)
    less = water.difference(island)
    if not (less.covers(start) and less.covers(end)):
        return
    before = shortest_path(water, start, end)
    after = VisibilityGraph(less).path(start, end)
    assert before is not None
    assert after is None or after.length >= before.length - 1e-6


@pytest.mark.parametrize("seed", range(5))
def test_many_ends_at_once_equal_each_by_itself(seed: int) -> None:
    """One tree of all corners for many ends, a search of its own for each: the same to the bit."""
    water = pond(seed)
    start, *ends = points_in(water, seed, 40)
    together = VisibilityGraph(water).paths_from(start, ends)
    hidden = [path for path in together if path is not None and len(path.coords) > 2]
    assert len(hidden) > paths._FEW_ENDS
    alone = [VisibilityGraph(water).path(start, end) for end in ends]
    assert [path and path.wkb for path in together] == [path and path.wkb for path in alone]
    for end, path in list(zip(ends, together, strict=True))[:3]:
        assert path is not None
        assert path.length == pytest.approx(brute_force_length_m(water, start, end), abs=1e-6)
    assert VisibilityGraph(water).paths_from(start, []) == ()


def test_parts_of_a_multipolygon_are_not_connected() -> None:
    left = shapely.box(0, 0, 10, 10).difference(shapely.box(4, 0, 6, 8))
    water = shapely.MultiPolygon([left, shapely.box(20, 0, 30, 10)])
    graph = VisibilityGraph(water)
    within, across = graph.paths_from(Point(1, 1), [Point(9, 1), Point(25, 5)])
    assert within is not None
    assert within.length == pytest.approx(2 * math.hypot(3, 7) + 2, abs=1e-6)
    assert across is None


def test_none_from_or_to_land() -> None:
    water = shapely.box(0, 0, 10, 10).difference(shapely.box(4, 4, 6, 6))
    assert shortest_path(water, Point(1, 1), Point(5, 5)) is None
    assert shortest_path(water, Point(5, 5), Point(1, 1)) is None
    assert shortest_path(water, Point(1, 1), Point(11, 1)) is None
    assert shortest_path(water, Point(1, 1), Point(5, 3.9999)) is not None


def test_a_path_to_where_it_starts_has_no_length() -> None:
    path = shortest_path(shapely.box(0, 0, 10, 10), Point(3, 3), Point(3, 3))
    assert path is not None
    assert path.length == 0


def test_lines_along_banks_and_through_corners_are_water() -> None:
    water = shapely.box(0, 0, 10, 10).difference(shapely.box(3, 3, 7, 7))
    along = shortest_path(water, Point(0, 0), Point(10, 0))
    beside = shortest_path(water, Point(0, 3), Point(10, 3))
    from_corner = shortest_path(water, Point(3, 3), Point(7, 7))
    assert along is not None
    assert along.length == pytest.approx(10)
    assert beside is not None
    assert beside.length == pytest.approx(10)
    assert from_corner is not None
    assert from_corner.length == pytest.approx(8)


def test_no_water_has_no_paths() -> None:
    assert shortest_path(shapely.Polygon(), Point(0, 0), Point(1, 1)) is None


def test_what_is_no_polygon_is_refused() -> None:
    bow_tie = shapely.Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])
    with pytest.raises(ValueError, match="valid"):
        VisibilityGraph(bow_tie)
    with pytest.raises(ValueError, match="valid"):
        VisibilityGraph(LineString([(0, 0), (1, 1)]))  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="simplify_m"):
        VisibilityGraph(shapely.box(0, 0, 1, 1), -0.1)
    with pytest.raises(ValueError, match="simplify_m"):
        simpler_inside(shapely.box(0, 0, 1, 1), math.nan)


def ragged(seed: int) -> shapely.Polygon:
    """A pond whose shore and islands are ragged with many small steps."""
    shore = shapely.segmentize(pond(seed), 1.0)
    shaken = shapely.transform(shore, lambda c: c + 0.03 * np.sin(971.0 * c[:, ::-1])).buffer(0)
    return max(shapely.get_parts(shaken), key=lambda part: part.area)


@pytest.mark.parametrize("seed", range(6))
def test_a_simpler_outline_keeps_paths_inside_and_hardly_longer(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(paths, "MOST_EXACT_CORNERS", 20)
    water = ragged(seed)
    simpler = simpler_inside(water, 0.1)
    assert shapely.covers(water, simpler)
    exact, quick = VisibilityGraph(water), VisibilityGraph(water, 0.1)
    assert quick.corner_count < exact.corner_count / 2
    start, *ends = points_in(water, seed, 6)
    # One end on the bank itself, outside the simpler outline.
    ends.append(Point(water.exterior.coords[7]))
    pairs = zip(exact.paths_from(start, ends), quick.paths_from(start, ends), strict=True)
    for true, found in pairs:
        assert true is not None
        assert found is not None
        assert found.difference(water).length < 1e-5
        # Each turn may lie 0.2 m further out, and each end joins the outline by as much.
        room = 0.2 * 2 * len(true.coords)
        assert true.length - 1e-6 <= found.length <= true.length + room


def test_water_with_few_corners_is_never_simplified() -> None:
    water = pond(1)
    assert simpler_inside(water, 0.5) is water
    assert VisibilityGraph(water, 0.5).corner_count == VisibilityGraph(water).corner_count


def test_the_same_water_gives_the_same_path_to_the_last_bit() -> None:
    water = pond(9)
    start, end = points_in(water, 9, 2)
    first, second = shortest_path(water, start, end), shortest_path(water, start, end)
    assert first is not None
    assert second is not None
    assert first.wkb == second.wkb
