"""The surface model and heights of shade at the door."""

from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine

from geoplan.crs import transformed_points
from geoplan.readers import check_site, read_site
from geoplan.readers.raster import SURFACE_MARGIN_M
from tests.unit.readers.sites import CRS, EAST_M, NORTH_M, POND, at, features, write_site


def write_surface(path: Path, height: float = 12.0, **changes: float) -> None:
    """Cells of 2 m from 400 m west and south of the pond; a tower stands 30 m north of it."""
    size = 450
    place = Affine(2.0, 0.0, EAST_M - 400, 0.0, -2.0, NORTH_M + 500)
    surface = np.full((size, size), height + changes.get("land", 0.0), dtype="float64")
    cols, rows = np.meshgrid(np.arange(size) + 0.5, np.arange(size) + 0.5)
    east, north = EAST_M - 400 + 2 * cols, NORTH_M + 500 - 2 * rows
    water = (np.abs(east - EAST_M - 50) < 50) & (np.abs(north - NORTH_M - 25) < 25)
    surface[water] = height
    surface[(np.abs(east - EAST_M - 50) < 4) & (np.abs(north - NORTH_M - 80) < 4)] = height + 25
    with rasterio.open(
        path, "w", driver="GTiff", width=size, height=size, count=1, dtype="float64",
        crs=CRS, transform=place, nodata=-9999.0,
    ) as sink:  # fmt: skip
        sink.write(surface, 1)


def test_the_model_is_kept_as_far_round_as_things_shade(tmp_path: Path) -> None:
    write_site(tmp_path)
    write_surface(tmp_path / "surface.tif")
    site = read_site(tmp_path)
    (body,) = site.water_bodies
    raster = body.surface_raster
    assert raster is not None
    assert "surface.tif" in [source.path for source in site.sources]
    rows, cols = raster.surface_m.shape
    assert 2 * cols >= 100 + 2 * SURFACE_MARGIN_M
    assert cols < 300
    row, col = np.argwhere(raster.surface_m > 20).mean(axis=0)
    easting, northing = raster.affine @ [col, row, 1.0]
    east, north = transformed_points(np.array([easting]), np.array([northing]), body.crs, CRS)
    assert (east[0] - EAST_M, north[0] - NORTH_M) == pytest.approx((50.0, 80.0), abs=1.0)
    assert rows > 0


def test_a_model_on_another_datum_is_doubted(tmp_path: Path) -> None:
    write_site(tmp_path)
    write_surface(tmp_path / "surface.tif", height=52.0)
    result = check_site(tmp_path)
    assert result.site is not None
    (fault,) = [fault for fault in result.faults if fault.layer == "surface"]
    assert fault.severity == "warning"
    assert "52.00 m over the water" in fault.found
    assert "datum" in fault.remedy


def test_codes_for_no_data_are_refused(tmp_path: Path) -> None:
    write_site(tmp_path)
    write_surface(tmp_path / "surface.tif", height=-32768.0)
    result = check_site(tmp_path)
    assert result.site is None
    assert any("no data" in fault.remedy for fault in result.faults)


def test_a_model_elsewhere_is_refused(tmp_path: Path) -> None:
    elsewhere = features([(at(0, 5000).buffer(30), {"water_id": "far", "level_m": 12.0})])
    write_site(tmp_path, water=elsewhere)
    write_surface(tmp_path / "surface.tif")
    result = check_site(tmp_path)
    assert result.site is None
    assert any("covers no water body" in fault.found for fault in result.faults)


@pytest.mark.parametrize(
    ("height", "words"),
    [(900.0, "a tree of 900 m"), (121.0, "at most 120 m"), (None, "no height_m")],
)
def test_a_tree_of_no_height_or_an_absurd_one_is_refused(
    tmp_path: Path, height: float | None, words: str
) -> None:
    shade = features([(at(-5, 5), {"height_m": height}), (at(-9, 5), {"height_m": 12.0})])
    write_site(tmp_path, shade=shade)
    result = check_site(tmp_path)
    assert result.site is None
    (fault,) = [fault for fault in result.faults if fault.layer == "shade"]
    assert words in str(fault)


def test_a_building_may_be_taller_than_a_tree_but_not_absurd(tmp_path: Path) -> None:
    house = at(50, 70).buffer(5)
    write_site(tmp_path, shade=features([(house, {"height_m": 200.0})]))
    assert check_site(tmp_path).site is not None
    write_site(tmp_path, shade=features([(house, {"height_m": 301.0})]))
    (fault,) = [fault for fault in check_site(tmp_path).faults if fault.layer == "shade"]
    assert "a building of 301 m" in fault.found
    assert POND.area == 5000
