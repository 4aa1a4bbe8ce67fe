"""
Soundings and contours: from depths or heights as measured to bed elevations.

A depth is reduced with the water level of its own time where a record tells it, else with the
level of the outline. Fixes that cannot belong to the water are named, never dropped unseen.
"""

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from geoplan.crs import transformed
from geoplan.readers.belonging import by_owner
from geoplan.readers.columns import numbers
from geoplan.readers.fault_log import FaultLog, Place
from geoplan.readers.layer import Layer
from geoplan.readers.levels_record import times
from geoplan.readers.shelf import Rows
from geoplan.readers.survey_steps import say_dry, say_steps, survey_steps
from geoplan.readers.waters import DrawnWater
from geoplan.site import Contour, LevelRecord, Soundings

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

#: A sounding this near to the outline counts: position and outline both have errors [m].
BANK_REACH_M = 5.0
#: A fix farther than this outside every outline may be a stray [m].
STRAY_M = 100.0
#: A fix this far from every outline is no survey of a bank, however the rest is spread [m].
LOST_M = 5000.0
#: Median absolute deviations from the median beyond which a fix is a stray.
STRAY_DEVIATIONS = 10.0
#: A shallowest sounding deeper than this speaks for a wrong datum [m].
ODD_DEPTH_M = 5.0
#: Heights along a contour may differ by so much [m].
CONTOUR_STEP_M = 0.01


def stray_fixes(easting_m: FloatArray, northing_m: FloatArray) -> BoolArray:
    """
    Tell which fixes lie far from all the rest.

    Parameters
    ----------
    easting_m, northing_m : ndarray of float, shape (n,)
        Fixes of one water body, planar CRS [m].

    Returns
    -------
    ndarray of bool, shape (n,)
        True where the distance from the median fix exceeds the median of these distances by
        more than ten times their median absolute deviation, and by more than 100 m.

    Notes
    -----
    Median and median absolute deviation bear up to half of the fixes being wrong [1]_. On fixes
    spread evenly over a line or a disc nothing exceeds five deviations.

    References
    ----------
    .. [1] F. R. Hampel, "The influence curve and its role in robust estimation", J. Am. Stat.
       Assoc. 69, 383-393, 1974. :doi:`10.1080/01621459.1974.10482962`

    Examples
    --------
    >>> east = np.append(np.arange(20.0), 4000.0)
    >>> np.flatnonzero(stray_fixes(east, np.zeros(21))).tolist()
    [20]
    """
    if len(easting_m) < 3:
        return np.zeros(len(easting_m), dtype=bool)
    away = np.hypot(easting_m - np.median(easting_m), northing_m - np.median(northing_m))
    excess = away - np.median(away)
    spread = float(np.median(np.abs(excess)))
    is_stray: BoolArray = (excess > STRAY_DEVIATIONS * spread) & (excess > STRAY_M)
    return is_stray


def with_heights(layer: Layer, log: FaultLog) -> Layer:
    """
    Return a layer whose bed elevations stand in a column, taken from the geometry if need be.

    Parameters
    ----------
    layer : Layer
        Layer ``soundings`` or ``contours``, tidied, one geometry in each row.
    log : FaultLog
        Takes the note, or the fault of a layer that has neither depths nor heights.

    Returns
    -------
    Layer
        With a column ``depth_m`` or ``bed_m``.
    """
    if {"depth_m", "bed_m"} & set(layer.columns) or not len(layer):
        return layer
    has_z = bool(shapely.has_z(layer.geometries).all())
    heights, owners = _heights(layer) if has_z else (np.empty(0), np.empty(0, dtype=np.int64))
    if not has_z or not np.isfinite(heights).all() or not heights.any():
        present = ", ".join(layer.columns) or "none known"
        log.refuse(
            layer.place(),
            f"neither depths nor heights (columns: {present})",
            "a column depth_m or bed_m, or points with heights that are not all zero",
            "Add depth_m, positive down, or bed_m, above the vertical datum.",
        )
        return layer
    least, most = (np.full(len(layer), fill) for fill in (np.inf, -np.inf))
    np.minimum.at(least, owners, heights)
    np.maximum.at(most, owners, heights)
    uneven = np.flatnonzero(most - least > CONTOUR_STEP_M)
    log.refuse_rows(
        [layer.place(int(index)) for index in uneven],
        lambda index: f"a contour from {least[uneven[index]]:g} to {most[uneven[index]]:g} m",
        "one height along a contour",
        "Correct its heights, or give bed_m.",
    )
    log.remark(
        layer.place(),
        "no column depth_m or bed_m",
        "one of them",
        f"The heights of the geometry are taken as bed_m ({heights.min():g} to"
        f" {heights.max():g} m).",
    )
    return layer.with_columns({**layer.columns, "bed_m": most.tolist()})  # shallower of two


def sounded(
    rows: Rows,
    waters: tuple[DrawnWater, ...],
    record: LevelRecord | None,
    sigma_m: float,
    log: FaultLog,
    *,
    is_lost: bool,
) -> dict[int, Soundings]:
    """
    Return the soundings of each water body.

    Parameters
    ----------
    rows : Rows
        Of the layer ``soundings``, tidied, one point in each, with the water body nearest to it.
    waters : tuple of DrawnWater
        The water bodies.
    record : LevelRecord or None
        Water levels.
    sigma_m : float
        One standard deviation where a row states none [m].
    log : FaultLog
        Takes the faults.
    is_lost : bool
        Whether no row of the whole layer lies in or beside water.

    Returns
    -------
    dict of int to Soundings
        By position of the water body, in the order of easting and northing.
    """
    layer, crs, reach = with_heights(rows.layer, log), rows.crs, rows.reach
    owner = np.where(reach.distance_m <= BANK_REACH_M, reach.water, -1)
    _say_ashore(rows, waters, log, is_lost=is_lost)
    time_s = times(layer, log)
    level = _levels(layer, waters, owner, record, time_s, log)
    bed = bed_elevations(layer, level, log)
    sigma = numbers(layer, "sigma_m")
    zero = np.flatnonzero(sigma == 0)
    log.refuse_rows(
        [layer.place(int(index)) for index in zero],
        lambda _: "sigma_m 0",
        "a standard deviation above 0",
        "No sounding is exact: give what the method allows.",
    )
    sigma = np.where(np.isnan(sigma), sigma_m, sigma)
    out = {}
    for index, every in by_owner(owner):
        water, own = waters[index], every[np.isfinite(bed[every])]
        if own.size:
            _say_few(layer, water, own, log)
            _say_odd(layer, water, bed[own], log)
            placed = shapely.get_coordinates(transformed(layer.geometries[own], crs, water.crs))
            place = Place(layer.file, layer.name, f"water body '{water.water_id}'")
            say_steps(survey_steps(placed, bed[own], time_s[own]), place, log)
            say_dry(own, bed, water.levels.high_m, layer, log)
            order = np.lexsort((bed[own], placed[:, 1], placed[:, 0]))
            own, placed = own[order], placed[order]
            out[index] = Soundings(placed[:, 0], placed[:, 1], bed[own], sigma[own])
    return out


def contoured(
    rows: Rows, waters: tuple[DrawnWater, ...], log: FaultLog
) -> dict[int, tuple[Contour, ...]]:
    """
    Return the contours of each water body.

    Parameters
    ----------
    rows : Rows
        Of the layer ``contours``, tidied, one line in each.
    waters : tuple of DrawnWater
        The water bodies.
    log : FaultLog
        Takes the faults.

    Returns
    -------
    dict of int to tuple of Contour
        By position of the water body; a line that touches several belongs to each.
    """
    layer, crs, reach = with_heights(rows.layer, log), rows.crs, rows.reach
    first = np.full(len(layer), -1)
    first[reach.feature[::-1]] = reach.water[::-1]
    bed = bed_elevations(layer, _outline_levels(waters, first), log)
    out: dict[int, list[Contour]] = {}
    for feature, water in zip(reach.feature, reach.water, strict=True):
        if np.isfinite(bed[feature]):
            # A depth counts from the outline of each water by itself.
            shift = waters[water].outline_level_m - waters[first[feature]].outline_level_m
            is_depth = np.isnan(numbers(layer, "bed_m")[feature])
            line = transformed(layer.geometries[feature], crs, waters[water].crs)
            height = float(bed[feature]) + (shift if is_depth else 0.0)
            out.setdefault(int(water), []).append(Contour(line, height))
    return {water: tuple(lines) for water, lines in out.items()}


def bed_elevations(layer: Layer, level_m: FloatArray, log: FaultLog) -> FloatArray:
    """
    Return the bed elevation of each row.

    Parameters
    ----------
    layer : Layer
        Tidied, with ``depth_m`` or ``bed_m``.
    level_m : ndarray of float, shape (n,)
        Water level from which a depth counts, NaN where not known [m].
    log : FaultLog
        Takes rows with neither value or with both, and depths of the wrong sign.

    Returns
    -------
    ndarray of float, shape (n,)
        ``bed_m``, else the level less ``depth_m``; NaN where there is neither [m].
    """
    depth, bed = numbers(layer, "depth_m"), numbers(layer, "bed_m")
    if not {"depth_m", "bed_m"} & set(layer.columns):
        return bed
    negative = np.flatnonzero(depth < 0)
    if negative.size > np.isfinite(depth).sum() / 2:
        log.refuse(
            layer.place(),
            f"{negative.size} of {int(np.isfinite(depth).sum())} values of depth_m negative",
            "depths below the water, positive down",
            "Change the sign, or name the column bed_m if these are heights above the datum.",
        )
    else:
        log.refuse_rows(
            [layer.place(int(index)) for index in negative],
            lambda index: f"depth_m {depth[negative[index]]:g}",
            "a depth below the water, positive down",
            "Correct the sign, or delete the row.",
        )
    for is_odd, found in (
        (np.isnan(depth) & np.isnan(bed), "neither depth_m nor bed_m"),
        (np.isfinite(depth) & np.isfinite(bed), "both depth_m and bed_m"),
    ):
        places = [layer.place(int(index)) for index in np.flatnonzero(is_odd)]
        log.refuse_rows(places, _same(found), "one of the two", "Give one, or delete the row.")
    return np.where(np.isfinite(bed), bed, level_m - depth)


def _same(text: str) -> Any:
    """Return a function that gives one text for every row."""
    return lambda _: text


def _heights(layer: Layer) -> tuple[FloatArray, IntArray]:
    """Return the heights of all vertices, and the row of each."""
    coordinates, owners = shapely.get_coordinates(
        layer.geometries, include_z=True, return_index=True
    )
    return coordinates[:, 2], owners


def _outline_levels(waters: tuple[DrawnWater, ...], owner: IntArray) -> FloatArray:
    """Return the level of the outline to which each row belongs, NaN where to none."""
    levels = np.array([*(water.outline_level_m for water in waters), np.nan])
    picked: FloatArray = levels[owner]
    return picked


def _levels(
    layer: Layer,
    waters: tuple[DrawnWater, ...],
    owner: IntArray,
    record: LevelRecord | None,
    time_s: FloatArray,
    log: FaultLog,
) -> FloatArray:
    """Return the water level from which each row's depth counts."""
    level = _outline_levels(waters, owner)
    is_depth = np.isfinite(numbers(layer, "depth_m"))
    timed = np.isfinite(time_s) & is_depth
    if not timed.any():
        return level
    if record is None:
        log.remark(
            layer.place(),
            f"{int(timed.sum())} depths with a time, and no record of levels",
            "levels.csv with the level of that day",
            "They are reduced with the level of the outline.",
        )
        return level
    at_time = record.level_at(time_s)
    outside = np.flatnonzero(timed & np.isnan(at_time))
    log.refuse_rows(
        [layer.place(int(index)) for index in outside],
        lambda _: "a time outside the record of levels",
        "a time between its first and last reading",
        "Add the levels of that day, or leave the time empty.",
    )
    return np.where(timed, at_time, level)


def _say_ashore(
    rows: Rows, waters: tuple[DrawnWater, ...], log: FaultLog, *, is_lost: bool
) -> None:
    """Name stray fixes one by one, and count the others that lie on land."""
    layer, nearest, distance = rows.layer, rows.reach.water, rows.reach.distance_m
    is_ashore = distance > BANK_REACH_M
    if not is_ashore.any():
        return
    is_stray = is_ashore & (distance > STRAY_M)
    is_stray &= _far_of_own(layer, rows.crs, waters, nearest) | (distance > LOST_M)
    stray = np.flatnonzero(is_stray)
    places = [layer.place(int(index)) for index in stray]
    log.refuse_rows(
        places,
        lambda index: (
            f"a sounding {_distance_words(distance[stray[index]])} outside water body"
            f" '{waters[nearest[stray[index]]].water_id}' and far from all others"
        ),
        "soundings in or beside the water",
        "Delete the row, or correct its coordinates.",
    )
    on_land = np.flatnonzero(is_ashore & ~is_stray)
    if is_lost:
        found = f"all {len(layer)} soundings on land"
        remedy = "Check the CRS of both layers and the order of the coordinates."
        log.refuse(layer.place(), found, "soundings in the water", remedy)
    elif on_land.size:
        some = [layer.place(int(index)) for index in on_land[:3]]
        where = "; ".join(
            f"{place.feature} at {place.coordinate[0]:.7g}, {place.coordinate[1]:.7g}"
            for place in some
            if place.coordinate is not None
        )
        log.remark(
            layer.place(),
            f"{on_land.size} of {len(layer)} soundings on land, more than {BANK_REACH_M:g} m from"
            f" any water ({where})",
            "soundings in the water",
            "They are not used.",
        )


def _far_of_own(
    layer: Layer, crs: str, waters: tuple[DrawnWater, ...], nearest: IntArray
) -> BoolArray:
    """Tell which fixes are strays among those nearest to the same water body."""
    out = np.zeros(len(layer), dtype=bool)
    for index, own in by_owner(nearest):
        placed = transformed(layer.geometries[own], crs, waters[index].crs)
        coordinates = shapely.get_coordinates(placed)
        out[own] = stray_fixes(coordinates[:, 0], coordinates[:, 1])
    return out


def _say_few(layer: Layer, water: DrawnWater, own: IntArray, log: FaultLog) -> None:
    """Warn of one or two soundings, which say little of a bed."""
    if own.size <= 2:
        log.remark(
            Place(layer.file, layer.name, f"water body '{water.water_id}'"),
            f"{own.size} sounding{'s' if own.size > 1 else ''}",
            "soundings over the whole water",
            "Depth is known only there: sound more.",
        )


def _say_odd(layer: Layer, water: DrawnWater, bed_m: FloatArray, log: FaultLog) -> None:
    """Speak up where heights of the bed do not fit the levels."""
    place = Place(layer.file, layer.name, f"water body '{water.water_id}'")
    remedy = "Is bed_m a height above the vertical datum of the levels?"
    if "bed_m" in layer.columns and float(np.median(bed_m)) > water.levels.high_m:
        log.refuse(
            place,
            f"a bed mostly above the high level ({float(np.median(bed_m)):g} m over"
            f" {water.levels.high_m:g} m)",
            "a bed below the water",
            f"{remedy} Depths belong in depth_m.",
        )
    shallowest = water.levels.normal_m - float(bed_m.max())
    if shallowest > ODD_DEPTH_M:
        log.remark(
            place,
            f"a shallowest sounding {shallowest:.3g} m below the normal level",
            "some soundings near the bank",
            f"{remedy} If it is not, every depth is wrong.",
        )


def _distance_words(distance_m: float) -> str:
    """Return a distance for a person."""
    if not np.isfinite(distance_m):
        return "over 1000 km"
    return f"{distance_m / 1000:.2f} km" if distance_m >= 1000 else f"{distance_m:.0f} m"
