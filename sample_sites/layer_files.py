"""Layers of an invented site, put at their place in the world and written to files."""

import csv
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import shapely
from shapely.geometry.base import BaseGeometry

Rows = Sequence[Mapping[str, Any]]

#: What a GeoPackage says of the day it was written; a clock would change its bytes.
_CURRENT_DATE = "2026-05-14T12:00:00.000Z"


def moved(geometry: BaseGeometry, origin: tuple[float, float]) -> BaseGeometry:
    """
    Return a drawing at its place in the world, to the millimetre.

    Parameters
    ----------
    geometry : BaseGeometry
        Drawing about the middle of a pond [m].
    origin : tuple of float
        Easting and northing of the middle in a projected CRS [m].

    Returns
    -------
    BaseGeometry
        The same there [m].
    """
    return shapely.transform(geometry, lambda at: np.round(at + np.array(origin), 3))


def layer(rows: Rows, origin: tuple[float, float], crs: str) -> gpd.GeoDataFrame:
    """
    Return rows as a layer at their place in the world.

    Parameters
    ----------
    rows : sequence of mapping
        Columns, ``geometry`` among them, drawn about the middle of a pond.
    origin : tuple of float
        Easting and northing of the middle [m].
    crs : str
        Projected CRS of ``origin``.

    Returns
    -------
    GeoDataFrame
        The layer.
    """
    placed = [{**row, "geometry": moved(row["geometry"], origin)} for row in rows]
    return gpd.GeoDataFrame(placed, geometry="geometry", crs=crs)


def write_geojson(frame: gpd.GeoDataFrame, path: Path) -> None:
    """
    Write a layer as GeoJSON, one feature to a line, degrees to eight decimals.

    Parameters
    ----------
    frame : GeoDataFrame
        The layer.
    path : Path
        File to write.
    """
    geographic = frame.to_crs("EPSG:4326")
    lines = []
    for row in geographic.to_dict("records"):
        geometry = shapely.transform(row.pop("geometry"), lambda at: np.round(at, 8))
        feature = {
            "type": "Feature",
            "properties": row,
            "geometry": json.loads(shapely.to_geojson(geometry)),
        }
        lines.append(json.dumps(feature))
    body = ",\n".join(lines)
    path.write_text(
        f'{{"type": "FeatureCollection", "features": [\n{body}\n]}}\n', encoding="utf-8"
    )


def write_csv(path: Path, header: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    """
    Write a table.

    Parameters
    ----------
    path : Path
        File to write.
    header : sequence of str
        Names of the columns.
    rows : sequence of sequence
        Cells.
    """
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


def write_geopackage(path: Path, layers: Mapping[str, gpd.GeoDataFrame]) -> None:
    """
    Write layers into one new GeoPackage whose bytes do not tell the time.

    Parameters
    ----------
    path : Path
        File to write.
    layers : mapping of str to GeoDataFrame
        Layers by name.
    """
    path.unlink(missing_ok=True)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": _CURRENT_DATE})
    for name, frame in layers.items():
        pyogrio.write_dataframe(
            frame, path, layer=name, driver="GPKG", append=path.exists(), SPATIAL_INDEX="NO"
        )
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
