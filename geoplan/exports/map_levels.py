"""
What the map needs to restate a plan at any water level, rounded so that it is never kinder.

Cover goes by the area of the water at a level, as the replay of a record counts it.
"""

from typing import Any

import numpy as np

from geoplan.exports.safe_rounding import rounded_down, rounded_up
from geoplan.plan import RecordReplay, WaterPlan
from geoplan.water.record import time_text

#: Columns in which a long record is drawn by its least and greatest level.
_COLUMNS = 150


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
        ``is_counted``, true where the bed gave the areas; ``record``, the record of levels or
        None. ``None`` where no level is known.
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
        "record": _readings(water.record) if water.record is not None else None,
    }


def _readings(record: RecordReplay) -> dict[str, Any]:
    """Return the levels of a record in columns of equal time: column, least, greatest level [m]."""
    first, last = float(record.time_s[0]), float(record.time_s[-1])
    share = (record.time_s - first) / max(last - first, 1.0)
    column = np.minimum((share * _COLUMNS).astype(int), _COLUMNS - 1)
    rows = []
    for number in np.unique(column).tolist():
        level_m = record.level_m[column == number]
        rows.append(
            [number, rounded_down(float(level_m.min()), 2), rounded_up(float(level_m.max()), 2)]
        )
    return {
        "from": time_text(first),
        "to": time_text(last),
        "columns": _COLUMNS,
        "rows": rows,
        "below_low_pct": rounded_up(record.below_low_pct, 1),
    }
