"""
Rules and cover, held against rafts as they lie, with the error of the survey carried through.

The audit judges twice: at the fitted place, and with each raft grown by all that its place may be
wrong by. What holds even so, holds; what fails at the fitted place, fails; between the two the
survey cannot tell.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import shapely
from shapely.geometry import Polygon

from geoplan.asbuilt.holding import holding_findings
from geoplan.asbuilt.lay import TWO_SIDED_95
from geoplan.asbuilt.record import SurveyedRaft, SurveyFinding, Verdict
from geoplan.audit import CHECKS
from geoplan.audit.evidence import case_of
from geoplan.cover import surface_cover
from geoplan.crs import WGS84, transformed, working_crs
from geoplan.plan import Cover, Finding, WaterEdge
from geoplan.site import Site
from geoplan.written import WrittenPlan, WrittenRaft

#: Rules that a raft's place alone decides.
PLACE_CHECKS = (
    "water", "bank", "depth", "survey", "gap", "keep_clear", "outlet", "inflow", "sun",
)  # fmt: skip
#: Rules on sums, which an error of place does not touch; cover is judged by ``cap_finding``.
SUM_CHECKS = ("stock",)
#: One-sided 95 % of a normal distribution [1].
ONE_SIDED_95 = 1.645
#: Doubt of a heading that was taken from the plan, one standard deviation [°]; see ``fit``.
_UNMEASURED_DEG = 5.0


def judged(
    rafts: Sequence[SurveyedRaft], written: WrittenPlan, site: Site
) -> tuple[SurveyFinding, ...]:
    """
    Hold every rule of place and sum against rafts as they lie.

    Parameters
    ----------
    rafts : sequence of SurveyedRaft
        Every raft that was fixed.
    written : WrittenPlan
        The plan as it stands in its file.
    site : Site
        The raw site.

    Returns
    -------
    tuple of SurveyFinding
        In the order of the rules.
    """
    site = _without(site, {raft.raft_id for raft in rafts})
    fitted = list(_findings(_as_lying(rafts, written, grown=False), site))
    worst = list(_findings(_as_lying(rafts, written, grown=True), site))
    left: dict[tuple[str, str, str], list[Finding]] = {}
    for finding in worst:
        left.setdefault((finding.check, finding.water_id, finding.raft_id), []).append(finding)
    error_m = {raft.raft_id: growth_m(raft) for raft in rafts}
    out = []
    for finding in fitted:
        others = left.get((finding.check, finding.water_id, finding.raft_id), [])
        other = others.pop(0) if others and finding.check in PLACE_CHECKS else finding
        out.append(_both(finding, other, error_m.get(finding.raft_id, 0.0)))
    lying = _as_lying(rafts, written, grown=False)
    # A length needed errs the other way than a distance kept: no error of it lets a failure pass.
    out += [
        _both(found, other, -math.inf)
        for found, other in holding_findings(lying, written, site, error_m)
    ]
    return tuple(out)


def growth_m(raft: SurveyedRaft) -> float:
    """
    Return how far any point of a raft may lie from where it was fitted, 19 times in 20.

    Parameters
    ----------
    raft : SurveyedRaft
        The raft.

    Returns
    -------
    float
        Error of the centre, and what a turn adds at the corners [m].
    """
    turn_deg = (
        raft.turned_doubt_deg
        if raft.turned_doubt_deg is not None
        else TWO_SIDED_95 * _UNMEASURED_DEG
    )
    reach_m = math.hypot(raft.length_m, raft.width_m) / 2.0
    return raft.half_axis_major_m + reach_m * 2.0 * math.sin(math.radians(min(turn_deg, 180)) / 2)


def cover_as_built(
    water_id: str, rafts: Sequence[SurveyedRaft], written: WrittenPlan, site: Site
) -> tuple[Cover, ...]:
    """
    Return the cover of one water body under the rafts that lie there.

    Parameters
    ----------
    water_id : str
        The water body.
    rafts : sequence of SurveyedRaft
        Every raft that was fixed.
    written : WrittenPlan
        The plan, for the edges and for existing rafts that nobody fixed.
    site : Site
        The raw site.

    Returns
    -------
    tuple of Cover
        One for each level of the plan.
    """
    rows = [edge for edge in written.edges if edge.water_id == water_id]
    centre = transformed(rows[0].outline, written.crs, WGS84).centroid
    crs = working_crs(centre.x, centre.y)
    fixed = {raft.raft_id for raft in rafts}
    outlines = [
        transformed(raft.outline, written.crs, crs) for raft in rafts if raft.water_id == water_id
    ]
    outlines += [
        transformed(raft.outline, body.crs, crs)
        for body in site.water_bodies
        if body.water_id == water_id
        for raft in body.rafts
        if raft.raft_id not in fixed
    ]
    edges = [
        WaterEdge(
            row.level_name,
            row.level_m,
            transformed(row.outline, written.crs, crs),
            row.area_m2,
            row.volume_m3,
        )
        for row in rows
    ]
    return surface_cover(edges, outlines, crs)


def cap_finding(water_id: str, covers: Sequence[Cover], site: Site) -> SurveyFinding:
    """
    Hold the cover of the normal pool against its limit, with the doubt of the cover.

    Parameters
    ----------
    water_id : str
        The water body.
    covers : sequence of Cover
        Its cover by level.
    site : Site
        The raw site.

    Returns
    -------
    SurveyFinding
        Cover [%]; at worst 1.645 standard deviations more of it.
    """
    limit = next(one.max_cover_pct for one in site.water_bodies if one.water_id == water_id)
    normal = next(one for one in covers if one.level_name == "normal")
    worst = normal.cover_pct + ONE_SIDED_95 * normal.sigma_pct
    verdict: Verdict = "cannot be told"
    if normal.cover_pct > limit:
        verdict = "fails"
    elif worst <= limit:
        verdict = "holds"
    words = (
        f"{normal.cover_pct:.2f} % of the normal pool is covered, {worst:.2f} % at most;"
        f" {limit:g} % allowed"
    )
    return SurveyFinding("cover", water_id, "", normal.cover_pct, worst, limit, "%", verdict, words)


def _without(site: Site, fixed: set[str]) -> Site:
    """Return the site without the existing rafts that were surveyed anew."""
    bodies = tuple(
        replace(body, rafts=tuple(raft for raft in body.rafts if raft.raft_id not in fixed))
        for body in site.water_bodies
    )
    return replace(site, water_bodies=bodies)


def _as_lying(rafts: Sequence[SurveyedRaft], written: WrittenPlan, *, grown: bool) -> WrittenPlan:
    """Return the plan with the rafts that were fixed in the place of those planned."""
    rows = tuple(
        WrittenRaft(
            raft_id=raft.raft_id,
            water_id=raft.water_id,
            raft_type=raft.raft_type,
            status="as_built",
            outline=_grown(raft.outline, growth_m(raft)) if grown else raft.outline,
            length_m=raft.length_m,
            width_m=raft.width_m,
            depth_low_m=None,
        )
        for raft in rafts
    )
    return replace(written, rafts=rows, moorings=(), routes=())


def _grown(outline: Polygon, by_m: float) -> Polygon:
    """Return an outline grown on every side; a mitre holds all that a round one would."""
    out = shapely.buffer(outline, by_m, join_style="mitre")
    return out if isinstance(out, Polygon) else outline


def _findings(written: WrittenPlan, site: Site) -> Iterator[Finding]:
    """Yield what the audit finds by the rules of place and sum, and nothing of what was claimed."""
    case = case_of(written, site)
    for name in (*PLACE_CHECKS, *SUM_CHECKS):
        yield from CHECKS[name](case)


def _both(fitted: Finding, worst: Finding, error_m: float) -> SurveyFinding:
    """Return one finding of the two at the fitted and at the worst place."""
    verdict: Verdict = "cannot be told"
    if not fitted.passed:
        verdict = "fails"
    elif worst.passed:
        verdict = "holds"
    words = fitted.detail
    if verdict == "fails" and fitted.measured + error_m >= fitted.limit:
        words += f" (the survey may be wrong by {error_m:.2f} m: survey it again first)"
    if verdict == "cannot be told":
        words = (
            f"it holds at the fitted place; within the error of the survey it may not:"
            f" {worst.detail}. Survey it again with smaller errors."
        )
    return SurveyFinding(
        fitted.check, fitted.water_id, fitted.raft_id, fitted.measured, worst.measured,
        fitted.limit, fitted.unit, verdict, words,
    )  # fmt: skip
