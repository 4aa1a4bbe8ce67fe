"""GeoJSON: what RFC 7946 allows is read, what it does not is said."""

import json

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from geoplan.readers.fault_log import FaultLog, Place
from geoplan.readers.geojson import GeometryFaultError, geojson_layer, geometry_from, parsed_json

PLACE = Place("water.geojson", "water")
ANY_JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=4),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(
                ["type", "coordinates", "geometry", "features", "properties", "bbox", "x"]
            ),
            inner | st.sampled_from(["Point", "Polygon", "Feature", "FeatureCollection"]),
            max_size=4,
        )
    ),
    max_leaves=20,
)


@pytest.mark.parametrize(
    "wkt",
    [
        "POINT (1 2)",
        "POINT Z (1 2 3)",
        "LINESTRING (0 0, 1 1)",
        "POLYGON ((0 0, 4 0, 4 4, 0 0), (1 0.5, 2 0.5, 2 1, 1 0.5))",
        "MULTIPOLYGON (((0 0, 4 0, 4 4, 0 0)), ((9 9, 8 9, 8 8, 9 9)))",
        "MULTILINESTRING ((0 0, 1 1), (2 2, 3 3))",
        "MULTIPOINT (0 0, 1 1)",
        "GEOMETRYCOLLECTION (POINT (1 2), LINESTRING (0 0, 1 1))",
        "POINT EMPTY",
        "POLYGON EMPTY",
    ],
)
def test_legal_geometries_are_read_as_shapely_writes_them(wkt: str) -> None:
    geometry = shapely.from_wkt(wkt)
    read = geometry_from(json.loads(shapely.to_geojson(geometry)))
    assert read.equals_exact(geometry, 0.0) or (read.is_empty and geometry.is_empty)
    assert read.geom_type == geometry.geom_type


@pytest.mark.parametrize(
    ("geometry", "words"),
    [
        ({"type": "Point", "coordinates": [1]}, "position"),
        ({"type": "Point", "coordinates": [1, True]}, "position"),
        ({"type": "Point", "coordinates": [1, float("inf")]}, "position"),
        ({"type": "Point", "coordinates": [1, 10**400]}, "position"),
        ({"type": "LineString", "coordinates": [[1, 2]]}, "a line of 1"),
        ({"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1], [0, 1]]]}, "unclosed"),
        ({"type": "polygon", "coordinates": []}, "'Polygon' meant"),
        ({"type": "GeometryCollection", "geometries": {}}, "GeometryCollection"),
        ([], "a list"),
    ],
)
def test_what_is_wrong_is_named(geometry: object, words: str) -> None:
    with pytest.raises(GeometryFaultError, match=words):
        geometry_from(geometry)


def test_nesting_without_end_is_refused() -> None:
    inside: dict[str, object] = {"type": "Point", "coordinates": [1, 2]}
    for _ in range(20):
        inside = {"type": "GeometryCollection", "geometries": [inside]}
    with pytest.raises(GeometryFaultError, match="nested too deep"):
        geometry_from(inside)
    log = FaultLog()
    assert parsed_json(b"[" * 200_000, PLACE, log) is None
    assert log.has_errors


@given(ANY_JSON)
def test_any_json_is_read_or_refused(document: object) -> None:
    log = FaultLog()
    parsed = parsed_json(json.dumps(document).encode(), PLACE, log)
    layer = None if parsed is None else geojson_layer(parsed, PLACE, log)
    assert layer is not None or log.has_errors


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    log = FaultLog()
    assert parsed_json(data, PLACE, log) is not None or log.has_errors


def test_nested_properties_become_text() -> None:
    document = {
        "type": "Feature",
        "properties": {"water_id": {"a": 1}},
        "geometry": {"type": "Point", "coordinates": [1, 2]},
    }
    layer = geojson_layer(document, PLACE, FaultLog())
    assert layer is not None
    assert layer.columns == {"water_id": ['{"a": 1}']}


@pytest.mark.parametrize("member", [5, {"type": "link", "properties": {"href": "x"}}, []])
def test_a_crs_by_other_means_than_name_is_refused(member: object) -> None:
    log = FaultLog()
    geojson_layer({"type": "FeatureCollection", "features": [], "crs": member}, PLACE, log)
    assert log.has_errors
