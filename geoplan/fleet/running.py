"""
Many pieces of work on any ``concurrent.futures`` executor.

Large ones first and small ones in groups, so that no worker idles at the end. Each piece is kept on
disk as soon as it is finished. What comes out does not depend on how many workers there are, nor
on who finishes first. One that fails is told with its reason, and the rest go on.
"""

import traceback
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, Future, wait
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from threadpoolctl import threadpool_limits

from geoplan.errors import GeoplanError
from geoplan.fleet.crew import Crew, Workers, workers_of
from geoplan.fleet.fingerprint import program
from geoplan.fleet.kept import Handed
from geoplan.fleet.memory import give_back
from geoplan.fleet.store import PartStore, packed

#: Called with the step, pieces done, pieces in all, and the share of the work that is done.
Progress = Callable[[str, int, int, float], None]

#: Groups that wait at each worker, so that none idles while results are stored.
_AHEAD = 3
#: Pieces in a group at most: as much is done twice where a machine is switched off.
_MOST_GROUPED = 8
#: For each worker a group is no more than one in so many of all, and of what is left: the last are
#: single pieces, so that all end together.
_GROUPS_EACH, _ENDS_EACH = 24, 6
#: A piece is large that is more than one in so many of all for each worker: were it begun last, the
#: others would wait for it, for a hundredth of the whole time at most.
_LARGE_EACH = 100


@dataclass(frozen=True)
class Task:
    """
    A piece of work.

    Attributes
    ----------
    key : str
        Hash of all that its result depends on; its name in the store.
    name : str
        Water body that it is about.
    weight : float
        How long it takes, against others (relative).
    function : callable
        What makes the result; of a module's top level.
    arguments : tuple
        What it is called with; a water body that is ``Handed`` is read where the work is done.
    """

    key: str
    name: str
    weight: float
    function: Callable[..., Any]
    arguments: tuple[Any, ...]

    def with_bodies(self, store: PartStore) -> "Task":
        """
        Return the same with its water body read.

        Parameters
        ----------
        store : PartStore
            Where that lies.

        Returns
        -------
        Task
            For a machine that does not reach the store.
        """
        arguments = (one.taken(store) if isinstance(one, Handed) else one for one in self.arguments)
        return replace(self, arguments=tuple(arguments))


#: Called with each task that is finished, and why it failed, empty where it did not.
Told = Callable[[Task, str], None]


def work(
    group: Sequence[Task], folder: Path | None, expected_program: str
) -> list[tuple[str, bytes | None, str]]:
    """
    Do a group of tasks, on whatever machine.

    Parameters
    ----------
    group : sequence of Task
        Pieces of work.
    folder : Path or None
        Store to keep each in at once; ``None``: they are handed back as bytes.
    expected_program : str
        Hash of the program that was started.

    Returns
    -------
    list of (str, bytes or None, str)
        For each task its key, its result where it is not in the store, and why it failed, empty
        where it did not.

    Raises
    ------
    GeoplanError
        If this machine has another version, or the store takes no more.
    """
    if program() != expected_program:
        raise GeoplanError(
            "a worker has another version of geoplan, of Python or of a library than this"
            " machine; the results would differ: install the same everywhere"
        )
    store = None if folder is None else PartStore(folder)
    out: list[tuple[str, bytes | None, str]] = []
    # Sums in another order differ in the last bits: one thread, wherever it runs.
    with threadpool_limits(1):
        for task in group:
            if store is not None and store.data_of(task.key) is not None:
                out.append((task.key, None, ""))
                continue
            data, reason = _done(task, store)
            if store is not None and data is not None:
                store.keep(task.key, data)
                data = None
            out.append((task.key, data, reason))
    # It takes 7 ms: 110 ponds of 0.3 ha weighed and planned leave 280 MB in place of 500.
    give_back()
    return out


def _done(task: Task, store: PartStore | None) -> tuple[bytes | None, str]:
    """Return the result of a task, or why there is none."""
    try:
        task = task if store is None else task.with_bodies(store)
        return packed(task.function(*task.arguments)), ""
    except Exception as error:  # noqa: BLE001 - one water body must not stop the others
        last = traceback.extract_tb(error.__traceback__)[-1]
        where = f" ({Path(last.filename).name}, line {last.lineno})"
        told = "" if isinstance(error, GeoplanError) else f"{type(error).__name__}: "
        return None, f"{told}{error}{'' if isinstance(error, GeoplanError) else where}"


def grouped(tasks: Sequence[Task], workers: int) -> list[tuple[Task, ...]]:
    """
    Put tasks in the order of work, small ones in groups.

    Parameters
    ----------
    tasks : sequence of Task
        Pieces of work, in the order of the site.
    workers : int
        Who share them.

    Returns
    -------
    list of tuple of Task
        Large ones first, the largest of all before the others; then the rest in the order of the
        site, in which their results are written. The last pieces alone, so that nobody waits long
        at the end.
    """
    large = sum(task.weight for task in tasks) / _LARGE_EACH / max(1, workers)
    # Sorting keeps the order of what is alike.
    ordered = sorted(tasks, key=lambda task: -task.weight if task.weight >= large else 0.0)
    total = left = sum(task.weight for task in tasks)
    groups: list[tuple[Task, ...]] = []
    group: list[Task] = []
    for task in ordered:
        group.append(task)
        weight = sum(one.weight for one in group)
        enough = min(total / _GROUPS_EACH, left / _ENDS_EACH) / max(1, workers)
        if len(group) == _MOST_GROUPED or weight >= enough:
            groups.append(tuple(group))
            left -= weight
            group = []
    return [*groups, tuple(group)] if group else groups


@dataclass
class _Run:
    """A run under way."""

    store: PartStore
    step: str
    progress: Progress | None
    told: Told | None
    total: float
    count: int
    done: int = 0
    share: float = 0.0
    failures: dict[str, str] = field(default_factory=dict)

    def finish(self, task: Task, reason: str = "") -> None:
        """Count a task as finished or failed."""
        self.done += 1
        self.share += task.weight / self.total
        if reason:
            self.failures[task.name] = reason
        if self.told:
            self.told(task, reason)
        if self.progress:
            self.progress(self.step, self.done, self.count, min(1.0, self.share))


def run_all(
    tasks: Sequence[Task],
    store: PartStore,
    crew: Crew,
    step: str,
    progress: Progress | None = None,
    told: Told | None = None,
) -> dict[str, str]:
    """
    Do every task whose result is not in the store yet.

    Parameters
    ----------
    tasks : sequence of Task
        Pieces of work; each result is in the store afterwards, or its failure is returned.
    store : PartStore
        Where results are kept.
    crew : Crew
        Who does the work.
    step : str
        What is being done, in words.
    progress : callable or None
        Told of every piece.
    told : callable or None
        Told of every task, when its result is in the store or it has failed.

    Returns
    -------
    dict of str to str
        For each water body that failed, why.

    Raises
    ------
    GeoplanError
        If the store takes no more, or the cluster is lost; what is finished is kept.
    """
    store.open()
    total = sum(task.weight for task in tasks) or 1.0
    run = _Run(store, step, progress, told, total, len(tasks))
    left = []
    for task in tasks:
        if store.data_of(task.key) is None:
            left.append(task)
        else:
            run.finish(task)
    if left:
        with workers_of(crew, len(left), store) as hands:
            _drive(deque(grouped(left, hands.count)), hands, run)
    return dict(sorted(run.failures.items()))


def _drive(waiting: deque[tuple[Task, ...]], hands: Workers, run: _Run) -> None:
    """Keep the workers busy until nothing is left."""
    running: dict[Future[Any], tuple[Task, ...]] = {}
    while waiting or running:
        is_broken = False
        ahead = 1 if hands.count == 1 else _AHEAD * hands.count
        while waiting and len(running) < ahead:
            group = waiting.popleft()
            try:
                future = _submitted(group, hands, run.store)
            except BrokenExecutor:
                waiting.appendleft(group)
                is_broken = True
                break
            running[future] = group
        lost: list[Task] = []
        for future in wait(running, return_when=FIRST_COMPLETED).done:
            group = running.pop(future)
            lost += _taken(future, group, run)
        if lost or (is_broken and not running):
            for future, group in running.items():
                lost += _taken(future, group, run)
            running.clear()
            _one_by_one(lost, hands, run)


def _submitted(group: tuple[Task, ...], hands: Workers, store: PartStore) -> "Future[Any]":
    """Hand a group of tasks to the workers, with its water bodies where they have no store."""
    if hands.store_folder is None:
        group = tuple(task.with_bodies(store) for task in group)
    return hands.executor.submit(work, group, hands.store_folder, program())


def _taken(future: "Future[Any]", group: tuple[Task, ...], run: _Run) -> list[Task]:
    """Take in what a group made; return its tasks where its worker was lost."""
    try:
        results = future.result()
    except BrokenExecutor:
        return list(group)
    except GeoplanError:
        raise
    except (CancelledError, OSError) as error:
        raise GeoplanError(
            f"the cluster was lost: {error or type(error).__name__}. What is finished is kept in"
            f" {run.store.folder}; run the same command again"
        ) from error
    except Exception as error:  # noqa: BLE001 - such as a worker that died too often
        for task in group:
            run.finish(task, f"its worker was lost again and again: {type(error).__name__}")
        return []
    for task, (key, data, reason) in zip(group, results, strict=True):
        if data is not None:
            run.store.keep(key, data)
        run.finish(task, reason)
    return []


def _one_by_one(lost: Sequence[Task], hands: Workers, run: _Run) -> None:
    """Do again, each alone, what was under way when a worker died: who kills another is told."""
    if hands.restart is None:
        raise GeoplanError(
            f"the workers were lost. What is finished is kept in {run.store.folder}; run the same"
            " command again"
        )
    hands.executor.shutdown(wait=False, cancel_futures=True)
    hands.executor = hands.restart()
    for task in lost:
        future = _submitted((task,), hands, run.store)
        if _taken(future, (task,), run):
            run.finish(
                task,
                "its worker process died twice, most likely for want of memory; plan it by"
                " itself, with a larger cell_m in [grid]",
            )
            hands.executor.shutdown(wait=False, cancel_futures=True)
            hands.executor = hands.restart()
