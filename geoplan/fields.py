"""
What is known of each cell of a water body, from its raw data.

Geometry ends here: points, lines and polygons become arrays for the numerics of the water.
"""

import numpy as np
import shapely

from geoplan.grid import SiteFields, WaterGrid, default_cell_size_m, water_grid
from geoplan.narrows import WayGrid, distance_from_m, narrows_note, way_grid
from geoplan.settings import Settings, SunSettings
from geoplan.shade import sun_field
from geoplan.site import FloatArray, WaterBody
from geoplan.water.bathymetry import BedPoints, BedSurface, bed_from_points, bed_from_raster
from geoplan.water.raster_overlay import RasterOfBed, bed_over_raster

#: Spacing of the points that carry the water's edge and contours into the bed [m].
_SHORE_STEP_M = 1.0


def site_fields(body: WaterBody, settings: Settings) -> SiteFields:
    """
    Return the fields of a water body.

    Parameters
    ----------
    body : WaterBody
        The water body and its soundings, contours, raster and inflows.
    settings : Settings
        Survey, grid and treatment settings.

    Returns
    -------
    SiteFields
        Bed, its uncertainty, what is surveyed, and worth.
    """
    cell_m = settings.grid.cell_m or default_cell_size_m(body.outline.area)
    grid = water_grid(body.outline, cell_m)
    bed = _bed(body, grid, settings)
    sun_h = sun_field(body, settings, grid)
    ways = way_grid(body.outline, grid)
    worth = worth_by_distance(body, grid, settings.treatment.reach_m, ways)
    return SiteFields(
        grid=grid,
        bed_m=bed.bed_m,
        sigma_m=bed.sigma_m,
        reliable_bed_m=bed.reliable_bed_m,
        is_unsurveyed=bed.is_unsurveyed,
        worth=worth * sun_share(sun_h, settings.sun),
        sun_h=sun_h,
        edge_bed_m=bed.edge_bed_m,
        edge_surface=bed.edge_surface,
        notes=narrows_note(ways, body.water_id) if body.inflows else (),
    )


def sun_share(sun_h: FloatArray, sun: SunSettings) -> FloatArray:
    """
    Return what share of its worth a raft has with the sun that its plants get.

    Parameters
    ----------
    sun_h : ndarray of float
        Mean hours of direct sun a day [h].
    sun : SunSettings
        Hours for any and for full worth.

    Returns
    -------
    ndarray of float
        0 at ``least_h``, 1 from ``full_h``, linear between [1].

    Examples
    --------
    >>> sun_share(np.array([3.0, 5.0, 9.0]), SunSettings()).tolist()
    [0.0, 0.5, 1.0]
    """
    width = max(sun.full_h - sun.least_h, 1e-9)
    share: FloatArray = np.clip((sun_h - sun.least_h) / width, 0.0, 1.0)
    return share


def bed_surface(body: WaterBody, grid: WaterGrid, settings: Settings) -> BedSurface:
    """
    Return the bed of a water body on any grid.

    Parameters
    ----------
    body : WaterBody
        The water body and its soundings, contours and raster.
    grid : WaterGrid
        The cells.
    settings : Settings
        Survey settings.

    Returns
    -------
    BedSurface
        Most likely bed, its uncertainty, and the bed that may be relied on.
    """
    return _bed(body, grid, settings)


def _bed(body: WaterBody, grid: WaterGrid, settings: Settings) -> BedSurface:
    """Return the bed from all that is there: raster, soundings over it, contours."""
    survey = settings.survey
    cells = (grid.easting_m, grid.northing_m, grid.water)
    raster = body.bed_raster
    if raster is not None and len(body.soundings) == 0:
        return bed_from_raster(*cells, raster.bed_m, raster.affine, survey.sigma_m)
    points, shore = _measured_points(body, survey.sigma_m), shore_points(body)
    if raster is not None and np.isfinite(raster.bed_m).any():
        given = RasterOfBed(raster.bed_m, raster.affine, survey.sigma_m)
        return bed_over_raster(*cells, given, points, shore, survey.reach_m)
    return bed_from_points(*cells, points, shore, survey.reach_m)


def _measured_points(body: WaterBody, sigma_m: float) -> BedPoints:
    """Return soundings and points along contours."""
    lines = [_points_along(contour.line) for contour in body.contours]
    beds = [
        np.full(len(points), contour.bed_m)
        for points, contour in zip(lines, body.contours, strict=True)
    ]
    along = np.concatenate([np.zeros((0, 2)), *lines])
    soundings = body.soundings
    return BedPoints(
        easting_m=np.concatenate([soundings.easting_m, along[:, 0]]),
        northing_m=np.concatenate([soundings.northing_m, along[:, 1]]),
        bed_m=np.concatenate([soundings.bed_m, *beds]),
        sigma_m=np.concatenate([soundings.sigma_m, np.full(len(along), sigma_m)]),
        is_contour=np.repeat([False, True], [len(soundings), len(along)]),
    )


def shore_points(body: WaterBody) -> BedPoints:
    """
    Return the water's edge as points of the bed.

    Parameters
    ----------
    body : WaterBody
        The water body.

    Returns
    -------
    BedPoints
        Points a metre apart along bank and islands, at the level of the outline.
    """
    rings = [body.outline.exterior, *body.outline.interiors]
    points = np.concatenate([_points_along(ring) for ring in rings])
    count = len(points)
    return BedPoints(
        easting_m=points[:, 0],
        northing_m=points[:, 1],
        bed_m=np.full(count, body.outline_level_m),
        sigma_m=np.full(count, 0.03),
        is_contour=np.zeros(count, bool),
    )


def _points_along(line: shapely.Geometry) -> FloatArray:
    """Return the vertices of a line and points between them, shape (n, 2) [m]."""
    dense: FloatArray = shapely.get_coordinates(shapely.segmentize(line, _SHORE_STEP_M))
    return dense


def inflow_shares(body: WaterBody) -> tuple[FloatArray, bool]:
    """
    Return what share of the inflow comes in at each place.

    Parameters
    ----------
    body : WaterBody
        The water body.

    Returns
    -------
    ndarray of float, shape (n,)
        Shares that sum to 1 [1].
    bool
        True where flows are not known for all, and equal shares are assumed.
    """
    flows = np.array([inflow.flow_l_s or 0.0 for inflow in body.inflows])
    if len(flows) and (flows > 0).all():
        return flows / flows.sum(), False
    return np.full(len(flows), 1.0 / max(len(flows), 1)), True


def worth_by_distance(
    body: WaterBody, grid: WaterGrid, reach_m: float | None, ways: WayGrid | None = None
) -> FloatArray:
    """
    Return the worth of planted area: high near inflows, falling with the way through the water.

    Parameters
    ----------
    body : WaterBody
        The water body and its inflows.
    grid : WaterGrid
        The cells.
    reach_m : float or None
        Distance over which the worth falls to 1/e; ``None``: a quarter of the square root of
        the area [m].
    ways : WayGrid or None
        Ways through the water, from ``way_grid``; ``None``: found here.

    Returns
    -------
    ndarray of float, shape (rows, cols)
        Worth, 1 at the only inflow, continued over the land beside the water (relative) [1].

    Notes
    -----
    Shares of inflow times exp(−d/reach), summed over inflows. A stand-in for the load that passes:
    the literature supports rafts that meet the inflow, not distance as such.
    """
    if not body.inflows:
        return np.ones(grid.shape)
    reach = reach_m or 0.25 * float(np.sqrt(body.outline.area))
    shares, _ = inflow_shares(body)
    worth = np.zeros(grid.shape)
    ways = ways or way_grid(body.outline, grid)
    for inflow, share in zip(body.inflows, shares, strict=True):
        distance = distance_from_m(ways, body.outline, inflow.point)
        worth += share * np.exp(-distance / reach)
    return _continued(worth, grid)


def _continued(worth: FloatArray, grid: WaterGrid) -> FloatArray:
    """Give cells of land the worth of the nearest water."""
    from scipy.ndimage import distance_transform_edt

    nearest = distance_transform_edt(~grid.water, return_distances=False, return_indices=True)
    out: FloatArray = worth[tuple(nearest)]
    return out
