"""The plan of a whole site: what each water body may have, then each by itself."""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from geoplan.district import Allocation
from geoplan.errors import ExportError, GeoplanError
from geoplan.fields import site_fields
from geoplan.fleet.curves import RemovalCurve, removal_curve
from geoplan.fleet.fingerprint import fingerprint, program
from geoplan.fleet.kept import held_or_kept
from geoplan.fleet.logistics import logistics
from geoplan.fleet.running import Crew, Progress, Task, run_all
from geoplan.fleet.sharing import allotments, shared_out
from geoplan.fleet.store import PartStore, packed
from geoplan.plan import Plan, WaterFailure, WaterPlan
from geoplan.planner import plan_water
from geoplan.settings import Settings
from geoplan.site import Site, WaterBody

#: Ending of what lies in the store between two pieces of work, and is lost without harm.
WORK_ENDING = ".work"
#: Above so many water bodies none is judged under other assumptions as well.
_MOST_JUDGED_AGAIN = 30
#: Side of a cell at least, and what a water body costs beyond its cells, for the order of work.
_LEAST_CELL_M = 0.5
_OVERHEAD_CELLS = 2000.0
_MOST_CELLS = 300_000.0


def planned(
    site: Site, store: PartStore, crew: Crew, seed: int = 0, progress: Progress | None = None
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

    Returns
    -------
    Plan
        One plan for each water body that could be planned, in the order of the site; the others
        are among its failures.

    Raises
    ------
    GeoplanError
        If no water body could be planned, or the store takes no more.
    """
    bodies = list(site.water_bodies)
    shares: Sequence[Mapping[str, int]] = [{}] * len(bodies)
    failures: dict[str, str] = {}
    settings = site.settings
    allocation: Allocation | None = None
    weighed: list[str] = []
    if len(bodies) > 1 or _has_terms(bodies[0]):
        settings = own_settings(settings)
        first = _curve_tasks(bodies, settings, store)
        failures = run_all(first, store, crew, "weighing the water bodies", progress)
        weighed = [task.key for task in first if task.name not in failures]
        _refuse_none(weighed, failures)
        bodies = [body for body in bodies if body.water_id not in failures]
        curves = [store.load(key) for key in weighed]
        allocation = shared_out(bodies, curves, site.settings)
        shares = allotments(allocation, site.settings)
    tasks = _tasks(bodies, settings, shares, seed, store)
    failures |= run_all(tasks, store, crew, "planning", progress)
    keys = [task.key for task in tasks if task.name not in failures]
    _refuse_none(keys, failures)
    store.forget_all_but([*weighed, *keys])
    plan = Plan(
        site_name=site.settings.name,
        client_crs=site.client_crs,
        waters=held_or_kept(store, keys),
        seed=seed,
        failures=tuple(WaterFailure(name, why) for name, why in sorted(failures.items())),
        allocation=allocation,
    )
    return replace(plan, logistics=logistics(plan, site))


def _has_terms(body: WaterBody) -> bool:
    """Tell whether something beside stock and budget settles what a lone water body gets."""
    return body.terms.wanted != "may" or bool(body.terms.ward)


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


def _curve_tasks(bodies: Sequence[WaterBody], settings: Settings, store: PartStore) -> list[Task]:
    """Return the weighing of each water body as a task."""
    base = fingerprint(program(), settings, "curve")
    return [
        Task(
            fingerprint(base, body),
            body.water_id,
            _weight(body, settings),
            weighed_water,
            (body, settings, store.folder, _fields_key(settings, body)),
        )
        for body in bodies
    ]


def _fields_key(settings: Settings, body: WaterBody) -> str:
    """Return the name under which the fields of a water body lie between its two pieces of work."""
    return fingerprint(program(), settings, body, "fields") + WORK_ENDING


def weighed_water(
    body: WaterBody, settings: Settings, folder: Path, fields_key: str
) -> RemovalCurve:
    """
    Return what rafts are worth in a water body, and leave its fields for the plan.

    Parameters
    ----------
    body : WaterBody
        The water body.
    settings : Settings
        Settings as it sees them.
    folder : Path
        Store, where this machine has it.
    fields_key : str
        Name for the fields there.

    Returns
    -------
    RemovalCurve
        Values and bounds.
    """
    fields = site_fields(body, settings)
    if folder.is_dir():
        with suppress(ExportError):  # a full disk is told when the result is kept
            PartStore(folder).keep(fields_key, packed(fields))
    return removal_curve(body, settings, fields)


def planned_water(
    body: WaterBody,
    settings: Settings,
    share: Mapping[str, int],
    seed: int,
    is_brief: bool,
    folder: Path,
    fields_key: str,
) -> WaterPlan:
    """
    Return the plan of a water body, from fields that were left for it where they are.

    Parameters
    ----------
    body : WaterBody
        The water body.
    settings : Settings
        Settings as it sees them.
    share : mapping of str to int
        Rafts that it may have.
    seed : int
        Seed of the search.
    is_brief : bool
        Whether the effect is judged under one assumption alone.
    folder : Path
        Store, where this machine has it.
    fields_key : str
        Name of the fields there.

    Returns
    -------
    WaterPlan
        The plan; the same with and without fields found.
    """
    store = PartStore(folder)
    fields = store.load(fields_key)
    plan = plan_water(body, settings, share, seed, sensitivity=not is_brief, fields=fields)
    store.path_of(fields_key).unlink(missing_ok=True)
    return plan


def _refuse_none(keys: Sequence[str], failures: Mapping[str, str]) -> None:
    """Refuse to go on where not one water body is left."""
    if not keys:
        reasons = "; ".join(f"{name}: {reason}" for name, reason in failures.items())
        raise GeoplanError(f"no water body could be planned: {reasons}")


def _tasks(
    bodies: Sequence[WaterBody],
    settings: Settings,
    shares: Sequence[Mapping[str, int]],
    seed: int,
    store: PartStore,
) -> list[Task]:
    """Return the planning of each water body as a task."""
    is_brief = len(bodies) > _MOST_JUDGED_AGAIN
    base = fingerprint(program(), settings, seed, "plan", is_brief)
    return [
        Task(
            fingerprint(base, body, share),
            body.water_id,
            _weight(body, settings),
            planned_water,
            (body, settings, share, seed, is_brief, store.folder, _fields_key(settings, body)),
        )
        for body, share in zip(bodies, shares, strict=True)
    ]


def _weight(body: WaterBody, settings: Settings) -> float:
    """Return how long a water body takes, in cells."""
    cell_m = settings.grid.cell_m or _LEAST_CELL_M
    west, south, east, north = body.outline.bounds
    cells = (east - west) * (north - south) / cell_m**2
    return _OVERHEAD_CELLS + min(float(cells), _MOST_CELLS)
