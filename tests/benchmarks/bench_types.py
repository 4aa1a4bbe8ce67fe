"""
Several raft types that share water, stock and budget: value against the bound and a greedy.

Run by hand: ``python -m tests.benchmarks.bench_types``. Times are of the process; read them as
ratios. The greedy takes the best place of turned lattices again and again by worth for
area, with the dearest types left out or not, whichever plan is worth most.
"""

import time
from dataclasses import replace

import numpy as np

from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.bound import Limit, area_bound
from geoplan.placement.lattice import lattice_plan
from geoplan.placement.place import best_plan
from geoplan.raft import RaftType
from tests.benchmarks.bench_placement import GAP_M, pond, worth

SIDES = {"a": (4.0, 2.4), "b": (6.0, 3.0), "c": (2.4, 2.4), "d": (3.0, 1.5), "e": (8.0, 4.0)}
#: Seed, area [ha], stock by type, cost by type, and the share of the whole stock's cost to spend.
CASES = [
    (1, 1.0, (15, 6, 20), (450, 800, 300), 0.75),
    (1, 10.0, (150, 60, 200), (450, 800, 300), 0.75),
    (2, 10.0, (150, 60, 200), (450, 800, 300), 1.0),
    (3, 10.0, (150, 60, 200), (450, 800, 300), 0.2),
    # Types that cost the same by the square metre tie.
    (1, 10.0, (400, 200, 600), (432, 810, 259), 0.1),
    (1, 10.0, (80, 40, 100, 150, 20), (492, 870, 319, 262, 1500), 0.35),
]


def case(seed, area_ha, stock, cost, share):  # type: ignore[no-untyped-def]
    """Worths, regions and limits."""
    region, radius = pond(seed, area_ha)
    kinds = [
        RaftType(name=name, length_m=long, width_m=wide, draft_m=0.2, planted_share=1.0)
        for name, (long, wide) in list(SIDES.items())[: len(stock)]
    ]
    each = np.eye(len(kinds))
    limits = [
        Limit("stock", kind.name, tuple(row), float(most))
        for kind, row, most in zip(kinds, each, stock, strict=True)
    ]
    limits.append(Limit("budget", "", tuple(cost), share * float(np.dot(cost, stock))))
    surface = worth(radius, area_ha)
    return [surface] * len(kinds), [AllowedRegion(k, region, ()) for k in kinds], limits


def greedy(surfaces, regions, limits):  # type: ignore[no-untyped-def]
    """The best of greedy plans by worth for area, with the types that cost most left out or not."""
    plans = [lattice_plan(surfaces, regions, limits, GAP_M)]
    cost = limits[-1].per_raft
    pays = [kind.raft_type.planted_area_m2 / c for kind, c in zip(regions, cost, strict=True)]
    # The dearest for what it brings is left out, then the next: money goes to the others.
    for left in range(1, len(pays)):
        out = np.argsort(pays)[:left]
        less = [replace(limit, most=0.0) if k in out else limit for k, limit in enumerate(limits)]
        plans.append(lattice_plan(surfaces, regions, less, GAP_M))
    return max(sum(float(part.value.sum()) for part in plan) for plan in plans)


def main() -> None:
    """Print one line for each case."""
    print("area_ha  types  value/bound  greedy/bound  plan_s  bound_s  counts")
    for parts in CASES:
        surfaces, regions, limits = case(*parts)
        begin = time.process_time()
        plan = best_plan(surfaces, regions, limits, GAP_M, 0)[0]
        middle = time.process_time()
        proven = area_bound(surfaces, regions, GAP_M, limits).value
        bound_s = time.process_time() - middle
        value = sum(float(part.value.sum()) for part in plan)
        rival = greedy(surfaces, regions, limits)
        print(
            f"{parts[1]:7.1f} {len(regions):6d} {value / proven:12.4f} {rival / proven:13.4f}"
            f" {middle - begin:7.1f} {bound_s:8.1f}  {[len(part) for part in plan]}",
            flush=True,
        )


if __name__ == "__main__":
    main()
