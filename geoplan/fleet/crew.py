"""
Who does the work: this process, others of this machine, a cluster, or any executor.

Processes are started once for all steps of a run: each takes seconds to begin.
"""

import multiprocessing
import os
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing import connection, util
from pathlib import Path
from typing import Any

from geoplan.errors import GeoplanError
from geoplan.fleet.memory import gives_back
from geoplan.fleet.store import PartStore


@dataclass
class Workers:
    """
    Who works now.

    Attributes
    ----------
    executor : Executor
        Takes pieces of work.
    count : int
        How many work there.
    store_folder : Path or None
        The store, where they reach it themselves.
    restart : callable or None
        Makes a new executor for one that is broken.
    """

    executor: Executor
    count: int
    store_folder: Path | None
    restart: Callable[[], Executor] | None = None


#: Pieces after which processes are worth replacing: old ones hold what planning needs, and where
#: they give none back 330 MB more each after a thousand ponds of 0.3 ha. To load new ones takes
#: seconds.
_RENEWED_AFTER = 64


class Standing:
    """
    Processes that stay from one step of a run to the next.

    Parameters
    ----------
    most : int
        How many there are at most.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._hands: Workers | None = None
        self._pieces = 0

    def begin(self, count: int) -> None:
        """
        Let processes begin to load what they need, while this one does something else.

        Parameters
        ----------
        count : int
            Pieces of work to come.
        """
        many = min(self._most, count)
        if many > 1:
            hands = self.hands(many, None)
            for _ in range(many):
                hands.executor.submit(_nothing)

    def hands(self, count: int, folder: Path | None, pieces: int = 0) -> Workers:
        """
        Return the processes, started if they are not.

        Parameters
        ----------
        count : int
            How many are of use now.
        folder : Path or None
            Store that they keep results in.
        pieces : int
            Pieces of work to come [1].

        Returns
        -------
        Workers
            The same ones again and again; where they give no memory back, new ones after a step
            of very many pieces.
        """
        if self._pieces > _RENEWED_AFTER and not gives_back():
            self.end()
        self._pieces += pieces
        if self._hands is None:
            start = partial(_started, self._most)
            self._hands = Workers(start(), count, folder, start)
        self._hands.count, self._hands.store_folder = count, folder
        return self._hands

    def renew(self) -> None:
        """Replace processes that have done very much, while this one does something else."""
        if self._hands is not None and self._pieces > _RENEWED_AFTER:
            count = self._hands.count
            self.end()
            self.begin(count)

    def end(self) -> None:
        """Let the processes end."""
        if self._hands is not None:
            self._hands.executor.shutdown(cancel_futures=True)
        self._hands, self._pieces = None, 0


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
    standing : Standing or None
        Processes that stay, as ``staying`` has them; ``None``: each step starts its own.
    """

    workers: int | None = None
    scheduler: str | None = None
    executor: Executor | None = None
    standing: Standing | None = None

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

    def renew(self) -> None:
        """Replace processes that stay, where they have done very much."""
        if self.standing:
            self.standing.renew()

    @contextmanager
    def staying(self) -> Iterator["Crew"]:
        """
        Yield the same crew, whose processes stay until the end.

        Yields
        ------
        Crew
            To be used for every step of a run.
        """
        most = self.workers or os.cpu_count() or 1
        if self.standing or self.executor or self.scheduler or most == 1:
            yield self
            return
        standing = Standing(most)
        try:
            yield replace(self, standing=standing)
        finally:
            standing.end()


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
def workers_of(crew: Crew, tasks: int, store: PartStore) -> Iterator[Workers]:
    """
    Yield the workers of a crew.

    Parameters
    ----------
    crew : Crew
        Who works.
    tasks : int
        Pieces of work.
    store : PartStore
        Where results are kept.

    Yields
    ------
    Workers
        The workers.

    Raises
    ------
    GeoplanError
        If a cluster does not answer.
    """
    if crew.executor is not None:
        yield Workers(crew.executor, os.cpu_count() or 1, None)
    elif crew.scheduler is not None:
        with _cluster(crew.scheduler) as client:
            cores = max(1, sum(client.nthreads().values()))
            with client.get_executor(pure=False) as executor:
                yield Workers(executor, cores, None)
    elif crew.count(tasks) == 1:
        yield Workers(_Inline(), 1, store.folder)
    else:
        with crew.staying() as staying:
            standing = staying.standing or Standing(1)
            yield standing.hands(crew.count(tasks), store.folder, tasks)


def _started(count: int) -> Executor:
    """Return processes; they are spawned, because forking copies threads that cannot follow."""
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(count, mp_context=context, initializer=_end_with_parent)


def _nothing() -> None:
    """Do nothing: what takes time is to load this module and all that its package needs."""


def _end_with_parent() -> None:
    """End this process when its parent is gone: a killed run must leave nobody at work."""
    # What a worker made is on the disk: it ends at once, and nobody waits while it tidies up.
    util.Finalize(None, os._exit, args=(0,), exitpriority=-1000)
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
