"""
Placement: value against its proven bound, time and memory, on random ponds of several sizes.

Run by hand: ``python -m tests.benchmarks.bench_placement [NAME] ...`` for the table of targets or
some of its rows; ``python -m tests.benchmarks.bench_placement AREA_HA COUNT ...`` for other sizes.
A count beyond what fits packs the pond full. The plan is that of ``best_plan``, which the product
uses; the bound is the area bound, in rows marked ``field`` the tighter of it and the price field.
Each row runs in a process of its own, so that its peak memory is its own, after a run that
compiles. Times are of the processor, plan and bound together, medians of the ponds; read them as
ratios. The exponent is the slope of log time over log area.
"""

import math
import multiprocessing
import resource
import statistics
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
import shapely

from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.bound import Limit, area_bound
from geoplan.placement.improve import DEFAULT_EFFORT, Effort
from geoplan.placement.place import best_plan
from geoplan.placement.price_field import price_field
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType

RAFT = RaftType(name="four by two", length_m=4.0, width_m=2.4, draft_m=0.2, planted_share=1.0)
GAP_M = 1.0
#: As many as fit.
FULL = 10**6


@dataclass(frozen=True)
class Row:
    """One line of the table: ponds alike, how long to look, and what is wanted."""

    name: str
    area_ha: float
    count: int
    least: float
    most_s: float
    reach_m: float = 25.0
    islands: int = 2
    effort: Effort = DEFAULT_EFFORT
    has_field: bool = False
    seeds: tuple[int, ...] = (1, 2, 3)


#: A plan at once: rows, and a round or two of windows.
QUICK = Effort(rounds=2, most_settled=0)
TABLE = (
    Row("1 ha 40 quick", 1.0, 40, 0.970, 2.0, effort=QUICK),
    Row("1 ha 40 field", 1.0, 40, 0.985, 30.0, has_field=True),
    Row("1 ha 250", 1.0, 250, 0.0, math.inf),
    Row("10 ha 400", 10.0, 400, 0.990, 10.0),
    Row("100 ha 4000", 100.0, 4000, 0.990, 60.0, seeds=(1,)),
    Row("hard steep 8 field", 1.0, 40, 0.965, 60.0, reach_m=8.0, has_field=True, seeds=(1, 2)),
    Row("hard steep 4 field", 1.0, 40, 0.965, 60.0, reach_m=4.0, has_field=True, seeds=(1, 2)),
    Row("hard islands field", 1.0, 40, 0.965, 60.0, islands=6, has_field=True, seeds=(1, 2)),
    Row("1 ha full", 1.0, FULL, 0.945, math.inf),
    Row("10 ha full", 10.0, FULL, 0.970, math.inf, seeds=(1,)),
)
#: Areas at forty rafts a hectare, for the growth of time [ha].
SIZES_HA = (1.0, 3.0, 10.0, 30.0, 100.0)


def pond(seed: int, area_ha: float, islands: int = 2) -> tuple[shapely.Geometry, float]:
    """A lobed pond with islands, eroded by the bank clearance; and its radius."""
    rng = np.random.default_rng(seed)
    radius = float(np.sqrt(area_ha * 1e4 / np.pi))
    angle = np.linspace(0, 2 * np.pi, int(np.pi * radius), endpoint=False)
    bumps = sum(
        rng.normal(0, 0.12 / k) * np.cos(k * angle) + rng.normal(0, 0.12 / k) * np.sin(k * angle)
        for k in range(2, 6)
    )
    r = radius * (1 + bumps)
    shore = shapely.Polygon(np.column_stack([r * np.cos(angle), r * np.sin(angle)]))
    for _ in range(islands):
        island = shapely.Point(*rng.uniform(-0.5, 0.5, 2) * radius).buffer(radius * 0.08)
        shore = shapely.difference(shore, island)
    return shapely.multipolygons(shapely.get_parts(shore.buffer(-2.0))), radius


def worth(
    radius: float, area_ha: float, cell_m: float = 0.5, reach_m: float = 25.0
) -> WorthSurface:
    """Two inflows, the worth falling to 1/e over a reach that is stated for one hectare."""
    at = np.arange(-1.5 * radius, 1.5 * radius, cell_m)
    east, north = np.meshgrid(at, at)
    reach = reach_m * np.sqrt(area_ha)
    nodes = 0.6 * np.exp(-np.hypot(east - radius, north) / reach)
    nodes += 0.4 * np.exp(-np.hypot(east + 0.5 * radius, north - 0.85 * radius) / reach)
    return WorthSurface(float(at[0]), float(at[0]), cell_m, nodes)


def case_of(row: Row, seed: int):  # type: ignore[no-untyped-def]
    """Worth, region, stock and gap of a pond."""
    region, radius = pond(seed, row.area_ha, row.islands)
    limit = [Limit("stock", "", (1.0,), float(row.count))]
    # Cells as the product has them: half a metre, and a metre above ten hectares.
    cell_m = 0.5 if row.area_ha <= 10 else 1.0
    surface = worth(radius, row.area_ha, cell_m, row.reach_m)
    return [surface], [AllowedRegion(RAFT, region, ())], limit, GAP_M


def measured(row: Row) -> tuple[list[float], float, float, int, float]:
    """Shares of the bound, seconds of the plan and of the bound, rafts, and peak memory [MB]."""
    best_plan(*case_of(Row("", 0.1, 2, 0.0, 0.0), 1), 0)
    ratios, plan_s, bound_s, placed = [], [], [], 0
    for seed in row.seeds:
        surfaces, regions, limits, gap_m = case_of(row, seed)
        begin = time.process_time()
        (found,) = best_plan(surfaces, regions, limits, gap_m, 0, row.effort)[0]
        middle = time.process_time()
        proven = area_bound(surfaces, regions, gap_m, limits)
        bound = proven.value
        if row.has_field:
            proof = price_field(surfaces, regions, gap_m, limits, bound, proven.prices)
            bound = min(bound, proof.value) if proof else bound
        bound_s.append(time.process_time() - middle)
        plan_s.append(middle - begin)
        ratios.append(float(found.value.sum()) / bound)
        placed = len(found)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return ratios, statistics.median(plan_s), statistics.median(bound_s), placed, peak_mb


def apart(row: Row) -> tuple[list[float], float, float, int, float]:
    """Measure a row in a process of its own."""
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(1, mp_context=context) as pool:
        return pool.submit(measured, row).result()


def main(rows: tuple[Row, ...], sizes_ha: tuple[float, ...] = ()) -> None:
    """Print one line for each row, and the exponent of time over area."""
    print("row                  rafts  value/bound   least  wanted  plan_s  bound_s  in_s  peak_MB")
    for row in rows:
        ratios, plan_s, bound_s, placed, peak_mb = apart(row)
        print(
            f"{row.name:20s} {placed:5d} {statistics.median(ratios):12.4f} {min(ratios):7.4f}"
            f" {row.least:7.3f} {plan_s:7.2f} {bound_s:8.2f} {row.most_s:5.0f} {peak_mb:8.0f}",
            flush=True,
        )
    taken = []
    for area_ha in sizes_ha:
        row = Row("", area_ha, round(40 * area_ha), 0.0, 0.0, seeds=(1,))
        _, plan_s, bound_s, _, _ = apart(row)
        taken.append(plan_s + bound_s)
        print(f"{area_ha:7.1f} ha, {row.count} rafts: {taken[-1]:.2f} s", flush=True)
    if len(taken) > 1:
        slope = np.polyfit(np.log(sizes_ha), np.log(taken), 1)[0]
        steps = np.diff(np.log(taken)) / np.diff(np.log(sizes_ha))
        print(
            f"exponent of time over area {slope:.2f} (wanted 1.0), steepest step {max(steps):.2f}"
        )


def _chosen(words: list[str]) -> tuple[Row, ...]:
    """Rows of the table by name, or of areas and counts."""
    named = {row.name: row for row in TABLE}
    if all(word in named for word in words):
        return tuple(named[word] for word in words)
    pairs = zip(words[::2], words[1::2], strict=True)
    return tuple(Row(f"{a} ha {n}", float(a), int(n), 0.0, math.inf) for a, n in pairs)


if __name__ == "__main__":
    given = sys.argv[1:]
    if given == ["exponent"]:
        main((), SIZES_HA)
    elif given:
        main(_chosen(given))
    else:
        main(TABLE, SIZES_HA)
