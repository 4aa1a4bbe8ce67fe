"""
``effect.csv``: loads with and without rafts, how sure they are, and what more rafts would bring.

Where flows or concentrations were assumed no figure is grams: the column ``unit`` says so.
"""

from collections.abc import Iterator
from pathlib import Path

from geoplan.exports.csv_text import Cell, Fixed, write_table
from geoplan.plan import AuditReport, Effect, Plan
from geoplan.site import Site

FILE_NAME = "effect.csv"

_HEADER = (
    "water_id", "part", "item", "constituent", "raft_count", "cover_pct", "cost", "value",
    "lowest", "highest", "unit",
)  # fmt: skip


def write(
    plan: Plan,
    site: Site,  # noqa: ARG001 - exports are called alike
    folder: Path,
    audit: AuditReport | None,  # noqa: ARG001
) -> None:
    """
    Write ``effect.csv``.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        Not used.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Not used: the sheet states what the plan says.

    Raises
    ------
    ExportError
        If the file cannot be written.
    """
    rows = [
        (water.water_id, *row)
        for water in plan.waters
        if water.effect is not None
        for row in _rows(water.effect)
    ]
    write_table(folder / FILE_NAME, _HEADER, rows)


def _rows(effect: Effect) -> Iterator[tuple[Cell, ...]]:
    """Yield the rows of one water body."""
    name = effect.constituent
    unit = "relative" if effect.is_relative else ("million/d" if name == "ecoli" else "g/d")
    low, high = effect.removed_range_g_d

    def load(item: str, value: float, *ends: float) -> tuple[Cell, ...]:
        span: list[Cell] = [Fixed(end, 3) for end in ends] or [None, None]
        return ("load", item, name, None, None, None, Fixed(value, 3), *span, unit)

    yield load("flows in", effect.load_in_g_d)
    yield load("leaves without rafts", effect.load_out_without_rafts_g_d)
    yield load("leaves with rafts", effect.load_out_g_d)
    yield load("kept back by rafts", effect.removed_g_d, low, high)
    for case in effect.sensitivity:
        yield (
            "assumption", case.name, name, None, None, None, Fixed(case.kept_g_d, 3), None,
            Fixed(case.bound_g_d, 3), unit,
        )  # fmt: skip
    for point in effect.curve:
        yield (
            "number of rafts", "this plan" if point.is_chosen else "", name, point.raft_count,
            Fixed(point.cover_pct, 2), Fixed(point.cost, 2), Fixed(point.kept_g_d, 3), None,
            Fixed(point.bound_g_d, 3), unit,
        )  # fmt: skip
