"""What the map shows of why no raft lies somewhere, and of a plan that was not chosen."""

from typing import Any

import shapely

from geoplan.exports.map_coordinates import Millimetres
from geoplan.exports.reason_rows import alternative_outlines
from geoplan.exports.safe_rounding import rounded_down, rounded_up
from geoplan.plan import WaterPlan
from geoplan.reasons import WhyNot

#: One word or two for each answer, as a label on the map.
_LABELS = {
    "water": "falls dry",
    "bank": "bank",
    "survey": "not surveyed",
    "depth": "too shallow",
    "keep_clear": "keep clear",
    "outlet": "outlet",
    "inflow": "inflow jet",
    "sun": "shade",
    "narrow": "too narrow",
    "heading": "no room that way",
    "gap": "gap",
    "stock": "no raft left",
    "budget": "no money left",
    "cover": "cover reached",
    "free": "free",
}
#: Lines finer than this are not seen on a page [m].
_FINEST_M = 0.25


def reasons_record(water: WaterPlan, mm: Millimetres) -> dict[str, Any]:
    """
    Return what the map shows of why a plan is as it is.

    Parameters
    ----------
    water : WaterPlan
        Plan of a water body.
    mm : Millimetres
        Centre from which places are counted.

    Returns
    -------
    dict of str to list
        ``why_not`` and ``alternatives``.
    """
    return {
        "why_not": [_answer(part, mm) for part in water.reasons.why_not if part.rule != "raft"],
        "alternatives": [
            {
                "name": other.name,
                "raft_count": len(other.rafts),
                "cost_pct": rounded_up(max(other.cost_pct, 0.0), 1),
                "shape": mm.shape(shapely.multipolygons(alternative_outlines(other))),
            }
            for other in water.reasons.alternatives
        ],
    }


def _answer(part: WhyNot, mm: Millimetres) -> dict[str, Any]:
    """Return an answer with its area, and a place inside for its label."""
    drawn = shapely.simplify(part.area, _FINEST_M)
    largest = max(shapely.get_parts(drawn), key=lambda polygon: polygon.area)
    inside = shapely.maximum_inscribed_circle(largest, 0.2)
    return {
        "rule": part.rule,
        "label": _LABELS.get(part.rule, part.rule),
        "words": part.words,
        "area_m2": rounded_down(part.area_m2, 0),
        "only_m2": rounded_down(part.only_m2, 0),
        "is_room": part.is_room,
        "width_mm": round(2000.0 * float(shapely.length(inside))),
        "place": mm.shape(shapely.Point(shapely.get_coordinates(inside)[0])),
        "shape": mm.shape(drawn, 50),
    }
