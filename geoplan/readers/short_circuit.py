"""Inflows and outlets so near to each other that water leaves where it enters."""

import math

import shapely

from geoplan.readers.fault_log import FaultLog, Place
from geoplan.site import WaterBody

#: Distance between an inflow and an outlet below which both places are doubtful: as a share of the
#: size of the water, and at least. *Judgement*.
_SHARE, _LEAST_M = 0.1, 2.0


def doubtful_flow(body: WaterBody, file: str, log: FaultLog) -> None:
    """
    Warn of outlets beside an inflow: few ponds are built so.

    Parameters
    ----------
    body : WaterBody
        The water body.
    file : str
        File of the outlets.
    log : FaultLog
        Takes the warnings.

    Notes
    -----
    Where they are nearer still, the plan leaves the load of the inflow out (see
    ``geoplan.hydraulics``).
    """
    near_m = max(_LEAST_M, _SHARE * math.sqrt(body.outline.area))
    for outlet in body.outlets:
        for inflow in body.inflows:
            away_m = float(shapely.distance(inflow.point, outlet.geometry))
            if away_m < near_m:
                log.remark(
                    Place(file, "outlets", f"water body '{body.water_id}'"),
                    f"outlet '{outlet.outlet_id}' {away_m:.1f} m from inflow '{inflow.inflow_id}'",
                    f"an outlet {near_m:.1f} m or more away",
                    "Check both places: water that leaves where it enters is hardly treated, and"
                    " where they all but meet its load is left out.",
                )
