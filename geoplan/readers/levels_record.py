"""A record of water levels: its percentiles, and the level at the time of a sounding."""

import datetime as dt
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geoplan.readers.columns import numbers, text_of, tidied
from geoplan.readers.fault_log import FaultLog, Place, shown
from geoplan.readers.layer import Layer, object_array
from geoplan.readers.tables import table_columns
from geoplan.settings import LevelSettings
from geoplan.site import Levels, lock_arrays

FloatArray = NDArray[np.float64]

#: A record shorter than this may have missed the low or the high season [d].
YEAR_D = 350.0


@dataclass(frozen=True, eq=False)
class LevelRecord:
    """
    Water levels in the order of time.

    Attributes
    ----------
    time_s : ndarray of float, shape (n,)
        Seconds since 1970, rising [s].
    level_m : ndarray of float, shape (n,)
        Heights above the vertical datum [m].
    """

    time_s: FloatArray
    level_m: FloatArray

    def __post_init__(self) -> None:
        """Lock the arrays."""
        lock_arrays(self)

    def level_at(self, time_s: FloatArray) -> FloatArray:
        """
        Return the level at given times.

        Parameters
        ----------
        time_s : ndarray of float, shape (m,)
            Seconds since 1970 [s].

        Returns
        -------
        ndarray of float, shape (m,)
            Interpolated between readings, NaN outside the record [m].

        Examples
        --------
        >>> record = LevelRecord(np.array([0.0, 10.0]), np.array([1.0, 2.0]))
        >>> record.level_at(np.array([5.0, 11.0])).tolist()
        [1.5, nan]
        """
        inside: FloatArray = np.interp(
            time_s, self.time_s, self.level_m, left=math.nan, right=math.nan
        )
        return inside

    @property
    def days(self) -> float:
        """Return the time from the first to the last reading [d]."""
        return float(self.time_s[-1] - self.time_s[0]) / 86400.0


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
        from_record = np.percentile(record.level_m, percentiles)
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


def _in_order(
    layer: Layer, time_s: FloatArray, level_m: FloatArray, log: FaultLog
) -> LevelRecord | None:
    """Return readings in the order of time, with what is doubtful of them."""
    is_whole = np.isfinite(time_s) & np.isfinite(level_m)
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
    if record.days < YEAR_D:
        log.remark(
            layer.place(),
            f"a record of {record.days:.0f} days",
            "a year or more, with its driest and wettest weeks",
            "Low and high level may lie farther out than it says.",
        )
    return record


def _seconds(text: str) -> float:
    """Return seconds since 1970 of an ISO 8601 time, NaN where it is none."""
    try:
        time = dt.datetime.fromisoformat(text)
    except ValueError:
        return math.nan
    if time.tzinfo is None:
        time = time.replace(tzinfo=dt.UTC)
    return time.timestamp()
