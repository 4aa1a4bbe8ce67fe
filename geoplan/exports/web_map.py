"""
``map.html``: the plan as one page that works on a bank with no network.

It shows what the plan says and computes nothing but where a pixel lies.
"""

from pathlib import Path

import folium

from geoplan.errors import ExportError
from geoplan.exports.map_data import map_record
from geoplan.exports.web_page import OfflineFigure
from geoplan.plan import AuditReport, Plan
from geoplan.site import Site

FILE_NAME = "map.html"


def write(plan: Plan, site: Site, folder: Path, audit: AuditReport | None) -> None:
    """
    Write ``map.html``.

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
    page = map_page(plan, site, audit)
    try:
        (folder / FILE_NAME).write_bytes(page.encode())
    except OSError as error:
        raise ExportError(f"{folder / FILE_NAME} could not be written: {error}") from error


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
    record = map_record(plan, site, audit)
    figure = OfflineFigure(f"{plan.site_name}: plan of rafts", record)
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
