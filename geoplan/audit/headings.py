"""
Check of which way rafts lie, where the site holds them to the flow, the wind or the bank.

A raft's heading is that of the long side of its outline in the audit's frame, not the number in
the file; the bank is the outline as surveyed, the flow that of the audit's own mesh.
"""

import math
from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray

from geoplan.audit.effect import flows_of, mesh_of
from geoplan.audit.evidence import Case, Evidence, JudgedRaft, samples
from geoplan.plan import Finding

FloatArray = NDArray[np.float64]

#: Sides that differ by less are those of a square, which may lie by either [m].
_SAME_SIDE_M = 0.01
#: Banks this little farther than the nearest are as near: either may be followed [m].
_AS_NEAR_M = 0.1
#: A unit width that carries less of the flow spread over the root of the area stands still [1].
_FLOWING_SHARE = 0.1
#: Two honest models of one flow may see its direction this far apart [°]. *Judgement*: in a few
#: random ponds no raft differed by more than a fifth of it.
_FLOW_ROOM_DEG = 15.0
#: Angle that rounding of coordinates may add [°].
_ROUNDING_DEG = 0.1


def check_heading(case: Case) -> Iterator[Finding]:
    """
    Hold the way each raft lies against what the site asks for.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        For each planned raft, where headings are held, its angle off the flow, the wind or the
        bank [°]; none where the water stands.
    """
    held = case.settings.heading
    if held.along == "free":
        return
    for evidence in case.waters:
        if held.along == "flow":
            yield from _along_flow(evidence)
            continue
        for raft in evidence.rafts:
            if held.along == "wind":
                ways = np.array([math.radians(case.settings.wind.from_deg or 0.0)])
            else:
                ways = _bank_ways(evidence, raft)
            yield _finding(evidence, raft, ways, held.tolerance_deg)


def _along_flow(evidence: Evidence) -> Iterator[Finding]:
    """Yield the finding of each raft that lies in flowing water."""
    flows = flows_of(evidence)
    if not (flows and evidence.body.outlets and evidence.rafts):
        return
    mesh = mesh_of(evidence, flows)
    if mesh is None:
        return  # what the effect is judged by as well, and fails there
    width_m = math.sqrt(evidence.frame.area_m2(evidence.outline))
    least = _FLOWING_SHARE * sum(flow.flow_m3_s for flow in flows) / width_m
    limit = evidence.settings.heading.tolerance_deg + _FLOW_ROOM_DEG
    for raft in evidence.rafts:
        east, north = mesh.flow_at(samples(raft.outline)).mean(axis=0)
        if math.hypot(east, north) >= least:
            yield _finding(evidence, raft, np.array([math.atan2(east, north)]), limit)


def _bank_ways(evidence: Evidence, raft: JudgedRaft) -> FloatArray:
    """Return the directions square to the ways to the nearest banks, clockwise from north [rad]."""
    outline = evidence.outline
    rings = [shapely.get_coordinates(part) for part in (outline.exterior, *outline.interiors)]
    begin = np.concatenate([part[:-1] for part in rings])
    step = np.concatenate([np.diff(part, axis=0) for part in rings])
    centre = shapely.get_coordinates(raft.outline.centroid)[0]
    # Foot of the perpendicular on each piece of the bank, or its nearer end.
    long = np.maximum((step**2).sum(axis=1), 1e-12)
    share = np.clip(((centre - begin) * step).sum(axis=1) / long, 0.0, 1.0)
    way = centre - begin - share[:, None] * step
    far = np.hypot(*way.T)
    near = way[far <= far.min() + _AS_NEAR_M]
    ways: FloatArray = np.arctan2(near[:, 0], near[:, 1]) + math.pi / 2
    return ways


def _finding(evidence: Evidence, raft: JudgedRaft, ways: FloatArray, limit: float) -> Finding:
    """Return by what angle a raft lies off the nearest of the directions that it may follow."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(raft.outline))
    sides = np.diff(corners[:3], axis=0)
    lengths = np.hypot(*sides.T)
    ahead = sides[int(np.argmax(lengths))]
    period = 90.0 if abs(lengths[0] - lengths[1]) < _SAME_SIDE_M else 180.0
    off = np.mod(math.degrees(math.atan2(ahead[0], ahead[1])) - np.degrees(ways), period)
    measured = float(np.minimum(off, period - off).min())
    along = evidence.settings.heading.along
    passed = measured <= limit + _ROUNDING_DEG
    words = f"lies along the {along}" if passed else f"lies across the {along}; turn it"
    row = raft.row
    return Finding("heading", row.water_id, row.raft_id, measured, limit, "deg", passed, words)
