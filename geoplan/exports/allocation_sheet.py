"""``allocation.csv``: which water body gets which rafts, what they are worth, and why."""

from collections.abc import Iterator
from pathlib import Path

from geoplan.district import Allocation, PolicyWorth, WaterShare
from geoplan.exports.csv_text import Cell, Fixed, write_table
from geoplan.plan import AuditReport, Plan
from geoplan.site import Site

FILE_NAME = "allocation.csv"

_HEADER = (
    "kind",
    "name",
    "ward",
    "wanted",
    "rafts",
    "raft_count",
    "placed_count",
    "cover_pct",
    "cost",
    "worth",
    "worth_bound",
    "most_worth",
    "next_worth",
    "least",
    "most",
    "used",
    "price_of_one_more",
    "unit",
    "why",
)


def write(
    plan: Plan,
    site: Site,  # noqa: ARG001 - exports are called alike
    folder: Path,
    audit: AuditReport | None,  # noqa: ARG001 - exports are called alike
) -> None:
    """
    Write ``allocation.csv``; of a lone water body the header alone.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        Not used.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Not used.

    Raises
    ------
    ExportError
        If the file cannot be written.
    """
    write_table(folder / FILE_NAME, _HEADER, _rows(plan))


def rafts_text(counts: tuple[tuple[str, int], ...]) -> str:
    """
    Return rafts by type in words.

    Parameters
    ----------
    counts : tuple of (str, int)
        Type and number.

    Returns
    -------
    str
        Such as ``3 × four by two; 1 × three by three``.

    Examples
    --------
    >>> rafts_text((("four by two", 3),))
    '3 × four by two'
    """
    return "; ".join(f"{count} × {name}" for name, count in counts)


def _rows(plan: Plan) -> Iterator[tuple[Cell, ...]]:
    """Yield a row for each water body, for each limit, for the sum, and for other ways to share."""
    if plan.allocation is None:
        return
    placed = {
        water.water_id: sum(raft.status == "planned" for raft in water.rafts)
        for water in plan.waters
    }
    allocation = plan.allocation
    for share in allocation.shares:
        yield _share_row(share, placed.get(share.water_id), allocation.unit_of(share))
    for limit in allocation.limits:
        amounts = (limit.least, limit.most, limit.used, limit.price, allocation.shown_unit, "")
        yield (limit.kind, limit.name, *[None] * 11, *amounts)
    yield _sum_row(allocation, sum(placed.values()))
    for policy in allocation.policies:
        yield _policy_row(policy, allocation)


def _share_row(share: WaterShare, placed: int | None, unit: str) -> tuple[Cell, ...]:
    """Return the row of a water body."""
    return (
        "water",
        share.water_id,
        share.ward,
        share.wanted,
        rafts_text(share.counts),
        share.raft_count,
        placed,
        Fixed(share.cover_pct, 2),
        share.cost,
        share.worth,
        share.worth_bound,
        share.most_worth,
        share.next_worth,
        None,
        None,
        None,
        None,
        unit,
        share.why,
    )


def _sum_row(allocation: Allocation, placed: int) -> tuple[Cell, ...]:
    """Return the row of the whole district."""
    why = (
        f"at most {allocation.gap_pct:.3g} % below the best other numbers of rafts, and"
        f" {allocation.district_gap_pct:.3g} % below the best plan that may be"
    )
    return (
        "total",
        "all water bodies",
        "",
        "",
        "",
        sum(share.raft_count for share in allocation.shares),
        placed,
        None,
        sum(share.cost for share in allocation.shares),
        allocation.value,
        allocation.bound,
        None,
        None,
        None,
        None,
        None,
        None,
        allocation.shown_unit,
        why,
    )


def _policy_row(policy: PolicyWorth, allocation: Allocation) -> tuple[Cell, ...]:
    """Return the row of a simple way to share out, with what the plan is worth beside it."""
    why = "worth nothing"
    if policy.value > 0:
        times = allocation.value / policy.value
        why = f"the plan is worth {times:.3f} times as much from the same stock and budget"
    counts = (policy.raft_count, None, None, policy.cost, policy.value)
    return ("policy", policy.name, *[None] * 3, *counts, *[None] * 7, allocation.shown_unit, why)
