"""From a site to a plan folder that is audited, and back to the audit of a folder."""

import errno
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

from threadpoolctl import threadpool_limits

from geoplan.crs import forget_ways
from geoplan.errors import ExportError, PlanFileError
from geoplan.exports import gis_files, plan_json
from geoplan.fleet.crew import Crew
from geoplan.fleet.kept import laid_down
from geoplan.fleet.lock import alone
from geoplan.fleet.memory import give_back
from geoplan.fleet.planning import Asked, planned
from geoplan.fleet.running import Progress
from geoplan.fleet.store import PartStore
from geoplan.fleet.whole import refuse_foreign_folder, whole_or_nothing
from geoplan.fleet.writing import Hands, early_files, judged, write_plan
from geoplan.plan import AuditReport, Plan
from geoplan.readers import read_site
from geoplan.readers.held_rafts import read_held
from geoplan.reasons import HeldRaft
from geoplan.site import Site


@dataclass(frozen=True, eq=False)
class Outcome:
    """
    What a run made.

    Attributes
    ----------
    plan : Plan
        The plan as written.
    audit : AuditReport
        The verdict on what was written.
    folder : Path
        Where it was written.
    min_cover_pct : float
        Least cover that the site asks for [%].
    """

    plan: Plan
    audit: AuditReport
    folder: Path
    min_cover_pct: float = 0.0


def plan_folder(
    site_path: Path,
    out: Path,
    *,
    workers: int | None = None,
    seed: int = 0,
    keep: Path | None = None,
    time_limit_s: float | None = None,
    progress: Progress | None = None,
    crew: Crew | None = None,
) -> Outcome:
    """
    Plan a site and write the plan folder, whole or not at all.

    Parameters
    ----------
    site_path : Path
        Site folder, GeoPackage or GeoJSON.
    out : Path
        Plan folder to write; an earlier plan there is replaced only by a whole new one.
    workers : int or None
        Processes; ``None``: as many as there are cores, and no more than water bodies.
    seed : int
        Seed of the searches.
    keep : Path or None
        GeoJSON or GeoPackage of rafts whose places a person has fixed.
    time_limit_s : float or None
        Time that the searches may take together; ``None``: until they are done [s].
    progress : callable or None
        Called with what is being done, how many of it are done, how many there are, and the
        share of the work that is done.
    crew : Crew or None
        Who does the work, where it is not ``workers`` processes here.

    Returns
    -------
    Outcome
        Plan and audit.

    Raises
    ------
    SiteDataError
        If the site or the held rafts cannot be used; the message lists everything found.
    PlanFileError
        If ``out`` holds something that is not a plan, or another run is writing it.
    ExportError
        If the disk is full; what is finished is kept.

    Notes
    -----
    Finished water bodies are kept in a folder ``.OUT.parts`` beside ``out``. The same command run
    again, after whatever ended the first, does only what is not there. The folder may be removed.
    """
    refuse_foreign_folder(out)
    store = parts_of(out)
    is_begun = not store.is_empty
    site = read_site(site_path, laid_down(store))
    forget_ways()
    give_back()  # what reading took would be kept while all is planned
    held, kept_from = read_held(keep, site) if keep else ((), None)
    site = _seen_from(out, site, site_path)
    with alone(store, str(out)), (crew or Crew(workers)).staying() as staying:
        if staying.standing and not is_begun:
            staying.standing.begin(len(site.water_bodies))
        with _appearing(out) as folder, early_files(site, folder, staying) as early:
            asked = Asked(seed, held, time_limit_s=time_limit_s)
            plan = planned(site, store, staying, asked, progress, early)
            plan = replace(plan, kept_from=kept_from)
            report = write_plan(plan, site, folder, Hands(store, staying, progress), early)
    return Outcome(plan, report, out, site.settings.cover.min_pct)


def written_folder(plan: Plan, site: Site, site_path: Path, out: Path) -> Outcome:
    """
    Write a plan as a whole folder, or nothing at all.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site that it was made from.
    site_path : Path
        Where that lies.
    out : Path
        Plan folder to write; an earlier plan there is replaced only by a whole new one.

    Returns
    -------
    Outcome
        Plan and audit.

    Raises
    ------
    ExportError
        If the disk is full.
    """
    with _appearing(out) as folder:
        report = write_plan(plan, _seen_from(out, site, site_path), folder)
    return Outcome(plan, report, out, site.settings.cover.min_pct)


def _seen_from(out: Path, site: Site, site_path: Path) -> Site:
    """Return a site that says where it lies, as seen from its plan."""
    return replace(site, location=os.path.relpath(site_path, out))


@contextmanager
def _appearing(out: Path) -> Iterator[Path]:
    """Yield the folder that becomes the plan folder when all went well; tell of a full disk."""
    try:
        with whole_or_nothing(out, kept=("surveys",)) as folder:
            yield folder
    except OSError as error:
        is_full = error.errno in {errno.ENOSPC, errno.EDQUOT}
        raise ExportError(
            f"{out} could not be made: {error}. Every finished water body is kept in"
            f" {parts_of(out).folder}, and an earlier plan is untouched:"
            f" {'make room' if is_full else 'put that right'} and run the same command again"
        ) from error


def parts_of(out: Path) -> PartStore:
    """
    Return the store of a plan folder's finished water bodies.

    Parameters
    ----------
    out : Path
        Plan folder.

    Returns
    -------
    PartStore
        In a hidden folder beside it.
    """
    return PartStore(out.absolute().parent / f".{out.name}.parts")


def plan_site(
    site: Site,
    *,
    workers: int | None = None,
    seed: int = 0,
    held: tuple[HeldRaft, ...] = (),
    time_limit_s: float | None = None,
    progress: Progress | None = None,
    crew: Crew | None = None,
) -> Plan:
    """
    Plan every water body of a site, sharing stock and budget, and write nothing.

    Parameters
    ----------
    site : Site
        The site.
    workers : int or None
        Processes; ``None``: as many as there are cores, and no more than water bodies.
    seed : int
        Seed of the searches.
    held : tuple of HeldRaft
        Rafts whose places a person has fixed.
    time_limit_s : float or None
        Time that the searches may take together; ``None``: until they are done [s].
    progress : callable or None
        As in ``plan_folder``.
    crew : Crew or None
        Who does the work, where it is not ``workers`` processes here.

    Returns
    -------
    Plan
        One plan for each water body, in the order of the site, all in memory.
    """
    with TemporaryDirectory() as folder:
        store = PartStore(Path(folder) / "parts")
        asked = Asked(seed, held, time_limit_s=time_limit_s)
        plan = planned(site, store, crew or Crew(workers), asked, progress)
        return replace(plan, waters=tuple(plan.waters))


def audit_folder(folder: Path, site_path: Path | None = None) -> AuditReport:
    """
    Judge a plan folder from scratch, against the site's own files.

    Parameters
    ----------
    folder : Path
        Plan folder.
    site_path : Path or None
        The site; ``None``: where the plan says it was.

    Returns
    -------
    AuditReport
        The verdict.

    Raises
    ------
    PlanFileError
        If the folder is not a whole plan, or the site has moved or changed since.
    SiteDataError
        If the site cannot be used.
    """
    site = site_of_plan(folder, site_path)
    with threadpool_limits(1):
        return judged(folder / gis_files.FILE_NAME, site)


def site_of_plan(folder: Path, site_path: Path | None = None) -> Site:
    """
    Read the site from which a plan was made, and make sure that it is still the same.

    Parameters
    ----------
    folder : Path
        Plan folder.
    site_path : Path or None
        The site; ``None``: where the plan says it was.

    Returns
    -------
    Site
        The site.

    Raises
    ------
    PlanFileError
        If the folder is not a whole plan, or the site has moved or changed since.
    SiteDataError
        If the site cannot be used.
    """
    record = plan_json.load(folder)
    site = read_site(site_location(folder, site_path))
    changed = _changed_inputs(record, site)
    if changed:
        raise PlanFileError(
            f"{folder}: these files of the site have changed since the plan was made:"
            f" {', '.join(changed)}. Plan again, or bring back the files it was made from."
        )
    return site


def site_location(folder: Path, site_path: Path | None = None) -> Path:
    """
    Return where the site of a plan lies.

    Parameters
    ----------
    folder : Path
        Plan folder.
    site_path : Path or None
        The site; ``None``: where the plan says it was.

    Returns
    -------
    Path
        The site, which is there.

    Raises
    ------
    PlanFileError
        If the folder is not a whole plan, or the site is not there.
    """
    where = site_path or folder / str(plan_json.load(folder).get("site_location", ""))
    if not where.exists():
        raise PlanFileError(
            f"{folder}: the site it was made from is not at {where}; name it with --site"
        )
    return where


def _changed_inputs(record: Mapping[str, object], site: Site) -> list[str]:
    """Return the input files whose bytes are not those that the plan was made from."""
    now = {source.path: source.sha256 for source in site.sources}
    inputs = record.get("inputs")
    then = {
        str(row["path"]): str(row["sha256"])
        for row in (inputs if isinstance(inputs, list) else [])
        if isinstance(row, dict)
    }
    return sorted(path for path in now.keys() | then.keys() if now.get(path) != then.get(path))
