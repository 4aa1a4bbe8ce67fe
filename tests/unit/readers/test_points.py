"""Points held as their coordinates are the points that the file holds, whoever asks for them."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

from geoplan.readers.fault_log import FaultLog, Place
from geoplan.readers.points import AT_A_TIME, Points
from geoplan.readers.vector import gdal_layer

CRS = "EPSG:25832"


def some_points(count: int) -> np.ndarray:
    """Coordinates of some points."""
    return np.random.default_rng(4).uniform(5e5, 6e5, (count, 2))


def written(folder: Path, geometries: list[shapely.Geometry]) -> Path:
    """A GeoPackage of soundings."""
    path = folder / "soundings.gpkg"
    depth = np.linspace(0.5, 2.0, len(geometries))
    gpd.GeoDataFrame({"depth_m": depth}, geometry=geometries, crs=CRS).to_file(
        path, layer="soundings"
    )
    return path


def read(path: Path) -> tuple[object, FaultLog]:
    """Its layer and the faults."""
    log = FaultLog()
    layer = gdal_layer(path, ("soundings",), Place(path.name, "soundings"), log)
    assert layer is not None
    return layer.geometries, log


@pytest.mark.parametrize("count", [1, AT_A_TIME, AT_A_TIME + 7])
def test_points_of_a_file_are_those_that_a_library_reads(tmp_path: Path, count: int) -> None:
    """geopandas reads the same file."""
    path = written(tmp_path, list(shapely.points(some_points(count))))
    geometries, _ = read(path)
    assert isinstance(geometries, Points)
    wanted = gpd.read_file(path).geometry.to_numpy()
    assert shapely.equals_identical(np.asarray(geometries), wanted).all()
    assert all(one == other for one, other in zip(geometries, wanted, strict=True))


@pytest.mark.parametrize(
    "odd",
    [
        shapely.Point(5e5, 6e6, 3.0),
        shapely.Point(),
        shapely.MultiPoint([(5e5, 6e6)]),
        shapely.LineString([(5e5, 6e6), (5e5, 7e6)]),
    ],
    ids=["height", "empty", "several", "line"],
)
def test_anything_but_plain_points_is_kept_as_it_is(tmp_path: Path, odd: shapely.Geometry) -> None:
    """A height, a point of several or a line would be lost in two numbers."""
    geometries, _ = read(written(tmp_path, [shapely.Point(5e5, 6e6), odd]))
    assert isinstance(geometries, np.ndarray)
    assert geometries[1].geom_type == odd.geom_type
    assert geometries[1].has_z == odd.has_z


def test_a_coordinate_that_is_no_number_is_not_taken_for_no_point(tmp_path: Path) -> None:
    """In a table it is an empty cell; in a file of points it is a fault, which must be seen."""
    geometries, _ = read(written(tmp_path, [shapely.Point(5e5, 6e6), shapely.Point(5e5, np.nan)]))
    assert isinstance(geometries, np.ndarray)


def test_positions_flags_and_slices_take_what_an_array_of_points_would() -> None:
    """numpy does the same on the points themselves."""
    at = some_points(9)
    points, objects = Points(at), shapely.points(at)
    for picked in (np.array([4, 0, 4]), slice(2, 7), at[:, 0] > 5.5e5, np.empty(0, dtype=int)):
        assert shapely.equals_identical(points[picked], objects[picked]).all()
    assert points[np.int64(3)] == objects[3]
