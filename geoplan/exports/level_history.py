"""
``level_history.csv``: the plan at every level of the record.

What each raft would have met, as shares of time, is in ``plan.json``; here is when.
"""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from geoplan.exports.cover_sheet import rounded_up_pct
from geoplan.exports.csv_text import Cell, Fixed, write_table
from geoplan.plan import AuditReport, Plan, RecordReplay, WaterPlan
from geoplan.site import Site
from geoplan.water.record import time_text

FILE_NAME = "level_history.csv"

_HEADER = (
    "water_id",
    "time",
    "level_m",
    "water_area_m2",
    "cover_pct",
    "rafts_within_clearance",
    "rafts_on_bed",
)


def write(
    plan: Plan,
    site: Site,
    folder: Path,
    audit: AuditReport | None,  # noqa: ARG001 - exports are called alike
) -> None:
    """
    Write ``level_history.csv``.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site, for low levels and the clearance of roots.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Not used.

    Raises
    ------
    ExportError
        If the file cannot be written.

    Notes
    -----
    A row for each reading and water body with a record; the header alone where there is none.
    """
    known = site.by_id
    rows = (
        row
        for water in plan.waters
        if water.record is not None
        for row in _rows(
            water,
            water.record,
            known[water.water_id].levels.low_m,
            site.settings.clearances.root_m,
        )
    )
    write_table(folder / FILE_NAME, _HEADER, rows)


def _rows(
    water: WaterPlan, record: RecordReplay, low_m: float, root_m: float
) -> Iterator[tuple[Cell, ...]]:
    """Yield a row for each reading."""
    # Levels at which each raft's roots meet the bed; how many lie at or above the reading.
    touching = np.sort(
        [low_m - raft.root_clearance_m for raft in water.rafts if raft.status == "planned"]
    )
    on_bed = len(touching) - np.searchsorted(touching, record.level_m, side="left")
    near = len(touching) - np.searchsorted(touching + root_m - 1e-9, record.level_m, side="right")
    for time_s, level_m, area_m2, cover_pct, close, grounded in zip(
        record.time_s.tolist(),
        record.level_m.tolist(),
        record.water_area_m2.tolist(),
        record.cover_pct.tolist(),
        near.tolist(),
        on_bed.tolist(),
        strict=True,
    ):
        yield (
            water.water_id,
            time_text(time_s),
            Fixed(level_m, 3),
            Fixed(area_m2, 1),
            Fixed(rounded_up_pct(cover_pct), 1),
            close,
            grounded,
        )
