"""Sections on the record: assumptions, uncertainty, audit, provenance."""

import platform
from collections.abc import Iterator
from importlib.metadata import version
from itertools import chain, islice

from geoplan.crs import proj_version
from geoplan.errors import said_by_kind
from geoplan.exports.report.content import Block, Bullets, Grid, Heading, Text, Value, grid
from geoplan.plan import AuditReport, Finding, Plan
from geoplan.settings import defaults_used
from geoplan.site import Site

#: Findings that fail, or hold, printed one by one (plan.gpkg has all), and notes that are printed.
_MOST, _NOTES = 400, 200


def assumptions(plan: Plan, site: Site) -> Iterator[Block]:
    """
    Yield every default that was used, every note, and what is uncertain by how much.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site.

    Yields
    ------
    Block
        Words and tables.
    """
    yield Heading("Assumptions and defaults")
    rows: list[tuple[Value, ...]] = [
        (used.key, used.value[:60], used.source) for used in defaults_used(site.settings)
    ]
    yield grid(
        "Not stated by the site, and what stood in for it", ("setting", "used", "source"), rows
    )
    every = chain(site.notes, (note for water in plan.waters for note in water.notes))
    notes = said_by_kind(every)
    if notes:
        yield Heading("What a reader must know", 2)
        yield Bullets(notes[:_NOTES])
    if len(notes) > _NOTES:
        yield Text(f"{len(notes) - _NOTES} more kinds of note stand in plan.json.")
    yield Heading("Uncertainty")
    yield Grid(
        "What each figure is uncertain by, and where that comes from",
        ("figure", "uncertain by", "from"),
        (
            ("depth relied on", "wrong in 1 of 100 places", "survey and interpolation, 2.33 s"),
            ("percent cover", "stated beside it at 95 %", "edge and raft sides; level apart"),
            ("kept back", "a factor of two or more", "areal rates; flows; steady state"),
            ("sun hours", "1 % of what is given", "trees that grow and hills are not in it"),
            ("wave height", "tens of per cent", "two methods; not calibrated on short fetch"),
            ("position when built", "as surveyed; a phone is wrong by 4 m", "as-built survey"),
            ("value against the best possible", "proven bound, stated", "plan.json"),
        ),
        (False, False, False),
    )


def findings(audit: AuditReport | None) -> Iterator[Block]:
    """
    Yield the audit.

    Parameters
    ----------
    audit : AuditReport or None
        Verdict on the plan.

    Yields
    ------
    Block
        Failures first, then a count by rule, then what holds; no more than 400 of each.
    """
    yield Heading("Audit")
    if audit is None:
        yield Text("The plan has not been audited.")
        return
    failed = audit.failed
    held = list(islice((one for one in audit.findings if one.passed), _MOST))
    header = ("rule", "water body", "raft", "measured", "limit", "unit", "in words")
    if failed:
        yield grid("Checks that FAIL", header, [_finding(one) for one in failed[:_MOST]])
    if len(failed) > _MOST:
        yield Text(f"{len(failed) - _MOST} more that FAIL stand in plan.gpkg, layer findings.")
    yield grid(
        "By rule",
        ("rule", "hold", "fail"),
        [(name.replace("_", " "), hold, fail) for name, (hold, fail) in audit.counts.items()],
    )
    yield grid("Checks that hold", header, [_finding(one) for one in held])
    more = len(audit.findings) - len(failed) - len(held)
    if more:
        yield Text(f"{more} more that hold stand in plan.gpkg, layer findings.")


def _finding(one: Finding) -> tuple[Value, ...]:
    """Return the line of one finding."""
    return (
        one.check.replace("_", " "), one.water_id, one.raft_id, f"{one.measured:.4g}",
        f"{one.limit:.4g}", one.unit, one.detail,
    )  # fmt: skip


def provenance(plan: Plan, site: Site) -> Iterator[Block]:
    """
    Yield what the report was made from and by.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site.

    Yields
    ------
    Block
        Inputs with their hashes, versions and seed.
    """
    yield Heading("Provenance")
    yield Text(
        f"Made by geoplan {version('geoplan')} with Python {platform.python_version()},"
        f" shapely {version('shapely')}, PROJ {proj_version()}; seed {plan.seed}. The same input"
        " and versions give this report byte for byte; it carries no date of its own. Settings in"
        " force stand in plan.json. Whoever doubts the plan runs: geoplan audit, on this folder."
    )
    yield grid(
        "Files read",
        ("file", "SHA-256"),
        [(source.path, source.sha256) for source in site.sources],
    )
