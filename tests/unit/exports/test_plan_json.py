"""``plan.json``: the keys others build on, no NaN, the same bytes twice, faults in words."""

import json
import tracemalloc
from dataclasses import replace
from pathlib import Path

import pytest

from geoplan.errors import ExportError, PlanFileError
from geoplan.exports import plan_json
from tests.unit.exports import small_plan as small

KEYS = {
    *("site", "crs", "water_bodies", "audit", "settings", "defaults_used", "inputs", "versions"),
    *("seed", "geoplan_plan", "site_location", "time_limit_s", "kept_from"),
}
WATER_KEYS = {
    *("water_id", "name", "raft_count", "raft_area_m2", "water_area_m2", "cover_pct"),
    *("load_in_g_d", "load_out_g_d", "load_out_without_rafts_g_d", "removed_g_d"),
    *("removed_range_g_d", "relative", "value", "bound", "gap_pct", "unit", "why_none"),
    *("unsurveyed_pct", "room_m2", "notes", "explanation"),
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    plan_json.write(small.plan(), small.site(), tmp_path, small.audit())
    return tmp_path


def test_the_keys_that_others_build_on_are_there(folder: Path) -> None:
    record = plan_json.load(folder)
    assert record.keys() >= KEYS
    assert all(water.keys() >= WATER_KEYS for water in record["water_bodies"])
    assert record["site"] == small.HOSTILE[0]
    assert record["site_location"] == "../site"
    assert record["seed"] == 7
    assert record["inputs"][0] == {"path": "site.toml", "sha256": "0" * 64}


def test_cover_is_raft_area_over_water_area(folder: Path) -> None:
    upper = plan_json.load(folder)["water_bodies"][1]
    assert upper["raft_count"] == 3
    for level in ("low", "normal", "high"):
        share = 100 * upper["raft_area_m2"] / upper["water_area_m2"][level]
        assert upper["cover_pct"][level] == pytest.approx(share, rel=1e-9)


def test_gap_is_what_the_bound_leaves(folder: Path) -> None:
    upper = plan_json.load(folder)["water_bodies"][1]
    assert upper["gap_pct"] == pytest.approx(100 * (24.0 - 23.5) / 24.0)
    assert upper["relative"] is True


def test_the_choice_is_explained_without_a_clock(folder: Path) -> None:
    why = plan_json.load(folder)["water_bodies"][1]["explanation"]
    assert why.keys() == {
        *("stopped_by", "is_stopped_by_time", "rounds", "frames_tried", "seed"),
        *("kept_raft_count", "prices", "why_not", "yields", "alternatives"),
    }
    assert why["stopped_by"] == "closed"
    assert why["prices"][0] == {
        "limit": small.HOSTILE[3],
        "step": "one more raft",
        "most": 1.25,
        "unit": small.REPORT.unit,
    }
    assert [part["rule"] for part in why["why_not"]] == ["bank", "free"]
    assert why["alternatives"][0]["cost_pct"] == 4.25
    assert why["kept_raft_count"] == 1


def test_only_failures_are_given_in_full(folder: Path) -> None:
    audit = plan_json.load(folder)["audit"]
    assert audit["passed"] is False
    assert audit["checks"] == {
        "bank": {"made": 2, "failed": 1},
        "cover": {"made": 1, "failed": 0},
    }
    assert [row["raft_id"] for row in audit["findings"]] == [small.HOSTILE[2]]


def test_defaults_are_listed_with_their_source(folder: Path) -> None:
    used = {row["key"]: row for row in plan_json.load(folder)["defaults_used"]}
    assert used["clearances.gap_m"]["source"].startswith("judgement")
    assert "name" not in used


def test_a_plan_not_audited_has_no_verdict(tmp_path: Path) -> None:
    plan_json.write(small.plan(), small.site(), tmp_path, None)
    assert plan_json.load(tmp_path)["audit"]["passed"] is None


def test_numbers_that_json_does_not_know_are_null(tmp_path: Path) -> None:
    plan = small.plan()
    waters = (replace(plan.waters[0], room_m2=float("nan")), plan.waters[1])
    plan_json.write(replace(plan, waters=waters), small.site(), tmp_path, small.audit())
    text = (tmp_path / "plan.json").read_text("utf-8")
    assert "NaN" not in text
    assert json.loads(text)["water_bodies"][0]["room_m2"] is None


def test_the_same_plan_gives_the_same_bytes(folder: Path) -> None:
    first = (folder / "plan.json").read_bytes()
    plan_json.write(small.plan(), small.site(), folder, small.audit())
    assert (folder / "plan.json").read_bytes() == first


@pytest.mark.parametrize("count", [0, 1, 2])
def test_written_piece_by_piece_it_is_as_one_text(tmp_path: Path, count: int) -> None:
    plan = small.plan()
    plan_json.write(replace(plan, waters=plan.waters[:count]), small.site(), tmp_path, None)
    text = (tmp_path / "plan.json").read_text("utf-8")
    assert len(json.loads(text)["water_bodies"]) == count
    assert text == json.dumps(json.loads(text), indent=1, ensure_ascii=False) + "\n"


def test_memory_does_not_grow_with_the_number_of_water_bodies(tmp_path: Path) -> None:
    plan = small.plan()
    plan_json.write(plan, small.site(), tmp_path, None)  # what is loaded once is loaded
    peaks, sizes = [], []
    for count in (1, 200):
        tracemalloc.start()
        many = replace(plan, waters=(plan.waters[1],) * count)
        plan_json.write(many, small.site(), tmp_path, None)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
        sizes.append((tmp_path / "plan.json").stat().st_size)
    assert peaks[1] - peaks[0] < (sizes[1] - sizes[0]) / 10


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "cannot be read"),
        ("[]", "found layout None"),
        ('{"geoplan_plan": 99}', "found layout 99"),
    ],
)
def test_a_spoilt_file_is_told(tmp_path: Path, text: str, words: str) -> None:
    (tmp_path / "plan.json").write_text(text)
    with pytest.raises(PlanFileError, match=words):
        plan_json.load(tmp_path)


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(PlanFileError, match="is missing"):
        plan_json.load(tmp_path)


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(ExportError, match="could not be written"):
        plan_json.write(small.plan(), small.site(), tmp_path / "none", None)
