"""
Placement against its rivals at equal time, on random ponds: worth of the plan as ratios.

Run by hand: ``python -m tests.benchmarks.bench_rivals 20 0.1,0.3 1.0 20`` for twenty ponds of 1 ha
filled to a tenth and to three tenths of what their area could hold, rivals given 20 s or what the
search took, if more; ``--quick`` for three small ponds and 2 s. Needs the extra ``benchmarks``
(OR-Tools). Time is that of the process, but CP-SAT goes by the clock:
leave the machine alone. A ratio of ``inf`` is a rival that found no plan. All plans are judged
by one count of pairs and one exact test of the region, which no rival makes itself.
"""

import math
import statistics
import sys
import time
from collections.abc import Callable, Sequence

import numpy as np
import shapely

from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.bound import Limit, grown_area_m2
from geoplan.placement.place import best_plan
from geoplan.placement.search import Poses
from geoplan.placement.worth import WorthSurface
from geoplan.raft import footprints
from tests.benchmarks.bench_placement import RAFT, pond, worth

GAP_M = 1.0
#: Spacings and headings of the lattices that rivals choose from.
LATTICES = ((1.0, 2), (0.5, 4), (0.25, 12))


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
        self.step = step

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


def by_greed(region, surface, count, seconds):  # type: ignore[no-untyped-def]
    """The best of greedy plans over the lattices that there is time for."""
    best, until = None, time.process_time() + seconds
    for step, turns in LATTICES:
        if best is not None and time.process_time() > until - seconds / 2:
            break
        lattice = Lattice(region, surface, step, turns)
        # The first lattice is always finished: a rival without a plan would be no rival.
        end = math.inf if best is None else until
        found = lattice.poses(greedy(lattice, np.argsort(-lattice.value), count, end))
        if best is None or found.value.sum() > best.value.sum():
            best = found
    return best


def by_eye(region, surface, count, seconds):  # type: ignore[no-untyped-def]
    """The inflow's side first, in lines along the axes, as a person would draw them."""
    lattice = Lattice(region, surface, 0.5, 2)
    top = np.unravel_index(np.argmax(surface.nodes), surface.nodes.shape)
    east = surface.west_m + top[1] * surface.cell_size_m
    north = surface.south_m + top[0] * surface.cell_size_m
    away = np.hypot(lattice.x - east, lattice.y - north)
    return lattice.poses(greedy(lattice, np.argsort(away, kind="stable"), count, math.inf))


def by_annealing(region, surface, count, seconds):  # type: ignore[no-untyped-def]
    """Rafts of the greedy plan moved, turned and put elsewhere, worse plans taken while hot."""
    until = time.process_time() + seconds
    lattice = Lattice(region, surface, 1.0, 2)
    start = lattice.poses(greedy(lattice, np.argsort(-lattice.value), count, math.inf))
    rng = np.random.default_rng(0)
    place = np.column_stack([start.easting_m, start.northing_m, start.heading_deg])
    value, outlines = start.value.copy(), np.array(start.outlines)
    best, best_sum = place.copy(), value.sum()
    begin, hot = time.process_time(), 0.05 * float(value.max(initial=1e-9))
    while len(place) and time.process_time() < until:
        share = (time.process_time() - begin) / max(until - begin, 1e-9)
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


def by_cliques(region, surface, count, seconds):  # type: ignore[no-untyped-def]
    """CP-SAT: at most one raft, grown by half the gap, over each of many points."""
    from ortools.sat.python import cp_model

    lattice, model = Lattice(region, surface, 1.0, 2), cp_model.CpModel()
    wide = shapely.buffer(lattice.outlines, GAP_M / 2 - 1e-6, quad_segs=8)
    taken = [model.new_bool_var("") for _ in wide]
    west, south, east, north = region.bounds
    x, y = np.meshgrid(np.arange(west - 1, east + 1, 0.5), np.arange(south - 1, north + 1, 0.5))
    tree = shapely.STRtree(wide)
    which, who = tree.query(shapely.points(x.ravel(), y.ravel()), predicate="intersects")
    for rows in np.split(who, np.flatnonzero(np.diff(which)) + 1):
        if len(rows) > 1:
            model.add_at_most_one(taken[k] for k in rows)
    # Points leave slivers between two rafts; pairs that they miss are excluded one by one.
    own = shapely.STRtree(lattice.outlines)
    a, b = own.query(lattice.outlines, predicate="dwithin", distance=GAP_M - 1e-9)
    shared = shapely.area(shapely.intersection(wide[a[a < b]], wide[b[a < b]]))
    for first, other in zip(a[a < b][shared < 0.6], b[a < b][shared < 0.6], strict=True):
        model.add_at_most_one((taken[first], taken[other]))
    return _solved(model, taken, lattice, count, seconds)


def by_no_overlap(region, surface, count, seconds):  # type: ignore[no-untyped-def]
    """CP-SAT: optional boxes that do not overlap, the gap on two of their sides."""
    from ortools.sat.python import cp_model

    lattice, model = Lattice(region, surface, 1.0, 2), cp_model.CpModel()
    taken, east, north = [], [], []
    for x, y, turn in zip(lattice.x, lattice.y, lattice.turn, strict=True):
        along = abs(turn - 90.0) < 1
        size = (RAFT.length_m, RAFT.width_m) if along else (RAFT.width_m, RAFT.length_m)
        literal = model.new_bool_var("")
        for axis, centre, side in ((east, x, size[0]), (north, y, size[1])):
            low, long = round(100 * (centre - side / 2)), round(100 * (side + GAP_M))
            axis.append(model.new_optional_fixed_size_interval_var(low, long, literal, ""))
        taken.append(literal)
    model.add_no_overlap_2d(east, north)
    return _solved(model, taken, lattice, count, seconds)


def _solved(model, taken, lattice: Lattice, count: int, seconds: float):  # type: ignore[no-untyped-def]
    """The best choice found in the time, on one core."""
    from ortools.sat.python import cp_model

    model.add(sum(taken) <= count)
    scale = 1e6 / max(float(lattice.value.max(initial=0.0)), 1e-12)
    model.maximize(sum(round(v * scale) * t for v, t in zip(lattice.value, taken, strict=True)))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers, solver.parameters.random_seed = 1, 0
    solver.parameters.max_time_in_seconds = seconds
    if solver.solve(model) not in {cp_model.OPTIMAL, cp_model.FEASIBLE}:
        return lattice.poses([])
    return lattice.poses([k for k, t in enumerate(taken) if solver.boolean_value(t)])


RIVALS: dict[str, Callable[..., Poses]] = {
    "greedy over lattices": by_greed,
    "nearest to the inflow": by_eye,
    "simulated annealing": by_annealing,
    "CP-SAT no overlap": by_no_overlap,
    "CP-SAT with cliques": by_cliques,
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


def compared(seed: int, share: float, area_ha: float, least_s: float) -> dict[str, float]:
    """The ratios of our worth to each rival's on one pond; one line is printed."""
    region, radius = pond(seed, area_ha)
    surface, count = worth(radius, area_ha), count_of(region, share)
    begin = time.process_time()
    value = judged(ours(region, surface, count), region, surface, count)
    taken_s = time.process_time() - begin
    seconds, out = max(taken_s, least_s), {}
    for name, rival in RIVALS.items():
        theirs = judged(rival(region, surface, count, seconds), region, surface, count)
        out[name] = value / theirs if theirs > 0 else math.inf
    shown = ", ".join(f"{name} {ratio:.3f}" for name, ratio in out.items())
    print(f"pond {seed}: {count} rafts, {taken_s:.1f} s; {shown}", flush=True)
    return out


def main(ponds: int, shares: Sequence[float], area_ha: float, least_s: float) -> None:
    """Print, for each share and rival, the least and the median ratio of our worth to its."""
    region, radius = pond(0, 0.05)
    ours(region, worth(radius, 0.05), 2)  # compiles
    table = []
    for share in shares:
        found = [compared(seed, share, area_ha, least_s) for seed in range(1, ponds + 1)]
        for name in RIVALS:
            ratios = [one[name] for one in found]
            table.append((share, name, min(ratios), statistics.median(ratios)))
    print(f"{'share':>5s}  {'rival':24s} least  median   of {ponds} ponds of {area_ha:g} ha")
    for share, name, least, median in table:
        print(f"{share:5.2f}  {name:24s} {least:.3f}  {median:.3f}")


if __name__ == "__main__":
    words = [word for word in sys.argv[1:] if word != "--quick"]
    quick = "--quick" in sys.argv
    main(
        int(words[0]) if words else (3 if quick else 20),
        [float(word) for word in words[1].split(",")] if len(words) > 1 else (0.1, 0.3, 0.5, 1.0),
        float(words[2]) if len(words) > 2 else (0.3 if quick else 1.0),
        float(words[3]) if len(words) > 3 else (2.0 if quick else 20.0),
    )
