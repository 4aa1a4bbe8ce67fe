"""
Checks of the tow routes: from a launch place, through water, into the raft's place.

A route's first leg crosses the bank and may lie outside the outline; a route that is missing is
no fault here, since a site may have no launch place.
"""

import math
from collections import Counter
from collections.abc import Iterator

import shapely

from geoplan.audit.evidence import Case, Evidence, frame_line, number, stray
from geoplan.plan import Finding
from geoplan.written import WrittenRoute

#: Farthest that a route may start from its launch place [m].
START_REACH_M = 2.0
#: Share by which the stated length may differ [1].
LENGTH_TOLERANCE = 0.001
#: Length of a route that rounding may put outside the outline, or short of the raft [m].
_ROUNDING_M = 1e-3


def check_route(case: Case) -> Iterator[Finding]:
    """
    Hold each route against launch places, outline, its raft, its length and its order.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Faults, limit 0, for each route; each fault is named. Routes of no raft of the plan fail by
        themselves.
    """
    yield from stray("route", case.written.rafts, [way.raft_id for way in case.written.routes])
    for evidence in case.waters:
        sequences = Counter(route.sequence for route in evidence.routes)
        rafts = Counter(route.raft_id for route in evidence.routes)
        for route in evidence.routes:
            faults = _path_faults(evidence, route)
            if sequences[route.sequence] > 1 or not number(route.sequence) >= 1:
                faults.append(f"its place {route.sequence} in the order is not its own")
            if rafts[route.raft_id] > 1:
                faults.append("the raft has more than one route")
            words = "; ".join(faults) + "; plan the route again" if faults else "can be towed"
            yield Finding(
                "route",
                evidence.body.water_id,
                route.raft_id,
                float(len(faults)),
                0.0,
                "faults",
                not faults,
                words,
            )


def _path_faults(evidence: Evidence, route: WrittenRoute) -> list[str]:
    """Return what is wrong with the path of a route, in words."""
    path = frame_line(route.path, evidence.frame)
    if path is None:
        return ["its path is empty or has no numbers"]
    places = shapely.points(shapely.get_coordinates(path))
    faults = _start_faults(evidence, route, places[0])
    end = _gap_to_raft_m(evidence, route.raft_id, places[-1])
    if not end <= _ROUNDING_M:
        faults.append("it does not end in its raft")
    outside = _outside_m(evidence, path)
    if outside > _ROUNDING_M:
        faults.append(f"{outside:.2f} m of it lie outside the water")
    length = float(evidence.frame.steps_m(path).sum())
    if not abs(number(route.length_m) - length) <= LENGTH_TOLERANCE * length:
        faults.append(f"{route.length_m} m is stated, {length:.2f} m found")
    return faults


def _start_faults(evidence: Evidence, route: WrittenRoute, start: shapely.Point) -> list[str]:
    """Return what is wrong with the start of a route, in words."""
    places = [place for place in evidence.body.launches if place.launch_id == route.launch_id]
    if not places:
        return [f"the site has no launch place {route.launch_id!r}"]
    away = min(shapely.distance(start, evidence.frame.of_site(p.geometry)) for p in places)
    if away > START_REACH_M:
        return [f"it starts {away:.1f} m from launch place {route.launch_id!r}"]
    return []


def _gap_to_raft_m(evidence: Evidence, raft_id: str, end: shapely.Point) -> float:
    """Return how far the end of a route is from its raft; infinite where there is none [m]."""
    outlines = [raft.outline for raft in evidence.rafts if raft.row.raft_id == raft_id]
    outlines += [outline for name, outline in evidence.existing if name == raft_id]
    return min((float(shapely.distance(end, outline)) for outline in outlines), default=math.inf)


def _outside_m(evidence: Evidence, path: shapely.LineString) -> float:
    """Return the length outside the outline beyond the first leg, or the start of a single leg."""
    places = shapely.get_coordinates(path)
    if len(places) > 2:
        afloat: shapely.Geometry = shapely.LineString(places[1:])
    else:
        afloat = shapely.difference(path, shapely.buffer(shapely.Point(places[0]), START_REACH_M))
    return float(shapely.length(shapely.difference(afloat, evidence.outline)))
