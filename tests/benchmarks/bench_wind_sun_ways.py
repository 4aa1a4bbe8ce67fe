"""
Waves, sun, ways through the water and depth under rafts: accuracy and time, printed.

Run by hand: ``python -m tests.benchmarks.bench_wind_sun_ways``.
"""

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import shapely
from scipy.ndimage import gaussian_filter

from geoplan.cut_cells import cells_polygon
from geoplan.grid import water_grid
from geoplan.launch.paths import VisibilityGraph
from geoplan.narrows import distance_from_m, way_grid
from geoplan.placement.row_kernels import legal_places
from geoplan.placement.rows import turned_edges
from geoplan.water.solar import (
    Crowns,
    Surface,
    Walls,
    horizon_slope,
    mean_sun_h,
    sun_path,
)
from geoplan.water.waves import fetch_rose_m
from tests.laws.test_footprints import worst_overstatement_m
from tests.published.test_waves import circle


def timed(work: Callable[[], Any]) -> tuple[Any, float]:
    """What some work gives, and the seconds it takes once it is compiled."""
    work()
    begin = time.perf_counter()
    out = work()
    return out, time.perf_counter() - begin


def bench_fetch() -> None:
    """Print time and error of 120 rays from 10,000 places in a circle of 1 ha and of 10 ha."""
    rng = np.random.default_rng(1)
    for radius, pieces in ((56.4, 472), (178.4, 1500)):
        turn, away = rng.uniform(0, 2 * np.pi, 10_000), 0.98 * radius * np.sqrt(rng.random(10_000))
        east, north = away * np.sin(turn), away * np.cos(turn)
        shore = circle(radius, pieces)
        rose, spent = timed(lambda shore=shore, at=(east, north): fetch_rose_m(*at, shore))
        way = np.radians(np.arange(120) * 3.0)
        along = east[:, None] * np.sin(way) + north[:, None] * np.cos(way)
        exact = -along + np.sqrt(along**2 + radius**2 - away[:, None] ** 2)
        fine = fetch_rose_m(east[:500], north[:500], circle(radius, 8192))
        print(
            f"Fetch: 10,000 places x 120 rays, {pieces} pieces of shore: {spent:.2f} s; on a"
            f" circle of 8192 pieces within {1000 * np.abs(fine - exact[:500]).max():.2f} mm"
            f" ({rose.shape})"
        )


def random_pond(area_ha: float, islands: int, seed: int) -> shapely.Polygon:
    """A lobed pond with round islands."""
    rng = np.random.default_rng(seed)
    radius = np.sqrt(area_ha * 1e4 / np.pi)
    angle = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    away = radius * (1 + 0.25 * np.cos(3 * angle) + 0.15 * np.sin(5 * angle))
    pond = shapely.Polygon(np.column_stack([away * np.cos(angle), away * np.sin(angle)]))
    for _ in range(islands):
        place = shapely.Point(*(rng.uniform(-0.7, 0.7, 2) * radius))
        pond = pond.difference(place.buffer(rng.uniform(0.02, 0.1) * radius, quad_segs=6))
    return max(shapely.get_parts(pond), key=lambda part: part.area)


def bench_ways() -> None:
    """Print distances on cells of half a metre against exact shortest paths."""
    print("Ways: area_ha islands seed | mean_pct max_pct max_pct_1m_off min_pct  s | exact s")
    for area_ha, islands in ((1.0, 5), (10.0, 20)):
        for seed in (1, 2, 3):
            pond = random_pond(area_ha, islands, seed)
            grid = water_grid(pond, 0.5)
            source = pond.exterior.interpolate(0.1, normalized=True)
            distance, spent = timed(
                lambda pond=pond, grid=grid, source=source: distance_from_m(
                    way_grid(pond, grid), pond, source
                )
            )
            rng = np.random.default_rng(seed)
            row, col = np.argwhere(grid.water & np.isfinite(distance)).T
            chosen = rng.permutation(len(row))[:1500]
            row, col = row[chosen], col[chosen]
            begin = time.perf_counter()
            ends = [
                shapely.Point(grid.easting_m[c], grid.northing_m[r])
                for r, c in zip(row, col, strict=True)
            ]
            paths = VisibilityGraph(pond).paths_from(source, ends)
            exact = np.array([path.length for path in paths])
            error = 100 * (distance[row, col] / exact - 1)[exact > 5]
            is_off = (shapely.distance(pond.boundary, np.array(ends)) > 1.0)[exact > 5]
            print(
                f"{area_ha:6.1f} {islands:6d} {seed:6d} | {np.abs(error).mean():8.3f}"
                f" {error.max():7.2f} {error[is_off].max():14.2f} {error.min():7.2f} {spent:6.2f} |"
                f" {time.perf_counter() - begin:5.1f}"
            )


def hidden_exactly(place: np.ndarray, path: Any, walls: Walls, crowns: Crowns) -> np.ndarray:
    """Which suns are hidden at a place, each held against each wall and each crown."""
    azimuth, rise = np.radians(path.azimuth_deg), np.tan(np.radians(path.elevation_deg))
    hidden = np.zeros(len(azimuth), bool)
    for (ax, ay, bx, by), top in zip(walls.ends_m, walls.top_m, strict=True):
        start, way = np.array([ax, ay]) - place, np.array([bx - ax, by - ay])
        across = np.sin(azimuth) * way[1] - np.cos(azimuth) * way[0]
        reach = (start[0] * way[1] - start[1] * way[0]) / across
        along = (start[0] * np.cos(azimuth) - start[1] * np.sin(azimuth)) / across
        hidden |= (reach > 0) & (along >= 0) & (along <= 1) & (rise * reach < top)
    for k, foot in enumerate(crowns.centre_m):
        radius = crowns.radius_m[k]
        middle = (crowns.top_m[k] + crowns.base_m[k]) / 2
        half = (crowns.top_m[k] - crowns.base_m[k]) / 2
        ray = np.stack([np.sin(azimuth) / radius, np.cos(azimuth) / radius, rise / half])
        centre = np.array([*(foot - place) / radius, middle / half])
        along = centre @ ray / (ray**2).sum(axis=0)
        apart = ((centre[:, None] - along * ray) ** 2).sum(axis=0)
        ahead = np.sin(azimuth) * (foot - place)[0] + np.cos(azimuth) * (foot - place)[1]
        side = np.sin(azimuth) * (foot - place)[1] - np.cos(azimuth) * (foot - place)[0]
        below = (ahead > 0) & (np.abs(side) < radius) & (rise * ahead < middle)
        hidden |= ((along > 0) & (apart < 1)) | below
    return hidden


def garden(count: int) -> tuple[Walls, Crowns]:
    """Half of the obstacles houses of four walls, half trees, round a pond of 1 ha."""
    rng = np.random.default_rng(3)
    turn, away = rng.uniform(0, 2 * np.pi, count), rng.uniform(66, 140, count)
    centre = np.column_stack([away * np.sin(turn), away * np.cos(turn)])
    houses = [shapely.box(e - 4, n - 3, e + 4, n + 3) for e, n in centre[: count // 2]]
    corners = [shapely.get_coordinates(house) for house in houses]
    ends = np.concatenate([np.hstack([ring[:-1], ring[1:]]) for ring in corners])
    trees = centre[count // 2 :]
    return (
        Walls(ends, np.repeat(rng.uniform(3, 9, len(houses)), 4)),
        Crowns(
            trees,
            rng.uniform(1.5, 4, len(trees)),
            rng.uniform(6, 16, len(trees)),
            rng.uniform(0, 3, len(trees)),
        ),
    )


def bench_sun() -> None:
    """Print time of 1 ha at 1 m, and hours of the season against every sun at some places."""
    path = sun_path(9.5, 56.1, "04-15", "10-01", 2025)
    at = np.arange(-56, 56, 1.0) + 0.5
    east, north = (part.ravel() for part in np.meshgrid(at, at))
    wet = np.hypot(east, north) < 56.4
    east, north = east[wet], north[wet]
    for count in (50, 500):
        walls, crowns = garden(count)

        def work(walls: Walls = walls, crowns: Crowns = crowns) -> Any:
            return mean_sun_h(horizon_slope(east, north, walls, crowns), path)

        hours, spent = timed(work)
        wrong = []
        for k in range(0, len(east), len(east) // 12):
            up = ~hidden_exactly(np.array([east[k], north[k]]), path, walls, crowns)
            wrong.append(hours[k] / (up.sum() * path.step_h / path.day_count) - 1)
        print(
            f"Sun: {len(east)} places, {count} obstacles: {spent:.1f} s; season's hours within"
            f" {100 * np.abs(wrong).max():.2f} % of every sun ({len(path.day)} suns)"
        )
    rng = np.random.default_rng(4)
    ground = 0.5 + np.maximum(0.0, rng.normal(0, 0.3, (420, 420)))
    cell = np.arange(420) - 209.5
    land = np.hypot(*np.meshgrid(cell, cell)) > 58
    wooded = land & (rng.random((420, 420)) < 0.1)
    top = np.where(land, ground + wooded * rng.uniform(4, 18, (420, 420)), np.nan)
    surface = Surface(top, np.array([[1.0, 0.0, 209.5], [0.0, 1.0, 209.5]]))
    none_w = Walls(np.zeros((0, 4)), np.zeros(0))
    none_c = Crowns(np.zeros((0, 2)), np.zeros(0), np.zeros(0), np.zeros(0))
    _, spent = timed(lambda: mean_sun_h(horizon_slope(east, north, none_w, none_c, surface), path))
    print(f"Sun: {len(east)} places, surface model of 420 x 420 cells of 1 m: {spent:.1f} s")


def bench_footprints() -> None:
    """Print the worst depth under 10,000 random rafts against dense sampling."""
    begin = time.perf_counter()
    worst, under = worst_overstatement_m(10_000, 7)
    print(
        f"Depth under 10,000 random rafts: overstated by {max(worst, 0.0):.3f} m at most,"
        f" understated by {under:.3f} m on average, {time.perf_counter() - begin:.0f} s"
    )


def bench_headings() -> None:
    """Print how long whole footprints take to judge on a million cells at twelve headings."""
    depth = gaussian_filter(np.random.default_rng(0).normal(size=(1000, 1000)), 25.0)
    begin = time.process_time()
    shallow = cells_polygon(0.0, 0.0, 0.5, depth < 0.0)
    region = shapely.box(0, 0, 500, 500).difference(shallow)
    region_s = time.process_time() - begin

    def legal(turn_deg: float) -> int:
        edges = turned_edges(region, turn_deg)
        low = np.minimum(edges[:, :2], edges[:, 2:]).min(axis=0)
        high = np.maximum(edges[:, :2], edges[:, 2:]).max(axis=0)
        strips, places = (int((high[k] - low[k] - side) / 0.5) + 1 for k, side in ((1, 4), (0, 8)))
        return legal_places(edges, low, 8.0, 4.0, 0.5, 0.5, strips, places).size

    legal(10.0)  # compiled
    begin = time.process_time()
    count = sum(legal(15.0 * k) for k in range(12))
    print(
        f"Footprints of 8 x 4 m, exactly: region of a million cells {region_s:.2f} s, {count:,}"
        f" places at 12 headings in {time.process_time() - begin:.2f} s"
    )


if __name__ == "__main__":
    bench_fetch()
    bench_ways()
    bench_sun()
    bench_footprints()
    bench_headings()
