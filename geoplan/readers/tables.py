"""Tables of text: CSV layers with their coordinates in columns."""

import codecs
import csv
import io
import math
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import Any, BinaryIO

import numpy as np

from geoplan.crs import WGS84
from geoplan.readers.columns import text_number
from geoplan.readers.fault_log import FaultLog, Place, shown
from geoplan.readers.layer import Layer
from geoplan.readers.points import AT_A_TIME, Points

_PAIRS = (("easting_m", "northing_m"), ("longitude_deg", "latitude_deg"))
#: Texts of a column that are held once, however often they stand there.
_MOST_SHARED = 10_000
#: Bytes that are looked at together.
_BLOCK_BYTES = 1 << 20
#: Columns by name, and the numbers of their rows.
Table = tuple[dict[str, Any], "array[int]"]


def table_columns(data: bytes, place: Place, log: FaultLog) -> Table | None:
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
    return next(_pieces(io.BytesIO(data), place, log, None), None)


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
    return None if table is None else _layer(table, place, log, blanks=blanks)


def table_layers(file: BinaryIO, place: Place, log: FaultLog) -> Iterator[Layer]:
    """
    Yield a CSV file of points piece by piece; no more of it is held.

    Parameters
    ----------
    file : binary file
        The file, open at its beginning.
    place : Place
        File and layer.
    log : FaultLog
        Takes the faults; after one that is of the whole file nothing more is yielded.

    Yields
    ------
    Layer
        Rows in the order of the file, some 20,000 at a time.
    """
    for table in _pieces(file, place, log, AT_A_TIME):
        layer = _layer(table, place, log, blanks=False)
        if layer is None:
            return
        yield layer


def _pieces(file: BinaryIO, place: Place, log: FaultLog, most: int | None) -> Iterator[Table]:
    """Yield the rows of a table by column, so many at a time or all of them; close the file."""
    number = 1
    try:
        odd = _first_odd_byte(file)
        if odd is not None:
            found = f"bytes that are no UTF-8 text (byte {odd})"
            log.refuse(place, found, "a CSV file in UTF-8", "Save it again as 'CSV UTF-8'.")
            return
        header = file.readline().decode("utf-8-sig")
        file.seek(0)
        with io.TextIOWrapper(file, encoding="utf-8-sig", newline="") as text:
            reader = csv.reader(text, delimiter=max(",;\t", key=header.count), strict=True)
            names = [name.strip() for name in next(reader, [])]
            if not any(names) or "\0" in header:
                log.refuse(place, "no header line", "column names in the first line", "Add them.")
                return
            lines, is_last = enumerate(reader, 2), False
            while not is_last:
                cells = _by_column(islice(lines, most), names)
                is_last = most is None or cells.lines < most
                table = _named(names, cells, place, log) if cells.lines or number == 1 else None
                if table is None:
                    return
                yield table
                number += 1
    except csv.Error as error:
        found = f"a table that cannot be read at line {reader.line_num} ({error})"
        log.refuse(place, found, "a CSV file", "Save it again as CSV.")
    except OSError as error:
        found = f"a file that cannot be read ({error.strerror})"
        log.refuse(place, found, "a readable file", "Copy the file again.")


def _first_odd_byte(file: BinaryIO) -> int | None:
    """Return the position of the first byte that is no UTF-8; the file is at its beginning then."""
    decoder, passed = codecs.getincrementaldecoder("utf-8")(), 0
    try:
        while block := file.read(_BLOCK_BYTES):
            waiting = len(decoder.getstate()[0])
            decoder.decode(block)
            passed += len(block)
        waiting = len(decoder.getstate()[0])
        decoder.decode(b"", final=True)
    except UnicodeDecodeError as error:
        return passed - waiting + error.start
    file.seek(0)
    return None


def _layer(table: Table, place: Place, log: FaultLog, *, blanks: bool) -> Layer | None:
    """Return rows of a table as those of a layer of points."""
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
    lines: int


def _by_column(lines: Iterator[tuple[int, list[str]]], names: list[str]) -> _Cells:
    """Return rows of cells as columns, one row after the other: a table is never held twice."""
    ways = {name for pair in _PAIRS for name in pair}
    columns = (Coordinates() if name.lower() in ways else _Texts() for name in names)
    cells, count = _Cells(tuple(columns), array("q"), [], 0), 0
    for number, line in lines:
        count += 1
        stripped = [cell.strip() or None for cell in line]
        if not any(stripped):
            continue
        if len(line) != len(names):
            cells.ragged.append((number, len(line)))
            continue
        cells.rows.append(number)
        for column, cell in zip(cells.columns, stripped, strict=True):
            column.append(cell)
    return replace(cells, lines=count)


def _named(names: list[str], cells: _Cells, place: Place, log: FaultLog) -> Table | None:
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
