"""
``district.html``: who gets what and why, as a picture with a table; the way to each water body.

No script and no network; texts of the site are escaped. A disc stands for a water body: its area
for what rafts could bring there at most, the filled part for what those it gets bring.
"""

import html
import math
from collections.abc import Iterator, Sequence
from pathlib import Path

from geoplan.district import Allocation, LimitUse, WaterShare
from geoplan.errors import ExportError
from geoplan.exports.allocation_sheet import rafts_text
from geoplan.plan import AuditReport, Plan
from geoplan.site import Site

FILE_NAME = "district.html"

_WIDTH, _HEIGHT, _MARGIN = 900.0, 620.0, 46.0
_LARGEST, _LEAST = 24.0, 2.5
_STYLE = (
    "body{font:16px/1.4 sans-serif;max-width:1000px;margin:1em auto;padding:0 1em;color:#1b1b1b}"
    "h1{font-size:1.4em}h2{font-size:1.15em}table{border-collapse:collapse;width:100%}"
    ".wide{overflow-x:auto}svg{width:100%;min-width:44rem;height:auto;border:1px solid #ccc}"
    "th,td{border-bottom:1px solid #ccc;padding:.2em .8em;text-align:right;vertical-align:top}"
    "th:first-child,td:first-child,.t{text-align:left}"
    ".room{fill:#dbe9f4;stroke:#24577d}.got{fill:#1b6f3b}.none{fill:#fff;stroke:#767676}"
    ".way{fill:none;stroke:#8a4b00;stroke-width:1.2;stroke-dasharray:5 3}"
)


def write(
    plan: Plan,
    site: Site,  # noqa: ARG001 - exports are called alike
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
        Not used.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Verdict, for the first line.

    Raises
    ------
    ExportError
        If the file cannot be written.
    """
    text = "\n".join(_page(plan, audit)) + "\n"
    try:
        (folder / FILE_NAME).write_bytes(text.encode())
    except OSError as error:
        raise ExportError(f"{folder / FILE_NAME} could not be written: {error}") from error


def _page(plan: Plan, audit: AuditReport | None) -> Iterator[str]:
    """Yield the lines of the page."""
    title = html.escape(f"{plan.site_name}: who gets what")
    yield '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">'
    yield (
        '<meta http-equiv="Content-Security-Policy"'
        " content=\"default-src 'none'; style-src 'unsafe-inline'\">"
    )
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield f"<title>{title}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n<main>"
    yield f"<h1>{title}</h1>"
    if audit is not None:
        yield f"<p>Audit: {'passed' if audit.passed else 'FAILED, see plan.json'}.</p>"
    for failure in plan.failures:
        name, reason = html.escape(failure.water_id), html.escape(failure.reason)
        yield f"<p><b>{name} could not be planned:</b> {reason}</p>"
    if plan.allocation is None:
        yield "<p>One water body alone: nothing was shared out.</p>"
    else:
        yield from _allocation(plan, plan.allocation)
    yield "</main>\n</body>\n</html>"


def _allocation(plan: Plan, allocation: Allocation) -> Iterator[str]:
    """Yield the picture, the limits and the table."""
    unit = html.escape(allocation.shown_unit)
    count = sum(share.raft_count for share in allocation.shares)
    some = sum(share.raft_count > 0 for share in allocation.shares)
    yield (
        f"<p>{count} rafts for {some} of {len(allocation.shares)} water bodies, worth"
        f" {allocation.value:.4g} {unit} at least. No other numbers of rafts bring"
        f" {allocation.gap_pct:.2g} % more; no legal plan at all brings"
        f" {allocation.district_gap_pct:.2g} % more.</p>"
    )
    yield '<div class="wide" role="region" tabindex="0" aria-label="Map of shares">'
    yield from _picture(plan, allocation.shares)
    yield "</div>"
    yield (
        "<p>Light disc: what rafts could bring at most. Dark part: what those it gets bring."
        " Ring: nothing to be had. Dashes: order of the crew from the yard. North is up.</p>"
    )
    relative = sum(share.is_relative for share in allocation.shares)
    if relative:
        yield (
            f"<p>Flows or loads of {relative} water bodies were not measured: what is worth rafts"
            " there is relative, and no sum with it is in grams.</p>"
        )
    yield from _limits(allocation.limits, unit)
    yield from _table(allocation)


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
    for share in sorted(shares, key=lambda share: (-share.most_worth, share.water_id)):
        yield from _disc(share, at(share.water_id), largest, most)
    yield "</svg>"


def _disc(
    share: WaterShare, place: tuple[float, float], largest: float, most: float
) -> Iterator[str]:
    """Yield the disc of one water body, with its words."""
    x, y = place
    words = html.escape(f"{share.water_id}: {rafts_text(share.counts) or 'no raft'}; {share.why}")
    radius = max(_LEAST, largest * math.sqrt(share.most_worth / most))
    kind = "room" if share.most_worth > 0 else "none"
    disc = f'cx="{x:.1f}" cy="{y:.1f}"'
    yield f'<g><title>{words}</title><circle class="{kind}" {disc} r="{radius:.2f}"/>'
    if share.raft_count and share.most_worth > 0:
        inner = radius * math.sqrt(min(1.0, share.worth / share.most_worth))
        yield f'<circle class="got" {disc} r="{max(1.0, inner):.2f}"/>'
    yield "</g>"


def _limits(limits: Sequence[LimitUse], unit: str) -> Iterator[str]:
    """Yield the table of what all share."""
    yield "<h2>Limits and prices</h2>\n<table>"
    yield (
        "<tr><th>limit</th><th>least</th><th>most</th><th>used</th>"
        f"<th>one more would bring at most [{unit}]</th></tr>"
    )
    for limit in limits:
        name = html.escape(
            f"{limit.kind}: {limit.name}" if limit.kind != limit.name else limit.name
        )
        least, most = ("" if value is None else f"{value:g}" for value in (limit.least, limit.most))
        yield (
            f"<tr><td>{name}</td><td>{least}</td><td>{most}</td><td>{limit.used:g}</td>"
            f"<td>{limit.price:.3g}</td></tr>"
        )
    yield "</table>"


def _table(allocation: Allocation) -> Iterator[str]:
    """Yield the table of water bodies."""
    yield "<h2>Water bodies</h2>"
    yield '<div class="wide" role="group" tabindex="0" aria-label="Table">\n<table>'
    yield (
        "<tr><th>water body</th><th class=t>rafts</th><th>cover [%]</th><th>cost</th>"
        "<th>worth</th><th class=t>unit of worth</th><th class=t>why</th></tr>"
    )
    for share in allocation.shares:
        yield (
            f"<tr><td>{html.escape(share.water_id)}</td>"
            f"<td class=t>{html.escape(rafts_text(share.counts))}</td>"
            f"<td>{share.cover_pct:.2f}</td><td>{share.cost:g}</td><td>{share.worth:.3g}</td>"
            f"<td class=t>{html.escape(allocation.unit_of(share))}</td>"
            f"<td class=t>{html.escape(share.why)}</td></tr>"
        )
    yield "</table>\n</div>"
