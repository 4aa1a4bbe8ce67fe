"""
Checks of each footprint against what lies round it: rafts, services, outlets and inflows.

Each yields one finding for each raft that has such a neighbour.
"""

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from geoplan.audit.evidence import Case, Evidence
from geoplan.plan import Finding
from geoplan.site import Inflow

#: Distance that rounding may take away [m].
_TOLERANCE_M = 1e-6


def check_gap(case: Case) -> Iterator[Finding]:
    """
    Hold the distance between rafts, planned and existing, against the gap.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Distance to the nearest other raft [m], for each raft that has one; all that are too near
        are named.
    """
    for evidence in case.waters:
        names = [str(raft.row.raft_id) for raft in evidence.rafts]
        outlines = [raft.outline for raft in evidence.rafts]
        names += [name for name, _ in evidence.existing]
        outlines += [outline for _, outline in evidence.existing]
        if len(outlines) > 1 and evidence.rafts:
            yield from _gaps(evidence, names, np.array(outlines))


def _gaps(evidence: Evidence, names: list[str], outlines: NDArray[np.object_]) -> Iterator[Finding]:
    """Yield the finding of each planned raft among all rafts of a water body."""
    limit = evidence.settings.clearances.gap_m
    count = len(evidence.rafts)
    tree = shapely.STRtree(outlines)
    first, second = tree.query(outlines[:count], predicate="dwithin", distance=limit)
    first, second = first[first != second], second[first != second]
    gaps = shapely.distance(outlines[first], outlines[second])
    overlaps = shapely.relate_pattern(outlines[first], outlines[second], "T********")
    is_near = (gaps < limit - _TOLERANCE_M) | overlaps
    nearest = np.full(count, np.inf)
    np.minimum.at(nearest, first, gaps)
    alone = np.flatnonzero(np.isinf(nearest))
    (lone, _), away = tree.query_nearest(
        outlines[alone], exclusive=True, return_distance=True, all_matches=False
    )
    nearest[alone[lone]] = away
    for index, raft in enumerate(evidence.rafts):
        near = sorted({names[k] for k in second[is_near & (first == index)]})
        words = (
            "far enough from every other raft"
            if not near
            else f"nearer than {limit:g} m to {', '.join(near)}; move one of them"
        )
        row = raft.row
        measured = float(nearest[index])
        yield Finding("gap", row.water_id, row.raft_id, measured, limit, "m", not near, words)


def check_keep_clear(case: Case) -> Iterator[Finding]:
    """
    Hold each footprint against what the site keeps clear.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Distance to the feature with least room to spare [m], for each raft where there is one.
    """
    for evidence in case.waters:
        parts = evidence.body.keep_clear
        names = [part.reason or "what is kept clear" for part in parts]
        yield from _distances(
            "keep_clear", evidence, [p.geometry for p in parts], [p.buffer_m for p in parts], names
        )


def check_outlet(case: Case) -> Iterator[Finding]:
    """
    Hold each footprint against the outlets.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Distance to the outlet with least room to spare [m], for each raft where there is one;
        the limit is the larger of ``clearances.outlet_m`` and three outlet widths.
    """
    for evidence in case.waters:
        outlets = evidence.body.outlets
        least = evidence.settings.clearances.outlet_m
        limits = [max(least, 3.0 * (outlet.width_m or 0.0)) for outlet in outlets]
        names = [f"outlet {outlet.outlet_id}" for outlet in outlets]
        yield from _distances("outlet", evidence, [o.geometry for o in outlets], limits, names)


def check_inflow(case: Case) -> Iterator[Finding]:
    """
    Hold each footprint against the jets of the inflows.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Distance to the inflow with least room to spare [m], for each raft where there is one
        with a distance to keep: the larger of ``clearances.inflow_m`` and the jet's reach.
    """
    for evidence in case.waters:
        inflows = evidence.body.inflows
        keep = evidence.settings.clearances
        limits = [
            max(keep.inflow_m, jet_reach_m(inflow, evidence.mean_depth_m, keep.jet_speed_m_s))
            for inflow in inflows
        ]
        kept = [(i, limit) for i, limit in zip(inflows, limits, strict=True) if limit > 0]
        names = [f"inflow {inflow.inflow_id}" for inflow, _ in kept]
        points = [inflow.point for inflow, _ in kept]
        yield from _distances("inflow", evidence, points, [limit for _, limit in kept], names)


def jet_reach_m(inflow: Inflow, mean_depth_m: float, speed_m_s: float) -> float:
    """
    Return how far the jet of an inflow is faster than a speed.

    Parameters
    ----------
    inflow : Inflow
        Pipe diameter and peak flow, else mean flow.
    mean_depth_m : float
        Mean depth of the water body; never less than the pipe is taken [m].
    speed_m_s : float
        Speed on the axis that may be met [m/s].

    Returns
    -------
    float
        Larger of round and plane jet; 0 where pipe or flow is unknown, or the pipe is slower [m].

    Notes
    -----
    On the axis a round jet from a pipe D falls as U = 6.2 U₀ D/x; one that fills the depth h, as
    a plane jet from a slot of half width b₀ = πD²/4h, as U = 2.28 U₀ √(b₀/x) [1]_.

    References
    ----------
    .. [1] M. L. Albertson, Y. B. Dai, R. A. Jensen and H. Rouse, "Diffusion of submerged jets",
       Transactions ASCE 115, 639-664, 1950.

    Examples
    --------
    >>> from shapely.geometry import Point
    >>> pipe = Inflow("a", Point(0, 0), peak_flow_l_s=565.4867, pipe_diameter_m=0.6)
    >>> round(jet_reach_m(pipe, 1.2, 0.3), 1)
    54.4
    """
    diameter = inflow.pipe_diameter_m
    flow_m3_s = (inflow.peak_flow_l_s or inflow.flow_l_s or 0.0) / 1000.0
    if not diameter or flow_m3_s <= 0:
        return 0.0
    pipe_speed = flow_m3_s / (math.pi * diameter**2 / 4)
    if pipe_speed <= speed_m_s:
        return 0.0
    half_slot = math.pi * diameter**2 / (4 * max(diameter, mean_depth_m))
    ratio = pipe_speed / speed_m_s
    return max(6.2 * diameter * ratio, (2.28 * ratio) ** 2 * half_slot)


def _distances(
    check: str,
    evidence: Evidence,
    geometries: Sequence[shapely.Geometry],
    limits_m: Sequence[float],
    names: Sequence[str],
) -> Iterator[Finding]:
    """Yield for each raft the finding on the feature with least room to spare."""
    if not geometries:
        return
    features = [evidence.frame.of_site(geometry) for geometry in geometries]
    limits = np.asarray(limits_m, float)
    for raft in evidence.rafts:
        away = shapely.distance(raft.outline, features)
        overlaps = shapely.relate_pattern(raft.outline, features, "T********")
        room = np.where(overlaps, -np.inf, away - limits)
        worst = int(room.argmin())
        passed = bool(room[worst] >= -_TOLERANCE_M)
        distance, limit = float(away[worst]), float(limits[worst])
        words = (
            f"far enough from {names[worst]}"
            if passed
            else f"{distance:.2f} m from {names[worst]}, {limit:.2f} m wanted; move it away"
        )
        row = raft.row
        yield Finding(check, row.water_id, row.raft_id, distance, limit, "m", passed, words)
