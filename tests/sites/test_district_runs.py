"""A small district from files to files: killed runs, changed soundings, lost disks and failures."""

import csv
import hashlib
import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from geoplan.errors import ExportError
from geoplan.fleet import Crew, plan_folder
from geoplan.fleet import planning as fleet_planning
from geoplan.fleet.kept import Kept
from tests.sites.test_whole_runs import digest, two_ponds


@pytest.fixture(scope="module")
def district(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A site of two ponds with a yard, and its plan made without interruption."""
    folder = tmp_path_factory.mktemp("district")
    path = two_ponds(folder)
    record = json.loads(path.read_text())
    record["site"]["yard"] = {"longitude_deg": 9.28, "latitude_deg": 56.1, "rafts_per_trip": 2}
    path.write_text(json.dumps(record))
    outcome = plan_folder(path, folder / "plan", workers=2)
    assert outcome.audit.passed
    return path, folder / "plan"


def parts(out: Path) -> dict[str, int]:
    """The kept parts, each with when it was written."""
    folder = out.parent / f".{out.name}.parts"
    return {path.name: path.stat().st_mtime_ns for path in folder.glob("*/*")}


def test_runs_killed_at_random_moments_end_in_the_same_bytes(
    district: tuple[Path, Path], tmp_path: Path
) -> None:
    site, plan = district
    out = tmp_path / "plan"
    command = [sys.executable, "-m", "geoplan", "plan", str(site), "-o", str(out)]
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    moments = random.Random(7)  # noqa: S311 - moments of a test
    kept: dict[str, int] = {}
    for _ in range(4):
        with subprocess.Popen(
            command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        ) as run:
            time.sleep(moments.uniform(2.0, 14.0))
            run.send_signal(signal.SIGKILL)
        now = {name: when for name, when in parts(out).items() if "." not in name}
        assert all(now.get(name) == when for name, when in kept.items())  # none is done again
        kept = now
    subprocess.run(command, env=environment, capture_output=True, check=True)
    ours = digest(out)
    theirs = digest(plan)
    # The way to the site is another one from here; all else is the same.
    ours.pop("plan.json")
    theirs.pop("plan.json")
    assert ours == theirs
    one, other = (json.loads((f / "plan.json").read_text()) for f in (out, plan))
    assert one | {"site_location": ""} == other | {"site_location": ""}


def test_one_changed_sounding_plans_one_pond_again(
    district: tuple[Path, Path], tmp_path: Path
) -> None:
    site, _ = district
    record = json.loads(site.read_text())
    own = tmp_path / "site.geojson"
    own.write_text(json.dumps(record))
    plan_folder(own, tmp_path / "plan", workers=1)
    before = parts(tmp_path / "plan")
    # A curve and a plan of each; of the bound one: no raft in the other can be worth its price.
    assert len(before) == 5
    at = [k for k, f in enumerate(record["features"]) if f["properties"]["layer"] == "soundings"][5]
    record["features"][at]["properties"]["depth_m"] += 0.01
    own.write_text(json.dumps(record))
    plan_folder(own, tmp_path / "plan", workers=1)
    after = parts(tmp_path / "plan")
    same = {name for name, when in before.items() if after.get(name) == when}
    assert len(same) in {2, 3}  # the bound asks for prices, which may be others now
    assert len(after) == 5


def test_a_full_disk_is_told_and_the_earlier_plan_stands(
    district: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    site, plan = district
    before = digest(plan)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("geoplan.fleet.folder.write_plan", full)
    with pytest.raises(ExportError, match=r"No space left.*make room and run the same"):
        plan_folder(site, plan, workers=1)
    assert digest(plan) == before


def test_a_pond_that_fails_is_told_and_the_other_is_planned(
    district: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site, _ = district
    real = fleet_planning.weighed

    def fails(body: object, *rest: object) -> object:
        if body.water_id == "p0":  # type: ignore[attr-defined]
            raise ValueError("the bed is on fire")
        return real(body, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(fleet_planning, "weighed", fails)
    outcome = plan_folder(site, tmp_path / "plan", crew=Crew(1))
    assert [failure.water_id for failure in outcome.plan.failures] == ["p0"]
    assert "on fire" in outcome.plan.failures[0].reason
    assert [water.water_id for water in outcome.plan.waters] == ["p1"]
    assert len(outcome.plan.waters[0].rafts) == 5
    record = json.loads((tmp_path / "plan" / "plan.json").read_text())
    assert record["failed_water_bodies"][0]["water_id"] == "p0"


@pytest.mark.parametrize("most_proven", [1, 2])
def test_large_districts_have_the_same_rafts_and_a_shorter_effect(
    most_proven: int,
    district: tuple[Path, Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    site, plan = district
    monkeypatch.setattr(fleet_planning, "_MOST_JUDGED_AGAIN", 1)
    monkeypatch.setattr(fleet_planning, "_MOST_PROVEN", most_proven)
    monkeypatch.setattr("geoplan.fleet.kept.MOST_HELD", 1)
    outcome = plan_folder(site, tmp_path / "plan", workers=1)
    assert outcome.audit.passed
    made = outcome.plan
    certified = [water.certificate is not None for water in made.waters]
    assert certified == [bool(water.rafts) and most_proven > 1 for water in made.waters]
    assert isinstance(made.waters, Kept)
    assert all(water.effect and not water.effect.sensitivity for water in made.waters)
    # The bound of the district, which the allocation tells, is another one where none is proven.
    same = ["setting_out.csv", "cover.csv", "logistics.csv", "allocation.csv"][: 2 + most_proven]
    for name in same:
        assert (tmp_path / "plan" / name).read_bytes() == (plan / name).read_bytes()


def test_the_tables_of_a_district_say_who_gets_what(district: tuple[Path, Path]) -> None:
    _, plan = district
    with (plan / "allocation.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["kind"] for row in rows] == [
        *("water", "water", "stock", "budget", "total", "policy", "policy")
    ]
    assert sum(int(row["raft_count"]) for row in rows[:2]) == 5
    assert all(row["raft_count"] == row["placed_count"] for row in rows[:2])
    assert all(row["why"] for row in rows[:2])
    assert float(rows[2]["used"]) == float(rows[2]["most"]) == 5
    assert float(rows[2]["price_of_one_more"]) > 0
    assert float(rows[4]["worth"]) <= float(rows[4]["worth_bound"])
    with (plan / "logistics.csv").open(encoding="utf-8-sig", newline="") as file:
        visits = list(csv.DictReader(file))
    assert sum(int(row["raft_count"]) for row in visits) == 5
    assert all(0 < int(row["raft_count"]) <= 2 for row in visits)
    page = (plan / "district.html").read_text(encoding="utf-8")
    assert page.count("<script") == 1
    assert "5 rafts for" in page


def test_hashes_differ_where_files_do(district: tuple[Path, Path]) -> None:
    site, plan = district
    record = json.loads((plan / "plan.json").read_text())
    assert record["inputs"][0]["sha256"] == hashlib.sha256(site.read_bytes()).hexdigest()
    assert record["allocation"]["gap_pct"] <= 1e-3
    # No plan of the district beats its bound, least of all the one that was made.
    placed = sum(water["value"] for water in record["water_bodies"])
    assert placed <= record["allocation"]["bound"]
    assert record["allocation"]["district_gap_pct"] < 5
