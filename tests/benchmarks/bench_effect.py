"""
Flow, transport and load removed: cost by size, and change with the cell size.

Run by hand from the top of the repository: ``python -m tests.benchmarks.bench_effect``. Times are
single runs after one that compiles; memory is the peak of the process so far.
"""

import resource
import time
from pathlib import Path

import numpy as np

from geoplan.cover import water_edges
from geoplan.fields import site_fields
from geoplan.hydraulics import hydraulics
from geoplan.placement.allowed import Surroundings
from geoplan.placement.place import place_rafts
from geoplan.readers import read_site
from geoplan.treatment import LoadBenefit
from geoplan.water.flow import steady_flow, whole_faces
from geoplan.water.transport import Basin, transport


def basin(side: int) -> None:
    """Print the cost of a square water of so many cells a side."""
    water = np.zeros((side, side), bool)
    water[2:-2, 2:-2] = True
    depth = np.where(water, 1.0 + np.random.default_rng(0).random(water.shape), 0.0)
    source = np.zeros(water.shape)
    source[side // 2, 3], source[side // 2, -4] = 0.01, -0.01
    faces = whole_faces(water)
    begin = time.perf_counter()
    flow = steady_flow(depth, faces, source)
    middle = time.perf_counter()
    made = Basin(flow, faces, depth, water * 0.25, np.maximum(-source, 0.0), 0.02)
    transport(made, np.maximum(source, 0.0), 1e-7)
    end = time.perf_counter()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{side * side:9d} {middle - begin:8.2f} {end - middle:12.2f} {peak:9.0f}")


def sample(name: str) -> None:
    """Print the load kept by one plan of a sample, judged on two cell sizes."""
    site = read_site(Path("sample_sites") / name)
    body = site.water_bodies[0]
    found = []
    poses = None
    for cell_m in (0.5, 1.0):
        grid = site.settings.grid.model_copy(update={"cell_m": cell_m})
        settings = site.settings.model_copy(update={"grid": grid})
        fields = site_fields(body, settings)
        flow, _ = hydraulics(body, settings, fields)
        if flow is None:
            continue
        benefit = LoadBenefit(body, settings, fields, flow, settings.treatment.rates_m_yr()[0])
        if poses is None:
            edges = water_edges(body, fields, settings.bank_slope)
            poses = place_rafts(Surroundings(body, fields, edges, settings), benefit).poses
        found.append(benefit.kept_g_d(poses))
    change = 100 * abs(found[1] / found[0] - 1)
    print(f"{name}: {found[0]:.4g} g/d at 0.5 m, {found[1]:.4g} at 1 m: {change:.2f} % apart")


def main() -> None:
    """Print everything."""
    basin(40)
    print("    cells   flow_s  transport_s   peak_MB")
    for side in (150, 320, 640, 1000):
        basin(side)
    sample("elder_close")
    sample("holm_lake")


if __name__ == "__main__":
    main()
