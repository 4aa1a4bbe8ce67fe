"""``plan.gpkg``: the same bytes twice, all layers, true headings, and faults told in words."""

import sqlite3
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyogrio
import pytest
import shapely

from geoplan.crs import transformed, transformed_points
from geoplan.errors import ExportError, PlanFileError
from geoplan.exports import gis_files
from tests.unit.exports import small_plan as small

LAYERS = {
    "rafts",
    "moorings",
    "mooring_lines",
    "marks",
    "setting_out",
    "routes",
    "water_edges",
    "worth",
    "streamlines",
    "materials",
    "swept",
    "why_not",
    "rooms",
    "alternatives",
    "loads",
    "findings",
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    gis_files.write(small.plan(), small.site(), tmp_path, small.audit())
    return tmp_path


def read(folder: Path, layer: str) -> object:
    return pyogrio.read_dataframe(folder / "plan.gpkg", layer=layer)


def test_the_same_plan_gives_the_same_bytes(folder: Path) -> None:
    first = (folder / "plan.gpkg").read_bytes()
    gis_files.write(small.plan(), small.site(), folder, small.audit())
    assert (folder / "plan.gpkg").read_bytes() == first


def test_gdal_keeps_its_own_date_afterwards(folder: Path) -> None:
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") is None


def test_every_layer_is_there_even_with_no_row(folder: Path) -> None:
    assert {row[0] for row in pyogrio.list_layers(folder / "plan.gpkg")} == LAYERS
    lines = read(folder, "mooring_lines")
    assert len(lines) == 0
    assert list(lines.columns[:-1]) == ["raft_id", "mooring_id", "length_m", "watch_radius_low_m"]


def test_an_empty_plan_has_every_layer_and_column(tmp_path: Path) -> None:
    plan = replace(small.plan(), waters=())
    gis_files.write(plan, small.site(), tmp_path, None)
    for layer in LAYERS:
        assert len(read(tmp_path, layer)) == 0
    with sqlite3.connect(tmp_path / "plan.gpkg") as file:
        types = {row[1]: row[2] for row in file.execute("pragma table_info(rafts)")}
    file.close()
    assert types["raft_id"] == "TEXT"
    assert types["depth_low_m"] == "REAL"


def test_what_is_not_known_is_null_not_a_number(folder: Path) -> None:
    with sqlite3.connect(folder / "plan.gpkg") as file:
        rows = file.execute("select sun_h, removal_g_d from rafts").fetchall()
        measured = file.execute("select measured from findings where \"check\"='cover'").fetchone()
    file.close()
    assert set(rows) == {(None, None)}
    assert measured == (None,)


def test_rafts_are_where_the_plan_says_in_the_files_crs(folder: Path) -> None:
    frame = read(folder, "rafts").set_index("raft_id")
    assert frame.crs.to_epsg() == 25832
    for raft in small.RAFTS:
        row = frame.loc[raft.raft_id]
        easting, northing = transformed_points(
            np.array([raft.easting_m]), np.array([raft.northing_m]), small.UPPER_CRS, small.CRS
        )
        assert (row.easting_m, row.northing_m) == pytest.approx((easting[0], northing[0]), abs=1e-6)
        centre = row.geometry.centroid
        assert centre.distance(shapely.Point(easting[0], northing[0])) < 1e-3


def test_heading_is_that_of_the_long_side_in_the_file(folder: Path) -> None:
    frame = read(folder, "rafts")
    frame = frame[frame.status == "planned"]
    for row in frame.itertuples():
        corners = shapely.get_coordinates(row.geometry)
        sides = np.diff(corners, axis=0)
        long_side = sides[np.hypot(sides[:, 0], sides[:, 1]).argmax()]
        heading = np.degrees(np.arctan2(*long_side)) % 180
        turned = abs(row.heading_deg - heading)
        assert min(turned, 180 - turned) < 1e-4
        assert 0 <= row.heading_deg < 180


def test_an_existing_raft_keeps_its_surveyed_outline(folder: Path) -> None:
    frame = read(folder, "rafts").set_index("raft_id")
    expected = transformed(small.OLD_OUTLINE, small.UPPER_CRS, small.CRS)
    assert frame.loc["old"].geometry.hausdorff_distance(expected) < 1e-6


def test_findings_stand_at_the_raft_they_are_about(folder: Path) -> None:
    frame = read(folder, "findings").set_index("check")
    rafts = read(folder, "rafts").set_index("raft_id")
    about = rafts.loc[small.HOSTILE[2]]
    failed = frame[~frame.passed].iloc[0]
    assert (failed.geometry.x, failed.geometry.y) == (about.easting_m, about.northing_m)
    assert frame.loc["cover"].geometry is None


def test_a_verdict_is_added_in_parts(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = read(folder, "findings")
    gis_files.write(small.plan(), small.site(), tmp_path, None)
    monkeypatch.setattr(gis_files, "_FINDINGS_BATCH", 2)
    gis_files.add_findings(tmp_path, small.plan().client_crs, small.audit())
    assert len(whole) > 2
    assert read(tmp_path, "findings").equals(whole)


def test_read_back_says_what_was_written(folder: Path) -> None:
    written = gis_files.read_plan(folder / "plan.gpkg")
    assert [raft.raft_id for raft in written.rafts] == [small.HOSTILE[2], "U1", "U2", "old"]
    assert len(written.moorings) == 12
    assert [edge.level_name for edge in written.edges] == ["low", "normal", "high"] * 2
    assert written.routes[0].sequence == 1
    assert written.rafts[1].depth_low_m == 1.839
    assert written.rafts[3].raft_type == ""
    assert written.edges[0].cover_pct == small.plan().waters[0].cover[0].cover_pct


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(PlanFileError, match="is missing"):
        gis_files.read_plan(tmp_path / "plan.gpkg")


def test_a_file_of_another_kind_is_told(tmp_path: Path) -> None:
    path = tmp_path / "plan.gpkg"
    path.write_text("not a database")
    with pytest.raises(PlanFileError, match="cannot be read as a GeoPackage"):
        gis_files.read_plan(path)


def test_a_missing_layer_is_told(tmp_path: Path) -> None:
    path = tmp_path / "plan.gpkg"
    frame = pyogrio.read_dataframe
    gis_files.write(small.plan(), small.site(), tmp_path, None)
    rafts = frame(path, layer="rafts")
    path.unlink()
    pyogrio.write_dataframe(rafts, path, layer="rafts", driver="GPKG")
    with pytest.raises(PlanFileError, match="no layer 'moorings'"):
        gis_files.read_plan(path)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda frame: frame.drop(columns="length_m"), "lacks the column 'length_m'"),
        (lambda frame: frame.assign(length_m=np.nan), "row 1: 'length_m' is empty"),
        (lambda frame: frame.assign(length_m="long"), "'long'; expected a number"),
        (lambda frame: frame.assign(raft_id=None), "row 1: 'raft_id' is empty"),
        (lambda frame: frame.set_geometry(frame.centroid), "not one polygon"),
        (lambda frame: frame.to_crs("EPSG:25833"), "in another CRS"),
    ],
)
def test_a_spoilt_raft_layer_is_told(folder: Path, change: object, words: str) -> None:
    path = folder / "plan.gpkg"
    frame = change(read(folder, "rafts"))
    pyogrio.write_dataframe(frame, path, layer="rafts", driver="GPKG")
    with pytest.raises(PlanFileError, match=words):
        gis_files.read_plan(path)


def test_a_raft_saved_as_a_multipolygon_of_one_is_read(folder: Path) -> None:
    path = folder / "plan.gpkg"
    frame = read(folder, "rafts")
    frame = frame.set_geometry(
        [shapely.MultiPolygon([part]) for part in frame.geometry], crs=frame.crs
    )
    pyogrio.write_dataframe(frame, path, layer="rafts", driver="GPKG")
    assert len(gis_files.read_plan(path).rafts) == 4


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(ExportError, match="could not be written"):
        gis_files.write(small.plan(), small.site(), tmp_path / "none", None)


def test_a_crs_of_another_place_is_told(tmp_path: Path) -> None:
    plan = replace(small.plan(), client_crs="+proj=gnom +lat_0=-56 +lon_0=-168 +ellps=WGS84")
    with pytest.raises(ExportError, match="no coordinates"):
        gis_files.write(plan, small.site(), tmp_path, None)
