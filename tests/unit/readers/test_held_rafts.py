"""Held rafts are read from a plan's own file and from drawings; what is no raft is refused."""

import json
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from shapely.affinity import rotate, translate

from geoplan.crs import transformed
from geoplan.errors import SiteDataError
from geoplan.exports import gis_files
from geoplan.readers.held_rafts import read_held
from tests.unit.exports import small_plan as small


@pytest.fixture
def plan_file(tmp_path: Path) -> Path:
    gis_files.write(small.plan(), small.site(), tmp_path, None)
    return tmp_path / "plan.gpkg"


def drawn(folder: Path, *shapes: shapely.Geometry, **columns: list[str]) -> Path:
    """Polygons of the upper pond's CRS as GeoJSON in longitude and latitude."""
    features = [
        {
            "type": "Feature",
            "geometry": shapely.geometry.mapping(transformed(s, small.UPPER_CRS, "EPSG:4326")),
            "properties": {name: values[k] for name, values in columns.items()},
        }
        for k, s in enumerate(shapes)
    ]
    path = folder / "mine.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


def faults(path: Path) -> str:
    with pytest.raises(SiteDataError) as caught:
        read_held(path, small.site())
    return str(caught.value)


def test_rafts_of_a_plan_come_back_where_they_were(plan_file: Path) -> None:
    held, source = read_held(plan_file, small.site())
    wanted = {
        (water.water_id, raft.raft_type): raft
        for water in small.plan().waters
        for raft in water.rafts
        if raft.status == "planned"
    }
    assert len(held) == 3  # the raft that lies there already is the site's own
    for raft in held:
        near = [
            other
            for water in small.plan().waters
            for other in water.rafts
            if water.water_id == raft.water_id
            and abs(other.easting_m - raft.easting_m) < 1e-6
            and abs(other.northing_m - raft.northing_m) < 1e-6
        ]
        assert len(near) == 1
        assert near[0].heading_deg == pytest.approx(raft.heading_deg, abs=1e-5)
    assert wanted
    assert source.path == "plan.gpkg"
    assert len(source.sha256) == 64


def test_a_drawing_is_known_by_its_size(tmp_path: Path) -> None:
    one = translate(rotate(shapely.box(-3, -1.2, 3, 1.2), 25), 5, -5)
    (held,), _ = read_held(drawn(tmp_path, one), small.site())
    assert held.raft_type == small.HOSTILE[4]  # 6 by 2.4 m
    assert held.water_id == "upper"
    assert held.heading_deg == pytest.approx(65.0, abs=0.05)
    assert held.outline.area == pytest.approx(6 * 2.4)


def test_what_is_no_raft_is_refused_in_words(tmp_path: Path) -> None:
    good = translate(shapely.box(-2, -1.2, 2, 1.2), 5, -5)
    assert "5.00 by 2.40 m" in faults(drawn(tmp_path, translate(shapely.box(0, 0, 5, 2.4), 5, -5)))
    assert "off every water" in faults(drawn(tmp_path, translate(good, 500, 0)))
    words = faults(drawn(tmp_path, good, raft_type=["ten by ten"]))
    assert "ten by ten" in words
    assert "four by two" in words
    assert "no rectangle" in faults(drawn(tmp_path, shapely.Point(5, -5).buffer(2.0)))
    assert "no raft" in faults(drawn(tmp_path))
    bow = shapely.Polygon([(0, 0), (4, 2.4), (4, 0), (0, 2.4)])
    assert "polygon" in faults(drawn(tmp_path, translate(bow, 5, -5)))


def test_all_faults_are_named_at_once(tmp_path: Path) -> None:
    bad = translate(shapely.box(0, 0, 5, 2.4), 5, -5)
    words = faults(drawn(tmp_path, bad, translate(bad, 900, 0)))
    assert "feature 1" in words
    assert "feature 2" in words


def test_files_that_are_none(tmp_path: Path) -> None:
    assert faults(tmp_path / "nothing.geojson")
    text = tmp_path / "rafts.txt"
    text.write_text("hello")
    assert ".geojson or .gpkg" in faults(text)
    junk = tmp_path / "junk.gpkg"
    junk.write_bytes(b"no database")
    assert faults(junk)
    two = tmp_path / "two.gpkg"
    for layer in ("a", "b"):
        gpd.GeoDataFrame(geometry=[shapely.box(0, 0, 1, 1)], crs=small.CRS).to_file(
            two, layer=layer
        )
    assert "a layer 'rafts'" in faults(two)
