"""
Many pieces of work on any ``concurrent.futures`` executor.

Largest first and small ones in groups, so that no worker idles at the end. Each piece is kept on
disk as soon as it is finished. What comes out does not depend on how many workers there are, nor
on who finishes first. One that fails is told with its reason, and the rest go on.
"""

import multiprocessing
import os
import threading
import traceback
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from multiprocessing import connection
from pathlib import Path
from typing import Any

from threadpoolctl import threadpool_limits

from geoplan.errors import GeoplanError
from geoplan.fleet.fingerprint import program
from geoplan.fleet.kept import Handed
from geoplan.fleet.store import PartStore, packed

#: Called with the step, pieces done, pieces in all, and the share of the work that is done.
Progress = Callable[[str, int, int, float], None]

#: Groups that wait at each worker, so that none idles while results are stored.
_AHEAD = 3
#: Pieces in a group at most: as much is done twice where a machine is switched off.
_MOST_GROUPED = 8
#: Groups for each worker, as many as let the last ones even out.
_GROUPS_EACH = 24


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


@dataclass(frozen=True)
class Crew:
    """
    Who does the work.

    Attributes
    ----------
    workers : int or None
        Processes; ``None``: as many as there are cores. One works in this process.
    scheduler : str or None
        Address of a dask scheduler, whose workers are used instead.
    executor : Executor or None
        Any other executor, used as it is and left open; its workers need not share a disk.
    """

    workers: int | None = None
    scheduler: str | None = None
    executor: Executor | None = None

    def count(self, tasks: int) -> int:
        """
        Return how many processes are worth starting.

        Parameters
        ----------
        tasks : int
            Pieces of work.

        Returns
        -------
        int
            At least one.
        """
        return max(1, min(self.workers or os.cpu_count() or 1, tasks))


@dataclass
class _Hands:
    """An executor, how many work there, and whether they reach the store themselves."""

    executor: Executor
    count: int
    store_folder: Path | None
    restart: Callable[[], Executor] | None = None


class _Inline(Executor):
    """Works at once, in this process."""

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> "Future[Any]":
        """Do it, and return a future that is done."""
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:  # noqa: BLE001 - it is handed on with the future
            future.set_exception(error)
        return future


@contextmanager
def _hands(crew: Crew, tasks: int, store: PartStore) -> Iterator[_Hands]:
    """Yield the workers of a crew."""
    if crew.executor is not None:
        yield _Hands(crew.executor, os.cpu_count() or 1, None)
    elif crew.scheduler is not None:
        with _cluster(crew.scheduler) as client:
            cores = max(1, sum(client.nthreads().values()))
            with client.get_executor(pure=False) as executor:
                yield _Hands(executor, cores, None)
    elif crew.count(tasks) == 1:
        yield _Hands(_Inline(), 1, store.folder)
    else:
        yield from _processes(crew.count(tasks), store)


def _processes(count: int, store: PartStore) -> Iterator[_Hands]:
    """Yield processes; they are spawned, because forking copies threads that cannot follow."""

    def start() -> Executor:
        context = multiprocessing.get_context("spawn")
        return ProcessPoolExecutor(count, mp_context=context, initializer=_end_with_parent)

    hands = _Hands(start(), count, store.folder, start)
    try:
        yield hands
    finally:
        hands.executor.shutdown(cancel_futures=True)


def _end_with_parent() -> None:
    """End this process when its parent is gone: a killed run must leave nobody at work."""
    parent = multiprocessing.parent_process()
    if parent is None:
        return
    sentinel = parent.sentinel

    def watch() -> None:
        connection.wait([sentinel])
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


@contextmanager
def _cluster(address: str) -> Iterator[Any]:
    """Yield a client of a dask cluster."""
    try:
        from distributed import Client
    except ImportError:
        raise GeoplanError(
            "a cluster needs the library dask: install geoplan with the extra 'cluster'"
        ) from None
    try:
        client: Any = Client(  # type: ignore[no-untyped-call]
            address, timeout="20s", set_as_default=False
        )
    except (OSError, ValueError) as error:
        raise GeoplanError(
            f"no dask scheduler answers at {address!r}: {error}. Start one with 'dask scheduler'"
            " and give its address, such as tcp://10.0.0.5:8786"
        ) from error
    with client:
        if not client.nthreads():
            client.wait_for_workers(1, timeout=60)
        yield client


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
    for task in group:
        if store is not None and store.data_of(task.key) is not None:
            out.append((task.key, None, ""))
            continue
        data, reason = _done(task, store)
        if store is not None and data is not None:
            store.keep(task.key, data)
            data = None
        out.append((task.key, data, reason))
    return out


def _done(task: Task, store: PartStore | None) -> tuple[bytes | None, str]:
    """Return the result of a task, or why there is none."""
    try:
        task = task if store is None else task.with_bodies(store)
        # Sums in another order differ in the last bits: one thread, wherever it runs.
        with threadpool_limits(1):
            return packed(task.function(*task.arguments)), ""
    except Exception as error:  # noqa: BLE001 - one water body must not stop the others
        last = traceback.extract_tb(error.__traceback__)[-1]
        where = f" ({Path(last.filename).name}, line {last.lineno})"
        told = "" if isinstance(error, GeoplanError) else f"{type(error).__name__}: "
        return None, f"{told}{error}{'' if isinstance(error, GeoplanError) else where}"


def grouped(tasks: Sequence[Task], workers: int) -> list[tuple[Task, ...]]:
    """
    Put tasks in the order of their size, small ones in groups.

    Parameters
    ----------
    tasks : sequence of Task
        Pieces of work.
    workers : int
        Who share them.

    Returns
    -------
    list of tuple of Task
        Largest first.
    """
    ordered = sorted(tasks, key=lambda task: (-task.weight, task.name, task.key))
    enough = sum(task.weight for task in tasks) / max(1, workers * _GROUPS_EACH)
    groups: list[tuple[Task, ...]] = []
    group: list[Task] = []
    for task in ordered:
        group.append(task)
        if len(group) == _MOST_GROUPED or sum(one.weight for one in group) >= enough:
            groups.append(tuple(group))
            group = []
    return [*groups, tuple(group)] if group else groups


@dataclass
class _Run:
    """A run under way."""

    store: PartStore
    step: str
    progress: Progress | None
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
        if self.progress:
            self.progress(self.step, self.done, self.count, min(1.0, self.share))


def run_all(
    tasks: Sequence[Task],
    store: PartStore,
    crew: Crew,
    step: str,
    progress: Progress | None = None,
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
    run = _Run(store, step, progress, total, len(tasks))
    left = []
    for task in tasks:
        if store.data_of(task.key) is None:
            left.append(task)
        else:
            run.finish(task)
    if left:
        with _hands(crew, len(left), store) as hands:
            _drive(deque(grouped(left, hands.count)), hands, run)
    return dict(sorted(run.failures.items()))


def _drive(waiting: deque[tuple[Task, ...]], hands: _Hands, run: _Run) -> None:
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


def _submitted(group: tuple[Task, ...], hands: _Hands, store: PartStore) -> "Future[Any]":
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


def _one_by_one(lost: Sequence[Task], hands: _Hands, run: _Run) -> None:
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
