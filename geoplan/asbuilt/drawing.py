"""Rafts as planned and as they lie, drawn to scale on paper."""

from collections.abc import Iterator, Sequence

import shapely

from geoplan.asbuilt.record import SurveyedRaft
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
from geoplan.written import WrittenPlan

_LEGEND_MM = 18.0
_WATER, _EDGE, _LIES, _AMISS = "#e6eef2", "#4a5a63", "#2f6b4a", "#9c2a10"
_PLANNED = f'fill="none" stroke="{INK}" stroke-width=".2" stroke-dasharray=".9 .6"'
_SOUND = f'fill="{_LIES}" fill-opacity=".6" stroke="{INK}" stroke-width=".15"'
_ODD = f'fill="{_AMISS}" fill-opacity=".75" stroke="{INK}" stroke-width=".15"'
_SIGNS = (
    (f'<rect width="4" height="2.4" {_SOUND}/>', "lies in place"),
    (f'<rect width="4" height="2.4" {_ODD}/>', "moved, turned, unplanned"),
    (f'<rect width="4" height="2.4" {_PLANNED}/>', "as planned"),
    (f'<path d="M0 1.2h4" stroke="{_EDGE}" stroke-width=".35"/>', "edge, normal level"),
)


def survey_drawing(
    water_id: str, rafts: Sequence[SurveyedRaft], written: WrittenPlan
) -> Drawing | None:
    """
    Draw one water body with its rafts as planned and as they lie.

    Parameters
    ----------
    water_id : str
        The water body.
    rafts : sequence of SurveyedRaft
        Rafts that were fixed there.
    written : WrittenPlan
        The plan, for edges and planned outlines.

    Returns
    -------
    Drawing or None
        To scale, with grid, north arrow, scale bar and legend; ``None`` where the plan has no edge
        of that water body.
    """
    normal = [
        edge.outline
        for edge in written.edges
        if edge.water_id == water_id and edge.level_name == "normal"
    ]
    if not normal:
        return None
    bounds = shapely.union_all([normal[0], *[raft.outline for raft in rafts]]).bounds
    paper = paper_for(bounds)
    width = max(paper.width_mm + 2 * FRAME_MM, 120.0)
    height = paper.height_mm + 2 * FRAME_MM + _LEGEND_MM
    planned = [raft.outline for raft in written.rafts if raft.water_id == water_id]
    parts = (
        outline_path(normal[0], paper, f'fill="{_WATER}" stroke="{_EDGE}" stroke-width=".35"'),
        *grid_crosses(paper, bounds),
        *(outline_path(outline, paper, _PLANNED) for outline in planned),
        *_lying(water_id, rafts, paper),
        *scale_and_north(paper, width, height - _LEGEND_MM + 4),
        *signs(_SIGNS, width, height - _LEGEND_MM + 8),
    )
    words = f"{water_id}, 1 to {paper.scale:,}: rafts as planned and as they lie, north up"
    caption = (
        f"{water_id}. Scale 1:{paper.scale:,} when printed at full size; grid of the CRS of the"
        " plan. Red is what moved, turned or was never planned."
    )
    return Drawing(sheet(width, height, words, iter(parts)), words, caption, width)


def _lying(water_id: str, rafts: Sequence[SurveyedRaft], paper: Paper) -> Iterator[str]:
    """Yield rafts where they lie, and their names below them."""
    for raft in rafts:
        look = _SOUND if raft.state == "in place" else _ODD
        yield outline_path(raft.outline, paper, look)
    for raft in rafts:
        x, y = paper.at(raft.easting_m, raft.outline.bounds[1])
        name = raft.raft_id.removeprefix(f"{water_id}-")[:10]
        yield label(x, float(y) + 2.2, name, 1.9, "middle")
