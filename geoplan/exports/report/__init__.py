"""
``report.pdf`` and ``report.html``: the regulator's report, in two forms from one content.

It says what was found and assumed, and how sure it is; it never says more than the plan does.
"""

from dataclasses import replace

from geoplan.exports.report.basis import IN_FULL, site_basis, summary
from geoplan.exports.report.claims import cover, effect
from geoplan.exports.report.content import Report
from geoplan.exports.report.drainage import drainage
from geoplan.exports.report.moorings import moorings
from geoplan.exports.report.record import assumptions, findings, provenance
from geoplan.exports.report.works import drawings, launching, schedule, upkeep
from geoplan.plan import AuditReport, Plan
from geoplan.site import Site

__all__ = ["report_of"]


def report_of(plan: Plan, site: Site, audit: AuditReport | None) -> Report:
    """
    Return the content of the report.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site it was made from.
    audit : AuditReport or None
        Verdict on the plan.

    Returns
    -------
    Report
        Every section, in order.
    """
    part = replace(plan, waters=tuple(plan.waters[:IN_FULL]))
    shown = {water.water_id for water in part.waters}
    known = site.by_id
    some = replace(site, water_bodies=tuple(known[name] for name in known if name in shown))
    return Report(
        f"{plan.site_name}: floating planted rafts",
        (
            *summary(plan, site, audit),
            *site_basis(part, some),
            *drawings(plan, site),
            *schedule(part, some),
            *cover(part, some),
            *effect(part, some),
            *drainage(part, some),
            *moorings(part, some),
            *launching(part, some),
            *upkeep(part, some),
            *assumptions(plan, site),
            *findings(audit),
            *provenance(plan, site),
        ),
    )
