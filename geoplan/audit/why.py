"""
Check of the answers to the question why no raft lies somewhere.

The parts must be the water at normal level, each place once, and what is said to be near to
something must be near to it.
"""

from collections.abc import Iterator

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from geoplan.audit.edges import SAME_LEVEL_M
from geoplan.audit.evidence import Case, Evidence, number
from geoplan.plan import Finding
from geoplan.written import WrittenWhyNot

#: Share of the water by which parts may miss or overlap, by rounding [1].
_SAME_SHARE = 2e-4
#: The same where the normal level is not the outline's, and two honest edges differ [1].
_CUT_SHARE = 0.01
#: Area that rounding of coordinates may add or take [m²].
_ROUNDING_M2 = 0.05
#: The planner draws arcs from outside: up to this much farther, and a little for rounding [1, m].
_ARC_SHARE, _ROUNDING_M = 0.015, 0.02


def check_why_not(case: Case) -> Iterator[Finding]:
    """
    Hold the parts of the layer ``why_not`` against the water and what they name.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        For each water body with such parts the water that they miss, have twice or state wrongly
        [m²]; and for each part that is kept clear or near an outlet by how much it reaches
        farther [m].
    """
    for evidence in case.waters:
        rows = [row for row in case.written.why_not if row.water_id == evidence.body.water_id]
        if not rows:
            continue
        drawn = [isinstance(row.area, Polygon | MultiPolygon) for row in rows]
        shapes = [evidence.frame.of_file(row.area) for row in rows] if all(drawn) else []
        if not shapes or not all(_is_sound(shape) for shape in shapes):
            words = "why_not: a part crosses itself or is empty; write the plan again"
            yield _finding(evidence, float("nan"), 0.0, "m2", words)
            continue
        yield _partition(evidence, rows, shapes)
        for row, shape in zip(rows, shapes, strict=True):
            yield from _reach(evidence, row, shape)


def _is_sound(shape: BaseGeometry) -> bool:
    """Tell whether a part has an area that can be measured."""
    places = shapely.get_coordinates(shape)
    return len(places) > 0 and bool(np.isfinite(places).all()) and bool(shape.is_valid)


def _finding(
    evidence: Evidence, measured: float, limit: float, unit: str, words: str, passed: bool = False
) -> Finding:
    """Return a finding on the answers for a water body."""
    water_id = evidence.body.water_id
    return Finding("why_not", water_id, "", measured, limit, unit, passed, words)


def _partition(
    evidence: Evidence, rows: list[WrittenWhyNot], shapes: list[BaseGeometry]
) -> Finding:
    """Return the finding on whether the parts are the water, each place once."""
    water = evidence.edges["normal"]
    whole = evidence.frame.area_m2(water)
    is_same = abs(evidence.body.levels.normal_m - evidence.body.outline_level_m) <= SAME_LEVEL_M
    limit = whole * (_SAME_SHARE if is_same else _CUT_SHARE) + _ROUNDING_M2
    union = shapely.union_all(shapes)
    drawn = [evidence.frame.area_m2(shape) for shape in shapes]
    faults = {
        "is left out or lies outside": float(shapely.symmetric_difference(union, water).area),
        "is counted twice": sum(drawn) - evidence.frame.area_m2(union),
        "is stated wrongly": max(
            abs(number(row.area_m2) - area) for row, area in zip(rows, drawn, strict=True)
        ),
    }
    worst = max(faults, key=lambda name: _badness(faults[name]))
    measured = faults[worst]
    passed = bool(measured <= limit)
    words = (
        "why_not: the parts are the water at normal level, each place once"
        if passed
        else f"why_not: {measured:.2f} m² of the water {worst}; write the plan again"
    )
    return _finding(evidence, measured, limit, "m2", words, passed)


def _badness(value: float) -> float:
    """Return a departure by which the worst is chosen; not a number is worst of all."""
    return value if np.isfinite(value) else np.inf


def _reach(evidence: Evidence, row: WrittenWhyNot, shape: BaseGeometry) -> Iterator[Finding]:
    """Yield the finding on a part that is said to be near to something of the site."""
    body, frame = evidence.body, evidence.frame
    if row.rule == "outlet":
        least = evidence.settings.clearances.outlet_m
        near = [
            (frame.of_site(out.geometry), max(least, 3.0 * (out.width_m or 0.0)))
            for out in body.outlets
        ]
    elif row.rule == "keep_clear":
        near = [(frame.of_site(part.geometry), part.buffer_m) for part in body.keep_clear]
    else:
        return
    places = shapely.points(shapely.get_coordinates(shape))
    beyond = [
        shapely.distance(geometry, places) - reach * (1 + _ARC_SHARE) for geometry, reach in near
    ]
    measured = float(np.min(beyond, axis=0).max()) if beyond else float("inf")
    passed = measured <= _ROUNDING_M
    words = (
        f"why_not: water under the rule '{row.rule}' is as near as it says"
        if passed
        else f"why_not: the rule '{row.rule}' does not reach so far; write the plan again"
    )
    yield _finding(evidence, measured, _ROUNDING_M, "m", words, passed)
