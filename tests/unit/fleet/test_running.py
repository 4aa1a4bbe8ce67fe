"""Many pieces of work: each done once, whatever dies."""

import io
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from geoplan.errors import GeoplanError
from geoplan.fleet.crew import Crew, Standing
from geoplan.fleet.progress import ShownProgress
from geoplan.fleet.running import Task, grouped, run_all, work
from geoplan.fleet.store import PartStore
from tests.unit.fleet import jobs


def key(number: int) -> str:
    return f"{number:064x}"


def tasks(count: int, function: object = jobs.square, *before: object) -> list[Task]:
    return [
        Task(key(k), f"w{k}", 1.0 + k % 3, function, (*before, float(k)))  # type: ignore[arg-type]
        for k in range(count)
    ]


@pytest.fixture
def store(tmp_path: Path) -> PartStore:
    return PartStore(tmp_path / "parts")


@pytest.mark.parametrize(
    "crew", [Crew(1), Crew(2), Crew(executor=ThreadPoolExecutor(3))], ids=["one", "two", "any"]
)
def test_every_result_is_in_the_store(store: PartStore, crew: Crew) -> None:
    assert run_all(tasks(20), store, crew, "work") == {}
    assert [store.load(key(k)) for k in range(20)] == [k * k for k in range(20)]


def test_one_that_fails_is_told_and_the_rest_go_on(store: PartStore) -> None:
    mixed = [*tasks(5), Task(key(9), "bad", 1.0, jobs.refuse, (9.0,))]
    failures = run_all(mixed, store, Crew(1), "work")
    assert list(failures) == ["bad"]
    assert "9.0 is refused" in failures["bad"]
    assert "jobs.py" in failures["bad"]
    assert all(store.load(key(k)) == k * k for k in range(5))


def test_what_is_finished_is_not_done_again(store: PartStore, tmp_path: Path) -> None:
    log = tmp_path / "log"
    log.mkdir()
    run_all(tasks(6, jobs.note_and_square, str(log)), store, Crew(1), "work")
    store.path_of(key(2)).write_bytes(b"half")
    run_all(tasks(7, jobs.note_and_square, str(log)), store, Crew(1), "work")
    done = sorted(int(path.name.split("-")[0]) for path in log.iterdir())
    assert done == [0, 1, 2, 2, 3, 4, 5, 6]


def test_a_lost_worker_costs_no_result(store: PartStore, tmp_path: Path) -> None:
    once = Task(key(99), "once", 50.0, jobs.die_once, (str(tmp_path / "died"),))
    assert run_all([once, *tasks(12)], store, Crew(2), "work") == {}
    assert store.load(key(99)) == "done"
    assert all(store.load(key(k)) == k * k for k in range(12))


def test_a_water_that_kills_its_worker_is_told_and_blames_no_other(store: PartStore) -> None:
    killer = Task(key(99), "killer", 50.0, jobs.die, ())
    failures = run_all([killer, *tasks(12)], store, Crew(2), "work")
    assert list(failures) == ["killer"]
    assert "memory" in failures["killer"]
    assert all(store.load(key(k)) == k * k for k in range(12))


def test_another_version_on_a_worker_stops_the_run() -> None:
    with pytest.raises(GeoplanError, match="another version"):
        work(tasks(1), None, "0" * 64)


def test_large_ones_first_and_small_ones_together_in_the_order_of_the_site() -> None:
    weights = [1.0 + k % 3 for k in range(200)]
    weights[50], weights[150], weights[199] = 20.0, 30.0, 10.0
    many = [Task(key(k), f"w{k}", weight, jobs.square, (0.0,)) for k, weight in enumerate(weights)]
    groups = grouped(many, 2)
    flat = [task.name for group in groups for task in group]
    # A hundredth of what each of two does is 2.3: all of 3 are more, the largest before them.
    first = [f"w{k}" for k in (150, 50, 199, *(k for k in range(200) if weights[k] == 3.0))]
    assert flat[: len(first)] == first
    assert flat[len(first) :] == [f"w{k}" for k in range(200) if f"w{k}" not in first]
    sizes = [len(group) for group in groups]
    assert sizes[0] < max(sizes) <= 8
    assert sizes[-1] == 1


def test_every_task_is_told_once_and_failures_with_their_reason(store: PartStore) -> None:
    told: dict[str, str] = {}
    mixed = [*tasks(5), Task(key(9), "bad", 1.0, jobs.refuse, (9.0,))]
    run_all(mixed[:2], store, Crew(1), "work")

    def tell(task: Task, reason: str) -> None:
        assert task.name not in told
        assert bool(reason) == (store.data_of(task.key) is None)
        told[task.name] = reason

    run_all(mixed, store, Crew(2), "work", told=tell)
    assert set(told) == {"w0", "w1", "w2", "w3", "w4", "bad"}
    assert "9.0 is refused" in told["bad"]


def test_a_killed_run_leaves_nobody_at_work(tmp_path: Path) -> None:
    code = f"""
from pathlib import Path
from geoplan.fleet.crew import Crew
from geoplan.fleet.running import run_all
from geoplan.fleet.store import PartStore
from tests.unit.fleet import jobs
from tests.unit.fleet.test_running import tasks
if __name__ == "__main__":
    run_all(tasks(400, jobs.slow_square), PartStore(Path({str(tmp_path)!r})), Crew(2), "work")
"""
    script = tmp_path / "run.py"
    script.write_text(code)
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[3])}
    with subprocess.Popen([sys.executable, str(script)], env=environment) as run:
        patience = time.monotonic() + 60
        while not list(tmp_path.glob("*/*")) and time.monotonic() < patience:
            time.sleep(0.1)
        run.send_signal(signal.SIGKILL)
    kept = -1
    while kept != len(list(tmp_path.glob("*/*"))) and time.monotonic() < patience:
        kept = len(list(tmp_path.glob("*/*")))
        time.sleep(1.5)
    assert 0 < kept < 400  # workers left alone would have gone on to the last


def test_processes_that_have_done_much_are_replaced(tmp_path: Path) -> None:
    standing = Standing(2)
    try:
        hands = standing.hands(2, tmp_path, pieces=10)
        first = hands.executor.submit(os.getpid).result()
        standing.renew()
        assert standing.hands(2, tmp_path, pieces=100) is hands
        standing.renew()
        renewed = standing.hands(2, tmp_path)
        assert renewed.executor.submit(os.getpid).result() != first
    finally:
        standing.end()


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_on_a_terminal_says_what_is_left() -> None:
    now = [0.0]
    stream = Terminal()
    show = ShownProgress(stream, lambda: now[0])
    for done in range(1, 5):
        now[0] += 30.0
        show("planning", done, 4, done / 4)
    lines = stream.getvalue().split("\r")
    assert lines[1].strip() == "planning: 2 of 4, 1 min left" or "left" in lines[1]
    assert lines[-1] == "planning: 4 of 4" + " " * (len(lines[-1].rstrip("\n")) - 16) + "\n"


def test_progress_in_a_pipe_is_a_line_a_minute_and_none_for_short_work() -> None:
    now = [0.0]
    stream = io.StringIO()
    show = ShownProgress(stream, lambda: now[0])
    for done in range(1, 301):
        now[0] += 1.0
        show("planning", done, 300, done / 300)
    lines = stream.getvalue().splitlines()
    assert len(lines) == 5
    assert lines[0].startswith("planning: 61 of 300, ")
    assert lines[-1] == "planning: 300 of 300"
    short = io.StringIO()
    show = ShownProgress(short, lambda: now[0])
    show("planning", 1, 1, 1.0)
    assert short.getvalue() == ""
