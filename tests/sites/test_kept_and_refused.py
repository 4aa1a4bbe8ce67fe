"""The command line on rafts that a person holds, on a time limit, and on sites with no room."""

import json
import sys
from pathlib import Path

import geopandas as gpd
import pytest
from shapely.affinity import translate

from geoplan.__main__ import main
from geoplan.fleet import audit_folder, plan_folder
from tests.sites.test_whole_runs import digest, two_ponds


def run(monkeypatch: pytest.MonkeyPatch, *words: object) -> int:
    monkeypatch.setattr(sys, "argv", ["geoplan", *map(str, words)])
    with pytest.raises(SystemExit) as ended:
        main()
    return int(ended.value.code or 0)


def changed(site: Path, **tables: object) -> Path:
    """The same ponds with some settings changed."""
    record = json.loads(site.read_text("utf-8"))
    record["site"] |= tables
    out = site.with_name("changed.geojson")
    out.write_text(json.dumps(record), encoding="utf-8")
    return out


def raft_of(site: Path, **parts: object) -> list[dict[str, object]]:
    record = json.loads(site.read_text("utf-8"))
    return [record["site"]["raft"][0] | parts]


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The two ponds and their plan."""
    folder = tmp_path_factory.mktemp("ponds")
    site = two_ponds(folder)
    plan_folder(site, folder / "plan", workers=1)
    return site, folder / "plan"


def test_held_rafts_stay_and_the_rest_goes_round_them(
    planned: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site, plan = planned
    frame = gpd.read_file(plan / "plan.gpkg", layer="rafts")
    mine = frame.iloc[[0]].copy()
    # To the middle of the other pond, which had none.
    pond = gpd.read_file(plan / "plan.gpkg", layer="water_edges").iloc[0].geometry.centroid
    away = (pond.x - mine.geometry.iloc[0].centroid.x, pond.y - mine.geometry.iloc[0].centroid.y)
    mine.geometry = [translate(mine.geometry.iloc[0], *away)]
    mine.to_file(tmp_path / "mine.gpkg", layer="rafts")
    for name in ("one", "two"):
        out = tmp_path / name
        assert (
            run(
                monkeypatch,
                "plan",
                site,
                "-o",
                out,
                "--keep",
                tmp_path / "mine.gpkg",
                "--workers",
                1,
            )
            == 0
        )
    assert digest(tmp_path / "one") == digest(tmp_path / "two")
    rafts = gpd.read_file(tmp_path / "one" / "plan.gpkg", layer="rafts")
    assert len(rafts) == len(frame) == 5  # the stock, the held one among them
    kept = rafts[rafts.is_kept]
    assert len(kept) == 1
    assert kept.geometry.iloc[0].symmetric_difference(mine.geometry.iloc[0]).area < 1e-4
    assert set(rafts.status) == {"planned"}
    assert audit_folder(tmp_path / "one").passed
    record = json.loads((tmp_path / "one" / "plan.json").read_text("utf-8"))
    assert record["kept_from"]["path"] == "mine.gpkg"
    why = [water["explanation"] for water in record["water_bodies"]]
    assert sum(part["kept_raft_count"] for part in why) == 1


def test_held_rafts_that_may_not_stay_are_named_with_the_amount(
    planned: tuple[Path, Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    site, plan = planned
    frame = gpd.read_file(plan / "plan.gpkg", layer="rafts").iloc[[0, 0]].copy()
    frame.geometry = [frame.geometry.iloc[0], translate(frame.geometry.iloc[0], 0.5, 0.0)]
    frame.to_file(tmp_path / "mine.gpkg", layer="rafts")
    out = tmp_path / "plan"
    assert (
        run(monkeypatch, "plan", site, "-o", out, "--keep", tmp_path / "mine.gpkg", "--workers", 1)
        == 2
    )
    said = capsys.readouterr().out
    assert "m² in common" in said
    assert "mine.gpkg" in said
    assert not out.exists()
    assert run(monkeypatch, "plan", site, "-o", out, "--keep", tmp_path / "none.gpkg") == 2


@pytest.mark.parametrize("along", ["wind", "bank", "flow"])
def test_rafts_of_a_site_are_held_to_a_direction(
    along: str, planned: tuple[Path, Path], tmp_path: Path
) -> None:
    heading = {"along": along, "tolerance_deg": 10.0}
    site = changed(planned[0], heading=heading, wind={"from_deg": 300.0})
    plan_folder(site, tmp_path / "plan", workers=1)
    rafts = gpd.read_file(tmp_path / "plan" / "plan.gpkg", layer="rafts")
    assert len(rafts) == 5
    report = audit_folder(tmp_path / "plan")
    assert report.passed
    found = [finding for finding in report.findings if finding.check == "heading"]
    # The ponds are wider than long to the north, and water runs through them from west to east.
    assert len(found) == 5
    if along == "wind":  # grid north of the plan is within 2 degrees of true north there
        assert ((rafts.heading_deg - 120.0).abs() < 12.0).all()


def test_a_time_limit_is_on_record(
    planned: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site, _ = planned
    assert (
        run(monkeypatch, "plan", site, "-o", tmp_path / "plan", "--time-limit", 0, "--workers", 1)
        == 0
    )
    record = json.loads((tmp_path / "plan" / "plan.json").read_text("utf-8"))
    assert record["time_limit_s"] == 0.0
    stopped = [water["explanation"]["is_stopped_by_time"] for water in record["water_bodies"]]
    assert any(stopped)
    assert all(water["value"] <= water["bound"] for water in record["water_bodies"])


@pytest.mark.parametrize(
    ("tables", "raft", "words"),
    [
        ({}, {"root_depth_m": 2.9}, "more water at low level, or roots"),
        ({}, {"stock": 0}, "one raft is wanted, 0 are left"),
        ({"cover": {"max_pct": 0.1}}, {}, "of the normal pool, 0.1 % may be"),
        ({"budget": {"limit": 10.0}}, {"cost": 25.0}, "costs 15 more than is left"),
        ({"clearances": {"bank_m": 30.0}}, {}, "a bank distance"),
        ({"cover": {"max_pct": 40.0, "min_pct": 30.0}}, {}, "less than the 30 % asked for"),
    ],
)
def test_what_cannot_be_is_told_with_the_rule_and_the_amount(
    tables: dict[str, object],
    raft: dict[str, object],
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    site = two_ponds(tmp_path)
    site = changed(site, raft=raft_of(site, **raft), **tables)
    assert run(monkeypatch, "plan", site, "-o", tmp_path / "plan", "--workers", 1) == 1
    said = capsys.readouterr().out
    assert words in said
    assert "limit not met" in said
    assert audit_folder(tmp_path / "plan").passed


def test_rules_that_contradict_are_refused_at_the_door(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    site = changed(two_ponds(tmp_path), cover={"max_pct": 5.0, "min_pct": 10.0})
    assert run(monkeypatch, "plan", site, "-o", tmp_path / "plan") == 2
    assert "min_pct 10 is above max_pct 5" in capsys.readouterr().out
