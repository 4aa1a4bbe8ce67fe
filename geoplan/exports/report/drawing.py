"""
The plan of one water body drawn to scale on paper: SVG in millimetres, grid north up.

Ink is used so that it still reads in grey: what is planned is filled, what is there already
hatched, levels differ by their dashes.
"""

import html
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geoplan.crs import transformed
from geoplan.exports.outlines import raft_outlines
from geoplan.exports.report.content import Drawing
from geoplan.plan import WaterPlan
from geoplan.site import Site, WaterBody

#: Paper left for the water between the margins of A4, beside its legend [mm].
ROOM_MM = (166.0, 178.0)
_FRAME_MM = 6.0
_LEGEND_MM = 22.0
#: Scales of drawings in use [1].
_SCALES = (50, 100, 200, 250, 500, 1000, 1250, 2000, 2500, 5000, 10000, 20000, 25000, 50000, 100000)
_FONT = "font-family=\"'Libertinus Serif', serif\""
_THIN = 'stroke="#1d1d1d" stroke-width=".3"'
_WATER, _EDGE, _RAFT, _INK, _WAY = "#e6eef2", "#4a5a63", "#2f6b4a", "#1d1d1d", "#8a5a1c"


@dataclass(frozen=True)
class Paper:
    """
    From metres of a CRS to millimetres on paper.

    Attributes
    ----------
    west_m, north_m : float
        Place of the upper left corner of the water [m].
    scale : int
        Metres on the ground for a metre on paper [1].
    width_mm, height_mm : float
        Room that the water takes [mm].
    """

    west_m: float
    north_m: float
    scale: int
    width_mm: float
    height_mm: float

    def at(self, easting_m: Any, northing_m: Any) -> tuple[Any, Any]:
        """
        Return places on paper.

        Parameters
        ----------
        easting_m, northing_m : array_like of float, shape (n,)
            Places in the CRS of the drawing [m].

        Returns
        -------
        tuple of (ndarray of float, ndarray of float)
            Across and down from the upper left [mm].
        """
        step = 1000.0 / self.scale
        return (
            _FRAME_MM + (np.asarray(easting_m) - self.west_m) * step,
            _FRAME_MM + (self.north_m - np.asarray(northing_m)) * step,
        )


def paper_for(bounds_m: tuple[float, float, float, float]) -> Paper:
    """
    Return the largest scale in use at which bounds fit on the paper.

    Parameters
    ----------
    bounds_m : tuple of float
        West, south, east and north [m].

    Returns
    -------
    Paper
        With the water's own width and height.

    Examples
    --------
    >>> paper_for((0.0, 0.0, 100.0, 50.0)).scale
    1000
    """
    west, south, east, north = bounds_m
    room = tuple(side - 2 * _FRAME_MM for side in ROOM_MM)
    fits = [
        scale
        for scale in _SCALES
        if 1000 * (east - west) / scale <= room[0] and 1000 * (north - south) / scale <= room[1]
    ]
    scale = fits[0] if fits else _SCALES[-1]
    return Paper(west, north, scale, 1000 * (east - west) / scale, 1000 * (north - south) / scale)


def plan_drawing(water: WaterPlan, site: Site, crs: str) -> Drawing:
    """
    Draw the plan of one water body.

    Parameters
    ----------
    water : WaterPlan
        Its plan.
    site : Site
        The site, for what surrounds it.
    crs : str
        CRS of the drawing, that of ``plan.gpkg``.

    Returns
    -------
    Drawing
        To scale, with grid, north arrow, scale bar and legend.
    """
    body = next(one for one in site.water_bodies if one.water_id == water.water_id)
    edges = {edge.level_name: transformed(edge.outline, water.crs, crs) for edge in water.edges}
    around = shapely.union_all(
        [*edges.values(), *[transformed(p, body.crs, crs) for p in _places(body)]]
    )
    paper = paper_for(around.bounds)
    width = max(paper.width_mm + 2 * _FRAME_MM, 120.0)
    height = paper.height_mm + 2 * _FRAME_MM + _LEGEND_MM
    name = f"{water.water_id} ({water.name})" if water.name else water.water_id
    words = f"Plan of {name}, 1 to {paper.scale:,}: {len(water.rafts)} rafts, north up"
    parts = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.2f} {height:.2f}"'
            f' role="img" aria-label="{html.escape(words)}">'
        ),
        f"<title>{html.escape(words)}</title>",
        (
            '<defs><pattern id="hatch" width="1" height="1" patternUnits="userSpaceOnUse">'
            f'<path d="M0 1L1 0" stroke="{_RAFT}" stroke-width=".25"/></pattern></defs>'
        ),
        *_edges(edges, paper),
        *_grid(paper, around.bounds),
        *_surroundings(body, paper, crs),
        *_rafts(water, site, paper, crs),
        *_legend(paper, width, height - _LEGEND_MM),
        "</svg>",
    ]
    caption = (
        f"{name}. Scale 1:{paper.scale:,} when printed at full size; grid of the CRS of the plan."
        " Not for driving posts: set out from setting_out.csv."
    )
    return Drawing("\n".join(parts), words, caption, width)


def _places(body: WaterBody) -> Iterator[BaseGeometry]:
    """Yield what is drawn beside the water."""
    yield from (inflow.point for inflow in body.inflows)
    yield from (outlet.geometry for outlet in body.outlets)
    yield from (launch.geometry for launch in body.launches)
    yield from (mark.point for mark in body.marks)


def _edges(edges: dict[str, BaseGeometry], paper: Paper) -> Iterator[str]:
    """Yield the water's edge at each level."""
    looks = {
        "high": f'fill="none" stroke="{_EDGE}" stroke-width=".18" stroke-dasharray="1.6 .8"',
        "normal": f'fill="{_WATER}" stroke="{_EDGE}" stroke-width=".35"',
        "low": f'fill="none" stroke="{_EDGE}" stroke-width=".18" stroke-dasharray=".5 .7"',
    }
    for name in ("normal", "high", "low"):
        if name in edges:
            yield _path(edges[name], paper, looks[name])


def _grid(paper: Paper, bounds: tuple[float, float, float, float]) -> Iterator[str]:
    """Yield crosses at round coordinates, with their numbers at the frame."""
    west, south, east, north = bounds
    step = _round_step(paper.scale * 0.04)
    eastings = np.arange(math.ceil(west / step) * step, east, step)
    northings = np.arange(math.ceil(south / step) * step, north, step)
    crosses = []
    for easting in eastings:
        for northing in northings:
            x, y = paper.at(easting, northing)
            crosses.append(f"M{x - 1:.2f} {y:.2f}h2M{x:.2f} {y - 1:.2f}v2")
    yield f'<path d="{"".join(crosses)}" stroke="#9a9a9a" stroke-width=".12" fill="none"/>'
    for easting in eastings:
        x, _ = paper.at(easting, north)
        yield _text(x, 3.6, f"{easting:.0f}", 2.1, "middle")
    for northing in northings:
        _, y = paper.at(west, northing)
        yield (
            f'<text x="3" y="{y:.2f}" font-size="2.1" text-anchor="middle" {_FONT}'
            f' transform="rotate(-90 3 {y:.2f})">{northing:.0f}</text>'
        )


def _surroundings(body: WaterBody, paper: Paper, crs: str) -> Iterator[str]:
    """Yield inflows, outlets, launching places and marks."""
    for inflow in body.inflows:
        x, y = _spot(inflow.point, body, paper, crs)
        yield f'<path d="M{x:.2f} {y:.2f}l-1.2 -2h2.4z" fill="{_INK}"/>'
        yield _text(x + 1.6, y - 0.6, inflow.inflow_id, 2.2)
    for outlet in body.outlets:
        x, y = _spot(outlet.geometry.centroid, body, paper, crs)
        yield f'<rect x="{x - 1:.2f}" y="{y - 1:.2f}" width="2" height="2" fill="{_INK}"/>'
        yield _text(x + 1.6, y + 2.2, outlet.outlet_id, 2.2)
    for launch in body.launches:
        x, y = _spot(launch.geometry.centroid, body, paper, crs)
        yield f'<path d="M{x:.2f} {y - 1.4:.2f}l1.4 1.4l-1.4 1.4l-1.4 -1.4z" fill="{_WAY}"/>'
        yield _text(x + 1.8, y + 0.7, launch.launch_id, 2.2)
    for mark in body.marks:
        x, y = _spot(mark.point, body, paper, crs)
        yield f'<path d="M{x - 1:.2f} {y:.2f}h2M{x:.2f} {y - 1:.2f}v2" {_THIN}/>'
        yield _text(x + 1.3, y - 0.5, mark.mark_id, 2.0)


def _rafts(water: WaterPlan, site: Site, paper: Paper, crs: str) -> Iterator[str]:
    """Yield routes, rafts, their names and what holds them."""
    for route in water.routes:
        at = shapely.get_coordinates(transformed(route.path, water.crs, crs))
        x, y = paper.at(at[:, 0], at[:, 1])
        points = " ".join(f"{one:.2f},{other:.2f}" for one, other in zip(x, y, strict=True))
        yield f'<polyline points="{points}" fill="none" stroke="{_WAY}" stroke-width=".12"/>'
    outlines = raft_outlines(water, site)
    for raft, outline in zip(water.rafts, outlines, strict=True):
        fill = "url(#hatch)" if raft.status == "existing" else _RAFT
        shape = transformed(outline, water.crs, crs)
        yield _path(shape, paper, f'fill="{fill}" stroke="{_INK}" stroke-width=".15"')
    for mooring in water.moorings:
        spot = transformed(shapely.Point(mooring.easting_m, mooring.northing_m), water.crs, crs)
        x, y = paper.at(spot.x, spot.y)
        yield f'<circle cx="{x:.2f}" cy="{y:.2f}" r=".35" fill="{_INK}"/>'
    for raft, outline in zip(water.rafts, outlines, strict=True):
        at = transformed(outline, water.crs, crs)
        x, y = paper.at(at.centroid.x, at.bounds[1])
        label = raft.raft_id.removeprefix(f"{water.water_id}-")[:10]
        yield _text(x, float(y) + 2.2, label, 1.9, "middle")


def _spot(point: BaseGeometry, body: WaterBody, paper: Paper, crs: str) -> tuple[float, float]:
    """Return where a place of the site is on paper."""
    moved = transformed(point, body.crs, crs)
    x, y = paper.at(moved.x, moved.y)
    return float(x), float(y)


def _legend(paper: Paper, width: float, top: float) -> Iterator[str]:
    """Yield scale bar, north arrow and what each sign means."""
    length = _round_step(paper.scale * 0.03)
    bar = 1000 * length / paper.scale
    y = top + 4
    yield f'<path d="M{_FRAME_MM} {y}h{bar:.2f}m0 -1v2m{-bar:.2f} -2v2" {_THIN}/>'
    yield _text(_FRAME_MM + bar + 1.5, y + 0.8, f"{length:g} m    1:{paper.scale:,}", 2.6)
    x = width - 8
    yield f'<path d="M{x} {y + 4}v-7l-1.2 2.4m1.2 -2.4l1.2 2.4" fill="none" {_THIN}/>'
    yield _text(x, y + 7, "grid N", 2.2, "middle")
    signs: Sequence[tuple[str, str]] = (
        (f'<rect width="4" height="2.4" fill="{_RAFT}"/>', "planned raft"),
        (
            f'<rect width="4" height="2.4" fill="url(#hatch)" stroke="{_INK}" stroke-width=".15"/>',
            "raft already there",
        ),
        (f'<circle cx="2" cy="1.2" r=".5" fill="{_INK}"/>', "post or anchor"),
        (f'<path d="M0 1.2h4" stroke="{_WAY}" stroke-width=".3"/>', "tow route"),
        (f'<path d="M2 2.2l-1.2 -2h2.4z" fill="{_INK}"/>', "inflow"),
        (f'<rect x="1" y=".2" width="2" height="2" fill="{_INK}"/>', "outlet"),
        (f'<path d="M2 0l1.2 1.2l-1.2 1.2l-1.2 -1.2z" fill="{_WAY}"/>', "launching place"),
        (f'<path d="M1 1.2h2M2 .2v2" stroke="{_INK}" stroke-width=".3"/>', "mark on the bank"),
        (f'<path d="M0 1.2h4" stroke="{_EDGE}" stroke-width=".35"/>', "edge, normal level"),
        (
            f'<path d="M0 1.2h4" stroke="{_EDGE}" stroke-width=".2" stroke-dasharray=".5 .7"/>',
            "low level",
        ),
        (
            f'<path d="M0 1.2h4" stroke="{_EDGE}" stroke-width=".2" stroke-dasharray="1.6 .8"/>',
            "high level",
        ),
    )
    columns = max(2, int((width - 2 * _FRAME_MM - 10) // 32))
    for number, (sign, words) in enumerate(signs):
        across = _FRAME_MM + 32 * (number % columns)
        down = top + 8 + 4 * (number // columns)
        yield f'<g transform="translate({across:.1f} {down:.1f})">{sign}</g>'
        yield _text(across + 5.2, down + 2, words, 2.3)


def _round_step(about_m: float) -> float:
    """Return a round length not above one."""
    power = 10.0 ** math.floor(math.log10(about_m))
    return float(power * max(step for step in (1.0, 2.0, 5.0) if step * power <= about_m))


def _path(shape: BaseGeometry, paper: Paper, look: str) -> str:
    """Return polygons as a path."""
    steps = []
    for part in shapely.get_parts(shape):
        for ring in (part.exterior, *part.interiors):
            at = shapely.get_coordinates(ring)
            x, y = paper.at(at[:, 0], at[:, 1])
            pairs = " ".join(f"{one:.2f} {other:.2f}" for one, other in zip(x, y, strict=True))
            steps.append(f"M{pairs}Z")
    return f'<path fill-rule="evenodd" d="{"".join(steps)}" {look}/>'


def _text(x: float, y: float, words: str, size: float, anchor: str = "start") -> str:
    """Return words; a name of the site is cut and escaped."""
    return (
        f'<text x="{float(x):.2f}" y="{float(y):.2f}" font-size="{size:g}" text-anchor="{anchor}"'
        f' fill="{_INK}" {_FONT}>{html.escape(words[:40])}</text>'
    )
