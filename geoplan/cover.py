"""
The water's edge at each level, and the share of the surface that rafts cover.

Areas are geodesic. The edge is the surveyed one at its own level, follows the bed below it, and
an assumed bank slope above it or where no bed is known.
"""

import math
from collections.abc import Sequence
from functools import reduce

import numpy as np
import shapely
from scipy.ndimage import binary_dilation, distance_transform_edt
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from geoplan.crs import geodesic_area_m2
from geoplan.grid import SiteFields
from geoplan.plan import Cover, WaterEdge
from geoplan.site import FloatArray, WaterBody
from geoplan.water.levels import hypsography, level_rings
from geoplan.water.triangle_levels import triangle_rings

#: Levels nearer to the outline's own are taken as the same [m].
_SAME_LEVEL_M = 1e-3
#: Longest corner of a widened outline, in widths: right angles stay sharp [1].
_MITRE_LIMIT = 1.5


def water_edges(body: WaterBody, fields: SiteFields, bank_slope: float) -> tuple[WaterEdge, ...]:
    r"""
    Return the water's edge at low, normal and high level.

    Parameters
    ----------
    body : WaterBody
        The water body: outline, the level it was drawn at, levels.
    fields : SiteFields
        The bed on its grid.
    bank_slope : float
        Run per rise of the bank above the outline, not negative [1].

    Returns
    -------
    tuple of WaterEdge
        At low, normal and high level.

    Raises
    ------
    ValueError
        If ``bank_slope`` is negative.

    Notes
    -----
    Within a millimetre of its own level the surveyed outline stands as it is. Below, the edge is
    the contour of the bed, linear between soundings, cut with the outline: chords of a bowl lie
    above it, so that there is rather too little water than too much. Above, and below where
    nothing at all is known of the bed, banks and islands are assumed to rise evenly through the
    outline and the edge is flagged as assumed; faces of the bank meet in sharp corners, up to
    right angles.

    Volumes are summed over cells and scaled so that at the outline's level the grid has the
    area of the outline. Above it a slice is added by the prismoidal rule, exact for plane banks:

    .. math:: V = V_0 + \frac{h}{6} (A_0 + 4 A_{h/2} + A_h)

    Area and volume below the outline are as good as the bed: see ``docs/methods/levels.md``.
    """
    if not bank_slope >= 0:
        raise ValueError(f"bank_slope must not be negative, not {bank_slope:g}")
    return tuple(
        edge_at(body, fields, name, level_m, bank_slope) for name, level_m in body.levels.named()
    )


def edge_at(
    body: WaterBody, fields: SiteFields, level_name: str, level_m: float, bank_slope: float
) -> WaterEdge:
    """
    Return the water's edge at one level.

    Parameters
    ----------
    body : WaterBody
        The water body.
    fields : SiteFields
        The bed on its grid.
    level_name : str
        What the level is called.
    level_m : float
        Height above the vertical datum [m].
    bank_slope : float
        Run per rise of the bank above the outline, not negative [1].

    Returns
    -------
    WaterEdge
        See ``water_edges``.
    """
    rise_m = level_m - body.outline_level_m
    if abs(rise_m) <= _SAME_LEVEL_M:
        outline = shapely.multipolygons([body.outline])
    elif rise_m < 0 and _is_sounded(body):
        outline = _edge_below(body, fields, level_m)
    else:
        outline = _edge_moved(body.outline, rise_m * bank_slope)
    full_m = np.array([min(level_m, body.outline_level_m)])
    volume_m3 = float(stage_curve(body, fields, full_m)[1][0])
    if rise_m > _SAME_LEVEL_M:
        volume_m3 += _slice_m3(body, rise_m, bank_slope)
    return WaterEdge(
        level_name,
        level_m,
        outline,
        geodesic_area_m2(outline, body.crs),
        volume_m3,
        is_assumed=abs(rise_m) > _SAME_LEVEL_M and (rise_m > 0 or not _is_sounded(body)),
    )


def stage_curve(
    body: WaterBody, fields: SiteFields, level_m: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """
    Return area and volume of the water at levels up to the outline's.

    Parameters
    ----------
    body : WaterBody
        The water body.
    fields : SiteFields
        The bed on its grid.
    level_m : ndarray of float, shape (n,)
        Levels above the vertical datum [m].

    Returns
    -------
    ndarray of float, shape (n,)
        Water surface [m²].
    ndarray of float, shape (n,)
        Volume below the level [m³].

    Notes
    -----
    Where the bed came as a raster its own cells are counted, each as level ground, which is how
    such tables are published; else those of the grid. Cells are scaled so that together they have
    the area of the outline.
    """
    bed, cell_m2 = fields.bed_m, fields.grid.cell_size_m**2
    if body.bed_raster is not None and len(body.soundings) == 0:
        raster = body.bed_raster
        rows, cols = np.indices(raster.bed_m.shape)
        east, north = np.tensordot(
            raster.affine, np.stack([cols, rows, np.ones_like(cols)]), axes=1
        )
        shapely.prepare(body.outline)
        inside = shapely.contains_xy(body.outline, east, north)
        bed = np.where(inside, raster.bed_m, np.nan)
        cell_m2 = abs(float(np.linalg.det(raster.affine[:, :2])))
    counted_m2 = float(np.isfinite(bed).sum()) * cell_m2
    scale = geodesic_area_m2(body.outline, body.crs) / counted_m2 if counted_m2 else 1.0
    return hypsography(bed, cell_m2 * scale, level_m)


def _edge_below(body: WaterBody, fields: SiteFields, level_m: float) -> MultiPolygon:
    """Return the contour of the bed at a level below the outline's, cut with the outline."""
    surface, grid = fields.edge_surface, fields.grid
    rings = None if surface is None else triangle_rings(surface, level_m)
    if rings is not None:
        rounds = [shapely.make_valid(Polygon(ring)) for ring in rings]
        wet = reduce(shapely.symmetric_difference, rounds, MultiPolygon())
    else:
        bed = _continued_bed(body, fields)
        regions = level_rings(bed, grid.easting_m, grid.northing_m, level_m)
        wet = shapely.union_all([shapely.make_valid(Polygon(one[0], one[1:])) for one in regions])
    return _polygons(shapely.intersection(wet, body.outline))


def _continued_bed(body: WaterBody, fields: SiteFields) -> FloatArray:
    """Return the bed, its slope at the bank carried on to the cells of land beside it."""
    grid = fields.grid
    bed = np.array(fields.bed_m if fields.edge_bed_m is None else fields.edge_bed_m)
    row, col = np.nonzero(binary_dilation(grid.water, np.ones((3, 3))) & ~grid.water)
    nearest_row, nearest_col = (
        index[row, col]
        for index in distance_transform_edt(
            ~grid.water, return_distances=False, return_indices=True
        )
    )
    outside_m = _to_edge_m(body, grid.easting_m[col], grid.northing_m[row])
    inside_m = _to_edge_m(body, grid.easting_m[nearest_col], grid.northing_m[nearest_row])
    depth_m = np.maximum(body.outline_level_m - bed[nearest_row, nearest_col], 0.0)
    slope = depth_m / np.maximum(inside_m, 0.01 * grid.cell_size_m)
    bed[row, col] = body.outline_level_m + slope * outside_m
    return bed


def _to_edge_m(body: WaterBody, easting_m: FloatArray, northing_m: FloatArray) -> FloatArray:
    """Return the distance of places to the outline [m]."""
    edge = body.outline.boundary
    shapely.prepare(edge)
    distance: FloatArray = shapely.distance(edge, shapely.points(easting_m, northing_m))
    return distance


def _is_sounded(body: WaterBody) -> bool:
    """Tell whether anything is known of the bed."""
    return len(body.soundings) > 0 or len(body.contours) > 0 or body.bed_raster is not None


def _edge_moved(outline: Polygon, run_m: float) -> MultiPolygon:
    """Return an outline moved outwards and its islands inwards; the other way where negative."""
    return _polygons(shapely.buffer(outline, run_m, join_style="mitre", mitre_limit=_MITRE_LIMIT))


def _slice_m3(body: WaterBody, rise_m: float, bank_slope: float) -> float:
    """Return the volume between the outline's level and a higher one."""
    areas_m2 = [
        geodesic_area_m2(_edge_moved(body.outline, share * rise_m * bank_slope), body.crs)
        for share in (0.0, 0.5, 1.0)
    ]
    return rise_m / 6.0 * (areas_m2[0] + 4.0 * areas_m2[1] + areas_m2[2])


def _polygons(geometry: BaseGeometry) -> MultiPolygon:
    """Return the areas of a geometry; what is only a line or a point has none."""
    parts = shapely.get_parts(shapely.get_parts(geometry))
    return MultiPolygon([part for part in parts if isinstance(part, Polygon) and part.area > 0])


def surface_cover(
    edges: Sequence[WaterEdge],
    raft_outlines: Sequence[Polygon],
    crs: str,
    edge_sigma_m: float = 0.5,
    raft_sigma_m: float = 0.02,
) -> tuple[Cover, ...]:
    r"""
    Return the share of the water's surface under rafts at each level, with its uncertainty.

    Parameters
    ----------
    edges : sequence of WaterEdge
        The water's edge at each level.
    raft_outlines : sequence of Polygon
        Water that each raft covers, planned and existing; overlaps count once [m].
    crs : str
        CRS of both.
    edge_sigma_m : float
        One standard deviation of a vertex of the water's edge, along each axis [m].
    raft_sigma_m : float
        The same of a corner of a raft [m].

    Returns
    -------
    tuple of Cover
        One for each edge, not rounded. A raft over land still counts whole; with rafts but
        without water the cover is 100 %.

    Notes
    -----
    Variances of the raft and water areas are added as relative errors:

    .. math:: s_c = c \sqrt{(s_R / R)^2 + (s_A / A)^2}

    Of the edge only vertices that stand out by more than their own error are counted as
    independent; a dense line is not surveyed better for being dense. That errors of the level
    and of the bed shift the whole edge is not in it.
    """
    rafts = shapely.union_all(list(raft_outlines)) if raft_outlines else Polygon()
    raft_m2 = geodesic_area_m2(rafts, crs)
    raft_sigma_m2 = math.hypot(*(area_sigma_m2(one, raft_sigma_m) for one in raft_outlines))
    covers = []
    for edge in edges:
        share, sigma = 0.0, 0.0
        if raft_m2 > 0 and edge.area_m2 > 0:
            plain = shapely.simplify(edge.outline, edge_sigma_m)
            share = raft_m2 / edge.area_m2
            edge_sigma = area_sigma_m2(plain, edge_sigma_m) / edge.area_m2
            sigma = share * math.hypot(raft_sigma_m2 / raft_m2, edge_sigma)
        elif raft_m2 > 0:
            share = 1.0
        covers.append(
            Cover(
                edge.level_name, edge.level_m, raft_m2, edge.area_m2, 100.0 * share, 100.0 * sigma
            )
        )
    return tuple(covers)


def headroom(cover: Cover, limit_pct: float, raft_area_m2: float) -> int:
    """
    Return how many more rafts the limit of cover leaves room for.

    Parameters
    ----------
    cover : Cover
        Cover at the level for which the limit holds.
    limit_pct : float
        Most that may be covered [%].
    raft_area_m2 : float
        Area of one more raft [m²].

    Returns
    -------
    int
        Whole rafts; 0 where the limit is met or passed. Whether they have room elsewhere is not
        asked.

    Examples
    --------
    >>> headroom(Cover("normal", 12.0, 80.0, 1600.0, 5.0, 0.13), 20.0, 9.6)
    25
    """
    left_m2 = limit_pct / 100.0 * cover.water_area_m2 - cover.raft_area_m2
    return max(0, math.floor(left_m2 / raft_area_m2 + 1e-9))


def area_sigma_m2(polygon: BaseGeometry, vertex_sigma_m: float) -> float:
    r"""
    Return the standard deviation of an area whose vertices have independent errors.

    Parameters
    ----------
    polygon : Polygon or MultiPolygon
        Area, in metres.
    vertex_sigma_m : float
        One standard deviation of a vertex along each axis [m].

    Returns
    -------
    float
        One standard deviation of the area [m²].

    Notes
    -----
    To first order [1]_, with :math:`p_{i \pm 1}` the neighbours of vertex i on its ring:

    .. math:: s_A = \frac{\sigma}{2} \sqrt{\sum_i |p_{i+1} - p_{i-1}|^2}

    References
    ----------
    .. [1] N. R. Chrisman and B. S. Yandell, "Effects of point error on area calculations: a
       statistical model", Surveying and Mapping 48, 241-246, 1988.

    Examples
    --------
    >>> round(area_sigma_m2(shapely.box(0, 0, 80, 20), 0.5), 2)
    41.23
    """
    total = 0.0
    for part in shapely.get_parts(polygon):
        for ring in (part.exterior, *part.interiors):
            vertex = shapely.get_coordinates(ring)[:-1]
            span = np.roll(vertex, -1, axis=0) - np.roll(vertex, 1, axis=0)
            total += float((span**2).sum())
    return vertex_sigma_m / 2.0 * math.sqrt(total)
