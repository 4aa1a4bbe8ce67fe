"""
Check of the work on the bank: what a raft weighs when launched, its pull up the bank, and people.

The pull follows from the angle of friction, and people by trying teams one larger than the other.
"""

import math
from collections.abc import Iterator

from geoplan.audit.evidence import Case, Evidence, number
from geoplan.plan import Finding
from geoplan.raft import RaftType
from geoplan.settings_works import LaunchSettings
from geoplan.written import WrittenRoute

#: Share by which stated masses and pulls may differ [1].
TOLERANCE = 0.01
#: Slope of a bank that nobody has measured [%].
_ASSUMED_SLOPE_PCT = 15.0
#: What two, and three, may lift of the sum of each: HSE L23 (recalled) [1].
_SHARES = (1.0, 2.0 / 3.0, 1.0 / 2.0)
_GRAVITY_M_S2 = 9.81


def check_handling(case: Case) -> Iterator[Finding]:
    """
    Weigh each raft bare, draw it up the bank of its route, and count the people for it.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Faults, limit 0, for each route of a raft whose type is known; each is named.
    """
    given = case.settings.launch
    for evidence in case.waters:
        kinds = {raft.row.raft_id: raft.raft_type for raft in evidence.rafts}
        for route in evidence.routes:
            kind = kinds.get(route.raft_id)
            if kind is None:
                continue
            faults = list(_faults(evidence, route, kind, given))
            words = "; ".join(faults) + "; plan again" if faults else "as stated"
            yield Finding(
                "handling",
                evidence.body.water_id,
                route.raft_id,
                float(len(faults)),
                0.0,
                "faults",
                not faults,
                words,
            )


def _faults(
    evidence: Evidence, route: WrittenRoute, kind: RaftType, given: LaunchSettings
) -> Iterator[str]:
    """Yield what is stated wrongly of the work on the bank, in words."""
    mass_kg = _bare_kg(kind, given)
    if not abs(number(route.mass_kg) - mass_kg) <= TOLERANCE * mass_kg:
        yield f"{route.mass_kg} kg are stated, {mass_kg:.0f} kg found"
    slope_pct = _slope_pct(evidence, route.launch_id)
    haul_n = _haul_n(mass_kg, slope_pct, given.friction)
    if not abs(number(route.haul_n) - haul_n) <= TOLERANCE * haul_n:
        yield f"a pull of {route.haul_n} N is stated, {haul_n:.0f} N found at {slope_pct:g} %"
    # A raft on the limit of a team may be counted to either side of it.
    likely = {
        _team(mass_kg * slack, haul_n * slack, given) for slack in (1 - TOLERANCE, 1 + TOLERANCE)
    }
    if (number(route.people), route.brought_by) not in likely:
        people, means = min(likely)
        yield f"{route.people} people and '{route.brought_by}' are stated, {people}, {means} found"


def _bare_kg(kind: RaftType, given: LaunchSettings) -> float:
    """Return what a raft of a type weighs in the water, without medium and plants [kg]."""
    area = kind.length_m * kind.width_m
    build = kind.build
    if build is None:
        return area * given.bare_kg_m2
    wet = build.fittings_kg + area * build.liner_kg_m2
    for group in build.poles:
        outer, inner = group.diameter_m / 2, group.diameter_m / 2 - group.wall_m
        wall = math.pi * (outer**2 - inner**2) * group.length_m
        wet += group.count * wall * group.saturated_kg_m3
    wood = build.slat_count * build.slat_width_m * build.slat_thickness_m
    wood *= build.slat_length_m or kind.width_m
    for side in (kind.length_m, kind.width_m) * 2:
        wood += side * build.edge_height_m * build.edge_thickness_m
    return wet + wood * build.wood_kg_m3


def _slope_pct(evidence: Evidence, launch_id: str) -> float:
    """Return the slope of a bank; the assumed one where it was not measured [%]."""
    slopes = [
        place.slope_pct
        for place in evidence.body.launches
        if place.launch_id == launch_id and place.slope_pct is not None
    ]
    return slopes[0] if slopes else _ASSUMED_SLOPE_PCT


def _haul_n(mass_kg: float, slope_pct: float, friction: float) -> float:
    """Return the pull along a bank at which a load begins to move, by its angle of friction [N]."""
    slope, rest = math.atan2(slope_pct, 100.0), math.atan(friction)
    return mass_kg * _GRAVITY_M_S2 * math.sin(slope + rest) / math.cos(rest)


def _team(mass_kg: float, haul_n: float, given: LaunchSettings) -> tuple[int, str]:
    """Return the least people on the bank, never fewer than two, and what they do."""
    for people, share in enumerate(_SHARES, 1):
        if people <= given.crew and people * share * given.lift_kg >= mass_kg:
            return max(people, 2), "carried"
    for people in range(1, given.crew + 1):
        if people * given.pull_kg * _GRAVITY_M_S2 >= haul_n:
            return max(people, 2), "pulled on skids or rollers"
    return 2, "winch or vehicle"
