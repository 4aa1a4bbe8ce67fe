"""The water that each raft of a plan covers and how it lies, as every file shows it."""

import math
from functools import lru_cache

import numpy as np
from shapely.geometry import Polygon

from geoplan.crs import transformed_points
from geoplan.errors import ExportError
from geoplan.plan import PlacedRaft, WaterPlan
from geoplan.raft import footprints
from geoplan.site import Site


def raft_outlines(water: WaterPlan, site: Site) -> tuple[Polygon, ...]:
    """
    Return the outlines of the rafts of one water body.

    Parameters
    ----------
    water : WaterPlan
        Its plan.
    site : Site
        The site, for the outlines of rafts that lie there already.

    Returns
    -------
    tuple of Polygon
        One for each raft in the order of the plan, working CRS [m].

    Notes
    -----
    A planned raft is the rectangle of its centre, heading and size. A raft that lies there
    already keeps the outline that was surveyed, whatever its shape.
    """
    surveyed = _surveyed(site).get(water.water_id, {})
    if not water.rafts:
        return ()
    rectangles = footprints(
        [raft.easting_m for raft in water.rafts],
        [raft.northing_m for raft in water.rafts],
        [raft.heading_deg for raft in water.rafts],
        [raft.length_m for raft in water.rafts],
        [raft.width_m for raft in water.rafts],
    )
    return tuple(
        surveyed.get(raft.raft_id, rectangle) if raft.status == "existing" else rectangle
        for raft, rectangle in zip(water.rafts, rectangles, strict=True)
    )


@lru_cache(maxsize=2)
def _surveyed(site: Site) -> dict[str, dict[str, Polygon]]:
    """Return the outlines of rafts that lie there already, by water body; kept for the next."""
    return {
        body.water_id: {raft.raft_id: raft.outline for raft in body.rafts}
        for body in site.water_bodies
        if body.rafts
    }


def pose_in(raft: PlacedRaft, working_crs: str, crs: str) -> tuple[float, float, float]:
    """
    Return centre and heading of a raft in another CRS, whose grid north may be turned.

    Parameters
    ----------
    raft : PlacedRaft
        The raft.
    working_crs, crs : str
        CRS of the raft, and the CRS wanted.

    Returns
    -------
    float
        Easting of the centre [m].
    float
        Northing of the centre [m].
    float
        Long axis, clockwise from the grid north of ``crs``, 0 to 180 [°].

    Raises
    ------
    ExportError
        If the raft has no coordinates there.

    Examples
    --------
    A raft along true north, 3 degrees east of the central meridian of UTM zone 32, is turned by
    the grid convergence, 3° × sin(56°) = 2.49° to the west.

    >>> from geoplan.crs import working_crs
    >>> raft = PlacedRaft("a", "w", "t", 0, 0, 0, 4, 2, 8, 8, 2, 1, 2, None, None, 1, None)
    >>> easting_m, northing_m, heading_deg = pose_in(raft, working_crs(12, 56), "EPSG:32632")
    >>> round(heading_deg, 2)
    177.51
    """
    angle = math.radians(raft.heading_deg)
    reach = np.array([0.0, -0.5, 0.5]) * raft.length_m
    easting, northing = transformed_points(
        raft.easting_m + reach * math.sin(angle),
        raft.northing_m + reach * math.cos(angle),
        working_crs,
        crs,
    )
    if not (np.isfinite(easting).all() and np.isfinite(northing).all()):
        raise ExportError(
            f"raft '{raft.raft_id}' has no coordinates in {crs}; choose a CRS for the site that"
            " is made for this place"
        )
    heading = math.degrees(math.atan2(easting[2] - easting[1], northing[2] - northing[1])) % 180.0
    return float(easting[0]), float(northing[0]), heading if heading < 180.0 else 0.0
