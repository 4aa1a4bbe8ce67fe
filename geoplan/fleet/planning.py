"""The plan of a whole site: what each water body may have, then each by itself."""

from collections.abc import Mapping, Sequence
from functools import partial

from geoplan.errors import GeoplanError
from geoplan.fleet.fingerprint import fingerprint, program
from geoplan.fleet.kept import held_or_kept
from geoplan.fleet.running import Crew, Progress, Task, run_all
from geoplan.fleet.sharing import shared_out
from geoplan.fleet.store import PartStore
from geoplan.plan import Plan, WaterFailure
from geoplan.planner import plan_water
from geoplan.settings import Settings
from geoplan.site import Site, WaterBody

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
    if len(bodies) > 1:
        first = _tasks(bodies, site.settings, shares, seed, detail=False)
        failures = run_all(first, store, crew, "sharing the stock", progress)
        left = [task for task in first if task.name not in failures]
        bodies = [body for body in bodies if body.water_id not in failures]
        waters = held_or_kept(store, [task.key for task in left])
        allotted = shared_out(waters, site.settings)
        shares = [allotted[body.water_id] for body in bodies]
    tasks = _tasks(bodies, site.settings, shares, seed, detail=True)
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
        failures=tuple(WaterFailure(name, why) for name, why in sorted(failures.items())),
    )


def _tasks(
    bodies: Sequence[WaterBody],
    settings: Settings,
    shares: Sequence[Mapping[str, int]],
    seed: int,
    *,
    detail: bool,
) -> list[Task]:
    """Return the planning of each water body as a task."""
    base = fingerprint(program(), settings, seed, "plan", detail)
    return [
        Task(
            fingerprint(base, body, share),
            body.water_id,
            _weight(body, settings),
            partial(plan_water, detail=detail),
            (body, settings, share, seed),
        )
        for body, share in zip(bodies, shares, strict=True)
    ]


def _weight(body: WaterBody, settings: Settings) -> float:
    """Return how long a water body takes, in cells."""
    cell_m = settings.grid.cell_m or _LEAST_CELL_M
    west, south, east, north = body.outline.bounds
    cells = (east - west) * (north - south) / cell_m**2
    return _OVERHEAD_CELLS + min(float(cells), _MOST_CELLS)
