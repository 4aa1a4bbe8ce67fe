"""
``asbuilt.html``: the survey in words, tables and a drawing to scale of each water body.

No script and no network; texts of the site and the surveyor are escaped.
"""

import html
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geoplan.asbuilt.record import AsBuilt, SurveyedRaft
from geoplan.written import WrittenPlan

_STYLE = (
    "body{font:16px/1.45 sans-serif;max-width:60rem;margin:1em auto;padding:0 1em;color:#1d1d1d}"
    "h1{font-size:1.4em}h2{font-size:1.15em;margin-top:1.6em}"
    "table{border-collapse:collapse;width:100%}caption{text-align:left;padding:.4em 0}"
    "th,td{border-bottom:1px solid #c8c8c8;padding:.25em .6em;text-align:left;vertical-align:top}"
    ".n{text-align:right;white-space:nowrap}.wide{overflow-x:auto}"
    "svg{width:100%;height:auto;max-height:32rem;background:#fbfbf8;border:1px solid #c8c8c8}"
    "@media print{.wide{overflow:visible}h2{break-after:avoid}tr{break-inside:avoid}}"
)
_LAND, _WATER, _PLAN, _LIES, _AMISS = "#fbfbf8", "#e4eef4", "#5b6670", "#1f5a3d", "#9c2a10"
#: Findings listed one by one; the rest are counted.
_SHOWN = 60


def page(found: AsBuilt, written: WrittenPlan) -> str:
    """
    Return the page of a survey.

    Parameters
    ----------
    found : AsBuilt
        The survey.
    written : WrittenPlan
        The plan, for edges and planned outlines.

    Returns
    -------
    str
        HTML, self-contained.
    """
    return "\n".join(_lines(found, written)) + "\n"


def _lines(found: AsBuilt, written: WrittenPlan) -> Iterator[str]:
    """Yield the lines of the page."""
    title = html.escape(f"{found.site_name}: rafts as built")
    yield '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">'
    yield (
        '<meta http-equiv="Content-Security-Policy"'
        " content=\"default-src 'none'; style-src 'unsafe-inline'\">"
    )
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield f"<title>{title}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n<main>"
    yield f"<h1>{title}</h1>"
    yield from (f"<p>{html.escape(line)}</p>" for line in summary(found))
    yield from _cover(found)
    yield from _findings(found)
    for water_id in dict.fromkeys(raft.water_id for raft in found.rafts):
        yield from _water(water_id, found, written)
    yield from _since(found)
    yield from _seen(found)
    if found.notes:
        yield "<h2>Notes on the survey</h2>\n<ul>"
        yield from (f"<li>{html.escape(str(note))}</li>" for note in found.notes)
        yield "</ul>"
    yield (
        "<p>Go out on the water only as local rules allow, never alone and with buoyancy aids."
        " A raft that has moved may pull on its posts: keep out of reach of its lines.</p>"
    )
    yield "</main>\n</body>\n</html>"


def summary(found: AsBuilt) -> list[str]:
    """
    Return what was found, in lines for a person.

    Parameters
    ----------
    found : AsBuilt
        The survey.

    Returns
    -------
    list of str
        Rafts by state, missing ones, level, cover and verdicts.
    """
    states: dict[str, int] = {}
    for raft in found.rafts:
        states[raft.state] = states.get(raft.state, 0) + 1
    counts = ", ".join(f"{count} {state}" for state, count in sorted(states.items()))
    lines = [f"{len(found.rafts)} rafts fixed{f': {counts}' if counts else ''}."]
    if found.missing:
        some = ", ".join(found.missing[:12]) + (" and more" if len(found.missing) > 12 else "")
        lines.append(f"{len(found.missing)} planned rafts without a fix: {some}.")
    if found.level_m is not None:
        change = (
            f", {found.level_change_m:+.2f} m since the last survey"
            if found.level_change_m is not None
            else ""
        )
        lines.append(f"Water level {found.level_m:.2f} m{change}.")
    verdicts = [finding.verdict for finding in found.findings]
    lines.append(
        f"Rules: {verdicts.count('holds')} hold, {verdicts.count('fails')} fail,"
        f" {verdicts.count('cannot be told')} cannot be told with fixes as accurate as these."
    )
    return lines


def _cover(found: AsBuilt) -> Iterator[str]:
    """Yield the cover of each water body."""
    yield "<h2>Surface cover as built</h2>"
    yield '<div class="wide" role="group" tabindex="0" aria-label="Table"><table>'
    yield (
        "<tr><th>water body</th><th>level</th><th class=n>cover [%]</th>"
        "<th class=n>standard deviation [%]</th></tr>"
    )
    for water_id, covers in found.covers:
        for cover in covers:
            yield (
                f"<tr><td>{html.escape(water_id)}</td><td>{html.escape(cover.level_name)}</td>"
                f"<td class=n>{cover.cover_pct:.2f}</td><td class=n>{cover.sigma_pct:.2f}</td></tr>"
            )
    yield "</table></div>"


def _findings(found: AsBuilt) -> Iterator[str]:
    """Yield the rules that fail or cannot be told, failures first."""
    amiss = [one for one in found.findings if one.verdict != "holds"]
    amiss.sort(key=lambda one: one.verdict != "fails")
    yield "<h2>Rules</h2>"
    if not amiss:
        yield "<p>Every rule of place holds for every raft, errors of the survey allowed for.</p>"
        return
    yield '<div class="wide" role="group" tabindex="0" aria-label="Table"><table>'
    yield (
        "<tr><th>raft</th><th>rule</th><th>verdict</th><th class=n>measured</th>"
        "<th class=n>at worst</th><th class=n>limit</th><th>what it means</th></tr>"
    )
    for one in amiss[:_SHOWN]:
        cells = (one.raft_id or one.water_id, one.check.replace("_", " "), one.verdict)
        numbers = (one.measured, one.measured_at_worst, one.limit)
        yield (
            "<tr>"
            + "".join(f"<td>{html.escape(text)}</td>" for text in cells)
            + "".join(f"<td class=n>{_number(value)} {one.unit}</td>" for value in numbers)
            + f"<td>{html.escape(one.detail)}</td></tr>"
        )
    yield "</table></div>"
    if len(amiss) > _SHOWN:
        yield f"<p>{len(amiss) - _SHOWN} more stand in asbuilt.json.</p>"


def _number(value: float) -> str:
    """Return a number, or a dash where there is none."""
    return f"{value:.3f}" if np.isfinite(value) else "–"


def _water(water_id: str, found: AsBuilt, written: WrittenPlan) -> Iterator[str]:
    """Yield the drawing and the rafts of one water body."""
    rafts = [raft for raft in found.rafts if raft.water_id == water_id]
    yield f"<h2>{html.escape(water_id)}</h2>"
    yield _drawing(water_id, rafts, written)
    yield '<div class="wide" role="group" tabindex="0" aria-label="Table"><table>'
    yield (
        "<tr><th>raft</th><th>surveyed as</th><th>state</th><th class=n>moved [m]</th>"
        "<th class=n>turned [°]</th><th class=n>place known to [m], 95 %</th></tr>"
    )
    for raft in rafts:
        moved = "" if raft.moved_m is None else f"{raft.moved_m:.2f}"
        turned = (
            "not measured" if raft.turned_deg is None else f"{round(raft.turned_deg, 1) + 0.0:+.1f}"
        )
        name = raft.surveyed_name or "no name"
        doubt = "" if raft.is_identity_sure else " (may be a neighbour)"
        yield (
            f"<tr><td>{html.escape(raft.raft_id)}{doubt}</td><td>{html.escape(name)}</td>"
            f"<td>{raft.state}</td><td class=n>{moved}</td><td class=n>{turned}</td>"
            f"<td class=n>{raft.half_axis_major_m:.2f}</td></tr>"
        )
    yield "</table></div>"


def _seen(found: AsBuilt) -> Iterator[str]:
    """Yield what inspectors wrote down."""
    if not found.seen:
        return
    yield "<h2>Inspected</h2>"
    yield '<div class="wide" role="group" tabindex="0" aria-label="Table"><table>'
    yield "<tr><th>raft</th><th class=n>freeboard [m]</th><th>condition and remarks</th></tr>"
    for one in found.seen:
        freeboard = "" if one.freeboard_m is None else f"{one.freeboard_m:.2f}"
        yield (
            f"<tr><td>{html.escape(one.raft_name)}</td><td class=n>{freeboard}</td>"
            f"<td>{html.escape(one.remarks)}</td></tr>"
        )
    yield "</table></div>"


def _since(found: AsBuilt) -> Iterator[str]:
    """Yield what changed since the last survey."""
    if not found.since:
        return
    yield "<h2>Since the last survey</h2>"
    yield '<div class="wide" role="group" tabindex="0" aria-label="Table"><table>'
    yield "<tr><th>raft</th><th>what</th><th class=n>drift [m]</th><th class=n>doubt [m]</th></tr>"
    for one in found.since:
        drift = "" if one.drift_m is None else f"{one.drift_m:.2f}"
        yield (
            f"<tr><td>{html.escape(one.raft_id)}</td><td>{one.words}</td>"
            f"<td class=n>{drift}</td><td class=n>{one.doubt_m:.2f}</td></tr>"
        )
    yield "</table></div>"


def _drawing(water_id: str, rafts: Sequence[SurveyedRaft], written: WrittenPlan) -> str:
    """Return the water body with its rafts as planned and as they lie, to scale."""
    normal = next(
        edge.outline
        for edge in written.edges
        if edge.water_id == water_id and edge.level_name == "normal"
    )
    planned = {raft.raft_id: raft.outline for raft in written.rafts if raft.water_id == water_id}
    west, south, east, north = shapely.union_all([normal, *[r.outline for r in rafts]]).bounds
    edge = 0.04 * max(east - west, north - south)
    box = (west - edge, south - edge, east - west + 2 * edge, north - south + 2 * edge)
    line = box[2] / 600.0
    words = html.escape(f"{water_id}: rafts as planned, dashed, and as they lie, filled")
    parts = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{words}"'
            f' viewBox="0 0 {box[2]:.2f} {box[3]:.2f}" stroke-width="{line:.3f}">'
        ),
        f"<title>{words}</title>",
        _path(normal, box, f'fill="{_WATER}" stroke="{_PLAN}"'),
    ]
    dash = f'fill="none" stroke="{_PLAN}" stroke-dasharray="{4 * line:.2f} {3 * line:.2f}"'
    parts += [_path(outline, box, dash) for outline in planned.values()]
    for raft in rafts:
        colour = _LIES if raft.state == "in place" else _AMISS
        parts.append(
            _path(raft.outline, box, f'fill="{colour}" fill-opacity=".55" stroke="{colour}"')
        )
        x, y = raft.easting_m - box[0], box[1] + box[3] - raft.northing_m
        label = html.escape(raft.raft_id.removeprefix(f"{water_id}-")[:12])
        parts.append(
            f'<text x="{x:.2f}" y="{y + 3 * line:.2f}" font-size="{8 * line:.2f}"'
            f' text-anchor="middle" stroke="none" font-family="sans-serif">{label}</text>'
        )
    return "\n".join([*parts, *_scale_bar(box, line), "</svg>"])


def _path(shape: BaseGeometry, box: tuple[float, float, float, float], look: str) -> str:
    """Return polygons as a path of the drawing, north up."""
    steps = []
    for part in shapely.get_parts(shape):
        for ring in (part.exterior, *part.interiors):
            at = shapely.get_coordinates(ring)
            across, down = at[:, 0] - box[0], box[1] + box[3] - at[:, 1]
            pairs = " ".join(f"{x:.2f} {y:.2f}" for x, y in zip(across, down, strict=True))
            steps.append(f"M{pairs}Z")
    return f'<path fill-rule="evenodd" d="{"".join(steps)}" {look}/>'


def _scale_bar(box: tuple[float, float, float, float], line: float) -> list[str]:
    """Return a bar of a round length, and an arrow to grid north."""
    raw = box[2] / 5.0
    power = 10.0 ** np.floor(np.log10(raw))
    length = float(power * max(step for step in (1.0, 2.0, 5.0) if step * power <= raw))
    left, down = 12 * line, box[3] - 12 * line
    bar = f"M{left:.2f} {down:.2f}h{length:.2f}"
    arrow = (
        f"M{left + 6 * line:.2f} {40 * line:.2f}v{-28 * line:.2f}l{-5 * line:.2f} {10 * line:.2f}"
        f"m{5 * line:.2f} {-10 * line:.2f}l{5 * line:.2f} {10 * line:.2f}"
    )
    return [
        f'<path d="{bar}" stroke="#1d1d1d" stroke-width="{3 * line:.2f}"/>',
        _label(left, down - 5 * line, line, f"{length:g} m"),
        f'<path d="{arrow}" fill="none" stroke="#1d1d1d" stroke-width="{1.5 * line:.2f}"/>',
        _label(left + 14 * line, 24 * line, line, "grid north"),
    ]


def _label(across: float, down: float, line: float, words: str) -> str:
    """Return words of our own on the drawing."""
    return (
        f'<text x="{across:.2f}" y="{down:.2f}" font-size="{11 * line:.2f}" stroke="none"'
        f' font-family="sans-serif">{words}</text>'
    )
