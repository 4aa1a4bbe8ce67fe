"""
``map.html``: the plan as one page that works on a bank with no network.

It shows what the plan says and computes nothing but where a pixel lies.
"""

import html
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import folium

from geoplan.errors import writing
from geoplan.exports.map_columns import by_column
from geoplan.exports.map_data import Verdict, map_record, verdict_of
from geoplan.exports.map_launch import Launches, launches_record
from geoplan.exports.page_files import page_head
from geoplan.exports.web_page import OfflineFigure
from geoplan.plan import AuditReport, Plan
from geoplan.site import Site

FILE_NAME = "map.html"
#: Folder of the pages of a large district, and water bodies on each.
PAGES_NAME = "maps"
MOST_ON_A_PAGE = 50


def write(plan: Plan, site: Site, folder: Path, audit: AuditReport | None) -> None:
    """
    Write ``map.html``; of many water bodies pages of fifty, and a page of links to them.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site it was made from.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Verdict on the plan; ``None`` where it was not judged.

    Raises
    ------
    ExportError
        If the file cannot be written, or a water body is too large to be shown to a centimetre.
    """
    write_part(plan, site, folder, audit, (0, 1))


def write_part(
    plan: Plan, site: Site, folder: Path, audit: AuditReport | None, part: tuple[int, int]
) -> None:
    """
    Write some pages; the first part writes the page of links too.

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
    part : tuple of int
        Which part, from 0, and of how many.

    Raises
    ------
    ExportError
        As ``write``.
    """
    pages = pages_of(plan.water_ids)
    # Days run on from page to page.
    launches = launches_record(plan, site) if len(pages) > 1 else None
    verdict = verdict_of(audit)
    number, of = part
    for page in range(number, len(pages), of):
        name, shown = pages[page]
        begin = page * MOST_ON_A_PAGE
        some = replace(plan, waters=tuple(plan.waters[begin : begin + len(shown)]))
        _write(folder / name, _page(some, site, verdict, launches))
    if len(pages) > 1 and number == 0:
        links = [(name, shown[0], shown[-1]) for name, shown in pages]
        _write(folder / FILE_NAME, "\n".join(_index(plan.site_name, links)) + "\n")


def pages_of(water_ids: tuple[str, ...]) -> list[tuple[str, tuple[str, ...]]]:
    """
    Return the pages of a map and what is on each.

    Parameters
    ----------
    water_ids : tuple of str
        Water bodies of the plan, in its order.

    Returns
    -------
    list of tuple of (str, tuple of str)
        Name of the file in the plan folder, and its water bodies.

    Examples
    --------
    >>> pages_of(("north", "south"))
    [('map.html', ('north', 'south'))]
    """
    if len(water_ids) <= MOST_ON_A_PAGE:
        return [(FILE_NAME, water_ids)]
    begins = range(0, len(water_ids), MOST_ON_A_PAGE)
    return [
        (f"{PAGES_NAME}/{number:04d}.html", water_ids[begin : begin + MOST_ON_A_PAGE])
        for number, begin in enumerate(begins, 1)
    ]


def _write(path: Path, page: str) -> None:
    """Write a page."""
    with writing(path):
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(page.encode())


def _index(site_name: str, links: Sequence[tuple[str, str, str]]) -> Iterator[str]:
    """Yield the lines of a page of links, the first and last water body of each named."""
    title = f"{site_name}: plan of rafts"
    yield page_head(title)
    yield f"<body>\n<main>\n<h1>{html.escape(title)}</h1>"
    yield '<p><a href="district.html">Who gets what</a>. Maps, in the order of the names:</p>\n<ul>'
    for name, first, last in links:
        words = html.escape(f"{first} to {last}")
        yield f'<li><a href="{name}">{words}</a></li>'
    yield "</ul>\n</main>\n</body>\n</html>"


def map_page(plan: Plan, site: Site, audit: AuditReport | None) -> str:
    """
    Return the page of a plan.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site it was made from.
    audit : AuditReport or None
        Verdict on the plan; ``None`` where it was not judged.

    Returns
    -------
    str
        HTML; the same plan gives the same text.

    Raises
    ------
    ExportError
        If a water body is too large to be shown to a centimetre.
    """
    return _page(plan, site, verdict_of(audit), None)


def _page(plan: Plan, site: Site, verdict: Verdict, launches: Launches | None) -> str:
    """Return a page of the water bodies of a plan."""
    record = map_record(plan, site, verdict, launches)
    figure = OfflineFigure(f"{plan.site_name}: plan of rafts", by_column(record))
    longitude_deg, latitude_deg = (
        record["waters"][0]["fit"]["centre_deg"] if record["waters"] else (0.0, 0.0)
    )
    frame = folium.Map(
        location=[latitude_deg, longitude_deg],
        tiles=None,
        zoom_start=17,
        attribution_control=False,
        zoom_control="bottomright",
        zoom_snap=0.5,
    )
    frame._id = "geoplan"  # folium's own ids are random, and the page must not be
    frame.add_to(figure)
    return str(figure.render())
