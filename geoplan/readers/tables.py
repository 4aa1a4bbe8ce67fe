"""Tables of text: CSV layers with their coordinates in columns."""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from geoplan.crs import WGS84
from geoplan.readers.columns import text_number
from geoplan.readers.fault_log import FaultLog, Place, shown
from geoplan.readers.layer import Layer, object_array

_PAIRS = (("easting_m", "northing_m"), ("longitude_deg", "latitude_deg"))


def table_columns(
    data: bytes, place: Place, log: FaultLog
) -> tuple[dict[str, list[Any]], list[int]] | None:
    """
    Return the columns of a table of text.

    Parameters
    ----------
    data : bytes
        File with a header line; the separator is a comma, semicolon or tab.
    place : Place
        Where faults are.
    log : FaultLog
        Takes the faults.

    Returns
    -------
    tuple of (dict of str to list, list of int), or None
        Texts by column name, and the row numbers that a spreadsheet shows, the header being
        row 1; ``None`` where the file is no table.
    """
    try:
        header = data.decode("utf-8-sig").split("\n", 1)[0]
    except UnicodeDecodeError as error:
        log.refuse(
            place,
            f"bytes that are no UTF-8 text (byte {error.start})",
            "a CSV file in UTF-8",
            "Save it again as 'CSV UTF-8'.",
        )
        return None
    text = io.TextIOWrapper(io.BytesIO(data), encoding="utf-8-sig", newline="")
    reader = csv.reader(text, delimiter=max(",;\t", key=header.count), strict=True)
    try:
        names = [name.strip() for name in next(reader, [])]
        cells = _by_column(reader, len(names))
    except csv.Error as error:
        log.refuse(
            place,
            f"a table that cannot be read at line {reader.line_num} ({error})",
            "a CSV file",
            "Save it again as CSV.",
        )
        return None
    if not any(names) or "\0" in header:
        log.refuse(place, "no header line", "column names in the first line", "Add them.")
        return None
    return _named(names, cells, place, log)


def table_layer(data: bytes, place: Place, log: FaultLog, *, blanks: bool = False) -> Layer | None:
    """
    Return a CSV file of points as a layer.

    Parameters
    ----------
    data : bytes
        The file.
    place : Place
        File and layer.
    log : FaultLog
        Takes the faults.
    blanks : bool
        Whether a row may be left without coordinates, as in a form that is filled in.

    Returns
    -------
    Layer or None
        ``None`` where the file is no table or has no coordinates; a fault says so.
    """
    table = table_columns(data, place, log)
    if table is None:
        return None
    columns, rows = table
    by_name = {name.strip().lower(): values for name, values in columns.items()}
    pair = next((pair for pair in _PAIRS if all(name in by_name for name in pair)), None)
    if pair is None:
        in_feet = [name for name in by_name if name in {"easting_ft", "northing_ft"}]
        log.refuse(
            place,
            f"columns {', '.join(shown(name) for name in columns)}",
            "easting_m and northing_m in the site's CRS, or longitude_deg and latitude_deg",
            "Feet of a grid may be two kinds of foot, metres apart: give degrees, or a GeoPackage."
            if in_feet
            else "Name the columns of the coordinates so.",
        )
        return None
    filled = [
        not blanks or any(str(by_name[name][at] or "").strip() for name in pair)
        for at in range(len(rows))
    ]
    first, second = (_coordinates(by_name[name], name, rows, filled, place, log) for name in pair)
    rest = {name: values for name, values in columns.items() if name.lower() not in pair}
    del table, columns, by_name  # texts of coordinates, before points are made of them
    is_whole = np.isfinite(first) & np.isfinite(second)
    points = object_array([None] * len(rows))
    points[is_whole] = shapely.points(first[is_whole], second[is_whole])
    return Layer(
        place.layer,
        place.file,
        WGS84 if pair == _PAIRS[1] else None,
        points,
        rest,
        np.array(rows, dtype=np.int64),
        "row",
        ".csv",
    )


@dataclass(frozen=True)
class _Cells:
    """Cells by column and the numbers of their rows; numbers and lengths of rows of another."""

    columns: tuple[list[str | None], ...]
    rows: list[int]
    ragged: list[tuple[int, int]]


def _by_column(lines: Iterator[list[str]], width: int) -> _Cells:
    """Return rows of cells as columns, one row after the other: a table is never held twice."""
    cells = _Cells(tuple([] for _ in range(width)), [], [])
    for number, line in enumerate(lines, 2):
        stripped = [cell.strip() or None for cell in line]
        if not any(stripped):
            continue
        if len(line) != width:
            cells.ragged.append((number, len(line)))
            continue
        cells.rows.append(number)
        for column, cell in zip(cells.columns, stripped, strict=True):
            column.append(cell)
    return cells


def _named(
    names: list[str], cells: _Cells, place: Place, log: FaultLog
) -> tuple[dict[str, list[Any]], list[int]] | None:
    """Return columns by their names, refusing ragged rows and names given twice."""
    twice = sorted({name for name in names if name and names.count(name) > 1})
    if twice:
        log.refuse(
            place, f"two columns named {shown(twice[0])}", "each name once", "Rename one of them."
        )
        return None
    log.refuse_rows(
        [Place(place.file, place.layer, f"row {number}") for number, _ in cells.ragged],
        lambda index: f"{cells.ragged[index][1]} cells",
        f"{len(names)} cells, as in the header",
        "Correct the row: a comma inside a number makes two cells of one.",
    )
    columns = {name: column for name, column in zip(names, cells.columns, strict=True) if name}
    return columns, cells.rows


def _coordinates(
    values: list[Any], name: str, rows: list[int], filled: list[bool], place: Place, log: FaultLog
) -> Any:
    """Return a column of coordinates, NaN where there is none, with a fault where one should be."""
    numbers = np.array([text_number(value) for value in values], dtype=np.float64)
    bad = np.flatnonzero(~np.isfinite(numbers) & np.array(filled, dtype=bool))
    log.refuse_rows(
        [Place(place.file, place.layer, f"row {rows[index]}") for index in bad],
        lambda index: f"{name} {shown(values[bad[index]])}",
        "a finite number with a decimal point",
        "Correct the cell, or delete the row.",
    )
    return numbers
