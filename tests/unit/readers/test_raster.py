"""The bed raster: cells land where they lie, and what is no bed is refused."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
import shapely
from rasterio.transform import Affine

from geoplan.crs import transformed_points
from geoplan.readers import check_site, read_site
from tests.unit.readers.sites import CRS, EAST_M, NORTH_M, at, features, write_site


def plane(east: Any, north: Any) -> Any:
    """A sloping bed: height by easting and northing from the corner of the pond."""
    return 9.0 + 0.01 * east + 0.02 * north


def write_bed(
    path: Path, crs: str | None = CRS, cell_m: float = 2.0, turn_deg: float = 0.0, **changes: Any
) -> None:
    """A raster of the plane over the pond and its banks."""
    cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    place = Affine(
        cell_m * cos, cell_m * sin, EAST_M - 30, cell_m * sin, -cell_m * cos, NORTH_M + 90
    )
    cols, rows = np.meshgrid(np.arange(100) + 0.5, np.arange(80) + 0.5)
    east = place.a * cols + place.b * rows + place.c
    north = place.d * cols + place.e * rows + place.f
    bed = changes.pop("bed", plane(east - EAST_M, north - NORTH_M)).astype("float64")
    with rasterio.open(
        path, "w", driver="GTiff", width=100, height=80, count=1, dtype="float64",
        crs=crs, transform=changes.pop("transform", place), nodata=-9999.0,
    ) as sink:  # fmt: skip
        sink.write(bed, 1)
        if "unit" in changes:
            sink.units = (changes["unit"],)


@pytest.mark.parametrize("turn_deg", [0.0, 12.0])
def test_cells_lie_where_the_raster_puts_them(tmp_path: Path, turn_deg: float) -> None:
    write_site(tmp_path)
    write_bed(tmp_path / "bed.tif", turn_deg=turn_deg)
    (water,) = read_site(tmp_path).water_bodies
    raster = water.bed_raster
    assert raster is not None
    rows, cols = raster.bed_m.shape
    assert rows * cols < 80 * 100  # cropped
    grid_cols, grid_rows = np.meshgrid(np.arange(cols), np.arange(rows))
    where = raster.affine @ np.stack([grid_cols.ravel(), grid_rows.ravel(), np.ones(rows * cols)])
    east, north = transformed_points(where[0], where[1], water.crs, CRS)
    # The plane rises 0.02 m in a metre: cells are at their places to 2 mm.
    error_m = raster.bed_m.ravel() - plane(east - EAST_M, north - NORTH_M)
    assert np.abs(error_m).max() < 5e-5


def test_cells_without_data_are_nan(tmp_path: Path) -> None:
    write_site(tmp_path)
    bed = np.full((80, 100), 10.0)
    bed[:, :40] = -9999.0
    write_bed(tmp_path / "bed.tif", bed=bed)
    raster = read_site(tmp_path).water_bodies[0].bed_raster
    assert raster is not None
    assert np.isnan(raster.bed_m).any()
    assert set(raster.bed_m[np.isfinite(raster.bed_m)]) == {10.0}


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"unit": "ft"}, "elevations in 'ft'"),
        ({"bed": np.full((80, 100), -32768.0)}, "stands for no data"),
        ({"bed": np.full((80, 100), 14.0)}, "all above the high level"),
        ({"transform": Affine(2, 0, 0, 0, -2, 0)}, "covers no water body"),
    ],
)
def test_what_is_no_bed_is_refused(tmp_path: Path, changes: dict[str, Any], words: str) -> None:
    write_site(tmp_path)
    write_bed(tmp_path / "bed.tif", **changes)
    result = check_site(tmp_path)
    assert any(words in str(fault) for fault in result.faults), result.faults
    assert result.site is None


def test_a_raster_without_a_crs_takes_that_of_the_site(tmp_path: Path) -> None:
    write_site(tmp_path)
    write_bed(tmp_path / "bed.tif", crs=None)
    assert read_site(tmp_path).water_bodies[0].bed_raster is not None


def test_soundings_off_the_raster_and_contours_beside_it_are_named(tmp_path: Path) -> None:
    places = [(20.0 + 5 * k, 25.0) for k in range(12)]
    rows = [(at(*p), {"bed_m": float(plane(*p)) + 0.5}) for p in places]
    line = shapely.LineString([(EAST_M + 10, NORTH_M + 10), (EAST_M + 80, NORTH_M + 10)])
    write_site(tmp_path, soundings=features(rows), contours=features([(line, {"bed_m": 9.5})]))
    write_bed(tmp_path / "bed.tif")
    words = [str(fault) for fault in check_site(tmp_path).faults]
    assert any("soundings 0.50 m above the raster in the median of 12" in text for text in words)
    assert any("1 contour beside a raster of the bed" in text for text in words)
    agreeing = [(at(*p), {"bed_m": float(plane(*p)) + 0.05}) for p in places]
    write_site(tmp_path, soundings=features(agreeing))
    assert not any("the median of" in str(fault) for fault in check_site(tmp_path).faults)
