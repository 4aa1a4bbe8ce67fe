"""Plans are handed on as they arrive: in order, once for all readers, who take turns."""

import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from geoplan.fleet.arriving import Arrival, Arriving, GivenUpError
from geoplan.fleet.kept import found
from geoplan.fleet.store import PartStore, packed

COUNT = 12
KEYS = [f"{k:064x}" for k in range(COUNT)]
NAMES = [f"w{k}" for k in range(COUNT)]


@pytest.fixture
def store(tmp_path: Path) -> PartStore:
    """A store in which a text stands for each plan."""
    made = PartStore(tmp_path / "parts")
    made.open()
    for key, name in zip(KEYS, NAMES, strict=True):
        made.keep(key, packed(name))
    return made


@contextmanager
def readers(arrival: Arrival, *read: Callable[[Arriving], Any]) -> Iterator[list["Future[Any]"]]:
    """Threads that read; whoever still waits at the end is let go."""

    def one(function: Callable[[Arriving], Any]) -> Any:
        with arrival.reading():
            return function(Arriving(arrival, NAMES))

    with ThreadPoolExecutor(len(read)) as threads:
        try:
            yield [threads.submit(one, function) for function in read]
        finally:
            arrival.give_up()


def done(futures: list["Future[Any]"]) -> list[Any]:
    return [future.result(timeout=30) for future in futures]


def test_every_reader_gets_all_in_the_order_of_the_site(store: PartStore) -> None:
    arrival = Arrival(store, KEYS)
    with readers(arrival, list, tuple, lambda some: [some[k] for k in (3, -1)]) as futures:
        for k in (5, 0, 1, 11, 2, 4, 3, 6, 10, 9, 8, 7):
            arrival.tell(KEYS[k])
        assert done(futures) == [NAMES, tuple(NAMES), ["w3", "w11"]]


def test_a_plan_is_read_once_for_all_and_nobody_is_beside_another(
    store: PartStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    read, at_work = [], []

    def counted(place: PartStore, key: str) -> Any:
        read.append(key)
        return found(place, key)

    monkeypatch.setattr("geoplan.fleet.arriving.found", counted)

    def busy(some: Arriving) -> int:
        for _ in some:
            at_work.append(threading.get_ident())
            begun = len(at_work)
            time.sleep(0.002)
            assert len(at_work) == begun  # none began before this one asked for the next
        return len(some)

    arrival = Arrival(store, KEYS)
    with readers(arrival, busy, busy, busy, busy) as futures:
        for key in KEYS:
            arrival.tell(key)
        assert done(futures) == [COUNT] * 4
    assert read == KEYS


def test_who_waits_is_served_what_has_arrived_and_costs_nothing(store: PartStore) -> None:
    arrival = Arrival(store, KEYS)
    seen: list[str] = []

    def note(some: Arriving) -> None:
        seen.extend(map(str, some))

    with readers(arrival, note, list) as futures:
        for key in KEYS[:4]:
            arrival.tell(key)
        patience = time.monotonic() + 30
        while len(seen) < 4 and time.monotonic() < patience:
            time.sleep(0.01)
        before = time.process_time()
        time.sleep(0.5)
        assert time.process_time() - before < 0.1
        assert seen == NAMES[:4]
        assert not any(future.done() for future in futures)
        for key in KEYS[4:]:
            arrival.tell(key)
        done(futures)
    assert seen == NAMES


def test_who_waits_for_the_readers_finds_all_done_that_can_be(store: PartStore) -> None:
    arrival = Arrival(store, KEYS)
    seen: list[list[str]] = [[], [], []]

    def into(mine: list[str]) -> Callable[[Arriving], None]:
        def note(some: Arriving) -> None:
            for name in some:
                time.sleep(0.002)
                mine.append(str(name))

        return note

    with readers(arrival, *map(into, seen)) as futures:
        for k, key in enumerate(KEYS):
            arrival.tell(key)
            arrival.wait_until_idle(len(seen))
            assert seen == [NAMES[: k + 1]] * 3
        done(futures)
        arrival.wait_until_idle(len(seen))  # nobody is left


def test_who_waits_for_readers_that_give_up_goes_on(store: PartStore) -> None:
    arrival = Arrival(store, KEYS)
    with ThreadPoolExecutor(1) as threads:
        waiting = threads.submit(arrival.wait_until_idle, 2)
        arrival.give_up()
        assert waiting.result(timeout=30) is None


def test_what_is_given_up_stops_every_reader(store: PartStore) -> None:
    arrival = Arrival(store, KEYS)
    with readers(arrival, list, list) as futures:
        arrival.tell(KEYS[0])
        arrival.give_up()
        for future in futures:
            with pytest.raises(GivenUpError):
                future.result(timeout=30)
    with pytest.raises(GivenUpError), arrival.reading():
        pass


def test_a_reader_that_fails_leaves_its_turn_to_the_others(store: PartStore) -> None:
    arrival = Arrival(store, KEYS)

    def fails(some: Arriving) -> None:
        raise OSError(f"no room for {some[0]}")

    with readers(arrival, fails, list) as futures:
        for key in KEYS:
            arrival.tell(key)
        with pytest.raises(OSError, match="no room for w0"):
            futures[0].result(timeout=30)
        assert futures[1].result(timeout=30) == NAMES


def test_some_of_them_lie_side_by_side(store: PartStore) -> None:
    arrival = Arrival(store, KEYS)
    with readers(arrival, lambda some: [list(some[4:9][1:]), some[4:9].names]) as futures:
        for key in KEYS:
            arrival.tell(key)
        assert done(futures) == [[NAMES[5:9], tuple(NAMES[4:9])]]
    with pytest.raises(ValueError, match="side by side"):
        Arriving(arrival, NAMES)[::2]
    with pytest.raises(IndexError):
        Arriving(arrival, NAMES)[COUNT]
