"""What a person is told of a site: what is there, what is doubtful, where to sound next."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from geoplan.crs import WGS84, crs_name, geodesic_area_m2, is_geographic, transformed_points
from geoplan.grid import water_grid
from geoplan.readers.prepared import LayerSummary
from geoplan.site import Site, WaterBody
from geoplan.sounding_plan import SoundingPlace, where_to_sound
from geoplan.water.record import share_below, time_text

FloatArray = NDArray[np.float64]

#: Points of the water at which the distance to the nearest sounding is measured.
GAP_POINTS = 10_000
#: Water bodies up to which places to sound are looked for unasked.
MOST_WATERS = 12


def sounding_places(site: Site | None, *, sound_all: bool) -> tuple[SoundingPlace, ...] | None:
    """
    Return where one more sounding would open most room, in every water body.

    Parameters
    ----------
    site : Site or None
        The site, where it can be used.
    sound_all : bool
        Look even where there are more water bodies than a person waits for.

    Returns
    -------
    tuple of SoundingPlace or None
        Up to five for each water body, in the order of the site; ``None`` where that was not
        looked for.
    """
    if site is None or (len(site.water_bodies) > MOST_WATERS and not sound_all):
        return None
    return tuple(
        place for water in site.water_bodies for place in where_to_sound(water, site.settings)
    )


def summary_lines(
    site: Site | None,
    layers: tuple[LayerSummary, ...],
    places: tuple[SoundingPlace, ...] | None = None,
) -> tuple[str, ...]:
    """
    Return a summary of a site in lines of plain text.

    Parameters
    ----------
    site : Site or None
        The site, where it can be used.
    layers : tuple of LayerSummary
        Layers read.
    places : tuple of SoundingPlace or None
        Where to sound next; ``None`` where that was not looked for.

    Returns
    -------
    tuple of str
        Layers first, then each water body.
    """
    lines = [_layer_line(layer) for layer in layers]
    if site is None:
        return tuple(lines)
    lines.insert(0, f"{site.settings.name}: {_count(len(site.water_bodies), 'water body')}")
    lines.append(f"plan CRS: {crs_name(site.client_crs)}")
    for water in site.water_bodies:
        lines += _water_lines(water)
        has_bed = len(water.soundings) or water.contours or water.bed_raster is not None
        if places is not None and has_bed:
            own = [place for place in places if place.water_id == water.water_id]
            lines += _sounding_lines(own, water.crs, site.client_crs)
    if places is None:
        lines.append("where to sound next: not looked for in so many waters; check with -o FOLDER")
    return tuple(lines)


def farthest_from_soundings(water: WaterBody) -> tuple[float, float, float]:
    """
    Return the place in the water that is farthest from any sounding.

    Parameters
    ----------
    water : WaterBody
        With one sounding or more.

    Returns
    -------
    distance_m : float
        Distance to the nearest sounding, to within a cell of the search grid [m].
    easting_m, northing_m : float
        Where, working CRS [m].

    Raises
    ------
    ValueError
        If there is no sounding.

    Notes
    -----
    Searched on a grid of about 10,000 cells: a hundredth of the water's size.
    """
    soundings = water.soundings
    if not len(soundings):
        raise ValueError(f"water body '{water.water_id}' has no soundings")
    grid = water_grid(water.outline, float(np.sqrt(water.outline.area / GAP_POINTS)))
    rows, cols = np.nonzero(grid.water)
    easting, northing = grid.easting_m[cols], grid.northing_m[rows]
    tree = KDTree(np.column_stack([soundings.easting_m, soundings.northing_m]))
    distance, _ = tree.query(np.column_stack([easting, northing]))
    at = int(np.argmax(distance))
    return float(distance[at]), float(easting[at]), float(northing[at])


def _layer_line(layer: LayerSummary) -> str:
    """Return what was found of a layer."""
    digits = 5 if is_geographic(layer.crs) else 0
    west, south, east, north = (f"{value:.{digits}f}" for value in layer.extent)
    return (
        f"layer {layer.name}: {_count(layer.count, 'feature')} from {layer.file}, extent"
        f" {west} {south} to {east} {north}, {crs_name(layer.crs)}"
    )


def _water_lines(water: WaterBody) -> list[str]:
    """Return what is known of a water body, and what is missing."""
    title = f"{water.water_id} ({water.name})" if water.name else water.water_id
    levels = ", ".join(f"{name} {level:.2f}" for name, level in water.levels.named())
    area = geodesic_area_m2(water.outline, water.crs)
    head = (
        f"water body {title}: {area:.1f} m², {_count(len(water.outline.interiors), 'island')};"
        f" levels {levels} m, drawn at {water.outline_level_m:.2f} m"
    )
    around = (
        (len(water.inflows), "inflow"),
        (len(water.outlets), "outlet"),
        (len(water.launches), "launch place"),
        (len(water.marks), "mark"),
        (len(water.shade), "shade object"),
        *([(1, "surface model")] if water.surface_raster is not None else []),
        (len(water.rafts), "raft"),
    )
    counts = ", ".join(_count(number, word) for number, word in around)
    lines = [head, f"  {_depth_words(water)}", f"  {counts} there", *_record_lines(water)]
    missing = _missing(water)
    if missing:
        lines.append(f"  missing: {'; '.join(missing)}")
    return lines


def _depth_words(water: WaterBody) -> str:
    """Return what is known of the depth, and the widest gap between soundings."""
    count = len(water.soundings)
    others = [_count(len(water.contours), "contour")] if water.contours else []
    others += ["a bed raster"] if water.bed_raster is not None else []
    beside = f", {' and '.join(others)}" if others else ""
    if not count:
        return f"no soundings{beside}"
    depth = water.levels.normal_m - water.soundings.bed_m
    gap_m, easting, northing = farthest_from_soundings(water)
    longitude, latitude = transformed_points(
        np.array([easting]), np.array([northing]), water.crs, WGS84
    )
    return (
        f"{_count(count, 'sounding')}{beside}; depth at normal level {depth.min():.2f} to"
        f" {depth.max():.2f} m; widest gap round {longitude[0]:.6f}, {latitude[0]:.6f}"
        f" (longitude, latitude), {gap_m:.1f} m from the nearest sounding"
    )


def _record_lines(water: WaterBody) -> list[str]:
    """Return what is known of the levels over time."""
    record = water.record
    if record is None:
        return []
    levels = water.levels
    limits = np.array([levels.low_m, np.nextafter(levels.high_m, np.inf)])
    below, not_above = 100.0 * share_below(record.time_s, record.level_m, limits)
    first, last = (time_text(float(record.time_s[end])) for end in (0, -1))
    words = (
        f"  record of {_count(len(record), 'reading')} from {first} to {last}:"
        f" {record.level_m.min():.2f} to {record.level_m.max():.2f} m, below low level"
        f" {below:.1f} % and above high level {100.0 - not_above:.1f} % of the time"
    )
    return [words]


def _sounding_lines(places: list[SoundingPlace], crs: str, client_crs: str) -> list[str]:
    """Return where one more sounding would open most room, best first."""
    if not places:
        return ["  no single sounding would open room for a raft where the bed is likely deep"]
    east, north = (
        np.array([getattr(place, name) for place in places]) for name in ("easting_m", "northing_m")
    )
    plan_east, plan_north = transformed_points(east, north, crs, client_crs)
    longitude, latitude = transformed_points(east, north, crs, WGS84)
    lines = ["  soundings that would open room for rafts, if they find the likely bed:"]
    for k, place in enumerate(places):
        why = "not surveyed" if place.is_unsurveyed else f"± {place.sigma_m:.2f} m today"
        lines.append(
            f"    {place.rank}. easting, northing {plan_east[k]:.1f}, {plan_north[k]:.1f};"
            f" longitude, latitude {longitude[k]:.6f}, {latitude[k]:.6f}:"
            f" {place.gain_m2:.0f} m² if {place.depth_low_m:.1f} m deep at low level ({why})"
        )
    return lines


def _missing(water: WaterBody) -> list[str]:
    """Return what a better plan would need."""
    missing = []
    if not len(water.soundings) and not water.contours and water.bed_raster is None:
        missing.append("any depth: no raft can be placed")
    if not water.inflows:
        missing.append("inflows: where rafts pay most is unknown")
    elif any(inflow.flow_l_s is None and inflow.catchment_ha is None for inflow in water.inflows):
        missing.append("flow_l_s or catchment_ha of an inflow: flows will be assumed")
    if any(inflow.peak_flow_l_s is None for inflow in water.inflows):
        missing.append("peak_flow_l_s of an inflow: its jet cannot be told")
    if not water.outlets:
        missing.append("outlets")
    if not water.launches:
        missing.append("launches: the bank from which rafts start")
    if not water.marks:
        missing.append("marks: pegs to tape positions from")
    return missing


def _count(number: int, word: str) -> str:
    """Return a number with its word."""
    if number == 1:
        return f"1 {word}"
    return f"{number} {word[:-1] + 'ies' if word.endswith('body') else word + 's'}"
