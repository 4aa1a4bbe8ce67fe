"""
Placement: value against its proven bound, and time, on random ponds of several sizes.

Run by hand: ``python -m tests.benchmarks.bench_placement [AREA_HA COUNT] ...``; a count beyond
what fits packs the pond full. The plan is that of ``best_plan``, which the product uses, against
the area bound. Times are of the process, medians of three ponds after a run that compiles; read
them as ratios.
"""

import statistics
import sys
import time

import numpy as np
import shapely

from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.bound import Limit, area_bound
from geoplan.placement.place import best_plan
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType

RAFT = RaftType(name="four by two", length_m=4.0, width_m=2.4, draft_m=0.2, planted_share=1.0)
GAP_M = 1.0
CASES = [(0.1, 4), (1.0, 40), (1.0, 250), (1.0, 10_000), (10.0, 400), (10.0, 10_000)]


def pond(seed: int, area_ha: float) -> tuple[shapely.Geometry, float]:
    """A lobed pond with two islands, eroded by the bank clearance; and its radius."""
    rng = np.random.default_rng(seed)
    radius = float(np.sqrt(area_ha * 1e4 / np.pi))
    angle = np.linspace(0, 2 * np.pi, int(np.pi * radius), endpoint=False)
    bumps = sum(
        rng.normal(0, 0.12 / k) * np.cos(k * angle) + rng.normal(0, 0.12 / k) * np.sin(k * angle)
        for k in range(2, 6)
    )
    r = radius * (1 + bumps)
    shore = shapely.Polygon(np.column_stack([r * np.cos(angle), r * np.sin(angle)]))
    for _ in range(2):
        island = shapely.Point(*rng.uniform(-0.5, 0.5, 2) * radius).buffer(radius * 0.08)
        shore = shapely.difference(shore, island)
    return shapely.multipolygons(shapely.get_parts(shore.buffer(-2.0))), radius


def worth(radius: float, area_ha: float, cell_m: float = 0.5) -> WorthSurface:
    """Two inflows, the worth falling to 1/e over a quarter of the root of the area."""
    at = np.arange(-1.5 * radius, 1.5 * radius, cell_m)
    east, north = np.meshgrid(at, at)
    reach = 25.0 * np.sqrt(area_ha)
    nodes = 0.6 * np.exp(-np.hypot(east - radius, north) / reach)
    nodes += 0.4 * np.exp(-np.hypot(east + 0.5 * radius, north - 0.85 * radius) / reach)
    return WorthSurface(float(at[0]), float(at[0]), cell_m, nodes)


def main(cases: list[tuple[float, int]]) -> None:
    """Print one line for each case."""
    print("area_ha  wanted  placed  value/bound   least  plan_s  bound_s")
    best_plan(*_case(0.1, 2, 1), 0)
    for area_ha, count in cases:
        ratios, search_s, bound_s, placed = [], [], [], 0
        for seed in (1, 2, 3):
            surfaces, regions, limits, gap_m = _case(area_ha, count, seed)
            begin = time.process_time()
            (found,) = best_plan(surfaces, regions, limits, gap_m, 0)[0]
            middle = time.process_time()
            proven = area_bound(surfaces, regions, gap_m, limits)
            bound_s.append(time.process_time() - middle)
            search_s.append(middle - begin)
            ratios.append(found.value.sum() / proven.value)
            placed = len(found)
        print(
            f"{area_ha:7.1f} {count:7d} {placed:7d} {statistics.median(ratios):12.4f}"
            f" {min(ratios):7.4f} {statistics.median(search_s):7.2f}"
            f" {statistics.median(bound_s):8.2f}",
            flush=True,
        )


def _case(area_ha: float, count: int, seed: int):  # type: ignore[no-untyped-def]
    """Worth, region, stock and gap of a pond."""
    region, radius = pond(seed, area_ha)
    limit = [Limit("stock", "", (1.0,), float(count))]
    return [worth(radius, area_ha)], [AllowedRegion(RAFT, region, ())], limit, GAP_M


if __name__ == "__main__":
    words = [float(word) for word in sys.argv[1:]]
    main([(a, int(n)) for a, n in zip(words[::2], words[1::2], strict=True)] or CASES)
