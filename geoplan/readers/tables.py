"""Tables of text: CSV layers with their coordinates in columns."""

import csv
import io
import math
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from geoplan.crs import WGS84
from geoplan.readers.columns import text_number
from geoplan.readers.fault_log import FaultLog, Place, shown
from geoplan.readers.layer import Layer
from geoplan.readers.points import Points

_PAIRS = (("easting_m", "northing_m"), ("longitude_deg", "latitude_deg"))
#: Texts of a column that are held once, however often they stand there.
_MOST_SHARED = 10_000


def table_columns(
    data: bytes, place: Place, log: FaultLog
) -> tuple[dict[str, Any], "array[int]"] | None:
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
    tuple of (dict of str to list or Coordinates, array of int), or None
        Texts by column name, those of coordinates as numbers, and the row numbers that a
        spreadsheet shows, the header being row 1; ``None`` where the file is no table.
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
        cells = _by_column(reader, names)
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
    pair_columns = tuple(by_name[name] for name in pair)
    is_blank = np.logical_and(*(column.is_blank() for column in pair_columns)) & blanks
    first, second = (
        _coordinates(column, name, rows, is_blank, place, log)
        for column, name in zip(pair_columns, pair, strict=True)
    )
    rest = {name: values for name, values in columns.items() if name.lower() not in pair}
    return Layer(
        place.layer,
        place.file,
        WGS84 if pair == _PAIRS[1] else None,
        Points(np.column_stack([first, second])),
        rest,
        np.array(rows, dtype=np.int64),
        "row",
        ".csv",
    )


@dataclass(frozen=True)
class Coordinates:
    """
    A column of coordinates: texts take ten times the room of their numbers.

    Attributes
    ----------
    numbers : array of float
        NaN where there is none [m or °].
    odd : dict of int to str
        By position, texts that are no finite numbers.

    Examples
    --------
    >>> column = Coordinates()
    >>> for cell in ("4.5", None, "4,5"):
    ...     column.append(cell)
    >>> column.odd, column.is_blank().tolist()
    ({2: '4,5'}, [False, True, False])
    """

    numbers: "array[float]" = field(default_factory=lambda: array("d"))
    odd: dict[int, str] = field(default_factory=dict)

    def append(self, cell: str | None) -> None:
        """
        Add a cell.

        Parameters
        ----------
        cell : str or None
            Its text; ``None`` where it is empty.
        """
        number = text_number(cell)
        if cell is not None and math.isnan(number):
            self.odd[len(self.numbers)] = cell
        self.numbers.append(number)

    def is_blank(self) -> Any:
        """
        Tell which cells are empty.

        Returns
        -------
        ndarray of bool, shape (n,)
            True for each of them.
        """
        out = np.isnan(self.numbers)
        out[list(self.odd)] = False
        return out


class _Texts(list[str | None]):
    """A column of texts; one that stands there often is held once."""

    def __init__(self) -> None:
        super().__init__()
        self._shared: dict[str | None, str | None] = {}

    def append(self, cell: str | None) -> None:
        """Add a cell."""
        if len(self._shared) < _MOST_SHARED:
            cell = self._shared.setdefault(cell, cell)
        super().append(cell)


@dataclass(frozen=True)
class _Cells:
    """Cells by column and the numbers of their rows; numbers and lengths of rows of another."""

    columns: tuple[_Texts | Coordinates, ...]
    rows: "array[int]"
    ragged: list[tuple[int, int]]


def _by_column(lines: Iterator[list[str]], names: list[str]) -> _Cells:
    """Return rows of cells as columns, one row after the other: a table is never held twice."""
    ways = {name for pair in _PAIRS for name in pair}
    columns = (Coordinates() if name.lower() in ways else _Texts() for name in names)
    cells = _Cells(tuple(columns), array("q"), [])
    for number, line in enumerate(lines, 2):
        stripped = [cell.strip() or None for cell in line]
        if not any(stripped):
            continue
        if len(line) != len(names):
            cells.ragged.append((number, len(line)))
            continue
        cells.rows.append(number)
        for column, cell in zip(cells.columns, stripped, strict=True):
            column.append(cell)
    return cells


def _named(
    names: list[str], cells: _Cells, place: Place, log: FaultLog
) -> tuple[dict[str, Any], "array[int]"] | None:
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
    column: Coordinates, name: str, rows: "array[int]", is_blank: Any, place: Place, log: FaultLog
) -> Any:
    """Return a column of coordinates, NaN where there is none, with a fault where one should be."""
    numbers = np.array(column.numbers, dtype=np.float64)
    bad = np.flatnonzero(np.isnan(numbers) & ~is_blank)
    log.refuse_rows(
        [Place(place.file, place.layer, f"row {rows[index]}") for index in bad],
        lambda index: f"{name} {shown(column.odd.get(int(bad[index])))}",
        "a finite number with a decimal point",
        "Correct the cell, or delete the row.",
    )
    return numbers
