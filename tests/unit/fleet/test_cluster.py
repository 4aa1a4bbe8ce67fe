"""A real dask cluster of two worker processes on loopback."""

import os
import signal
import threading
import time
from pathlib import Path

import pytest

from geoplan.errors import GeoplanError
from geoplan.fleet.crew import Crew
from geoplan.fleet.running import run_all
from geoplan.fleet.store import PartStore
from tests.unit.fleet import jobs
from tests.unit.fleet.test_running import key, tasks

distributed = pytest.importorskip("distributed")
pytestmark = pytest.mark.filterwarnings("ignore")  # dask's own, about ports and closing


@pytest.fixture
def cluster() -> object:
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", dashboard_address=None
    ) as made:
        yield made


def test_the_same_results_though_a_worker_is_killed_midway(cluster: object, tmp_path: Path) -> None:
    store = PartStore(tmp_path / "parts")
    victim = next(iter(cluster.workers.values())).pid  # type: ignore[attr-defined]

    def kill() -> None:
        while len(list(store.folder.glob("*/*"))) < 5:
            time.sleep(0.05)
        os.kill(victim, signal.SIGKILL)

    killer = threading.Thread(target=kill, daemon=True)
    killer.start()
    crew = Crew(scheduler=cluster.scheduler_address)  # type: ignore[attr-defined]
    assert run_all(tasks(40, jobs.slow_square), store, crew, "work") == {}
    killer.join(10)
    assert not killer.is_alive()
    assert [store.load(key(k)) for k in range(40)] == [k * k for k in range(40)]


def test_a_failure_comes_back_in_words(cluster: object, tmp_path: Path) -> None:
    crew = Crew(scheduler=cluster.scheduler_address)  # type: ignore[attr-defined]
    store = PartStore(tmp_path / "parts")
    failures = run_all(tasks(2, jobs.refuse), store, crew, "work")
    assert sorted(failures) == ["w0", "w1"]


def test_no_scheduler_is_told(tmp_path: Path) -> None:
    crew = Crew(scheduler="tcp://127.0.0.1:1")
    with pytest.raises(GeoplanError, match="no dask scheduler answers"):
        run_all(tasks(1), PartStore(tmp_path / "parts"), crew, "work")
