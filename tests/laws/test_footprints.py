"""The depth under a raft is never better than what lies under any point of it."""

import numpy as np
import pytest

from geoplan.grid import WaterGrid
from geoplan.placement.measure import least_under
from geoplan.raft import footprints
from geoplan.site import FloatArray


def rough_depth(rng: np.random.Generator, cell_m: float) -> tuple[WaterGrid, FloatArray]:
    """A rough field of depth, dry and unknown cells in it, on a grid with an odd corner."""
    size = 80
    depth = rng.uniform(1.0, 2.0, (size, size))
    depth[rng.random((size, size)) < 0.002] = 0.0
    corner = rng.uniform(-5, 5, 2)
    return WaterGrid(float(corner[0]), float(corner[1]), cell_m, depth > 0), depth


def worst_overstatement_m(count: int, seed: int) -> tuple[float, float]:
    """By how much depth is overstated at worst, and understated on average, for random rafts."""
    rng = np.random.default_rng(seed)
    worst, under = -np.inf, 0.0
    share = np.linspace(-0.5, 0.5, 41)
    along, across = (part.ravel() for part in np.meshgrid(share, share))
    per_field = 100
    for begin in range(0, count, per_field):
        cell_m = float(rng.choice([0.25, 0.5, 1.0]))
        grid, depth = rough_depth(rng, cell_m)
        few = min(per_field, count - begin)
        length, width = rng.uniform(2, 12, few), rng.uniform(1, 4, few)
        heading = rng.uniform(0, 180, few)
        # Some lie beyond the grid: no depth is known there.
        east, north = (grid.west_m + rng.uniform(-0.05, 1.05, few) * 80 * cell_m for _ in "en")
        north += grid.south_m - grid.west_m
        found = least_under(grid, depth, list(footprints(east, north, heading, length, width)))
        angle = np.radians(heading)[:, None]
        ahead, aside = along * length[:, None], across * width[:, None]
        at_east = east[:, None] + ahead * np.sin(angle) + aside * np.cos(angle)
        at_north = north[:, None] + ahead * np.cos(angle) - aside * np.sin(angle)
        col = np.floor((at_east - grid.west_m) / cell_m).astype(int)
        row = np.floor((at_north - grid.south_m) / cell_m).astype(int)
        inside = (row >= 0) & (row < 80) & (col >= 0) & (col < 80)
        sampled = np.where(inside, depth[row.clip(0, 79), col.clip(0, 79)], 0.0).min(axis=1)
        worst = max(worst, float((found - sampled).max()))
        under += float((sampled - found).sum())
    return worst, under / count


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_depth_under_random_rafts_is_never_optimistic(seed: int) -> None:
    worst, under = worst_overstatement_m(300, seed)
    assert worst <= 1e-12
    # Cells that a raft only grazes count whole; no more than that is given away.
    assert under < 0.1
