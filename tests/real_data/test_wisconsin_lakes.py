"""
Two seepage lakes of Waushara County, Wisconsin: areas and volumes published by the state.

A site is built round each from its bed raster; the outline is the raster's own contour at the
highest level of the published table. Data: C. Voter (2019), CSLSdata, MIT licence.
"""

import itertools
import json
from pathlib import Path

import contourpy
import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely

from geoplan.audit import audit_plan
from geoplan.cover import stage_curve
from geoplan.exports import gis_files
from geoplan.fields import site_fields
from geoplan.fleet import plan_folder
from geoplan.readers import read_site
from geoplan.water.levels import hypsography

LAKES = [("long", "Long"), ("pfl", "Plainfield")]

pytestmark = pytest.mark.real_data


def lake_outline(raster: Path, level_m: float) -> shapely.Polygon:
    """The largest region of the raster below a level, islands as holes, in its CRS."""
    with rasterio.open(raster) as source:
        bed = source.read(1, masked=True).filled(np.nan)
        cols = np.arange(source.width) + 0.5
        rows = np.arange(source.height) + 0.5
        east = source.transform.c + cols * source.transform.a
        north = source.transform.f + rows * source.transform.e
    high = np.where(np.isnan(bed), level_m + 5.0, bed)
    padded = np.pad(high, 1, constant_values=level_m + 5.0)
    east = np.concatenate([[2 * east[0] - east[1]], east, [2 * east[-1] - east[-2]]])
    north = np.concatenate([[2 * north[0] - north[1]], north, [2 * north[-1] - north[-2]]])
    filled = contourpy.contour_generator(
        east, north, padded, fill_type=contourpy.FillType.OuterOffset
    ).filled(-1e9, level_m)
    parts = []
    for points, offsets in zip(filled[0], filled[1], strict=True):
        rings = [points[a:b] for a, b in itertools.pairwise(offsets)]
        parts.append(shapely.Polygon(rings[0], [ring for ring in rings[1:] if len(ring) > 3]))
    return max(parts, key=lambda part: part.area)


def lake_site(data: Path, folder: Path, key: str, name: str) -> tuple[Path, pd.DataFrame]:
    """A site folder of a lake, low level two metres below the top of its table."""
    lakes = data / "wisconsin_lakes"
    table = pd.read_csv(lakes / "stage_area_volume.csv")
    table = table[table.lake == name].reset_index(drop=True)
    top_m = float(table.elev_m.max())
    raster = lakes / f"{key}_raster.tif"
    folder.mkdir()
    outline = lake_outline(raster, top_m)
    gpd.GeoDataFrame(
        {"water_id": [name], "level_m": [top_m]}, geometry=[outline], crs="EPSG:3071"
    ).to_file(folder / "water.gpkg", layer="water")
    (folder / "bed.tif").write_bytes(raster.read_bytes())
    point = outline.exterior.interpolate(0.0)
    gpd.GeoDataFrame(
        {"inflow_id": ["seep"], "flow_l_s": [5.0]}, geometry=[point], crs="EPSG:3071"
    ).to_file(folder / "inflows.gpkg", layer="inflows")
    (folder / "site.toml").write_text(
        f"""name = {json.dumps(name)}
crs = "EPSG:3071"
vertical_datum = "NAVD88"
[levels]
low_m = {top_m - 2.0}
normal_m = {top_m - 1.0}
high_m = {top_m}
[survey]
sigma_m = 0.05
[[raft]]
name = "six by three"
length_m = 6.0
width_m = 3.0
draft_m = 0.25
root_depth_m = 0.5
stock = 40
""",
        encoding="utf-8",
    )
    return folder, table


@pytest.mark.published(
    "State of Wisconsin stage-area-volume table, via CSLSdata (Voter 2019), read"
)
@pytest.mark.parametrize(("key", "name"), LAKES)
def test_area_and_volume_at_every_stage_above_a_fifth_of_the_volume(
    key: str, name: str, real_data: Path, tmp_path: Path
) -> None:
    folder, table = lake_site(real_data, tmp_path / key, key, name)
    site = read_site(folder)
    fields = site_fields(site.water_bodies[0], site.settings)
    rows = table[table.vol_m3 > 0.2 * table.vol_m3.max()]
    area, volume = stage_curve(site.water_bodies[0], fields, rows.elev_m.to_numpy())
    assert len(rows) > 50
    np.testing.assert_allclose(area, rows.area_m2, rtol=5e-3)
    np.testing.assert_allclose(volume, rows.vol_m3, rtol=5e-3)


@pytest.mark.published(
    "State of Wisconsin stage-area-volume table, via CSLSdata (Voter 2019), read"
)
@pytest.mark.parametrize(("key", "name"), LAKES)
def test_every_published_row_is_the_count_of_the_raster(
    key: str, name: str, real_data: Path
) -> None:
    """Areas on the map, as published; a cell that lies at a level to the last digit may differ."""
    lakes = real_data / "wisconsin_lakes"
    table = pd.read_csv(lakes / "stage_area_volume.csv")
    rows = table[table.lake == name]
    with rasterio.open(lakes / f"{key}_raster.tif") as source:
        bed = source.read(1, masked=True).astype(float).filled(np.nan)
        cell_m2 = abs(source.transform.determinant)
    area, volume = hypsography(bed, cell_m2, rows.elev_m.to_numpy())
    assert len(rows) > 100
    np.testing.assert_allclose(area, rows.area_m2, rtol=1e-3, atol=1.001 * cell_m2)
    np.testing.assert_allclose(volume, rows.vol_m3, rtol=1e-3, atol=0.1)


@pytest.mark.parametrize(("key", "name"), LAKES)
def test_contours_alone_give_the_volume_within_one_percent(
    key: str, name: str, real_data: Path, tmp_path: Path
) -> None:
    folder, table = lake_site(real_data, tmp_path / key, key, name)
    (folder / "bed.tif").unlink()
    drawn = gpd.read_file(real_data / "wisconsin_lakes" / f"{key}_contours.shp")
    lines = drawn.assign(bed_m=drawn.level.astype(float))[["bed_m", "geometry"]]
    lines.to_crs("EPSG:3071").explode(ignore_index=True).to_file(
        folder / "contours.gpkg", layer="contours"
    )
    site = read_site(folder)
    fields = site_fields(site.water_bodies[0], site.settings)
    rows = table[table.vol_m3 > 0.2 * table.vol_m3.max()]
    _, volume = stage_curve(site.water_bodies[0], fields, rows.elev_m.to_numpy())
    np.testing.assert_allclose(volume, rows.vol_m3, rtol=1e-2)


@pytest.mark.parametrize(("key", "name"), LAKES)
def test_a_plan_two_metres_below_the_top_is_accepted_by_the_audit(
    key: str, name: str, real_data: Path, tmp_path: Path
) -> None:
    folder, _ = lake_site(real_data, tmp_path / key, key, name)
    outcome = plan_folder(folder, tmp_path / "plan", workers=1)
    assert len(outcome.plan.waters[0].rafts) == 40
    assert not [finding for finding in outcome.audit.findings if not finding.passed]
    written = gis_files.read_plan(tmp_path / "plan" / gis_files.FILE_NAME)
    assert audit_plan(written, read_site(folder)).passed
