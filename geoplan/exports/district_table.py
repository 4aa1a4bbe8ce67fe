"""The water bodies of a district as rows of ``district.html``; texts of the site are escaped."""

import html
import math
from collections.abc import Iterator, Mapping, Sequence
from urllib.parse import quote

from geoplan.district import Allocation, WaterShare
from geoplan.exports.allocation_sheet import rafts_text
from geoplan.exports.safe_rounding import finite, rounded_up
from geoplan.plan import AuditReport, Finding

#: Findings told in a row; the others are counted. *Judgement*.
_TOLD = 3


def figure(value: float, digits: int = 3) -> str:
    """
    Return a number for people, never above what it is.

    Parameters
    ----------
    value : float
        The number [any unit].
    digits : int
        Digits that count.

    Returns
    -------
    str
        Rounded down, without an exponent.

    Examples
    --------
    >>> figure(12345.6), figure(0.01299), figure(0.0), figure(-1.234)
    ('12300', '0.0129', '0', '-1.24')
    """
    if finite(value) is None or value == 0:
        return "0" if value == 0 else "not known"
    decimals = digits - 1 - math.floor(math.log10(abs(value)))
    scale = 10.0**decimals
    return f"{math.floor(value * scale + 1e-9) / scale:.{max(0, decimals)}f}"


def findings_words(findings: Sequence[Finding]) -> str:
    """
    Return checks that fail in words.

    Parameters
    ----------
    findings : sequence of Finding
        Those that do not hold.

    Returns
    -------
    str
        How many, and what the first of them are.
    """
    if not findings:
        return "all checks hold"
    count = f"{len(findings)} check{'s fail' if len(findings) > 1 else ' fails'}: "
    told = "; ".join(map(_words, findings[:_TOLD]))
    rest = len(findings) - _TOLD
    return count + told + (f"; and {rest} more, see plan.json" if rest > 0 else "")


def table(
    allocation: Allocation,
    pages: Mapping[str, str],
    most_cover_pct: Mapping[str, float],
    audit: AuditReport | None,
) -> Iterator[str]:
    """
    Yield the table of water bodies, with what searches it.

    Parameters
    ----------
    allocation : Allocation
        Who gets what.
    pages : mapping of str to str
        Page that shows each water body that was planned.
    most_cover_pct : mapping of str to float
        Share of each that may be covered [%].
    audit : AuditReport or None
        Verdict; without one no finding is told.

    Yields
    ------
    str
        Lines of HTML.
    """
    failed: dict[str, list[Finding]] = {}
    for finding in audit.failed if audit else ():
        failed.setdefault(finding.water_id, []).append(finding)
    has_wards = any(share.ward for share in allocation.shares)
    yield from _tools(audit is not None)
    yield '<div class="wide" role="region" tabindex="0" aria-label="Table of water bodies">'
    yield '<table id="waters" class="raw">\n<thead>'
    yield from _heads(has_wards, audit is not None)
    yield "</thead>\n<tbody>"
    for share in allocation.shares:
        known = share.water_id in pages
        found = tuple(failed.get(share.water_id, ()))
        words = findings_words(found) if known else "could not be planned"
        yield _row(
            share,
            allocation.unit_of(share),
            pages.get(share.water_id),
            most_cover_pct.get(share.water_id),
            has_wards,
            None if audit is None else words,
            bool(found) or not known,
        )
    yield "</tbody>\n</table>\n</div>\n"
    yield '<button type="button" id="more" hidden>Show the others</button>'


def _words(finding: Finding) -> str:
    """Return one check that fails in words."""
    where = f" of raft {finding.raft_id}" if finding.raft_id else ""
    measured, limit = finite(finding.measured), finite(finding.limit)
    numbers = ""
    if measured is not None and limit is not None:
        numbers = f" is {measured:.4g} {finding.unit}, limit {limit:.4g} {finding.unit}"
    detail = f" ({finding.detail})" if finding.detail else ""
    return f"{finding.check.replace('_', ' ')}{where}{numbers}{detail}"


def _tools(has_verdict: bool) -> Iterator[str]:
    """Yield what searches and chooses; hidden until the script that obeys it runs."""
    yield '<div id="tools" role="search" hidden>'
    yield '<label>Search by name<input id="search" type="search" autocomplete="off"></label>'
    yield '<label>Show<select id="show"><option value="">all water bodies</option>'
    yield '<option value="some">those that get rafts</option>'
    yield '<option value="bare">those that get none</option>'
    if has_verdict:
        yield '<option value="fails">those with findings</option>'
    yield '</select></label>\n</div>\n<p id="says" role="status"></p>'


def _heads(has_wards: bool, has_verdict: bool) -> Iterator[str]:
    """Yield the heads of the columns."""
    ward = '<th scope="col" class="t">ward</th>' if has_wards else ""
    findings = '<th scope="col" class="t" data-number>findings</th>' if has_verdict else ""
    number = '<th scope="col" data-number'
    yield (
        f'<tr><th scope="col">water body</th>{ward}{findings}'
        f'<th scope="col" class="t" data-number>rafts</th>{number}>cover at normal level [%]</th>'
        f"{number}>most allowed [%]</th>{number}>cost</th>{number} data-worth>worth</th>"
        '<th scope="col" class="t">unit of worth</th><th scope="col" class="t">why</th></tr>'
    )


def _row(
    share: WaterShare,
    unit: str,
    page: str | None,
    most_pct: float | None,
    has_wards: bool,
    findings: str | None,
    fails: bool,
) -> str:
    """Return the row of one water body."""
    kinds = ["some" if share.raft_count else "bare"]
    kinds += ["fails"] * fails + ["relative"] * share.is_relative
    name = f"<span>{html.escape(share.water_id)}</span>"
    if page is not None:
        place = quote(share.water_id, safe="!'()*~")  # as browsers' scripts quote it
        link = f"{page}#water={place}"
        name = f'<a href="{html.escape(link)}">{html.escape(share.water_id)}</a>'
    ward = f"<td class=t>{html.escape(share.ward)}</td>" if has_wards else ""
    told = ""
    if findings is not None:
        told = f'<td class="t{" bad long" if fails else ""}">{html.escape(findings)}</td>'
    most = "" if most_pct is None else f"{most_pct:g}"
    return (
        f'<tr class="{" ".join(kinds)}"><th scope=row>{name}</th>{ward}{told}'
        f'<td class="t rafts">{html.escape(rafts_text(share.counts))}</td>'
        f"<td>{rounded_up(share.cover_pct, 2) or 0.0:.2f}</td><td>{most}</td>"
        f"<td>{share.cost:g}</td><td>{figure(share.worth)}</td>"
        f'<td class=t>{html.escape(unit)}</td><td class="t long">{html.escape(share.why)}</td></tr>'
    )
