"""
Placement: value against its proven bound, and time, on random ponds of several sizes.

Run by hand: ``python tests/benchmarks/bench_placement.py``. Times are medians of three runs after
one that compiles; read them as ratios.
"""

import statistics
import time

import numpy as np
import shapely

from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.bound import Limit, area_bound
from geoplan.placement.search import best_rows
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType

RAFT = RaftType(name="four by two", length_m=4.0, width_m=2.4, draft_m=0.2, planted_share=1.0)
CASES = [(1.0, 40), (1.0, 250), (1.0, 10_000), (10.0, 400), (0.1, 4)]


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


def main() -> None:
    """Print one line for each case."""
    print("area_ha  wanted  placed  value/bound  search_s  bound_s")
    for area_ha, count in CASES:
        ratios, search_s, bound_s, placed = [], [], [], 0
        for seed in (1, 2, 3):
            region, radius = pond(seed, area_ha)
            surface = worth(radius, area_ha)
            best_rows(region, surface, RAFT, 1.0, 2)
            begin = time.perf_counter()
            found = best_rows(region, surface, RAFT, 1.0, count).poses
            middle = time.perf_counter()
            limit = [Limit("stock", "", (1.0,), float(count))]
            proven = area_bound([surface], [AllowedRegion(RAFT, region, ())], 1.0, limit)
            bound_s.append(time.perf_counter() - middle)
            search_s.append(middle - begin)
            ratios.append(found.value.sum() / proven.value)
            placed = len(found)
        print(
            f"{area_ha:7.1f} {count:7d} {placed:7d} {statistics.median(ratios):12.4f}"
            f" {statistics.median(search_s):9.2f} {statistics.median(bound_s):8.2f}"
        )


if __name__ == "__main__":
    main()
