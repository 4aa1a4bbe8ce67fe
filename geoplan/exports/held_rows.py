"""Rows of ``plan.gpkg`` about lines, what rafts sweep on them, and what is bought."""

from typing import Any

from shapely.geometry import LineString

from geoplan.crs import transformed
from geoplan.materials import WHOLE_PLAN, bill
from geoplan.plan import Plan, WaterPlan
from geoplan.settings import Settings

Row = dict[str, Any]


def line_rows(water: WaterPlan, crs: str) -> list[Row]:
    """
    Return the rows of ``mooring_lines``, each from its fairlead to its anchor.

    Parameters
    ----------
    water : WaterPlan
        The plan of one water body.
    crs : str
        CRS of the file.

    Returns
    -------
    list of dict
        Empty where all rafts stand on posts.
    """
    return [
        {
            "raft_id": part.raft_id,
            "mooring_id": part.mooring_id,
            "length_m": part.length_m,
            "watch_radius_low_m": part.watch_radius_low_m,
            "geometry": transformed(
                LineString(
                    [
                        (part.fairlead_easting_m, part.fairlead_northing_m),
                        (part.easting_m, part.northing_m),
                    ]
                ),
                water.crs,
                crs,
            ),
        }
        for part in water.moorings
        if part.fairlead_easting_m is not None
    ]


def swept_rows(water: WaterPlan, crs: str) -> list[Row]:
    """
    Return the rows of ``swept``: what each raft on lines may sweep at each level.

    Parameters
    ----------
    water : WaterPlan
        The plan of one water body.
    crs : str
        CRS of the file.

    Returns
    -------
    list of dict
        Empty where all rafts stand on posts.
    """
    return [
        {
            "raft_id": area.raft_id,
            "water_id": water.water_id,
            "level_name": area.level_name,
            "level_m": area.level_m,
            "geometry": transformed(area.outline, water.crs, crs),
        }
        for area in water.swept
    ]


def material_rows(plan: Plan, settings: Settings) -> list[Row]:
    """
    Return the rows of ``materials``: the bill of the whole plan.

    Parameters
    ----------
    plan : Plan
        The plan.
    settings : Settings
        Raft types, waste and prices.

    Returns
    -------
    list of dict
        One for each item and size; without a geometry.
    """
    return [
        {
            "item": line.item,
            "size": line.size,
            "quantity": line.quantity,
            "unit": line.unit,
            "ordered": line.ordered,
            "price": line.price,
            "cost": line.cost,
            "geometry": None,
        }
        for line in bill(plan, settings)
        if line.scope == WHOLE_PLAN
    ]
