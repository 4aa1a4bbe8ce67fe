"""
Time to route and order rafts, and lengths of ways against a graph of every vertex, printed.

Run by hand: ``python -m tests.benchmarks.bench_launching``.
"""

import time
from collections.abc import Callable

import numpy as np
import shapely

from geoplan.launch.paths import shortest_path
from geoplan.launch.routes import tow_routes
from geoplan.plan import PlacedRaft
from tests.unit.launch.lakes import body, fields, raft, settings
from tests.unit.launch.test_paths import brute_force_length_m, points_in, pond


def lake_with(count: int) -> tuple[shapely.Polygon, list[PlacedRaft]]:
    """A round lake with islands and so many rafts in rows, 20 m² of water for each m² of raft."""
    side = np.sqrt(count * 9.6 * 12.0)
    lake = shapely.Point(0, 0).buffer(side / np.sqrt(np.pi) * 1.15, quad_segs=24)
    rng = np.random.default_rng(5)
    for _ in range(4):
        at = rng.uniform(-0.4 * side, 0.4 * side, 2)
        lake = lake.difference(shapely.Point(*at).buffer(rng.uniform(2.0, 5.0)))
    inner = lake.buffer(-6.0)
    rafts: list[PlacedRaft] = []
    for east in np.arange(-side, side, 5.2):
        for north in np.arange(-side, side, 3.6):
            box = shapely.box(east - 2, north - 1.2, east + 2, north + 1.2)
            if len(rafts) < count and inner.covers(box) and rng.random() < 0.8:
                rafts.append(raft(f"R{len(rafts) + 1:03d}", float(east), float(north), 90.0))
    return lake, rafts


def bench_order(made: Callable[[int], tuple[shapely.Polygon, list[PlacedRaft]]]) -> None:
    """Print time against the number of rafts."""
    before = None
    for count in (100, 200, 400, 800):
        lake, rafts = made(count)
        bank = shapely.get_coordinates(lake.exterior)
        water = body(lake, [shapely.Point(bank[0]), shapely.Point(bank[60])])
        known = fields(lake, 1.2, 1.0)
        begin = time.process_time()
        routes, _, notes = tow_routes(water, known, shapely.MultiPolygon([lake]), rafts, settings())
        spent = time.process_time() - begin
        power = "" if before is None else f", exponent {np.log2(spent / before):.2f}"
        tight = sum(not route.has_room for route in routes)
        print(
            f"{len(rafts)} rafts on {lake.area / 1e4:.1f} ha: {spent:.1f} s CPU{power};"
            f" {len(routes)} ways, {tight} without room to turn, {len(notes)} notes"
        )
        before = spent


def block_of(count: int) -> tuple[shapely.Polygon, list[PlacedRaft]]:
    """A round lake with a block of rafts half a metre apart: most come out past others only."""
    east_m, north_m = 4.5, 2.9
    cols = int(np.ceil(np.sqrt(count * north_m / east_m)))
    rows = int(np.ceil(count / cols))
    wide, high = cols * east_m, rows * north_m
    lake = shapely.Point(0, 0).buffer(np.hypot(wide, high) / 2 * 1.25 + 8, quad_segs=24)
    rafts = []
    for k in range(count):
        row, col = divmod(k, cols)
        place = (col + 0.5) * east_m - wide / 2, (row + 0.5) * north_m - high / 2
        rafts.append(raft(f"R{k + 1:03d}", *place, 90.0))
    return lake, rafts


def bench_lengths() -> None:
    """Print the largest departure from every vertex linked with every other, on 50 ponds."""
    worst = 0.0
    for seed in range(100, 150):
        water = pond(seed)
        start, end = points_in(water, seed, 2)
        path = shortest_path(water, start, end)
        whole = brute_force_length_m(water, start, end)
        if path is None:
            raise ValueError(f"no path on pond {seed}")
        worst = max(worst, abs(path.length / whole - 1.0))
    print(f"Lengths of 50 ponds against the full graph: within {worst:.1e}")


if __name__ == "__main__":
    bench_lengths()
    bench_order(lake_with)
    print("In blocks, half a metre apart:")
    bench_order(block_of)
