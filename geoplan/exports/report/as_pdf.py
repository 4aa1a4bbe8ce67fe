"""
``report.pdf``: the report as tagged PDF (PDF/UA-1), set by typst.

The template is fixed and the content goes in as data, so that no text of a site is ever markup.
Only the fonts inside typst are used: the same report gives the same bytes on every machine.
"""

import json
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from geoplan.errors import ExportError, writing
from geoplan.exports.report import report_of
from geoplan.exports.report.content import Report, as_record
from geoplan.plan import AuditReport, Plan
from geoplan.site import Site

FILE_NAME = "report.pdf"

#: Up to here every character is in the font.
_LAST_LATIN = "\u024f"


def pdf_of(report: Report) -> bytes:
    """
    Return a report as PDF.

    Parameters
    ----------
    report : Report
        The report.

    Returns
    -------
    bytes
        Tagged PDF that conforms to PDF/UA-1, the same for the same report.

    Raises
    ------
    ExportError
        If it cannot be set.
    """
    import typst

    template = (files("geoplan.exports.report") / "page.typ").read_bytes()
    content = json.dumps(_displayable(as_record(report)), ensure_ascii=False)
    try:
        out = typst.compile(
            template,
            sys_inputs={"content": content},
            ignore_system_fonts=True,
            pdf_standards=["ua-1"],
        )
    except typst.TypstError as error:
        raise ExportError(f"report.pdf could not be set: {error}") from error
    return bytes(out)


def _displayable(value: Any) -> Any:
    """Return data whose characters the font has; others stand there by their number."""
    if isinstance(value, str):
        return "".join(c if c <= _LAST_LATIN or _in_font(c) else f"[U+{ord(c):04X}]" for c in value)
    if isinstance(value, dict):
        return {key: _displayable(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_displayable(one) for one in value]
    return value


@lru_cache(maxsize=4096)
def _in_font(character: str) -> bool:
    """Tell whether a character can be displayed, by setting it alone."""
    import typst

    template = b'#set document(title: [x], date: none)\n#set text(lang: "en")\n#sys.inputs.it'
    try:
        typst.compile(
            template,
            sys_inputs={"it": f"x{character}x"},
            ignore_system_fonts=True,
            pdf_standards=["ua-1"],
        )
    except typst.TypstError:
        return False
    return True


def write(plan: Plan, site: Site, folder: Path, audit: AuditReport | None) -> None:
    """
    Write ``report.pdf``.

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
    data = pdf_of(report_of(plan, site, audit))
    with writing(folder / FILE_NAME):
        (folder / FILE_NAME).write_bytes(data)
