"""
Files of a large district that are written while its water bodies are planned.

Whatever goes wrong meanwhile, a water body that cannot be planned or a full disk, all of them are
thrown away and written afterwards, when everything is known: the bytes are the same, and an error
is told then.
"""

import shutil
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import AbstractContextManager, ExitStack
from dataclasses import replace
from functools import partial
from importlib import import_module
from pathlib import Path
from types import TracebackType
from typing import Any

from threadpoolctl import threadpool_limits

from geoplan.district import Logistics
from geoplan.exports import EXPORTS, NEEDS_ALL, RECORD, WITH_VERDICT
from geoplan.fleet.arriving import Arrival, Arriving
from geoplan.fleet.logistics import logistics
from geoplan.fleet.running import Task, Told
from geoplan.fleet.store import PartStore
from geoplan.plan import Plan
from geoplan.site import Site

#: The trips of the crew, which are made in the same way.
_TRIPS = "trips"
_Make = Callable[[Plan, Site], Any]


class EarlyFiles(AbstractContextManager["EarlyFiles"]):
    """
    Files that are written as plans arrive, by threads of this process that take turns.

    Parameters
    ----------
    site : Site
        The site.
    folder : Path
        Empty folder.
    fewest : int
        Of fewer water bodies nothing is written early.
    in_turn : bool
        Whether this process plans as well: what has arrived is then written before it goes on.
    """

    def __init__(self, site: Site, folder: Path, fewest: int, *, in_turn: bool) -> None:
        self._site = site
        self._folder = folder
        self._fewest = fewest
        self._in_turn = in_turn
        self._stack = ExitStack()
        self._arrival: Arrival | None = None
        self._made: dict[str, Future[Any]] = {}

    def begin(self, plan: Plan, tasks: Sequence[Task], store: PartStore) -> Told | None:
        """
        Begin to write the files of a plan that is being made.

        Parameters
        ----------
        plan : Plan
            All of it that is known before water bodies are planned.
        tasks : sequence of Task
            The planning of each, in the order of the site.
        store : PartStore
            Where plans lie when they are finished.

        Returns
        -------
        callable or None
            To be told of each task that is finished, and why it failed; ``None`` where nothing is
            written early.
        """
        if len(tasks) < self._fewest:
            return None
        arrival = self._arrival = Arrival(store, [task.key for task in tasks])
        plan = replace(plan, waters=Arriving(arrival, [task.name for task in tasks]))
        makers: dict[str, _Make] = {
            name: partial(_written, module, self._folder) for name, module in early_files()
        }
        makers[_TRIPS] = logistics
        # Thousands of small matrices: threads of the linear algebra would wait for each other.
        self._stack.enter_context(threadpool_limits(1))
        threads = self._stack.enter_context(ThreadPoolExecutor(len(makers)))
        self._stack.callback(arrival.give_up)  # whoever waits when all ends wakes up
        for name, make in makers.items():
            self._made[name] = threads.submit(self._do, arrival, make, plan)

        def told(task: Task, reason: str) -> None:
            if reason:
                arrival.give_up()
                return
            arrival.tell(task.key)
            if self._in_turn:
                arrival.wait_until_idle(len(makers))

        return told

    def _do(self, arrival: Arrival, make: _Make, plan: Plan) -> Any:
        """Make one thing in a thread; an error stops all of them."""
        try:
            with arrival.reading():
                return make(plan, self._site)
        except BaseException:
            arrival.give_up()
            raise

    def trips(self) -> Logistics | None:
        """
        Return the trips of the crew, when they are known.

        Returns
        -------
        Logistics or None
            ``None`` where there are none, or they were not found here.
        """
        return self._made[_TRIPS].result() if self._is_made(_TRIPS) else None

    def has_record(self) -> bool:
        """
        Tell whether the plan of record is written, when that is settled.

        Returns
        -------
        bool
            If not, the folder is empty, and everything is to be written.
        """
        if self._is_made(RECORD):
            return True
        self._throw_away()
        return False

    def has_all(self) -> bool:
        """
        Tell whether all files that are written early are there, when that is settled.

        Returns
        -------
        bool
            If not, no other file than the plan of record is in the folder.
        """
        if all(self._is_made(name) for name in self._made):
            return True
        self._throw_away(RECORD)
        return False

    def _is_made(self, name: str) -> bool:
        """Tell whether something was made, when its thread has ended."""
        return name in self._made and self._made[name].exception() is None

    def _throw_away(self, *spared: str) -> None:
        """Empty the folder, when nobody writes there any more."""
        if self._arrival is not None:
            self._arrival.give_up()
        for one in self._made.values():
            one.exception()
        for path in self._folder.iterdir():
            if path.is_dir():
                shutil.rmtree(path)
            elif path.name not in spared:
                path.unlink()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End every thread."""
        self._stack.close()


def early_files() -> tuple[tuple[str, str], ...]:
    """
    Return the files that can be written as plans arrive.

    Returns
    -------
    tuple of (str, str)
        Each with the module that writes it: the plan of record without its verdict, and what
        neither states the verdict nor needs what only the whole plan tells.

    Examples
    --------
    >>> [name for name, _ in early_files()][:3]
    ['plan.gpkg', 'certificate.tif', 'cover.csv']
    """
    return tuple(
        one for one in EXPORTS if one[0] == RECORD or one[0] not in WITH_VERDICT | NEEDS_ALL
    )


def _written(module: str, folder: Path, plan: Plan, site: Site) -> None:
    """Write one file, without a verdict."""
    import_module(module).write(plan, site, folder, None)
