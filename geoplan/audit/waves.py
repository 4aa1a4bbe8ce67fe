"""
The check of waves: fetch by crossing rays with the edge, heights by the manuals' formulas anew.

The depth along a ray is that of the raw bed. Only the longest fetches of a raft are followed, so
that the audit's own height is, if anything, too low.
"""

import math
from collections.abc import Iterator

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geoplan.audit.evidence import Case, Evidence, JudgedRaft, number
from geoplan.audit.frame import FloatArray
from geoplan.audit.rays import to_edge_m
from geoplan.plan import Finding

#: Share and height by which a stated wave may be lower than the audit's own [1], [m].
LOW_SHARE, LOW_M = 0.10, 0.01
#: Share and height by which it may be higher [1], [m].
HIGH_SHARE, HIGH_M = 0.25, 0.02
#: Radials of the Shore Protection Manual on either side of the wind, and how far apart [°].
_SIDE, _STEP_DEG = 4, 3.0
#: Places and directions of longest fetch that are followed for each raft and level.
_FOLLOWED = 8
#: Places along a ray at which the depth is taken.
_DEPTHS = 16
#: Shortest fetch and shallowest depth that a formula is given [m].
_LEAST_FETCH_M, _LEAST_DEPTH_M = 0.5, 0.05
_GRAVITY = 9.81


def check_waves(case: Case) -> Iterator[Finding]:
    """
    Hold the wave height that a row states against the audit's own.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        The audit's own height less the stated one [m], limit a tenth and 0.01 m, for each raft,
        where there is a design wind; not a number where none is stated.
    """
    wind = case.settings.wind.design_m_s
    for evidence in case.waters:
        for raft in evidence.rafts if wind > 0 else ():
            stated = number(raft.row.wave_height_m)
            own = _own_height_m(evidence, raft, wind)
            if own == 0:
                continue  # no part of it is in the water, which other checks say
            short, limit = own - stated, LOW_SHARE * own + LOW_M
            passed = short <= limit and stated <= own * (1 + HIGH_SHARE) + HIGH_M
            words = (
                f"waves to {own:.2f} m at a wind of {wind:g} m/s"
                if passed
                else f"a wave of {raft.row.wave_height_m} m is stated, {own:.2f} m is found at a"
                f" wind of {wind:g} m/s; write the plan again"
            )
            row = raft.row
            yield Finding(
                "waves", row.water_id, row.raft_id, short, limit, "m", bool(passed), words
            )


def _own_height_m(evidence: Evidence, raft: JudgedRaft, wind_m_s: float) -> float:
    """Return the largest wave at centre and corners, over normal and high level."""
    highest = 0.0
    corners = shapely.get_coordinates(raft.outline.exterior)[:-1]
    places = np.vstack([corners, shapely.get_coordinates(raft.outline.centroid)])
    for level_name in ("normal", "high"):
        water = evidence.edges[level_name]
        level = dict(evidence.body.levels.named())[level_name]
        wet = shapely.contains_xy(water, places[:, 0], places[:, 1])
        if wet.any():
            height = _height_at(evidence, water, level, places[wet], wind_m_s)
            highest = max(highest, height)
    return highest


def _height_at(
    evidence: Evidence, water: BaseGeometry, level_m: float, places: FloatArray, wind_m_s: float
) -> float:
    """Return the largest wave at places at one level."""
    azimuth = np.radians(np.arange(0.0, 360.0, _STEP_DEG))
    way = np.column_stack([np.sin(azimuth), np.cos(azimuth)])
    west, south, east, north = water.bounds
    fetch = to_edge_m(water, places, way).clip(
        _LEAST_FETCH_M, math.hypot(east - west, north - south)
    )
    kernel = np.arange(-_SIDE, _SIDE + 1)
    around = (np.arange(len(way))[:, None] + kernel) % len(way)
    mean = fetch[:, around].mean(axis=2)
    longest = np.argsort(-mean, axis=None, kind="stable")[:_FOLLOWED]
    place, ray = np.unravel_index(longest, mean.shape)
    share = (np.arange(_DEPTHS) + 0.5) / _DEPTHS
    reach = fetch[place, ray][:, None] * share
    along = places[place][:, None, :] + reach[:, :, None] * way[ray][:, None, :]
    bed, _ = evidence.bed.at(along.reshape(-1, 2))
    depth = (level_m - bed).reshape(reach.shape)
    heights = [cem_height_m(wind_m_s, float(fetch.max()))]
    for row, long in zip(depth, mean[place, ray], strict=True):
        known = row[row > 0]
        mean_depth = max(float(known.mean()), _LEAST_DEPTH_M) if known.size else math.inf
        heights.append(spm_height_m(wind_m_s, float(long), mean_depth))
    return max(heights)


def spm_height_m(wind_m_s: float, fetch_m: float, depth_m: float) -> float:
    """
    Return the significant wave of the Shore Protection Manual 1984, eq. 3-39.

    Parameters
    ----------
    wind_m_s : float
        Wind at 10 m [m/s].
    fetch_m : float
        Mean of nine radials [m].
    depth_m : float
        Mean depth along the fetch; infinite in deep water [m].

    Returns
    -------
    float
        Height [m].

    Examples
    --------
    >>> round(spm_height_m(20.0, 1000.0, 3.0), 2)
    0.43
    """
    wind_stress = 0.71 * wind_m_s**1.23
    unit_m = wind_stress**2 / _GRAVITY
    by_depth = math.tanh(0.53 * (depth_m / unit_m) ** 0.75)
    by_fetch = math.tanh(0.00565 * math.sqrt(fetch_m / unit_m) / by_depth)
    return float(0.283 * unit_m * by_depth * by_fetch)


def cem_height_m(wind_m_s: float, fetch_m: float) -> float:
    """
    Return the significant wave of the Coastal Engineering Manual 2002, eq. II-2-36.

    Parameters
    ----------
    wind_m_s : float
        Wind at 10 m [m/s].
    fetch_m : float
        Straight fetch [m].

    Returns
    -------
    float
        Height in deep water [m].

    Examples
    --------
    >>> round(cem_height_m(20.0, 1000.0), 2)
    0.35
    """
    drag = 0.001 * (1.1 + 0.035 * wind_m_s)
    return 0.0413 * wind_m_s * math.sqrt(drag * fetch_m / _GRAVITY)
