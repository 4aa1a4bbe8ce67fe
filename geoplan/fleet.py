"""
Many water bodies, one stock: share out the rafts, plan each water, write and audit the whole.

Water bodies are planned on any ``concurrent.futures`` executor; the result does not depend on
how many workers there are, nor on who finishes first.
"""

import os
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from importlib import import_module
from itertools import repeat
from multiprocessing import get_context
from pathlib import Path

from geoplan.audit import audit_plan
from geoplan.errors import PlanFileError
from geoplan.exports import EXPORTS, gis_files, plan_json
from geoplan.plan import AuditReport, Plan, WaterPlan
from geoplan.planner import plan_water
from geoplan.readers import read_site
from geoplan.settings import Settings
from geoplan.site import Site

Progress = Callable[[str, int, int], None]
Allotments = dict[str, dict[str, int]]


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
    """

    plan: Plan
    audit: AuditReport
    folder: Path


def plan_folder(
    site_path: Path,
    out: Path,
    *,
    workers: int | None = None,
    seed: int = 0,
    progress: Progress | None = None,
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
    progress : callable or None
        Called with what is being done, how many of it are done, and how many there are.

    Returns
    -------
    Outcome
        Plan and audit.

    Raises
    ------
    SiteDataError
        If the site cannot be used; the message lists everything found.
    PlanFileError
        If ``out`` holds something that is not a plan.
    """
    refuse_foreign_folder(out)
    site = read_site(site_path)
    plan = plan_site(site, workers=workers, seed=seed, progress=progress)
    site = replace(site, location=os.path.relpath(site_path, out))
    with whole_or_nothing(out, kept=("surveys",)) as folder:
        report = write_plan(plan, site, folder)
    return Outcome(plan, report, out)


def plan_site(
    site: Site,
    *,
    workers: int | None = None,
    seed: int = 0,
    progress: Progress | None = None,
) -> Plan:
    """
    Plan every water body of a site, sharing stock and budget.

    Parameters
    ----------
    site : Site
        The site.
    workers : int or None
        Processes; ``None``: as many as there are cores, and no more than water bodies.
    seed : int
        Seed of the searches.
    progress : callable or None
        Called with what is being done, how many of it are done, and how many there are.

    Returns
    -------
    Plan
        One plan for each water body, in the order of the site.

    Notes
    -----
    Where there are several, each water body is first planned as if it had the whole stock; the
    rafts that take out most keep their place, and each is planned again with what it is allotted.
    The bound of each is for its own allotment.
    """
    bodies = site.water_bodies
    limit = os.cpu_count() or 1
    count = min(workers or limit, len(bodies))
    with _executor(count) as executor:

        def planned(
            step: str, allotments: Sequence[Mapping[str, int]], *, detail: bool
        ) -> list[WaterPlan]:
            job = partial(plan_water, detail=detail)
            jobs = (bodies, repeat(site.settings), allotments, repeat(seed))
            results = executor.map(job, *jobs) if executor else map(job, *jobs)
            out = []
            for done, plan in enumerate(results, 1):
                out.append(plan)
                if progress:
                    progress(step, done, len(bodies))
            return out

        shares: Sequence[Mapping[str, int]] = [{}] * len(bodies)
        if len(bodies) > 1:
            first = planned("sharing the stock", shares, detail=False)
            allotted = shared_out(first, site.settings)
            shares = [allotted[body.water_id] for body in bodies]
        waters = planned("planning", shares, detail=True)
    return Plan(
        site_name=site.settings.name,
        client_crs=site.client_crs,
        waters=tuple(waters),
        seed=seed,
    )


@contextmanager
def _executor(count: int) -> Iterator[Executor | None]:
    """Yield processes for more than one worker; forking would copy threads that cannot follow."""
    if count <= 1:
        yield None
        return
    with ProcessPoolExecutor(count, mp_context=get_context("spawn")) as executor:
        yield executor


def _counts(plan: WaterPlan) -> dict[str, int]:
    """Return how many rafts of each type a plan places."""
    counts: dict[str, int] = {}
    for raft in plan.rafts:
        if raft.status == "planned":
            counts[raft.raft_type] = counts.get(raft.raft_type, 0) + 1
    return counts


def shared_out(waters: Sequence[WaterPlan], settings: Settings) -> Allotments:
    """
    Return how many rafts of each type each water body keeps under one stock and one budget.

    Parameters
    ----------
    waters : sequence of WaterPlan
        Each planned as if it had everything.
    settings : Settings
        Stock of each type, cost and budget.

    Returns
    -------
    dict of str to dict of str to int
        For each water body, rafts by type; types without any are left out.

    Notes
    -----
    The rafts that take out most, for their cost where there is a budget, keep their place; those
    of waters whose loads are not known come last, ranked by worth and inflow.
    """
    kinds = {kind.name: kind for kind in settings.raft}
    left = {kind.name: kind.stock for kind in settings.raft}
    budget = settings.budget.limit
    ranked = []
    for plan in waters:
        for raft in plan.rafts:
            if raft.status == "planned":
                worth = raft.removal_g_d or 1e-9 * raft.worth * plan.inflow_l_s
                cost = kinds[raft.raft_type].cost
                rate = worth / cost if budget is not None and cost > 0 else worth
                ranked.append((-rate, plan.water_id, raft.raft_id, raft.raft_type, cost))
    kept: Allotments = {plan.water_id: {} for plan in waters}
    for _, water_id, _, kind_name, cost in sorted(ranked):
        stock = left[kind_name]
        if (stock is not None and stock <= 0) or (budget is not None and cost > budget + 1e-9):
            continue
        if stock is not None:
            left[kind_name] = stock - 1
        if budget is not None:
            budget -= cost
        kept[water_id][kind_name] = kept[water_id].get(kind_name, 0) + 1
    everything = {kind.name: 0 for kind in settings.raft}
    return {
        plan.water_id: share
        if (share := kept[plan.water_id]) == _counts(plan)
        else everything | share
        for plan in waters
    }


def write_plan(plan: Plan, site: Site, folder: Path) -> AuditReport:
    """
    Write every output of a plan into a folder, and audit what was written.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site it was made from.
    folder : Path
        Empty folder.

    Returns
    -------
    AuditReport
        The verdict on the written GeoPackage; it is part of the outputs.
    """
    gis_files.write(plan, site, folder, None)
    report = audit_plan(gis_files.read_plan(folder / gis_files.FILE_NAME), site)
    for _, module in EXPORTS:
        import_module(module).write(plan, site, folder, report)
    return report


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
    return audit_plan(gis_files.read_plan(folder / gis_files.FILE_NAME), site)


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
    where = site_path or (folder / str(record.get("site_location", "")))
    if not where.exists():
        raise PlanFileError(
            f"{folder}: the site it was made from is not at {where}; name it with --site"
        )
    site = read_site(where)
    changed = _changed_inputs(record, site)
    if changed:
        raise PlanFileError(
            f"{folder}: these files of the site have changed since the plan was made:"
            f" {', '.join(changed)}. Plan again, or bring back the files it was made from."
        )
    return site


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


def refuse_foreign_folder(out: Path) -> None:
    """
    Refuse to write where something lies that is not a plan.

    Parameters
    ----------
    out : Path
        Where a plan folder is to be written.

    Raises
    ------
    PlanFileError
        If it is a file, or a folder with files but no ``plan.json``.
    """
    if out.is_file():
        raise PlanFileError(f"{out} is a file; name a folder to write the plan to")
    if out.is_dir() and any(out.iterdir()) and not (out / "plan.json").is_file():
        raise PlanFileError(
            f"{out} holds files but no plan; nothing was written. Name an empty or new folder."
        )


@contextmanager
def whole_or_nothing(out: Path, kept: tuple[str, ...] = ()) -> Iterator[Path]:
    """
    Yield a temporary folder that takes the place of another only when all went well.

    Parameters
    ----------
    out : Path
        Folder to be replaced.
    kept : tuple of str
        Folders inside it that outlive it, such as surveys of what was built.

    Yields
    ------
    Path
        Empty folder beside it.
    """
    out.parent.mkdir(parents=True, exist_ok=True)
    part = out.parent / f".{out.name}.part"
    earlier = out.parent / f".{out.name}.earlier"
    if earlier.exists() and not out.exists():
        earlier.rename(out)  # a run was killed between the two renames below
    for left_over in (part, earlier):
        shutil.rmtree(left_over, ignore_errors=True)
    part.mkdir()
    try:
        yield part
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    for name in kept:
        if (out / name).is_dir():
            shutil.copytree(out / name, part / name)
    if out.exists():
        out.rename(earlier)
    part.rename(out)
    shutil.rmtree(earlier, ignore_errors=True)
