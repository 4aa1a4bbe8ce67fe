"""
What the map needs to restate a plan at any water level, rounded so that it is never kinder.

Cover goes by the area of the water at a level, as the replay of a record counts it.
"""

from typing import Any

from geoplan.exports.safe_rounding import rounded_down, rounded_up
from geoplan.plan import WaterPlan


def levels_record(water: WaterPlan) -> dict[str, Any] | None:
    """
    Return levels, and the area of the water between them.

    Parameters
    ----------
    water : WaterPlan
        Plan of a water body.

    Returns
    -------
    dict of str to Any or None
        ``named`` levels [m above the datum]; ``raft_area_m2``, the most at any of them, rounded
        up; ``stage``, pairs of level (rounded up to a millimetre) and area (rounded down), rising;
        ``is_counted``, true where the bed gave the areas. ``None`` where no level is known.
    """
    if not water.edges:
        return None
    if water.stage is not None:
        pairs = list(zip(water.stage.level_m.tolist(), water.stage.area_m2.tolist(), strict=True))
    else:
        pairs = [(edge.level_m, edge.area_m2) for edge in water.edges]
    return {
        "named": {edge.level_name: round(edge.level_m, 4) for edge in water.edges},
        "raft_area_m2": rounded_up(max((c.raft_area_m2 for c in water.cover), default=0.0), 2),
        "stage": [[rounded_up(level, 3), rounded_down(area, 1)] for level, area in pairs],
        "is_counted": water.stage is not None,
    }
