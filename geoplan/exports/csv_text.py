"""
Tables as text that spreadsheets open as tables, and never run as formulas.

RFC 4180 with CR LF. A byte order mark goes first, without which one common spreadsheet reads
UTF-8 as something else; the others, and data libraries, skip it.
"""

import csv
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from geoplan.errors import writing

#: First characters after which spreadsheets take a text for a formula or split the cell.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


@dataclass(frozen=True)
class Fixed:
    """
    A number that is written with a set number of decimals.

    Attributes
    ----------
    value : float
        The number; one that is not finite leaves the cell empty.
    decimals : int
        Decimals to write.
    """

    value: float
    decimals: int


Cell = str | float | int | bool | Fixed | None


def write_table(path: Path, header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> None:
    """
    Write a table.

    Parameters
    ----------
    path : Path
        File to write.
    header : sequence of str
        Column names.
    rows : iterable of sequence of Cell
        Cells; numbers that need a set number of decimals are ``Fixed``.

    Raises
    ------
    ExportError
        If the file cannot be written.
    """
    with writing(path), path.open("w", encoding="utf-8-sig", newline="") as file:
        writer = csv.writer(file, lineterminator="\r\n")
        writer.writerow(header)
        for row in rows:
            writer.writerow([_cell_text(cell) for cell in row])


def _cell_text(cell: Cell) -> str:
    """Return the text of a cell; only texts are guarded, a negative number stays a number."""
    number = cell.value if isinstance(cell, Fixed) else cell
    if number is None or (isinstance(number, float) and not math.isfinite(number)):
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, Fixed):
        return f"{cell.value:.{cell.decimals}f}"
    if isinstance(cell, str):
        return f"'{cell}" if cell.startswith(_FORMULA_STARTS) else cell
    return str(cell)
