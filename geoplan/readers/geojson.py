"""
GeoJSON read strictly, so that what is wrong in it is said and not mended unseen.

GDAL closes open rings, skips null features and guesses at nesting; a pond's outline deserves
better. Rules are those of RFC 7946 (2016); the older ``crs`` member is honoured.
"""

import difflib
import json
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import shapely
from shapely.geometry import (
    GeometryCollection,
    LineString,
    MultiLineString,
    MultiPoint,
    MultiPolygon,
    Point,
    Polygon,
)
from shapely.geometry.base import BaseGeometry

from geoplan.crs import WGS84
from geoplan.readers.fault_log import FaultLog, Place, shown
from geoplan.readers.layer import Layer, object_array

#: Depth of nested lists around a position, by geometry type.
_NESTING = {
    "Point": 0,
    "MultiPoint": 1,
    "LineString": 1,
    "MultiLineString": 2,
    "Polygon": 2,
    "MultiPolygon": 3,
}
_TYPES = (*_NESTING, "GeometryCollection", "Feature", "FeatureCollection")
_DEEPEST_COLLECTION = 8


class GeometryFaultError(ValueError):
    """
    A geometry that GeoJSON does not allow.

    Parameters
    ----------
    found, expected : str
        What stands there, and what should.
    """

    def __init__(self, found: str, expected: str) -> None:
        super().__init__(f"found {found}; expected {expected}")
        self.found = found
        self.expected = expected


def parsed_json(data: bytes, place: Place, log: FaultLog) -> dict[str, Any] | None:
    """
    Return the object in a JSON file.

    Parameters
    ----------
    data : bytes
        The file.
    place : Place
        Where faults are.
    log : FaultLog
        Takes the faults.

    Returns
    -------
    dict or None
        ``None`` where the file holds no JSON object; a fault says why.
    """
    remedy = "Export it again as GeoJSON, or repair it in a text editor."
    try:
        document = json.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        log.refuse(place, f"bytes that are no UTF-8 text ({error.reason})", "UTF-8 text", remedy)
    except json.JSONDecodeError as error:
        at = f"line {error.lineno}, column {error.colno}"
        log.refuse(place, f"no valid JSON: {error.msg} at {at}", "GeoJSON", remedy)
    except (RecursionError, ValueError) as error:
        log.refuse(place, f"JSON that cannot be read ({type(error).__name__})", "GeoJSON", remedy)
    else:
        if isinstance(document, dict):
            return document
        log.refuse(place, f"JSON that is {_kind(document)}", "a GeoJSON object", remedy)
    return None


def geojson_layer(document: dict[str, Any], place: Place, log: FaultLog) -> Layer | None:
    """
    Return the features of a GeoJSON document.

    Parameters
    ----------
    document : dict
        FeatureCollection, Feature or bare geometry.
    place : Place
        File and layer.
    log : FaultLog
        Takes the faults.

    Returns
    -------
    Layer or None
        Features whose geometry can be read; ``None`` where the document is no GeoJSON.
    """
    features = _features(document, place, log)
    if features is None:
        return None
    geometries, properties, rows = [], [], []
    for number, feature in enumerate(features, 1):
        here = Place(place.file, place.layer, f"feature {number}")
        read = _read_feature(feature, here, log)
        if read is not None:
            geometries.append(read[0])
            properties.append(read[1])
            rows.append(number)
    names = list(dict.fromkeys(name for row in properties for name in row))
    columns = {name: [_plain(row.get(name)) for row in properties] for name in names}
    crs = _crs_text(document, place, log)
    return Layer(
        place.layer,
        place.file,
        crs,
        object_array(geometries),
        columns,
        np.array(rows, dtype=np.int64),
        file_format=".geojson",
    )


def geometry_from(document: Any, depth: int = 0) -> BaseGeometry:
    """
    Return a GeoJSON geometry as a shapely one.

    Parameters
    ----------
    document : Any
        JSON value.
    depth : int
        Collections around it.

    Returns
    -------
    BaseGeometry
        With heights where every position has one.

    Raises
    ------
    GeometryFaultError
        If RFC 7946 does not allow it.

    Examples
    --------
    >>> geometry_from({"type": "Point", "coordinates": [9.3, 56.1]}).wkt
    'POINT (9.3 56.1)'
    """
    if not isinstance(document, dict):
        raise GeometryFaultError(f"a geometry that is {_kind(document)}", "a geometry object")
    kind = document.get("type")
    if kind == "GeometryCollection":
        parts = document.get("geometries")
        if not isinstance(parts, list) or depth > _DEEPEST_COLLECTION:
            raise GeometryFaultError(
                "a GeometryCollection without a list 'geometries', or nested too deep",
                "'geometries' as a list",
            )
        return GeometryCollection([geometry_from(part, depth + 1) for part in parts])
    if not isinstance(kind, str) or kind not in _NESTING:
        raise GeometryFaultError(_odd_type(document, "geometry"), f"one of {', '.join(_NESTING)}")
    if "coordinates" not in document:
        raise GeometryFaultError(f"a {kind} with no coordinates", "a member 'coordinates'")
    _check_nesting(document["coordinates"], kind)
    return _built(document["coordinates"], kind)


def _features(document: dict[str, Any], place: Place, log: FaultLog) -> list[Any] | None:
    """Return the list of features of any legal GeoJSON document."""
    kind = document.get("type")
    remedy = "Correct the member, or export the layer again as GeoJSON."
    _check_bbox(document, place, log)
    if kind == "FeatureCollection":
        features = document.get("features")
        if isinstance(features, list):
            return features
        found = f"'features' that is {_kind(features)}" if "features" in document else "no features"
        log.refuse(place, found, "a list of features in the member 'features'", remedy)
        return None
    if kind == "Feature":
        return [document]
    if isinstance(kind, str) and (kind in _NESTING or kind == "GeometryCollection"):
        return [{"type": "Feature", "properties": {}, "geometry": document}]
    log.refuse(place, _odd_type(document, "document"), f"one of {', '.join(_TYPES)}", remedy)
    return None


def _read_feature(
    feature: Any, place: Place, log: FaultLog
) -> tuple[BaseGeometry | None, dict[str, Any]] | None:
    """Return geometry and properties of a feature, or note why not."""
    remedy = "Correct the feature, or delete it."
    if not isinstance(feature, dict) or feature.get("type") != "Feature":
        found = (
            _odd_type(feature, "feature")
            if isinstance(feature, dict)
            else f"a feature that is {_kind(feature)}"
        )
        log.refuse(place, found, "an object of type 'Feature'", remedy)
        return None
    properties = _properties(feature, place, log)
    if "geometry" not in feature:
        others = ", ".join(shown(key) for key in list(feature)[:6])
        log.refuse(place, f"no member 'geometry' among {others}", "a member 'geometry'", remedy)
        return None
    if properties is None or feature["geometry"] is None:
        return None if properties is None else (None, properties)
    try:
        geometry = geometry_from(feature["geometry"])
    except GeometryFaultError as error:
        log.refuse(place, error.found, error.expected, remedy)
        return None
    _check_bbox(feature, place, log)
    return geometry, properties


def _properties(feature: dict[str, Any], place: Place, log: FaultLog) -> dict[str, Any] | None:
    """Return the properties of a feature; none at all is said, and harmless."""
    identity = feature.get("id")
    if "id" in feature and (
        isinstance(identity, bool) or not isinstance(identity, str | int | float)
    ):
        log.remark(place, f"an id that is {_kind(identity)}", "text or a number", "It is ignored.")
    if "properties" not in feature:
        log.remark(place, "no member 'properties'", "an object or null", "Taken as empty.")
        return {}
    properties = feature["properties"]
    if properties is None:
        return {}
    if isinstance(properties, dict):
        return properties
    log.refuse(
        place,
        f"properties that are {_kind(properties)}",
        "an object of names and values, or null",
        "Write the properties as an object in braces.",
    )
    return None


def _check_bbox(document: dict[str, Any], place: Place, log: FaultLog) -> None:
    """Say what is wrong with a bounding box; none is ever used."""
    bbox = document.get("bbox")
    if bbox is None:
        return
    is_numbers = isinstance(bbox, list) and all(_is_number(part) for part in bbox)
    if not (is_numbers and len(bbox) in {4, 6}):
        log.remark(
            place, f"a bbox {shown(bbox)}", "a list of 4 or 6 numbers", "The bbox is ignored."
        )


def _check_nesting(coordinates: Any, kind: str) -> None:
    """Refuse coordinates nested deeper or shallower than their type says, and odd positions."""
    wanted = _NESTING[kind]
    level = [coordinates]
    for depth in range(wanted):
        odd = next((part for part in level if not isinstance(part, list)), None)
        if odd is not None or any(part is None for part in level):
            raise GeometryFaultError(
                f"coordinates of a {kind} nested {depth} deep ({shown(odd)})",
                f"positions nested {wanted} deep in lists",
            )
        level = [part for outer in level for part in outer]
    for position in level:
        _check_position(position, kind, wanted)


def _check_position(position: Any, kind: str, wanted: int) -> None:
    """Refuse a position that is not two or more finite numbers."""
    if kind == "Point" and position == []:
        return
    if isinstance(position, list) and position and isinstance(position[0], list):
        raise GeometryFaultError(
            f"coordinates of a {kind} nested too deep ({shown(position)})",
            f"positions nested {wanted} deep in lists",
        )
    if not isinstance(position, list):
        raise GeometryFaultError(
            f"coordinates of a {kind} with {shown(position)} in place of a position",
            f"positions nested {wanted} deep in lists",
        )
    if len(position) < 2 or not all(_is_number(part) for part in position):
        raise GeometryFaultError(
            f"a position {shown(position)}", "two or more numbers, longitude and latitude"
        )


def _is_number(value: Any) -> bool:
    """Tell whether a JSON value is a finite number that a float can hold."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    try:
        return math.isfinite(value)
    except OverflowError:
        return False


def _built(coordinates: Any, kind: str) -> BaseGeometry:
    """Return the shapely geometry of coordinates whose nesting is right."""
    if not coordinates:
        return shapely.from_wkt(f"{kind.upper()} EMPTY")
    builders: dict[str, Callable[[Any], BaseGeometry]] = {
        "Point": lambda at: Point(_position(at)),
        "MultiPoint": lambda at: MultiPoint(_positions(at)),
        "LineString": _line,
        "MultiLineString": lambda at: MultiLineString([_line(part) for part in at]),
        "Polygon": _polygon,
        "MultiPolygon": lambda at: MultiPolygon([_polygon(part) for part in at if part]),
    }
    return builders[kind](coordinates)


def _position(position: list[float]) -> tuple[float, ...]:
    """Return a position as two or three numbers; measures beyond the height mean nothing here."""
    return tuple(float(part) for part in position[:3])


def _positions(path: list[Any]) -> list[tuple[float, ...]]:
    """Return positions with as many numbers each as the shortest has."""
    size = min((len(position) for position in path), default=2)
    return [_position(position)[:size] for position in path]


def _line(path: list[Any]) -> LineString:
    """Return a line, refusing one of a single position."""
    if len(path) < 2:
        raise GeometryFaultError(f"a line of {len(path)} position", "two positions or more")
    return LineString(_positions(path))


def _polygon(rings: list[Any]) -> Polygon:
    """Return a polygon, refusing open rings and rings of fewer than four positions."""
    if not any(rings):
        return Polygon()
    read = []
    for number, ring in enumerate(rings, 1):
        path = _positions(ring)
        name = "the outer ring" if number == 1 else f"hole {number - 1}"
        if len(set(path)) < 3:
            raise GeometryFaultError(
                f"{name} of {len(path)} positions, {len(set(path))} of them different",
                "at least three different positions, the first repeated at the end",
            )
        if path[0] != path[-1]:
            raise GeometryFaultError(
                f"{name} unclosed: it starts at {path[0][0]:.7g}, {path[0][1]:.7g} and ends at"
                f" {path[-1][0]:.7g}, {path[-1][1]:.7g}",
                "a closed ring, whose last position repeats the first",
            )
        read.append(path)
    size = min(len(position) for path in read for position in path)
    read = [[position[:size] for position in path] for path in read]
    return Polygon(read[0], read[1:])


def _crs_text(document: dict[str, Any], place: Place, log: FaultLog) -> str | None:
    """Return the CRS that an older file names; longitude and latitude where it names none."""
    if "crs" not in document:
        return WGS84
    member = document["crs"]
    if member is None:
        return None
    properties = member.get("properties") if isinstance(member, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    if isinstance(name, str):
        return name
    log.refuse(
        place,
        f"a crs member {shown(member)}",
        "a crs by name, or none for longitude and latitude",
        "Delete the member if the coordinates are longitude and latitude.",
    )
    return WGS84


def _plain(value: Any) -> Any:
    """Return a property as a cell of a table: nested values become text."""
    return json.dumps(value) if isinstance(value, list | dict) else value


def _kind(value: Any) -> str:
    """Return what a JSON value is, in words."""
    words = {dict: "an object", list: "a list", str: "text", bool: "true or false"}
    return "null" if value is None else words.get(type(value), "a number")


def _odd_type(document: dict[str, Any], what: str) -> str:
    """Return what is wrong with the member ``type``, with the name that was likely meant."""
    if "type" not in document:
        return f"a {what} with no member 'type'"
    kind = document["type"]
    if isinstance(kind, str):
        by_case = {name.lower(): name for name in _TYPES}
        near = difflib.get_close_matches(kind.lower(), by_case, 1, 0.8)
        meant = f" (is {by_case[near[0]]!r} meant?)" if near else ""
        return f"a {what} of type {shown(kind)}{meant}"
    return f"a {what} whose type is {_kind(kind)}"
