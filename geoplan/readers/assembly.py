"""
A site put together from its files: settings, water bodies, and what belongs to each.

Reading goes on past a fault wherever it can, so that a person sees all of them at once.
"""

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import shapely

from geoplan.errors import Fault
from geoplan.readers.coordinates import checked_site_crs, client_crs
from geoplan.readers.fault_log import FaultLog, Place
from geoplan.readers.gathering import PART_LAYERS, Over, RasterLayer, Sources, bodies_of
from geoplan.readers.layers import OpenedFiles
from geoplan.readers.laying import lay_by
from geoplan.readers.levels_record import level_record, site_levels
from geoplan.readers.prepared import LayerSummary, Preparation
from geoplan.readers.raster import bed_rasters, surface_rasters
from geoplan.readers.settings_file import checked_settings
from geoplan.readers.shelf import Shelf
from geoplan.readers.source import find_site, hashed
from geoplan.readers.waters import DrawnWater, drawn_waters
from geoplan.settings import Settings
from geoplan.site import LevelRecord, Levels, Site, WaterBody

#: What takes the water bodies of a site as they are put together.
Taking = Callable[[Iterable[WaterBody]], Sequence[WaterBody]]

_NO_SETTINGS: dict[str, Any] = {
    "name": "unknown",
    "levels": {"low_m": 0.0, "normal_m": 0.0, "high_m": 0.0},
    "raft": [{"name": "unknown", "length_m": 4.0, "width_m": 2.0, "draft_m": 0.2}],
}


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
    prepared = Preparation(files, site_crs, log)
    water_crs, waters = _waters(prepared, stand_in, levels, log)
    if water_crs is None or not waters:
        _read_the_rest(prepared)
        reading.layers = list(prepared.summaries.values())
        return reading
    bed = _raster("bed", bed_rasters, files, site_crs)
    surface = _raster("surface", surface_rasters, files, site_crs)
    sources = Sources(waters, stand_in, levels, record, _record_place(files), bed, surface)
    bodies = _bodies(prepared, sources, log, None if settings is None else taking)
    reading.layers = list(prepared.summaries.values())
    centre = shapely.union_all([shapely.box(*w.outline_deg.bounds) for w in waters]).centroid
    target = client_crs(site_crs, water_crs, (centre.x, centre.y), place, log)
    if not log.has_errors and settings is not None:
        notes = reading.faults
        reading.site = Site(settings, target, bodies, hashed(paths, files.read), notes)
    return reading


def _bodies(
    prepared: Preparation, sources: Sources, log: FaultLog, taking: Taking | None
) -> Sequence[WaterBody]:
    """Put the water bodies together; where they cannot be used, for their faults alone."""
    with Shelf(len(sources.waters)) as shelf:
        for name in ("soundings", "contours", *PART_LAYERS):
            names: dict[str, int] = {}
            for layer, crs in prepared.pieces(name):
                lay_by(layer, crs, sources.waters, shelf, names, log)
        made = bodies_of(sources, shelf, log)
        if taking is not None and not log.has_errors:
            return taking(made)
        deque(made, maxlen=0)
        return ()


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


def _record_place(files: OpenedFiles) -> Place:
    """Return where the record of levels is, for a fault."""
    path = files.path_of("levels")
    return Place(path.name if path else "levels.csv", "levels")


def _waters(
    prepared: Preparation, settings: Settings, levels: Levels, log: FaultLog
) -> tuple[str | None, tuple[DrawnWater, ...]]:
    """Return the water bodies and the CRS of their layer, which is held whole."""
    before = len(log.found_so_far)
    found = prepared.whole("water")
    if found is not None:
        layer, crs = found
        return crs, drawn_waters(layer, crs, settings, levels, log)
    if not any(fault.severity == "error" for fault in log.found_so_far[before:]):
        log.refuse(
            Place(prepared.site_name, "water"),
            "no water body",
            "a layer 'water' of polygons",
            "Draw the outline of the water, for instance as water.geojson.",
        )
    return None, ()


def _read_the_rest(prepared: Preparation) -> None:
    """Look at the other layers for faults of their own, though no water is known."""
    for name in ("soundings", "contours", *PART_LAYERS):
        deque(prepared.pieces(name), maxlen=0)


def _raster(
    name: str, read: Callable[..., dict[int, Over]], files: OpenedFiles, site_crs: str | None
) -> RasterLayer[Over]:
    """Return a raster of the site, not read yet."""
    path = files.path_of(name)
    if path is not None:
        files.read.append(path)
    place = Place("" if path is None else files.paths.shown(path), name)
    return RasterLayer(path, place, site_crs, read)
