"""The verb ``asbuilt`` on a planned pond: names exchanged, one moved, one lost, one strange."""

import csv
import json
import math
import shutil
import subprocess
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import Geod

from geoplan.asbuilt.survey import asbuilt_folder
from geoplan.errors import SiteDataError
from geoplan.fleet import plan_folder
from tests.sites.test_whole_runs import two_ponds

SIGMA_M = 0.02


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("asbuilt")
    plan_folder(two_ponds(folder), folder / "plan", workers=1)
    return folder / "plan"


def planned(out: Path) -> Any:
    return gpd.read_file(out / "plan.gpkg", layer="rafts")


def rows_of(rafts: Any, seed: int = 1, sigma: float = SIGMA_M) -> list[list[Any]]:
    random = np.random.default_rng(seed)
    return [
        [name, f"corner {number}", *(corner + random.normal(scale=sigma, size=2)), sigma]
        for name, outline in zip(rafts.raft_id, rafts.geometry, strict=True)
        for number, corner in enumerate(shapely.get_coordinates(outline)[:4], 1)
    ]


def table(path: Path, rows: list[list[Any]], header: str = "") -> Path:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow((header or "raft_id,item,easting_m,northing_m,sigma_m").split(","))
        writer.writerows(rows)
    return path


def test_what_was_done_to_the_rafts_is_found(made: Path, tmp_path: Path) -> None:
    rafts = planned(made)
    lying = rafts.copy()
    names = list(lying.raft_id)
    third, lost = names[2], names[3]
    lying.loc[2, "geometry"] = shapely.affinity.rotate(lying.geometry[2], 25.0)
    lying.loc[4, "geometry"] = shapely.affinity.translate(lying.geometry[4], 0.0, 1.4)
    lying["raft_id"] = [names[1], names[0], *names[2:]]
    lying = lying[rafts.raft_id != lost]
    found, folder = asbuilt_folder(made, table(tmp_path / "f.csv", rows_of(lying)))
    by_id = {raft.raft_id: raft for raft in found.rafts}
    assert found.missing == (lost,)
    assert by_id[names[0]].surveyed_name == names[1]
    assert {name: raft.state for name, raft in by_id.items()} == {
        names[0]: "in place",
        names[1]: "in place",
        third: "turned",
        names[4]: "moved",
    }
    assert abs(by_id[third].turned_deg or 0.0) == pytest.approx(25.0, abs=2.0)
    assert by_id[names[4]].moved_m == pytest.approx(1.4, abs=0.05)
    said = " ".join(str(note) for note in found.notes)
    assert f"it lies where '{names[0]}' was planned" in said
    record = json.loads((folder / "asbuilt.json").read_text(encoding="utf-8"))
    assert [row["raft_id"] for row in record["rafts"]] == [r.raft_id for r in found.rafts]


def test_cover_as_built_is_that_of_another_library(made: Path, tmp_path: Path) -> None:
    """GeographicLib's polygon areas of the written outlines and edges, by pyproj directly."""
    found, _ = asbuilt_folder(made, table(tmp_path / "f.csv", rows_of(planned(made))))
    outlines = gpd.GeoDataFrame(
        {"water_id": [raft.water_id for raft in found.rafts]},
        geometry=[raft.outline for raft in found.rafts],
        crs=found.crs,
    ).to_crs(4326)
    edges = gpd.read_file(made / "plan.gpkg", layer="water_edges").to_crs(4326)
    geod = Geod(ellps="WGS84")
    for water_id, covers in found.covers:
        own = outlines[outlines.water_id == water_id]
        rafts_m2 = sum(abs(geod.geometry_area_perimeter(one)[0]) for one in own.geometry)
        for cover in covers:
            is_row = (edges.water_id == water_id) & (edges.level_name == cover.level_name)
            water = edges[is_row].geometry.iloc[0]
            water_m2 = sum(
                abs(geod.geometry_area_perimeter(shapely.orient_polygons(part))[0])
                for part in shapely.get_parts(water)
            )
            assert cover.cover_pct == pytest.approx(100 * rafts_m2 / water_m2, rel=1e-6)


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no poppler")
def test_the_report_on_paper_says_what_the_table_says(made: Path, tmp_path: Path) -> None:
    """poppler reads the PDF back; the figures are those of asbuilt.csv and asbuilt.json."""
    rafts = planned(made)
    lying = rafts.copy()
    lying.loc[0, "geometry"] = shapely.affinity.translate(lying.geometry[0], 1.3, 0.4)
    _, folder = asbuilt_folder(made, table(tmp_path / "f.csv", rows_of(lying)))
    command = ["pdftotext", "-layout", str(folder / "asbuilt.pdf"), "-"]
    words = subprocess.run(command, capture_output=True, check=True, text=True).stdout
    with (folder / "asbuilt.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(rafts)
    lines = words.splitlines()
    for row in rows:
        line = next(one for one in lines if one.startswith(row["raft_id"]) and row["state"] in one)
        assert f"{float(row['moved_m']):.2f}" in line.split()
    record = json.loads((folder / "asbuilt.json").read_text(encoding="utf-8"))
    cover = record["cover"]["p0"]["normal"]["cover_pct"]
    line = next(one for one in lines if one.split()[:2] == ["p0", "normal"])
    assert f"{math.ceil(cover * 10) / 10:.1f}" in line.split()
    assert record["fixes"]["sha256"] in words


def test_a_rule_holds_fails_or_cannot_be_told(made: Path, tmp_path: Path) -> None:
    good, _ = asbuilt_folder(made, table(tmp_path / "a.csv", rows_of(planned(made), sigma=0.004)))
    place = [one for one in good.findings if one.check == "water"]
    assert {one.verdict for one in place} == {"holds"}
    poor, _ = asbuilt_folder(made, table(tmp_path / "b.csv", rows_of(planned(made), sigma=4.0)))
    verdicts = {one.verdict for one in poor.findings if one.check in {"bank", "gap"}}
    assert "cannot be told" in verdicts
    for one in poor.findings:
        if one.check in {"bank", "gap"} and one.verdict == "holds":
            assert one.measured_at_worst >= one.limit
    for one in poor.findings:
        if one.unit == "m" and one.check in {"bank", "gap"}:
            assert one.measured_at_worst <= one.measured + 1e-9


def test_the_next_survey_tells_drift_and_loss(made: Path, tmp_path: Path) -> None:
    rafts = planned(made)
    asbuilt_folder(made, table(tmp_path / "a.csv", rows_of(rafts, seed=2)))
    later = rafts.copy()
    later.loc[0, "geometry"] = shapely.affinity.translate(later.geometry[0], 0.3, 0.0)
    later = later.drop(index=1)
    header = "raft_id,item,easting_m,northing_m,sigma_m,level_m"
    rows = [[*row, 10.05] for row in rows_of(later, seed=3)]
    found, _ = asbuilt_folder(made, table(tmp_path / "b.csv", rows, header))
    words = {one.raft_id: one.words for one in found.since}
    names = list(rafts.raft_id)
    assert words[names[0]] == "drifted"
    assert words[names[1]] == "lost"
    assert all(words[name].startswith("no drift") for name in names[2:])
    drift = next(one.drift_m for one in found.since if one.raft_id == names[0])
    assert drift == pytest.approx(0.3, abs=4 * SIGMA_M)
    assert found.level_m == pytest.approx(10.05)


def test_the_inspection_table_is_read_back(made: Path, tmp_path: Path) -> None:
    with (made / "inspection.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.reader(file))
    header, body = rows[0], rows[1:]
    filled = {(str(row[0]), str(row[1])): row for row in rows_of(planned(made))}
    for row in body[:8]:
        fix = filled[row[0], row[1]]
        row[2], row[3], row[4] = str(fix[2]), str(fix[3]), str(fix[4])
    body[0][header.index("freeboard_m")] = "0.11"
    body[0][header.index("remarks")] = "=2+2 <b>slats loose</b>"
    path = table(tmp_path / "visit.csv", body, ",".join(header))
    found, folder = asbuilt_folder(made, path)
    assert len(found.rafts) == 2
    assert len(found.missing) == len(planned(made)) - 2
    assert [(one.freeboard_m, one.remarks) for one in found.seen] == [
        (0.11, "=2+2 <b>slats loose</b>")
    ]
    page = (folder / "asbuilt.html").read_text(encoding="utf-8")
    assert "&lt;b&gt;slats loose" in page
    assert "<b>" not in page


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([["x", "corner 1", 0.0, 0.0, 0.02]], "from the nearest water body"),
        ([["x", "mast", None, None, 0.02]], "mast"),
        ([["", "corner 1", None, None, 0.02]], "a corner of no raft"),
        ([["x", "corner 1", None, None, 0.0]], "No fix is without error"),
        ([["x", "corner", None, None, 0.02]] * 5, "at most four corners"),
    ],
)
def test_what_cannot_be_used_is_said(
    made: Path, tmp_path: Path, rows: list[list[Any]], words: str
) -> None:
    first = planned(made).geometry[0].centroid
    filled = [
        [first.x if cell is None and at == 2 else first.y if cell is None else cell
         for at, cell in enumerate(row)]
        for row in rows
    ]  # fmt: skip
    with pytest.raises(SiteDataError, match=words):
        asbuilt_folder(made, table(tmp_path / "bad.csv", filled))
    assert not (made / "surveys" / ".part").exists()


def test_gpx_and_polygons_are_read_too(made: Path, tmp_path: Path) -> None:
    rafts = planned(made).to_crs(4326)
    points = "".join(
        f'<wpt lat="{spot.y:.9f}" lon="{spot.x:.9f}"><name>{name} centre</name></wpt>'
        for name, spot in zip(rafts.raft_id, planned(made).centroid.to_crs(4326), strict=True)
    )
    path = tmp_path / "f.gpx"
    path.write_text(
        '<?xml version="1.0"?><gpx version="1.1" creator="t"'
        f' xmlns="http://www.topografix.com/GPX/1/1">{points}</gpx>',
        encoding="utf-8",
    )
    found, _ = asbuilt_folder(made, path, sigma_m=0.5)
    assert [raft.state for raft in found.rafts] == ["in place"] * len(rafts)
    assert not any(raft.is_heading_measured for raft in found.rafts)
    rafts[["raft_id", "geometry"]].to_file(tmp_path / "f.geojson")
    found, _ = asbuilt_folder(made, tmp_path / "f.geojson", sigma_m=0.5)
    assert all((raft.moved_m or 0.0) < 0.01 for raft in found.rafts)
    nothing, _ = asbuilt_folder(made, tmp_path / "f.geojson")
    assert "Taken as a phone's" in " ".join(str(note) for note in nothing.notes)


def test_planning_anew_keeps_the_surveys(tmp_path: Path) -> None:
    site, out = two_ponds(tmp_path), tmp_path / "plan"
    plan_folder(site, out, workers=1)
    _, folder = asbuilt_folder(out, table(tmp_path / "a.csv", rows_of(planned(out))))
    before = (folder / "asbuilt.json").read_bytes()
    plan_folder(site, out, workers=1)
    assert (folder / "asbuilt.json").read_bytes() == before
