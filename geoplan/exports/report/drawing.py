"""
The plan of one water body drawn to scale on paper: SVG in millimetres, grid north up.

Ink is used so that it still reads in grey: what is planned is filled, what is there already
hatched, levels differ by their dashes.
"""

from collections.abc import Iterator

import shapely
from shapely.geometry.base import BaseGeometry

from geoplan.crs import transformed
from geoplan.exports.outlines import raft_outlines
from geoplan.exports.report.content import Drawing
from geoplan.exports.report.paper import (
    FRAME_MM,
    INK,
    Paper,
    grid_crosses,
    label,
    outline_path,
    paper_for,
    scale_and_north,
    sheet,
    signs,
)
from geoplan.plan import WaterPlan
from geoplan.site import Site, WaterBody

_LEGEND_MM = 22.0
_THIN = f'stroke="{INK}" stroke-width=".3"'
_WATER, _EDGE, _RAFT, _WAY = "#e6eef2", "#4a5a63", "#2f6b4a", "#8a5a1c"

_HATCH = (
    '<defs><pattern id="hatch" width="1" height="1" patternUnits="userSpaceOnUse">'
    f'<path d="M0 1L1 0" stroke="{_RAFT}" stroke-width=".25"/></pattern></defs>'
)
#: Signs, and what they mean.
_SIGNS = (
    (f'<rect width="4" height="2.4" fill="{_RAFT}"/>', "planned raft"),
    (
        f'<rect width="4" height="2.4" fill="url(#hatch)" stroke="{INK}" stroke-width=".15"/>',
        "raft already there",
    ),
    (f'<circle cx="2" cy="1.2" r=".5" fill="{INK}"/>', "post or anchor"),
    (f'<path d="M0 1.2h4" stroke="{_WAY}" stroke-width=".3"/>', "tow route"),
    (f'<path d="M2 2.2l-1.2 -2h2.4z" fill="{INK}"/>', "inflow"),
    (f'<rect x="1" y=".2" width="2" height="2" fill="{INK}"/>', "outlet"),
    (f'<path d="M2 0l1.2 1.2l-1.2 1.2l-1.2 -1.2z" fill="{_WAY}"/>', "launching place"),
    (f'<path d="M1 1.2h2M2 .2v2" stroke="{INK}" stroke-width=".3"/>', "mark on the bank"),
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
    body = site.by_id[water.water_id]
    edges = {edge.level_name: transformed(edge.outline, water.crs, crs) for edge in water.edges}
    around = shapely.union_all(
        [*edges.values(), *[transformed(p, body.crs, crs) for p in _places(body)]]
    )
    paper = paper_for(around.bounds)
    width = max(paper.width_mm + 2 * FRAME_MM, 120.0)
    height = paper.height_mm + 2 * FRAME_MM + _LEGEND_MM
    name = f"{water.water_id} ({water.name})" if water.name else water.water_id
    words = f"Plan of {name}, 1 to {paper.scale:,}: {len(water.rafts)} rafts, north up"
    parts = (
        _HATCH,
        *_edges(edges, paper),
        *grid_crosses(paper, around.bounds),
        *_surroundings(body, paper, crs),
        *_rafts(water, site, paper, crs),
        *scale_and_north(paper, width, height - _LEGEND_MM + 4),
        *signs(_SIGNS, width, height - _LEGEND_MM + 8),
    )
    caption = (
        f"{name}. Scale 1:{paper.scale:,} when printed at full size; grid of the CRS of the plan."
        " Not for driving posts: set out from setting_out.csv."
    )
    return Drawing(sheet(width, height, words, iter(parts)), words, caption, width)


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
            yield outline_path(edges[name], paper, looks[name])


def _surroundings(body: WaterBody, paper: Paper, crs: str) -> Iterator[str]:
    """Yield inflows, outlets, launching places and marks."""
    for inflow in body.inflows:
        x, y = _spot(inflow.point, body, paper, crs)
        yield f'<path d="M{x:.2f} {y:.2f}l-1.2 -2h2.4z" fill="{INK}"/>'
        yield label(x + 1.6, y - 0.6, inflow.inflow_id, 2.2)
    for outlet in body.outlets:
        x, y = _spot(outlet.geometry.centroid, body, paper, crs)
        yield f'<rect x="{x - 1:.2f}" y="{y - 1:.2f}" width="2" height="2" fill="{INK}"/>'
        yield label(x + 1.6, y + 2.2, outlet.outlet_id, 2.2)
    for launch in body.launches:
        x, y = _spot(launch.geometry.centroid, body, paper, crs)
        yield f'<path d="M{x:.2f} {y - 1.4:.2f}l1.4 1.4l-1.4 1.4l-1.4 -1.4z" fill="{_WAY}"/>'
        yield label(x + 1.8, y + 0.7, launch.launch_id, 2.2)
    for mark in body.marks:
        x, y = _spot(mark.point, body, paper, crs)
        yield f'<path d="M{x - 1:.2f} {y:.2f}h2M{x:.2f} {y - 1:.2f}v2" {_THIN}/>'
        yield label(x + 1.3, y - 0.5, mark.mark_id, 2.0)


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
        yield outline_path(shape, paper, f'fill="{fill}" stroke="{INK}" stroke-width=".15"')
    for mooring in water.moorings:
        spot = transformed(shapely.Point(mooring.easting_m, mooring.northing_m), water.crs, crs)
        x, y = paper.at(spot.x, spot.y)
        yield f'<circle cx="{x:.2f}" cy="{y:.2f}" r=".35" fill="{INK}"/>'
    for raft, outline in zip(water.rafts, outlines, strict=True):
        at = transformed(outline, water.crs, crs)
        x, y = paper.at(at.centroid.x, at.bounds[1])
        name = raft.raft_id.removeprefix(f"{water.water_id}-")[:10]
        yield label(x, float(y) + 2.2, name, 1.9, "middle")


def _spot(point: BaseGeometry, body: WaterBody, paper: Paper, crs: str) -> tuple[float, float]:
    """Return where a place of the site is on paper."""
    moved = transformed(point, body.crs, crs)
    x, y = paper.at(moved.x, moved.y)
    return float(x), float(y)
