"""Small sites on disk: a rectangular pond in a projected CRS, and layers to put beside it."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import shapely
from shapely.geometry.base import BaseGeometry

CRS = "EPSG:25832"
#: South-west corner of the pond [m].
EAST_M, NORTH_M = 520_000.0, 6_220_000.0
POND = shapely.box(EAST_M, NORTH_M, EAST_M + 100, NORTH_M + 50)
SETTINGS = """
name = "Pond"
crs = "EPSG:25832"
[levels]
low_m = 11.6
normal_m = 12.0
high_m = 12.4
[[raft]]
name = "one"
length_m = 4.0
width_m = 2.0
draft_m = 0.2
"""


def at(east_m: float, north_m: float) -> shapely.Point:
    """A point, measured from the corner of the pond."""
    return shapely.Point(EAST_M + east_m, NORTH_M + north_m)


def features(
    rows: Sequence[tuple[BaseGeometry | None, Mapping[str, Any]]], crs: str | None = CRS
) -> str:
    """GeoJSON text of geometries and properties, its CRS named as older files do."""
    document: dict[str, Any] = {"type": "FeatureCollection"}
    if crs is not None:
        document["crs"] = {"type": "name", "properties": {"name": crs}}
    document["features"] = [
        {
            "type": "Feature",
            "properties": dict(properties),
            "geometry": None if shape is None else json.loads(shapely.to_geojson(shape)),
        }
        for shape, properties in rows
    ]
    return json.dumps(document)


def write_site(folder: Path, settings: str = SETTINGS, **layers: str) -> Path:
    """A site folder; each layer is the text of its file, GeoJSON unless it starts otherwise."""
    folder.mkdir(exist_ok=True)
    (folder / "site.toml").write_text(settings, encoding="utf-8")
    layers.setdefault("water", features([(POND, {"water_id": "pond", "level_m": 12.0})]))
    for name, text in layers.items():
        ending = ".geojson" if text.lstrip().startswith(("{", "[")) else ".csv"
        (folder / f"{name}{ending}").write_text(text, encoding="utf-8")
    return folder


def frame(rows: Sequence[tuple[BaseGeometry, Mapping[str, Any]]]) -> gpd.GeoDataFrame:
    """The same rows for formats that geopandas writes."""
    return gpd.GeoDataFrame(
        [{**properties, "geometry": shape} for shape, properties in rows],
        geometry="geometry",
        crs=CRS,
    )
