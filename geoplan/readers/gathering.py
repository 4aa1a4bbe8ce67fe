"""Water bodies put together, group by group, from all that belongs to each."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from geoplan.crs import transformed
from geoplan.readers.fault_log import FaultLog, Place
from geoplan.readers.levels_record import doubtful_levels
from geoplan.readers.parts import part_of
from geoplan.readers.raster import bed_rasters, say_uncovered, surface_rasters
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

#: A raster's file, and where it is for a fault.
_Raster = tuple[Path, Place]


class Rasters:
    """
    Rasters of a site, of which each group of water bodies reads what lies over it.

    Parameters
    ----------
    bed, surface : tuple of (Path, Place) or None
        File of each, and where it is for a fault; ``None`` where there is none.
    site_crs : str or None
        CRS of a raster that states none.
    log : FaultLog
        Takes the faults.
    """

    def __init__(
        self, bed: _Raster | None, surface: _Raster | None, site_crs: str | None, log: FaultLog
    ) -> None:
        self._bed, self._surface, self._site_crs, self._log = bed, surface, site_crs, log
        self._covering: set[str] = set()

    def beds(self, waters: dict[int, DrawnWater]) -> dict[int, BedRaster]:
        """
        Return the bed over water bodies.

        Parameters
        ----------
        waters : dict of int to DrawnWater
            The water bodies by their position.

        Returns
        -------
        dict of int to BedRaster
            Of those that the raster covers.
        """
        if self._bed is None:
            return {}
        found = bed_rasters(*self._bed, self._site_crs, waters, self._log)
        self._covering |= {"bed"} if found else set()
        return found

    def surfaces(self, waters: dict[int, DrawnWater]) -> dict[int, SurfaceRaster]:
        """
        Return the surface model over water bodies and round them.

        Parameters
        ----------
        waters : dict of int to DrawnWater
            The water bodies by their position.

        Returns
        -------
        dict of int to SurfaceRaster
            Of those that the raster reaches.
        """
        if self._surface is None:
            return {}
        found = surface_rasters(*self._surface, self._site_crs, waters, self._log)
        self._covering |= {"surface"} if found else set()
        return found

    def bed_place(self, water_id: str) -> Place:
        """
        Return where the bed over a water body is, for a fault.

        Parameters
        ----------
        water_id : str
            The water body.

        Returns
        -------
        Place
            The raster and the water body.
        """
        file = self._bed[1].file if self._bed else ""
        return Place(file, "bed", f"water body '{water_id}'")

    def say_uncovered(self) -> None:
        """Refuse a raster that has covered no water body, once all have been asked for."""
        for raster in (self._bed, self._surface):
            if raster is not None and raster[1].layer not in self._covering:
                say_uncovered(raster[1], self._log)


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
    rasters : Rasters
        Of the bed and of a surface model.
    """

    waters: tuple[DrawnWater, ...]
    settings: Settings
    levels: Levels
    record: LevelRecord | None
    record_place: Place
    rasters: Rasters


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
    sources.rasters.say_uncovered()


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
        self.beds, self.surfaces = sources.rasters.beds(some), sources.rasters.surfaces(some)
        for index, raster in self.beds.items():
            place = sources.rasters.bed_place(waters[index].water_id)
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
