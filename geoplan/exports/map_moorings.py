"""What the map says of what holds a raft: posts, anchors, lines, and the water swept on them."""

from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry

from geoplan.exports.map_coordinates import Millimetres
from geoplan.exports.safe_rounding import rounded_up
from geoplan.plan import Mooring, WaterPlan

#: How much larger than it is a swept area is drawn, so that it needs few vertices [m].
_ROUND_M = 0.1


def moorings_record(water: WaterPlan, mm: Millimetres) -> dict[str, Any]:
    """
    Return what holds the rafts of a water body.

    Parameters
    ----------
    water : WaterPlan
        Plan of a water body.
    mm : Millimetres
        Centre from which places are counted.

    Returns
    -------
    dict of str to list
        ``posts``, posts and anchors with their lines; ``swept``, the water that rafts on lines may
        sweep at low level, where it is widest.
    """
    return {
        "posts": [_post(mooring, mm) for mooring in water.moorings],
        "swept": [
            {"raft_id": part.raft_id, "shape": mm.shape(_not_less(part.outline), 10)}
            for part in water.swept
            if part.level_name == "low"
        ],
    }


def _not_less(outline: BaseGeometry) -> BaseGeometry:
    """Return an outline of few vertices round another."""
    return outline.buffer(_ROUND_M).simplify(0.9 * _ROUND_M)


def _post(mooring: Mooring, mm: Millimetres) -> dict[str, Any]:
    """Return what the map says of a post or an anchor; a line is drawn from the raft to it."""
    foot = shapely.Point(mooring.easting_m, mooring.northing_m)
    record = {
        "mooring_id": mooring.mooring_id,
        "raft_id": mooring.raft_id,
        "kind": mooring.kind,
        "depth_high_m": rounded_up(mooring.depth_high_m, 2),
        "length_m": rounded_up(mooring.length_m, 2),
        "embedment_m": rounded_up(mooring.embedment_m, 2),
        "shape": mm.shape(foot),
    }
    if mooring.fairlead_easting_m is None or mooring.fairlead_northing_m is None:
        return record
    lead = shapely.Point(mooring.fairlead_easting_m, mooring.fairlead_northing_m)
    return record | {
        "watch_radius_low_m": rounded_up(mooring.watch_radius_low_m, 2),
        "line": mm.shape(shapely.LineString([lead, foot])),
    }
