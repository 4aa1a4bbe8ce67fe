"""
The water's edge and the mean depth at a level, by cutting the triangles of the raw bed.

The bed is a plane on each triangle, so the dry part of each at a level is a triangle or a
quadrilateral in closed form, and the water above it a prism.
"""

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from geoplan.audit.bed import RawBed
from geoplan.errors import GeoplanError

FloatArray = NDArray[np.float64]

#: Levels nearer to each other than this are the same [m].
SAME_LEVEL_M = 1e-3
#: Parts of triangles as small as this are rounding [m²], and the lattice on which parts are joined
#: that cannot be joined otherwise [m].
_SLIVER_M2, _SNAP_M = 1e-12, 1e-9


def edge_at(
    outline: Polygon, outline_level_m: float, bed: RawBed, level_m: float, bank_slope: float
) -> BaseGeometry:
    """
    Return the open water at a level.

    Parameters
    ----------
    outline : Polygon
        Outline as surveyed, frame [m].
    outline_level_m : float
        Level at which it was drawn [m].
    bed : RawBed
        The bed.
    level_m : float
        Level asked for [m].
    bank_slope : float
        Run per rise of the bank above the outline [1].

    Returns
    -------
    BaseGeometry
        At its own level the outline; below, the outline less all ground at or above the level;
        above, or where no bed is known, the outline moved by the assumed bank [m].
    """
    rise_m = level_m - outline_level_m
    if abs(rise_m) <= SAME_LEVEL_M:
        return outline
    if rise_m > 0 or len(bed.measured_m) == 0:
        return shapely.buffer(outline, bank_slope * rise_m, quad_segs=32)
    dry = dry_ground(outline, bed, level_m)
    return shapely.difference(outline, dry)


def dry_ground(outline: Polygon, bed: RawBed, level_m: float) -> BaseGeometry:
    """
    Return the ground within an outline that is not under water at a level.

    Parameters
    ----------
    outline : Polygon
        Where to look, frame [m].
    bed : RawBed
        The bed.
    level_m : float
        Level of the water [m].

    Returns
    -------
    BaseGeometry
        Union of the parts of triangles at or above the level [m].
    """
    corners, heights = bed.triangles()
    above = heights - level_m
    touched = above.max(axis=1) >= 0
    corners, above = corners[touched], above[touched]
    shapely.prepare(outline)
    within = shapely.intersects(outline, shapely.polygons(corners))
    corners, above = corners[within], above[within]
    order = np.argsort(-above, axis=1, kind="stable")
    corners = np.take_along_axis(corners, order[:, :, None], axis=1)
    above = np.take_along_axis(above, order, axis=1)
    return _joined(_dry_parts(corners, above))


def _joined(parts: NDArray[np.object_]) -> BaseGeometry:
    """
    Return the union of parts of triangles, which meet only along whole edges.

    Such parts are joined by striking out the edges that two share, many times faster than by
    general union, which serves where that breaks, or the area of the parts is not kept. Slivers
    that rounding makes along straight shores are left out: they break both, and a general union
    with them may lose whole square metres. The last is a union with corners on a lattice, which
    may move each by a step of it. Ground that none of them keeps would be taken for water.
    """
    parts = parts[shapely.area(parts) > _SLIVER_M2]
    area_m2 = float(shapely.area(parts).sum())
    joins = (shapely.coverage_union_all, 0.0), (shapely.union_all, 0.0), (_snapped, _SNAP_M)
    for join, moved_m in joins:
        try:
            found: BaseGeometry = join(parts)
        except shapely.GEOSException:
            continue
        if found.is_valid and abs(found.area - area_m2) <= 1e-9 * area_m2 + moved_m * found.length:
            return found
    raise GeoplanError(
        f"the audit could not join {area_m2:.1f} m² of dry ground between soundings; nothing was"
        " judged: look for soundings that lie on one place or one line, and take some out"
    )


def _snapped(parts: NDArray[np.object_]) -> BaseGeometry:
    """Return the union of parts with their corners on a lattice."""
    return shapely.union_all(parts, grid_size=_SNAP_M)


def _dry_parts(corners: FloatArray, above: FloatArray) -> NDArray[np.object_]:
    """Return the parts at or above the level of triangles whose corners fall in height."""
    whole = above[:, 2] >= 0
    two = ~whole & (above[:, 1] >= 0)
    one = ~whole & ~two
    high, mid, low = corners[:, 0], corners[:, 1], corners[:, 2]
    cut_high_low = _crossing(high, low, above[:, 0], above[:, 2])
    cut_mid_low = _crossing(mid, low, above[:, 1], above[:, 2])
    cut_high_mid = _crossing(high, mid, above[:, 0], above[:, 1])
    return np.concatenate(
        [
            shapely.polygons(corners[whole]),
            shapely.polygons(
                np.stack([high[two], mid[two], cut_mid_low[two], cut_high_low[two]], axis=1)
            ),
            shapely.polygons(np.stack([high[one], cut_high_mid[one], cut_high_low[one]], axis=1)),
        ]
    )


def _crossing(
    upper: FloatArray, lower: FloatArray, above_upper: FloatArray, above_lower: FloatArray
) -> FloatArray:
    """Return where the level crosses the edges between upper and lower corners."""
    fall = above_upper - above_lower
    share = np.clip(above_upper / np.where(fall > 0, fall, 1.0), 0.0, 1.0)
    cut: FloatArray = upper + share[:, None] * (lower - upper)
    return cut


def volume_m3(outline: Polygon, bed: RawBed, level_m: float) -> float:
    """
    Return the water within an outline below a level.

    Parameters
    ----------
    outline : Polygon
        Where to look, frame [m].
    bed : RawBed
        The bed.
    level_m : float
        Level of the water [m].

    Returns
    -------
    float
        Sum of the prisms on the triangles whose centre lies in the outline [m³].

    Notes
    -----
    With corner depths h₁ ≥ h₂ ≥ h₃ on a triangle of area A the water is A(h₁+h₂+h₃)/3 where all
    are wet; where only h₁ is, A h₁³/3(h₁−h₂)(h₁−h₃); where only h₃ is dry, the first less
    A h₃³/3(h₁−h₃)(h₂−h₃) with its sign: integrals of a plane over a triangle.
    """
    corners, heights = bed.triangles()
    centre = corners.mean(axis=1)
    shapely.prepare(outline)
    inside = shapely.contains_xy(outline, centre[:, 0], centre[:, 1])
    corners, depth = corners[inside], np.sort(level_m - heights[inside], axis=1)[:, ::-1]
    area = shapely.area(shapely.polygons(corners))
    h1, h2, h3 = depth.T
    full = (h1 + h2 + h3) / 3.0
    with np.errstate(divide="ignore", invalid="ignore"):
        tip = h1 / 3.0 * (h1 / (h1 - h2)) * (h1 / (h1 - h3))
        less = h3 / 3.0 * (h3 / (h1 - h3)) * (h3 / (h2 - h3))
    mean = np.select([h3 >= 0, h2 >= 0, h1 > 0], [full, full - less, tip], 0.0)
    return float((area * mean).sum())
