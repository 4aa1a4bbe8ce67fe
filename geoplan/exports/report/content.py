"""
What a report is made of: blocks of text, tables and drawings, the same for every format.

Texts are data: whoever sets them escapes them, and none is ever run.
"""

from dataclasses import asdict, dataclass
from typing import Any

from geoplan.exports.csv_text import Fixed

#: What a cell of a table may hold; ``None`` is a blank.
Value = str | float | int | bool | Fixed | None


@dataclass(frozen=True)
class Heading:
    """
    A heading.

    Attributes
    ----------
    text : str
        Words.
    level : int
        1 for a section, 2 below it.
    """

    text: str
    level: int = 1


@dataclass(frozen=True)
class Text:
    """
    A paragraph.

    Attributes
    ----------
    text : str
        Words.
    is_caution : bool
        Whether it warns of harm, and stands out.
    """

    text: str
    is_caution: bool = False


@dataclass(frozen=True)
class Bullets:
    """
    A list.

    Attributes
    ----------
    items : tuple of str
        Words of each.
    """

    items: tuple[str, ...]


@dataclass(frozen=True)
class Grid:
    """
    A table.

    Attributes
    ----------
    caption : str
        What it shows.
    header : tuple of str
        Column names with units.
    rows : tuple of tuple of str
        Cells as they are printed.
    numeric : tuple of bool
        Whether each column holds numbers.
    """

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[bool, ...]


@dataclass(frozen=True)
class Drawing:
    """
    A drawing.

    Attributes
    ----------
    svg : str
        The drawing.
    words : str
        What it shows, for who cannot see it.
    caption : str
        Words below it.
    width_mm : float
        Width on paper, which sets its scale [mm].
    """

    svg: str
    words: str
    caption: str
    width_mm: float


@dataclass(frozen=True)
class Blanks:
    """
    Fields that people fill in.

    Attributes
    ----------
    names : tuple of str
        What goes where.
    """

    names: tuple[str, ...]


@dataclass(frozen=True)
class NewPage:
    """A page break."""


Block = Heading | Text | Bullets | Grid | Drawing | Blanks | NewPage


@dataclass(frozen=True)
class Report:
    """
    A whole report.

    Attributes
    ----------
    title : str
        Title.
    blocks : tuple of Block
        In order.
    """

    title: str
    blocks: tuple[Block, ...]


def grid(caption: str, header: tuple[str, ...], rows: list[tuple[Value, ...]]) -> Grid:
    """
    Return a table from values.

    Parameters
    ----------
    caption : str
        What it shows.
    header : tuple of str
        Column names with units.
    rows : list of tuple of Value
        Cells; numbers that need a set number of decimals are ``Fixed``.

    Returns
    -------
    Grid
        With the values as text; a column of numbers and blanks counts as numeric.

    Examples
    --------
    >>> grid("c", ("a", "b"), [("x", Fixed(1.234, 1))]).rows
    (('x', '1.2'),)
    """
    numeric = tuple(
        bool(rows)
        and all(not isinstance(row[at], str | bool) for row in rows)
        and any(row[at] is not None for row in rows)
        for at in range(len(header))
    )
    return Grid(caption, header, tuple(tuple(map(_shown, row)) for row in rows), numeric)


def _shown(value: Value) -> str:
    """Return a value as it is printed; one that is not known is a dash."""
    number = value.value if isinstance(value, Fixed) else value
    if number is None or (isinstance(number, float) and number != number):  # noqa: PLR0124
        return "–"
    if isinstance(value, Fixed):
        return f"{value.value:.{value.decimals}f}"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


def as_record(report: Report) -> dict[str, Any]:
    """
    Return a report as plain data.

    Parameters
    ----------
    report : Report
        The report.

    Returns
    -------
    dict of str to Any
        Blocks with their ``kind``, ready for JSON.
    """
    kinds = {
        Heading: "heading", Text: "text", Bullets: "bullets", Grid: "table", Drawing: "drawing",
        Blanks: "blanks", NewPage: "page",
    }  # fmt: skip
    blocks = [{"kind": kinds[type(block)], **asdict(block)} for block in report.blocks]
    return {"title": report.title, "blocks": blocks}
