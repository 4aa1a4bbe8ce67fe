"""
Rafts that a person has fixed: polygons of a GeoJSON file or a GeoPackage.

The file may be drawn in a GIS, be saved from the map of a plan on which rafts were tried, or be a
``plan.gpkg`` in which rafts were moved. Each polygon must be
the rectangle of a raft type of the site; which one, its column ``raft_type`` says or its size.
"""

import hashlib
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry import Polygon

from geoplan.crs import transformed
from geoplan.errors import SiteDataError
from geoplan.raft import RaftType, footprints
from geoplan.readers.columns import text_of
from geoplan.readers.coordinates import layer_crs
from geoplan.readers.fault_log import FaultLog, Place, shown
from geoplan.readers.geojson import geojson_layer, parsed_json
from geoplan.readers.layer import Layer
from geoplan.readers.source import file_bytes
from geoplan.readers.vector import gdal_layer, gdal_layer_names
from geoplan.reasons import HeldRaft
from geoplan.site import Site, SourceFile, WaterBody

#: Departure of a side from that of its type that drawing by hand may bring [m].
_SIZE_TOLERANCE_M = 0.05
#: How far beside the water body that it names a raft still counts as run aground there [m].
_BESIDE_M = 200.0


def read_held(path: Path, site: Site) -> tuple[tuple[HeldRaft, ...], SourceFile]:
    """
    Read the rafts that a person has fixed.

    Parameters
    ----------
    path : Path
        GeoJSON or GeoPackage; of a GeoPackage the layer ``rafts``, or its only one.
    site : Site
        The site, for its water bodies and raft types.

    Returns
    -------
    tuple of HeldRaft
        In the order of the file; rows whose ``status`` is ``existing`` are left out, for the site
        itself knows those.
    SourceFile
        The file and its hash.

    Raises
    ------
    SiteDataError
        If the file cannot be read, or a row is no raft of the site; all such rows are named.
    """
    log = FaultLog()
    place = Place(path.name, "rafts")
    data = file_bytes(path, place, log)
    layer = _layer(path, data, place, log) if data is not None else None
    crs = layer_crs(layer, site.client_crs, log) if layer is not None else None
    held = []
    if layer is not None and crs is not None:
        for index in range(len(layer)):
            if text_of(layer, "status", index) != "existing":
                one = _held(layer, index, crs, site, log)
                held += [one] if one else []
        if not held and not log.has_errors:
            log.refuse(place, "no raft", "at least one polygon", "Draw one, or name another file.")
    if log.has_errors or data is None:
        raise SiteDataError(log.faults)
    return tuple(held), SourceFile(path.name, hashlib.sha256(data).hexdigest())


def _layer(path: Path, data: bytes, place: Place, log: FaultLog) -> Layer | None:
    """Return the layer of rafts in a file."""
    ending = path.suffix.lower()
    if ending in {".geojson", ".json"}:
        document = parsed_json(data, place, log)
        return geojson_layer(document, place, log) if document is not None else None
    if ending != ".gpkg":
        log.refuse(
            place, f"a file of the kind {shown(ending)}", ".geojson or .gpkg", "Export it as one."
        )
        return None
    names = gdal_layer_names(path, place, log)
    chosen = "rafts" if "rafts" in names else names[0] if len(names) == 1 else None
    if chosen is None:
        if not log.has_errors:
            words = ", ".join(shown(name) for name in names[:5]) or "none"
            log.refuse(place, f"layers {words}", "a layer 'rafts'", "Name the layer 'rafts'.")
        return None
    return gdal_layer(path, (chosen,), place, log)


def _held(layer: Layer, index: int, crs: str, site: Site, log: FaultLog) -> HeldRaft | None:
    """Return a row as a held raft, or note what is wrong with it."""
    place = layer.place(index)
    parts = shapely.get_parts(layer.geometries[index]) if layer.geometries[index] else []
    shape = parts[0] if len(parts) == 1 else None
    if not isinstance(shape, Polygon) or not shape.is_valid or shape.is_empty:
        log.refuse(place, "no simple polygon", "the outline of one raft", "Draw it again.")
        return None
    body, outline = _water_of(shape, text_of(layer, "water_id", index), crs, site)
    if body is None or outline is None:
        log.refuse(
            place, "a raft off every water", "a raft in a water body of the site", "Move it."
        )
        return None
    easting, northing, heading, sides = rectangle_round(outline)
    kind = _type_of(text_of(layer, "raft_type", index), sides, outline, site, place, log)
    if kind is None:
        return None
    rectangle = footprints([easting], [northing], [heading], [kind.length_m], [kind.width_m])[0]
    where = f"{place.file}, {place.feature}"
    name = text_of(layer, "raft_id", index)
    return HeldRaft(where, body.water_id, kind.name, easting, northing, heading, rectangle, name)


def _water_of(
    shape: Polygon, water_id: str, crs: str, site: Site
) -> tuple[WaterBody | None, Polygon | None]:
    """Return the water body that a raft lies in or touches, or names, and it in that CRS."""
    named: tuple[WaterBody | None, Polygon | None] = (None, None)
    # A raft that was moved to another water may still carry the name of the first.
    for body in sorted(site.water_bodies, key=lambda body: body.water_id != water_id):
        moved = transformed(shape, crs, body.crs)
        if not np.isfinite(shapely.get_coordinates(moved)).all():
            continue
        if moved.intersects(body.outline):
            return body, moved
        # Aground beside its own water, it is told how far from it; elsewhere it is in a wrong CRS.
        if body.water_id == water_id and moved.distance(body.outline) <= _BESIDE_M:
            named = body, moved
    return named


def rectangle_round(outline: Polygon) -> tuple[float, float, float, tuple[float, float]]:
    """
    Return centre, heading and sides of the rectangle round an outline.

    Parameters
    ----------
    outline : Polygon
        Outline of a raft [m].

    Returns
    -------
    float, float
        Easting and northing of the centre [m].
    float
        Long axis, clockwise from grid north, 0 to 180 [°].
    tuple of float
        Long and short side [m].

    Examples
    --------
    >>> rectangle_round(shapely.box(0, 0, 4, 2))
    (2.0, 1.0, 90.0, (4.0, 2.0))
    """
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(outline))
    steps = np.diff(corners[:3], axis=0)
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    ahead = steps[int(np.argmax(lengths))]
    centre = corners[:4].mean(axis=0)
    heading = float(np.degrees(np.arctan2(ahead[0], ahead[1])) % 180.0)
    return float(centre[0]), float(centre[1]), heading, (float(lengths.max()), float(lengths.min()))


def _type_of(
    name: str,
    sides: tuple[float, float],
    outline: Polygon,
    site: Site,
    place: Place,
    log: FaultLog,
) -> RaftType | None:
    """Return the type of a raft, or note that the site has none such."""
    kinds = [kind for kind in site.settings.raft if name in {"", kind.name}]
    known = ", ".join(
        f"'{kind.name}' ({kind.length_m:g} by {kind.width_m:g} m)" for kind in site.settings.raft
    )
    if not kinds:
        log.refuse(place, f"raft type {shown(name)}", known, "Correct raft_type.")
        return None
    fits = [kind for kind in kinds if _is_of(kind, sides, outline)]
    if len(fits) == 1:
        return fits[0]
    size = f"{sides[0]:.2f} by {sides[1]:.2f} m"
    if fits:
        log.refuse(place, f"a raft of {size}, as two types are", known, "Fill in raft_type.")
    else:
        filled = outline.area / max(sides[0] * sides[1], 1e-9)
        what = f"a raft of {size}" if filled > 0.98 else f"an outline that is no rectangle ({size})"
        log.refuse(place, what, known, "Draw it at the true size of its type.")
    return None


def _is_of(kind: RaftType, sides: tuple[float, float], outline: Polygon) -> bool:
    """Tell whether an outline is the rectangle of a type."""
    off = max(abs(sides[0] - kind.length_m), abs(sides[1] - kind.width_m))
    return off <= _SIZE_TOLERANCE_M and outline.area >= 0.98 * sides[0] * sides[1]
