"""``inspection.html``: what to look at on each visit, a page to print for each water body."""

import html
from collections.abc import Iterator
from pathlib import Path

from geoplan.errors import writing
from geoplan.exports.page_files import page_head
from geoplan.plan import AuditReport, Mooring, PlacedRaft, Plan, WaterPlan
from geoplan.site import Site, WaterBody

FILE_NAME = "inspection.html"

_STYLE = (
    "body{font:11pt/1.3 sans-serif;margin:0 auto;max-width:190mm;padding:4mm;color:#1d1d1d}"
    "h1{font-size:1.25em;margin:0 0 .3em}section{break-after:page}p{margin:.3em 0}"
    "table{border-collapse:collapse;width:100%;font-size:.86em;margin:.5em 0}"
    "th,td{border:1px solid #777;padding:.18em .35em;text-align:left}td.n{text-align:right}"
    "td.w{min-width:9mm}.wide{overflow-x:auto}ul{margin:.3em 0;padding-left:1.2em}"
    "@page{size:A4;margin:10mm}@media print{.wide{overflow:visible}tr{break-inside:avoid}}"
)

_LOOK_AT = (
    "Floats level, no corner low; freeboard as on the sheet or more.",
    "Posts upright, sleeves slide freely by hand, none above the top of a sleeve travel.",
    "Lines, shackles and fairleads: chafe, corrosion, slack; anchors have not dragged.",
    "Slats, fixings, edge and liner whole; poles dry inside where they can be tapped.",
    "Plants: cover, dead patches, weeds and species that do not belong there.",
    "Roots clear of the bed by a probe with a disc; litter and floating debris taken off.",
    "Outlet, trash rack and overflow free; nothing of a raft loose on the water.",
    "Water level read at the board, with the time; smell, colour, dead fish.",
)


def write(
    plan: Plan,
    site: Site,
    folder: Path,
    audit: AuditReport | None,  # noqa: ARG001 - exports are called alike
) -> None:
    """
    Write ``inspection.html``.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site, for its levels.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Not used.

    Raises
    ------
    ExportError
        If the file cannot be written.
    """
    with writing(folder / FILE_NAME), (folder / FILE_NAME).open("wb") as file:
        file.writelines(f"{line}\n".encode() for line in _page(plan, site))


def _page(plan: Plan, site: Site) -> Iterator[str]:
    """Yield the lines of the page."""
    yield page_head(f"{plan.site_name}: inspection", _STYLE)
    yield "<body>\n<main>"
    bodies = site.by_id
    for water in plan.waters:
        if water.rafts:
            yield from _sheet(plan.site_name, water, bodies[water.water_id])
    yield "</main>\n</body>\n</html>"


def _sheet(site_name: str, water: WaterPlan, body: WaterBody) -> Iterator[str]:
    """Yield the checklist of one water body."""
    name = f"{water.water_id} ({water.name})" if water.name else water.water_id
    levels = ", ".join(f"{word} {level:.2f} m" for word, level in body.levels.named())
    yield f"<section>\n<h1>{html.escape(f'{site_name}, {name}')}: inspection of rafts</h1>"
    yield (
        "<p>Date ____________ Time ________ By ______________________________"
        " Water level ________ m Weather ____________</p>"
    )
    yield f"<p>Levels of the plan: {levels}. Rafts: {len(water.rafts)}.</p>"
    yield "<ul>" + "".join(f"<li>{line}</li>" for line in _LOOK_AT) + "</ul>"
    yield (
        "<p>Never alone, with buoyancy aids, and only as local rules allow. Keep out of the water"
        " after storms: it may be contaminated, cold and fast at the outlet.</p>"
    )
    yield '<div class="wide" role="group" tabindex="0" aria-label="Table"><table>'
    yield (
        "<tr><th>raft</th><th>depth at low [m]</th><th>roots to bed [m]</th><th>held by</th>"
        "<th>afloat, level</th><th>freeboard [m]</th><th>posts, lines</th><th>plants</th>"
        "<th>moved?</th><th>remarks</th></tr>"
    )
    held: dict[str, list[Mooring]] = {}
    for mooring in water.moorings:
        held.setdefault(mooring.raft_id, []).append(mooring)
    for raft in water.rafts:
        yield _line(raft, held.get(raft.raft_id, []))
    yield "</table></div>"
    yield (
        "<p>Write fixes, freeboard, condition and remarks into inspection.csv; geoplan asbuilt"
        " reads it back. Two opposite corners of a raft settle where it lies.</p>\n</section>"
    )


def _line(raft: PlacedRaft, moorings: list[Mooring]) -> str:
    """Return the row of one raft, filled with the numbers of the plan."""
    kinds = sorted({mooring.kind for mooring in moorings})
    counts = [f"{sum(one.kind == kind for one in moorings)} {kind}s" for kind in kinds]
    depth, room = (
        "" if value != value else f"{value:.2f}"  # noqa: PLR0124 - not a number
        for value in (raft.depth_low_m, raft.root_clearance_m)
    )
    blank = '<td class="w"></td>' * 6
    return (
        f"<tr><td>{html.escape(raft.raft_id)}</td><td class=n>{depth}</td><td class=n>{room}</td>"
        f"<td>{', '.join(counts) or 'not by the plan'}</td>{blank}</tr>"
    )
