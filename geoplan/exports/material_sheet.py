"""``materials.csv``: what to buy, for one raft of each type and for the whole plan."""

import math
from collections.abc import Iterator
from pathlib import Path

from geoplan.exports.csv_text import Cell, Fixed, write_table
from geoplan.materials import WHOLE_PLAN, MaterialLine, bill
from geoplan.plan import AuditReport, Plan
from geoplan.site import Site

FILE_NAME = "materials.csv"

_HEADER = (
    "scope",
    "item",
    "size",
    "quantity",
    "unit",
    "ordered_with_waste",
    "price",
    "cost",
)


def write(
    plan: Plan,
    site: Site,
    folder: Path,
    audit: AuditReport | None,  # noqa: ARG001 - exports are called alike
) -> None:
    """
    Write ``materials.csv``.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site, for raft types, waste and prices.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Not used: the sheet states what the plan needs.

    Raises
    ------
    ExportError
        If the file cannot be written.
    """
    write_table(folder / FILE_NAME, _HEADER, _rows(bill(plan, site.settings)))


def _rows(lines: tuple[MaterialLine, ...]) -> Iterator[tuple[Cell, ...]]:
    """Yield a row for each line, and the sum of what has a price."""
    for line in lines:
        yield (
            line.scope,
            line.item,
            line.size,
            Fixed(line.quantity, 2),
            line.unit,
            Fixed(line.ordered, 2),
            None if line.price is None else Fixed(line.price, 2),
            None if line.cost is None else Fixed(line.cost, 2),
        )
    whole = [line for line in lines if line.scope == WHOLE_PLAN]
    priced = [line.cost for line in whole if line.cost is not None]
    if priced:
        missing = len(whole) - len(priced)
        words = "sum" if not missing else f"sum; {missing} lines without a price"
        yield (WHOLE_PLAN, words, "", None, "", None, None, Fixed(math.fsum(priced), 2))
