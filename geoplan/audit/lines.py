"""
Check of what holds each raft: posts that reach, or lines whose sweep stays in legal water.

The audit tries poses on a lattice, keeps those in which no line is more than taut, and looks where
the corners of the raft come to lie; placement has an envelope drawn from outside.
"""

import math
from collections.abc import Iterator

import numpy as np
import shapely

from geoplan.audit.evidence import Case, Evidence, JudgedRaft, number
from geoplan.audit.frame import FloatArray
from geoplan.audit.strength import place_of
from geoplan.plan import Finding
from geoplan.written import WrittenMooring

#: Lines without which a raft turns.
LEAST_LINES = 4
#: What rounding may take [m].
TOLERANCE_M = 0.02
#: A fairlead is a corner of the raft; a line may lead from this far beside it [m].
_LATTICE = 25
_TURNS_DEG = np.arange(-60.0, 61.0, 5.0)


def check_mooring(case: Case) -> Iterator[Finding]:
    """
    Hold what each raft is held by against bed, levels and everything round it.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Faults, limit 0, for each raft that is not there already; each is named.
    """
    for evidence in case.waters:
        swept: dict[str, FloatArray] = {}
        faults: dict[str, list[str]] = {}
        for raft in evidence.rafts:
            if raft.row.status == "as_built":
                continue
            name = raft.row.raft_id
            own = [
                part
                for part in evidence.moorings
                if part.raft_id == name and place_of(evidence, part) is not None
            ]
            posts = [part for part in own if part.kind == "post"]
            anchors = [part for part in own if part.kind == "anchor"]
            faults[name] = _post_faults(evidence, posts)
            # A raft with both is a fault of its posts, which are judged elsewhere.
            if anchors and not posts:
                swept[name] = _swept_corners(evidence, raft, anchors)
                faults[name] += _line_faults(evidence, raft, anchors)
                faults[name] += _sweep_faults(evidence, swept[name])
        for name, words in _meeting(evidence, swept):
            faults[name].append(words)
        for raft in evidence.rafts:
            if raft.row.raft_id in faults:
                yield _finding(raft, faults[raft.row.raft_id])


def _finding(raft: JudgedRaft, found: list[str]) -> Finding:
    """Return the finding on one raft."""
    words = "; ".join(found) + "; hold it otherwise" if found else "it stays where it may"
    row = raft.row
    return Finding(
        "mooring", row.water_id, row.raft_id, float(len(found)), 0.0, "faults", not found, words
    )


def _post_faults(evidence: Evidence, posts: list[WrittenMooring]) -> list[str]:
    """Return the posts that pierce a liner or stand too deep for the longest post."""
    mooring = evidence.settings.mooring
    faults = []
    if posts and evidence.settings.bed.lined:
        faults.append(f"{posts[0].mooring_id} pierces the liner")
    for post, depth in zip(posts, _depths(evidence, posts, "high"), strict=True):
        need = depth + mooring.travel_margin_m + mooring.embedment_m
        if need > mooring.longest_post_m + TOLERANCE_M:
            faults.append(f"{post.mooring_id} would have to be {need:.2f} m long")
    return faults


def _depths(evidence: Evidence, parts: list[WrittenMooring], level: str) -> FloatArray:
    """Return the water over moorings at a level, NaN where they have no place [m]."""
    if not parts:
        return np.zeros(0)
    bed, _ = evidence.bed.at(_places(evidence, parts))
    surface = dict(evidence.body.levels.named())[level]
    depth: FloatArray = np.maximum(surface - np.asarray(bed, float), 0.0)
    return depth


def _places(evidence: Evidence, parts: list[WrittenMooring]) -> FloatArray:
    """Return where moorings are, in the frame."""
    known = [place_of(evidence, part) for part in parts]
    places: FloatArray = np.array([place for place in known if place is not None])
    return places


def _fairleads(raft: JudgedRaft, anchors_m: FloatArray) -> FloatArray:
    """Return the corner of the raft that each line leads from: the nearest to its anchor."""
    corners = shapely.get_coordinates(raft.outline)[:-1]
    away = np.hypot(*(anchors_m[:, None, :] - corners[None, :, :]).transpose(2, 0, 1))
    leads: FloatArray = corners[away.argmin(axis=1)]
    return leads


def _line_faults(evidence: Evidence, raft: JudgedRaft, anchors: list[WrittenMooring]) -> list[str]:
    """Return lines that are too few, too short for high water, or whose anchor lies dry."""
    faults = []
    if len(anchors) < LEAST_LINES:
        faults.append(f"{len(anchors)} lines, at least {LEAST_LINES} wanted")
    places = _places(evidence, anchors)
    leads = _fairleads(raft, places)
    if len(np.unique(leads.round(3), axis=0)) < min(len(anchors), LEAST_LINES):
        faults.append("two lines lead from one corner")
    flat = np.hypot(*(places - leads).T)
    for line, across, high in zip(anchors, flat, _depths(evidence, anchors, "high"), strict=True):
        need = math.hypot(float(across), float(high))
        if not number(line.length_m) >= need - TOLERANCE_M:
            faults.append(f"{line.mooring_id} is {line.length_m} m long, {need:.2f} m wanted")
    dry = ~shapely.contains_xy(evidence.edges["low"], *places.T)
    faults += [f"{anchors[k].mooring_id} lies outside low water" for k in np.flatnonzero(dry)]
    return faults


def _swept_corners(
    evidence: Evidence, raft: JudgedRaft, anchors: list[WrittenMooring]
) -> FloatArray:
    """Return corners and middles of sides in every legal pose of a lattice, shape (n, 2) [m]."""
    places = _places(evidence, anchors)
    leads = _fairleads(raft, places)
    ring = shapely.get_coordinates(raft.outline)
    middle = ring[:-1].mean(axis=0)
    rim = np.vstack([ring[:-1], (ring[:-1] + ring[1:]) / 2]) - middle
    stretch = 1.0 + evidence.settings.mooring.line_stretch
    length = np.array([number(line.length_m) for line in anchors]) * stretch
    depth = _depths(evidence, anchors, "low")
    radius = np.sqrt(np.maximum(length**2 - depth**2, 0.0))
    flat = np.hypot(*(places - leads).T)
    span = float(np.nanmax(radius - flat, initial=0.0)) * 3.0 + 0.1
    step = np.linspace(-span, span, _LATTICE)
    shift = np.stack(np.meshgrid(step, step), axis=-1).reshape(-1, 2)
    out = [rim + middle]
    for turn in np.radians(_TURNS_DEG):
        spin = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
        at = (leads - middle) @ spin.T + middle
        away = np.hypot(*(at[None] + shift[:, None] - places[None]).transpose(2, 0, 1))
        legal = shift[(away <= radius).all(axis=1)]
        out.append(((rim @ spin.T + middle)[None] + legal[:, None]).reshape(-1, 2))
    swept: FloatArray = np.concatenate(out)
    return swept


def _sweep_faults(evidence: Evidence, corners: FloatArray) -> list[str]:
    """Return what the raft comes too near to when the water is low."""
    keep, body = evidence.settings.clearances, evidence.body
    low = evidence.edges["low"]
    points = shapely.points(corners)
    faults = []
    if not shapely.contains_xy(low, *corners.T).all():
        faults.append("it sweeps over dry ground at low level")
    near = float(shapely.distance(points, shapely.boundary(low)).min())
    if near < keep.bank_m - TOLERANCE_M:
        faults.append(f"it sweeps to {near:.2f} m from the bank")
    kept = [
        (part.geometry, part.buffer_m, part.reason or "what is kept clear")
        for part in body.keep_clear
    ]
    kept += [
        (out.geometry, max(keep.outlet_m, 3.0 * (out.width_m or 0.0)), f"outlet {out.outlet_id}")
        for out in body.outlets
    ]
    kept += [(flow.point, keep.inflow_m, f"inflow {flow.inflow_id}") for flow in body.inflows]
    for geometry, distance, words in kept:
        near = float(shapely.distance(points, evidence.frame.of_site(geometry)).min())
        if near < distance - TOLERANCE_M:
            faults.append(f"it sweeps to {near:.2f} m from {words}")
    return faults


def _meeting(evidence: Evidence, swept: dict[str, FloatArray]) -> Iterator[tuple[str, str]]:
    """Yield rafts on lines that may come nearer to another than the gap."""
    gap = evidence.settings.clearances.gap_m
    clouds = {name: shapely.multipoints(corners) for name, corners in swept.items()}
    others = {raft.row.raft_id: raft.outline for raft in evidence.rafts}
    others |= dict(evidence.existing)
    hulls = {name: shapely.convex_hull(cloud) for name, cloud in clouds.items()}
    for name, cloud in clouds.items():
        for other, outline in others.items():
            if other == name or shapely.distance(hulls[name], hulls.get(other, outline)) > gap:
                continue
            near = float(shapely.distance(cloud, clouds.get(other, outline)))
            if near < gap - TOLERANCE_M:
                yield name, f"it may come to {near:.2f} m from {other}"
