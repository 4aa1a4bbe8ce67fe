"""
Checks of setting out: tapes measured again from the site's own marks, on the ellipsoid.

How far a taped point may be off is found by moving each tape a little and setting the point out
again, not by the formula that the planner uses.
"""

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from geoplan.audit.evidence import Case, Evidence, JudgedRaft, number
from geoplan.audit.frame import FloatArray
from geoplan.plan import Finding
from geoplan.written import WrittenMooring
from geoplan.written_tapes import WrittenMark, WrittenTape

#: Tapes are given to the centimetre; half of it and the file's rounding [m].
TAPE_TOLERANCE_M = 0.006
#: Coordinates and outlines of one file agree to this [m].
PLACE_TOLERANCE_M = 0.005
#: Flattest crossing that is of use [°].
LEAST_CROSSING_DEG = 30.0
#: Share by which the stated error may be too small [1].
_ERROR_TOLERANCE = 0.02
_STEP_M = 1e-4
#: Standard deviations that hold 95 % of a plane normal distribution [1].
_P95 = 2.4477


@dataclass(frozen=True, eq=False)
class _Bank:
    """The marks of one water body in the frame, and what is wrong with those of the file."""

    places: dict[str, FloatArray]
    faults: tuple[str, ...]


def check_tape(case: Case) -> Iterator[Finding]:
    """
    Hold what is set out against rafts, moorings and marks.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Faults, limit 0, for each raft to be placed and for the marks of each water body; each
        fault is named.
    """
    for evidence in case.waters:
        bank = _bank(case, evidence)
        yield _finding(evidence, "", list(bank.faults), "marks are those of the site, or on land")
        rows: dict[str, list[WrittenTape]] = {}
        for tape in case.written.tapes:
            if tape.water_id == evidence.body.water_id:
                rows.setdefault(tape.raft_id, []).append(tape)
        for raft in evidence.rafts:
            if raft.row.status != "existing":
                own = rows.pop(raft.row.raft_id, [])
                faults = _missing(evidence, raft, own)
                for tape in own:
                    faults += [f"{tape.item}: {words}" for words in _faults(evidence, tape, bank)]
                yield _finding(evidence, raft.row.raft_id, faults, "can be set out")
        known = {raft.row.raft_id for raft in evidence.rafts}
        for raft_id in rows.keys() - known:
            words = [f"{len(rows[raft_id])} points of a raft that the plan does not place"]
            yield _finding(evidence, raft_id, words, "")


def _finding(evidence: Evidence, raft_id: str, faults: list[str], good: str) -> Finding:
    """Return a finding with its faults in words."""
    words = "; ".join(faults) + "; plan the site again" if faults else good
    water_id = evidence.body.water_id
    count = float(len(faults))
    return Finding("tape", water_id, raft_id, count, 0.0, "faults", not faults, words)


def _bank(case: Case, evidence: Evidence) -> _Bank:
    """Return the raw marks of a site and, where they are on land, those that the plan proposes."""
    raw = {m.mark_id: _at(evidence.frame.of_site(m.point)) for m in evidence.body.marks}
    places, faults = dict(raw), []
    for mark in case.written.marks:
        if mark.water_id != evidence.body.water_id:
            continue
        here = _place(evidence, mark)
        if here is None:
            faults.append(f"mark {mark.mark_id} has no place")
        elif mark.mark_id in raw:
            if math.dist(here, raw[mark.mark_id]) > PLACE_TOLERANCE_M:
                faults.append(f"mark {mark.mark_id} is not where the site has it")
        elif not mark.is_suggested:
            faults.append(f"the site has no mark {mark.mark_id}")
        else:
            places[mark.mark_id] = here
            faults += _standing_faults(evidence, mark.mark_id, shapely.Point(here))
    return _Bank(places, tuple(faults))


def _standing_faults(evidence: Evidence, mark_id: str, here: shapely.Point) -> list[str]:
    """Return why a peg cannot be driven where it is proposed."""
    faults = []
    if shapely.distance(here, evidence.outline) == 0:
        faults.append(f"mark {mark_id} is proposed in the water")
    near = [
        part.reason
        for part in evidence.body.keep_clear
        if shapely.distance(here, evidence.frame.of_site(part.geometry)) < part.buffer_m - 0.01
    ]
    return faults + [f"mark {mark_id} is proposed where {words!r} is kept clear" for words in near]


def _missing(evidence: Evidence, raft: JudgedRaft, rows: list[WrittenTape]) -> list[str]:
    """Return the corners and moorings of a raft that no row sets out where they are."""
    at: dict[str, list[FloatArray]] = {}
    for row in rows:
        place = _place(evidence, row)
        if place is not None:
            at.setdefault(row.item.split(" ", 1)[0], []).append(place)
    wanted = [("corner", place) for place in shapely.get_coordinates(raft.outline)[:-1]]
    for post in evidence.moorings:
        if post.raft_id == raft.row.raft_id:
            place = _place(evidence, post)
            if place is not None:
                wanted.append((post.kind, place))
    lost = [
        kind
        for kind, place in wanted
        if min((math.dist(place, row) for row in at.get(kind, [])), default=math.inf)
        > PLACE_TOLERANCE_M
    ]
    return [f"{lost.count(kind)} of its {kind}s not set out" for kind in sorted(set(lost))]


def _faults(evidence: Evidence, tape: WrittenTape, bank: _Bank) -> list[str]:
    """Return what is wrong with the tapes of one point."""
    here = _place(evidence, tape)
    if here is None:
        return ["it has no place"]
    if not tape.mark_1 and not tape.mark_2:
        pair = _usable_pair(evidence, here, bank.places)
        return [f"it is said not to be taped, but {pair[0]} and {pair[1]} fix it"] if pair else []
    unknown = [name for name in (tape.mark_1, tape.mark_2) if name not in bank.places]
    if unknown or tape.mark_1 == tape.mark_2:
        return [f"no mark {name!r}" for name in unknown] or ["both tapes are from one mark"]
    marks = [bank.places[tape.mark_1], bank.places[tape.mark_2]]
    faults = []
    longest_m = evidence.settings.setting_out.longest_tape_m
    for name, mark, stated in zip(
        (tape.mark_1, tape.mark_2), marks, (tape.tape_1_m, tape.tape_2_m), strict=True
    ):
        found = float(evidence.frame.steps_m(shapely.LineString([mark, here]))[0])
        if not abs(number(stated) - found) <= TAPE_TOLERANCE_M:
            faults.append(f"{stated} m from {name} stated, {found:.3f} m found")
        if found > longest_m + TAPE_TOLERANCE_M:
            faults.append(f"{found:.2f} m from {name}, longer than a tape of {longest_m:g} m")
    crossing = _crossing_deg(here, *marks)
    if not abs(number(tape.crossing_deg) - crossing) <= 0.1 or crossing < LEAST_CROSSING_DEG - 0.1:
        faults.append(f"tapes said to cross at {tape.crossing_deg} degrees, {crossing:.1f} found")
    off_m = _off_m(evidence, here, marks)
    if not number(tape.error_major_m) >= off_m * (1 - _ERROR_TOLERANCE):
        faults.append(f"off by {tape.error_major_m} m stated, {off_m:.3f} m found")
    return faults


def _usable_pair(
    evidence: Evidence, here: FloatArray, places: dict[str, FloatArray]
) -> tuple[str, str] | None:
    """Return two marks that fix a point well within the limits; none where there are none."""
    longest_m = evidence.settings.setting_out.longest_tape_m - TAPE_TOLERANCE_M
    near = [name for name, place in places.items() if 0 < math.dist(here, place) < longest_m]
    for one, other in itertools.combinations(near, 2):
        if _crossing_deg(here, places[one], places[other]) > LEAST_CROSSING_DEG + 0.1:
            return one, other
    return None


def _crossing_deg(here: FloatArray, one: FloatArray, other: FloatArray) -> float:
    """Return the angle at which two tapes cross, 0 to 90, from their bearings [°]."""
    first, second = (math.atan2(*(mark - here)) for mark in (one, other))
    angle = abs(math.degrees(first - second)) % 180.0
    return min(angle, 180.0 - angle)


def _off_m(evidence: Evidence, here: FloatArray, marks: list[FloatArray]) -> float:
    """Return how far a point may be off with 95 %, by setting it out with tapes a little wrong."""
    given = evidence.settings.setting_out
    sigma_m = math.sqrt(given.tape_sigma_m**2 + given.mark_sigma_m**2)
    tapes = [math.dist(here, mark) for mark in marks]
    moves = []
    for longer in (0, 1):
        changed = [tape + (_STEP_M if k == longer else 0.0) for k, tape in enumerate(tapes)]
        found = _meeting(marks, changed, here)
        if found is None:
            return math.inf
        moves.append((found - here) / _STEP_M)
    spread = np.array(moves)  # the farthest end of any mix of both errors, tried all round
    turn = np.linspace(0.0, math.pi, 721)
    mix = np.cos(turn)[:, None] * spread[0] + np.sin(turn)[:, None] * spread[1]
    return float(_P95 * sigma_m * np.hypot(mix[:, 0], mix[:, 1]).max())


def _meeting(marks: list[FloatArray], tapes: list[float], near: FloatArray) -> FloatArray | None:
    """Return where two circles meet, of the two places the nearer one; none where they do not."""
    base = marks[1] - marks[0]
    apart = math.hypot(*base)
    along = (tapes[0] ** 2 - tapes[1] ** 2 + apart**2) / (2 * apart)
    aside = tapes[0] ** 2 - along**2
    if aside < 0:
        return None
    foot = marks[0] + base * (along / apart)
    side = np.array([-base[1], base[0]]) * (math.sqrt(aside) / apart)
    return min((foot + side, foot - side), key=lambda place: math.dist(place, near))


def _place(
    evidence: Evidence, row: WrittenTape | WrittenMark | WrittenMooring
) -> FloatArray | None:
    """Return where the row of a file lies in the frame; nothing where it has no numbers."""
    return evidence.frame.place_of(number(row.easting_m), number(row.northing_m))


def _at(point: Any) -> FloatArray:
    """Return the coordinates of a point."""
    place: FloatArray = shapely.get_coordinates(point)[0]
    return place
