"""
``moorings.csv``: every post, line and anchor, with its load and what it bears.

Loads and capacities are a screening; each row says who must sign them.
"""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import shapely

from geoplan.crs import WGS84, transformed_points
from geoplan.exports.csv_text import Cell, Fixed, write_table
from geoplan.exports.safe_rounding import rounded_down, rounded_up
from geoplan.materials import stock_length_m
from geoplan.plan import AuditReport, Mooring, Plan, WaterPlan
from geoplan.raft import footprints
from geoplan.settings import Settings
from geoplan.site import FloatArray, Levels, Site

FILE_NAME = "moorings.csv"

CAUTION = "screening only: an engineer must settle and sign load and capacity; local codes prevail"
POST_CARE = "look for cables and pipes before driving; look at it after storms and each spring"
LINE_CARE = (
    "look twice a year for chafe at fairlead and bed, and for slack; sleeve the rope where it"
    " rubs; replace it when a strand is cut"
)

_HEADER = (
    "mooring_id",
    "raft_id",
    "water_id",
    "kind",
    "made_of",
    "easting_m",
    "northing_m",
    "longitude_deg",
    "latitude_deg",
    "depth_high_m",
    "length_m",
    "stock_length_m",
    "embedment_m",
    "top_above_high_m",
    "sleeve_travel_m",
    "from_corner",
    "block_kg",
    "watch_radius_low_m",
    "load_n",
    "load_case",
    "capacity_n",
    "governs",
    "bears_load",
    "caution",
    "care",
)


def write(
    plan: Plan,
    site: Site,
    folder: Path,
    audit: AuditReport | None,  # noqa: ARG001 - exports are called alike
) -> None:
    """
    Write ``moorings.csv``.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site, for what moorings are made of.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Not used: the sheet states what the plan says.

    Raises
    ------
    ExportError
        If the file cannot be written.
    """
    known = site.by_id
    rows = (
        row
        for water in plan.waters
        if water.moorings
        for row in _rows(water, plan.client_crs, site.settings, known[water.water_id].levels)
    )
    write_table(folder / FILE_NAME, _HEADER, rows)


def _rows(
    water: WaterPlan, crs: str, settings: Settings, levels: Levels
) -> Iterator[tuple[Cell, ...]]:
    """Yield a row for each mooring."""
    travel_m = _sleeve_travel_m(levels, settings)
    at = np.array([(part.easting_m, part.northing_m) for part in water.moorings])
    easting, northing = transformed_points(at[:, 0], at[:, 1], water.crs, crs)
    longitude, latitude = transformed_points(at[:, 0], at[:, 1], water.crs, WGS84)
    corners = _corners(water)
    for index, part in enumerate(water.moorings):
        is_post = part.kind == "post"
        stock = stock_length_m(part.length_m, settings) if is_post else None
        yield (
            part.mooring_id,
            part.raft_id,
            water.water_id,
            part.kind,
            settings.mooring.post if is_post else f"{settings.mooring.anchor} anchor and rope",
            Fixed(easting[index], 3),
            Fixed(northing[index], 3),
            Fixed(longitude[index], 8),
            Fixed(latitude[index], 8),
            _up(part.depth_high_m, 2),
            _up(part.length_m, 2),
            None if stock is None else Fixed(stock, 2),
            _up(part.embedment_m, 2) if is_post else None,
            _down(part.length_m - part.embedment_m - part.depth_high_m, 2) if is_post else None,
            _up(travel_m, 2) if is_post else None,
            _corner(part, corners.get(part.raft_id)),
            _up(part.block_kg, 0),
            _up(part.watch_radius_low_m, 2),
            _up(part.load_n, 0),
            part.load_case,
            _down(part.capacity_n, 0),
            part.governs,
            _verdict(part),
            CAUTION,
            POST_CARE if is_post else LINE_CARE,
        )


def _sleeve_travel_m(levels: Levels, settings: Settings) -> float:
    """Return on how much of a post a sleeve must slide: low to high, and a margin at each end."""
    return levels.high_m - levels.low_m + 2.0 * settings.mooring.travel_margin_m


def _corners(water: WaterPlan) -> dict[str, FloatArray]:
    """Return the corners of each raft as they are numbered where they are set out, shape (4, 2)."""
    rafts = water.rafts
    outlines = footprints(
        [raft.easting_m for raft in rafts],
        [raft.northing_m for raft in rafts],
        [raft.heading_deg for raft in rafts],
        [raft.length_m for raft in rafts],
        [raft.width_m for raft in rafts],
    )
    return {
        raft.raft_id: shapely.get_coordinates(outline)[:4]
        for raft, outline in zip(rafts, outlines, strict=True)
    }


def _corner(part: Mooring, corners: FloatArray | None) -> Cell:
    """Return the corner of the raft nearest to where a line is made fast; nothing for a post."""
    if corners is None or part.fairlead_easting_m is None or part.fairlead_northing_m is None:
        return None
    away = corners - (part.fairlead_easting_m, part.fairlead_northing_m)
    return int(np.hypot(away[:, 0], away[:, 1]).argmin()) + 1


def _verdict(part: Mooring) -> str:
    """Return whether a mooring bears its load, in a word."""
    if part.load_n is None or part.capacity_n is None:
        return "not assessed"
    return "yes" if part.capacity_n >= part.load_n else "NO"


def _up(value: float | None, decimals: int) -> Cell:
    """Return a number rounded up; nothing where there is none."""
    rounded = rounded_up(value, decimals)
    return None if rounded is None else Fixed(rounded, decimals)


def _down(value: float | None, decimals: int) -> Cell:
    """Return a number rounded down; nothing where there is none."""
    rounded = rounded_down(value, decimals)
    return None if rounded is None else Fixed(rounded, decimals)
