"""
Plans of water bodies in the order of the site, each handed on as soon as it is finished.

Several readers go through them, each in a thread of its own, and take turns: one is at work at a
time, the one that is furthest behind of those whose next plan is there. So each plan is read from
the store once for all of them, no more than that one is held, and nothing is done by two threads at
once. A reader whose next plan is not there yet sleeps.
"""

import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, overload

from geoplan.fleet.kept import found
from geoplan.fleet.store import PartStore
from geoplan.plan import WaterPlan

#: Where a reader stands that has not asked for a plan yet: whatever has arrived, it may begin.
_BEGINNING = -1


class GivenUpError(Exception):
    """What arrives will not be whole: whoever reads it stops."""


class Arrival:
    """
    What has arrived, and whose turn it is.

    Parameters
    ----------
    store : PartStore
        Where plans lie as soon as they are finished.
    keys : sequence of str
        Their keys, in the order of the site.
    """

    def __init__(self, store: PartStore, keys: Sequence[str]) -> None:
        self._store = store
        self._keys = tuple(keys)
        self._index = {key: index for index, key in enumerate(self._keys)}
        self._arrived = {_BEGINNING}
        self._lock = threading.Lock()
        self._idle = threading.Condition(self._lock)
        self._begun = 0
        self._waiting: dict[int, int] = {}
        self._called: dict[int, threading.Event] = {}
        self._turn: int | None = None
        self._is_given_up = False
        self._held: tuple[int, Any] = (_BEGINNING, None)

    def tell(self, key: str) -> None:
        """
        Take in that a plan is in the store.

        Parameters
        ----------
        key : str
            Its key.
        """
        with self._lock:
            self._arrived.add(self._index[key])
            self._call_next()

    def give_up(self) -> None:
        """Wake all readers, and let each stop where it asks for a plan."""
        with self._lock:
            self._is_given_up = True
            for event in self._called.values():
                event.set()
            self._idle.notify_all()

    def wait_until_idle(self, readers: int) -> None:
        """
        Sleep until readers have done all that can be done with what has arrived.

        Parameters
        ----------
        readers : int
            How many there are, or will be [1].
        """
        with self._idle:
            self._idle.wait_for(
                lambda: self._is_given_up or (self._begun == readers and self._turn is None)
            )

    @contextmanager
    def reading(self) -> Iterator[None]:
        """
        Let this thread be a reader, from its first turn to its last.

        Yields
        ------
        None
            When it is its turn.

        Raises
        ------
        GivenUpError
            If all is given up.
        """
        me = threading.get_ident()
        with self._lock:
            self._called[me] = threading.Event()
            self._begun += 1
        try:
            self._wait_for(_BEGINNING)
            yield
        finally:
            with self._lock:
                del self._called[me]
                self._waiting.pop(me, None)
                if self._turn == me:
                    self._turn = None
                self._call_next()

    def plan_at(self, index: int) -> WaterPlan:
        """
        Return a plan, when it has arrived and it is this reader's turn.

        Parameters
        ----------
        index : int
            Its place in the order of the site.

        Returns
        -------
        WaterPlan
            Read from the store, if no other reader was given it just before.

        Raises
        ------
        GivenUpError
            If all is given up.
        PlanFileError
            If it is gone.
        """
        self._wait_for(index)
        # Nobody else is here: it is this reader's turn.
        if self._held[0] != index:
            self._held = (_BEGINNING, None)  # never two at a time
            self._held = (index, found(self._store, self._keys[index]))
        plan: WaterPlan = self._held[1]
        return plan

    def _wait_for(self, index: int) -> None:
        """Let others go on, and sleep until a plan is there and it is this reader's turn."""
        me = threading.get_ident()
        called = self._called[me]
        with self._lock:
            if self._turn == me:
                self._turn = None
            self._waiting[me] = index
            called.clear()
            self._call_next()
            is_given_up = self._is_given_up
        if not is_given_up:
            called.wait()
        if self._is_given_up:
            raise GivenUpError

    def _call_next(self) -> None:
        """Call the reader that is furthest behind of those whose plan is there, if none has it."""
        if self._turn is not None:
            return
        ready = [(at, reader) for reader, at in self._waiting.items() if at in self._arrived]
        if ready:
            self._turn = min(ready)[1]
            del self._waiting[self._turn]
            self._called[self._turn].set()
        else:
            self._idle.notify_all()


class Arriving(Sequence[WaterPlan]):
    """
    Plans that are waited for where they have not arrived.

    Parameters
    ----------
    arrival : Arrival
        What has arrived; whoever asks for a plan is one of its readers.
    names : sequence of str
        ``water_id`` of each that is to come, in the order of the site.
    begin : int
        Place of the first of them there.

    Attributes
    ----------
    names : tuple of str
        The same.
    """

    def __init__(self, arrival: Arrival, names: Sequence[str], begin: int = 0) -> None:
        self._arrival = arrival
        self._begin = begin
        self.names = tuple(names)

    def __len__(self) -> int:
        """Return how many there will be."""
        return len(self.names)

    @overload
    def __getitem__(self, index: int) -> WaterPlan: ...
    @overload
    def __getitem__(self, index: slice) -> "Arriving": ...
    def __getitem__(self, index: int | slice) -> "WaterPlan | Arriving":
        """Return one, when it has arrived, or some that lie side by side, at once."""
        places = range(len(self.names))[index]
        if isinstance(places, range):
            if places.step != 1:
                raise ValueError("plans that arrive are taken side by side")
            return Arriving(self._arrival, self.names[index], self._begin + places.start)
        return self._arrival.plan_at(self._begin + places)
