"""
Ponds held against what field studies of floating rafts covered.

A meta-analysis of eight field studies (2022, abstract) found that features of the pond govern:
above 200 m² of catchment for each square metre of pond, and above 1.75 m of depth, rafts were seen
to do little.
"""

import math
from collections.abc import Iterator

from geoplan.exports.csv_text import Fixed
from geoplan.exports.report.basis import named
from geoplan.exports.report.content import Block, Heading, Text, Value, grid
from geoplan.plan import Plan, WaterPlan
from geoplan.site import Site, WaterBody

#: Catchment over pond above which field studies saw little from rafts [1].
MOST_RATIO = 200.0
#: Depth of a pond above which they saw little [m].
MOST_DEPTH_M = 1.75


def field_limits(plan: Plan, site: Site) -> Iterator[Block]:
    """
    Yield how each water body lies to the limits of the field studies.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site, for catchments.

    Yields
    ------
    Block
        A heading, words and a table.
    """
    bodies = site.by_id
    rows = [_row(water, bodies[water.water_id]) for water in plan.waters]
    yield Heading("Ponds like those of field studies", 2)
    yield Text(
        "Eight field studies taken together (meta-analysis, 2022) saw rafts do little where the"
        f" catchment is more than {MOST_RATIO:g} times the pond, or the pond deeper than"
        f" {MOST_DEPTH_M:g} m. The balance above knows neither limit: beyond them trust it less."
    )
    yield grid(
        "Catchment and depth; a catchment counts where the site states it",
        ("water body", "mean depth [m]", "catchment over pond", "beyond the studies"),
        rows,
    )


def _row(water: WaterPlan, body: WaterBody) -> tuple[Value, ...]:
    """Return the line of one water body."""
    normal = next((edge for edge in water.edges if edge.level_name == "normal"), None)
    area_m2 = normal.area_m2 if normal else 0.0
    depth_m = normal.volume_m3 / area_m2 if normal and area_m2 > 0 else math.nan
    ratio = catchment_ratio(body, area_m2)
    beyond = [
        words
        for is_beyond, words in (
            (ratio is not None and ratio > MOST_RATIO, "catchment"),
            (depth_m > MOST_DEPTH_M, "depth"),
        )
        if is_beyond
    ]
    return (
        named(water),
        Fixed(depth_m, 2) if math.isfinite(depth_m) else None,
        None if ratio is None else Fixed(ratio, 0),
        ", ".join(beyond) or "no",
    )


def catchment_ratio(body: WaterBody, area_m2: float) -> float | None:
    """
    Return how many times larger the catchment is than the pond.

    Parameters
    ----------
    body : WaterBody
        The water body, for the catchments of its inflows.
    area_m2 : float
        Open water [m²].

    Returns
    -------
    float or None
        Stated catchments over open water [1]; ``None`` where an inflow states none.
    """
    areas_ha = [inflow.catchment_ha for inflow in body.inflows]
    if not areas_ha or area_m2 <= 0 or None in areas_ha:
        return None
    return math.fsum(area for area in areas_ha if area) * 1e4 / area_m2
