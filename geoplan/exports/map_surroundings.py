"""
What the map shows round the water: inflows, outlets, launches, shade and what is kept clear.

It is taken from the site as it was read; the plan changes none of it.
"""

from collections.abc import Sequence
from typing import Any

from geoplan.exports.map_coordinates import Millimetres
from geoplan.exports.safe_rounding import finite
from geoplan.site import KeepClear, Mark, ShadeObject, WaterBody


def surroundings(
    body: WaterBody, mm: Millimetres, suggested: Sequence[Mark] = ()
) -> dict[str, Any]:
    """
    Return what surrounds a water body.

    Parameters
    ----------
    body : WaterBody
        The water body.
    mm : Millimetres
        Centre from which places are counted.
    suggested : sequence of Mark
        Marks that the plan proposes.

    Returns
    -------
    dict of str to list
        ``inflows``, ``outlets``, ``launches``, ``keep_clear``, ``marks`` and ``shade``.
    """
    return {
        **_water_ways(body, mm),
        "launches": [
            {
                "launch_id": part.launch_id,
                "slope_pct": finite(part.slope_pct),
                "carry_m": finite(part.carry_m),
                "surface": part.surface,
                "vehicle": part.vehicle,
                "shape": mm.shape(part.geometry),
            }
            for part in body.launches
        ],
        "keep_clear": [
            {
                "reason": part.reason,
                "buffer_m": finite(part.buffer_m),
                "shape": mm.shape(kept_clear(part)),
            }
            for part in body.keep_clear
        ],
        "marks": [
            {
                "mark_id": part.mark_id,
                "is_suggested": part in suggested,
                "shape": mm.shape(part.point),
            }
            for part in (*body.marks, *suggested)
        ],
        "shade": [
            {
                "height_m": finite(part.height_m),
                "is_deciduous": part.deciduous,
                "shape": mm.shape(shading(part)),
            }
            for part in body.shade
        ],
    }


def _water_ways(body: WaterBody, mm: Millimetres) -> dict[str, Any]:
    """Return where water comes in and leaves."""
    return {
        "inflows": [
            {
                "inflow_id": part.inflow_id,
                "flow_l_s": finite(part.flow_l_s),
                "peak_flow_l_s": finite(part.peak_flow_l_s),
                "shape": mm.shape(part.point),
            }
            for part in body.inflows
        ],
        "outlets": [
            {
                "outlet_id": part.outlet_id,
                "width_m": finite(part.width_m),
                "shape": mm.shape(part.geometry),
            }
            for part in body.outlets
        ],
    }


def kept_clear(part: KeepClear) -> Any:
    """
    Return the area that is kept clear round something.

    Parameters
    ----------
    part : KeepClear
        What is kept clear.

    Returns
    -------
    BaseGeometry
        It with its distance round it, or itself where no distance is kept, working CRS [m].
    """
    return part.geometry.buffer(part.buffer_m) if part.buffer_m > 0 else part.geometry


def shading(part: ShadeObject) -> Any:
    """
    Return the outline of what shades.

    Parameters
    ----------
    part : ShadeObject
        A building or a tree.

    Returns
    -------
    BaseGeometry
        Its outline; a tree is as wide as its crown, working CRS [m].
    """
    return part.geometry.buffer(part.crown_radius_m) if part.crown_radius_m else part.geometry
