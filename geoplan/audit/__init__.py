"""
The audit: a separate judge of a written plan.

It judges what the file says against the raw site data, and shares no computation with the
planner: it has its own projection, bed, edges, distances and sums. It never raises on a bad
plan; whatever is wrong becomes a finding in words.
"""

from collections.abc import Callable, Iterator

from geoplan.audit.effect import check_effect
from geoplan.audit.evidence import Case, case_of
from geoplan.audit.footprints import (
    check_bank,
    check_depth,
    check_depth_claim,
    check_size,
    check_survey,
    check_water,
)
from geoplan.audit.handling import check_handling
from geoplan.audit.headings import check_heading
from geoplan.audit.hulls import check_draft, check_freeboard
from geoplan.audit.lines import check_mooring
from geoplan.audit.materials import check_materials
from geoplan.audit.neighbours import check_gap, check_inflow, check_keep_clear, check_outlet
from geoplan.audit.posts import check_post
from geoplan.audit.shares import check_share
from geoplan.audit.strength import check_capacity, check_load
from geoplan.audit.sums import check_budget, check_cap, check_cover, check_stock
from geoplan.audit.sun import check_sun
from geoplan.audit.tapes import check_tape
from geoplan.audit.towing import check_towing
from geoplan.audit.tows import check_route
from geoplan.audit.waves import check_waves
from geoplan.audit.why import check_why_not
from geoplan.plan import AuditReport, Finding
from geoplan.site import Site
from geoplan.written import WrittenPlan

__all__ = [
    "CHECKS",
    "PLACE_CHECKS",
    "Case",
    "Check",
    "audit_places",
    "audit_plan",
    "check_record",
]

#: One check: from the plan and the evidence to findings.
Check = Callable[[Case], Iterator[Finding]]


def check_record(case: Case) -> Iterator[Finding]:
    """
    Give out what was found on sorting the rows of the file.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Rows that cannot be judged, each failed; a single passed one where there are none.
    """
    yield from case.record


#: Every check by the name of its rule. Placement rules have their twin here by the same name.
CHECKS: dict[str, Check] = {
    "record": check_record,
    "water": check_water,
    "size": check_size,
    "bank": check_bank,
    "depth": check_depth,
    "depth_claim": check_depth_claim,
    "survey": check_survey,
    "gap": check_gap,
    "keep_clear": check_keep_clear,
    "outlet": check_outlet,
    "inflow": check_inflow,
    "sun": check_sun,
    "heading": check_heading,
    "cover": check_cover,
    "stock": check_stock,
    "budget": check_budget,
    "share": check_share,
    "draft": check_draft,
    "freeboard": check_freeboard,
    "post": check_post,
    "mooring": check_mooring,
    "load": check_load,
    "capacity": check_capacity,
    "route": check_route,
    "towing": check_towing,
    "handling": check_handling,
    "waves": check_waves,
    "materials": check_materials,
    "tape": check_tape,
    "why_not": check_why_not,
    "effect": check_effect,
}

#: Checks that need nothing but rafts in their places: those of a plan that is still being tried.
PLACE_CHECKS: dict[str, Check] = {
    name: CHECKS[name]
    for name in (
        *("record", "water", "size", "bank", "depth", "survey", "gap", "keep_clear", "outlet"),
        *("inflow", "sun"),
    )
} | {"cover": check_cap, "stock": check_stock, "budget": check_budget, "share": check_share}


def audit_places(written: WrittenPlan, site: Site) -> AuditReport:
    """
    Judge rafts in their places, before anything is designed for them.

    Parameters
    ----------
    written : WrittenPlan
        The rafts; whatever else it holds is not looked at.
    site : Site
        The raw site.

    Returns
    -------
    AuditReport
        Findings in the order of ``PLACE_CHECKS``; posts, lines, routes and loads are not judged.
    """
    case = case_of(written, site)
    findings = (found for check in PLACE_CHECKS.values() for found in check(case))
    return AuditReport(tuple(findings))


def audit_plan(written: WrittenPlan, site: Site) -> AuditReport:
    """
    Judge a written plan against the raw data of its site.

    Parameters
    ----------
    written : WrittenPlan
        What the plan's file says, in the CRS of the file.
    site : Site
        The raw site.

    Returns
    -------
    AuditReport
        Findings in the order of ``CHECKS``, then of the water bodies and rows; what could not
        be measured is not a number, and has failed.

    Notes
    -----
    Only water bodies with rafts or written edges are judged. A bad plan gives findings and never
    an exception; a site that the readers would refuse may raise.
    """
    case = case_of(written, site)
    return AuditReport(tuple(finding for check in CHECKS.values() for finding in check(case)))
