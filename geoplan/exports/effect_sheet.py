"""
``effect.csv``: loads with and without rafts, how sure they are, and what more rafts would bring.

Where flows or concentrations were assumed no figure is grams but a share of what flows in: the
column ``unit`` says so.
"""

from collections.abc import Iterator
from pathlib import Path

from geoplan.exports.csv_text import Cell, Fixed, write_table
from geoplan.plan import AuditReport, ConstituentLoads, Effect, Plan
from geoplan.site import Site

FILE_NAME = "effect.csv"

_HEADER = (
    "water_id", "part", "item", "constituent", "raft_count", "cover_pct", "cost", "value",
    "lowest", "highest", "unit",
)  # fmt: skip


_DECIMALS = 6


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
    rows = (
        (water.water_id, *row)
        for water in plan.waters
        if water.effect is not None
        for row in _rows(water.effect)
    )
    write_table(folder / FILE_NAME, _HEADER, rows)


def knows_grams(effect: Effect | None) -> bool:
    """
    Tell whether what rafts take out may be given in grams.

    Parameters
    ----------
    effect : Effect or None
        Effect of the plan of a water body.

    Returns
    -------
    bool
        False where a flow or a concentration was assumed, or nothing is known.
    """
    return effect is not None and not effect.is_relative


def _rows(effect: Effect) -> Iterator[tuple[Cell, ...]]:
    """Yield the rows of one water body."""
    name = effect.constituent
    unit = _unit(name, is_relative=effect.is_relative)
    scale = 1.0 / max(effect.load_in_g_d, 1e-300) if effect.is_relative else 1.0
    for part in effect.constituents:
        yield from _loads(part)
    for case in effect.sensitivity:
        yield (
            "assumption", case.name, name, None, None, None,
            Fixed(case.kept_g_d * scale, _DECIMALS), None,
            Fixed(case.bound_g_d * scale, _DECIMALS), unit,
        )  # fmt: skip
    for point in effect.curve:
        yield (
            "number of rafts", "this plan" if point.is_chosen else "", name, point.raft_count,
            Fixed(point.cover_pct, 2), Fixed(point.cost, 2),
            Fixed(point.kept_g_d * scale, _DECIMALS), None,
            Fixed(point.bound_g_d * scale, _DECIMALS), unit,
        )  # fmt: skip


def _unit(constituent: str, *, is_relative: bool) -> str:
    """Return the unit of loads."""
    if is_relative:
        return "share of what flows in"
    return "million/d" if constituent == "ecoli" else "g/d"


def _loads(part: ConstituentLoads) -> Iterator[tuple[Cell, ...]]:
    """Yield the loads of one constituent, and the rates that they rest on."""
    scale = 1.0 / max(part.load_in_g_d, 1e-300) if part.is_relative else 1.0
    unit = _unit(part.constituent, is_relative=part.is_relative)

    def row(item: str, value: float, ends: tuple[float, ...], wording: str) -> tuple[Cell, ...]:
        figures: list[Cell] = [Fixed(number, _DECIMALS) for number in (value, *ends)]
        figures += [None] * (3 - len(figures))
        return ("load", item, part.constituent, None, None, None, *figures, wording)

    yield row("flows in", part.load_in_g_d * scale, (), unit)
    yield row("leaves without rafts", part.load_out_without_rafts_g_d * scale, (), unit)
    yield row("leaves with rafts", part.load_out_g_d * scale, (), unit)
    span = tuple(value * scale for value in part.removed_range_g_d)
    yield row("kept back by rafts", part.removed_g_d * scale, span, unit)
    yield row("rate of planted raft", part.rate_m_yr, part.rate_range_m_yr, "m/yr")
    yield row("rate of open water", part.settling_m_yr, (), "m/yr")
