"""
Waves at the design wind: from the water's edge and the bed to a height at each raft.

Two methods stand side by side and the larger wave is used. Banks and islands stop the wind's
path; rafts, reeds and trees do not, which errs to the safe side.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from geoplan.errors import Fault
from geoplan.grid import BoolArray, SiteFields
from geoplan.plan import DesignWaves, PlacedRaft, WaterEdge
from geoplan.raft import footprints
from geoplan.settings import Settings
from geoplan.site import FloatArray
from geoplan.water import IntArray
from geoplan.water.waves import (
    LEAST_CALIBRATED_FETCH_M,
    ROSE_COUNT,
    WaveRose,
    depth_along_m,
    fetch_rose_m,
    wave_rose,
)

#: How far inside the edge waves of the whole water are looked for [m].
_INSET_M = 0.5
#: Places along the edge at which they are looked for.
_PLACES = 200
#: Shortest fetch that a formula is given: a raft at the bank still lies in water [m].
_LEAST_FETCH_M = 0.5
#: Shallowest mean depth that a formula is given [m].
_LEAST_DEPTH_M = 0.05


def design_waves(
    fields: SiteFields,
    edges: Sequence[WaterEdge],
    rafts: Sequence[PlacedRaft],
    settings: Settings,
    water_id: str,
) -> tuple[tuple[PlacedRaft, ...], tuple[DesignWaves, ...], tuple[Fault, ...]]:
    """
    Return waves at the design wind, at each raft and at their largest anywhere on the water.

    Parameters
    ----------
    fields : SiteFields
        The bed.
    edges : sequence of WaterEdge
        Water's edges; those at normal and high level are looked at.
    rafts : sequence of PlacedRaft
        Planned and existing rafts.
    settings : Settings
        Design wind.
    water_id : str
        For the note.

    Returns
    -------
    tuple of PlacedRaft
        The rafts with fetch, height, period and direction of their largest wave, over both
        levels, centre and corners.
    tuple of DesignWaves
        Normal and high level; none without a design wind.
    tuple of Fault
        A note where the longest fetch is shorter than any that the methods were made for.
    """
    wind = settings.wind.design_m_s
    best: list[PlacedRaft] = list(rafts)
    waves = []
    for edge in edges:
        if wind <= 0 or edge.level_name == "low" or edge.outline.is_empty:
            continue
        water = _Water.of(wind, fields, edge)
        places = _edge_places(edge)
        if len(places):
            rose, depth = _worst(water, places)
            waves.append(_largest(edge, wind, rose, depth))
        best = _at_rafts(best, water, edge)
    return tuple(best), tuple(waves), _notes(waves, water_id)


def _shore(edge: WaterEdge) -> FloatArray:
    """Return the pieces of the water's edge, shape (m, 4) [m]."""
    rings = shapely.get_rings(shapely.get_parts(edge.outline))
    corners, ring = shapely.get_coordinates(rings, return_index=True)
    joined = ring[1:] == ring[:-1]
    pieces: FloatArray = np.hstack([corners[:-1], corners[1:]])[joined]
    return pieces


def _edge_places(edge: WaterEdge) -> FloatArray:
    """Return places just inside the edge, where the fetch is longest, shape (n, 2) [m]."""
    inner = shapely.boundary(shapely.buffer(edge.outline, -_INSET_M))
    if inner.is_empty:
        middle: FloatArray = shapely.get_coordinates(shapely.point_on_surface(edge.outline))
        return middle
    lines = shapely.get_parts(inner)
    step = float(shapely.length(inner)) / _PLACES
    points = [
        shapely.line_interpolate_point(line, np.arange(0.0, max(line.length, step / 2), step))
        for line in lines
    ]
    places: FloatArray = shapely.get_coordinates(np.concatenate(points))
    return places


@dataclass(frozen=True, eq=False)
class _Water:
    """Wind over the water at one level: its shore, and the depth of its cells [m]."""

    wind_m_s: float
    shore_m: FloatArray
    depth_m: FloatArray
    corner_m: tuple[float, float, float]

    @classmethod
    def of(cls, wind_m_s: float, fields: SiteFields, edge: WaterEdge) -> "_Water":
        """Return the water within an edge."""
        grid = fields.grid
        bed = np.where(grid.water, fields.bed_m, np.nan)
        depth = np.where(edge.level_m > bed, edge.level_m - bed, np.nan)
        corner_m = (grid.west_m, grid.south_m, grid.cell_size_m)
        return cls(wind_m_s, _shore(edge), depth, corner_m)

    def fetch_m(self, places: FloatArray) -> FloatArray:
        """Return the fetch of places by direction, shape (n, ROSE_COUNT) [m]."""
        fetch = fetch_rose_m(places[:, 0], places[:, 1], self.shore_m)
        return np.maximum(fetch, _LEAST_FETCH_M)

    def rose(
        self, places: FloatArray, fetch: FloatArray, asked: BoolArray | None = None
    ) -> tuple[WaveRose, FloatArray]:
        """Return waves at places and the mean depth along each ray, or along those asked for."""
        rays = fetch if asked is None else np.where(asked, fetch, 0.0)
        depth = depth_along_m(places[:, 0], places[:, 1], rays, self.depth_m, self.corner_m)
        depth = np.maximum(depth, _LEAST_DEPTH_M)
        return wave_rose(self.wind_m_s, fetch, depth), depth


def _worst(water: _Water, places: FloatArray) -> tuple[WaveRose, FloatArray]:
    """Return waves and depths at those places, along those rays, where the largest may be."""
    fetch = water.fetch_m(places)
    # No depth makes a wave larger than endless depth does.
    most = wave_rose(water.wind_m_s, fetch, np.full(fetch.shape, np.nan)).height_m
    first = int(most.max(axis=1).argmax())
    rose, _ = water.rose(places[first : first + 1], fetch[first : first + 1])
    may = most >= (1 - 1e-9) * rose.height_m.max()
    worst = may.any(axis=1)
    return water.rose(places[worst], fetch[worst], may[worst])


def _largest(edge: WaterEdge, wind_m_s: float, rose: WaveRose, depth: FloatArray) -> DesignWaves:
    """Return the largest waves of a water body, with the set-up of the same wind."""
    at = np.unravel_index(int(np.argmax(rose.height_m)), rose.height_m.shape)
    is_spm = bool(rose.spm_height_m[at] >= rose.cem_height_m[at])
    # The longest reach of the wind decides the set-up too: a ray along a shallow rim would give
    # more, but its water stands level with the open water beside it.
    is_known = bool(np.isfinite(depth[at]))
    return DesignWaves(
        level_name=edge.level_name,
        level_m=edge.level_m,
        wind_m_s=wind_m_s,
        wave_from_deg=_direction_deg(int(at[1])),
        along_depth_m=float(depth[at]) if is_known else None,
        spm_fetch_m=float(rose.spm_fetch_m[at]),
        cem_fetch_m=float(rose.cem_fetch_m[at]),
        spm_height_m=float(rose.spm_height_m[at]),
        cem_height_m=float(rose.cem_height_m[at]),
        spm_period_s=float(rose.spm_period_s[at]),
        cem_period_s=float(rose.cem_period_s[at]),
        wave_height_m=float(rose.height_m[at]),
        wave_period_s=float((rose.spm_period_s if is_spm else rose.cem_period_s)[at]),
        setup_m=float(rose.setup_m[at]) if is_known else None,
    )


def _direction_deg(ray: int) -> float:
    """Return the direction of a ray of a rose [°]."""
    return 360.0 * ray / ROSE_COUNT


def _at_rafts(rafts: list[PlacedRaft], water: _Water, edge: WaterEdge) -> list[PlacedRaft]:
    """Return rafts with the larger of the waves they have and those at this level."""
    if not rafts:
        return []
    places, owner = _raft_places(rafts)
    shapely.prepare(edge.outline)
    wet = shapely.contains_xy(edge.outline, places[:, 0], places[:, 1])
    places, owner = places[wet], owner[wet]
    rose, _ = water.rose(places, water.fetch_m(places))
    ray = rose.height_m.argmax(axis=1)
    height = rose.height_m.max(axis=1, initial=0.0)
    out = list(rafts)
    for k, index in enumerate(owner):
        known = out[index].wave_height_m
        if known is not None and known >= height[k]:
            continue
        at = k, int(ray[k])
        is_spm = bool(rose.spm_height_m[at] >= rose.cem_height_m[at])
        out[index] = replace(
            out[index],
            fetch_m=float((rose.spm_fetch_m if is_spm else rose.cem_fetch_m)[at]),
            wave_height_m=float(height[k]),
            wave_period_s=float((rose.spm_period_s if is_spm else rose.cem_period_s)[at]),
            wave_from_deg=_direction_deg(at[1]),
        )
    return out


def _raft_places(rafts: Sequence[PlacedRaft]) -> tuple[FloatArray, IntArray]:
    """Return centre and corners of each raft, and whose each is."""
    outlines = footprints(
        np.array([raft.easting_m for raft in rafts]),
        np.array([raft.northing_m for raft in rafts]),
        np.array([raft.heading_deg for raft in rafts]),
        np.array([raft.length_m for raft in rafts]),
        np.array([raft.width_m for raft in rafts]),
    )
    corners = shapely.get_coordinates(outlines).reshape(len(rafts), -1, 2)
    corners[:, -1] = [[raft.easting_m, raft.northing_m] for raft in rafts]
    return corners.reshape(-1, 2), np.repeat(np.arange(len(rafts)), corners.shape[1])


def _notes(waves: Sequence[DesignWaves], water_id: str) -> tuple[Fault, ...]:
    """Say where the fetch is shorter than any that the methods were made for."""
    longest = max((part.spm_fetch_m for part in waves), default=LEAST_CALIBRATED_FETCH_M)
    if longest >= LEAST_CALIBRATED_FETCH_M:
        return ()
    height = max(part.wave_height_m for part in waves)
    return (
        Fault(
            "warning",
            "plan",
            f"at most {longest:.0f} m of open water upwind (waves to {height:.2f} m)",
            f"{LEAST_CALIBRATED_FETCH_M:g} m or more, for which wave formulas were made",
            "Neither method was calibrated on so short a fetch: take the waves as a rough guide.",
            feature=f"water '{water_id}'",
        ),
    )
