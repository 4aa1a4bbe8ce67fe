"""A record of water levels: its percentiles, and the level at the time of a sounding."""

import datetime as dt
import math

import numpy as np
from numpy.typing import NDArray

from geoplan.readers.columns import numbers, text_of, tidied
from geoplan.readers.fault_log import FaultLog, Place, shown
from geoplan.readers.layer import Layer, object_array
from geoplan.readers.tables import table_columns
from geoplan.settings import LevelSettings
from geoplan.site import LevelRecord, Levels, WaterBody
from geoplan.water.record import (
    gaps,
    known_time_s,
    record_levels,
    share_below,
    shifts_m,
    spikes_m,
    time_text,
)

FloatArray = NDArray[np.float64]

#: A record shorter than this may have missed the low or the high season [d].
YEAR_D = 350.0
#: Share of time below the low level, or above the high one, that is worth a word: twice what the
#: default percentiles would give (judgement) [%].
BEYOND_PCT = 10.0


def level_record(data: bytes, place: Place, log: FaultLog) -> LevelRecord | None:
    """
    Return a record from a table with columns ``time`` and ``level_m``.

    Parameters
    ----------
    data : bytes
        CSV file.
    place : Place
        File and layer.
    log : FaultLog
        Takes the faults.

    Returns
    -------
    LevelRecord or None
        ``None`` where fewer than two readings can be used.
    """
    table = table_columns(data, place, log)
    if table is None:
        return None
    columns, rows = table
    raw = Layer(
        "levels",
        place.file,
        None,
        object_array([None] * len(rows)),
        columns,
        np.array(rows, dtype=np.int64),
        "row",
        ".csv",
    )
    layer = tidied(raw, log)
    return _in_order(layer, times(layer, log), numbers(layer, "level_m"), log)


def times(layer: Layer, log: FaultLog) -> FloatArray:
    """
    Return the column ``time`` of a tidied layer.

    Parameters
    ----------
    layer : Layer
        From ``tidied``.
    log : FaultLog
        Takes texts that are no time.

    Returns
    -------
    ndarray of float, shape (n,)
        Seconds since 1970, in UTC where a zone is given and on the clock as written where none
        is; NaN where there is no time [s].
    """
    texts = [text_of(layer, "time", index) for index in range(len(layer))]
    seconds = np.array([_seconds(text) if text else math.nan for text in texts])
    bad = [index for index, text in enumerate(texts) if text and math.isnan(seconds[index])]
    log.refuse_rows(
        [layer.place(index) for index in bad],
        lambda index: f"time {shown(texts[bad[index]])}",
        "a time such as 2026-05-14T10:30",
        "Write year, month and day in that order.",
    )
    return seconds


def site_levels(
    settings: LevelSettings, record: LevelRecord | None, place: Place, log: FaultLog
) -> Levels | None:
    """
    Return the levels of the site: as given, else from the record.

    Parameters
    ----------
    settings : LevelSettings
        Table ``[levels]``.
    record : LevelRecord or None
        The record.
    place : Place
        The settings file.
    log : FaultLog
        Takes levels that are missing or out of order.

    Returns
    -------
    Levels or None
        ``None`` where they cannot be settled.
    """
    given = [settings.low_m, settings.normal_m, settings.high_m]
    where = Place(place.file, feature="table levels")
    if record is not None:
        percentiles = [settings.low_percentile, 50.0, settings.high_percentile]
        from_record = record_levels(record.time_s, record.level_m, percentiles)
        given = [
            float(other) if value is None else value
            for value, other in zip(given, from_record, strict=True)
        ]
    low_m, normal_m, high_m = given
    if low_m is None or normal_m is None or high_m is None:
        log.refuse(
            where,
            "no usable record of levels",
            "low_m, normal_m and high_m, or a record",
            "Give the levels, or put the record beside site.toml.",
        )
        return None
    try:
        return Levels(low_m, normal_m, high_m)
    except ValueError as error:
        log.refuse(where, str(error), "levels in rising order", "Correct them.")
        return None


def doubtful_levels(body: WaterBody, settings: LevelSettings, place: Place, log: FaultLog) -> None:
    """
    Note where the record of a water body and its levels contradict each other.

    Parameters
    ----------
    body : WaterBody
        The water body; without a record nothing is noted.
    settings : LevelSettings
        Table ``[levels]``: whether low and high came from the record.
    place : Place
        File of the record.
    log : FaultLog
        Takes warnings: a record that never reaches the level of the outline, and low or high
        levels that are passed for more than a tenth of the time.
    """
    record = body.record
    if record is None:
        return
    where = Place(place.file, "levels", f"water '{body.water_id}'")
    lowest, highest = float(record.level_m.min()), float(record.level_m.max())
    if not lowest <= body.outline_level_m <= highest:
        log.remark(
            where,
            f"levels from {lowest:.2f} to {highest:.2f} m, which never reach the"
            f" {body.outline_level_m:.2f} m at which the outline was drawn",
            "an outline drawn at a level that the water has had, on the same datum",
            "Check the datum of both and level_m of the outline; areas and depths hang on it.",
        )
    below, not_above = 100.0 * share_below(
        record.time_s,
        record.level_m,
        np.array([body.levels.low_m, np.nextafter(body.levels.high_m, np.inf)]),
    )
    for beyond_pct, words, percentile in (
        (below, f"below the low level of {body.levels.low_m:.2f} m", settings.low_percentile),
        (
            100.0 - not_above,
            f"above the high level of {body.levels.high_m:.2f} m",
            100.0 - settings.high_percentile,
        ),
    ):
        if beyond_pct > max(BEYOND_PCT, 1.5 * percentile):
            log.remark(
                where,
                f"levels {words} for {beyond_pct:.1f} % of the time",
                f"at most {BEYOND_PCT:g} %",
                "Rafts and posts are judged at these levels: move them out, or say why not.",
            )


def _in_order(
    layer: Layer, time_s: FloatArray, level_m: FloatArray, log: FaultLog
) -> LevelRecord | None:
    """Return readings in the order of time, with what is doubtful of them."""
    is_whole = np.isfinite(time_s) & np.isfinite(level_m)
    if not is_whole.all():
        log.remark(
            layer.place(),
            f"{int((~is_whole).sum())} of {len(is_whole)} rows without a time or a level",
            "both in every row",
            "They are not used.",
        )
    time_s, level_m = time_s[is_whole], level_m[is_whole]
    order = np.lexsort((level_m, time_s))
    time_s, level_m = time_s[order], level_m[order]
    same = (np.diff(time_s) == 0) & (np.diff(level_m) != 0)
    if same.any():
        found, expected = f"{int(same.sum())} times with two levels", "one level for each time"
        log.refuse(layer.place(), found, expected, "Delete the wrong ones.")
    if np.unique(time_s).size < 2:
        found = f"{time_s.size} readings with time and level"
        log.refuse(layer.place(), found, "two readings or more", "Add the record.")
        return None
    record = LevelRecord(time_s, level_m)
    _say_doubts(record, layer.place(), log)
    return record


def _say_doubts(record: LevelRecord, place: Place, log: FaultLog) -> None:
    """Note what is doubtful in a record: its length, gaps, spikes and shifts, with dates."""
    known_d = known_time_s(record.time_s) / 86400.0
    if known_d < YEAR_D:
        log.remark(
            place,
            f"a record of {known_d:.0f} days",
            "a year or more, with its driest and wettest weeks",
            "Low and high level may lie farther out than it says.",
        )
    time_s, level_m = record.time_s, record.level_m
    for k in np.flatnonzero(gaps(time_s)):
        log.remark(
            place,
            f"a gap of {(time_s[k + 1] - time_s[k]) / 86400.0:.1f} days from"
            f" {time_text(time_s[k])} to {time_text(time_s[k + 1])}",
            "readings at even intervals",
            "The time of the gap counts for nothing: not for percentiles, nor for shares of time.",
        )
    departure = spikes_m(level_m)
    for k in np.flatnonzero(departure):
        log.remark(
            place,
            f"{level_m[k]:.2f} m on {time_text(time_s[k])}, {abs(departure[k]):.2f} m"
            f" {'above' if departure[k] > 0 else 'below'} the readings round it",
            "levels that follow each other",
            "A short flood, or a fault of the gauge. It is used as it stands; delete it if wrong.",
        )
    step = shifts_m(time_s, level_m)
    for k in np.flatnonzero(step):
        log.remark(
            place,
            f"a step of {step[k]:+.2f} m that stays, between {time_text(time_s[k])} and"
            f" {time_text(time_s[k + 1])}",
            "one datum throughout",
            "A gauge that was moved, or a gate. It is used as it stands; if the datum changed,"
            " bring all readings to the datum of the site.",
        )


def _seconds(text: str) -> float:
    """Return seconds since 1970 of an ISO 8601 time, NaN where it is none."""
    try:
        time = dt.datetime.fromisoformat(text)
    except ValueError:
        return math.nan
    if time.tzinfo is None:
        time = time.replace(tzinfo=dt.UTC)
    return time.timestamp()
