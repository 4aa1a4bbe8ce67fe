"""
Files and verdict of a plan; those of a large district by all who work on it.

What can be is written while water bodies are planned (``early``). The audit of many water bodies is
done in pieces, and files that do not depend on each other are written side by side: both would keep
one processor busy for as long as the planning keeps all.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

from threadpoolctl import threadpool_limits

from geoplan.audit import audit_plan
from geoplan.audit.pieces import (
    COUNTED_LAYERS,
    PieceFindings,
    audit_of_pieces,
    judged_piece,
    pieces,
)
from geoplan.errors import ExportError, GeoplanError
from geoplan.exports import EXPORTS, IN_PARTS, NEEDS_ALL, RECORD, WITH_VERDICT, gis_files
from geoplan.fleet.crew import Crew
from geoplan.fleet.early import EarlyFiles
from geoplan.fleet.running import Progress, Task, run_all
from geoplan.fleet.store import WORK_ENDING, PartStore
from geoplan.plan import AuditReport, Plan
from geoplan.site import Site
from geoplan.written import WrittenPlan

#: Above so many water bodies a plan is judged in pieces, and written side by side.
_WHOLE_UP_TO = 30
#: Water bodies in a piece; of fewer than so many pieces one would be waited for at the end.
_LEAST_PIECE, _PIECE, _PIECES = 10, 25, 12
#: Files that take longest, each a piece of work or some, the longest first; all others are another.
_LONG = ("report.pdf", "map.html", "setting_out.dxf", "setting_out.gpx", "setting_out.csv")
#: Parts of a file that can be written in parts: of so many water bodies each, and so many at most.
_PART, _MOST_PARTS = 50, 4
#: Modules that write together, each with its part of a file and of how many.
_Part = tuple[tuple[str, int, int], ...]
#: Plan, site, folder and verdict.
_What = tuple[Plan, Site, Path, AuditReport | None]


@dataclass(frozen=True)
class Hands:
    """
    Who writes and judges.

    Attributes
    ----------
    store : PartStore
        Where pieces lie until they are put together.
    crew : Crew
        Who works.
    progress : callable or None
        Told of every piece.
    """

    store: PartStore
    crew: Crew
    progress: Progress | None = None


def write_plan(
    plan: Plan,
    site: Site,
    folder: Path,
    hands: Hands | None = None,
    early: EarlyFiles | None = None,
) -> AuditReport:
    """
    Write every output of a plan into a folder, and audit what was written.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site it was made from.
    folder : Path
        Empty folder, but for the files that are written early.
    hands : Hands or None
        Who works on a large district; ``None``: this process alone.
    early : EarlyFiles or None
        Files that were begun while the plan was made.

    Returns
    -------
    AuditReport
        The verdict on the written GeoPackage; it is part of the outputs.

    Raises
    ------
    ExportError
        If a file cannot be written.
    """
    # Thousands of small matrices: threads of the linear algebra would wait for each other.
    with threadpool_limits(1):
        shared = hands if hands and _is_shared(len(plan.waters), hands.crew) else None
        first = [one for one in EXPORTS if one[0] not in WITH_VERDICT]
        late = [one for one in EXPORTS if one[0] in WITH_VERDICT and one[0] != RECORD]
        is_recorded = early is not None and early.has_record()
        if not is_recorded:
            gis = partial(gis_files.write, plan, site, folder, None)
            _written(first, (plan, site, folder, None), shared, gis)
        report = judged(folder / gis_files.FILE_NAME, site, hands)
        if is_recorded and early is not None:
            late += [one for one in first if one[0] in NEEDS_ALL or not early.has_all()]
        findings = partial(gis_files.add_findings, folder, plan.client_crs, report)
        _written(late, (plan, site, folder, report), shared, findings)
    return report


def early_files(site: Site, folder: Path, crew: Crew) -> EarlyFiles:
    """
    Return what writes files while a plan is made.

    Parameters
    ----------
    site : Site
        The site.
    folder : Path
        Empty folder.
    crew : Crew
        Who makes the plan.

    Returns
    -------
    EarlyFiles
        It writes nothing for a few water bodies.
    """
    in_turn = _is_here(crew) and crew.count(len(site.water_bodies)) == 1
    return EarlyFiles(site, folder, _WHOLE_UP_TO + 1, in_turn=in_turn)


def _is_shared(waters: int, crew: Crew) -> bool:
    """Tell whether files are written by several: by processes of this machine, where it pays."""
    return _is_here(crew) and waters > _WHOLE_UP_TO and crew.count(waters) > 1


def _is_here(crew: Crew) -> bool:
    """Tell whether workers are processes of this machine, which reach its disk."""
    return crew.executor is None and crew.scheduler is None


def _written(
    modules: Sequence[tuple[str, str]],
    what: _What,
    hands: Hands | None,
    meanwhile: Callable[[], None],
) -> None:
    """Write files, side by side where there are hands, and do something else meanwhile."""
    parts = _parts(modules, what[0])
    if hands is None:
        meanwhile()
        for part in parts:
            _write_part(part, *what)
        return
    tasks = [
        Task(
            f"written {part[0][0]} {part[0][1]}{WORK_ENDING}",
            part[0][0],
            float(len(parts) - at),
            _write_part,
            (part, *what),
        )
        for at, part in enumerate(parts)
    ]
    with _aside(meanwhile), _done(tasks, hands, "writing the files") as failures:
        if failures:
            raise ExportError("; ".join(failures.values()))


def _parts(modules: Sequence[tuple[str, str]], plan: Plan) -> list[_Part]:
    """Return what is written one by one: long files first, in their parts, all others together."""
    long = sorted((one for one in modules if one[0] in _LONG), key=lambda one: _LONG.index(one[0]))
    parts: list[_Part] = []
    for name, module in long:
        # The modules are heavy, and loaded by those who write.
        count = min(_MOST_PARTS, 1 + len(plan.waters) // _PART) if name in IN_PARTS else 1
        parts += [((module, number, count),) for number in range(count)]
    rest = tuple((module, 0, 1) for name, module in modules if name not in _LONG)
    return [*parts, rest] if rest else parts


def _write_part(part: _Part, *what: Any) -> None:
    """Write some files, or a part of one."""
    for name, number, count in part:
        module = import_module(name)
        if count > 1:
            module.write_part(*what, (number, count))
        else:
            module.write(*what)


@contextmanager
def _aside(work: Callable[[], Any]) -> Iterator["Future[Any]"]:
    """Do something in a thread while others work; what it raises is raised at the end."""
    with ThreadPoolExecutor(1) as thread:
        future = thread.submit(work)
        yield future
        future.result()


def judged(path: Path, site: Site, hands: Hands | None = None) -> AuditReport:
    """
    Return the verdict on a written plan; of many water bodies piece by piece.

    Parameters
    ----------
    path : Path
        The plan's GeoPackage; no more of it is held than one piece, and what is counted over all.
    site : Site
        The raw site.
    hands : Hands or None
        Who works; ``None``, or workers that may have no disk in common with this machine: this
        process, on no more than one piece at a time.

    Returns
    -------
    AuditReport
        As ``audit_plan`` gives it, whoever worked and in whatever pieces.

    Raises
    ------
    GeoplanError
        If a piece could not be judged.
    """
    if len(site.water_bodies) <= _WHOLE_UP_TO:
        return audit_plan(gis_files.read_plan(path), site)
    keys = gis_files.row_keys(path)
    size = min(_PIECE, max(_LEAST_PIECE, len(site.water_bodies) // _PIECES))
    parts = [(path, _rows(piece), some) for piece, some in pieces(keys, site, size)]
    if hands is None or not _is_here(hands.crew):
        found = (_judged_rows(*part) for part in parts)
        return audit_of_pieces(_counted(path, keys), site, found)
    tasks = [
        Task(f"judged {index}{WORK_ENDING}", f"piece {index}", 1.0, _judged_rows, part)
        for index, part in enumerate(parts)
    ]
    with (
        _aside(partial(_counted, path, keys)) as counted,
        _done(tasks, hands, "judging the plan") as failures,
    ):
        if failures:
            raise GeoplanError(f"the plan could not be judged: {'; '.join(failures.values())}")
        found = (hands.store.load(task.key) for task in tasks)
        folder = hands.store.folder / "findings"
        return audit_of_pieces(counted.result(), site, found, folder)


def _counted(path: Path, keys: WrittenPlan) -> WrittenPlan:
    """Read what is counted over the whole; of edges it is enough to know whose they are."""
    rows = {name: numbers for name, numbers in _rows(keys).items() if name in COUNTED_LAYERS}
    return replace(gis_files.read_plan(path, rows), edges=keys.edges)


def _rows(keys: WrittenPlan) -> dict[str, tuple[int, ...]]:
    """Return the numbers of rows by the part of a plan."""
    parts = (part.name for part in fields(keys) if part.name != "crs")
    return {name: tuple(key.number for key in getattr(keys, name)) for name in parts}


def _judged_rows(path: Path, rows: Mapping[str, Sequence[int]], site: Site) -> PieceFindings:
    """Judge some rows of a plan's file."""
    return judged_piece(gis_files.read_plan(path, rows), site)


@contextmanager
def _done(tasks: Sequence[Task], hands: Hands, step: str) -> Iterator[dict[str, str]]:
    """Do pieces of work that are of use now alone; yield those that failed, with the reason."""
    store = hands.store

    def forget() -> None:
        for task in tasks:
            store.path_of(task.key).unlink(missing_ok=True)

    forget()  # a killed run may have left some of another plan
    try:
        yield run_all(tasks, store, hands.crew, step, hands.progress)
    finally:
        forget()
