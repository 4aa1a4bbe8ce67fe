"""
Placement against its rivals at equal time, on random ponds: worth of the plan as ratios.

Run by hand: ``python -m tests.benchmarks.bench_rivals --ponds 20 --shares 0.1,0.3`` for twenty
ponds of 1 ha filled to a tenth and to three tenths of what their area could hold; ``--quick`` for
three small ponds. Needs the extra ``benchmarks`` (OR-Tools).

Each rival has the processor time that the search took, or ``--least-s`` if that is more. Lattices
and models of CP-SAT are built for nothing, and a greedy plan is always finished: the column
``time`` says what a rival took for what ours took. ``most`` is the proven bound for the rival's
worth: no plan at all could be further above it. A rival that found no plan counts as ``inf`` and is
counted.

``--sun`` takes worth that sun and shade make patchy: a bank in the shade to the south, and noise.
All plans are judged by one count of pairs and one exact test of the region, which no rival makes
itself.
"""

import argparse
import math
import statistics
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from scipy.ndimage import gaussian_filter
from scipy.sparse import coo_array

from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.bound import Limit, area_bound, grown_area_m2
from geoplan.placement.place import best_plan
from geoplan.placement.search import Poses
from geoplan.placement.worth import WorthSurface
from geoplan.raft import footprints
from tests.benchmarks.bench_placement import RAFT, pond, worth

GAP_M = 1.0
#: A rival that has so long may choose from the finest lattice, which takes a minute to lay [s].
_FOR_THE_FINEST_S = 10.0


class Lattice:
    """Legal poses on a lattice, what each is worth, and which exclude each other."""

    def __init__(self, region: shapely.Geometry, surface: WorthSurface, step: float, n: int):
        west, south, east, north = region.bounds
        at = np.meshgrid(
            np.arange(west, east, step), np.arange(south, north, step), np.arange(n) * 180.0 / n
        )
        x, y, turn = (part.ravel() for part in at)
        shapely.prepare(region)
        held = shapely.contains_xy(region, x, y)
        x, y, turn = x[held], y[held], turn[held]
        legal = shapely.covers(region, footprints(x, y, turn, RAFT.length_m, RAFT.width_m))
        self.x, self.y, self.turn = x[legal], y[legal], turn[legal]
        mean = surface.mean_under(RAFT, self.x, self.y, self.turn)
        self.value = RAFT.planted_area_m2 * mean
        self.outlines = footprints(self.x, self.y, self.turn, RAFT.length_m, RAFT.width_m)

    def poses(self, chosen: list[int]) -> Poses:
        """The rafts of a choice."""
        k = np.array(chosen, int)
        return Poses(RAFT, self.x[k], self.y[k], self.turn[k], self.value[k])


def greedy(lattice: Lattice, order: np.ndarray, count: int, until_s: float) -> list[int]:
    """One after the other in an order, each where it still fits; more than ``until_s`` is cut."""
    cell = math.hypot(RAFT.length_m, RAFT.width_m) + GAP_M
    near: dict[tuple[int, int], list[int]] = {}
    chosen: list[int] = []
    for k in order:
        if len(chosen) == count or time.process_time() > until_s:
            break
        i, j = int(lattice.x[k] // cell), int(lattice.y[k] // cell)
        others = [
            other
            for a in (i - 1, i, i + 1)
            for b in (j - 1, j, j + 1)
            for other in near.get((a, b), ())
        ]
        own = lattice.outlines[k]
        if not others or shapely.distance(own, lattice.outlines[others]).min() >= GAP_M - 1e-9:
            chosen.append(int(k))
            near.setdefault((i, j), []).append(int(k))
    return chosen


class Waters:
    """A pond with its worth, and the lattices on it, each built once."""

    def __init__(self, region: shapely.Geometry, surface: WorthSurface):
        self.region, self.surface = region, surface
        self._lattices: dict[tuple[float, int], Lattice] = {}
        self.models: dict[str, Any] = {}

    def lattice(self, step: float, turns: int) -> Lattice:
        """The legal poses of a spacing and a number of headings."""
        if (step, turns) not in self._lattices:
            self._lattices[step, turns] = Lattice(self.region, self.surface, step, turns)
        return self._lattices[step, turns]

    def by_worth(self, step: float, turns: int, count: int, until_s: float = math.inf) -> Poses:
        """The greedy plan over a lattice."""
        lattice = self.lattice(step, turns)
        order = np.argsort(-lattice.value, kind="stable")
        return lattice.poses(greedy(lattice, order, count, until_s))


def by_greed(waters: Waters, count: int, spare: "Spare") -> Poses:
    """The worthiest place again and again, places half a metre apart, four headings."""
    waters.lattice(0.5, 4)
    spare.begin()
    return waters.by_worth(0.5, 4, count)


def by_lattices(waters: Waters, count: int, spare: "Spare") -> Poses:
    """The best of greedy plans over two lattices, and over a much finer one if time is long."""
    waters.lattice(1.0, 2), waters.lattice(0.5, 4)
    spare.begin()
    plans = [waters.by_worth(1.0, 2, count), waters.by_worth(0.5, 4, count)]
    if spare.seconds >= _FOR_THE_FINEST_S:
        plans.append(waters.by_worth(0.25, 12, count, spare.until_s))
    return max(plans, key=lambda plan: float(plan.value.sum()))


def by_eye(waters: Waters, count: int, spare: "Spare") -> Poses:
    """The inflow's side first, in lines along the axes, as a person would draw them."""
    lattice, surface = waters.lattice(0.5, 2), waters.surface
    spare.begin()
    top = np.unravel_index(np.argmax(surface.nodes), surface.nodes.shape)
    east = surface.west_m + top[1] * surface.cell_size_m
    north = surface.south_m + top[0] * surface.cell_size_m
    away = np.hypot(lattice.x - east, lattice.y - north)
    return lattice.poses(greedy(lattice, np.argsort(away, kind="stable"), count, math.inf))


def by_annealing(waters: Waters, count: int, spare: "Spare") -> Poses:
    """Rafts of the greedy plan moved, turned and put elsewhere, worse plans taken while hot."""
    lattice, region, surface = waters.lattice(1.0, 2), waters.region, waters.surface
    start = waters.by_worth(1.0, 2, count)
    spare.begin()
    until = spare.until_s
    rng = np.random.default_rng(0)
    place = np.column_stack([start.easting_m, start.northing_m, start.heading_deg])
    value, outlines = start.value.copy(), np.array(start.outlines)
    best, best_sum = place.copy(), value.sum()
    begin, hot = time.process_time(), 0.05 * float(value.max(initial=1e-9))
    while len(place) and time.process_time() < until:
        share = min(1.0, (time.process_time() - begin) / max(until - begin, 1e-9))
        k = int(rng.integers(len(place)))
        moved = place[k] + rng.normal(0, (1.0, 1.0, 20.0)) * (1 - 0.9 * share)
        if rng.random() < 0.2:
            pick = int(rng.integers(len(lattice.x)))
            moved = np.array([lattice.x[pick], lattice.y[pick], rng.uniform(0, 180)])
        x, y, turn = moved[:1], moved[1:2], moved[2:] % 180
        outline = footprints(x, y, turn, RAFT.length_m, RAFT.width_m)[0]
        others = np.delete(outlines, k)
        if not shapely.covers(region, outline):
            continue
        if len(others) and shapely.distance(outline, others).min() < GAP_M:
            continue
        new = RAFT.planted_area_m2 * float(surface.mean_under(RAFT, x, y, turn)[0])
        gain = new - value[k]
        if gain >= 0 or rng.random() < math.exp(gain / (hot * (1 - share) + 1e-12)):
            place[k], value[k], outlines[k] = (x[0], y[0], turn[0]), new, outline
            if value.sum() > best_sum:
                best, best_sum = place.copy(), value.sum()
    worths = RAFT.planted_area_m2 * surface.mean_under(RAFT, *best.T)
    return Poses(RAFT, *best.T, worths)


def by_cliques(waters: Waters, count: int, spare: "Spare") -> Poses:
    """CP-SAT: at most one raft, grown by half the gap, over each of many points."""
    return _solved("cliques", _with_cliques, waters, count, spare)


def by_no_overlap(waters: Waters, count: int, spare: "Spare") -> Poses:
    """CP-SAT: optional boxes that do not overlap, the gap on two of their sides."""
    return _solved("no overlap", _without_overlap, waters, count, spare)


def _with_cliques(model: Any, taken: list[Any], lattice: Lattice) -> None:
    """Add what excludes poses of each other, points over which one raft may lie."""
    wide = shapely.buffer(lattice.outlines, GAP_M / 2 - 1e-6, quad_segs=8)
    west, south, east, north = shapely.total_bounds(wide)
    x, y = np.meshgrid(np.arange(west, east, 0.5), np.arange(south, north, 0.5))
    tree = shapely.STRtree(wide)
    which, who = tree.query(shapely.points(x.ravel(), y.ravel()), predicate="intersects")
    for rows in np.split(who, np.flatnonzero(np.diff(which)) + 1):
        if len(rows) > 1:
            model.add_at_most_one(taken[k] for k in rows)
    # Two rafts may overlap between the points; pairs that no point has are excluded one by one.
    over = coo_array((np.ones(len(who)), (which, who)), (x.size, len(wide))).tocsr()
    own = shapely.STRtree(lattice.outlines)
    a, b = own.query(lattice.outlines, predicate="dwithin", distance=GAP_M - 1e-9)
    first, other = a[a < b], b[a < b]
    is_missed = np.asarray((over.T @ over)[first, other]).ravel() == 0
    for pair in zip(first[is_missed], other[is_missed], strict=True):
        model.add_at_most_one(taken[k] for k in pair)


def _without_overlap(model: Any, taken: list[Any], lattice: Lattice) -> None:
    """Add boxes with the gap on two of their sides."""
    east, north = [], []
    for k, literal in enumerate(taken):
        along = abs(lattice.turn[k] - 90.0) < 1
        size = (RAFT.length_m, RAFT.width_m) if along else (RAFT.width_m, RAFT.length_m)
        for axis, centre, side in ((east, lattice.x[k], size[0]), (north, lattice.y[k], size[1])):
            low, long = round(100 * (centre - side / 2)), round(100 * (side + GAP_M))
            axis.append(model.new_optional_fixed_size_interval_var(low, long, literal, ""))
    model.add_no_overlap_2d(east, north)


def _solved(name: str, add: Any, waters: Waters, count: int, spare: "Spare") -> Poses:
    """The best choice found in the time, on one core, by a watch on the processor's time."""
    from ortools.sat.python import cp_model

    lattice = waters.lattice(1.0, 2)
    if name not in waters.models:
        made = waters.models[name] = cp_model.CpModel()
        taken = [made.new_bool_var("") for _ in lattice.value]
        add(made, taken, lattice)
        scale = 1e6 / max(float(lattice.value.max(initial=0.0)), 1e-12)
        made.maximize(sum(round(v * scale) * t for v, t in zip(lattice.value, taken, strict=True)))
    model = waters.models[name].clone()
    taken = [model.get_bool_var_from_proto_index(k) for k in range(len(lattice.value))]
    model.add(sum(taken) <= count)
    solver, ended = cp_model.CpSolver(), threading.Event()
    solver.parameters.num_workers, solver.parameters.random_seed = 1, 0
    spare.begin()

    def watch() -> None:
        while not ended.wait(0.01):
            if time.process_time() >= spare.until_s:
                solver.stop_search()

    watcher = threading.Thread(target=watch)
    watcher.start()
    try:
        status = solver.solve(model)
    finally:
        ended.set()
        watcher.join()
    if status not in {cp_model.OPTIMAL, cp_model.FEASIBLE}:
        return lattice.poses([])
    return lattice.poses([k for k, t in enumerate(taken) if solver.boolean_value(t)])


class Spare:
    """The processor's time that a rival has, from when it begins [s]."""

    def __init__(self, seconds: float):
        self.seconds = seconds
        self.begin()

    def begin(self) -> None:
        """Start the clock."""
        self.begun_s = time.process_time()
        self.until_s = self.begun_s + self.seconds


@dataclass(frozen=True)
class Rival:
    """Another way to place rafts, and by how much ours is wanted above it, by share."""

    place: Callable[[Waters, int, Spare], Poses]
    wanted: dict[float, float] | float


RIVALS = {
    "greedy 0.5 m 4 headings": Rival(by_greed, {0.1: 1.03, 0.3: 1.07, 0.5: 1.09, 1.0: 1.16}),
    "greedy best of lattices": Rival(by_lattices, 1.0),
    "nearest to the inflow": Rival(by_eye, 1.10),
    "simulated annealing": Rival(by_annealing, 1.03),
    "CP-SAT no overlap": Rival(by_no_overlap, 1.12),
    "CP-SAT with cliques": Rival(by_cliques, 1.05),
}


def judged(poses: Poses, region: shapely.Geometry, surface: WorthSurface, count: int) -> float:
    """What a plan is worth; a plan that breaks a rule stops the benchmark."""
    outlines = poses.outlines
    if len(poses) == 0:
        return 0.0
    first, other = shapely.STRtree(outlines).query(
        outlines, predicate="dwithin", distance=GAP_M - 1e-4
    )
    clash = int((first < other).sum())
    outside = int((~shapely.covers(shapely.buffer(region, 1e-6), outlines)).sum())
    if clash or outside or len(poses) > count:
        raise AssertionError(f"{clash} pairs too near, {outside} rafts outside, {len(poses)} rafts")
    mean = surface.mean_under(RAFT, poses.easting_m, poses.northing_m, poses.heading_deg)
    return float((RAFT.planted_area_m2 * mean).sum())


def count_of(region: shapely.Geometry, share: float) -> int:
    """A share of the rafts that the area could hold if none of it were lost."""
    grown_m2 = grown_area_m2(RAFT.length_m, RAFT.width_m, GAP_M)
    return max(1, round(share * shapely.buffer(region, GAP_M / 2).area / grown_m2))


def ours(region, surface, count) -> Poses:  # type: ignore[no-untyped-def]
    """The search as a plan gets it."""
    limits = [Limit("stock", "", (1.0,), float(count))]
    return best_plan([surface], [AllowedRegion(RAFT, region, ())], limits, GAP_M, seed=0)[0][0]


def in_sun(surface: WorthSurface, region: shapely.Geometry, seed: int) -> WorthSurface:
    """Worth with a shaded strip along southern banks, and patches of more or less sun."""
    rows, cols = surface.nodes.shape
    h = surface.cell_size_m
    east, north = np.meshgrid(
        surface.west_m + np.arange(cols) * h, surface.south_m + np.arange(rows) * h
    )
    shapely.prepare(region)
    # The bank lies to the south where the point that many metres south is not water.
    shaded = ~shapely.contains_xy(region, east, north - 5.0)
    noise = gaussian_filter(np.random.default_rng([seed, 1]).normal(size=(rows, cols)), 10.0 / h)
    sun = np.clip(1.0 + 0.15 * noise / noise.std(), 0.5, 1.5)
    return WorthSurface(
        surface.west_m, surface.south_m, h, surface.nodes * sun * np.where(shaded, 0.6, 1.0)
    )


@dataclass(frozen=True)
class Score:
    """How ours stands to a rival on one pond: worth, the bound and time for the rival's."""

    ratio: float
    most: float
    time: float


def compared(
    waters: Waters, share: float, least_s: float, names: list[str], pond_name: str
) -> dict[str, Score]:
    """Our scores against each rival on one pond; one line is printed."""
    region, surface = waters.region, waters.surface
    count = count_of(region, share)
    begin = time.process_time()
    plan = ours(region, surface, count)
    taken_s = time.process_time() - begin
    value = judged(plan, region, surface, count)
    limits = [Limit("stock", "", (1.0,), float(count))]
    bound = area_bound([surface], [AllowedRegion(RAFT, region, ())], GAP_M, limits).value
    out = {}
    for name in names:
        spare = Spare(max(taken_s, least_s))
        found = RIVALS[name].place(waters, count, spare)
        used_s = time.process_time() - spare.begun_s
        theirs = max(judged(found, region, surface, count), 1e-300)
        none = len(found) == 0
        out[name] = Score(
            math.inf if none else value / theirs,
            math.inf if none else bound / theirs,
            used_s / taken_s,
        )
    shown = ", ".join(f"{name} {one.ratio:.3f}" for name, one in out.items())
    print(
        f"{pond_name}: {count} rafts, {value / bound:.4f} of the bound in {taken_s:.1f} s; {shown}"
    )
    return out


def main(
    ponds: int, shares: list[float], area_ha: float, least_s: float, names: list[str], *, sun: bool
) -> None:
    """Print, for each share and rival, the least and the median ratio of our worth to its."""
    region, radius = pond(0, 0.05)
    ours(region, worth(radius, 0.05), 2)  # compiles
    found: dict[tuple[float, str], list[Score]] = {}
    for seed in range(1, ponds + 1):
        region, radius = pond(seed, area_ha)
        surface = worth(radius, area_ha)
        waters = Waters(region, in_sun(surface, region, seed) if sun else surface)
        for share in shares:
            scores = compared(waters, share, least_s, names, f"pond {seed} at {share:g}")
            for name, score in scores.items():
                found.setdefault((share, name), []).append(score)
    print(
        f"{ponds} ponds of {area_ha:g} ha; a rival has the time of ours, {least_s:g} s at the least"
    )
    print(
        "share  rival                    wanted  median   least  below 1  no plan    most    time"
    )
    for (share, name), scores in sorted(
        found.items(), key=lambda one: (one[0][0], names.index(one[0][1]))
    ):
        wanted = RIVALS[name].wanted
        want = wanted.get(share, 1.0) if isinstance(wanted, dict) else wanted
        ratios = [one.ratio for one in scores]
        print(
            f"{share:5.2f}  {name:24s} {want:6.2f} {statistics.median(ratios):7.3f}"
            f" {min(ratios):7.3f}"
            f" {sum(ratio < 1 - 1e-9 for ratio in ratios):8d} {sum(map(math.isinf, ratios)):8d}"
            f" {statistics.median(one.most for one in scores):7.3f}"
            f" {statistics.median(one.time for one in scores):7.2f}"
        )


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--ponds", type=int, default=20)
    parser.add_argument("--shares", default="0.1,0.3,0.5,1.0")
    parser.add_argument("--area-ha", type=float, default=1.0)
    parser.add_argument("--least-s", type=float, default=0.0)
    parser.add_argument("--rivals", default=",".join(RIVALS))
    parser.add_argument("--sun", action="store_true")
    parser.add_argument("--quick", action="store_true")
    given = parser.parse_args()
    if given.quick:
        given.ponds, given.area_ha = 3, 0.3
    main(
        given.ponds,
        [float(word) for word in given.shares.split(",")],
        given.area_ha,
        given.least_s,
        given.rivals.split(","),
        sun=given.sun,
    )
