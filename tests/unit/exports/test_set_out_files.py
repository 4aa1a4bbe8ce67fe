"""``setting_out.gpx`` and ``setting_out.dxf``, read back by other programs."""

import shutil
import subprocess
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
import pyogrio
import pytest
import shapely
from ezdxf.document import Drawing
from shapely.geometry import Point

from geoplan.crs import WGS84, transformed, transformed_points
from geoplan.exports import drawing_file, gis_files, handheld_file, setting_out
from geoplan.plan import Plan
from geoplan.site import Mark
from tests.unit.exports import small_plan as small
from tests.unit.exports.test_sheets import rows_of

PEG = Mark("M1", Point(-20.0, 22.0))


def plan() -> Plan:
    """The small plan, with a peg proposed on the pond that has no marks."""
    lower, upper = small.plan().waters
    return replace(small.plan(), waters=(replace(lower, suggested_marks=(PEG,)), upper))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for module in (setting_out, handheld_file, drawing_file):
        module.write(plan(), small.site(), tmp_path, None)
    return tmp_path


@pytest.mark.parametrize("name", ["setting_out.gpx", "setting_out.dxf"])
def test_the_same_plan_gives_the_same_bytes(folder: Path, name: str) -> None:
    first = (folder / name).read_bytes()
    handheld_file.write(plan(), small.site(), folder, None)
    drawing_file.write(plan(), small.site(), folder, None)
    assert (folder / name).read_bytes() == first


def test_gdal_finds_every_point_of_the_sheet_in_the_gpx(folder: Path) -> None:
    sheet = rows_of(folder / "setting_out.csv")
    points = pyogrio.read_dataframe(folder / "setting_out.gpx", layer="waypoints")
    assert len(points) == len(sheet) + 1
    bank = points.iloc[-1]
    assert bank["name"] == "launch slip"
    assert bank["desc"].startswith("launch place slip on upper")
    way = transformed(small.plan().waters[1].routes[0].path, small.UPPER_CRS, WGS84)
    assert shapely.get_coordinates(bank.geometry)[0] == pytest.approx(way.coords[0], abs=1e-7)
    at = shapely.get_coordinates(points.geometry)[:-1]
    wanted = [[float(row["longitude_deg"]), float(row["latitude_deg"])] for row in sheet]
    assert np.abs(at - wanted).max() <= 0.51e-7 + 0.51e-8
    assert {"U1", "U1 c4", "U2 p3", "P3", "M1"} <= set(points["name"])
    assert points["name"].is_unique
    centre = points[points["name"] == "U1"].iloc[0]["desc"]
    assert "phone" in centre
    assert "=P2" in centre
    peg = points[points["name"] == "M1"].iloc[0]["desc"]
    assert "proposed" in peg
    assert "cables" in peg
    routes = pyogrio.read_dataframe(folder / "setting_out.gpx", layer="routes")
    assert routes["name"].tolist() == ["tow 1 U1"]


def test_pegs_of_one_name_at_two_waters_are_told_apart(tmp_path: Path) -> None:
    lower, upper = small.plan().waters
    waters = tuple(replace(water, suggested_marks=(PEG,)) for water in (lower, upper))
    plan = replace(small.plan(), waters=waters)
    handheld_file.write(plan, small.site(), tmp_path, None)
    points = pyogrio.read_dataframe(tmp_path / "setting_out.gpx", layer="waypoints")
    assert points["name"].is_unique
    assert {"lower M1", "upper M1"} <= set(points["name"])


@pytest.mark.skipif(shutil.which("gpsbabel") is None, reason="gpsbabel is not installed")
@pytest.mark.parametrize("kind", ["gpx", "garmin_txt", "kml", "unicsv"])
def test_the_program_of_handheld_receivers_reads_the_gpx(folder: Path, kind: str) -> None:
    out = folder / "out"
    command = ["gpsbabel", "-w", "-r", "-i", "gpx", "-f", folder / "setting_out.gpx"]
    done = subprocess.run([*command, "-o", kind, "-F", out], capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stderr == b""
    if kind == "gpx":
        read = ET.parse(out).getroot()  # noqa: S314 - written by a program that we ran
        there = ET.parse(folder / "setting_out.gpx").getroot()  # noqa: S314 - written here
        wanted = there.findall("{*}wpt")
        found = read.findall("{*}wpt")
        assert [p.findtext("{*}name", "") for p in found] == [
            p.findtext("{*}name", "") for p in wanted
        ]
        for axis in ("lat", "lon"):
            got, had = ([float(p.get(axis, "nan")) for p in row] for row in (found, wanted))
            assert np.abs(np.subtract(got, had)).max() < 1e-8
        assert len(read.findall("{*}rte")) == 1


def test_a_hostile_name_stays_a_name_in_xml(folder: Path) -> None:
    names = [p.text for p in ET.parse(folder / "setting_out.gpx").iter() if p.text]  # noqa: S314
    assert small.HOSTILE[2] in names
    odd = replace(plan(), site_name="a\x00b\x0bc\nd")
    handheld_file.write(odd, small.site(), folder, None)
    read = ET.parse(folder / "setting_out.gpx").getroot()  # noqa: S314
    assert "a b c d" in [part.text for part in read.iter()]


def test_the_drawing_has_a_layer_for_each_kind_of_thing(folder: Path) -> None:
    drawing = ezdxf.readfile(folder / "setting_out.dxf")
    assert drawing.audit().errors == []
    assert drawing.header["$INSUNITS"] == 6  # metres
    assert {layer.dxf.name for layer in drawing.layers} >= set(drawing_file.LAYERS)
    count = {
        name: len(drawing.modelspace().query(f'*[layer=="{name}"]')) for name in drawing_file.LAYERS
    }
    assert count["RAFTS"] == count["RAFT_NAMES"] == 4
    assert count["POSTS"] == count["MOORING_NAMES"] == 12
    assert (count["MARKS"], count["MARKS_PROPOSED"], count["TOW_WAYS"], count["NOTES"]) == (
        3,
        1,
        1,
        3,
    )
    assert count["WATER_LOW"] == 4  # two ponds, an island each
    texts = [text.dxf.text for text in drawing.modelspace().query("TEXT")]
    assert any("phone" in text for text in texts)


def test_sheets_hold_together_what_one_drawing_holds(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def shown(drawing: Drawing) -> list[str]:
        """Whatever is drawn but notes, without the names of entities."""
        return sorted(
            str({key: v for key, v in one.dxfattribs().items() if key not in ("handle", "owner")})
            + (str(one.get_points()) if one.dxftype() == "LWPOLYLINE" else "")
            for one in drawing.modelspace()
            if one.dxf.layer != "NOTES"
        )

    whole = shown(ezdxf.readfile(folder / "setting_out.dxf"))
    monkeypatch.setattr(drawing_file, "MOST_ON_A_PAGE", 1)
    out = tmp_path / "large"
    out.mkdir()
    drawing_file.write(plan(), small.site(), out, None)
    names = ["sheets/0001.dxf", "sheets/0002.dxf"]
    sheets = [ezdxf.readfile(out / name) for name in names]
    assert sorted(one for sheet in sheets for one in shown(sheet)) == whole
    key = ezdxf.readfile(out / "setting_out.dxf")
    assert key.audit().errors == []
    assert [t.dxf.text for t in key.modelspace().query("TEXT")][:2] == names
    for sheet, frame in zip(sheets, key.modelspace().query("LWPOLYLINE"), strict=True):
        edges = sheet.modelspace().query('LWPOLYLINE[layer=="WATER_HIGH"]')
        places = np.array([point[:2] for edge in edges for point in edge.get_points()])
        corners = np.array([point[:2] for point in frame.get_points()])
        for bound in (np.min, np.max):
            assert bound(corners, axis=0) == pytest.approx(bound(places, axis=0), abs=1e-6)


def test_gdal_finds_the_posts_of_the_drawing_where_the_sheet_has_them(folder: Path) -> None:
    shapes = pyogrio.read_dataframe(folder / "setting_out.dxf")
    posts = shapes[shapes["Layer"] == "POSTS"]
    sheet = [row for row in rows_of(folder / "setting_out.csv") if row["item"].startswith("post")]
    wanted = [[float(row["easting_m"]), float(row["northing_m"])] for row in sheet]
    assert np.abs(shapely.get_coordinates(posts.geometry) - wanted).max() < 1e-3
    rafts = shapes[shapes["Layer"] == "RAFTS"]
    assert len(rafts) == 4


def test_marks_and_tapes_stand_in_the_plan_of_record(tmp_path: Path) -> None:
    gis_files.write(plan(), small.site(), tmp_path, None)
    written = gis_files.read_plan(tmp_path / "plan.gpkg")
    assert {(m.mark_id, m.is_suggested) for m in written.marks} == {
        ("M1", True), ("P1", False), ("=P2", False), ("P3", False),
    }  # fmt: skip
    peg = next(mark for mark in written.marks if mark.mark_id == "M1")
    east, north = transformed_points(
        np.array([-20.0]), np.array([22.0]), small.LOWER_CRS, small.CRS
    )
    assert (peg.easting_m, peg.northing_m) == pytest.approx((east[0], north[0]), abs=1e-6)
    taped = [tape for tape in written.tapes if tape.raft_id == "U1"]
    assert len(taped) == 9
    assert all(tape.mark_1 and tape.tape_1_m for tape in taped)
    assert all(
        not tape.mark_1 and tape.tape_1_m is None
        for tape in written.tapes
        if tape.water_id == "lower"
    )


def test_the_sheet_names_errors_proposals_and_what_a_phone_is_worth(folder: Path) -> None:
    rows = rows_of(folder / "setting_out.csv")
    centre = next(row for row in rows if (row["raft_id"], row["item"]) == ("U1", "centre"))
    assert "4 m" in centre["note"]
    assert float(centre["error_major_m"]) >= float(centre["error_minor_m"]) > 0.1
    assert 30 <= float(centre["crossing_deg"]) <= 90
    post = next(row for row in rows if row["item"].startswith("post U1"))
    assert "cables" in post["note"]
    peg = next(row for row in rows if row["item"] == "mark M1")
    assert peg["note"].startswith("proposed")
    untaped = next(row for row in rows if row["water_id"] == "lower")
    assert "No two marks" in untaped["note"]
    east, north = transformed_points(np.array([-20.0]), np.array([22.0]), small.LOWER_CRS, WGS84)
    assert float(peg["longitude_deg"]) == pytest.approx(east[0], abs=1e-8)
    assert float(peg["latitude_deg"]) == pytest.approx(north[0], abs=1e-8)
