"""Water bodies put together, group by group, from all that belongs to each."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Generic, TypeVar

import numpy as np

from geoplan.crs import transformed
from geoplan.readers.fault_log import FaultLog, Place
from geoplan.readers.levels_record import doubtful_levels
from geoplan.readers.parts import part_of
from geoplan.readers.raster import say_uncovered
from geoplan.readers.shelf import Rows, Shelf
from geoplan.readers.short_circuit import doubtful_flow
from geoplan.readers.soundings import contoured, sounded
from geoplan.readers.survey_steps import say_off_raster
from geoplan.readers.waters import DrawnWater
from geoplan.settings import Settings
from geoplan.site import (
    BedRaster,
    Contour,
    LevelRecord,
    Levels,
    Soundings,
    SurfaceRaster,
    WaterBody,
)

PART_LAYERS = ("inflows", "outlets", "shade", "launches", "keep_clear", "marks", "rafts")

Over = TypeVar("Over", bound=BedRaster | SurfaceRaster)


class RasterLayer(Generic[Over]):
    """
    A raster of a site, of which each group of water bodies reads what lies over it.

    Parameters
    ----------
    path : Path or None
        Its file; ``None`` where the site has none.
    place : Place
        File and layer.
    site_crs : str or None
        CRS of a raster that states none.
    read : callable
        ``bed_rasters`` or ``surface_rasters``.

    Attributes
    ----------
    place : Place
        The same.
    """

    def __init__(
        self,
        path: Path | None,
        place: Place,
        site_crs: str | None,
        read: Callable[..., dict[int, Over]],
    ) -> None:
        self.place = place
        self._path, self._site_crs, self._read = path, site_crs, read
        self._is_of_use = False

    def over(self, waters: Mapping[int, DrawnWater], log: FaultLog) -> dict[int, Over]:
        """
        Return what lies over water bodies.

        Parameters
        ----------
        waters : mapping of int to DrawnWater
            The water bodies by their position.
        log : FaultLog
            Takes the faults.

        Returns
        -------
        dict of int to BedRaster or SurfaceRaster
            Of those that the raster covers.
        """
        if self._path is None:
            return {}
        found = self._read(self._path, self.place, self._site_crs, waters, log)
        self._is_of_use |= bool(found)
        return found

    def say_uncovered(self, log: FaultLog) -> None:
        """
        Refuse a raster that has covered no water body, once all have been asked for.

        Parameters
        ----------
        log : FaultLog
            Takes the fault.
        """
        if self._path is not None and not self._is_of_use:
            say_uncovered(self.place, log)


@dataclass(frozen=True, eq=False)
class Sources:
    """
    What water bodies are put together from, beside the rows of layers.

    Attributes
    ----------
    waters : tuple of DrawnWater
        The water bodies of the site.
    settings : Settings
        Of the site.
    levels : Levels
        Of the site.
    record : LevelRecord or None
        Water levels.
    record_place : Place
        Where they stand.
    bed, surface : RasterLayer
        Rasters of the bed and of a surface model.
    """

    waters: tuple[DrawnWater, ...]
    settings: Settings
    levels: Levels
    record: LevelRecord | None
    record_place: Place
    bed: RasterLayer[BedRaster]
    surface: RasterLayer[SurfaceRaster]


def bodies_of(sources: Sources, shelf: Shelf, log: FaultLog) -> Iterator[WaterBody]:
    """
    Yield the water bodies with all that belongs to each.

    Parameters
    ----------
    sources : Sources
        The site.
    shelf : Shelf
        Rows of its layers; those of a group are not kept.
    log : FaultLog
        Takes the faults.

    Yields
    ------
    WaterBody
        In the order of the site. The record of levels is that of a lone water body, else of those
        that state no levels of their own.
    """
    waters, record = sources.waters, sources.record
    for group in shelf.groups():
        found = _Found(sources, shelf, group, log)
        for index in group:
            water = waters[index]
            is_own = len(waters) == 1 or water.levels == sources.levels
            body = found.body(index, record if is_own else None)
            doubtful_levels(body, sources.settings.levels, sources.record_place, log)
            doubtful_flow(body, found.files.get("outlets", ""), log)
            yield body
    for raster in (sources.bed, sources.surface):
        raster.say_uncovered(log)


class _Found:
    """What belongs to each water body of a group, by its position."""

    def __init__(self, sources: Sources, shelf: Shelf, group: range, log: FaultLog) -> None:
        self.waters = waters = sources.waters
        self.soundings: dict[int, Soundings] = {}
        self.contours: dict[int, tuple[Contour, ...]] = {}
        if (rows := shelf.taken("soundings", group)) is not None:
            is_lost = not shelf.is_any_in_reach("soundings")
            sigma_m = sources.settings.survey.sigma_m
            self.soundings = sounded(rows, waters, sources.record, sigma_m, log, is_lost=is_lost)
        if (rows := shelf.taken("contours", group)) is not None:
            self.contours = contoured(rows, waters, log)
        self.parts: dict[str, dict[int, list[Any]]] = {}
        self.files: dict[str, str] = {}
        for name in PART_LAYERS:
            if (rows := shelf.taken(name, group)) is not None:
                self.parts[name], self.files[name] = _parts(rows, waters), rows.layer.file
        some = {index: waters[index] for index in group}
        self.beds, self.surfaces = sources.bed.over(some, log), sources.surface.over(some, log)
        for index, raster in self.beds.items():
            place = replace(sources.bed.place, feature=f"water body '{waters[index].water_id}'")
            count = len(self.contours.get(index, ()))
            say_off_raster(self.soundings.get(index), count, raster, place, log)

    def body(self, index: int, record: LevelRecord | None) -> WaterBody:
        """Return a water body, of which nothing is held here any longer."""
        water, none = self.waters[index], np.empty(0)
        return WaterBody(
            water.water_id,
            water.name,
            water.crs,
            water.outline,
            water.outline_level_m,
            water.levels,
            water.max_cover_pct,
            self.soundings.pop(index, Soundings(none, none, none, none)),
            self.contours.pop(index, ()),
            self.beds.pop(index, None),
            surface_raster=self.surfaces.pop(index, None),
            terms=water.terms,
            record=record,
            **{name: tuple(self.parts.get(name, {}).pop(index, ())) for name in PART_LAYERS},
        )


def _parts(rows: Rows, waters: tuple[DrawnWater, ...]) -> dict[int, list[Any]]:
    """Return the parts of a layer by the water body to which they belong."""
    layer, out = rows.layer, dict[int, list[Any]]()
    for feature, index in zip(rows.reach.feature.tolist(), rows.reach.water.tolist(), strict=True):
        water = waters[index]
        geometry = transformed(layer.geometries[feature], rows.crs, water.crs)
        out.setdefault(index, []).append(part_of(layer, feature, geometry, water.outline))
    return out
