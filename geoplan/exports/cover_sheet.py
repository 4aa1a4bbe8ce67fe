"""
``cover.csv``: percent of the surface that rafts cover, by water body and level.

Limits hold for the normal pool. Percents are rounded up, so that none is met by rounding.
"""

import math
from array import array
from collections.abc import Iterator, Mapping
from pathlib import Path

from geoplan.exports.csv_text import Cell, Fixed, write_table
from geoplan.plan import AuditReport, Plan, WaterPlan
from geoplan.site import Site

FILE_NAME = "cover.csv"

_HEADER = (
    "water_id",
    "name",
    "level_name",
    "level_m",
    "raft_area_m2",
    "planted_area_m2",
    "existing_raft_area_m2",
    "water_area_m2",
    "cover_pct",
    "doubt_95_pct",
    "limit_pct",
    "within_limit",
)

#: Two-sided 95 % of a normal distribution [1].
TWO_SIDED_95 = 1.96
#: Room for the rounding of a division [%].
_ROUNDING_PCT = 1e-9
#: Status of rafts whose planted area counts.
_COUNTED = ("planned", "existing")
#: Of one water body at one level: rafts and water [m²], doubt of the cover [%], limit kept.
_Part = tuple[float, float, float, bool]


def write(
    plan: Plan,
    site: Site,
    folder: Path,
    audit: AuditReport | None,  # noqa: ARG001 - exports are called alike
) -> None:
    """
    Write ``cover.csv``.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site, for the limit of each water body.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Not used: the sheet states what the plan says.

    Raises
    ------
    ExportError
        If the file cannot be written.
    """
    write_table(folder / FILE_NAME, _HEADER, _rows(plan, site))


def rounded_up_pct(cover_pct: float) -> float:
    """
    Return a percent rounded up to one decimal.

    Parameters
    ----------
    cover_pct : float
        Percent [%].

    Returns
    -------
    float
        The next tenth, never below; the rounding of a division, 1e-8, is let pass [%].

    Examples
    --------
    >>> rounded_up_pct(20.01), rounded_up_pct(20.0), rounded_up_pct(20.000000000001)
    (20.1, 20.0, 20.0)
    """
    return math.ceil(cover_pct * 10 - 1e-7) / 10


def is_within(cover_pct: float, limit_pct: float) -> bool:
    """
    Tell whether cover keeps a limit, judged before any rounding.

    Parameters
    ----------
    cover_pct, limit_pct : float
        Cover and the most allowed [%].

    Returns
    -------
    bool
        True where the cover is not above the limit.

    Examples
    --------
    >>> is_within(20.0, 20.0), is_within(20.001, 20.0)
    (True, False)
    """
    return cover_pct <= limit_pct + _ROUNDING_PCT


def limits_pct(site: Site) -> dict[str, float]:
    """
    Return the most that rafts may cover of each normal pool.

    Parameters
    ----------
    site : Site
        The site.

    Returns
    -------
    dict of str to float
        By ``water_id`` [%].
    """
    return {body.water_id: body.max_cover_pct for body in site.water_bodies}


def _rows(plan: Plan, site: Site) -> Iterator[tuple[Cell, ...]]:
    """Yield the rows of each water body, then those of all, whose limits are kept one by one."""
    limits = limits_pct(site)
    by_level: dict[str, list[_Part]] = {"low": [], "normal": [], "high": []}
    planted_m2, existing_m2 = array("d"), array("d")
    for water in plan.waters:
        yield from _water_rows(water, limits.get(water.water_id))
        planted_m2.extend(raft.planted_area_m2 for raft in water.rafts if raft.status in _COUNTED)
        existing_m2.extend(raft.area_m2 for raft in water.rafts if raft.status == "existing")
        limit = limits.get(water.water_id, 100.0)
        for one in water.cover:
            keeps = is_within(one.cover_pct, limit)
            by_level[one.level_name].append(
                (one.raft_area_m2, one.water_area_m2, one.sigma_pct, keeps)
            )
    yield from _total_rows(by_level, math.fsum(planted_m2), math.fsum(existing_m2))


def _water_rows(water: WaterPlan, limit_pct: float | None) -> Iterator[tuple[Cell, ...]]:
    """Yield a row for each level of a water body."""
    planted_m2 = math.fsum(raft.planted_area_m2 for raft in water.rafts)
    existing_m2 = math.fsum(raft.area_m2 for raft in water.rafts if raft.status == "existing")
    for cover in (*water.cover, *water.asked_cover):
        limit = limit_pct if cover.level_name == "normal" else None
        yield (
            water.water_id,
            water.name,
            cover.level_name,
            Fixed(cover.level_m, 3),
            Fixed(cover.raft_area_m2, 2),
            Fixed(planted_m2, 2),
            Fixed(existing_m2, 2),
            Fixed(cover.water_area_m2, 2),
            Fixed(rounded_up_pct(cover.cover_pct), 1),
            Fixed(TWO_SIDED_95 * cover.sigma_pct, 2),
            limit,
            None if limit is None else is_within(cover.cover_pct, limit),
        )


def _total_rows(
    by_level: Mapping[str, list[_Part]], planted_m2: float, existing_m2: float
) -> Iterator[tuple[Cell, ...]]:
    """Yield the sum of all water bodies at each level."""
    for level_name, parts in by_level.items():
        rafts = math.fsum(raft_m2 for raft_m2, *_ in parts)
        surface = math.fsum(water_m2 for _, water_m2, *_ in parts)
        yield (
            "total",
            "all water bodies",
            level_name,
            None,
            Fixed(rafts, 2),
            Fixed(planted_m2, 2),
            Fixed(existing_m2, 2),
            Fixed(surface, 2),
            Fixed(rounded_up_pct(100 * rafts / surface), 1) if surface > 0 else None,
            Fixed(TWO_SIDED_95 * _sigma_pct(parts, surface), 2) if surface > 0 else None,
            None,
            all(keeps for *_, keeps in parts) if level_name == "normal" else None,
        )


def _sigma_pct(parts: list[_Part], surface_m2: float) -> float:
    """Return the doubt of a sum of water bodies, their errors taken as independent."""
    shares = (sigma_pct * water_m2 / surface_m2 for _, water_m2, sigma_pct, _ in parts)
    return math.hypot(*shares)
