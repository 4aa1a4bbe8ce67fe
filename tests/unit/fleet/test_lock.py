"""Two runs on one plan folder cannot meet, and a killed one blocks nobody."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from geoplan.errors import PlanFileError
from geoplan.fleet import plan_folder
from geoplan.fleet.folder import parts_of
from geoplan.fleet.lock import alone
from tests.sites.test_whole_runs import two_ponds

_HOLDER = """
import sys, time
from pathlib import Path
from geoplan.fleet.folder import parts_of
from geoplan.fleet.lock import alone
out = Path(sys.argv[1])
with alone(parts_of(out), str(out)):
    print("held", flush=True)
    time.sleep(600)
"""


def holder(out: Path) -> "subprocess.Popen[str]":
    """Another process that holds a plan folder, once it does."""
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[3])}
    run = subprocess.Popen(
        [sys.executable, "-c", _HOLDER, str(out)],
        env=environment,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert run.stdout is not None
    assert run.stdout.readline() == "held\n"
    return run


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_a_second_run_is_refused_in_words_until_the_first_is_killed(tmp_path: Path) -> None:
    site, out = two_ponds(tmp_path), tmp_path / "plan"
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[3])}
    command = [sys.executable, "-m", "geoplan", "plan", str(site), "-o", str(out)]
    with holder(out) as first:
        with pytest.raises(PlanFileError, match="another run is writing"):
            plan_folder(site, out, workers=1)
        second = subprocess.run(
            command, env=environment, capture_output=True, text=True, check=False
        )
        assert second.returncode == 2
        assert "another run is writing" in second.stdout + second.stderr
        assert not out.exists()
        first.send_signal(signal.SIGKILL)
        first.wait()
    with alone(parts_of(out), str(out)):  # nothing of the killed one is in the way
        pass


def test_the_lock_ends_with_what_it_was_taken_for_even_where_that_fails(tmp_path: Path) -> None:
    store = parts_of(tmp_path / "plan")
    with pytest.raises(ValueError, match="on the way"), alone(store, "plan"):
        raise ValueError("on the way")
    with alone(store, "plan"):
        store.forget_all_but([])
        with pytest.raises(PlanFileError), alone(store, "plan"):
            pass
    store.folder.joinpath("lock").unlink()
    with alone(store, "plan"):
        pass
