"""
Bed, levels and distance: accuracy against exact truth, and time.

Run by hand: ``python tests/benchmarks/bench_water.py``. Times are medians of three runs after
one that compiles; read them as ratios.
"""

import itertools
import resource
import statistics
import time
from collections.abc import Callable
from typing import Any

import numpy as np
from scipy.interpolate import LinearNDInterpolator
from scipy.ndimage import maximum_filter

from geoplan.water.bathymetry import BedPoints, BedSurface, bed_from_points
from geoplan.water.distance import distance_field
from geoplan.water.levels import hypsography, level_rings

RADIUS_M = 56.4
DEPTH_M = 3.0
CELL_M = 0.5
#: Roughness [m], its length [m], distance between lines [m] and along them [m].
SURVEYS = [
    (0.0, 12.0, 10.0, 1.0),
    (0.10, 12.0, 10.0, 1.0),
    (0.15, 20.0, 10.0, 1.0),
    (0.18, 30.0, 10.0, 1.0),
    (0.20, 40.0, 10.0, 1.0),
    (0.18, 12.0, 10.0, 1.0),
    (0.18, 12.0, 5.0, 1.0),
    (0.18, 12.0, 6.0, 6.0),
    (0.18, 12.0, 20.0, 1.0),
]


def timed(work: Callable[[], Any]) -> tuple[Any, float]:
    """What the work returns, and its median time [s]."""
    result = work()
    spent = []
    for _ in range(3):
        begin = time.perf_counter()
        work()
        spent.append(time.perf_counter() - begin)
    return result, statistics.median(spent)


def shore_radius(angle: Any) -> Any:
    """Distance of the lobed shore from the centre."""
    return RADIUS_M * (1 + 0.30 * np.cos(3 * angle) + 0.22 * np.sin(5 * angle))


class LobedPond:
    """A pond of a hectare with deep coves: exact area A and, on a smooth bed, volume A·D/2."""

    area_m2 = np.pi * RADIUS_M**2 * (1 + (0.30**2 + 0.22**2) / 2)

    def __init__(self, seed: int, rough_m: float, length_m: float) -> None:
        rng = np.random.default_rng(seed)
        self.waves = rng.normal(0, 2 * np.pi / length_m, (100, 2))
        self.phases = rng.uniform(0, 2 * np.pi, 100)
        self.rough_m = rough_m
        self.centre_m = np.arange(-90, 90, CELL_M) + CELL_M / 2
        self.east, self.north = np.meshgrid(self.centre_m, self.centre_m)
        self.water = self.holds(self.east, self.north)

    def holds(self, east: Any, north: Any) -> Any:
        """Tell what lies in the water."""
        return np.hypot(east, north) < shore_radius(np.arctan2(north, east))

    def bed(self, east: Any, north: Any) -> Any:
        """True bed, its edge at zero."""
        edge = shore_radius(np.arctan2(north, east))
        away = np.hypot(east, north)
        bed = -DEPTH_M * (1 - (away / edge) ** 2)
        if self.rough_m == 0:
            return bed
        waves = zip(self.waves, self.phases, strict=True)
        rough = sum(np.cos(k[0] * east + k[1] * north + phase) for k, phase in waves)
        size = self.rough_m * np.sqrt(2 / len(self.phases))
        return bed + size * rough * np.clip((edge - away) / 4, 0, 1)

    def surveyed(self, seed: int, line_m: float, along_m: float) -> tuple[BedPoints, BedPoints]:
        """Soundings with 0.05 m noise along lines, and the shore a metre apart."""
        rng = np.random.default_rng(seed)
        start = -85 + rng.uniform(0, line_m)
        east, north = np.meshgrid(np.arange(start, 85, line_m), np.arange(-85, 85, along_m))
        inside = np.hypot(east, north) < shore_radius(np.arctan2(north, east)) - 0.5
        east, north = east[inside], north[inside]
        bed = self.bed(east, north) + rng.normal(0, 0.05, len(east))
        angle = np.linspace(0, 2 * np.pi, 550, endpoint=False)
        edge = shore_radius(angle)
        return (
            _points(east, north, bed, 0.05),
            _points(edge * np.cos(angle), edge * np.sin(angle), np.zeros(550), 0.03),
        )


def _points(east: Any, north: Any, bed: Any, sigma: float) -> BedPoints:
    """Points that are not contours."""
    return BedPoints(east, north, bed, np.full(len(bed), sigma), np.zeros(len(bed), bool))


def held(pond: LobedPond, surface: BedSurface) -> tuple[float, float, float]:
    """Shares of cells and of 8 x 4 m rafts where the bed relied on holds, and depth given up."""
    at = (-CELL_M / 2, 0.0, CELL_M / 2)
    places = [(pond.east + i, pond.north + k) for i in at for k in at]
    beds = [np.where(pond.holds(*place), pond.bed(*place), -np.inf) for place in places]
    true = np.max(beds, axis=0)
    known = pond.water & ~surface.is_unsurveyed
    cells = (surface.reliable_bed_m >= true)[known].mean()
    size = (int(4 / CELL_M), int(8 / CELL_M))
    relied = maximum_filter(np.where(known, surface.reliable_bed_m, np.inf), size)
    highest = maximum_filter(np.where(pond.water, true, -np.inf), size)
    rafts = (relied >= highest)[np.isfinite(relied)].mean()
    given_up = np.median((surface.reliable_bed_m - pond.bed(pond.east, pond.north))[known])
    return float(cells), float(rafts), float(given_up)


def bench_bed() -> None:
    """Print the bed against its truth, means of three ponds."""
    print("Bed: lobed pond of 1 ha, cells of 0.5 m, noise 0.05 m")
    print("rough_m length_m line_m along_m | vol_pct  rmse_m  cells_pct rafts_pct given_up_m  s")
    for rough_m, length_m, line_m, along_m in SURVEYS:
        rows = []
        for seed in (1, 2, 3):
            pond = LobedPond(seed, rough_m, length_m)
            survey = pond.surveyed(seed, line_m, along_m)

            def work(pond: LobedPond = pond, survey: Any = survey) -> BedSurface:
                return bed_from_points(
                    pond.centre_m, pond.centre_m, pond.water, survey[0], survey[1], None
                )

            surface, spent = timed(work)
            error = (surface.bed_m - pond.bed(pond.east, pond.north))[pond.water]
            volume = -error.sum() / -pond.bed(pond.east, pond.north)[pond.water].sum()
            rows.append((100 * volume, np.sqrt((error**2).mean()), *held(pond, surface), spent))
        vol, rmse, cells, rafts, given_up, spent = np.mean(rows, axis=0)
        print(
            f"{rough_m:7.2f} {length_m:8.0f} {line_m:6.0f} {along_m:7.0f} | {vol:7.2f} {rmse:7.3f}"
            f" {100 * cells:10.2f} {100 * rafts:9.2f} {given_up:10.3f} {spent:5.2f}"
        )


def bench_few() -> None:
    """Print volumes from sixty soundings at random places, and what an unsounded inlet gets."""
    pond, off = LobedPond(1, 0.0, 1.0), []
    for seed in range(10):
        rng = np.random.default_rng(seed)
        east, north = rng.uniform(-90, 90, (2, 4000))
        inside = np.hypot(east, north) < shore_radius(np.arctan2(north, east)) - 0.5
        east, north = east[inside][:60], north[inside][:60]
        bed = pond.bed(east, north) + rng.normal(0, 0.05, 60)
        shore = pond.surveyed(0, 10.0, 10.0)[1]
        few = _points(east, north, bed, 0.05)
        surface = bed_from_points(pond.centre_m, pond.centre_m, pond.water, few, shore, None)
        volume = -surface.bed_m[pond.water].sum() * CELL_M**2
        off.append(100 * (volume / (pond.area_m2 * DEPTH_M / 2) - 1))
    most = np.abs(off).max()
    print(f"Sixty random soundings: volume off by {np.mean(off):+.2f} %, at most {most:.1f}")
    at = np.arange(-0.75, 102, 0.5)
    east, north = np.meshgrid(at, at)
    water = (east > 0) & (north > 0) & (north < 60) & (east < 60)
    water |= (east >= 60) & (east < 100) & (np.abs(north - 30) < 3)
    place = np.stack(np.meshgrid(np.arange(3, 60, 6.0), np.arange(1, 60, 1.0)), -1).reshape(-1, 2)
    edge = _edge_of_inlet()
    soundings = _points(*place.T, np.full(len(place), -2.0), 0.05)
    shore = _points(*edge.T, np.zeros(len(edge)), 0.03)
    surface = bed_from_points(at, at, water, soundings, shore, None)
    inlet = water & (east > 60 + surface.reach_m + 3)
    flagged = 100 * surface.is_unsurveyed[inlet].mean()
    print(
        f"Unsounded inlet: {flagged:.0f} % unsurveyed beyond the reach of {surface.reach_m:.1f} m"
    )


def _edge_of_inlet() -> Any:
    """Shore of a square of 60 m with an inlet of 40 by 6 m, a metre apart."""
    corner = [(0, 0), (60, 0), (60, 27), (100, 27), (100, 33), (60, 33), (60, 60), (0, 60), (0, 0)]
    sides = [
        np.linspace(one, other, int(np.hypot(*np.subtract(other, one))), endpoint=False)
        for one, other in itertools.pairwise(corner)
    ]
    return np.concatenate(sides)


def bench_large() -> None:
    """Print the bed of a lake of 100 ha on a million cells, and linear triangles of scipy."""
    radius = 564.2
    centre = np.arange(-570, 570, 1.0) + 0.5
    grid = np.meshgrid(centre, centre)
    water = np.hypot(*grid) < radius
    rng = np.random.default_rng(0)
    waves, phases = rng.normal(0, 2 * np.pi / 60, (60, 2)), rng.uniform(0, 2 * np.pi, 60)

    def bed(east: Any, north: Any) -> Any:
        away = np.hypot(east, north)
        rough = sum(
            np.cos(k[0] * east + k[1] * north + phase)
            for k, phase in zip(waves, phases, strict=True)
        )
        edge = np.clip((radius - away) / 20, 0, 1)
        return -6 * (1 - (away / radius) ** 2) + 0.3 * np.sqrt(2 / 60) * rough * edge

    angle = np.linspace(0, 2 * np.pi, 3545, endpoint=False)
    shore = _points(radius * np.cos(angle), radius * np.sin(angle), np.zeros(3545), 0.03)
    true = bed(*grid)[water]
    for line_m, along_m in ((10.0, 1.0), (3.0, 1.0 / 3.0)):
        east, north = np.meshgrid(np.arange(-560, 560, line_m), np.arange(-562, 562, along_m))
        inside = np.hypot(east, north) < radius - 1
        east, north = east[inside], north[inside]
        soundings = _points(east, north, bed(east, north) + rng.normal(0, 0.05, len(east)), 0.05)
        before_mb = _peak_mb()
        begin = time.perf_counter()
        surface = bed_from_points(centre, centre, water, soundings, shore, None)
        spent = time.perf_counter() - begin
        error = surface.bed_m[water] - true
        print(
            f"Lake: {len(east)} soundings, {water.sum()} cells: {spent:.1f} s, peak rises by"
            f" {_peak_mb() - before_mb:.0f} MB, rmse {np.sqrt((error**2).mean()):.3f} m, volume"
            f" {100 * error.sum() / true.sum():+.3f} %"
        )
        begin = time.perf_counter()
        place = np.column_stack([east, north])
        linear = LinearNDInterpolator(place, soundings.bed_m)(*(g[water] for g in grid))
        spent = time.perf_counter() - begin
        error = (linear - true)[np.isfinite(linear)]
        print(f"  scipy's linear: {spent:.1f} s, rmse {np.sqrt((error**2).mean()):.3f} m")


def _peak_mb() -> float:
    """Most memory that this process has held [MB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def bench_levels() -> None:
    """Print area and volume of the smooth pond against their exact values."""
    pond = LobedPond(1, 0.0, 1.0)
    bed = np.where(pond.water, pond.bed(pond.east, pond.north), np.nan)
    levels = np.linspace(-DEPTH_M, 0, 1001)
    (area, volume), spent = timed(lambda: hypsography(bed, CELL_M**2, levels))
    share = 1 + levels / DEPTH_M
    exact = pond.area_m2 * DEPTH_M / 2 * share**2
    wrong_area = np.abs(area - pond.area_m2 * share).max() / pond.area_m2
    wrong_volume = np.abs(volume - exact).max() / exact[-1]
    print(
        f"Levels: 1001 levels in {1e3 * spent:.2f} ms, area within {100 * wrong_area:.3f} %,"
        f" volume within {100 * wrong_volume:.4f} % of the full pond's"
    )
    _, spent = timed(lambda: level_rings(bed, pond.centre_m, pond.centre_m, -0.3))
    print(f"Edge at one level: {1e3 * spent:.1f} ms")


def bench_distance() -> None:
    """Print distances round an island of 30 m in a square of 200 m against tangents and arc."""
    print("Distance round an island of 30 m: from, cell_m | mean_pct max_pct min_pct  s")
    for cell_m in (1.0, 0.5, 0.25):
        at = np.arange(-100, 100, cell_m) + cell_m / 2
        east, north = np.meshgrid(at, at)
        away = np.maximum(np.hypot(east, north), 30.0)
        water = np.hypot(east, north) > 30.0
        for east0, north0 in ((-80.0, 0.0), (-70.3, -55.1), (-33.0, 5.0)):
            start = np.hypot(east0, north0)
            turn = np.arctan2(north, east) - np.arctan2(north0, east0)
            turn = np.abs((turn + np.pi) % (2 * np.pi) - np.pi)
            arc = turn - np.arccos(30.0 / start) - np.arccos(30.0 / away)
            bent = np.sqrt(start**2 - 900) + np.sqrt(away**2 - 900) + 30 * arc
            exact = np.where(arc > 0, bent, np.hypot(east - east0, north - north0))
            row, col = (north0 + 100) / cell_m - 0.5, (east0 + 100) / cell_m - 0.5
            distance, spent = timed(
                lambda water=water, cell_m=cell_m, row=row, col=col: distance_field(
                    water, cell_m, row, col
                )
            )
            error = 100 * (distance / exact - 1)[water & (exact > 1)]
            print(
                f"({east0:6.1f}, {north0:6.1f}) {cell_m:5.2f} | {np.abs(error).mean():8.3f}"
                f" {error.max():7.2f} {error.min():7.2f} {spent:6.3f}"
            )


if __name__ == "__main__":
    bench_bed()
    bench_few()
    bench_large()
    bench_levels()
    bench_distance()
