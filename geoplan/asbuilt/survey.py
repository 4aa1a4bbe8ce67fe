"""
The verb ``asbuilt``: from a plan folder and a file of fixes to what was built.

Each survey is kept in a folder of its own below ``surveys`` in the plan folder, so that the next
one can be compared with it.
"""

import json
import math
from collections.abc import Sequence
from pathlib import Path

from shapely.geometry import Point

from geoplan.asbuilt import files
from geoplan.asbuilt.judge import cap_finding, cover_as_built, judged
from geoplan.asbuilt.lay import LaidWater, by_water, lay_rafts
from geoplan.asbuilt.record import AsBuilt, SinceEarlier, SurveyedRaft
from geoplan.crs import WGS84, transformed, working_crs
from geoplan.errors import Fault, PlanFileError, SiteDataError
from geoplan.readers.fixes import Fix, Survey, read_fixes
from geoplan.site import Site
from geoplan.written import WrittenPlan

FOLDER = "surveys"


def survey(
    written: WrittenPlan,
    site: Site,
    read: Survey,
    file: str = "fixes",
    earlier: dict[str, object] | None = None,
) -> AsBuilt:
    """
    Compare rafts as they lie with a plan.

    Parameters
    ----------
    written : WrittenPlan
        The plan as it stands in its file.
    site : Site
        The raw site.
    read : Survey
        What the file of fixes holds.
    file : str
        Its name, for faults.
    earlier : dict or None
        Record of the survey before, as ``asbuilt.json`` holds it.

    Returns
    -------
    AsBuilt
        Rafts, departures, cover and findings.

    Raises
    ------
    SiteDataError
        If a fix lies far from every water body of the plan, or two rafts of one name stand in one
        water body with more corners than a raft has.
    """
    fixes = read.fixes
    by_id, faults = by_water(fixes, written, file)
    if faults:
        raise SiteDataError(faults)
    laid = {name: _laid(name, some, written, site, file) for name, some in by_id.items()}
    rafts = tuple(raft for one in laid.values() for raft in one.rafts)
    covers = tuple((name, cover_as_built(name, rafts, written, site)) for name in laid)
    findings = judged(rafts, written, site)
    findings += tuple(cap_finding(name, cover, site) for name, cover in covers)
    levels = [fix.level_m for fix in fixes if fix.level_m is not None]
    level = math.fsum(levels) / len(levels) if levels else None
    return AsBuilt(
        site_name=site.settings.name,
        crs=written.crs,
        surveyed_on=max((fix.time[:10] for fix in fixes), default=""),
        level_m=level,
        rafts=rafts,
        missing=tuple(name for one in laid.values() for name in one.missing),
        covers=covers,
        findings=findings,
        since=_since(rafts, written.crs, earlier),
        level_change_m=_change(level, earlier),
        seen=read.seen,
        notes=read.notes + tuple(note for one in laid.values() for note in one.notes),
    )


def _laid(
    name: str, fixes: Sequence[Fix], written: WrittenPlan, site: Site, file: str
) -> LaidWater:
    """Return the rafts of one water body; too many corners of one name are a fault of the file."""
    try:
        return lay_rafts(name, fixes, written, site.settings.raft, file)
    except ValueError as error:
        raise SiteDataError(
            (
                Fault(
                    "error", file, str(error), "at most four corners of each raft",
                    "Give each raft its own raft_id, and each corner once.", "fixes",
                ),
            )
        ) from error  # fmt: skip


def _since(
    rafts: Sequence[SurveyedRaft], crs: str, earlier: dict[str, object] | None
) -> tuple[SinceEarlier, ...]:
    """Return what changed since an earlier survey, raft by raft."""
    rows = earlier.get("rafts") if earlier else None
    before = {str(row["raft_id"]): row for row in rows} if isinstance(rows, list) else {}
    if not before:
        return ()
    now = {raft.raft_id: raft for raft in rafts}
    out = []
    for name, row in before.items():
        doubt = float(row["half_axis_major_m"])
        raft = now.get(name)
        if raft is None:
            out.append(SinceEarlier(name, None, doubt, "lost"))
            continue
        doubt = math.hypot(doubt, raft.half_axis_major_m)
        drift = _apart_m(raft, row, crs)
        words = "drifted" if drift > doubt else "no drift that the surveys can tell"
        out.append(SinceEarlier(name, drift, doubt, words))
    new = [
        SinceEarlier(name, None, raft.half_axis_major_m, "new")
        for name, raft in now.items()
        if name not in before
    ]
    return (*out, *new)


def _apart_m(raft: SurveyedRaft, row: dict[str, float], crs: str) -> float:
    """Return the distance on the ground between a raft and where it lay."""
    at = transformed(Point(raft.easting_m, raft.northing_m), crs, WGS84)
    ground = working_crs(at.x, at.y)
    here = transformed(at, WGS84, ground)
    there = transformed(Point(row["longitude_deg"], row["latitude_deg"]), WGS84, ground)
    return float(here.distance(there))


def _change(level: float | None, earlier: dict[str, object] | None) -> float | None:
    """Return the change of the level since an earlier survey [m]."""
    before = earlier.get("level_m") if earlier else None
    return level - before if level is not None and isinstance(before, float | int) else None


def last_survey(out: Path) -> tuple[int, dict[str, object] | None]:
    """
    Find the last survey that a plan folder keeps.

    Parameters
    ----------
    out : Path
        Plan folder.

    Returns
    -------
    int
        Its number; 0 where there is none.
    dict or None
        Its record.

    Raises
    ------
    PlanFileError
        If its record cannot be read.
    """
    numbers = [int(one.name) for one in (out / FOLDER).glob("[0-9]*") if one.name.isdecimal()]
    if not numbers:
        return 0, None
    path = out / FOLDER / f"{max(numbers):03d}" / files.RECORD
    try:
        record = json.loads(path.read_bytes())
    except (OSError, ValueError) as error:
        raise PlanFileError(f"{path} cannot be read: {error}; move that survey away") from error
    if not isinstance(record, dict) or record.get("geoplan_asbuilt") != files.FORMAT:
        raise PlanFileError(f"{path} is of another version; move that survey away")
    return max(numbers), record


def asbuilt_folder(
    out: Path, fixes_path: Path, *, sigma_m: float | None = None, site_path: Path | None = None
) -> tuple[AsBuilt, Path]:
    """
    Take surveyed positions: departures, as-built cover and findings, kept below the plan folder.

    Parameters
    ----------
    out : Path
        Plan folder.
    fixes_path : Path
        CSV, GPX, GeoJSON or GeoPackage of fixes.
    sigma_m : float or None
        Standard deviation of fixes that state none [m].
    site_path : Path or None
        The site, where it has moved since the plan.

    Returns
    -------
    AsBuilt
        What was found.
    Path
        Folder that was written.

    Raises
    ------
    PlanFileError
        If the folder is not a whole plan, or the site has changed since.
    SiteDataError
        If the site or the fixes cannot be used.
    """
    from geoplan.exports import gis_files
    from geoplan.exports.cover_sheet import limits_pct
    from geoplan.fleet import site_of_plan, whole_or_nothing

    site = site_of_plan(out, site_path)
    written = gis_files.read_plan(out / gis_files.FILE_NAME)
    number, earlier = last_survey(out)
    read = read_fixes(fixes_path, site.client_crs, sigma_m)
    found = survey(written, site, read, fixes_path.name, earlier)
    folder = out / FOLDER / f"{number + 1:03d}"
    with whole_or_nothing(folder) as part:
        files.write(found, written, part, fixes_path, out, limits_pct(site))
    return found, folder
