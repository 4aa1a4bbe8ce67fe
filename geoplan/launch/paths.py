"""
Exact shortest paths through water with islands.

A shortest path among straight-sided obstacles is straight but for turns at their corners, so it
is found in the graph of corners that see each other. Nothing here knows of depth or of rafts:
the water given is the water that may be crossed.
"""

import heapq
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra
from shapely.geometry import LineString, MultiPolygon, Point, Polygon

from geoplan.launch.free_water import taken_back
from geoplan.site import FloatArray

IntArray = NDArray[np.intp]

#: Water is grown by this before lines of sight are tested, so that one along a bank or through
#: a corner counts as water. A path may cut a corner by as much. Coordinates below 1e7 m are kept
#: to 2e-9 m, well below it [m].
SIGHT_TOLERANCE_M = 1e-7
#: Water with more corners than this is simplified, if the caller allows it: lines of sight grow
#: with the square of the corners.
MOST_EXACT_CORNERS = 600
_COLLINEAR = 1e-9
#: Up to so many ends are searched for one by one; for more, all corners are linked once.
_FEW_ENDS = 4


class VisibilityGraph:
    """
    Corners of a water that see each other, for many shortest paths through the same water.

    Parameters
    ----------
    water : Polygon or MultiPolygon
        Water that may be crossed, islands as holes, any plane CRS [m].
    simplify_m : float
        Where the water has more than ``MOST_EXACT_CORNERS`` corners that a path can turn at, it
        is replaced by a simpler outline inside it, `simpler_inside`; zero to keep it as it is
        [m].

    Raises
    ------
    ValueError
        If the water is no valid polygon, or the tolerance is negative.

    Notes
    -----
    Without simplification paths are shortest but for ``SIGHT_TOLERANCE_M``. With it they are
    shortest in the simpler outline, so they lie inside the water itself and can only be longer; a
    passage narrower than about twice the tolerance may be missed. An end between the two outlines
    is joined to the nearest point of the simpler one. Parts of the water that meet in single
    points only are not relied on as connected.

    References
    ----------
    T. Lozano-Pérez and M. A. Wesley, "An algorithm for planning collision-free paths among
    polyhedral obstacles", Communications of the ACM 22(10), 1979, 560-570: a shortest path turns
    at corners of obstacles only (recalled).

    Examples
    --------
    >>> pond = shapely.box(0, 0, 10, 10).difference(shapely.box(4, 0, 6, 7))
    >>> round(VisibilityGraph(pond).path(Point(1, 1), Point(9, 1)).length, 6)
    15.416408
    """

    def __init__(self, water: Polygon | MultiPolygon, simplify_m: float = 0.0) -> None:
        if not isinstance(water, Polygon | MultiPolygon) or not water.is_valid:
            raise ValueError("water must be a valid Polygon or MultiPolygon")
        self._water = _grown_for_sight(water)
        simpler = simpler_inside(water, simplify_m)
        self._simpler = None if simpler is water else simpler
        self._sight = self._water if simpler is water else _grown_for_sight(simpler)
        self._corner_m, self._before_m, self._after_m = _corners(simpler)
        self._rows: dict[int, tuple[IntArray, FloatArray]] = {}

    @property
    def corner_count(self) -> int:
        """Return the number of corners at which a path may turn."""
        return len(self._corner_m)

    def path(self, start: Point, end: Point) -> LineString | None:
        """
        Return the shortest path between two points.

        Parameters
        ----------
        start, end : Point
            Where from and where to [m].

        Returns
        -------
        LineString or None
            The path, of length zero where both are one; ``None`` where no water connects them
            or one of them is not in the water.
        """
        return self.paths_from(start, [end])[0]

    def paths_from(self, start: Point, ends: Sequence[Point]) -> tuple[LineString | None, ...]:
        """
        Return the shortest paths from one point to many.

        Parameters
        ----------
        start : Point
            Where from [m].
        ends : sequence of Point
            Where to [m].

        Returns
        -------
        tuple of LineString or None
            One for each end; ``None`` where no water connects it with the start.
        """
        if not ends:
            return ()
        origin, *targets = (self._joined(point) for point in (start, *ends))
        goals = np.array([target[0] for target in targets])
        in_sight = self._sees(origin[0], goals)
        is_few = np.count_nonzero(~in_sight) <= _FEW_ENDS
        if not is_few:
            length_m, previous = self._tree(origin[0])
        found: list[LineString | None] = []
        for target, seen in zip(targets, in_sight, strict=True):
            if seen:
                turns: list[int] | None = []
            elif is_few:
                turns = self._turns_towards(origin[0], target[0])
            else:
                turns = self._turns(target[0], length_m, previous)
            path = None if turns is None else [*origin[::-1], *self._corner_m[turns], *target]
            found.append(None if path is None else LineString(path))
        return tuple(found)

    def _joined(self, point: Point) -> list[FloatArray]:
        """Return where a point joins the water of the graph, then the point if it is not there."""
        here = np.array([point.x, point.y])
        if self._simpler is None or self._simpler.is_empty or shapely.covers(self._sight, point):
            return [here]
        leg = shapely.shortest_line(self._simpler, point)
        if not shapely.contains_properly(self._water, leg):
            return [here]
        return [shapely.get_coordinates(leg)[0], here]

    def _sees(self, origin: FloatArray, targets: FloatArray) -> NDArray[np.bool_]:
        """Tell which targets, shape (n, 2), a point sees."""
        ends = np.stack([np.broadcast_to(origin, targets.shape), targets], axis=1)
        # On water grown first, the strict predicate is the quick one: no line ends on an edge.
        seen: NDArray[np.bool_] = shapely.contains_properly(self._sight, shapely.linestrings(ends))
        return seen

    def _in_sight_of(self, index: int) -> tuple[IntArray, FloatArray]:
        """Return the corners to which a taut string may run from a corner, and how far [m]."""
        if index not in self._rows:
            corner, here = self._corner_m, self._corner_m[index]
            line = corner - here
            taut = _grazes(line, self._before_m[index] - here, self._after_m[index] - here)
            taut[index] = False
            other = np.flatnonzero(taut)
            before, after = self._before_m[other], self._after_m[other]
            other = other[_grazes(line[other], before - corner[other], after - corner[other])]
            other = other[self._sees(here, corner[other])]
            self._rows[index] = other, np.hypot(*line[other].T)
        return self._rows[index]

    def _turns_towards(self, origin: FloatArray, target: FloatArray) -> list[int] | None:
        """
        Return the corners of the shortest path to a target, looking only where it may run.

        Corners are taken in order of the way so far and the straight line left (A*), so the first
        that sees the target is the last turn of the shortest path.
        """
        count = self.corner_count
        left_m = np.hypot(*(self._corner_m - target).T)
        way_m = np.full(count, np.inf)
        previous = np.full(count, count)
        is_done = np.zeros(count, bool)
        seen = np.flatnonzero(self._sees(origin, self._corner_m))
        way_m[seen] = np.hypot(*(self._corner_m[seen] - origin).T)
        queue = list(zip((way_m + left_m)[seen].tolist(), seen.tolist(), strict=True))
        heapq.heapify(queue)
        while queue:
            _, here = heapq.heappop(queue)
            if is_done[here]:
                continue
            is_done[here] = True
            if self._sees(self._corner_m[here], target[None, :])[0]:
                return _way_back(here, previous, count)
            other, length_m = self._in_sight_of(here)
            nearer = way_m[here] + length_m < way_m[other]
            other = other[nearer]
            way_m[other] = way_m[here] + length_m[nearer]
            previous[other] = here
            for one, whole_m in zip(other.tolist(), (way_m + left_m)[other].tolist(), strict=True):
                heapq.heappush(queue, (whole_m, one))
        return None

    def _tree(self, origin: FloatArray) -> tuple[FloatArray, IntArray]:
        """Return each corner's in-water distance from a point, and the corner before it."""
        count = self.corner_count
        seen = np.flatnonzero(self._sees(origin, self._corner_m))
        rows = [self._in_sight_of(index) for index in range(count)]
        start = np.repeat(np.arange(count), [len(other) for other, _ in rows])
        end = np.concatenate([np.zeros(0, np.intp), *(other for other, _ in rows)])
        length_m = np.concatenate([np.zeros(0), *(length for _, length in rows)])
        reach_m = np.hypot(*(self._corner_m[seen] - origin).T)
        graph = coo_array(
            (
                np.concatenate([length_m, reach_m]),
                (
                    np.concatenate([start, np.full(len(seen), count)]),
                    np.concatenate([end, seen]),
                ),
            ),
            shape=(count + 1, count + 1),
        ).tocsr()
        distance, previous = dijkstra(
            graph, directed=False, indices=count, return_predecessors=True
        )
        return distance[:count], previous

    def _turns(
        self, target: FloatArray, length_m: FloatArray, previous: IntArray
    ) -> list[int] | None:
        """Return the corners of the shortest path to a target that is not in sight."""
        total_m = length_m + np.hypot(*(self._corner_m - target).T)
        # Corners are tried from the best on, so the first that sees the target ends the search.
        for best in _chunks(np.argsort(total_m, kind="stable")[: np.isfinite(total_m).sum()]):
            seen = self._sees(target, self._corner_m[best])
            if seen.any():
                return _way_back(int(best[seen.argmax()]), previous, self.corner_count)
        return None


def shortest_path(
    water: Polygon | MultiPolygon, start: Point, end: Point, simplify_m: float = 0.0
) -> LineString | None:
    """
    Return the shortest path through water.

    Parameters
    ----------
    water : Polygon or MultiPolygon
        Water that may be crossed, islands as holes [m].
    start, end : Point
        Where from and where to [m].
    simplify_m : float
        As for `VisibilityGraph`; zero: exact [m].

    Returns
    -------
    LineString or None
        The path; ``None`` where no water connects the two or one is not in the water.

    Raises
    ------
    ValueError
        If the water is no valid polygon, or the tolerance is negative.

    Examples
    --------
    >>> pond = shapely.box(-20, -20, 20, 20).difference(shapely.box(-3, -3, 3, 3))
    >>> path = shortest_path(pond, Point(-10, 0), Point(10, 0))
    >>> round(path.length, 6)
    21.231546
    """
    return VisibilityGraph(water, simplify_m).path(start, end)


def simpler_inside(water: Polygon | MultiPolygon, simplify_m: float) -> Polygon | MultiPolygon:
    """
    Return a simpler outline inside a water with many corners, and any other water as it is.

    Parameters
    ----------
    water : Polygon or MultiPolygon
        Water that may be crossed, islands as holes [m].
    simplify_m : float
        Tolerance; zero leaves the water as it is [m].

    Returns
    -------
    Polygon or MultiPolygon
        The water itself where a path can turn at ``MOST_EXACT_CORNERS`` corners or fewer; else
        polygons no part of which lies outside it, whose edge is at most about twice the tolerance
        from its own.

    Raises
    ------
    ValueError
        If the tolerance is negative.

    Notes
    -----
    Simplifying moves an edge by up to the tolerance, so the water is first taken back by as much.

    Examples
    --------
    >>> pond = shapely.box(0, 0, 9, 9)
    >>> simpler_inside(pond, 0.1) is pond
    True
    """
    if not simplify_m >= 0:
        raise ValueError(f"simplify_m must not be negative, it is {simplify_m!r}")
    if simplify_m == 0 or len(_corners(water)[0]) <= MOST_EXACT_CORNERS:
        return water
    return shapely.simplify(taken_back(water, simplify_m), simplify_m, preserve_topology=True)


def _corners(water: Polygon | MultiPolygon) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the corners that stand out into the water, each with its neighbours on the ring."""
    found = [np.zeros((3, 0, 2))]
    oriented = shapely.orient_polygons(water)  # the water lies to the left of every ring
    for ring in shapely.get_rings(shapely.get_parts(oriented)):
        here = shapely.get_coordinates(ring)[:-1]
        before, after = np.roll(here, 1, axis=0), np.roll(here, -1, axis=0)
        stands_out = _sine(here - before, after - here) < -_COLLINEAR
        found.append(np.stack([here, before, after])[:, stands_out])
    corner, before, after = np.concatenate(found, axis=1)
    return corner, before, after


def _sine(first: FloatArray, second: FloatArray) -> FloatArray:
    """Return the sine of the turn from one direction to another, shape (n,)."""
    cross = first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]
    size = np.hypot(first[..., 0], first[..., 1]) * np.hypot(second[..., 0], second[..., 1])
    sine: FloatArray = np.divide(cross, size, out=np.zeros_like(cross), where=size > 0)
    return sine


def _grazes(line: FloatArray, before: FloatArray, after: FloatArray) -> NDArray[np.bool_]:
    """Tell whether a line leaves both sides of a corner to one hand, as a taut string would."""
    grazing: NDArray[np.bool_] = _sine(line, before) * _sine(line, after) >= -_COLLINEAR
    return grazing


def _grown_for_sight(water: Polygon | MultiPolygon) -> Polygon | MultiPolygon:
    """Return water grown by the tolerance of lines of sight, made ready for many of them."""
    grown = shapely.buffer(water, SIGHT_TOLERANCE_M, join_style="mitre")
    shapely.prepare(grown)
    return grown


def _chunks(order: IntArray) -> Iterator[IntArray]:
    """Yield an order in parts of growing size: the first few usually settle it."""
    begin, size = 0, 8
    while begin < len(order):
        yield order[begin : begin + size]
        begin, size = begin + size, size * 4


def _way_back(last: int, previous: IntArray, root: int) -> list[int]:
    """Return the corners from the root of a tree of shortest paths to one of them."""
    turns = []
    while last != root:
        turns.append(last)
        last = int(previous[last])
    return turns[::-1]
