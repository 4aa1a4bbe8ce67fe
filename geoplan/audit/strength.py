"""
Checks of what moorings must bear and can bear, from what the site says of wind, bed and posts.

The audit finds the wave by casting rays at the shore, the bed's resistance from the point about
which a post turns, and bending by adding up the pressure along it.
"""

import math
from collections.abc import Iterator

import numpy as np
import shapely

from geoplan.audit.evidence import Case, Evidence, JudgedRaft, number
from geoplan.audit.frame import FloatArray
from geoplan.audit.hulls import sliced_draft
from geoplan.audit.rays import to_edge_m
from geoplan.plan import Finding
from geoplan.post_sections import POST_SECTIONS
from geoplan.raft import RaftType
from geoplan.settings import Settings
from geoplan.written import WrittenMooring

#: What two methods may differ by [1].
_AGREE = 0.02
_RAYS = 36
#: Share of a raft's load on one of four posts, see the page on moorings [1].
_POST_SHARE = 0.8


def check_load(case: Case) -> Iterator[Finding]:
    """
    Hold the load that each mooring states against wind, current and waves as the audit finds them.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Load found, limit the least one stated [N], for each planned raft with moorings.
    """
    for evidence, raft, kind, parts in _moored(case):
        whole = found_load_n(evidence, raft, kind)
        share = _POST_SHARE if any(part.kind == "post" for part in parts) else 1.0
        need = [whole * share] * len(parts)
        stated = [number(part.load_n) for part in parts]
        worst = max(range(len(parts)), key=lambda at: _short(need[at], stated[at]))
        good = bool(stated[worst] >= need[worst] * (1 - _AGREE))
        words = (
            "no less is stated"
            if good
            else f"{parts[worst].mooring_id} states less than wind, current and waves bring;"
            " correct load_n"
        )
        yield _finding("load", raft, need[worst], stated[worst], good, words)


def check_capacity(case: Case) -> Iterator[Finding]:
    """
    Hold the capacity that each mooring states against bed, bending and block.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Greatest excess over what is borne, limit 1, for each planned raft with moorings; whether
        it is enough for the load is said in the notes, for an engineer to settle.
    """
    for evidence, raft, _, parts in _moored(case):
        excess = [_excess(evidence, part) for part in parts]
        worst = max(range(len(parts)), key=lambda at: excess[at])
        good = bool(excess[worst] <= 1 + _AGREE)
        words = (
            "none states more than it bears"
            if good
            else f"{parts[worst].mooring_id} bears less than stated; correct capacity_n"
        )
        row = raft.row
        yield Finding(
            "capacity", row.water_id, row.raft_id, excess[worst], 1.0, "of it", good, words
        )


def found_load_n(evidence: Evidence, raft: JudgedRaft, kind: RaftType) -> float:
    """
    Return the load on a raft, from the direction that gives most.

    Parameters
    ----------
    evidence : Evidence
        The water body.
    raft : JudgedRaft
        The raft.
    kind : RaftType
        Its type.

    Returns
    -------
    float
        Wind, current and waves together; the hull is taken as loaded, so that it is not more
        than what must be stated [N].
    """
    settings = evidence.settings
    wind, given = settings.wind.design_m_s, settings.mooring.current_m_s
    current = settings.clearances.jet_speed_m_s if given is None else given
    draft, freeboard = sliced_draft(kind)
    above = kind.hull_above_m if math.isnan(freeboard) else max(freeboard, 0.0)
    pressure = 0.5 * 1.225 * 1.2 * wind**2 * (above + kind.plant_height_m * kind.plant_solidity)
    pressure += 500.0 * current**2 * (1.2 * draft + kind.root_depth_m)
    corners = shapely.get_coordinates(raft.outline)
    middle = corners[:-1].mean(axis=0)
    angle = np.arange(_RAYS) * 2 * math.pi / _RAYS
    ways = np.column_stack([np.sin(angle), np.cos(angle)])
    fetches = to_edge_m(evidence.edges["high"], middle[None, :], ways)[0]
    most = 0.0
    for way, fetch in zip(ways, fetches, strict=True):
        across = corners @ np.array([way[1], -way[0]])
        wave = _cem_height_m(wind, float(fetch) if math.isfinite(fetch) else 0.0)
        line = pressure + 1000.0 * 9.80665 * wave**2 / 16.0
        most = max(most, line * float(np.ptp(across)))
    return most


def _cem_height_m(wind_m_s: float, fetch_m: float) -> float:
    """Return the significant height by the Coastal Engineering Manual [m]."""
    friction = math.sqrt(0.001 * (1.1 + 0.035 * wind_m_s)) * wind_m_s
    return 0.0413 * friction * math.sqrt(max(fetch_m, 0.0) / 9.80665)


def bed_load_n(settings: Settings, embedment_m: float, depth_m: float) -> float:
    """
    Return the load at the water line under which a post turns over in the bed.

    Parameters
    ----------
    settings : Settings
        Bed and section of the post.
    embedment_m : float
        Post in the bed, mud included [m].
    depth_m : float
        Water at high level [m].

    Returns
    -------
    float
        Ultimate load [N].

    Notes
    -----
    Clay presses one way above the point about which the post turns and the other way below;
    the moments about the load vanish where that point's depth under it is the root mean square of
    the ends'. In sand moments are taken about the toe, pressure being three times passive.
    """
    bed, width = settings.bed, POST_SECTIONS[settings.mooring.post].width_m
    firm, arm = embedment_m - bed.mud_m, depth_m + bed.mud_m
    if bed.soil == "cohesive":
        top, toe = arm + 1.5 * width, arm + firm
        if toe <= top:
            return 0.0
        turn = math.sqrt((top**2 + toe**2) / 2)
        return 9.0 * bed.shear_strength_pa * width * (2 * turn - top - toe)
    if firm <= 0:
        return 0.0
    depth = np.linspace(0.0, firm, 2001)
    sine = math.sin(math.radians(bed.friction_deg))
    press = 3.0 * (1 + sine) / (1 - sine) * bed.unit_weight_n_m3 * width * depth
    return float(np.trapezoid(press * (firm - depth), depth)) / (arm + firm)


def bending_n_m(settings: Settings, load_n: float, depth_m: float) -> float:
    """
    Return the greatest bending moment in a post under a load at the water line.

    Parameters
    ----------
    settings : Settings
        Bed and section of the post.
    load_n : float
        The load [N].
    depth_m : float
        Water at high level [m].

    Returns
    -------
    float
        Greatest moment, the pressure added up in steps of 2 mm [N·m].
    """
    bed, width = settings.bed, POST_SECTIONS[settings.mooring.post].width_m
    arm = depth_m + bed.mud_m
    depth = np.arange(0.0, 12.0, 0.002)
    if bed.soil == "cohesive":
        press = np.where(depth >= 1.5 * width, 9.0 * bed.shear_strength_pa * width, 0.0)
    else:
        sine = math.sin(math.radians(bed.friction_deg))
        press = 3.0 * (1 + sine) / (1 - sine) * bed.unit_weight_n_m3 * width * depth
    shear = load_n - np.cumsum(press) * 0.002
    moment = load_n * arm + np.cumsum(np.maximum(shear, 0.0)) * 0.002
    return float(moment.max())


def _excess(evidence: Evidence, part: WrittenMooring) -> float:
    """Return a stated capacity over what is borne; zero where none is stated."""
    settings = evidence.settings
    if part.capacity_n is None or place_of(evidence, part) is None:
        return 0.0
    stated = number(part.capacity_n)
    if not stated >= 0:
        return math.inf
    if part.kind != "post":
        proof = settings.mooring.anchor_proof_n
        if settings.mooring.anchor == "dead_weight":
            return _block_excess(evidence, part, stated)
        return math.inf if proof is None else stated * settings.mooring.line_safety / proof
    depth = _depth_high_m(evidence, part)
    borne = bed_load_n(settings, number(part.embedment_m), depth) / settings.mooring.post_safety
    allowed = POST_SECTIONS[settings.mooring.post].moment_n_m
    bent = bending_n_m(settings, stated, depth) / allowed
    return max(stated / borne if borne > 0 else math.inf, bent) if stated > 0 else 0.0


def place_of(evidence: Evidence, part: WrittenMooring) -> FloatArray | None:
    """
    Return where a mooring is.

    Parameters
    ----------
    evidence : Evidence
        The water body.
    part : WrittenMooring
        The row.

    Returns
    -------
    ndarray of float, shape (2,), or None
        In the frame; ``None`` where the row has no numbers, which is a fault of its own [m].
    """
    return evidence.frame.place_of(number(part.easting_m), number(part.northing_m))


def _depth_high_m(evidence: Evidence, part: WrittenMooring) -> float:
    """Return the water over a mooring at high level [m]."""
    place = place_of(evidence, part)
    if place is None:
        return 0.0
    bed, _ = evidence.bed.at(place[None, :])
    return max(0.0, evidence.body.levels.high_m - float(bed[0]))


def _block_excess(evidence: Evidence, part: WrittenMooring, stated: float) -> float:
    """Return the weight that a block would need for its stated capacity, over what it has."""
    mooring = evidence.settings.mooring
    mass = number(part.block_kg)
    weight = mass * 9.80665 * (1 - 1000.0 / mooring.block_kg_m3)
    # The steepest line is the one straight from its anchor at high level.
    depth = _depth_high_m(evidence, part)
    steep = min(1.0, depth / max(number(part.length_m), 1e-9))
    flat = math.sqrt(1 - steep**2)
    need = mooring.line_safety * stated * (flat / mooring.block_friction + steep)
    return need / weight if weight > 0 else math.inf


def _short(need: float, stated: float) -> float:
    """Return what a stated load lacks; everything where it is no number."""
    return need - stated if math.isfinite(stated) else math.inf


def _moored(
    case: Case,
) -> Iterator[tuple[Evidence, JudgedRaft, RaftType, list[WrittenMooring]]]:
    """Yield the planned rafts of a known type with their moorings."""
    for evidence in case.waters:
        for raft in evidence.rafts:
            parts = [m for m in evidence.moorings if m.raft_id == raft.row.raft_id]
            # Anchors beside posts are a fault of the posts, which are judged elsewhere.
            parts = [m for m in parts if m.kind == "post"] or parts
            if raft.raft_type is not None and raft.row.status == "planned" and parts:
                yield evidence, raft, raft.raft_type, parts


def _finding(
    check: str, raft: JudgedRaft, measured: float, limit: float, good: bool, words: str
) -> Finding:
    """Return one finding on a raft."""
    row = raft.row
    return Finding(check, row.water_id, row.raft_id, measured, limit, "N", good, words)
