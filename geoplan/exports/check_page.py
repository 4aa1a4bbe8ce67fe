"""
``check.html``: what a check of a site found, with a chart of where to sound next.

Drawings and words only, no script and no network; every text of the site is escaped.
"""

import html
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geoplan.crs import WGS84, transformed_points
from geoplan.errors import Fault, writing
from geoplan.exports.page_files import page_head
from geoplan.site import FloatArray, Site, WaterBody
from geoplan.sounding_plan import SoundingPlace, unsurveyed_water

FILE_NAME = "check.html"

_STYLE = (
    "body{font:16px/1.4 sans-serif;max-width:900px;margin:1em auto;padding:0 1em}"
    "h1{font-size:1.4em}h2{font-size:1.15em}table{border-collapse:collapse}"
    "svg{width:100%;height:auto;max-height:85vh;background:#fff}"
    "th,td{border-bottom:1px solid #ccc;padding:.3em .7em;text-align:right}"
    "th:first-child,td:first-child{text-align:left}.wide{overflow-x:auto}"
    "pre{white-space:pre-wrap;overflow-wrap:anywhere}"
)
#: Width of a chart in its own units, and room round the water in it.
_WIDTH, _ROOM = 800.0, 40.0
#: Soundings that are drawn at most, evenly thinned.
_MOST_DOTS = 4000
#: Lengths of a scale bar [m].
_BARS_M = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0)


def write(
    site: Site,
    summary: Sequence[str],
    faults: Sequence[Fault],
    places: Sequence[SoundingPlace],
    folder: Path,
) -> Path:
    """
    Write ``check.html``.

    Parameters
    ----------
    site : Site
        The site.
    summary : sequence of str
        What is there, in lines.
    faults : sequence of Fault
        What is wrong or doubtful.
    places : sequence of SoundingPlace
        Where to sound next, in any of the site's water bodies.
    folder : Path
        Folder to write into; made where it is missing.

    Returns
    -------
    Path
        The file, an earlier one of its name replaced.

    Raises
    ------
    ExportError
        If the file cannot be written.
    """
    text = "\n".join(_page(site, summary, faults, places)) + "\n"
    path = folder / FILE_NAME
    with writing(path):
        folder.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text.encode("utf-8", "replace"))
    return path


def _page(
    site: Site, summary: Sequence[str], faults: Sequence[Fault], places: Sequence[SoundingPlace]
) -> Iterator[str]:
    """Yield the lines of the page."""
    title = f"{site.settings.name}: check of the site"
    yield page_head(title, _STYLE)
    yield "<body>\n<main>"
    yield f"<h1>{html.escape(title)}</h1>"
    for body in site.water_bodies:
        own = [place for place in places if place.water_id == body.water_id]
        yield from _section(body, own, site)
    yield "<h2>What was found</h2>"
    yield f"<pre>{html.escape(chr(10).join(summary))}</pre>"
    if faults:
        yield "<h2>What is wrong or doubtful</h2>\n<ul>"
        for fault in faults:
            yield f"<li>{html.escape(f'{fault.severity}: {fault}')}</li>"
        yield "</ul>"
    yield "</main>\n</body>\n</html>"


def _section(body: WaterBody, places: Sequence[SoundingPlace], site: Site) -> Iterator[str]:
    """Yield the chart of one water body and its places in words."""
    name = f"{body.water_id} ({body.name})" if body.name else body.water_id
    unknown = unsurveyed_water(body, site.settings)
    share = 100.0 * shapely.area(unknown) / body.outline.area
    yield f"<h2>{html.escape(name)}</h2>"
    yield from _chart(body, places, unknown, f"{name}: soundings and where to sound next")
    yield (
        f"<p>Small dots are soundings, thin lines contours. {share:.0f} % of the water is not"
        " surveyed (hatched): no raft can lie there. Numbered rings are where one more sounding"
        " would open most room for rafts, the first the most.</p>"
    )
    if not places:
        yield "<p>No single sounding would open room for a raft where the bed is likely deep.</p>"
        return
    yield from _table(body, places, site)


def _table(body: WaterBody, places: Sequence[SoundingPlace], site: Site) -> Iterator[str]:
    """Yield the places in words, for a plotter, a phone and a tape."""
    east, north = (
        np.array([getattr(place, axis) for place in places]) for axis in ("easting_m", "northing_m")
    )
    longitude, latitude = transformed_points(east, north, body.crs, WGS84)
    easting, northing = transformed_points(east, north, body.crs, site.client_crs)
    yield '<div class="wide" role="region" tabindex="0" aria-label="Where to sound next">\n<table>'
    yield (
        "<tr><th>sound next</th><th>latitude, longitude [°]</th><th>easting, northing [m]</th>"
        "<th>room it opens [m²]</th><th>likely depth at low level [m]</th><th>known today</th></tr>"
    )
    for k, place in enumerate(places):
        where = f"{latitude[k]:.6f}, {longitude[k]:.6f}"
        known = "not surveyed" if place.is_unsurveyed else f"± {place.sigma_m:.2f} m"
        yield (
            f'<tr><td>{place.rank}</td><td><a href="geo:{where.replace(" ", "")}">{where}</a></td>'
            f"<td>{easting[k]:.1f}, {northing[k]:.1f}</td><td>{place.gain_m2:.0f}</td>"
            f"<td>{place.depth_low_m:.1f}</td><td>{known}</td></tr>"
        )
    yield "</table>\n</div>"


@dataclass(frozen=True)
class _Sheet:
    """From working coordinates to those of a drawing, north up."""

    west_m: float
    north_m: float
    per_m: float

    def points(self, place_m: FloatArray) -> FloatArray:
        """Return places in the drawing, shape (n, 2)."""
        offset = (place_m - [self.west_m, self.north_m]) * [self.per_m, -self.per_m]
        drawn: FloatArray = np.round(offset + _ROOM, 1)
        return drawn

    def path(self, geometry: BaseGeometry) -> str:
        """Return lines and rings as the data of a path."""
        parts = shapely.get_parts(geometry)
        areas = parts[shapely.get_type_id(parts) == 3]
        lines = parts[shapely.get_type_id(parts) == 1]
        out = []
        for line in [*shapely.get_rings(areas), *lines]:
            steps = " ".join(f"{x:g},{y:g}" for x, y in self.points(shapely.get_coordinates(line)))
            out.append(f"M{steps}")
        return "".join(out)


def _chart(
    body: WaterBody, places: Sequence[SoundingPlace], unknown: BaseGeometry, title: str
) -> Iterator[str]:
    """Yield the chart."""
    west, south, east, north = body.outline.bounds
    per_m = (_WIDTH - 2 * _ROOM) / max(east - west, north - south)
    sheet = _Sheet(west, north, per_m)
    wide, high = ((length * per_m + 2 * _ROOM) for length in (east - west, north - south))
    words = f"{title}. {len(body.soundings)} soundings; {len(places)} places to sound next."
    yield f'<svg viewBox="0 0 {wide:.0f} {high + 20:.0f}" role="img" aria-label="{_quoted(words)}">'
    yield f"<title>{html.escape(title)}</title>"
    yield (
        '<defs><pattern id="none" width="8" height="8" patternUnits="userSpaceOnUse"'
        ' patternTransform="rotate(45)"><path d="M0,0V8" stroke="#8a4b08" stroke-width="3"/>'
        "</pattern></defs>"
    )
    edge = sheet.path(body.outline)
    yield f'<path d="{edge}" fill="#dcebf7" fill-rule="evenodd" stroke="#1f5f99"/>'
    if not unknown.is_empty:
        hatched = sheet.path(unknown)
        yield f'<path d="{hatched}" fill="url(#none)" fill-opacity="0.55" fill-rule="evenodd"/>'
    for contour in body.contours:
        yield f'<path d="{sheet.path(contour.line)}" fill="none" stroke="#7fa8cc"/>'
    yield from _dots(body, sheet)
    for place in places:
        (x, y), *_ = sheet.points(np.array([[place.easting_m, place.northing_m]]))
        yield (
            f'<circle cx="{x:g}" cy="{y:g}" r="12" fill="#fff" stroke="#b3261e" stroke-width="3"/>'
            f'<text x="{x:g}" y="{y + 5:g}" font-size="15" font-weight="bold" text-anchor="middle"'
            f' font-family="sans-serif">{place.rank}</text>'
        )
    yield from _bar(per_m, high)
    yield "</svg>"


def _dots(body: WaterBody, sheet: _Sheet) -> Iterator[str]:
    """Yield the soundings, of very many an even share."""
    soundings = body.soundings
    step = max(1, -(-len(soundings) // _MOST_DOTS))
    place = np.column_stack([soundings.easting_m, soundings.northing_m])[::step]
    if len(place):
        data = "".join(f"M{x:g},{y:g}h0" for x, y in sheet.points(place))
        yield f'<path d="{data}" stroke="#333" stroke-width="3" stroke-linecap="round"/>'


def _bar(per_m: float, high: float) -> Iterator[str]:
    """Yield scale bar and north."""
    fits = [length for length in _BARS_M if length * per_m <= _WIDTH / 4] or [_BARS_M[0]]
    end = _ROOM + fits[-1] * per_m
    yield (
        f'<path d="M{_ROOM:g},{high:.1f}H{end:.1f}" stroke="#000" stroke-width="3"/>'
        f'<text x="{end + 8:.1f}" y="{high + 5:.1f}" font-size="14"'
        f' font-family="sans-serif">{fits[-1]:g} m; north is up</text>'
    )


def _quoted(text: str) -> str:
    """Return a text for an attribute."""
    return html.escape(text, quote=True)
