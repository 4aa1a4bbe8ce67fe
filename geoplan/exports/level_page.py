"""
``levels.html``: area and volume by level, and the record replayed, as drawings with words.

No script and no network; texts of the site are escaped.
"""

import html
from collections.abc import Iterator
from pathlib import Path

from geoplan.errors import writing
from geoplan.exports.page_files import page_head
from geoplan.exports.plots import history_plot, stage_plot
from geoplan.plan import AuditReport, Plan, RecordReplay, WaterPlan
from geoplan.site import Site, WaterBody

FILE_NAME = "levels.html"

_STYLE = (
    "body{font:16px/1.4 sans-serif;max-width:760px;margin:1em auto;padding:0 1em}"
    "h1{font-size:1.4em}h2{font-size:1.15em}table{border-collapse:collapse}"
    # A drawing shrunk to a phone could not be read: it is moved sideways instead.
    ".wide{overflow-x:auto}svg{width:100%;min-width:44rem;height:auto}"
    "th,td{border-bottom:1px solid #ccc;padding:.2em .8em;text-align:right}"
    "th:first-child,td:first-child{text-align:left}"
)


def write(
    plan: Plan,
    site: Site,
    folder: Path,
    audit: AuditReport | None,  # noqa: ARG001 - exports are called alike
) -> None:
    """
    Write ``levels.html``.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site, for levels and limits.
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
    title = f"{plan.site_name}: water levels"
    yield page_head(title, _STYLE)
    yield "<body>\n<main>"
    yield f"<h1>{html.escape(title)}</h1>"
    bodies = site.by_id
    for water in plan.waters:
        yield from _section(water, bodies[water.water_id])
    yield "</main>\n</body>\n</html>"


def _section(water: WaterPlan, body: WaterBody) -> Iterator[str]:
    """Yield what is known of one water body."""
    name = f"{water.water_id} ({water.name})" if water.name else water.water_id
    yield f"<h2>{html.escape(name)}</h2>"
    if water.stage is None:
        yield "<p>Nothing is known of the bed.</p>"
    else:
        title = f"{name}: area (line) and volume (dashes) by level, and the bed under each raft"
        yield _wide(stage_plot(water.stage, body.levels, water.rafts, title), "Area and volume")
    if water.record is None:
        yield "<p>No record of levels.</p>"
        return
    title = f"{name}: level and cover through the record"
    drawing = history_plot(water.record, body.levels, body.max_cover_pct, title)
    yield _wide(drawing, "Level and cover")
    yield from _table(water.record)


def _wide(drawing: str, label: str) -> str:
    """Return a drawing that can be moved sideways, by keys too."""
    return f'<div class="wide" role="region" tabindex="0" aria-label="{label}">\n{drawing}\n</div>'


def _table(record: RecordReplay) -> Iterator[str]:
    """Yield the shares of time of each raft."""
    if not record.rafts:
        return
    yield "<table>\n<caption>Share of the time of the record [%]</caption>"
    yield (
        "<tr><th>raft</th><th>roots within the clearance</th><th>roots on the bed</th>"
        "<th>beyond its posts</th></tr>"
    )
    for raft in record.rafts:
        beyond = "" if raft.beyond_posts_pct is None else f"{raft.beyond_posts_pct:.1f}"
        yield (
            f"<tr><td>{html.escape(raft.raft_id)}</td><td>{raft.within_clearance_pct:.1f}</td>"
            f"<td>{raft.on_bed_pct:.1f}</td><td>{beyond}</td></tr>"
        )
    yield "</table>"
