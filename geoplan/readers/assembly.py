"""
A site put together from its files: settings, water bodies, and what belongs to each.

Reading goes on past a fault wherever it can, so that a person sees all of them at once.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from geoplan.crs import WGS84, is_geographic, transformed
from geoplan.errors import Fault
from geoplan.readers.belonging import (
    Reach,
    nearest_only,
    nearest_water,
    touched_or_nearest,
    within_reach,
)
from geoplan.readers.columns import identities, numbers, tidied
from geoplan.readers.coordinates import checked_site_crs, client_crs, layer_crs
from geoplan.readers.fault_log import FaultLog, Place
from geoplan.readers.geometry import single_parts, sound_polygon
from geoplan.readers.layer import Layer, object_array
from geoplan.readers.layers import OpenedFiles
from geoplan.readers.levels_record import doubtful_levels, level_record, site_levels
from geoplan.readers.parts import part_of
from geoplan.readers.points import Points
from geoplan.readers.raster import bed_rasters, surface_rasters
from geoplan.readers.settings_file import checked_settings
from geoplan.readers.shade_heights import check_heights
from geoplan.readers.soundings import contoured, sounded
from geoplan.readers.source import find_site, hashed
from geoplan.readers.survey_steps import say_off_raster
from geoplan.readers.waters import DrawnWater, drawn_waters, with_water_ids
from geoplan.settings import Settings
from geoplan.site import LevelRecord, Levels, Site, Soundings, WaterBody

#: What takes the water bodies of a site as they are put together.
Taking = Callable[[Iterable[WaterBody]], Sequence[WaterBody]]

#: Reach of a part to its water: position and outline both have errors [m].
PART_REACH_M = 25.0
#: Reach by layer where it is another [m].
REACH_M = {"shade": 150.0, "marks": 200.0}
#: Layers whose features count for every water body in reach, not for the nearest alone.
SHARED = ("shade", "keep_clear", "marks")
#: Layers of which a feature far from all water is of no use, and no fault.
SPARE = ("shade", "keep_clear", "marks")
#: A feature farther from all water than this and the water's own extent is astray [m].
ASTRAY_M = 5000.0

PART_LAYERS = ("inflows", "outlets", "shade", "launches", "keep_clear", "marks", "rafts")
_NO_SETTINGS: dict[str, Any] = {
    "name": "unknown",
    "levels": {"low_m": 0.0, "normal_m": 0.0, "high_m": 0.0},
    "raft": [{"name": "unknown", "length_m": 4.0, "width_m": 2.0, "draft_m": 0.2}],
}


@dataclass(frozen=True)
class LayerSummary:
    """
    What was found of a layer, for a person.

    Attributes
    ----------
    name, file : str
        Layer and file.
    crs : str
        CRS of the file's coordinates.
    count : int
        Features that can be read.
    extent : tuple of float
        West, south, east and north in that CRS [m or °].
    """

    name: str
    file: str
    crs: str
    count: int
    extent: tuple[float, float, float, float]


@dataclass(eq=False)
class Reading:
    """
    A site while it is read.

    Attributes
    ----------
    log : FaultLog
        Every fault so far.
    layers : list of LayerSummary
        Layers that were read.
    site : Site or None
        The site, where no fault stops it.
    """

    log: FaultLog = field(default_factory=FaultLog)
    layers: list[LayerSummary] = field(default_factory=list)
    site: Site | None = None

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Return the faults, errors first."""
        return tuple(sorted(self.log.faults, key=lambda fault: fault.severity != "error"))


def read_all(path: Path, taking: Taking = tuple) -> Reading:
    """
    Read a site as far as it can be read.

    Parameters
    ----------
    path : Path
        Folder, GeoPackage or GeoJSON file.
    taking : callable
        Takes the water bodies one after the other.

    Returns
    -------
    Reading
        Its ``site`` is ``None`` where a fault stops the plan.
    """
    reading = Reading()
    log = reading.log
    paths = find_site(path, log)
    if paths is None:
        return reading
    files = OpenedFiles(paths, log)
    document, place = files.settings_document()
    settings = None if document is None else checked_settings(document, place, log)
    stand_in = settings or _stand_in(document)
    site_crs = checked_site_crs(stand_in.crs, place, log)
    record = _record(files, stand_in, place, log)
    levels = site_levels(stand_in.levels, record, place, log) or Levels(0.0, 0.0, 0.0)
    water_crs, waters = _waters(files, site_crs, stand_in, levels, reading)
    if water_crs is None or not waters:
        _read_the_rest(files, site_crs, reading)
        return reading
    found = _Found(files, site_crs, waters, record, stand_in, reading)
    is_sound = settings is not None and not log.has_errors
    bodies = (taking if is_sound else tuple)(_bodies(waters, found, levels))
    centre = shapely.union_all([shapely.box(*w.outline_deg.bounds) for w in waters]).centroid
    target = client_crs(site_crs, water_crs, (centre.x, centre.y), place, log)
    if not log.has_errors and settings is not None:
        notes = reading.faults
        reading.site = Site(settings, target, bodies, hashed(paths, files.read), notes)
    return reading


class _Found:
    """Parts of each water body, by its position."""

    def __init__(
        self,
        files: OpenedFiles,
        site_crs: str | None,
        waters: tuple[DrawnWater, ...],
        record: LevelRecord | None,
        settings: Settings,
        reading: Reading,
    ) -> None:
        self.log = log = reading.log
        self.record, self.levels = record, settings.levels
        path = files.path_of("levels")
        self.record_place = Place(path.name if path else "levels.csv", "levels")
        self.soundings: dict[int, Soundings] = {}
        self.contours: dict[int, Any] = {}
        self.parts: dict[str, dict[int, list[Any]]] = {}
        for name, layer, crs in _prepared(files, site_crs, ("soundings", "contours"), reading):
            if name == "soundings":
                sigma_m = settings.survey.sigma_m
                self.soundings = sounded(layer, crs, waters, record, sigma_m, log)
            else:
                self.contours = contoured(layer, crs, waters, PART_REACH_M, log)
        for name, layer, crs in _prepared(files, site_crs, PART_LAYERS, reading):
            self.parts[name] = _assigned(layer, crs, waters, log)
        self.rasters = _rasters("bed", bed_rasters, files, site_crs, waters, log)
        for index, raster in self.rasters.items():
            path = files.path_of("bed")
            where = f"water body '{waters[index].water_id}'"
            place = Place(files.paths.shown(path) if path else "", "bed", where)
            found = len(self.contours.get(index, ()))
            say_off_raster(self.soundings.get(index), found, raster, place, log)
        self.surfaces = _rasters("surface", surface_rasters, files, site_crs, waters, log)


def _stand_in(document: dict[str, Any] | None) -> Settings:
    """Return settings that let reading go on where there are none; no site comes of it."""
    crs = (document or {}).get("crs")
    return Settings.model_validate({**_NO_SETTINGS, "crs": crs if isinstance(crs, str) else None})


def _record(
    files: OpenedFiles, settings: Settings, place: Place, log: FaultLog
) -> LevelRecord | None:
    """Return the record of levels, where there is one."""
    name = settings.levels.record
    path = files.path_of("levels")
    if name is not None:
        where = Place(place.file, feature="key levels.record")
        if Path(name).name != name or "\\" in name or not name.isprintable():
            log.refuse(where, f"{name!r}", "the name of a file beside the settings", "Correct it.")
            return None
        path = files.paths.folder / name
    if path is None:
        return None
    shown_place = Place(path.name, "levels")
    data = files.bytes_of(path, shown_place)
    return None if data is None else level_record(data, shown_place, log)


def _prepared(
    files: OpenedFiles, site_crs: str | None, names: tuple[str, ...], reading: Reading
) -> Iterator[tuple[str, Layer, str]]:
    """Yield the layers that can be used: tidied, one geometry in each row, CRS known."""
    for name in names:
        layer = files.layer(name)
        if layer is None:
            continue
        if not len(layer):
            note = reading.log.refuse if name == "water" else reading.log.remark
            note(layer.place(), "no features", "features", "Draw them, or delete the file.")
            continue
        crs = layer_crs(layer, site_crs, reading.log)
        layer = tidied(layer, reading.log)
        if name == "water":
            layer = with_water_ids(layer, reading.log)
        layer = single_parts(layer, reading.log)
        if crs is not None and len(layer):
            layer = _sound(layer, crs, reading.log)
            corners, _ = layer.vertices()
            west, south = corners.min(axis=0).tolist()
            east, north = corners.max(axis=0).tolist()
            extent = (west, south, east, north)
            reading.layers.append(LayerSummary(name, layer.file, crs, len(layer), extent))
            yield name, layer, crs


def _sound(layer: Layer, crs: str, log: FaultLog) -> Layer:
    """Return the rows whose polygons are valid or could be repaired; outlines are seen later."""
    if layer.name == "water" or isinstance(layer.geometries, Points):
        return layer
    geometries = [
        sound_polygon(geometry, crs, layer.place(index), log)
        if geometry.geom_type == "Polygon"
        else geometry
        for index, geometry in enumerate(layer.geometries)
    ]
    kept = np.array([at for at, one in enumerate(geometries) if one is not None], dtype=np.int64)
    return layer.taken(kept, object_array([geometries[at] for at in kept]))


def _waters(
    files: OpenedFiles,
    site_crs: str | None,
    settings: Settings,
    levels: Levels,
    reading: Reading,
) -> tuple[str | None, tuple[DrawnWater, ...]]:
    """Return the water bodies and the CRS of their layer."""
    log = reading.log
    before = len(log.found_so_far)
    for _, layer, crs in _prepared(files, site_crs, ("water",), reading):
        return crs, drawn_waters(layer, crs, settings, levels, log)
    if not any(fault.severity == "error" for fault in log.found_so_far[before:]):
        log.refuse(
            Place(files.paths.folder.name or ".", "water"),
            "no water body",
            "a layer 'water' of polygons",
            "Draw the outline of the water, for instance as water.geojson.",
        )
    return None, ()


def _read_the_rest(files: OpenedFiles, site_crs: str | None, reading: Reading) -> None:
    """Look at the other layers for faults of their own, though no water is known."""
    for _ in _prepared(files, site_crs, ("soundings", "contours", *PART_LAYERS), reading):
        pass


def _assigned(
    layer: Layer, crs: str, waters: tuple[DrawnWater, ...], log: FaultLog
) -> dict[int, list[Any]]:
    """Return the parts of a layer by the water body to which they belong."""
    if layer.name == "shade":
        check_heights(layer, log)
    own_id = next((name for name in layer.columns if name.endswith("_id")), "")
    if own_id:
        identities(layer, own_id, log)
    reach_m = np.full(len(layer), REACH_M.get(layer.name, PART_REACH_M))
    if layer.name == "keep_clear":
        reach_m = np.fmax(reach_m, numbers(layer, "buffer_m"))
    pairs = within_reach(layer.geometries, crs, waters, reach_m)
    if layer.name == "rafts":
        pairs = touched_or_nearest(pairs)
    elif layer.name not in SHARED:
        pairs = nearest_only(pairs)
    _say_unreached(layer, crs, waters, pairs, log)
    out: dict[int, list[Any]] = {}
    for feature, water in zip(pairs.feature.tolist(), pairs.water.tolist(), strict=True):
        target = waters[water]
        geometry = transformed(layer.geometries[feature], crs, target.crs)
        out.setdefault(water, []).append(part_of(layer, feature, geometry, target.outline))
    return out


def _say_unreached(
    layer: Layer, crs: str, waters: tuple[DrawnWater, ...], pairs: Reach, log: FaultLog
) -> None:
    """Note features too far from any water: a fault, or for shade and marks a word."""
    alone = np.setdiff1d(np.arange(len(layer)), pairs.feature)
    nearest, distance = nearest_water(layer.geometries[alone], crs, waters)
    reach_m = REACH_M.get(layer.name, PART_REACH_M)
    extents = np.array([_extent_m(waters[water]) for water in nearest])
    is_astray = distance > ASTRAY_M + extents if alone.size else np.zeros(0, dtype=bool)
    is_error = is_astray | (layer.name not in SPARE)
    bad = np.flatnonzero(is_error)
    remedy = _remedy(layer.geometries[alone[is_astray]], crs, waters)
    log.refuse_rows(
        [layer.place(int(alone[at])) for at in bad],
        lambda index: (
            f"a feature {_distance_words(distance[bad[index]])} from the nearest water"
            f" body, '{waters[nearest[bad[index]]].water_id}'"
        ),
        f"a feature within {reach_m:g} m of water",
        remedy,
    )
    if alone.size > bad.size:
        log.remark(
            layer.place(),
            f"{alone.size - bad.size} of {len(layer)} features beyond reach of any water",
            f"features within {reach_m:g} m",
            "They are not used.",
        )


def _extent_m(water: DrawnWater) -> float:
    """Return the diagonal of a water body's bounds [m]."""
    west, south, east, north = water.outline.bounds
    return float(np.hypot(east - west, north - south))


def _remedy(stray: NDArray[Any], crs: str, waters: tuple[DrawnWater, ...]) -> str:
    """Return what to do about far features: exchange the axes where that brings them home."""
    if len(stray) and is_geographic(crs):
        swapped = shapely.transform(stray, lambda at: at[:, ::-1])
        corners = shapely.get_coordinates(swapped)
        if (np.abs(corners) <= np.array([180.0, 90.0])).all():
            _, distance = nearest_water(swapped, WGS84, waters)
            if (distance < ASTRAY_M).all():
                return "Longitude and latitude seem to be exchanged: longitude comes first."
    return "Correct its place, check the CRS of the layer, or delete it."


def _distance_words(distance_m: float) -> str:
    """Return a distance for a person."""
    if not np.isfinite(distance_m):
        return "over 1000 km"
    return f"{distance_m / 1000:.2f} km" if distance_m >= 1000 else f"{distance_m:.0f} m"


def _rasters(
    name: str,
    read: Any,
    files: OpenedFiles,
    site_crs: str | None,
    waters: tuple[DrawnWater, ...],
    log: FaultLog,
) -> dict[int, Any]:
    """Return the raster of a layer over each water body, where there is one."""
    path = files.path_of(name)
    if path is None:
        return {}
    files.read.append(path)
    return dict(read(path, Place(files.paths.shown(path), name), site_crs, waters, log))


def _bodies(waters: tuple[DrawnWater, ...], found: _Found, levels: Levels) -> Iterator[WaterBody]:
    """
    Yield the water bodies with all that belongs to each, which is then held here no longer.

    The record is that of a lone water body, else of those that state no levels of their own.
    """
    none = np.empty(0)
    empty = Soundings(none, none, none, none)
    for index, water in enumerate(waters):
        body = WaterBody(
            water.water_id,
            water.name,
            water.crs,
            water.outline,
            water.outline_level_m,
            water.levels,
            water.max_cover_pct,
            found.soundings.pop(index, empty),
            found.contours.pop(index, ()),
            found.rasters.pop(index, None),
            surface_raster=found.surfaces.pop(index, None),
            terms=water.terms,
            record=found.record if len(waters) == 1 or water.levels == levels else None,
            **{name: tuple(found.parts.get(name, {}).pop(index, ())) for name in PART_LAYERS},
        )
        doubtful_levels(body, found.levels, found.record_place, found.log)
        yield body
