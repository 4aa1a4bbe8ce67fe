"""``materials.csv``: what to buy, for one raft of each type and for the whole plan."""

import math
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from geoplan.exports.csv_text import Cell, Fixed, write_table
from geoplan.materials import WHOLE_PLAN, MaterialLine, bill, bill_by_water
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

    Notes
    -----
    Then what goes to each water body, where there are several: as built in, since waste is ordered
    once. Rafts whose build the site does not state stand at the end, counted and without parts.
    """
    lines = bill(plan, site.settings)
    rows = (*_rows(lines), *_by_water(plan, site), *_not_billed(plan, site))
    write_table(folder / FILE_NAME, _HEADER, rows)


def _by_water(plan: Plan, site: Site) -> Iterator[tuple[Cell, ...]]:
    """Yield what goes to each water body."""
    for line in bill_by_water(plan, site.settings):
        quantity = Fixed(line.quantity, 2)
        yield (line.scope, line.item, line.size, quantity, line.unit, None, None, None)


def _not_billed(plan: Plan, site: Site) -> Iterator[tuple[Cell, ...]]:
    """Yield the raft types that are planned but of whose parts nothing is known."""
    counts = Counter(
        raft.raft_type for water in plan.waters for raft in water.rafts if raft.status == "planned"
    )
    for kind in site.settings.raft:
        if kind.build is None and counts[kind.name]:
            size = f"{kind.length_m:.2f} x {kind.width_m:.2f} m"
            words = "raft: parts not billed, as [raft.build] is not stated"
            yield (kind.name, words, size, Fixed(counts[kind.name], 2), "pieces", None, None, None)


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
