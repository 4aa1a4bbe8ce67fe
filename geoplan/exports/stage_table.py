"""``stage_area_volume.csv``: area and volume of each water body by level."""

from pathlib import Path

from geoplan.exports.csv_text import Fixed, write_table
from geoplan.plan import AuditReport, Plan
from geoplan.site import Site

FILE_NAME = "stage_area_volume.csv"

_HEADER = ("water_id", "level_m", "area_m2", "volume_m3")


def write(
    plan: Plan,
    site: Site,  # noqa: ARG001 - exports are called alike
    folder: Path,
    audit: AuditReport | None,  # noqa: ARG001
) -> None:
    """
    Write ``stage_area_volume.csv``.

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
    rows = (
        (water.water_id, Fixed(level_m, 3), Fixed(area_m2, 1), Fixed(volume_m3, 1))
        for water in plan.waters
        if (curve := water.stage) is not None
        for level_m, area_m2, volume_m3 in zip(
            curve.level_m.tolist(), curve.area_m2.tolist(), curve.volume_m3.tolist(), strict=True
        )
    )
    write_table(folder / FILE_NAME, _HEADER, rows)
