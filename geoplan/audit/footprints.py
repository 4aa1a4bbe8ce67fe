"""
Checks of each footprint by itself: size, water, bank, depth and survey.

Each yields one finding for each raft that the plan puts into a water body.
"""

from collections.abc import Iterator

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely.geometry import Polygon

from geoplan.audit.evidence import Case, Evidence, JudgedRaft, number, samples
from geoplan.audit.frame import FloatArray
from geoplan.plan import Finding
from geoplan.raft import RaftType

#: Area that rounding may put outside the water [m²].
AREA_TOLERANCE_M2 = 1e-6
#: Distance that rounding may take away [m].
DISTANCE_TOLERANCE_M = 1e-6
#: Departure of a side or diagonal that still is the raft's [m].
SIZE_TOLERANCE_M = 0.01
#: One-sided 95 % of a normal distribution [1].
ONE_SIDED_95 = 1.645
#: Depth that a row may claim beyond the audit's own [m].
CLAIM_TOLERANCE_M = 0.02
#: Room that the audit leaves between its reach and the planner's [1].
REACH_ROOM = 1.25
#: Points of the lattice from which the spacing of soundings is taken.
_LATTICE_POINTS = 4000


def check_water(case: Case) -> Iterator[Finding]:
    """
    Hold each footprint against the open water at low level and the outline.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Area outside [m²], limit 0, for each raft.
    """
    for evidence, raft in _each(case):
        water = shapely.intersection(evidence.edges["low"], evidence.outline)
        outside = float(shapely.area(shapely.difference(raft.outline, water)))
        passed = outside <= AREA_TOLERANCE_M2
        words = (
            "whole in the water at low level"
            if passed
            else f"{outside:.2f} m² of it lie on land or ground that falls dry at low level;"
            " move it into open water"
        )
        yield _finding("water", raft, outside, 0.0, "m2", passed, words)


def check_size(case: Case) -> Iterator[Finding]:
    """
    Hold each outline against the rectangle of its raft type.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Largest departure of a side, a diagonal or a stated size [m], limit 0.01 m, for each raft
        of a known type; not a number where it has not four corners.
    """
    for evidence, raft in _each(case):
        kind = raft.raft_type
        if kind is None:
            continue
        worst = _departure_m(evidence, raft, kind)
        passed = worst <= SIZE_TOLERANCE_M
        shape = f"{kind.length_m:g} by {kind.width_m:g} m of '{kind.name}'"
        words = (
            f"a rectangle, {shape}"
            if passed
            else f"its outline or stated size is not the rectangle of {shape};"
            " draw it again at its true size"
        )
        yield _finding("size", raft, worst, SIZE_TOLERANCE_M, "m", passed, words)


def _departure_m(evidence: Evidence, raft: JudgedRaft, kind: RaftType) -> float:
    """Return how far sides, diagonals and stated size are off; NaN where it has no four sides."""
    ring = shapely.remove_repeated_points(shapely.simplify(raft.outline.exterior, 1e-4))
    corners = shapely.get_coordinates(ring)
    stated = max(
        abs(number(raft.row.length_m) - kind.length_m), abs(number(raft.row.width_m) - kind.width_m)
    )
    if len(corners) != 5 or raft.outline.interiors or not np.isfinite(stated):
        return float("nan")
    sides = evidence.frame.steps_m(ring)
    diagonals = evidence.frame.steps_m(shapely.LineString(corners[[0, 2, 3, 1]]))[[0, 2]]
    want = np.array([kind.length_m, kind.width_m] * 2)
    off_sides = min(np.abs(sides - want).max(), np.abs(sides - want[::-1]).max())
    off_diagonals = np.abs(diagonals - np.hypot(kind.length_m, kind.width_m)).max()
    return float(max(off_sides, off_diagonals, stated))


def check_bank(case: Case) -> Iterator[Finding]:
    """
    Hold each footprint against the water's edge at low level, islands included.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Least distance to the edge [m] for each raft; 0 where it is not in the water.
    """
    for evidence, raft in _each(case):
        water = evidence.edges["low"]
        inside = shapely.covers(water, raft.outline)
        bank = shapely.distance(raft.outline, shapely.boundary(water)) if inside else 0.0
        limit = evidence.settings.clearances.bank_m
        passed = bank >= limit - DISTANCE_TOLERANCE_M
        words = (
            "far enough from the bank at low level"
            if passed
            else f"{bank:.2f} m from the bank or an island at low level, {limit:g} m wanted;"
            " move it out"
        )
        yield _finding("bank", raft, float(bank), limit, "m", passed, words)


def check_depth(case: Case) -> Iterator[Finding]:
    """
    Hold the room under the roots at low level against the clearance.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Least of depth less 1.645 sigma, draft, roots and sediment under the whole footprint [m],
        for each raft of a known type; not a number where the bed is unknown.
    """
    for evidence, raft in _each(case):
        kind = raft.raft_type
        if kind is None:
            continue
        keep = evidence.settings.clearances
        need = kind.draft_m + kind.root_depth_m + keep.sediment_m
        bed = _highest_bed_m(evidence, raft.outline, ONE_SIDED_95)
        room = evidence.body.levels.low_m - bed - need
        passed = room >= keep.root_m - DISTANCE_TOLERANCE_M
        words = (
            f"roots stay {room:.2f} m clear of the bed at low level"
            if passed
            else f"{room:.2f} m between roots and bed at low level, {keep.root_m:g} m wanted;"
            " move it to deeper water or sound there again"
        )
        yield _finding("depth", raft, room, keep.root_m, "m", bool(passed), words)


def check_depth_claim(case: Case) -> Iterator[Finding]:
    """
    Hold the depth that a row states against the raw survey.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Stated less own depth at low level [m], limit 0.02 m, for each raft; 0 where none is
        stated.
    """
    for evidence, raft in _each(case):
        claim = raft.row.depth_low_m
        own = evidence.body.levels.low_m - _highest_bed_m(evidence, raft.outline, 0.0)
        more = 0.0 if claim is None else number(claim) - max(0.0, own)
        passed = bool(more <= CLAIM_TOLERANCE_M)
        words = (
            "no more depth is stated than the survey gives"
            if passed
            else f"{claim} m is stated, the survey gives {own:.2f} m; write the plan again"
        )
        yield _finding("depth_claim", raft, more, CLAIM_TOLERANCE_M, "m", passed, words)


def _highest_bed_m(evidence: Evidence, outline: Polygon, sigmas: float) -> float:
    """Return the highest bed under a footprint with its uncertainty; NaN where unknown [m]."""
    bed, sigma = evidence.bed.at(samples(outline))
    raw, raw_sigma = evidence.bed.inside(outline)
    return float(np.concatenate([bed + sigmas * sigma, raw + sigmas * raw_sigma]).max())


def check_survey(case: Case) -> Iterator[Finding]:
    """
    Hold each footprint against the reach of the survey.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Distance of the farthest point under it to the nearest sounding, contour point or raster
        cell [m], for each raft; not a number where there is none.
    """
    for evidence in case.waters:
        if not evidence.rafts:
            continue
        reaches = [
            (tree, REACH_ROOM * _reach_m(evidence, tree, own_m))
            for places, own_m in evidence.bed.surveys
            if len(places)
            for tree in (cKDTree(places),)
        ]
        for raft in evidence.rafts:
            away, limit = _farthest_m(reaches, samples(raft.outline))
            passed = bool(away <= limit + DISTANCE_TOLERANCE_M)
            words = (
                "within the survey"
                if passed
                else f"part of it is {away:.1f} m from any sounding, {limit:.1f} m at most;"
                " sound there, or move it"
                if reaches
                else "nothing was sounded in this water; sound it"
            )
            yield _finding("survey", raft, away, limit, "m", passed, words)


def _farthest_m(reaches: list[tuple[cKDTree, float]], places_m: FloatArray) -> tuple[float, float]:
    """Return the distance of the place least within a survey, and the reach it is held against."""
    if not reaches:
        return float("nan"), 0.0
    away = np.array([tree.query(places_m)[0] for tree, _ in reaches])
    limit = np.array([reach_m for _, reach_m in reaches])
    share = away / np.maximum(limit, 1e-9)[:, None]
    best = share.argmin(axis=0)
    worst = int(share.min(axis=0).argmax())
    return float(away[best[worst], worst]), float(limit[best[worst]])


def _reach_m(evidence: Evidence, tree: cKDTree, own_m: float | None) -> float:
    """Return how far from a sounding a depth is believed [m]."""
    stated = own_m or evidence.settings.survey.reach_m
    if stated is not None:
        return stated
    places = _water_lattice(evidence.outline)
    return 3.0 * float(np.median(tree.query(places)[0]))


def _water_lattice(outline: Polygon) -> FloatArray:
    """Return a regular lattice of points in the water, shape (n, 2) [m]."""
    step = float(np.sqrt(outline.area / _LATTICE_POINTS))
    west, south, east, north = outline.bounds
    easting, northing = np.meshgrid(
        np.arange(west + step / 2, east, step), np.arange(south + step / 2, north, step)
    )
    shapely.prepare(outline)
    inside = shapely.contains_xy(outline, easting, northing)
    return np.column_stack([easting[inside], northing[inside]])


def _each(case: Case) -> Iterator[tuple[Evidence, JudgedRaft]]:
    """Yield each raft with the evidence on its water body."""
    for evidence in case.waters:
        for raft in evidence.rafts:
            yield evidence, raft


def _finding(
    check: str,
    raft: JudgedRaft,
    measured: float,
    limit: float,
    unit: str,
    passed: bool,
    words: str,
) -> Finding:
    """Return a finding on one raft."""
    row = raft.row
    return Finding(check, row.water_id, row.raft_id, measured, limit, unit, bool(passed), words)
