"""Regions that hold what was surveyed, as outlines."""

import math

import numpy as np
from shapely.geometry import Polygon

from geoplan.asbuilt.record import SurveyedRaft


def region(raft: SurveyedRaft) -> Polygon:
    """
    Return the ellipse that holds the centre of a raft 19 times in 20.

    Parameters
    ----------
    raft : SurveyedRaft
        The raft.

    Returns
    -------
    Polygon
        CRS of the plan [m].
    """
    turn = np.linspace(0.0, 2.0 * math.pi, 48, endpoint=False)
    angle = math.radians(raft.bearing_deg)
    ahead = raft.half_axis_major_m * np.cos(turn)
    aside = raft.half_axis_minor_m * np.sin(turn)
    return Polygon(
        np.column_stack(
            [
                raft.easting_m + ahead * math.sin(angle) + aside * math.cos(angle),
                raft.northing_m + ahead * math.cos(angle) - aside * math.sin(angle),
            ]
        )
    )
