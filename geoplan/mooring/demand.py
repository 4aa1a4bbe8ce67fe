"""The load that the moorings of each planned raft must bear, by direction."""

from collections.abc import Sequence

import numpy as np
import shapely

from geoplan.mooring.loads import Exposure, LoadCase, governing_case
from geoplan.plan import PlacedRaft, WaterEdge
from geoplan.raft import RaftType
from geoplan.settings import Settings
from geoplan.site import FloatArray
from geoplan.water.waves import ROSE_COUNT, fetch_rose_m, wave_rose

#: Shortest fetch that a formula is given [m].
_LEAST_FETCH_M = 0.5


def raft_loads(
    high: WaterEdge, rafts: Sequence[PlacedRaft], settings: Settings
) -> dict[str, LoadCase]:
    """
    Return the governing load of each planned raft.

    Parameters
    ----------
    high : WaterEdge
        Water's edge at high level, where the fetch is longest.
    rafts : sequence of PlacedRaft
        Rafts of the plan.
    settings : Settings
        Raft types, design wind, current.

    Returns
    -------
    dict of str to LoadCase
        By ``raft_id``; rafts that are not planned, or of no known type, are left out.

    Notes
    -----
    Waves by direction from the fetch at the raft, in deep water, and never more than the largest
    wave that the plan states there. The current is ``mooring.current_m_s``, else the jet speed
    that placement allows: no planned raft lies in a faster one.
    """
    kinds = {kind.name: kind for kind in settings.raft}
    planned = [r for r in rafts if r.status == "planned" and r.raft_type in kinds]
    if not planned:
        return {}
    waves = _wave_heights_m(high, planned, settings.wind.design_m_s)
    given = settings.mooring.current_m_s
    current = settings.clearances.jet_speed_m_s if given is None else given
    directions = np.arange(ROSE_COUNT) * 360.0 / ROSE_COUNT
    return {
        raft.raft_id: governing_case(
            exposure_of(kinds[raft.raft_type]),
            raft.heading_deg,
            directions,
            settings.wind.design_m_s,
            current,
            height,
        )
        for raft, height in zip(planned, waves, strict=True)
    }


def exposure_of(kind: RaftType) -> Exposure:
    """
    Return what wind and water act on.

    Parameters
    ----------
    kind : RaftType
        The type of raft.

    Returns
    -------
    Exposure
        Bare hull above the water and loaded hull below it: both at their worst.
    """
    return Exposure(
        kind.length_m,
        kind.width_m,
        kind.hull_above_m,
        kind.plant_height_m,
        kind.plant_solidity,
        kind.draft_m,
        kind.root_depth_m,
    )


def _wave_heights_m(high: WaterEdge, rafts: Sequence[PlacedRaft], wind_m_s: float) -> FloatArray:
    """Return significant heights at the middle of rafts, shape (rafts, ROSE_COUNT)."""
    if wind_m_s <= 0 or high.outline.is_empty:
        return np.zeros((len(rafts), ROSE_COUNT))
    fetch = np.maximum(
        fetch_rose_m(
            np.array([raft.easting_m for raft in rafts]),
            np.array([raft.northing_m for raft in rafts]),
            _shore(high),
        ),
        _LEAST_FETCH_M,
    )
    fetch = np.where(np.isfinite(fetch), fetch, _LEAST_FETCH_M)
    height = wave_rose(wind_m_s, fetch, np.full(fetch.shape, np.nan)).height_m
    most = np.array([np.inf if r.wave_height_m is None else r.wave_height_m for r in rafts])
    heights: FloatArray = np.minimum(height, most[:, None])
    return heights


def _shore(edge: WaterEdge) -> FloatArray:
    """Return the pieces of the water's edge, shape (m, 4) [m]."""
    rings = shapely.get_rings(shapely.get_parts(edge.outline))
    corners, ring = shapely.get_coordinates(rings, return_index=True)
    pieces: FloatArray = np.hstack([corners[:-1], corners[1:]])[ring[1:] == ring[:-1]]
    return pieces
