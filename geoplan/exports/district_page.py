"""
``district.html``: who gets what and why, as a picture with a table; the way to each water body.

No network; texts of the site are escaped; one script of our own searches and sorts the table, which
is whole without it. A disc stands for a water body: its area
for what rafts could bring there at most, the filled part for what those it gets bring.
"""

import html
import math
from collections.abc import Iterator, Sequence
from pathlib import Path

from geoplan.district import Allocation, LimitUse, WaterShare
from geoplan.exports import web_map
from geoplan.exports.allocation_sheet import rafts_text
from geoplan.exports.district_table import figure, findings_words, table
from geoplan.exports.page_files import page_asset, page_head, page_policy, write_page
from geoplan.plan import AuditReport, Plan, WaterFailure
from geoplan.site import Site

FILE_NAME = "district.html"

_WIDTH, _HEIGHT, _MARGIN = 900.0, 620.0, 46.0
_LARGEST, _LEAST = 24.0, 2.5
#: Failures told in the open; more are folded away. *Judgement*.
_FEW = 5


def write(
    plan: Plan,
    site: Site,
    folder: Path,
    audit: AuditReport | None,
) -> None:
    """
    Write ``district.html``.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site, for the cover that is allowed.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Verdict, for the findings.

    Raises
    ------
    ExportError
        If the file cannot be written.
    """
    write_page(folder / FILE_NAME, _page(plan, site, audit))


def _page(plan: Plan, site: Site, audit: AuditReport | None) -> Iterator[str]:
    """Yield the lines of the page."""
    title = f"{plan.site_name}: who gets what"
    style, script = (page_asset("district_assets", name) for name in ("page.css", "page.js"))
    yield page_head(title, style, policy=page_policy((script,), (style,), "'none'"))
    yield f"<body>\n<header><h1>{html.escape(title)}</h1></header>\n<main>"
    if audit is not None:
        yield from _verdict(audit)
    yield from _failures(plan.failures)
    if plan.allocation is None:
        yield "<p>One water body alone: nothing was shared out.</p>"
        yield f'<p><a href="{web_map.FILE_NAME}">Its map</a></p>'
    else:
        pages = {
            water_id: name for name, shown in web_map.pages_of(plan.water_ids) for water_id in shown
        }
        most = {body.water_id: body.max_cover_pct for body in site.water_bodies}
        yield from _summary(plan.allocation)
        yield "<h2>Water bodies</h2>"
        yield from table(plan.allocation, pages, most, audit)
        yield from _picture_part(plan, plan.allocation)
        yield from _limits(plan.allocation.limits, html.escape(plan.allocation.shown_unit))
    yield f"</main>\n<script>{script}</script>\n</body>\n</html>"


def _verdict(audit: AuditReport) -> Iterator[str]:
    """Yield what the audit says of the whole, in words."""
    if audit.passed:
        yield f"<p>Audit: passed, all {len(audit.findings)} checks hold.</p>"
        return
    failed = audit.failed
    waters = len({finding.water_id for finding in failed if finding.water_id})
    where = f", in {waters} water bod{'ies' if waters > 1 else 'y'}" if waters else ""
    yield (
        f'<p class="bad">Audit: FAILED. {len(failed)} of {len(audit.findings)} checks do not'
        f" hold{where}; each is told in its row below.</p>"
    )
    whole = [finding for finding in failed if not finding.water_id]
    if whole:
        yield f"<p>Of the district: {html.escape(findings_words(whole))}.</p>"


def _failures(failures: Sequence[WaterFailure]) -> Iterator[str]:
    """Yield the water bodies that could not be planned, folded away where they are many."""
    lines = [
        f"<li><b>{html.escape(failure.water_id)}</b>: {html.escape(failure.reason)}</li>"
        for failure in failures
    ]
    words = f"{len(lines)} water bod{'ies' if len(lines) > 1 else 'y'} could not be planned"
    if len(lines) > _FEW:
        yield f'<details>\n<summary class="bad">{words}</summary>\n<ul>'
        yield from lines
        yield "</ul>\n</details>"
    elif lines:
        yield f'<p class="bad">{words}:</p>\n<ul>'
        yield from lines
        yield "</ul>"


def _summary(allocation: Allocation) -> Iterator[str]:
    """Yield what the district gets as a whole."""
    unit = html.escape(allocation.shown_unit)
    of_it = " (relative, no load)" if unit == "relative" else f" {unit}"
    count = sum(share.raft_count for share in allocation.shares)
    some = sum(share.raft_count > 0 for share in allocation.shares)
    yield (
        f"<p>{count} rafts for {some} of {len(allocation.shares)} water bodies, worth"
        f" {figure(allocation.value, 4)}{of_it} at least: at most"
        f" {allocation.gap_pct:.2g} % below the best other numbers of rafts, and"
        f" {allocation.district_gap_pct:.2g} % below the best plan that may be.</p>"
    )
    relative = sum(share.is_relative for share in allocation.shares)
    if relative:
        yield (
            f"<p>Flows or loads of {relative} water bodies were not measured: what rafts are worth"
            " there is relative, and no sum with it is in grams.</p>"
        )


def _picture_part(plan: Plan, allocation: Allocation) -> Iterator[str]:
    """Yield the picture and what its signs mean."""
    yield "<h2>Where they lie</h2>"
    yield '<div class="wide" role="region" tabindex="0" aria-label="Map of shares">'
    yield from _picture(plan, allocation.shares)
    yield "</div>"
    yield (
        "<p>Light disc: what rafts could bring at most. Dark part: what those it gets bring."
        " Ring: nothing to be had. Dashes: order of the crew from the yard. North is up."
        " A search in the table fades the others here.</p>"
    )


def _picture(plan: Plan, shares: Sequence[WaterShare]) -> Iterator[str]:
    """Yield the drawing: discs where the water bodies lie."""
    middle = math.radians(sum(share.latitude_deg for share in shares) / max(1, len(shares)))
    places = {s.water_id: (s.longitude_deg * math.cos(middle), s.latitude_deg) for s in shares}
    xs, ys = [x for x, _ in places.values()], [y for _, y in places.values()]
    span = max(max(xs) - min(xs), (max(ys) - min(ys)) * 1.4, 1e-9)
    scale = min(
        (_WIDTH - 2 * _MARGIN) / max(max(xs) - min(xs), span / 3),
        (_HEIGHT - 2 * _MARGIN) / max(max(ys) - min(ys), span / 3),
    )

    def at(water_id: str) -> tuple[float, float]:
        x, y = places[water_id]
        return (
            _WIDTH / 2 + (x - (max(xs) + min(xs)) / 2) * scale,
            _HEIGHT / 2 - (y - (max(ys) + min(ys)) / 2) * scale,
        )

    yield (
        f'<svg viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" role="img">'
        "<title>Water bodies, what rafts could bring there and what they do</title>"
    )
    if plan.logistics is not None:
        stops = [at(v.water_id) for v in plan.logistics.visits if v.water_id in places]
        yield (
            '<polyline class="way" points="'
            + " ".join(f"{x:.1f},{y:.1f}" for x, y in stops)
            + '"/>'
        )
    most = max((share.most_worth for share in shares), default=0.0) or 1.0
    largest = min(_LARGEST, 0.4 * math.sqrt(_WIDTH * _HEIGHT / max(1, len(shares))))
    row = {share.water_id: number for number, share in enumerate(shares)}
    for share in sorted(shares, key=lambda share: (-share.most_worth, share.water_id)):
        yield f'<g data-n="{row[share.water_id]}">'
        yield from _disc(share, at(share.water_id), largest, most)
        yield "</g>"
    yield "</svg>"


def _disc(
    share: WaterShare, place: tuple[float, float], largest: float, most: float
) -> Iterator[str]:
    """Yield the disc of one water body, with its words."""
    x, y = place
    words = html.escape(f"{share.water_id}: {rafts_text(share.counts) or 'no raft'}")
    radius = max(_LEAST, largest * math.sqrt(share.most_worth / most))
    kind = "room" if share.most_worth > 0 else "none"
    disc = f'cx="{x:.1f}" cy="{y:.1f}"'
    yield f'<title>{words}</title><circle class="{kind}" {disc} r="{radius:.2f}"/>'
    if share.raft_count and share.most_worth > 0:
        inner = radius * math.sqrt(min(1.0, share.worth / share.most_worth))
        yield f'<circle class="got" {disc} r="{max(1.0, inner):.2f}"/>'


def _limits(limits: Sequence[LimitUse], unit: str) -> Iterator[str]:
    """Yield the table of what all share."""
    yield "<h2>Limits and prices</h2>"
    yield '<div class="wide" role="region" tabindex="0" aria-label="Table of limits">\n<table>'
    yield (
        '<tr><th scope="col">limit</th><th scope="col">least</th><th scope="col">most</th>'
        '<th scope="col">used</th>'
        f'<th scope="col">one more would bring at most [{unit}]</th></tr>'
    )
    for limit in limits:
        name = html.escape(
            f"{limit.kind}: {limit.name}" if limit.kind != limit.name else limit.name
        )
        least, most = ("" if value is None else f"{value:g}" for value in (limit.least, limit.most))
        yield (
            f"<tr><th scope=row>{name}</th><td>{least}</td><td>{most}</td><td>{limit.used:g}</td>"
            f"<td>{_at_most(limit.price)}</td></tr>"
        )
    yield "</table>\n</div>"


def _at_most(value: float) -> str:
    """Return a number for people, never below what it is."""
    text = figure(-value)
    return text.removeprefix("-") if value > 0 else text if value == 0 else f"-{text}"
