"""A site read whole: what it holds, and every fault at once."""

import hashlib
import json
import math
import os
import shutil
from pathlib import Path

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from geoplan.crs import geodesic_area_m2, transformed
from geoplan.errors import SiteDataError
from geoplan.readers import check_site, read_site
from tests.unit.readers.sites import CRS, POND, SETTINGS, at, features, frame, write_site


def errors(path: Path) -> list[str]:
    """Texts of the errors of a site."""
    return [str(fault) for fault in check_site(path).faults if fault.severity == "error"]


def test_a_site_is_read_with_all_that_belongs_to_it(tmp_path: Path) -> None:
    line = shapely.LineString([at(-80, 25), at(0, 25)])
    site = read_site(
        write_site(
            tmp_path,
            inflows=features([(line, {"inflow_id": "west", "flow_cfs": 1.0, "tn_mg_l": 2.0})]),
            outlets=features([(at(100, 25), {"outlet_id": "weir", "width_in": 10.0})]),
            launches=features([(at(50, -1), {"launch_id": "meadow", "slope_pct": 10})]),
            keep_clear=features([(at(20, 20), {"buffer_m": 2, "reason": "pipe"})]),
            marks="mark_id,easting_m,northing_m\nM1,520000,6219990\n",
            shade=features([(at(50, 60), {"height_m": 9, "deciduous": True})]),
            rafts=features([(at(80, 25).buffer(2), {"raft_id": "old"})]),
            soundings="easting_m,northing_m,depth_m\n520050,6220025,1.5\n520060,6220025,2\n"
            "520060,6220030,2\n",
        )
    )
    (water,) = site.water_bodies
    assert site.client_crs == CRS
    assert site.notes == ()
    assert [inflow.inflow_id for inflow in water.inflows] == ["west"]
    # A cubic foot is 28.316846592 L; the end of the line at the bank is the inflow.
    assert water.inflows[0].flow_l_s == pytest.approx(28.316846592)
    assert water.inflows[0].concentrations == {"tn_mg_l": 2.0}
    assert water.outline.boundary.distance(water.inflows[0].point) < 0.01
    assert water.outlets[0].width_m == pytest.approx(0.254)
    assert water.keep_clear[0].reason == "pipe"
    assert water.marks[0].mark_id == "M1"
    assert water.shade[0].deciduous
    assert water.rafts[0].raft_id == "old"
    assert sorted(water.soundings.bed_m) == [10.0, 10.0, 10.5]
    assert set(water.soundings.sigma_m) == {0.10}


def test_outline_keeps_its_true_area_in_the_working_crs(tmp_path: Path) -> None:
    (water,) = read_site(write_site(tmp_path)).water_bodies
    assert water.outline.area == pytest.approx(geodesic_area_m2(POND, CRS), rel=1e-7)
    back = transformed(water.outline, water.crs, CRS)
    assert back.symmetric_difference(POND).area < 1e-3


def test_every_file_read_is_listed_with_its_hash(tmp_path: Path) -> None:
    site = read_site(write_site(tmp_path))
    assert [source.path for source in site.sources] == ["site.toml", "water.geojson"]
    for source in site.sources:
        data = (tmp_path / source.path).read_bytes()
        assert source.sha256 == hashlib.sha256(data).hexdigest()


def test_geopackage_geojson_and_folder_give_the_same_site(tmp_path: Path) -> None:
    rows = [(POND, {"water_id": "pond", "level_m": 12.0})]
    inflows = [(at(0, 20), {"inflow_id": "west"})]
    folder = write_site(tmp_path / "folder", inflows=features(inflows))
    package = tmp_path / "one.gpkg"
    frame(rows).to_file(package, layer="water", driver="GPKG")
    frame(inflows).to_file(package, layer="inflows", driver="GPKG")
    (tmp_path / "one.toml").write_text(SETTINGS)
    document = json.loads(
        features(
            [(rows[0][0], {**rows[0][1], "layer": "water"}), (at(0, 20), {"layer": "inflows"})]
        )
    )
    document["features"][1]["properties"]["inflow_id"] = "west"
    document["site"] = {
        "name": "Pond",
        "crs": CRS,
        "levels": {"low_m": 11.6, "normal_m": 12.0, "high_m": 12.4},
        "raft": [{"name": "one", "length_m": 4.0, "width_m": 2.0, "draft_m": 0.2}],
        "survey": {"date": "2026-05-14"},
    }
    single = tmp_path / "other.geojson"
    single.write_text(json.dumps(document))
    first = read_site(folder)
    for path in (package, single):
        site = read_site(path)
        assert site.settings.levels == first.settings.levels
        for water, other in zip(first.water_bodies, site.water_bodies, strict=True):
            assert water.outline.equals_exact(other.outline, 1e-6)
            assert water.crs == other.crs
            assert [part.inflow_id for part in other.inflows] == ["west"]
    assert read_site(single).settings.survey.date is not None


def test_settings_may_stand_in_the_geopackage(tmp_path: Path) -> None:
    package = tmp_path / "alone.gpkg"
    frame([(POND, {"water_id": "pond"})]).to_file(package, layer="water", driver="GPKG")
    rows = {
        "name": '"Pond"',
        "levels.low_m": "11.6",
        "levels.normal_m": "12.0",
        "levels.high_m": "12.4",
        "raft": '[{name = "one", length_ft = 13.0, width_m = 2.0, draft_m = 0.2}]',
    }
    table = frame([(at(0, 0), {"key": key, "value": value}) for key, value in rows.items()])
    table.to_file(package, layer="site", driver="GPKG")
    site = read_site(package)
    assert site.settings.raft[0].length_m == pytest.approx(13 * 0.3048)


@given(depth_ft=st.floats(0.1, 30.0), flow_cfs=st.floats(0.01, 50.0))
def test_feet_and_metres_give_the_same_site(
    tmp_path_factory: pytest.TempPathFactory, depth_ft: float, flow_cfs: float
) -> None:
    sites = []
    for unit, depth, flow in (
        (("depth_ft", "flow_cfs"), depth_ft, flow_cfs),
        (("depth_m", "flow_l_s"), depth_ft * 0.3048, flow_cfs * 28.316846592),
    ):
        folder = tmp_path_factory.mktemp("site")
        soundings = f"easting_m,northing_m,{unit[0]}\n520050,6220025,{depth!r}\n"
        inflows = features([(at(0, 20), {"inflow_id": "west", unit[1]: flow})])
        sites.append(read_site(write_site(folder, soundings=soundings, inflows=inflows)))
    one, other = (site.water_bodies[0] for site in sites)
    assert one.soundings.bed_m[0] == pytest.approx(other.soundings.bed_m[0], abs=1e-9)
    assert one.inflows[0].flow_l_s == pytest.approx(other.inflows[0].flow_l_s)


def test_all_faults_are_shown_at_once(tmp_path: Path) -> None:
    path = write_site(
        tmp_path,
        settings=SETTINGS.replace("draft_m", "draught_m") + "[cover]\nmax_pct = 70.0\n",
        inflows=features([(at(0, 500), {"inflow_id": "far"}), (at(0, 20), {"inflow_id": "far"})]),
        soundings='easting_m,northing_m,depth_m\n520050,6220025,"1,5"\n',
    )
    text = "\n".join(errors(path))
    for words in ("draught_m", "'draft_m' meant", "over half", "450 m", "'far'", "'1,5'"):
        assert words in text
    with pytest.raises(SiteDataError) as caught:
        read_site(path)
    assert caught.value.faults == check_site(path).faults


def test_a_multipolygon_becomes_water_bodies_of_their_own(tmp_path: Path) -> None:
    other = shapely.affinity.translate(POND, 300, 0)
    both = shapely.MultiPolygon([POND, other])
    path = write_site(tmp_path, water=features([(both, {"water_id": "twin"})]))
    site = read_site(path)
    assert [water.water_id for water in site.water_bodies] == ["twin/1", "twin/2"]
    assert any("several parts" in note.found for note in site.notes)


def test_parts_go_to_the_nearest_water_and_shade_to_all_in_reach(tmp_path: Path) -> None:
    other = shapely.affinity.translate(POND, 110, 0)
    path = write_site(
        tmp_path,
        water=features([(POND, {"water_id": "a"}), (other, {"water_id": "b"})]),
        outlets=features([(at(104, 25), {"outlet_id": "o"})]),
        shade=features([(at(105, 60), {"height_m": 8})]),
    )
    one, two = read_site(path).water_bodies
    assert [len(water.outlets) for water in (one, two)] == [1, 0]
    assert [len(water.shade) for water in (one, two)] == [1, 1]


@pytest.mark.parametrize(
    ("layers", "words"),
    [
        ({"outlets": features([(at(130, 25), {"outlet_id": "o"})])}, "30 m from the nearest"),
        ({"inflows": features([(at(0, 25), {"name": "x"})])}, "no column inflow_id"),
        ({"marks": features([(at(0, 20_000), {"mark_id": "m"})])}, "19.96 km"),
        ({"rafts": features([(at(50, 25), {})])}, "wrong type, Point"),
        ({"water": features([(POND, {"water_id": "a"})] * 2)}, "'a', which feature 1"),
        ({"water": features([(POND, {}), (at(200, 0).buffer(9), {})])}, "no column water_id"),
        (
            {
                "water": features(
                    [(POND, {"water_id": "a"}), (at(0, 0).buffer(9), {"water_id": "b"})]
                )
            },
            "lies on 'a'",
        ),
        ({"water": features([(at(0, 0).buffer(0.1), {"water_id": "a"})])}, "m²; expected 1 to"),
        ({"water": features([(POND, {"water_id": "a", "low_m": 12.3})])}, "levels must rise"),
        ({"water": features([(POND, {"water_id": "a", "max_cover_pct": 60})])}, "over half"),
        ({"water": features([(POND, {"water_id": "a" * 81})])}, "over 80 letters"),
        ({"water": features([(POND, {"water_id": "a"})], None)}, "latitude of -90 to 90"),
        ({"water": features([(POND, {"water_id": "a"})], "EPSG:999999")}, "unknown CRS"),
        ({"water": features([(POND, {"water_id": "a"})], "EPSG:5703")}, "outside the range"),
        ({"water": features([(None, {"water_id": "a"})])}, "no geometry"),
        ({"water": '{"type": "FeatureCollection", "features": []}'}, "no features"),
        ({"inflows": features([(at(0, 9), {"inflow_id": "a", "flow_l_s": -1})])}, "at least 0"),
    ],
)
def test_a_fault_is_said_in_words(tmp_path: Path, layers: dict[str, str], words: str) -> None:
    found = errors(write_site(tmp_path, **layers))
    assert any(words in text for text in found), found
    assert check_site(tmp_path).site is None


def test_exchanged_axes_are_suspected(tmp_path: Path) -> None:
    degrees = transformed(POND, CRS, "EPSG:4326")
    corner = degrees.exterior.coords[0]
    path = write_site(
        tmp_path,
        water=features([(degrees, {"water_id": "a"})], None),
        marks=f"mark_id,longitude_deg,latitude_deg\nM,{corner[1]},{corner[0]}\n",
    )
    assert any("seem to be exchanged" in text for text in errors(path))


def test_control_characters_are_taken_out_of_names_and_said(tmp_path: Path) -> None:
    path = write_site(tmp_path, water=features([(POND, {"water_id": "a\x1bb<script>"})]))
    site = read_site(path)
    assert site.water_bodies[0].water_id == "ab<script>"
    assert any("control characters" in note.found for note in site.notes)


def test_no_crs_in_site_toml_takes_that_of_the_water(tmp_path: Path) -> None:
    settings = SETTINGS.replace('crs = "EPSG:25832"', "")
    assert read_site(write_site(tmp_path, settings=settings)).client_crs == CRS


def test_degrees_alone_are_planned_in_utm_and_said(tmp_path: Path) -> None:
    settings = SETTINGS.replace('crs = "EPSG:25832"', "")
    degrees = transformed(POND, CRS, "EPSG:4326")
    path = write_site(tmp_path, settings=settings, water=features([(degrees, {})], None))
    site = read_site(path)
    assert site.client_crs == "EPSG:32632"
    assert any("EPSG:32632" in note.remedy for note in site.notes)


@pytest.mark.parametrize("crs", ["EPSG:3857", "EPSG:2264", "nonsense", "EPSG:4979+5703", "\x00"])
def test_a_crs_not_in_true_metres_is_refused_for_the_plan(tmp_path: Path, crs: str) -> None:
    settings = SETTINGS.replace('"EPSG:25832"', json.dumps(crs))
    assert any("key crs" in text for text in errors(write_site(tmp_path, settings=settings)))


@pytest.mark.parametrize(
    "data", [b"", b"\0\1\2\xff" * 100, b"\xff\xfe{\0", b"<a>", b"SQLite format 3\0"]
)
@pytest.mark.parametrize(
    "name",
    ["water.geojson", "water.gpkg", "water.shp", "water.fgb", "water.kml", "water.gml",
     "water.gpx", "water.dxf", "water.csv", "bed.tif", "levels.csv", "site.gpkg", "site.toml"],
)  # fmt: skip
def test_junk_in_any_file_is_a_fault_and_no_traceback(
    tmp_path: Path, name: str, data: bytes
) -> None:
    write_site(tmp_path)
    if name.startswith("water"):
        (tmp_path / "water.geojson").unlink()
    (tmp_path / name).write_bytes(data)
    before = sorted(tmp_path.iterdir())
    result = check_site(tmp_path)
    assert result.site is None
    assert any(fault.file == name for fault in result.faults)
    assert sorted(tmp_path.iterdir()) == before  # nothing is left behind


def test_paths_that_lead_nowhere_are_faults(tmp_path: Path) -> None:
    loop = tmp_path / "loop"
    loop.symlink_to(loop)
    (tmp_path / "empty").mkdir()
    (tmp_path / "a.zip").write_bytes(b"PK")
    folder = write_site(tmp_path / "odd")
    (folder / "inflows.csv").mkdir()
    (folder / "outlets.gpkg").symlink_to(folder / "outlets.gpkg")
    if hasattr(os, "mkfifo"):
        os.mkfifo(folder / "marks.csv")  # a pipe would be waited on for ever
    for path in (loop, tmp_path / "none", tmp_path / "empty", tmp_path / "a.zip", folder):
        assert errors(path), path
    assert "Unpack it first" in errors(tmp_path / "a.zip")[0]
    assert sum("no ordinary file" in text for text in errors(folder)) >= 2


def test_a_folder_with_one_named_site_stands_for_it(tmp_path: Path) -> None:
    own = tmp_path / "district.gpkg"
    frame([(POND, {"water_id": "pond", "level_m": 12.0})]).to_file(own, layer="water")
    (tmp_path / "district.toml").write_text(SETTINGS, encoding="utf-8")
    (tmp_path / "README.md").write_text("Read me.", encoding="utf-8")
    by_folder, by_file = read_site(tmp_path), read_site(own)
    assert by_folder.sources == by_file.sources
    assert by_folder.notes == by_file.notes == ()
    # Of two nobody can tell which is meant; and a folder's own settings come before either.
    shutil.copy(own, tmp_path / "other.gpkg")
    shutil.copy(tmp_path / "district.toml", tmp_path / "other.toml")
    assert any("no settings" in text for text in errors(tmp_path))
    write_site(tmp_path)
    assert {each.path for each in read_site(tmp_path).sources} == {"site.toml", "water.geojson"}


def test_a_layer_of_a_geopackage_under_an_odd_name_is_said(tmp_path: Path) -> None:
    write_site(tmp_path)
    frame([(at(0, 20), {"inflow_id": "a"})]).to_file(tmp_path / "site.gpkg", layer="Inflow")
    assert any("'inflows' meant" in note.remedy for note in read_site(tmp_path).notes)


def test_a_thousand_faults_of_one_kind_are_counted(tmp_path: Path) -> None:
    rows = "".join(f"520050,6220025,x{index}\n" for index in range(1000))
    found = errors(write_site(tmp_path, soundings="easting_m,northing_m,depth_m\n" + rows))
    assert any("980 more of the same kind" in text for text in found)
    assert len(found) < 60


def test_two_files_for_one_layer_and_odd_names_are_said(tmp_path: Path) -> None:
    path = write_site(tmp_path, inflow=features([]))
    (path / "water.csv").write_text("a\n")
    (path / "shade.kmz").write_bytes(b"PK")
    faults = "\n".join(str(fault) for fault in check_site(path).faults)
    assert "two files for one layer" in faults
    assert "'inflows.geojson' meant" in faults
    assert "Unpack it first" in faults


def test_summary_says_what_is_there_and_where_to_sound_next(tmp_path: Path) -> None:
    soundings = "easting_m,northing_m,depth_m\n520010,6220025,1\n520020,6220025,2\n"
    result = check_site(write_site(tmp_path, soundings=soundings))
    text = "\n".join(result.summary)
    assert "layer water: 1 feature from water.geojson" in text
    assert "2 soundings; depth at normal level 1.00 to 2.00 m" in text
    # The far corners of the pond are 80 m and 25 m from the nearer sounding.
    gap_m = float(text.split("(longitude, latitude), ")[1].split(" m")[0])
    assert gap_m == pytest.approx(math.hypot(80, 25), abs=1.0)
    assert "missing:" in text


def test_order_of_soundings_does_not_matter(tmp_path: Path) -> None:
    rows = ["520010,6220025,1", "520020,6220025,2", "520020,6220030,3"]
    sites = [
        read_site(
            write_site(
                tmp_path / name,
                soundings="\n".join(["easting_m,northing_m,depth_m", *order]) + "\n",
            )
        )
        for name, order in (("a", rows), ("b", rows[::-1]))
    ]
    one, other = (site.water_bodies[0].soundings for site in sites)
    assert one.bed_m.tolist() == other.bed_m.tolist()
    assert one.easting_m.tolist() == other.easting_m.tolist()


def test_faults_of_one_geojson_name_features_by_their_place_in_the_file(tmp_path: Path) -> None:
    document = json.loads(features([(POND, {"layer": "water", "water_id": "a"})]))
    document["features"] += [None, {"type": "Feature", "properties": {"layer": "inflows"}}]
    path = tmp_path / "one.geojson"
    path.write_text(json.dumps(document))
    (tmp_path / "one.toml").write_text(SETTINGS)
    found = errors(path)
    assert any("feature 2" in text and "property 'layer'" in text for text in found)
    assert any("feature 3" in text and "no member 'geometry'" in text for text in found)


def test_path_outside_the_site_is_refused_for_the_record(tmp_path: Path) -> None:
    settings = SETTINGS.replace("[levels]", '[levels]\nrecord = "../secret.csv"')
    assert any("beside the settings" in text for text in errors(write_site(tmp_path, settings)))


@pytest.mark.parametrize(("away_m", "is_told"), [(0.0, True), (7.0, True), (7.1, False)])
def test_an_outlet_beside_an_inflow_is_doubted(
    tmp_path: Path, away_m: float, is_told: bool
) -> None:
    # The pond has 5,000 m²: a tenth of its size is 7.07 m.
    path = write_site(
        tmp_path,
        inflows=features([(at(0, 25), {"inflow_id": "west"})]),
        outlets=features([(at(0, 25 + away_m), {"outlet_id": "weir"})]),
    )
    told = [str(note) for note in read_site(path).notes if "hardly treated" in str(note)]
    assert len(told) == int(is_told)
    assert all("weir" in text and "west" in text and "outlets.geojson" in text for text in told)
