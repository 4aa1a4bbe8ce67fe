"""Sharing one stock, and plan folders that appear whole or not at all."""

from dataclasses import replace
from pathlib import Path

import pytest

from geoplan.errors import PlanFileError
from geoplan.fleet import refuse_foreign_folder, whole_or_nothing
from geoplan.fleet.sharing import shared_out
from geoplan.plan import PlacedRaft, SolveReport, WaterPlan
from geoplan.settings import Settings


def water(water_id: str, worths: list[float], kind: str = "a") -> WaterPlan:
    rafts = tuple(
        PlacedRaft(
            f"{water_id}-{k}",
            water_id,
            kind,
            0,
            0,
            0,
            4,
            2,
            8,
            8,
            2,
            0.5,
            3,
            None,
            None,
            worth,
            None,
        )
        for k, worth in enumerate(worths)
    )
    report = SolveReport("", "", sum(worths), sum(worths), "", 0, 0)
    return WaterPlan(water_id, "", "", rafts, (), (), (), (), report, 0.0, 0.0)


def settings(**parts: object) -> Settings:
    raft = {"name": "a", "length_m": 4, "width_m": 2, "draft_m": 0.2, "stock": 3, "cost": 10.0}
    levels = {"low_m": 0, "normal_m": 1, "high_m": 2}
    return Settings.model_validate(
        {"name": "s", "levels": levels, "raft": [raft | parts.pop("raft", {})]} | parts
    )  # type: ignore[operator]


def test_the_rafts_worth_most_keep_their_place() -> None:
    waters = [water("p", [0.9, 0.2]), water("q", [0.8, 0.7, 0.1])]
    assert shared_out(waters, settings()) == {"p": {"a": 1}, "q": {"a": 2}}


def test_a_pond_with_more_inflow_comes_first() -> None:
    waters = [water("p", [0.9, 0.9, 0.9]), replace(water("q", [0.2, 0.2]), inflow_l_s=10.0)]
    assert shared_out(waters, settings()) == {"p": {"a": 1}, "q": {"a": 2}}


def test_nothing_changes_where_the_stock_suffices() -> None:
    waters = [water("p", [0.9]), water("q", [0.8])]
    assert shared_out(waters, settings()) == {"p": {"a": 1}, "q": {"a": 1}}


def test_a_water_left_without_is_told_so() -> None:
    waters = [water("p", [0.9, 0.9, 0.9]), water("q", [0.1])]
    assert shared_out(waters, settings())["q"] == {"a": 0}


def test_budget_limits_across_waters() -> None:
    waters = [water("p", [0.9, 0.2]), water("q", [0.8])]
    shares = shared_out(waters, settings(raft={"stock": None}, budget={"limit": 25.0}))
    assert shares == {"p": {"a": 1}, "q": {"a": 1}}


def test_a_failed_run_leaves_the_earlier_plan_whole(tmp_path: Path) -> None:
    out = tmp_path / "plan"
    out.mkdir()
    (out / "plan.json").write_text("earlier")
    with pytest.raises(RuntimeError), whole_or_nothing(out) as part:
        (part / "plan.json").write_text("half")
        raise RuntimeError
    assert (out / "plan.json").read_text() == "earlier"
    assert [path.name for path in tmp_path.iterdir()] == ["plan"]


def test_a_run_killed_between_renames_is_mended(tmp_path: Path) -> None:
    earlier = tmp_path / ".plan.earlier"
    earlier.mkdir()
    (earlier / "plan.json").write_text("earlier")
    out = tmp_path / "plan"
    with pytest.raises(RuntimeError), whole_or_nothing(out):
        raise RuntimeError
    assert (out / "plan.json").read_text() == "earlier"


def test_a_new_plan_takes_the_place_of_the_earlier(tmp_path: Path) -> None:
    out = tmp_path / "plan"
    for text in ("one", "two"):
        with whole_or_nothing(out) as part:
            (part / "plan.json").write_text(text)
    assert (out / "plan.json").read_text() == "two"
    assert [path.name for path in tmp_path.iterdir()] == ["plan"]


def test_a_folder_that_is_not_a_plan_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "holiday.jpg").write_text("x")
    with pytest.raises(PlanFileError, match="no plan"):
        refuse_foreign_folder(tmp_path)
    with pytest.raises(PlanFileError, match="is a file"):
        refuse_foreign_folder(tmp_path / "holiday.jpg")
