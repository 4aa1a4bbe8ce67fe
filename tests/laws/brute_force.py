"""The best plan of up to four rafts on a fine lattice in a tiny pond, by trying them all."""

import numpy as np
import shapely

from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType, footprints

RAFT = RaftType(name="four by two", length_m=4.0, width_m=2.4, draft_m=0.2, planted_share=1.0)
GAP_M = 0.5


def tiny_pond(seed: int) -> tuple[shapely.Geometry, WorthSurface, int]:
    """A lobed pond some 9 m across, sometimes with an island; its worth; one to four rafts."""
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, 2 * np.pi, 36, endpoint=False)
    bumps = sum(rng.normal(0, 0.2 / k) * np.cos(k * angle + rng.uniform(0, 6)) for k in (2, 3, 4))
    away = rng.uniform(3.6, 5.2) * np.clip(1 + bumps, 0.6, 1.5)
    pond = shapely.Polygon(np.column_stack([away * np.cos(angle), away * np.sin(angle)]))
    if rng.random() < 0.3:
        pond = pond.difference(shapely.Point(*rng.uniform(-2, 2, 2)).buffer(0.4))
    at = np.arange(-10.0, 10.01, 0.5)
    east, north = np.meshgrid(at, at)
    x, y = rng.uniform(-6, 6, 2)
    nodes = 0.2 + 0.8 * np.exp(-np.hypot(east - x, north - y) / rng.uniform(2, 12))
    region = shapely.multipolygons([p for p in shapely.get_parts(pond) if p.area > RAFT.area_m2])
    return region, WorthSurface(-10.0, -10.0, 0.5, nodes), int(rng.integers(1, 5))


def best_by_brute_force(
    region: shapely.Geometry,
    surface: WorthSurface,
    count: int,
    step_m: float = 0.4,
    turns: int = 8,
) -> float:
    """The most that up to ``count`` rafts on a lattice are worth; exact for that lattice."""
    west, south, east, north = region.bounds
    grid = np.meshgrid(
        np.arange(west, east, step_m), np.arange(south, north, step_m),
        np.arange(turns) * 180.0 / turns,
    )  # fmt: skip
    x, y, turn = (part.ravel() for part in grid)
    legal = shapely.covers(region, footprints(x, y, turn, RAFT.length_m, RAFT.width_m))
    x, y, turn = x[legal], y[legal], turn[legal]
    if len(x) == 0:
        return 0.0
    value = RAFT.planted_area_m2 * surface.mean_under(RAFT, x, y, turn)
    order = np.argsort(-value, kind="stable")
    value = value[order]
    outlines = footprints(x[order], y[order], turn[order], RAFT.length_m, RAFT.width_m)
    free = np.ones((len(value), len(value)), bool)
    a, b = shapely.STRtree(outlines).query(outlines, predicate="dwithin", distance=GAP_M - 1e-9)
    free[a, b] = False
    return _best(value, free, np.ones(len(value), bool), count, 0.0)


def _best(value: np.ndarray, free: np.ndarray, may: np.ndarray, left: int, beaten: float) -> float:
    """The best of up to ``left`` more rafts; ``beaten`` where no choice is worth more than that."""
    ranked = np.flatnonzero(may)
    if left == 0 or len(ranked) == 0:
        return 0.0
    if left == 1:
        return float(value[ranked[0]])
    best = 0.0
    for k in ranked:
        # The rest is worth no more each: they are ranked, and a choice is tried in that order.
        if left * value[k] <= max(best, beaten):
            break
        may[k] = False
        own = float(value[k])
        rest = _best(value, free, may & free[k], left - 1, max(best, beaten) - own)
        best = max(best, own + rest)
    return best
