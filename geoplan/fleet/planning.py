"""The plan of a whole site: what each water body may have, then each by itself."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from geoplan.errors import GeoplanError, SiteDataError
from geoplan.fleet.fingerprint import fingerprint, program
from geoplan.fleet.kept import held_or_kept
from geoplan.fleet.running import Crew, Progress, Task, run_all
from geoplan.fleet.sharing import shared_out
from geoplan.fleet.store import PartStore
from geoplan.placement.held import sum_faults
from geoplan.plan import Plan, WaterFailure
from geoplan.planner import held_problems, plan_water
from geoplan.reasons import HeldRaft
from geoplan.settings import Settings
from geoplan.site import Site, WaterBody

#: Side of a cell at least, and what a water body costs beyond its cells, for the order of work.
_LEAST_CELL_M = 0.5
_OVERHEAD_CELLS = 2000.0
_MOST_CELLS = 300_000.0


def planned(
    site: Site,
    store: PartStore,
    crew: Crew,
    seed: int = 0,
    progress: Progress | None = None,
    *,
    held: tuple[HeldRaft, ...] = (),
    time_limit_s: float | None = None,
) -> Plan:
    """
    Plan every water body of a site, sharing stock and budget.

    Parameters
    ----------
    site : Site
        The site.
    store : PartStore
        Where finished water bodies are kept, and found again.
    crew : Crew
        Who does the work.
    seed : int
        Seed of the searches.
    progress : callable or None
        Told of every water body.
    held : tuple of HeldRaft
        Rafts whose places a person has fixed.
    time_limit_s : float or None
        Time that the searches may take together, shared evenly; ``None``: until they are done.
        Reading, moorings, routes and files are not in it, and a first plan is always made [s].

    Returns
    -------
    Plan
        One plan for each water body that could be planned, in the order of the site; the others
        are among its failures.

    Raises
    ------
    SiteDataError
        If held rafts are more than there are, or may not lie where they lie.
    GeoplanError
        If no water body could be planned, or the store takes no more.
    """
    bodies = list(site.water_bodies)
    refuse_held(site, held, store, crew, progress)
    passes = 2 if len(bodies) > 1 else 1
    share_s = None
    if time_limit_s is not None:
        share_s = time_limit_s * crew.count(len(bodies)) / (passes * len(bodies))
    wanted = _Wanted(site.settings, seed, held, share_s)
    shares: Sequence[Mapping[str, int]] = [{}] * len(bodies)
    failures: dict[str, str] = {}
    if len(bodies) > 1:
        first = _tasks(bodies, wanted, shares, detail=False)
        failures = run_all(first, store, crew, "sharing the stock", progress)
        left = [task for task in first if task.name not in failures]
        bodies = [body for body in bodies if body.water_id not in failures]
        waters = held_or_kept(store, [task.key for task in left])
        allotted = shared_out(waters, site.settings)
        shares = [allotted[body.water_id] for body in bodies]
    tasks = _tasks(bodies, wanted, shares, detail=True)
    failures |= run_all(tasks, store, crew, "planning", progress)
    keys = [task.key for task in tasks if task.name not in failures]
    if not keys:
        reasons = "; ".join(f"{name}: {reason}" for name, reason in failures.items())
        raise GeoplanError(f"no water body could be planned: {reasons}")
    return Plan(
        site_name=site.settings.name,
        client_crs=site.client_crs,
        waters=held_or_kept(store, keys),
        seed=seed,
        time_limit_s=time_limit_s,
        failures=tuple(WaterFailure(name, why) for name, why in sorted(failures.items())),
    )


@dataclass(frozen=True)
class _Wanted:
    """What holds for the plans of all water bodies."""

    settings: Settings
    seed: int
    held: tuple[HeldRaft, ...]
    time_limit_s: float | None


def _tasks(
    bodies: Sequence[WaterBody],
    wanted: _Wanted,
    shares: Sequence[Mapping[str, int]],
    *,
    detail: bool,
) -> list[Task]:
    """Return the planning of each water body as a task."""
    base = fingerprint(program(), wanted.settings, wanted.seed, "plan", detail, wanted.time_limit_s)
    tasks = []
    for body, share in zip(bodies, shares, strict=True):
        mine = tuple(raft for raft in wanted.held if raft.water_id == body.water_id)
        job = partial(plan_water, detail=detail, held=mine, time_limit_s=wanted.time_limit_s)
        tasks.append(
            Task(
                fingerprint(base, body, share, mine),
                body.water_id,
                _weight(body, wanted.settings),
                job,
                (body, wanted.settings, share, wanted.seed),
            )
        )
    return tasks


def refuse_held(
    site: Site,
    held: tuple[HeldRaft, ...],
    store: PartStore,
    crew: Crew,
    progress: Progress | None = None,
) -> None:
    """
    Refuse rafts that a person holds where they may not lie, all of them at once.

    Parameters
    ----------
    site : Site
        The site.
    held : tuple of HeldRaft
        Rafts whose places a person has fixed.
    store : PartStore
        Where finished work is kept.
    crew : Crew
        Who does the work.
    progress : callable or None
        Told of every water body.

    Raises
    ------
    SiteDataError
        If held rafts are more than there are, or may not lie where they lie.
    """
    faults = list(sum_faults(held, site.settings))
    tasks = []
    for body in site.water_bodies:
        mine = tuple(raft for raft in held if raft.water_id == body.water_id)
        if mine:
            key = fingerprint(program(), site.settings, "held", body, mine)
            weight = _weight(body, site.settings)
            arguments = (body, site.settings, mine)
            tasks.append(Task(key, body.water_id, weight, held_problems, arguments))
    failures = run_all(tasks, store, crew, "checking held rafts", progress) if tasks else {}
    for task in tasks:
        if task.name not in failures:
            faults += store.load(task.key)
    if faults:
        raise SiteDataError(tuple(faults))


def _weight(body: WaterBody, settings: Settings) -> float:
    """Return how long a water body takes, in cells."""
    cell_m = settings.grid.cell_m or _LEAST_CELL_M
    west, south, east, north = body.outline.bounds
    cells = (east - west) * (north - south) / cell_m**2
    return _OVERHEAD_CELLS + min(float(cells), _MOST_CELLS)
