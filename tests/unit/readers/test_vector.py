"""Layers through GDAL: each format, bulk against record by record, and what GDAL says."""

import logging
import sqlite3
import struct
import warnings
from contextlib import closing
from pathlib import Path

import fiona
import pandas as pd
import pyogrio
import pytest
import shapely

from geoplan.crs import transformed
from geoplan.readers import check_site, read_site
from geoplan.readers.fault_log import FaultLog, Place
from geoplan.readers.vector import decoder_messages, gdal_layer
from tests.unit.readers.sites import CRS, NORTH_M, POND, at, features, frame, write_site

KML = """<?xml version="1.0" encoding="UTF-8"?>
<kml xmlns="http://www.opengis.net/kml/2.2"><Document>
<Folder><name>one</name><Placemark><name>west</name><Point><coordinates>{0},{1},0</coordinates>
</Point></Placemark></Folder>
<Folder><name>two</name><Placemark><name>east</name><Point><coordinates>{2},{3},0</coordinates>
</Point></Placemark></Folder></Document></kml>"""
GPX = """<?xml version="1.0"?><gpx version="1.1" creator="x"
xmlns="http://www.topografix.com/GPX/1/1">
<wpt lat="{1}" lon="{0}"><ele>3</ele><name>P1</name></wpt></gpx>"""


def degrees(east_m: float, north_m: float) -> tuple[float, float]:
    """Longitude and latitude of a place beside the pond."""
    point = transformed(at(east_m, north_m), CRS, "EPSG:4326")
    return point.x, point.y


@pytest.mark.parametrize("ending", [".gpkg", ".fgb", ".shp", ".gml"])
def test_each_format_gives_the_same_outline(tmp_path: Path, ending: str) -> None:
    write_site(tmp_path)
    (tmp_path / "water.geojson").unlink()
    driver = {".gml": "GML", ".fgb": "FlatGeobuf"}.get(ending)
    frame([(POND, {"water_id": "pond", "level_m": 12.0})]).to_file(
        tmp_path / f"water{ending}", driver=driver
    )
    before = sorted(path.name for path in tmp_path.iterdir())
    (water,) = read_site(tmp_path).water_bodies
    assert transformed(water.outline, water.crs, CRS).symmetric_difference(POND).area < 1e-3
    assert sorted(path.name for path in tmp_path.iterdir()) == before  # nothing is left behind


def test_shapefile_is_listed_with_its_other_parts(tmp_path: Path) -> None:
    write_site(tmp_path)
    (tmp_path / "water.geojson").unlink()
    frame([(POND, {"water_id": "pond", "level_m": 12.0})]).to_file(tmp_path / "water.shp")
    names = [source.path for source in read_site(tmp_path).sources]
    assert names == [
        "site.toml", "water.cpg", "water.dbf", "water.prj", "water.shp", "water.shx",
    ]  # fmt: skip


def test_names_cut_by_a_shapefile_are_said(tmp_path: Path) -> None:
    write_site(tmp_path)
    rows = [(at(0, 20), {"inflow_id": "a", "peak_flow_": 3.0})]
    frame(rows).to_file(tmp_path / "inflows.shp")
    remedies = [fault.remedy for fault in check_site(tmp_path).faults]
    assert any("10 letters" in remedy for remedy in remedies)


def test_kml_folders_are_read_and_names_stand_for_identities(tmp_path: Path) -> None:
    write_site(tmp_path)
    text = KML.format(*degrees(0, 25), *degrees(100, 25))
    (tmp_path / "inflows.kml").write_text(text)
    site = read_site(tmp_path)
    assert [part.inflow_id for part in site.water_bodies[0].inflows] == ["west", "east"]
    assert any("name of each feature" in note.remedy for note in site.notes)


def test_kml_heights_of_zero_are_no_soundings(tmp_path: Path) -> None:
    write_site(tmp_path)
    text = KML.format(*degrees(10, 25), *degrees(90, 25))
    (tmp_path / "soundings.kml").write_text(text)
    result = check_site(tmp_path)
    assert any("neither depths nor heights" in fault.found for fault in result.faults)


def test_gpx_waypoints_are_marks(tmp_path: Path) -> None:
    write_site(tmp_path)
    (tmp_path / "marks.gpx").write_text(GPX.format(*degrees(-5, 25)))
    (mark,) = read_site(tmp_path).water_bodies[0].marks
    assert mark.mark_id == "P1"


def test_closed_line_of_a_drawing_is_an_outline(tmp_path: Path) -> None:
    write_site(tmp_path)
    (tmp_path / "water.geojson").unlink()
    line = shapely.LineString(POND.exterior.coords)
    schema = {"geometry": "LineString", "properties": {}}
    with fiona.open(tmp_path / "water.dxf", "w", driver="DXF", schema=schema) as sink:
        sink.write({"geometry": shapely.geometry.mapping(line), "properties": {}})
    (water,) = read_site(tmp_path).water_bodies
    assert water.outline.area == pytest.approx(POND.area, rel=2e-3)


def test_a_record_that_cannot_be_built_is_named_and_the_rest_is_read(tmp_path: Path) -> None:
    path = tmp_path / "water.gpkg"
    rows = [(at(200 * index, 0).buffer(9, 1), {"water_id": f"w{index}"}) for index in range(3)]
    frame(rows).to_file(path, SPATIAL_INDEX="NO")
    with closing(sqlite3.connect(path)) as database, database:
        (blob,) = database.execute("SELECT geom FROM water WHERE fid = 2").fetchone()
        opened = blob[:-8] + struct.pack("<d", NORTH_M + 3.0)  # last northing of the ring
        database.execute("UPDATE water SET geom = ? WHERE fid = 2", (opened,))
    log = FaultLog()
    layer = gdal_layer(path, ("water",), Place(path.name, "water"), log)
    assert layer is not None
    assert layer.rows.tolist() == [1, 3]
    assert layer.columns["water_id"] == ["w0", "w2"]
    (fault,) = log.faults
    assert fault.feature == "feature 2"
    assert "the outer ring unclosed" in fault.found


def test_a_table_without_geometries_is_a_layer_of_none(tmp_path: Path) -> None:
    path = tmp_path / "site.gpkg"
    table = pd.DataFrame({"key": ["name", "other"], "value": ["1", None]})
    pyogrio.write_dataframe(table, path, layer="site")
    layer = gdal_layer(path, ("site",), Place(path.name, "site"), FaultLog())
    assert layer is not None
    assert layer.columns == {"key": ["name", "other"], "value": ["1", None]}
    assert layer.geometries.tolist() == [None, None]


def test_a_second_kind_of_file_under_a_known_ending_is_not_opened(tmp_path: Path) -> None:
    write_site(tmp_path)
    disguised = '<OGRVRTDataSource><OGRVRTLayer name="x"/></OGRVRTDataSource>'
    (tmp_path / "inflows.gml").write_text(disguised)
    result = check_site(tmp_path)
    assert result.site is None
    assert any(fault.file == "inflows.gml" for fault in result.faults)


def test_remarks_of_decoders_become_warnings_and_leave_no_trace() -> None:
    log = FaultLog()
    logger = logging.getLogger("fiona")
    handlers = list(logger.handlers)
    with decoder_messages(Place("a.shp"), log):
        logger.error("odd header")
        warnings.warn("odd ring", UserWarning, stacklevel=1)
    assert logger.handlers == handlers
    assert logger.propagate
    assert sorted(fault.found for fault in log.faults) == [
        "a remark of the file's reader: 'odd header'",
        "a remark of the file's reader: 'odd ring'",
    ]


def test_layer_in_two_places_is_refused(tmp_path: Path) -> None:
    write_site(tmp_path, inflows=features([(at(0, 20), {"inflow_id": "a"})]))
    frame([(at(0, 20), {"inflow_id": "a"})]).to_file(tmp_path / "site.gpkg", layer="inflows")
    assert any("second source" in fault.found for fault in check_site(tmp_path).faults)
