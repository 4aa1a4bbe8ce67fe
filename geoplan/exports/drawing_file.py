"""
``setting_out.dxf``: the plan as a drawing in the client's CRS, a layer for each kind of thing.

Coordinates are of that CRS, in metres, unscaled; a drawing has no CRS, so a text names it.
"""

import gc
import math
from collections.abc import Iterable
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from ezdxf import units
from ezdxf._options import options
from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment
from ezdxf.filemanagement import new
from shapely.geometry.base import BaseGeometry

from geoplan.crs import crs_name, transformed
from geoplan.errors import writing
from geoplan.exports.outlines import raft_outlines
from geoplan.exports.set_out_places import (
    DIG_WARNING,
    PHONE_WARNING,
    Places,
    places_of,
    plain_text,
)
from geoplan.exports.web_map import MOST_ON_A_PAGE
from geoplan.plan import AuditReport, Plan
from geoplan.site import FloatArray, Site

FILE_NAME = "setting_out.dxf"
#: Folder of the sheets of a large district; a sheet shows what the page of the map of its number
#: does.
SHEETS_NAME = "sheets"

#: Layer -> AutoCAD colour index.
LAYERS = {
    "WATER_LOW": 151,
    "WATER_NORMAL": 5,
    "WATER_HIGH": 4,
    "RAFTS": 3,
    "RAFT_NAMES": 3,
    "POSTS": 1,
    "ANCHORS": 1,
    "MOORING_NAMES": 1,
    "MARKS": 6,
    "MARKS_PROPOSED": 6,
    "MARK_NAMES": 6,
    "TOW_WAYS": 8,
    "NOTES": 7,
}
_TEXT_M = 0.4
#: Corners of what bounds nothing, client's CRS [m].
_NOWHERE = np.array([[np.inf, np.inf], [-np.inf, -np.inf]])


def write(
    plan: Plan,
    site: Site,
    folder: Path,
    audit: AuditReport | None,  # noqa: ARG001 - exports are called alike
) -> None:
    """
    Write ``setting_out.dxf``; of many water bodies a sheet for each page of the map, and a key.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site, for its marks.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Not used.

    Raises
    ------
    ExportError
        If a file cannot be written.

    Notes
    -----
    DXF of 2010, unit metre. Posts, anchors and marks are points; texts stand on layers of their
    own. A drawing is held whole while it is made, one sheet at a time. The key has the name of
    each sheet in a frame round its water bodies.
    """
    options.write_fixed_meta_data_for_testing = True  # the same plan gives the same bytes
    every = places_of(plan, site)
    if len(plan.waters) <= MOST_ON_A_PAGE:
        drawing, _ = _sheet(every, plan, site)
        _save(drawing, folder / FILE_NAME)
        return
    frames = []
    for number in range(1, math.ceil(len(plan.waters) / MOST_ON_A_PAGE) + 1):
        name = f"{SHEETS_NAME}/{number:04d}.dxf"
        drawing, bounds = _sheet(islice(every, MOST_ON_A_PAGE), plan, site)
        _save(drawing, folder / name)
        frames.append((name, bounds))
        del drawing
        gc.collect()  # a drawing refers to itself, and would stay beside the next ones
    _save(_key(frames, plan), folder / FILE_NAME)


def _sheet(some: Iterable[Places], plan: Plan, site: Site) -> tuple[Drawing, FloatArray]:
    """Return a drawing of some water bodies, and the corners of what bounds their edges."""
    drawing = _empty()
    bounds = _NOWHERE
    for places in some:
        outlines = _draw_water(drawing, places, site, plan.client_crs)
        _draw_points(drawing, places, plan.client_crs)
        bounds = _joined(bounds, shapely.get_coordinates(outlines))
    _note(drawing, plan, bounds[0])
    return drawing, bounds


def _key(frames: Iterable[tuple[str, FloatArray]], plan: Plan) -> Drawing:
    """Return a drawing that says which sheet shows what."""
    drawing = _empty()
    every = _NOWHERE
    for name, bounds in frames:
        if np.isfinite(bounds).all():
            _polygons(drawing, "NOTES", [shapely.box(*bounds.ravel())])
            _text(drawing, "NOTES", name, bounds.mean(axis=0), centred=True)
            every = _joined(every, bounds)
    _note(drawing, plan, every[0])
    return drawing


def _joined(bounds: FloatArray, places: FloatArray) -> FloatArray:
    """Return the least and greatest coordinates of bounds and places."""
    low = np.minimum(bounds[0], places.min(axis=0, initial=np.inf))
    return np.array([low, np.maximum(bounds[1], places.max(axis=0, initial=-np.inf))])


def _empty() -> Drawing:
    """Return a drawing with its layers and nothing on them."""
    drawing = new("R2010", units=units.M)
    drawing.header["$PDMODE"] = 34  # a circle with a cross, so that points are seen
    drawing.header["$PDSIZE"] = _TEXT_M
    for name, colour in LAYERS.items():
        drawing.layers.add(name, color=colour)
    return drawing


def _note(drawing: Drawing, plan: Plan, corner: FloatArray) -> None:
    """Write what must be known of a drawing below its corner."""
    notes = [f"{plan.site_name}; coordinates in {crs_name(plan.client_crs)}, metres"]
    if np.isfinite(corner).all():
        for number, words in enumerate([*notes, PHONE_WARNING, DIG_WARNING], 1):
            _text(drawing, "NOTES", words, corner - [0.0, 2.5 * _TEXT_M * (number + 2)])


def _save(drawing: Drawing, path: Path) -> None:
    """Write a drawing."""
    # The library names its classes in the order of a set, which differs from run to run.
    drawing.classes.add_required_classes(drawing.dxfversion)
    drawing.classes.classes = dict(sorted(drawing.classes.classes.items()))
    with writing(path):
        path.parent.mkdir(exist_ok=True)
        drawing.saveas(path)


def _draw_water(drawing: Drawing, places: Places, site: Site, crs: str) -> list[BaseGeometry]:
    """Draw edges, rafts and tow ways of a water body; return the edges in the client's CRS."""
    water = places.water
    edges = [transformed(edge.outline, water.crs, crs) for edge in water.edges]
    for edge, outline in zip(water.edges, edges, strict=True):
        _polygons(drawing, f"WATER_{edge.level_name.upper()}", [outline])
    outlines = raft_outlines(water, site)
    for raft, outline in zip(water.rafts, outlines, strict=True):
        shown = transformed(outline, water.crs, crs)
        _polygons(drawing, "RAFTS", [shown])
        centre = shapely.get_coordinates(shown.centroid)[0]
        _text(drawing, "RAFT_NAMES", raft.raft_id, centre, centred=True)
    for route in water.routes:
        path = shapely.get_coordinates(transformed(route.path, water.crs, crs))
        drawing.modelspace().add_lwpolyline(path, dxfattribs={"layer": "TOW_WAYS"})
    return edges


def _draw_points(drawing: Drawing, places: Places, crs: str) -> None:
    """Draw moorings and marks of a water body with their names."""
    for point, place in zip(places.points, places.point_places_in(crs), strict=True):
        if point.mooring is not None:
            layer = "ANCHORS" if point.mooring.kind == "anchor" else "POSTS"
            drawing.modelspace().add_point(place, dxfattribs={"layer": layer})
            _text(drawing, "MOORING_NAMES", point.mooring.mooring_id, place)
    for mark, place in zip(places.marks, places.mark_places_in(crs), strict=True):
        layer = "MARKS_PROPOSED" if places.is_suggested(mark) else "MARKS"
        drawing.modelspace().add_point(place, dxfattribs={"layer": layer})
        _text(drawing, "MARK_NAMES", mark.mark_id, place)


def _polygons(drawing: Drawing, layer: str, geometries: Iterable[BaseGeometry]) -> None:
    """Draw polygons as closed lines, holes among them."""
    for geometry in geometries:
        for ring in shapely.get_rings(shapely.get_parts(geometry)):
            places = shapely.get_coordinates(ring)[:-1]
            drawing.modelspace().add_lwpolyline(places, close=True, dxfattribs={"layer": layer})


def _text(drawing: Drawing, layer: str, words: str, place: Any, *, centred: bool = False) -> None:
    """Write a text; ``%%`` begins a control code of DXF and ``^`` a control letter."""
    plain = plain_text(words).replace("%%", "% % ").replace("^", "^ ")
    align = TextEntityAlignment.MIDDLE_CENTER if centred else TextEntityAlignment.BOTTOM_LEFT
    attributes = {"layer": layer, "height": _TEXT_M}
    text = drawing.modelspace().add_text(plain, dxfattribs=attributes)
    text.set_placement((float(place[0]), float(place[1])), align=align)
