"""
Size of ``map.html``, and how soon it is ready, by number of rafts.

Invented ponds: a raft on each 120 m² of water, four posts each, a way to each, beds uneven by
5 cm over a metre and a half, as surveyed ones are. The processor is also slowed down four times,
in the place of a phone. Run it as
``python -m tests.benchmarks.bench_map [COUNT ...]``.
"""

import shutil
import statistics
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from playwright.sync_api import sync_playwright
from scipy import ndimage
from shapely.geometry import LineString

from geoplan.exports import web_map
from geoplan.plan import DepthGrid, Plan
from tests.browser.test_map_page import ARGUMENTS
from tests.unit.exports import small_plan as small

COUNTS = (60, 500, 5000)
RUNS = 3


def pond_plan(count: int) -> tuple[Plan, Any]:
    """A pond large enough for so many rafts, with posts and ways."""
    shore = small.outline(30.0 * np.sqrt(count * 120.0 / small.UPPER_SHORE.area))
    inner = shore.buffer(-4.0)
    step = np.sqrt(inner.area / count) * 0.99
    west, south, east, north = inner.bounds
    easts, norths = np.meshgrid(np.arange(west, east, step), np.arange(south, north, step))
    places = shapely.points(easts.ravel(), norths.ravel())
    places = places[shapely.contains(inner, places)][:count]
    bank = (0.0, south - 3.0)
    upper = small.plan().waters[1]
    rafts, posts, routes = [], [], []
    for number, place in enumerate(places, 1):
        raft = small.raft(f"pond-R{number:04d}", "upper", place.x, place.y, (7.0 * number) % 180)
        rafts.append(
            replace(
                raft,
                depth_low_m=1.4 + 0.01 * (number % 90),
                sun_h=11.3,
                wave_height_m=0.11,
                wave_period_s=1.2,
            )
        )
        posts += small.posts(raft)
        path = LineString([bank, (place.x / 2, place.y - 1.0), (place.x, place.y)])
        route = replace(upper.routes[0], raft_id=raft.raft_id, path=path)
        routes.append(replace(route, sequence=number, length_m=path.length))
    smooth = small.depth_grid(shore)
    rough = np.random.default_rng(1).normal(0.0, 1.0, smooth.depth_low_m.shape)
    noise = ndimage.gaussian_filter(rough, 3.0)
    noise *= 0.05 / noise.std()
    grid = DepthGrid(smooth.west_m, smooth.south_m, 0.5, np.maximum(smooth.depth_low_m + noise, 0))
    edges = small.edges(shore, small.UPPER_CRS)
    water = replace(
        upper, rafts=tuple(rafts), moorings=tuple(posts), routes=tuple(routes), depth_grid=grid,
        edges=edges, cover=small.cover(edges, 9.6 * len(rafts)),
    )  # fmt: skip
    site = small.site()
    bodies = (site.water_bodies[0], replace(site.water_bodies[1], outline=shore))
    return replace(small.plan(), waters=(water,)), replace(site, water_bodies=bodies)


def ready_ms(browser: Any, path: Path, slowed: int) -> tuple[float, float]:
    """Median time from navigation to a page that answers, and of its main thread at work [ms]."""
    times, works = [], []
    for _ in range(RUNS):
        page = browser.new_page(viewport={"width": 1000, "height": 700})
        tools = page.context.new_cdp_session(page)
        tools.send("Emulation.setCPUThrottlingRate", {"rate": slowed})
        tools.send("Performance.enable", {"timeDomain": "threadTicks"})
        page.add_init_script(
            "new MutationObserver((_, o) => { if (document.documentElement.dataset.ready) {"
            " window.readyAt = performance.now(); o.disconnect(); } })"
            ".observe(document, { attributes: true, subtree: true,"
            " attributeFilter: ['data-ready'] });"
        )
        page.goto(path.as_uri())
        page.wait_for_selector("html[data-ready]", timeout=60_000)
        times.append(page.evaluate("window.readyAt"))
        known = {
            one["name"]: one["value"] for one in tools.send("Performance.getMetrics")["metrics"]
        }
        works.append(1000 * known["TaskDuration"])
        page.close()
    return statistics.median(times), statistics.median(works)


def main(counts: tuple[int, ...]) -> None:
    """Print a row for each number of rafts."""
    print("rafts  cells    build s  size KiB  ready ms, of that at work; the same 4 times slower")
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=shutil.which("chromium"), args=ARGUMENTS)
        for count in counts:
            plan, site = pond_plan(count)
            begun = time.perf_counter()
            text = web_map.map_page(plan, site, small.audit())
            built = time.perf_counter() - begun
            with tempfile.TemporaryDirectory() as folder:
                path = Path(folder) / "map.html"
                path.write_text(text, encoding="utf-8")
                times = [*ready_ms(browser, path, 1), *ready_ms(browser, path, 4)]
            cells = plan.waters[0].depth_grid.depth_low_m.size
            size = len(text.encode()) / 1024
            rafts = len(plan.waters[0].rafts)
            ready = "  ".join(f"{one:8.0f}" for one in times)
            print(f"{rafts:5d}  {cells:7d}  {built:7.1f}  {size:8.0f}  {ready}")


if __name__ == "__main__":
    main(tuple(map(int, sys.argv[1:])) or COUNTS)
