"""The layer ``water``: outlines that are sound, apart from each other, with their levels."""

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon

from geoplan.crs import WGS84, geodesic_area_m2, transformed, working_crs
from geoplan.readers.columns import identities, number_or_none, text_of
from geoplan.readers.fault_log import FaultLog, Place
from geoplan.readers.geometry import sound_polygon
from geoplan.readers.layer import Layer
from geoplan.readers.share_terms import share_terms
from geoplan.settings import Settings
from geoplan.site import Levels, ShareTerms

LEAST_AREA_M2 = 1.0
MOST_AREA_M2 = 1e9
#: Common area of two water bodies that is a matter of drawing, not of two outlines [m²].
OVERLAP_M2 = 0.01


@dataclass(frozen=True, eq=False)
class DrawnWater:
    """
    A water body before its parts are known.

    Attributes
    ----------
    water_id, name : str
        Identity, and what people call it.
    crs : str
        Working CRS.
    outline : Polygon
        Water's edge, working CRS [m].
    outline_deg : Polygon
        The same in WGS 84 [°].
    outline_level_m : float
        Level at which it was drawn [m].
    levels : Levels
        Low, normal and high.
    max_cover_pct : float
        Most cover [%].
    area_m2 : float
        On the ellipsoid [m²].
    place : Place
        Where it stands in the file.
    terms : ShareTerms
        On what terms it shares in the rafts of the district.
    """

    water_id: str
    name: str
    crs: str
    outline: Polygon
    outline_deg: Polygon
    outline_level_m: float
    levels: Levels
    max_cover_pct: float
    area_m2: float
    place: Place
    terms: ShareTerms


def drawn_waters(
    layer: Layer, crs: str, settings: Settings, levels: Levels, log: FaultLog
) -> tuple[DrawnWater, ...]:
    """
    Return the water bodies of a layer.

    Parameters
    ----------
    layer : Layer
        Layer ``water``, tidied, one polygon in each row.
    crs : str
        Its CRS.
    settings : Settings
        For the cover where a row states none.
    levels : Levels
        Levels of the site, for rows that state none.
    log : FaultLog
        Takes the faults.

    Returns
    -------
    tuple of DrawnWater
        Those that can be used, in the order of ``water_id``.
    """
    names = identities(layer, "water_id", log)
    out = []
    for index, water_id in enumerate(names):
        outline = _outline(layer, index, crs, log)
        if outline is None:
            continue
        polygon, outline_deg, area_m2 = outline
        centre = outline_deg.centroid
        working = working_crs(float(centre.x), float(centre.y))
        metric = sound_polygon(transformed(polygon, crs, working), working, layer.place(index), log)
        own = _levels(layer, index, levels, log)
        cover = _cover(layer, index, settings, log)
        if metric is None or own is None or cover is None:
            continue
        terms = share_terms(layer, index, settings, cover, log)
        level = number_or_none(layer, "level_m", index)
        out.append(
            DrawnWater(
                water_id,
                text_of(layer, "name", index),
                working,
                metric,
                outline_deg,
                own.normal_m if level is None else level,
                own,
                cover,
                area_m2,
                layer.place(index),
                terms,
            )
        )
    _say_levels(layer, log)
    _check_apart(out, log)
    return tuple(sorted(out, key=lambda water: water.water_id))


def with_water_ids(layer: Layer, log: FaultLog) -> Layer:
    """
    Return the layer with the column ``water_id``, which one lone water body may lack.

    Parameters
    ----------
    layer : Layer
        Layer ``water``, tidied, as drawn.
    log : FaultLog
        Takes the note, or the fault where there are several.

    Returns
    -------
    Layer
        With ``water_id``.
    """
    has_ids = any(layer.columns.get("water_id", []))
    if has_ids:
        return layer
    if len(layer) == 1:
        log.remark(layer.place(), "no water_id", "a column water_id", "It is called '1'.")
    elif len(layer) > 1:
        present = ", ".join(layer.columns) or "none known"
        log.refuse(
            layer.place(),
            f"no column water_id with values (columns: {present}) and {len(layer)} features",
            "a column water_id",
            "Add it, with a name for each water body.",
        )
    texts = [str(number) for number in range(1, len(layer) + 1)]
    return layer.with_columns({**layer.columns, "water_id": texts})


def _outline(
    layer: Layer, index: int, crs: str, log: FaultLog
) -> tuple[Polygon, Polygon, float] | None:
    """Return an outline in its own CRS and in degrees, and its area, where it is sound."""
    place = layer.place(index)
    polygon = sound_polygon(layer.geometries[index], crs, place, log)
    if polygon is None:
        return None
    degrees = transformed(polygon, crs, WGS84)
    west, _, east, _ = degrees.bounds
    if east - west > 180.0:
        log.refuse(
            place,
            "a water body on both sides of the 180° meridian",
            "longitudes that do not jump",
            "Divide it at the meridian and plan each side by itself, the layers in a projected"
            " CRS.",
        )
        return None
    area_m2 = geodesic_area_m2(polygon, crs)
    if not LEAST_AREA_M2 <= area_m2 <= MOST_AREA_M2:
        log.refuse(
            place,
            f"a water body of {area_m2:.3g} m²",
            f"{LEAST_AREA_M2:g} to {MOST_AREA_M2:g} m²",
            "Check the CRS and the unit of the layer.",
        )
        return None
    return polygon, degrees, area_m2


def _levels(layer: Layer, index: int, levels: Levels, log: FaultLog) -> Levels | None:
    """Return the levels of a water body, its own where its row states them."""
    own = [number_or_none(layer, name, index) for name in ("low_m", "normal_m", "high_m")]
    low_m, normal_m, high_m = (
        site if value is None else value
        for value, (_, site) in zip(own, levels.named(), strict=True)
    )
    try:
        return Levels(low_m, normal_m, high_m)
    except ValueError as error:
        log.refuse(
            layer.place(index),
            str(error),
            "low_m, normal_m and high_m in rising order",
            "Correct them; those that the row does not state are taken from site.toml.",
        )
        return None


def _cover(layer: Layer, index: int, settings: Settings, log: FaultLog) -> float | None:
    """Return the most cover of a water body, its own where its row states it."""
    own = number_or_none(layer, "max_cover_pct", index)
    if own is None:
        return settings.cover.max_pct
    if own > 50 and not settings.cover.allow_over_50:
        log.refuse(
            layer.place(index),
            f"max_cover_pct {own:g}, over half of the water",
            "at most 50",
            "Lower it, or set allow_over_50 = true in [cover].",
        )
        return None
    return own


def _say_levels(layer: Layer, log: FaultLog) -> None:
    """Note outlines whose level is assumed."""
    count = sum(number_or_none(layer, "level_m", index) is None for index in range(len(layer)))
    if count:
        log.remark(
            layer.place(),
            f"no level_m in {count} of {len(layer)} rows",
            "the water level at which the outline was drawn",
            "The normal level is taken for it.",
        )


def _check_apart(waters: list[DrawnWater], log: FaultLog) -> None:
    """Refuse water bodies that lie on each other."""
    outlines = np.array([water.outline_deg for water in waters], dtype=object)
    tree = shapely.STRtree(outlines)
    pairs = tree.query(outlines, predicate="intersects") if waters else np.empty((2, 0), int)
    for first, second in sorted(zip(*pairs.tolist(), strict=True)):
        if first >= second:
            continue
        one, other = waters[first], waters[second]
        moved = transformed(other.outline_deg, WGS84, one.crs)
        common = one.outline.intersection(moved).area
        if common > OVERLAP_M2:
            log.refuse(
                other.place,
                f"water body '{other.water_id}' lies on '{one.water_id}' over {common:.4g} m²",
                "water bodies apart from each other",
                "Delete the one that is drawn twice, or move the edge between them.",
            )
