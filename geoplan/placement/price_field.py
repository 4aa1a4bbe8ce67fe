r"""
The price field: the tight bound for small and awkward waters.

Let a field f ≥ 0 lie over the water, let rafts of type t pay λₜ, the prices of what they use, and
rafts of one room (a part of the water that no grown raft leaves) a price κ more. If every legal
pose pays its worth,

.. math:: \int_{D(p)} f + \lambda_t + \kappa_{room} \ge v(p),

then no legal plan is worth more than ∫f + Σ pⱼ bⱼ + Σ κ n, for grown rafts D are disjoint and a
room holds no more than n of them. The best f is found by a linear programme over lattice poses, in
which the poses that pay too little are taken up round after round.

That is a number. It is a bound once every pose is judged: what the poses still lack, with what a
pose between lattice poses can lack beyond them (see `pose_lattice`), is the margin δ, and each
raft that a plan can hold adds it to the bound.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import highspy
import numpy as np
import shapely
from scipy.ndimage import maximum_filter
from scipy.sparse import csr_array, hstack, kron

from geoplan.cut_cells import cell_coverage
from geoplan.placement.allowed import AllowedRegion, grown
from geoplan.placement.bound import SLACK_M, Limit, grown_area_m2
from geoplan.placement.pose_lattice import (
    STEPS,
    PoseSums,
    gradient_reach,
    lattice_poses,
    pose_sums,
    sums,
)
from geoplan.placement.worth import WorthSurface
from geoplan.site import FloatArray

#: Lattice poses beyond which the area bound has to do, and variables of the field.
_MOST_POSES = 1_500_000
_MOST_VARIABLES = 8_000
#: Cells between the nodes of the field that is sought.
_COARSE = 2
#: Rounds, poses taken up in one, and lack at which the rounds end, as a share of the best worth.
_ROUNDS = 14
_TAKEN = 1200
_CLOSED = 5e-4
_STALLED = 2
#: Steepest field: the price of a raft's own area lost over this distance [m].
_STEEPEST_M = 1.5
#: Rooms for more rafts than this get no price of their own.
_SMALL_ROOM = 12
_FINE = 8


@dataclass(frozen=True, eq=False)
class Room:
    """
    A part of the water that no grown raft leaves.

    Attributes
    ----------
    outline : shapely.Geometry
        Polygon [m].
    most : int
        Grown rafts of the smallest type that its area holds at most.
    """

    outline: shapely.Geometry
    most: int


@dataclass(frozen=True, eq=False)
class FieldProof:
    """
    A price field that every legal pose pays its worth to.

    Attributes
    ----------
    value : float
        No legal plan is worth more [unit of the benefit].
    field : ndarray of float32, shape (rows, cols)
        Price of water at the nodes, bilinear between them [unit of the benefit a m²].
    prices : tuple of float
        Price of one unit of each limit.
    rooms : tuple of Room
        Rooms with a price of their own.
    room_prices : tuple of float
        What a raft there pays more [unit of the benefit].
    margin : float
        What a pose may lack; each raft of ``most_rafts`` adds it [unit of the benefit].
    most_rafts : int
        No legal plan holds more rafts.
    """

    value: float
    field: FloatArray
    prices: tuple[float, ...]
    rooms: tuple[Room, ...]
    room_prices: tuple[float, ...]
    margin: float
    most_rafts: int


@dataclass(frozen=True, eq=False)
class _Type:
    """The lattice poses of one type, and what they are worth with their remainder."""

    poses: FloatArray
    worth: FloatArray
    room: FloatArray
    weights: PoseSums

    @property
    def nearest(self) -> tuple[FloatArray, FloatArray]:
        """Return the node of each pose's cell."""
        return self.poses[:, 1] // STEPS, self.poses[:, 2] // STEPS


@dataclass(frozen=True, eq=False)
class _Problem:
    """What the programme is made from; the variables are nodes, limits and rooms in this order."""

    surface: WorthSurface
    types: tuple[_Type, ...]
    spread: csr_array  # (nodes, coarse nodes): the field at nodes from that at coarse nodes
    node_area_m2: FloatArray  # (rows, cols) integral over the water of each node's hat
    use: FloatArray  # (limits, types)
    most: FloatArray  # (limits,)
    rooms: tuple[Room, ...]
    most_rafts: int

    @property
    def costs(self) -> FloatArray:
        """Return what a unit of each variable adds to the bound."""
        area = self.spread.T @ self.node_area_m2.ravel()
        room = np.array([float(room.most) for room in self.rooms])
        return np.concatenate([area, self.most, room])

    def split(self, found: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the field at nodes, the prices of limits and those of rooms."""
        coarse = self.spread.shape[1]
        field = (self.spread @ found[:coarse]).reshape(self.surface.nodes.shape)
        limits = len(self.most)
        return field, found[coarse : coarse + limits], found[coarse + limits :]


def price_field(
    surfaces: Sequence[WorthSurface],
    regions: Sequence[AllowedRegion],
    gap_m: float,
    limits: Sequence[Limit],
) -> FieldProof | None:
    """
    Return the best price field found, proven for every legal pose.

    Parameters
    ----------
    surfaces : sequence of WorthSurface
        Worth for each type, bilinear between the nodes of one grid.
    regions : sequence of AllowedRegion
        Where rafts of each type may lie.
    gap_m : float
        Distance between rafts [m].
    limits : sequence of Limit
        Sums that are bounded, over the types in the order of ``regions``.

    Returns
    -------
    FieldProof or None
        A bound for continuous positions and headings; ``None`` where the water is too large for
        it. It may be worse than the area bound, which is to be compared.
    """
    problem = _problem(surfaces, regions, gap_m, limits)
    if problem is None:
        return None
    if problem.most_rafts == 0:
        nothing = np.zeros(surfaces[0].nodes.shape)
        return FieldProof(0.0, nothing, (0.0,) * len(limits), (), (), 0.0, 0)
    programme, stalled = _Programme(problem), 0
    rented = programme.rented(problem)
    best = None if rented is None else _judged(problem, rented)[0]
    programme.take(
        [_first_poses(kind) for kind in problem.types],
        [np.zeros(len(kind.poses)) for kind in problem.types],
        problem,
    )
    for _ in range(_ROUNDS):
        found = programme.solved()
        if found is None:
            break
        proof, lacks, rises = _judged(problem, found)
        tries = [proof]
        if rented is not None:
            tries.append(_judged(problem, (found + rented) / 2)[0])
        tightest = min(tries, key=lambda each: each.value)
        is_better = best is None or tightest.value < (1 - _CLOSED) * best.value
        if best is None or tightest.value < best.value:
            best = tightest
        stalled = 0 if is_better else stalled + 1
        rows = [_worst(kind, lack) for kind, lack in zip(problem.types, lacks, strict=True)]
        top = max(float(kind.worth.max(initial=0.0)) for kind in problem.types)
        if stalled >= _STALLED or proof.margin <= _CLOSED * top or not any(map(len, rows)):
            break
        programme.take(rows, rises, problem)
    return best


def _problem(
    surfaces: Sequence[WorthSurface],
    regions: Sequence[AllowedRegion],
    gap_m: float,
    limits: Sequence[Limit],
) -> _Problem | None:
    """Return the programme's data; nothing where there are too many poses or nodes."""
    surface = surfaces[0]
    legal = [grown(region.region, SLACK_M) for region in regions]
    wide = shapely.union_all([grown(area.region, gap_m / 2 + SLACK_M) for area in regions])
    shape, h = surface.nodes.shape, surface.cell_size_m
    frame = shapely.box(
        surface.west_m, surface.south_m,
        surface.west_m + (shape[1] - 1) * h, surface.south_m + (shape[0] - 1) * h,
    )  # fmt: skip
    wide = shapely.intersection(wide, frame)
    if 16 * 24 * sum(area.area for area in legal) > 2 * _MOST_POSES:
        return None
    least_m2 = min(grown_area_m2(r.raft_type.length_m, r.raft_type.width_m, gap_m) for r in regions)
    rooms = [
        Room(part, math.floor(part.area / least_m2 * (1 + 1e-6) + 1e-9))
        for part in shapely.get_parts(wide)
        if shapely.get_dimensions(part) == 2
    ]
    types = []
    for own, region, area in zip(surfaces, regions, legal, strict=True):
        types.append(_type(own, region, area, gap_m, rooms))
    if sum(len(kind.poses) for kind in types) > _MOST_POSES:
        return None
    across_m = min(region.raft_type.width_m for region in regions) + gap_m
    rooms = _counted(rooms, types, across_m, surface.cell_size_m / STEPS)
    node_area = _node_areas(surface, wide)
    spread = _spread(surface, types)
    if spread.shape[1] > _MOST_VARIABLES:
        return None
    use = np.array([limit.per_raft for limit in limits]).reshape(-1, len(types))
    most = np.array([limit.most for limit in limits])
    most_rafts = min(sum(room.most for room in rooms), _most_by_limits(use, most))
    return _Problem(surface, tuple(types), spread, node_area, use, most, tuple(rooms), most_rafts)


def _counted(
    rooms: Sequence[Room], types: Sequence[_Type], across_m: float, spacing_m: float
) -> list[Room]:
    """Return the rooms; one raft alone where no two centres lie as far apart as rafts must."""
    out = []
    for index, room in enumerate(rooms):
        places = np.concatenate([kind.poses[kind.room == index, 1:] for kind in types])
        most = room.most
        if len(places) == 0:
            most = 0
        elif float(np.hypot(*np.ptp(places * spacing_m, axis=0))) < across_m:
            most = min(most, 1)
        out.append(Room(room.outline, most))
    return out


def _most_by_limits(use: FloatArray, most: FloatArray) -> int:
    """Return how many rafts of all types together the limits can allow at most."""
    counts = [
        math.floor(limit / row.min() + 1e-9)
        for row, limit in zip(use, most, strict=True)
        if row.min() > 0
    ]
    by_type = []
    for t in range(use.shape[1]):
        own = [b / row[t] for row, b in zip(use, most, strict=True) if row[t] > 0]
        by_type.append(math.floor(min(own, default=1e6) + 1e-9))
    return min([*counts, sum(by_type)])


def _type(
    surface: WorthSurface,
    region: AllowedRegion,
    legal: shapely.Geometry,
    gap_m: float,
    rooms: Sequence[Room],
) -> _Type:
    """Return the lattice poses of a type with what they are worth at most."""
    kind, h = region.raft_type, surface.cell_size_m
    weights = pose_sums(kind.length_m, kind.width_m, gap_m, h)
    poses = lattice_poses(surface, legal, kind) if not legal.is_empty else np.zeros((0, 3), int)
    mean = sums(surface.nodes, poses, *weights.raft)
    rise = weights.raft_rise_m * gradient_reach(surface.nodes, h, weights.reach_m)
    mean += rise[poses[:, 1] // STEPS, poses[:, 2] // STEPS]
    places, which = np.unique(poses[:, 1:], axis=0, return_inverse=True)
    points = shapely.points(
        surface.west_m + places[:, 1] * h / STEPS, surface.south_m + places[:, 0] * h / STEPS
    )
    # A box of poses is smaller than the gap between rooms: the nearest room is that of its rafts.
    nearest = shapely.STRtree([room.outline for room in rooms]).nearest(points)
    return _Type(poses, kind.planted_area_m2 * mean, nearest[which.ravel()], weights)


def _node_areas(surface: WorthSurface, wide: shapely.Geometry) -> FloatArray:
    """Return the integral of each node's hat over the water, from above at its edge [m²]."""
    rows, cols = surface.nodes.shape
    fine = surface.cell_size_m / _FINE
    share = cell_coverage(
        wide, surface.west_m, surface.south_m, fine, ((rows - 1) * _FINE, (cols - 1) * _FINE)
    )
    blocks = share.reshape(rows - 1, _FINE, cols - 1, _FINE) * fine**2
    is_cut = (blocks < (1 - 1e-9) * fine**2) & (blocks > 0)
    out = np.zeros((rows, cols))
    place = np.arange(_FINE)
    # Where a part of a cell is cut, the hat's largest value in the part is taken.
    ends = (1 - (place + 0.5) / _FINE, (place + 0.5) / _FINE)
    tops = (1 - place / _FINE, (place + 1) / _FINE)
    for up in (0, 1):
        for right in (0, 1):
            part = np.einsum("iajb,a,b->ij", np.where(is_cut, 0, blocks), ends[up], ends[right])
            part += np.einsum("iajb,a,b->ij", np.where(is_cut, blocks, 0), tops[up], tops[right])
            out[up : rows - 1 + up, right : cols - 1 + right] += part
    return out


def _spread(surface: WorthSurface, types: Sequence[_Type]) -> csr_array:
    """Return the field at nodes from that at coarse nodes, which rafts can reach."""
    rows, cols = surface.nodes.shape
    lines = []
    for count in (rows, cols):
        node = np.arange(count)
        coarse = count // _COARSE + 2
        low, part = node // _COARSE, node % _COARSE / _COARSE
        lines.append(
            csr_array((1 - part, (node, low)), (count, coarse))
            + csr_array((part, (node, low + 1)), (count, coarse))
        )
    whole = csr_array(kron(lines[0], lines[1], format="csr"))
    reached = np.zeros((rows, cols), bool)
    for kind in types:
        near = np.zeros((rows, cols))
        at = np.unique(np.stack(kind.nearest, axis=1), axis=0)
        near[at[:, 0], at[:, 1]] = 1.0
        reached |= _within(near, kind.weights.reach_m / surface.cell_size_m + 1) > 0
    used = np.flatnonzero(whole.T @ reached.ravel().astype(float))
    return csr_array(whole[:, used])


def _within(cells: FloatArray, reach: float) -> FloatArray:
    """Return the largest of the values within a square of cells round each."""
    out: FloatArray = maximum_filter(cells, 2 * math.ceil(reach) + 1)
    return out


def _first_poses(kind: _Type) -> FloatArray:
    """Return every sixth heading at every second node, to begin with."""
    turn, row, col = kind.poses.T
    step = 2 * STEPS
    return np.flatnonzero((turn % 4 == 0) & (row % step == 0) & (col % step == 0))


def _worst(kind: _Type, lack: FloatArray) -> FloatArray:
    """Return the poses that lack most, one heading at each place, spread over the water."""
    lacking = np.flatnonzero(lack > 0)
    if len(lacking) == 0:
        return lacking
    order = lacking[np.argsort(-lack[lacking], kind="stable")]
    rows, cols = kind.nearest
    place = rows[order] * 100_000 + cols[order]
    _, first = np.unique(place, return_index=True)
    return order[np.sort(first)][:_TAKEN]


def _judged(
    problem: _Problem, found: FloatArray
) -> tuple[FieldProof, list[FloatArray], list[FloatArray]]:
    """Return what a field proves; what each lattice pose lacks, and what part poses between do."""
    exact, prices, room_prices = problem.split(np.maximum(found, 0.0))
    # Up, so that the field as written is the one that is judged.
    field = np.nextafter(exact.astype(np.float32), np.float32(np.inf))
    field = np.where(exact > 0, field, np.float32(0.0)).astype(float)
    h = problem.surface.cell_size_m
    lacks, rises, margin = [], [], 0.0
    for index, kind in enumerate(problem.types):
        paid = sums(field, kind.poses, *kind.weights.grown)
        rise = kind.weights.grown_rise_m3 * gradient_reach(field, h, kind.weights.reach_m)
        rises.append(rise[kind.nearest])
        paid += prices @ problem.use[:, index] + room_prices[kind.room]
        lack = kind.worth + rises[-1] - paid
        lacks.append(lack)
        margin = max(margin, float(lack.max(initial=0.0)))
    margin *= 1 + 1e-9
    most = np.array([float(room.most) for room in problem.rooms])
    value = float((field * problem.node_area_m2).sum() + prices @ problem.most)
    value += float(room_prices @ most) + margin * problem.most_rafts
    priced = np.flatnonzero(room_prices > 0)
    proof = FieldProof(
        value * (1 + 1e-9),
        field,
        tuple(float(p) for p in prices),
        tuple(problem.rooms[k] for k in priced),
        tuple(float(room_prices[k]) for k in priced),
        margin,
        problem.most_rafts,
    )
    return proof, lacks, rises


class _Programme:
    """The linear programme, to which poses are added; solved anew from where it was."""

    def __init__(self, problem: _Problem) -> None:
        """Set up variables and the steepest slope of the field."""
        costs = problem.costs
        coarse = problem.spread.shape[1]
        h = problem.surface.cell_size_m
        # Nodes beyond the water cost next to nothing: a price keeps the field from rising there.
        costs[:coarse] = np.maximum(costs[:coarse], 0.1 * (_COARSE * h) ** 2)
        self._solver = highspy.Highs()
        for option, setting in (
            ("log_to_console", False),
            ("output_flag", False),
            ("threads", 1),
            ("random_seed", 0),
        ):
            self._solver.setOptionValue(option, setting)
        upper = np.full(len(costs), highspy.kHighsInf)
        for index, room in enumerate(problem.rooms):
            if room.most > _SMALL_ROOM:
                upper[coarse + len(problem.most) + index] = 0.0
        self._solver.addVars(len(costs), np.zeros(len(costs)), upper)
        self._solver.changeColsCost(len(costs), np.arange(len(costs), dtype=np.int32), costs)
        self._taken: list[tuple[int, int, FloatArray]] = []
        self._limit_slopes(problem)

    def _limit_slopes(self, problem: _Problem) -> None:
        """Keep neighbours from differing by more than the steepest slope."""
        spread = problem.spread
        # A coarse node is the node where its hat is one.
        top = np.asarray(spread.argmax(axis=0)).ravel()
        place = {int(node): k for k, node in enumerate(top)}
        cols = problem.surface.nodes.shape[1]
        pairs = [
            (k, place[node + step])
            for node, k in place.items()
            for step in (_COARSE, _COARSE * cols)
            if node + step in place
        ]
        most = max(
            float(kind.worth.max(initial=0.0)) / kind.weights.grown_m2 for kind in problem.types
        )
        slope = most / _STEEPEST_M * _COARSE * problem.surface.cell_size_m
        count = len(pairs)
        self._solver.addRows(
            count, np.full(count, -slope), np.full(count, slope), 2 * count,
            np.arange(count, dtype=np.int32) * 2,
            np.array(pairs, np.int32).ravel(), np.tile([1.0, -1.0], count),
        )  # fmt: skip

    def take(
        self, chosen: Sequence[FloatArray], rises: Sequence[FloatArray], problem: _Problem
    ) -> None:
        """Add poses of each type: all pay their worth, and what poses round them may lack now."""
        for index, first, picked in self._taken:
            count = len(picked)
            self._solver.changeRowsBounds(
                count,
                np.arange(first, first + count, dtype=np.int32),
                problem.types[index].worth[picked] + rises[index][picked],
                np.full(count, highspy.kHighsInf),
            )
        for index, (kind, picked) in enumerate(zip(problem.types, chosen, strict=True)):
            if len(picked) == 0:
                continue
            field = self._pose_weights(kind, picked, problem)
            count = len(picked)
            price = csr_array(np.tile(problem.use[:, index], (count, 1)))
            room = csr_array(
                (np.ones(count), (np.arange(count), kind.room[picked])),
                (count, len(problem.rooms)),
            )
            rows = csr_array(hstack([field, price, room], format="csr"))
            self._taken.append((index, self._solver.getNumRow(), picked))
            self._solver.addRows(
                count, kind.worth[picked] + rises[index][picked],
                np.full(count, highspy.kHighsInf), rows.nnz,
                rows.indptr[:-1].astype(np.int32), rows.indices.astype(np.int32), rows.data,
            )  # fmt: skip

    @staticmethod
    def _pose_weights(kind: _Type, picked: FloatArray, problem: _Problem) -> csr_array:
        """Return the weights of coarse nodes in what poses pay, one row each."""
        start, rows, cols, weights = kind.weights.grown
        shape = problem.surface.nodes.shape
        turn, row, col = kind.poses[picked].T
        which = (turn * STEPS + row % STEPS) * STEPS + col % STEPS
        counts = start[which + 1] - start[which]
        owner = np.repeat(np.arange(len(picked)), counts)
        entry = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
        entry += np.repeat(start[which], counts)
        i = row[owner] // STEPS + rows[entry]
        j = col[owner] // STEPS + cols[entry]
        inside = (i >= 0) & (i < shape[0]) & (j >= 0) & (j < shape[1])
        fine = csr_array(
            (weights[entry][inside], (owner[inside], (i * shape[1] + j)[inside])),
            (len(picked), shape[0] * shape[1]),
        )
        return csr_array(fine @ problem.spread)

    def rented(self, problem: _Problem) -> FloatArray | None:
        """Return the best prices without any field, which leave nothing between lattice poses."""
        count = problem.spread.shape[1]
        field = np.arange(count, dtype=np.int32)
        best = []
        for kind in problem.types:
            order = np.argsort(-kind.worth, kind="stable")
            _, first = np.unique(kind.room[order], return_index=True)
            best.append(order[first])
        self.take(best, [np.zeros(len(kind.poses)) for kind in problem.types], problem)
        self._solver.changeColsBounds(count, field, np.zeros(count), np.zeros(count))
        found = self.solved()
        self._solver.changeColsBounds(
            count, field, np.zeros(count), np.full(count, highspy.kHighsInf)
        )
        return found

    def solved(self) -> FloatArray | None:
        """Return the variables; nothing where the programme has no best."""
        self._solver.run()
        if self._solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        return np.array(self._solver.getSolution().col_value)
