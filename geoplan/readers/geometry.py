"""Geometries of a layer: the right kind, in one part each, finite, within the world."""

import math
from typing import Any

import numpy as np
import shapely
from shapely.geometry import Polygon

from geoplan.crs import geodesic_area_m2, is_geographic
from geoplan.readers.fault_log import FaultLog, Place
from geoplan.readers.layer import Layer, object_array
from geoplan.readers.points import Points

#: Geometries that a layer may hold, in the words of GeoJSON; parts of several count one by one.
KINDS = {
    "water": ("Polygon",),
    "inflows": ("Point", "LineString"),
    "outlets": ("Point", "LineString"),
    "soundings": ("Point",),
    "contours": ("LineString",),
    "shade": ("Polygon", "Point"),
    "launches": ("Point", "LineString"),
    "keep_clear": ("Point", "LineString", "Polygon"),
    "marks": ("Point",),
    "rafts": ("Polygon",),
}
#: Largest change of area by a repair that is made and reported [1].
REPAIR_LIMIT = 0.001


def single_parts(layer: Layer, log: FaultLog) -> Layer:
    """
    Return a layer with one plain geometry in each row.

    Parameters
    ----------
    layer : Layer
        Tidied layer in the CRS of its file.
    log : FaultLog
        Takes geometries that are missing, empty, of the wrong kind or beyond the world.

    Returns
    -------
    Layer
        Rows that can be used; parts of one feature are told apart as ``id/1`` and ``id/2``.
    """
    if isinstance(layer.geometries, Points) and "Point" in KINDS[layer.name]:
        whole = np.flatnonzero(~layer.geometries.is_missing)  # the table's reader named the others
        return layer.picked(whole)
    indices, parts, ordinals = [], [], []
    for index, geometry in enumerate(layer.geometries):
        found = _parts_of(layer, index, geometry, log)
        indices += [index] * len(found)
        parts += found
        ordinals += [0] if len(found) == 1 else list(range(1, len(found) + 1))
    taken = layer.taken(np.array(indices, dtype=np.int64), object_array(parts))
    return _told_apart(taken, ordinals, log)


def bounds_checked(layer: Layer, crs: str, log: FaultLog) -> bool:
    """
    Tell whether coordinates are finite and, where they are degrees, on the globe.

    Parameters
    ----------
    layer : Layer
        Any layer.
    crs : str
        Known CRS of its coordinates.
    log : FaultLog
        Takes the faults, the first of each kind with its row.

    Returns
    -------
    bool
        False where any coordinate cannot be used.
    """
    coordinates, owners = layer.vertices()
    is_bad = ~np.isfinite(coordinates).all(axis=1)
    expected, remedy = "finite coordinates", "Draw the feature again, or delete it."
    if is_geographic(crs) and not is_bad.any():
        is_bad = (np.abs(coordinates[:, 0]) > 180) | (np.abs(coordinates[:, 1]) > 90)
        expected = "a longitude of -180 to 180 and a latitude of -90 to 90 degrees"
        remedy = "State the CRS if these are metres."
        swapped = coordinates[is_bad][:, ::-1]
        if (np.abs(swapped[:, 0]) <= 180).all() and (np.abs(swapped[:, 1]) <= 90).all():
            remedy = "Longitude and latitude seem to be exchanged: longitude comes first."
    first = {owners[at]: at for at in np.flatnonzero(is_bad)[::-1]}
    places = []
    for owner, at in sorted(first.items()):
        feature = layer.place(int(owner)).feature
        pair = (float(coordinates[at, 0]), float(coordinates[at, 1]))
        places.append(Place(layer.file, layer.name, feature, pair))
    log.refuse_rows(places, lambda index: f"a coordinate {_pair(places[index])}", expected, remedy)
    return not is_bad.any()


def sound_polygon(polygon: Polygon, crs: str, place: Place, log: FaultLog) -> Polygon | None:
    """
    Return a polygon that is valid, repaired where the repair hardly changes it.

    Parameters
    ----------
    polygon : Polygon
        As drawn.
    crs : str
        CRS of its coordinates.
    place : Place
        Where faults are.
    log : FaultLog
        Takes the repair, or the reason why none is made.

    Returns
    -------
    Polygon or None
        Outer ring counter-clockwise; ``None`` where its area would change by over 0.1 %.

    Notes
    -----
    Areas before and after are those inside the ring as drawn (its shoelace sum) and of the
    largest part of what shapely's ``make_valid`` returns.

    Examples
    --------
    >>> spike = Polygon([(0, 0), (9, 0), (9, 9), (9, 12), (9, 9), (0, 9)])
    >>> sound_polygon(spike, "EPSG:32632", Place("water.gpkg"), FaultLog()).area
    81.0
    """
    if polygon.is_valid:
        oriented: Polygon = shapely.orient_polygons(polygon)
        return oriented
    reason = shapely.is_valid_reason(polygon)
    where = Place(place.file, place.layer, place.feature, _reason_at(reason) or place.coordinate)
    before = abs(polygon.area)
    pieces = [
        part
        for part in shapely.get_parts(shapely.get_parts(shapely.make_valid(polygon)))
        if isinstance(part, Polygon)
    ]
    largest = max(pieces, key=lambda part: part.area, default=Polygon())
    rest = sum(part.area for part in pieces) - largest.area
    words = reason.split("[")[0].strip().lower() or "an invalid ring"
    change = max(abs(largest.area - before), rest) / before if before > 0 else math.inf
    if change > REPAIR_LIMIT:
        log.refuse(
            where,
            f"a polygon that is not valid: {words}",
            "rings that neither cross nor touch along a line",
            "Draw the ring again there: a repair would change its area by"
            f" {'all of it' if math.isinf(change) else f'{100 * change:.3g} %'}.",
        )
        return None
    log.remark(
        where,
        f"a polygon that is not valid: {words}",
        "rings that neither cross nor touch along a line",
        f"It was repaired: {geodesic_area_m2(polygon, crs):.2f} m² before,"
        f" {geodesic_area_m2(largest, crs):.2f} m² after"
        f" ({100 * change:.2g} %). Check it on the map.",
    )
    repaired: Polygon = shapely.orient_polygons(largest)
    return repaired


def _parts_of(layer: Layer, index: int, geometry: Any, log: FaultLog) -> list[Any]:
    """Return the parts of one feature, or note why it has none."""
    kinds = KINDS[layer.name]
    expected = " or ".join(kind.lower().replace("linestring", "line") for kind in kinds)
    if geometry is None or geometry.is_empty:
        state = "no geometry (null)" if geometry is None else "an empty geometry"
        if layer.row_word == "feature":
            log.refuse(layer.place(index), state, expected, "Draw the feature, or delete it.")
        return []
    parts = _flattened(geometry)
    if layer.name == "water" and layer.file_format == ".dxf":
        parts = [
            Polygon(part) if part.geom_type == "LineString" and part.is_closed else part
            for part in parts
        ]
    wrong = sorted({part.geom_type for part in parts if part.geom_type not in kinds})
    if wrong:
        log.refuse(
            layer.place(index),
            f"a geometry of the wrong type, {' and '.join(wrong)}",
            expected,
            "Draw it as that, or move it to the layer where it belongs.",
        )
        return []
    flat = [part for part in parts if part.geom_type == "LineString" and part.length == 0]
    if flat:
        log.refuse(layer.place(index), "a line of no length", "a line", "Draw it again.")
        return []
    return parts


def _flattened(geometry: Any) -> list[Any]:
    """Return the single geometries of a collection, however deep, empty ones left out."""
    if hasattr(geometry, "geoms"):
        return [part for piece in geometry.geoms for part in _flattened(piece)]
    return [] if geometry.is_empty else [geometry]


def _told_apart(layer: Layer, ordinals: list[int], log: FaultLog) -> Layer:
    """Return rows whose parts of one feature carry names of their own, and say so."""
    name = next((name for name in layer.columns if name.endswith("_id")), None)
    columns = dict(layer.columns)
    if name is not None:
        columns[name] = [
            f"{text}/{ordinal}" if ordinal and text else text
            for text, ordinal in zip(columns[name], ordinals, strict=True)
        ]
    if layer.name in {"water", "inflows", "outlets", "launches", "marks", "rafts"}:
        for index in np.flatnonzero(np.array(ordinals) == 1):
            log.remark(
                layer.place(int(index)),
                "a feature of several parts",
                "one part each",
                "Each part counts by itself; names get /1, /2 and so on.",
            )
    return layer.with_columns(columns)


def _reason_at(reason: str) -> tuple[float, float] | None:
    """Return the coordinate in square brackets at the end of a reason."""
    try:
        first, second = reason.rsplit("[", 1)[1].rstrip("]").split()[:2]
        return float(first), float(second)
    except (IndexError, ValueError):
        return None


def _pair(place: Place) -> str:
    """Return a place's coordinate as text."""
    return "none" if place.coordinate is None else "{:.7g}, {:.7g}".format(*place.coordinate)
