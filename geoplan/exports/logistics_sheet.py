"""``logistics.csv``: the order in which a crew brings rafts to the water bodies."""

from pathlib import Path

from geoplan.exports.allocation_sheet import rafts_text
from geoplan.exports.csv_text import Fixed, write_table
from geoplan.launch.days import clock
from geoplan.plan import AuditReport, Plan
from geoplan.site import Site

FILE_NAME = "logistics.csv"

_HEADER = (
    "sequence",
    "day",
    "trip",
    "begins",
    "water_id",
    "rafts",
    "raft_count",
    "drive_m",
    "drive_h",
    "work_h",
)


def write(
    plan: Plan,
    site: Site,  # noqa: ARG001 - exports are called alike
    folder: Path,
    audit: AuditReport | None,  # noqa: ARG001 - exports are called alike
) -> None:
    """
    Write ``logistics.csv``; the header alone where the site names no yard.

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
    visits = plan.logistics.visits if plan.logistics else ()
    write_table(
        folder / FILE_NAME,
        _HEADER,
        (
            (
                visit.sequence,
                visit.day,
                visit.trip,
                clock(60.0 * visit.begins_h),
                visit.water_id,
                rafts_text(visit.counts),
                sum(count for _, count in visit.counts),
                Fixed(visit.drive_m, 0),
                Fixed(visit.drive_h, 2),
                Fixed(visit.work_h, 2),
            )
            for visit in visits
        ),
    )
