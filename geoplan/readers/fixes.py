"""
Fixes of rafts that lie in the water, from a table, a GPX or a GeoJSON file.

A table has the columns of ``inspection.csv``, whose rows a crew fills in; rows without coordinates
and rows of posts are passed over.
"""

import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely.geometry import Point, Polygon

from geoplan.crs import WGS84, transformed
from geoplan.errors import Fault, SiteDataError
from geoplan.readers.columns import numbers, text_of, tidied
from geoplan.readers.coordinates import layer_crs
from geoplan.readers.fault_log import FaultLog, Place, shown
from geoplan.readers.geojson import geojson_layer, parsed_json
from geoplan.readers.layer import Layer, object_array
from geoplan.readers.source import file_bytes
from geoplan.readers.tables import table_layer
from geoplan.readers.vector import gdal_layer, gdal_layer_names

#: Position error of a phone or a hand-held receiver under open sky, one standard deviation along
#: each axis [m]. *Judgement*: 4 m, twice what makers state, is assumed where nothing is stated.
PHONE_SIGMA_M = 4.0

_ITEM = re.compile(r"^(.*?)[\s_-]*\b(cent(?:re|er)|corner)\s*([1-4]?)$", re.IGNORECASE)
_POST = re.compile(r"^(post|anchor)\b", re.IGNORECASE)
_FORMATS = (".csv", ".gpx", ".geojson", ".json", ".gpkg")


@dataclass(frozen=True)
class Fix:
    """
    One surveyed point of a raft.

    Attributes
    ----------
    raft_name : str
        Name that the surveyor gave; empty where none.
    item : int
        0 the centre, 1 to 4 a corner by its number, -1 some corner.
    longitude_deg, latitude_deg : float
        Where [°].
    sigma_m : float
        One standard deviation along each axis [m].
    level_m : float or None
        Water level at the time, above the vertical datum [m].
    time : str
        When, as stated; empty where not.
    row : int
        Row of the file; tells apart rafts that nobody named.
    """

    raft_name: str
    item: int
    longitude_deg: float
    latitude_deg: float
    sigma_m: float
    level_m: float | None = None
    time: str = ""
    row: int = 0


@dataclass(frozen=True)
class Inspection:
    """
    What an inspector wrote down of one raft.

    Attributes
    ----------
    raft_name : str
        Name that the inspector gave.
    freeboard_m : float or None
        Height of the raft's edge above the water [m].
    remarks : str
        Condition and remarks.
    """

    raft_name: str
    freeboard_m: float | None
    remarks: str


@dataclass(frozen=True)
class Survey:
    """
    What a file of fixes holds.

    Attributes
    ----------
    fixes : tuple of Fix
        In the order of the file; a polygon gives its four corners.
    seen : tuple of Inspection
        One for each raft of which something was written down.
    notes : tuple of Fault
        What was assumed or left out.
    """

    fixes: tuple[Fix, ...]
    seen: tuple[Inspection, ...]
    notes: tuple[Fault, ...]


def read_fixes(path: Path, crs: str, sigma_m: float | None = None) -> Survey:
    """
    Read fixes of rafts.

    Parameters
    ----------
    path : Path
        CSV, GPX, GeoJSON or GeoPackage.
    crs : str
        CRS of coordinates that state none.
    sigma_m : float or None
        Standard deviation of fixes that state none [m]; ``None``: that of a phone, with a remark.

    Returns
    -------
    Survey
        Fixes, inspections and what was assumed.

    Raises
    ------
    SiteDataError
        If any row cannot be used; it carries every fault.
    """
    log = FaultLog()
    layer = _layer(path, log)
    fixes: tuple[Fix, ...] = ()
    seen: tuple[Inspection, ...] = ()
    if layer is not None:
        layer = tidied(layer, log)
        seen = _inspections(layer)
        layer = _without_blanks(layer)
        found = layer_crs(layer, crs, log) if len(layer) else None
        if found is not None and not log.has_errors:
            fixes = tuple(_fixes(layer, found, sigma_m, log))
        if not (fixes or seen or log.has_errors):
            log.refuse(layer.place(), "no fix", "points of rafts", "Give at least one.")
    if log.has_errors:
        raise SiteDataError(log.faults)
    return Survey(fixes, seen, log.faults)


def _layer(path: Path, log: FaultLog) -> Layer | None:
    """Return the rows of a file, whatever its format."""
    place = Place(path.name, "fixes")
    ending = path.suffix.lower()
    if ending not in _FORMATS:
        log.refuse(
            place,
            f"a file ending in {shown(ending)}",
            f"one of {', '.join(_FORMATS)}",
            "Export the fixes in one of them.",
        )
        return None
    if ending in {".gpx", ".gpkg"}:
        names = gdal_layer_names(path, place, log) if path.is_file() else ()
        if not path.is_file():
            file_bytes(path, place, log)
        return gdal_layer(path, names[:1], place, log) if names else None
    data = file_bytes(path, place, log)
    if data is None:
        return None
    if ending == ".csv":
        return table_layer(data, place, log, blanks=True)
    document = parsed_json(data, place, log)
    return None if document is None else geojson_layer(document, place, log)


def _inspections(layer: Layer) -> tuple[Inspection, ...]:
    """Return what was written down of each raft, all its rows together."""
    freeboard = numbers(layer, "freeboard_m")
    found: dict[str, tuple[list[float], list[str]]] = {}
    for index in range(len(layer)):
        words = [text_of(layer, name, index) for name in ("condition", "remarks")]
        name = text_of(layer, "raft_id", index)
        if not name or not (any(words) or math.isfinite(freeboard[index])):
            continue
        heights, texts = found.setdefault(name, ([], []))
        if math.isfinite(freeboard[index]):
            heights.append(float(freeboard[index]))
        texts += [word for word in words if word and word not in texts]
    return tuple(
        Inspection(name, min(heights) if heights else None, "; ".join(texts))
        for name, (heights, texts) in found.items()
    )


def _without_blanks(layer: Layer) -> Layer:
    """Leave out rows without coordinates: those of a checklist that nobody fixed."""
    if layer.file_format != ".csv":
        return layer
    filled = np.flatnonzero(~shapely.is_missing(layer.geometries))
    return layer.taken(filled, layer.geometries[filled])


def _fixes(layer: Layer, crs: str, sigma_m: float | None, log: FaultLog) -> list[Fix]:
    """Return the fixes of every row, with a fault for each that is none."""
    stated, level = numbers(layer, "sigma_m"), numbers(layer, "level_m")
    is_assumed = np.isnan(stated) & (sigma_m is None)
    if is_assumed.any():
        log.remark(
            layer.place(),
            f"{int(is_assumed.sum())} fixes without sigma_m",
            "one standard deviation of each fix",
            f"Taken as a phone's, {PHONE_SIGMA_M:g} m; give --sigma where it is better.",
        )
    assumed = PHONE_SIGMA_M if sigma_m is None else sigma_m
    points = _in_degrees(layer, crs)
    out = []
    for index, geometry in enumerate(points):
        if _POST.match(text_of(layer, "item", index)):
            continue
        name, item = _named(layer, index, log)
        sigma = assumed if math.isnan(stated[index]) else float(stated[index])
        if sigma <= 0:
            log.refuse(
                layer.place(index),
                f"sigma_m {sigma:g}",
                "a number above 0",
                "No fix is without error: state its standard deviation.",
            )
            continue
        for corner, spot in _spots(layer, index, geometry, item, log):
            out.append(
                Fix(
                    name,
                    corner,
                    spot[0],
                    spot[1],
                    sigma,
                    None if math.isnan(level[index]) else float(level[index]),
                    text_of(layer, "time", index),
                    int(layer.rows[index]),
                )
            )
    return out


def _in_degrees(layer: Layer, crs: str) -> Any:
    """Return the geometries of a layer in WGS 84, longitude first."""
    flat = [None if one is None else shapely.force_2d(one) for one in layer.geometries]
    return object_array([None if one is None else transformed(one, crs, WGS84) for one in flat])


def _named(layer: Layer, index: int, log: FaultLog) -> tuple[str, int]:
    """Return the raft and the part of it that a row is of."""
    name, item = text_of(layer, "raft_id", index), text_of(layer, "item", index)
    is_polygon = isinstance(layer.geometries[index], Polygon)
    if not item and (parts := _ITEM.match(name)):
        name, item = parts[1], f"{parts[2]} {parts[3]}"
    if not item:
        return name, -1 if is_polygon else 0
    parts = _ITEM.match(item)
    if parts is None or parts[1]:
        log.refuse(
            layer.place(index),
            f"item {shown(item)}",
            "centre, corner, or corner 1 to corner 4",
            "Say what was fixed.",
        )
        return name, 0
    if parts[2].lower() != "corner":
        return name, 0
    if not name:
        log.refuse(
            layer.place(index),
            "a corner of no raft",
            "raft_id beside each corner",
            "Say which raft it is of, if only by a number of your own.",
        )
    return name, int(parts[3]) if parts[3] else -1


def _spots(
    layer: Layer, index: int, geometry: Any, item: int, log: FaultLog
) -> list[tuple[int, tuple[float, float]]]:
    """Return the points that a row fixes: one, or the corners of a polygon."""
    if isinstance(geometry, Point) and not geometry.is_empty:
        return [(item, (geometry.x, geometry.y))]
    if isinstance(geometry, Polygon) and len(geometry.exterior.coords) == 5:
        return [(-1, (x, y)) for x, y in geometry.exterior.coords[:4]]
    kind = "no geometry" if geometry is None else f"a {geometry.geom_type.lower()}"
    if isinstance(geometry, Polygon):
        kind = f"a polygon of {len(geometry.exterior.coords) - 1} corners"
    log.refuse(
        layer.place(index), kind, "a point, or a polygon of four corners", "Draw it so again."
    )
    return []
