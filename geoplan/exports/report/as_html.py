"""``report.html``: the same report as one page without script or network."""

import html
import re
from collections.abc import Iterator
from pathlib import Path

from geoplan.errors import writing
from geoplan.exports.page_files import page_head
from geoplan.exports.report import report_of
from geoplan.exports.report.content import (
    Blanks,
    Block,
    Bullets,
    Drawing,
    Grid,
    Heading,
    Report,
    Text,
)
from geoplan.plan import AuditReport, Plan
from geoplan.site import Site

FILE_NAME = "report.html"

_STYLE = (
    "body{font:16px/1.5 serif;max-width:52rem;margin:1.5em auto;padding:0 1em;color:#1d1d1d}"
    "h1{font-size:1.7em}h2{font-size:1.3em;margin-top:2em}h3{font-size:1.05em;margin-top:1.5em}"
    "nav{font-size:.95em}nav ol{columns:18rem}.wide{overflow-x:auto}"
    "table{border-collapse:collapse;font:.86em/1.35 sans-serif;min-width:60%}"
    "caption{text-align:left;padding:.5em 0;font:italic 1.05em serif}"
    "th,td{border-bottom:1px solid #b5b5b5;padding:.25em .6em;text-align:left;vertical-align:top}"
    ".n{text-align:right;white-space:nowrap}"
    ".caution{border-left:4px solid #7a2b12;padding:.3em 1em}"
    "figure{margin:1em 0}figure svg{max-width:100%;height:auto}figcaption{font-style:italic}"
    ".blank{display:flex;gap:1em;margin:.6em 0}.blank span{flex:1;border-bottom:1px solid #1d1d1d}"
    "@media print{.wide{overflow:visible}tr{break-inside:avoid}}"
)


def html_of(report: Report) -> str:
    """
    Return a report as HTML.

    Parameters
    ----------
    report : Report
        The report.

    Returns
    -------
    str
        Self-contained; every text escaped.
    """
    return "\n".join(_lines(report)) + "\n"


def _lines(report: Report) -> Iterator[str]:
    """Yield the lines of the page."""
    yield page_head(report.title, _STYLE)
    yield "<body>\n<main>"
    yield f"<h1>{html.escape(report.title)}</h1>"
    sections = [one for one in report.blocks if isinstance(one, Heading) and one.level == 1]
    yield '<nav aria-label="Sections"><ol>'
    yield from (
        f'<li><a href="#s{number}">{html.escape(one.text)}</a></li>'
        for number, one in enumerate(sections, 1)
    )
    yield "</ol></nav>"
    number = [0, 0]
    for block in report.blocks:
        if isinstance(block, Heading):
            yield _heading(block, number)
        else:
            yield from _block(block)
    yield "</main>\n</body>\n</html>"


def _heading(block: Heading, number: list[int]) -> str:
    """Return a heading with the number that the PDF gives it too."""
    if block.level == 1:
        number[:] = [number[0] + 1, 0]
        return f'<h2 id="s{number[0]}">{number[0]} {html.escape(block.text)}</h2>'
    number[1] += 1
    return f"<h3>{number[0]}.{number[1]} {html.escape(block.text)}</h3>"


def _block(block: Block) -> Iterator[str]:
    """Yield the lines of any other block."""
    if isinstance(block, Text):
        kind = ' class="caution"' if block.is_caution else ""
        yield f"<p{kind}>{html.escape(block.text)}</p>"
    elif isinstance(block, Bullets):
        yield "<ul>" + "".join(f"<li>{html.escape(item)}</li>" for item in block.items) + "</ul>"
    elif isinstance(block, Grid):
        yield from _table(block)
    elif isinstance(block, Drawing):
        svg = re.sub(r"^<svg ", f'<svg width="{block.width_mm:.1f}mm" ', block.svg, count=1)
        yield f"<figure>{svg}<figcaption>{html.escape(block.caption)}</figcaption></figure>"
    elif isinstance(block, Blanks):
        yield from (
            f'<div class="blank">{html.escape(name)}<span></span></div>' for name in block.names
        )


def _table(block: Grid) -> Iterator[str]:
    """Yield a table."""
    kinds = [' class="n"' if numeric else "" for numeric in block.numeric]
    caption = html.escape(block.caption)
    yield f'<div class="wide" role="group" tabindex="0" aria-label="{caption}">'
    yield f"<table><caption>{caption}</caption>\n<thead><tr>"
    yield "".join(
        f'<th scope="col"{kind}>{html.escape(name)}</th>'
        for kind, name in zip(kinds, block.header, strict=True)
    )
    yield "</tr></thead>\n<tbody>"
    for row in block.rows:
        cells = zip(kinds, row, strict=True)
        yield (
            "<tr>"
            + "".join(f"<td{kind}>{html.escape(cell)}</td>" for kind, cell in cells)
            + "</tr>"
        )
    yield "</tbody></table></div>"


def write(plan: Plan, site: Site, folder: Path, audit: AuditReport | None) -> None:
    """
    Write ``report.html``.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site it was made from.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Verdict on the plan.

    Raises
    ------
    ExportError
        If the file cannot be set or written.
    """
    data = html_of(report_of(plan, site, audit)).encode()
    with writing(folder / FILE_NAME):
        (folder / FILE_NAME).write_bytes(data)
