"""The plan of a whole site: what each water body may have, then each by itself."""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from geoplan.district import Allocation
from geoplan.errors import ExportError, GeoplanError, SiteDataError
from geoplan.fleet.crew import Crew
from geoplan.fleet.curves import RemovalCurve, weighed
from geoplan.fleet.fingerprint import fingerprint, program
from geoplan.fleet.kept import Handed, handed, held_or_kept
from geoplan.fleet.logistics import logistics
from geoplan.fleet.running import Progress, Task, run_all
from geoplan.fleet.sharing import allotments, ceiling_of, shared_out, with_held
from geoplan.fleet.store import WORK_ENDING, PartStore, packed
from geoplan.fleet.surplus import surplus_bound
from geoplan.placement.held import sum_faults
from geoplan.plan import Plan, WaterFailure, WaterPlan
from geoplan.planner import Detail, held_problems, plan_water
from geoplan.reasons import HeldRaft
from geoplan.settings import Settings
from geoplan.site import FloatArray, Site, WaterBody

if TYPE_CHECKING:  # a worker writes no files
    from geoplan.fleet.early import EarlyFiles

#: Above so many water bodies none is judged under other assumptions as well, and above so many the
#: bound of none is made tighter, which takes about as long again as its plan.
_MOST_JUDGED_AGAIN, _MOST_PROVEN = 30, 100
#: Side of a cell at least, and what a water body costs beyond its cells, for the order of work.
_LEAST_CELL_M = 0.5
_OVERHEAD_CELLS = 2000.0
_MOST_CELLS = 300_000.0


@dataclass(frozen=True)
class Asked:
    """
    What a plan is to be like, beside what its site says.

    Attributes
    ----------
    seed : int
        Seed of the searches.
    held : tuple of HeldRaft
        Rafts whose places a person has fixed.
    is_held_alone : bool
        Whether those are the whole plan: nothing else is placed, and nothing shared out.
    time_limit_s : float or None
        Time that the searches may take together, shared evenly; ``None``: until they are done.
        Reading, moorings, routes and files are not in it, and a first plan is always made [s].
    """

    seed: int = 0
    held: tuple[HeldRaft, ...] = ()
    is_held_alone: bool = False
    time_limit_s: float | None = None


def planned(
    site: Site,
    store: PartStore,
    crew: Crew,
    asked: Asked,
    progress: Progress | None = None,
    early: "EarlyFiles | None" = None,
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
    asked : Asked
        What the plan is to be like.
    progress : callable or None
        Told of every water body.
    early : EarlyFiles or None
        Files to be written meanwhile.

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
    held, time_limit_s = asked.held, asked.time_limit_s
    refuse_held(site, held, store, crew, progress)
    every = _waters(site)
    if asked.is_held_alone:
        counts = [_counted(water.name, held, site.settings) for water in every]
        shared = _Shared(every, site.settings, counts)
    elif len(every) > 1 or _has_terms(site.water_bodies[0]):
        shared = _shared(every, site, held, store, crew, progress)
        if len(every) <= _MOST_PROVEN and time_limit_s is None:
            shared = _with_proof(shared, site, store, crew, progress)
    else:
        shared = _Shared(every, site.settings, [{}])
    waters, failures = shared.waters, shared.failures
    patience_s = _patience_s(time_limit_s, crew, len(waters))
    wanted = _Wanted(shared.settings, asked.seed, held, patience_s, _detail(len(waters)))
    tasks = _tasks(waters, wanted, shared.allotted, store)
    plan = Plan(
        site_name=site.settings.name,
        client_crs=site.client_crs,
        waters=(),
        seed=asked.seed,
        time_limit_s=time_limit_s,
        allocation=shared.allocation,
    )
    told = early.begin(plan, tasks, store) if early else None
    failures |= run_all(tasks, store, crew, "planning", progress, told)
    crew.renew()  # those who judge and write need nothing of this
    done = {task.name: task.key for task in tasks if task.name not in failures}
    _refuse_none(list(done), failures)
    store.forget_all_but([*(water.key for water in every), *shared.keys, *done.values()])
    plan = replace(
        plan,
        waters=held_or_kept(store, tuple(done.values()), tuple(done)),
        failures=tuple(WaterFailure(name, why) for name, why in sorted(failures.items())),
    )
    return replace(plan, logistics=(early and early.trips()) or logistics(plan, site))


def _detail(waters: int) -> Detail:
    """Return how much is found out about the plan of each of so many water bodies."""
    if waters <= _MOST_JUDGED_AGAIN:
        return True
    return "proven" if waters <= _MOST_PROVEN else "brief"


def _patience_s(time_limit_s: float | None, crew: Crew, waters: int) -> float | None:
    """Return the time of one water body, where so many share it and several are at work."""
    return None if time_limit_s is None else time_limit_s * crew.count(waters) / waters


def _has_terms(body: WaterBody) -> bool:
    """Tell whether something beside stock and budget settles what a lone water body gets."""
    return body.terms.wanted != "may" or bool(body.terms.ward)


def _counted(water_id: str, held: Sequence[HeldRaft], settings: Settings) -> dict[str, int]:
    """Return how many rafts of each type are held in a water body, as all that it may have."""
    names = [raft.raft_type for raft in held if raft.water_id == water_id]
    return {kind.name: names.count(kind.name) for kind in settings.raft}


def own_settings(settings: Settings) -> Settings:
    """
    Return the settings as one water body of several sees them.

    Parameters
    ----------
    settings : Settings
        Settings of the site.

    Returns
    -------
    Settings
        Without stock and budget, which its allotment stands for, and without what is decided for
        the district: a raft more in the yard then plans only those water bodies again that get
        another share.
    """
    fresh = Settings.model_fields
    types = tuple(kind.model_copy(update={"stock": None}) for kind in settings.raft)
    return settings.model_copy(
        update={"raft": types}
        | {name: fresh[name].default for name in ("budget", "district", "yard")}
    )


@dataclass(frozen=True)
class _Water:
    """What the run itself keeps of a water body: its name, the hash of it, and its work."""

    body: Handed
    weight: float

    @property
    def name(self) -> str:
        """Return its ``water_id``."""
        return self.body.name

    @property
    def key(self) -> str:
        """Return the hash of what it is."""
        return self.body.key


def _waters(site: Site) -> list[_Water]:
    """Return the water bodies of a site; those on disk are read one at a time."""
    return [
        _Water(one, _weight(body, site.settings))
        for one, body in zip(handed(site.water_bodies), site.water_bodies, strict=True)
    ]


@dataclass(frozen=True)
class _Shared:
    """Water bodies that are planned, with what each may have and why others are not."""

    waters: Sequence[_Water]
    settings: Settings
    allotted: Sequence[Mapping[str, int]]
    allocation: Allocation | None = None
    failures: dict[str, str] = field(default_factory=dict)
    keys: Sequence[str] = ()


def _shared(
    waters: Sequence[_Water],
    site: Site,
    held: tuple[HeldRaft, ...],
    store: PartStore,
    crew: Crew,
    progress: Progress | None,
) -> _Shared:
    """Weigh water bodies and share stock and budget out; a failed one gets nothing."""
    own = own_settings(site.settings)
    failures, curves, keys = _weighed(waters, own, store, crew, progress)
    bodies = (body for body in site.water_bodies if body.water_id not in failures)
    allocation = shared_out(bodies, with_held(curves, held, site.settings), site.settings)
    left = [water for water in waters if water.name not in failures]
    # The share keeps the budget already; a water body without any then says what it costs.
    settings = own.model_copy(update={"budget": site.settings.budget})
    allotted = allotments(allocation, site.settings)
    return _Shared(left, settings, allotted, allocation, failures, keys)


def _with_proof(
    shared: _Shared, site: Site, store: PartStore, crew: Crew, progress: Progress | None
) -> _Shared:
    """Bound the district by price fields, where rafts may be worth more than they pay."""
    allocation = shared.allocation
    if allocation is None:
        return shared
    bodies = (body for body in site.water_bodies if body.water_id not in shared.failures)
    curves = [store.load(key) for key in shared.keys]
    ceiling = ceiling_of(bodies, curves, site.settings)
    paid = ceiling.highest(np.array([limit.price for limit in allocation.limits]))
    surplus = ceiling.surplus(paid)
    asked = np.flatnonzero(surplus > 0).tolist() if paid.any() else []
    tasks = [
        _surplus_task(shared, k, ceiling.use[k] @ paid, surplus[k], ceiling.scale[k], store)
        for k in asked
    ]
    failures = run_all(tasks, store, crew, "bounding the district", progress) if tasks else {}
    for k, task in zip(asked, tasks, strict=True):
        if task.name not in failures:
            surplus[k] = min(surplus[k], store.load(task.key) * ceiling.scale[k])
    bound = max(allocation.value, min(allocation.bound, ceiling.bound(surplus, paid)))
    keys = (*shared.keys, *(task.key for task in tasks))
    return replace(shared, allocation=replace(allocation, bound=bound), keys=keys)


def _surplus_task(
    shared: _Shared, index: int, paid: FloatArray, surplus: float, scale: float, store: PartStore
) -> Task:
    """Return the bounding of a water body as a task, in the unit of its own worth."""
    water, settings = shared.waters[index], own_settings(shared.settings)
    counts = tuple(float(shared.allotted[index].get(kind.name, 0)) for kind in settings.raft)
    asks = (tuple(float(each) for each in paid / scale), counts, float(surplus / scale))
    ground_key = _ground_key(_ground_base(settings), water)
    return Task(
        fingerprint(program(), settings, "surplus", water.key, asks),
        water.name,
        water.weight,
        surplus_of,
        (water.body, settings, *asks, store.folder, ground_key),
    )


def surplus_of(
    body: WaterBody,
    settings: Settings,
    paid: tuple[float, ...],
    counts: tuple[float, ...],
    known: float,
    folder: Path,
    ground_key: str,
) -> float:
    """
    Return what no plan of a water body is worth beyond what its rafts pay.

    Parameters
    ----------
    body : WaterBody
        The water body.
    settings : Settings
        Settings as it sees them.
    paid : tuple of float
        What a raft of each type pays [unit of the benefit].
    counts : tuple of float
        Rafts of each type that it is allotted [1].
    known : float
        A bound that is known already [unit of the benefit].
    folder : Path
        Store, where this machine has it.
    ground_key : str
        Name of what weighing left there.

    Returns
    -------
    float
        The bound; the same with and without what was left [unit of the benefit].
    """
    ground = PartStore(folder).load(ground_key)
    return surplus_bound(body, settings, paid, counts, known, ground)


def _weighed(
    waters: Sequence[_Water],
    settings: Settings,
    store: PartStore,
    crew: Crew,
    progress: Progress | None,
) -> tuple[dict[str, str], list[RemovalCurve], list[str]]:
    """Return why water bodies could not be weighed, the curves of the others, and their keys."""
    tasks = _curve_tasks(waters, settings, store)
    failures = run_all(tasks, store, crew, "weighing the water bodies", progress)
    keys = [task.key for task in tasks if task.name not in failures]
    _refuse_none(keys, failures)
    return failures, [store.load(key) for key in keys], keys


def _curve_tasks(waters: Sequence[_Water], settings: Settings, store: PartStore) -> list[Task]:
    """Return the weighing of each water body as a task."""
    base = fingerprint(program(), settings, "curve")
    ground = _ground_base(settings)
    return [
        Task(
            fingerprint(base, water.key),
            water.name,
            water.weight,
            weighed_water,
            (water.body, settings, store.folder, _ground_key(ground, water)),
        )
        for water in waters
    ]


def _ground_base(settings: Settings) -> str:
    """Return the hash of all that the ground depends on beside the water body."""
    return fingerprint(program(), settings, "ground")


def _ground_key(base: str, water: _Water) -> str:
    """Return the name under which what weighing leaves lies between its two pieces of work."""
    return fingerprint(base, water.key) + WORK_ENDING


def weighed_water(
    body: WaterBody, settings: Settings, folder: Path, ground_key: str
) -> RemovalCurve:
    """
    Return what rafts are worth in a water body, and leave what it is for the plan.

    Parameters
    ----------
    body : WaterBody
        The water body.
    settings : Settings
        Settings as it sees them.
    folder : Path
        Store, where this machine has it.
    ground_key : str
        Name for that there.

    Returns
    -------
    RemovalCurve
        Values and bounds.
    """
    curve, ground = weighed(body, settings)
    if folder.is_dir():
        with suppress(ExportError):  # a full disk is told when the result is kept
            PartStore(folder).keep(ground_key, packed(ground))
    return curve


@dataclass(frozen=True)
class _Wanted:
    """What holds for the plans of all water bodies."""

    settings: Settings
    seed: int
    held: tuple[HeldRaft, ...]
    time_limit_s: float | None
    detail: Detail


def planned_water(
    body: WaterBody,
    share: Mapping[str, int],
    held: tuple[HeldRaft, ...],
    wanted: "_Wanted",
    folder: Path,
    ground_key: str,
) -> WaterPlan:
    """
    Return the plan of a water body, from what was left for it where it is.

    Parameters
    ----------
    body : WaterBody
        The water body.
    share : mapping of str to int
        Rafts that it may have.
    held : tuple of HeldRaft
        Rafts there whose places a person has fixed.
    wanted : _Wanted
        What holds for all water bodies.
    folder : Path
        Store, where this machine has it.
    ground_key : str
        Name of what was left there.

    Returns
    -------
    WaterPlan
        The plan; the same with and without that found.
    """
    store = PartStore(folder)
    plan = plan_water(
        body,
        wanted.settings,
        share,
        wanted.seed,
        detail=wanted.detail,
        ground=store.load(ground_key),
        held=held,
        time_limit_s=wanted.time_limit_s,
    )
    store.path_of(ground_key).unlink(missing_ok=True)
    return plan


def _refuse_none(keys: Sequence[str], failures: Mapping[str, str]) -> None:
    """Refuse to go on where not one water body is left."""
    if not keys:
        reasons = "; ".join(f"{name}: {reason}" for name, reason in failures.items())
        raise GeoplanError(f"no water body could be planned: {reasons}")


def _tasks(
    waters: Sequence[_Water],
    wanted: _Wanted,
    shares: Sequence[Mapping[str, int]],
    store: PartStore,
) -> list[Task]:
    """Return the planning of each water body as a task."""
    settings = wanted.settings
    base = fingerprint(program(), settings, wanted.seed, "plan", wanted.detail, wanted.time_limit_s)
    ground, alike = _ground_base(own_settings(settings)), replace(wanted, held=())
    tasks = []
    for water, share in zip(waters, shares, strict=True):
        mine = tuple(raft for raft in wanted.held if raft.water_id == water.name)
        arguments = (water.body, share, mine, alike, store.folder, _ground_key(ground, water))
        key = fingerprint(base, water.key, share, mine)
        tasks.append(Task(key, water.name, water.weight, planned_water, arguments))
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
    for body in site.water_bodies if held else ():
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
