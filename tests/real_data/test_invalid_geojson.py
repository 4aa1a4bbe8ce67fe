"""
Seventy-four GeoJSON files, valid, doubtful and broken, each as the water of a site.

None may raise or warn past the door; each is read, or refused with a fault in words.
"""

import os
import shutil
from pathlib import Path

import pytest

from geoplan.errors import SiteDataError
from geoplan.readers import check_site, read_site
from tests.unit.readers.sites import SETTINGS

pytestmark = pytest.mark.real_data

#: File -> words that its fault must hold, by what the name of the file says is wrong.
WORDS = {
    "invalid_incorrect_geometry_data_type": "nested too deep",
    "invalid_less_three_unique_nodes": "three different positions",
    "invalid_unclosed": "unclosed",
    "invalid_feature_geometry_is_string": "a geometry that is text",
    "invalid_feature_id_type": "an id that is an object",
    "invalid_feature_no_properties": "no member 'properties'",
    "invalid_feature_properties_is_array": "properties that are a list",
    "invalid_feature_properties_is_int": "properties that are a number",
    "invalid_feature_wrong_geometry_key": "'not-geometry'",
    "invalid_featurecollection_feature_nullfeature": "a feature that is null",
    "invalid_featurecollection_features_is_object": "'features' that is an object",
    "invalid_featurecollection_no_features_member": "no features",
    "invalid_featurecollection_nulltype": "whose type is null",
    "invalid_featurecollection_type_lowercase": "'FeatureCollection' meant",
    "invalid_featurecollection_unknown_type": "'notafc'",
    "invalid_geometry_bbox_not4or6": "a bbox [1, 2, 3]",
    "invalid_geometry_bbox_not_list": "a bbox 'something",
    "invalid_geometry_bbox_not_numbers": "a bbox [1, 2, 3, '4']",
    "invalid_geometry_coordinates_1d": "nested 1 deep",
    "invalid_geometry_coordinates_empty_position": "a position []",
    "invalid_geometry_coordinates_missing": "no coordinates",
    "invalid_geometry_coordinates_string": "'11.691336'",
    "invalid_geometry_depth_deep_point": "nested too deep",
    "invalid_geometry_depth_deep_polygon": "nested too deep",
    "invalid_geometry_depth_shallow_linestring": "in place of a position",
    "invalid_geometry_depth_shallow_multipolygon": "in place of a position",
    "invalid_geometry_depth_shallow_polygon": "in place of a position",
    "invalid_geometry_geometrycollection_null_geometry": "a geometry that is null",
    "invalid_geometry_mislabeled_point": "nested 1 deep",
    "invalid_geometry_missing_type": "no member 'type'",
    "invalid_geometry_wrong_geometry_type": "'SomeThingElse'",
    "problematic_crosses_antimeridian": "180° meridian",
    "problematic_feature_null_geometry": "no geometry (null)",
    "problematic_inner_and_exterior_ring_intersect": "not valid: self-intersection",
    "problematic_outside_lat_lon_boundaries": "-190.624",
    "problematic_self_intersection_large": "not valid: self-intersection",
    "problematic_self_intersection_small": "It was repaired",
    "problematic_zero_length_linestring": "wrong type, LineString",
    "valid_feature_null_geometry": "no geometry (null)",
    "valid_featurecollection_empty_features": "no features",
    "valid_geometry_geometrycollection_empty_geometries": "an empty geometry",
}
#: Files that hold one polygon of a pond's size, and can be used.
USABLE = {
    "invalid_exterior_not_ccw",
    "invalid_interior_not_cw",
    "problematic_3d_coordinates",
    "problematic_4d_coordinates",
    "problematic_crs_defined",
    "problematic_duplicate_nodes",
    "problematic_excessive_coordinate_precision",
    "problematic_excessive_vertices",
    "problematic_geometry_not_wrapped",
    "problematic_holes",
    "problematic_multitype_geometry_with_just_one_geometry",
    "problematic_self_intersection_small",
    "problematic_wrong_bbox_coordinate_order",
}


def _files() -> list[Path]:
    """The files, where they are; what is named and missing fails in the fixture."""
    named = os.environ.get("GEOPLAN_REAL_DATA")
    return sorted(Path(named, "invalid_geojson").rglob("*.geojson")) if named else []


def test_all_files_are_there(real_data: Path) -> None:
    assert len(list((real_data / "invalid_geojson").rglob("*.geojson"))) == 74


@pytest.mark.parametrize("path", _files(), ids=lambda path: path.stem)
def test_file_is_read_or_refused_in_words(path: Path, tmp_path: Path) -> None:
    settings = SETTINGS.replace('crs = "EPSG:25832"', "")
    (tmp_path / "site.toml").write_text(settings, encoding="utf-8")
    shutil.copy(path, tmp_path / "water.geojson")
    result = check_site(tmp_path)
    errors = [fault for fault in result.faults if fault.severity == "error"]
    assert (result.site is not None) == (path.stem in USABLE)
    assert (result.site is None) == bool(errors)
    words = WORDS.get(path.stem, "")
    assert any(words in str(fault) for fault in result.faults), [str(f) for f in result.faults]
    if path.parent.name == "invalid_structure":
        assert words
    if errors:
        with pytest.raises(SiteDataError):
            read_site(tmp_path)
