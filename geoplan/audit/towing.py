"""
Checks of towing: a raft put down at every step of its way, towed end-on, then with its heading.

The planner draws exact strips and sectors over cells; this puts down rectangles a quarter of a
metre apart over the raw survey. Rafts earlier in the order and those there already are in the way.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geoplan.audit.evidence import Case, Evidence, JudgedRaft, frame_line, number
from geoplan.plan import Finding
from geoplan.written import WrittenRoute

FloatArray = NDArray[np.float64]

#: Distance between the places at which the raft is put down [m].
STEP_M = 0.25
#: What two projections and the numbers of the file may put a raft nearer than it is planned [m].
TOLERANCE_M = 0.002
#: What the places of a step leave out of a distance to the audit's own edge [m].
CLAIM_TOLERANCE_M = 0.02
#: By which a stated distance may be short of half the width [m].
_ROUNDING_M = 1e-6
#: Lanes in which the bed is looked up across a raft, as shares of half its width [1].
_LANES = (-1.0, -0.5, 0.0, 0.5, 1.0)
#: Part of a raft that may overlap what bars it at one place: a strip of a centimetre [m²].
_OVERLAP_M2 = 0.05
#: Standard deviations that the planner's reliable depth is below the bed's [1].
_SIGMAS = 2.33


@dataclass(frozen=True, eq=False)
class _Tow:
    """A raft at each step: where, how far from the end, and as a rectangle [m]."""

    raft: JudgedRaft
    line: shapely.LineString
    places_m: FloatArray
    ahead_rad: FloatArray
    to_end_m: FloatArray
    rectangles: NDArray[np.object_]
    turn_before_m: float

    @property
    def is_open(self) -> NDArray[np.bool_]:
        """Tell where the raft has not yet taken the heading of its place."""
        out: NDArray[np.bool_] = self.to_end_m >= self.turn_before_m
        return out

    @property
    def is_away(self) -> NDArray[np.bool_]:
        """Tell where it is farther than its length from its place, which other checks judge."""
        out: NDArray[np.bool_] = self.to_end_m > max(_sides_m(self.raft))
        return out


def check_towing(case: Case) -> Iterator[Finding]:
    """
    Tow each raft along its route in the stated order.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Faults, limit 0, for each route of a raft whose type is known; each is named.
    """
    for evidence in case.waters:
        rafts = {raft.row.raft_id: raft for raft in evidence.rafts}
        ranks = {route.raft_id: number(route.sequence) for route in evidence.routes}
        for route in evidence.routes:
            raft = rafts.get(route.raft_id)
            path = frame_line(route.path, evidence.frame)
            if raft is None or raft.raft_type is None or path is None or path.length == 0:
                continue
            tow = _towed(raft, path, number(route.turn_before_m))
            in_place = _in_place(evidence, route, ranks)
            faults = [*_too_near(tow, in_place), *_too_shallow(evidence, tow)]
            faults += _misstated(evidence, route, tow, in_place)
            words = "; ".join(faults) + "; plan the route again" if faults else "it can be towed"
            yield Finding(
                "towing",
                evidence.body.water_id,
                route.raft_id,
                float(len(faults)),
                0.0,
                "faults",
                not faults,
                words,
            )


def _towed(raft: JudgedRaft, path: shapely.LineString, turn_before_m: float) -> _Tow:
    """Return a raft at each step of its way, the wading leg left out."""
    bends = shapely.get_coordinates(path)
    tow = shapely.LineString(bends[1:]) if len(bends) > 2 else path
    count = max(2, math.ceil(tow.length / STEP_M) + 1)
    along = np.linspace(0.0, tow.length, count)
    places = shapely.get_coordinates(shapely.line_interpolate_point(tow, along))
    to_end = tow.length - along
    before = np.diff(places, axis=0, append=2 * places[-1:] - places[-2:-1])
    towed = np.arctan2(before[:, 1], before[:, 0])
    corners = shapely.get_coordinates(shapely.oriented_envelope(raft.outline))[:4]
    middle = corners.mean(axis=0)
    sides = corners[1] - corners[0], corners[2] - corners[1]
    long_side = max(sides, key=lambda side: float(np.hypot(*side)))
    own = math.atan2(long_side[1], long_side[0])
    angle = np.where(to_end >= turn_before_m, towed, own)
    angle[-1] = own
    spin = angle - own
    arms = corners - middle
    turned = np.stack(
        [
            arms[None, :, 0] * np.cos(spin)[:, None] - arms[None, :, 1] * np.sin(spin)[:, None],
            arms[None, :, 0] * np.sin(spin)[:, None] + arms[None, :, 1] * np.cos(spin)[:, None],
        ],
        axis=-1,
    )
    rectangles = shapely.polygons(places[:, None, :] + turned)
    squares = np.asarray(rectangles, object)
    return _Tow(raft, tow, places, towed, to_end, squares, turn_before_m)


def _in_place(
    evidence: Evidence, route: WrittenRoute, ranks: dict[str, float]
) -> list[tuple[str, shapely.Polygon]]:
    """Return the rafts that lie in the water when one is towed."""
    mine = number(route.sequence)
    there = list(evidence.existing)
    known = {name for name, _ in there}
    for raft in evidence.rafts:
        name = raft.row.raft_id
        is_earlier = ranks.get(name, math.inf) < mine
        if name != route.raft_id and name not in known and is_earlier:
            there.append((name, raft.outline))
    return there


def _width_m(raft: JudgedRaft) -> float:
    """Return the shorter side of a raft's type [m]."""
    return raft.raft_type.width_m if raft.raft_type else 0.0


def _too_near(tow: _Tow, in_place: Sequence[tuple[str, shapely.Polygon]]) -> Iterator[str]:
    """Yield rafts in place that the way passes nearer than half the width."""
    half = _width_m(tow.raft) / 2
    for name, outline in in_place:
        near = float(shapely.distance(tow.line, outline))
        if near < half - TOLERANCE_M:
            yield f"its way passes {near:.2f} m from {name}, which lies there before it"


def _too_shallow(evidence: Evidence, tow: _Tow) -> Iterator[str]:
    """Yield how far the raft is towed over water shallower than its draft at low level."""
    draft = tow.raft.raft_type.draft_m if tow.raft.raft_type else 0.0
    across = np.column_stack([-np.sin(tow.ahead_rad), np.cos(tow.ahead_rad)])
    shares = np.array(_LANES) * _width_m(tow.raft) / 2
    lanes = tow.places_m[:, None, :] + shares[None, :, None] * across[:, None, :]
    bed, sigma = evidence.bed.at(lanes.reshape(-1, 2))
    depth = evidence.body.levels.low_m - (bed + _SIGMAS * sigma)
    shallow = ~(depth.reshape(len(tow.places_m), -1).min(axis=1) >= draft) & tow.is_away
    if shallow.any():
        yield (
            f"{shallow.sum() * STEP_M:.1f} m of it lie over water less than {draft:.2f} m deep at"
            " low level"
        )


def _misstated(
    evidence: Evidence,
    route: WrittenRoute,
    tow: _Tow,
    in_place: Sequence[tuple[str, shapely.Polygon]],
) -> Iterator[str]:
    """Yield a stated clearance, or room to turn, that is more than was found."""
    low = evidence.edges["low"]
    points = shapely.points(tow.places_m[tow.is_open])
    near = [shapely.boundary(low), *(outline for _, outline in in_place)]
    found = min(float(shapely.distance(points, one).min(initial=math.inf)) for one in near)
    if not number(route.clearance_m) <= found + CLAIM_TOLERANCE_M:
        yield f"{route.clearance_m} m of clearance are stated, {found:.2f} m found"
    yield from _misfit(route, tow, found)
    if not route.has_room:
        return
    reach = float(np.hypot(*_sides_m(tow.raft))) / 2
    start = shapely.Point(tow.places_m[0]).buffer(reach)
    taken = shapely.union_all([outline for _, outline in in_place])
    outside = np.where(tow.is_away, _outside_m2(tow.rectangles, shapely.union(low, start)), 0.0)
    outside += shapely.area(shapely.intersection(tow.rectangles, taken))
    if float(outside.max()) > _OVERLAP_M2:
        worst = int(outside.argmax())
        yield (
            f"room to be towed and turned is stated, but {outside[worst]:.2f} m² of it lie on land"
            f" or a raft in place {tow.to_end_m[worst]:.1f} m before the end"
        )


def _outside_m2(shapes: NDArray[np.object_], water: shapely.Geometry) -> NDArray[np.float64]:
    """Return how much of each shape lies outside the water, most of them not at all [m²]."""
    shapely.prepare(water)
    astray = ~shapely.covers(water, shapes)
    out = np.zeros(len(shapes))
    out[astray] = shapely.area(shapely.difference(shapes[astray], water))
    return out


def _misfit(route: WrittenRoute, tow: _Tow, found_m: float) -> Iterator[str]:
    """Yield a clearance below half the width, found or stated, and sizes not the raft's own."""
    half = _width_m(tow.raft) / 2
    if not number(route.clearance_m) >= half - _ROUNDING_M:
        yield f"{route.clearance_m} m of clearance are less than half the width"
    if not found_m >= half - CLAIM_TOLERANCE_M:
        yield f"its way passes {found_m:.2f} m from the bank or a raft, less than half the width"
    own = (_width_m(tow.raft), float(np.hypot(*_sides_m(tow.raft))))
    stated = (number(route.width_m), number(route.turning_m))
    if not np.allclose(stated, own, rtol=0.0, atol=0.005):
        yield (
            f"a width of {route.width_m} m and {route.turning_m} m for turning are stated,"
            f" {own[0]:.2f} m and {own[1]:.2f} m found"
        )
    draft = tow.raft.raft_type.draft_m if tow.raft.raft_type else 0.0
    if not number(route.least_depth_m) >= draft:
        yield f"{route.least_depth_m} m of depth are stated for a draft of {draft:.2f} m"


def _sides_m(raft: JudgedRaft) -> tuple[float, float]:
    """Return the sides of a raft's type [m]."""
    kind = raft.raft_type
    return (kind.length_m, kind.width_m) if kind else (0.0, 0.0)
