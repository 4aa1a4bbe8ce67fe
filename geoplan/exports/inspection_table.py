"""``inspection.csv``: what to fill in on each visit; ``asbuilt`` reads it back."""

from collections.abc import Iterator
from pathlib import Path

from geoplan.exports.csv_text import Cell, write_table
from geoplan.plan import AuditReport, Plan
from geoplan.site import Site

FILE_NAME = "inspection.csv"

_HEADER = (
    "raft_id", "item", "easting_m", "northing_m", "sigma_m", "level_m", "time", "freeboard_m",
    "condition", "remarks",
)  # fmt: skip
#: Two opposite corners settle place and heading; four also show whether the fixes agree.
_ITEMS = ("corner 1", "corner 2", "corner 3", "corner 4")


def write(
    plan: Plan,
    site: Site,  # noqa: ARG001 - exports are called alike
    folder: Path,
    audit: AuditReport | None,  # noqa: ARG001 - exports are called alike
) -> None:
    """
    Write ``inspection.csv``.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        Not used.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Not used.

    Raises
    ------
    ExportError
        If the file cannot be written.
    """
    write_table(folder / FILE_NAME, _HEADER, _rows(plan))


def _rows(plan: Plan) -> Iterator[tuple[Cell, ...]]:
    """Yield a row to fill in for each corner of each raft."""
    blank: tuple[Cell, ...] = (None,) * (len(_HEADER) - 2)
    for water in plan.waters:
        for raft in water.rafts:
            yield from ((raft.raft_id, item, *blank) for item in _ITEMS)
