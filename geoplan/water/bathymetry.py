"""
The bed of a water body: most likely elevation, its uncertainty, and what may be relied on.

From soundings, contours or a raster to cells. Nothing here sees a mound that was never sounded:
the chance of it falls with the distance between soundings, not with the method.
"""

import math
from dataclasses import dataclass

import numba
import numpy as np
from scipy.ndimage import distance_transform_edt, map_coordinates, maximum_filter
from scipy.spatial import cKDTree

from geoplan.water import BoolArray, FloatArray, IntArray
from geoplan.water.survey_error import between_sigma_m
from geoplan.water.triangulation import TriangulatedSurface, cell_borders, triangulated

#: Standard deviations between the mean bed and the bed relied on: 99 % one-sided [1].
#: A raft covers many cells that must all hold, so 95 % of rafts takes more than 95 % of cells.
RELIABLE_SIGMAS = 2.33
#: Typical distances to a sounding within which a depth is believed (judgement) [1].
REACH_SPACINGS = 3.0
#: Raster cells without a value over which the bed is still believed (judgement) [1].
REACH_RASTER_CELLS = 2.0
#: Constant part [m] and part per depth [1] of the total vertical uncertainty at 95 % of IHO
#: S-44, edition 6.0.0 (2020), table 1.
S44_ORDERS: dict[str, tuple[float, float]] = {
    "exclusive": (0.15, 0.0075),
    "special": (0.25, 0.0075),
    "1a": (0.5, 0.013),
    "1b": (0.5, 0.013),
    "2": (1.0, 0.023),
}


@dataclass(frozen=True, eq=False)
class BedPoints:
    """
    Points of the bed: soundings, points along contours, or points of the water's edge.

    Attributes
    ----------
    easting_m, northing_m : ndarray of float, shape (n,)
        Where [m].
    bed_m : ndarray of float, shape (n,)
        Elevation, up positive [m].
    sigma_m : ndarray of float, shape (n,)
        One standard deviation of each [m].
    is_contour : ndarray of bool, shape (n,)
        True for points along a contour.
    """

    easting_m: FloatArray
    northing_m: FloatArray
    bed_m: FloatArray
    sigma_m: FloatArray
    is_contour: BoolArray

    def __post_init__(self) -> None:
        """Refuse arrays of different lengths and values that are not finite."""
        count = len(self.bed_m)
        for name in ("easting_m", "northing_m", "bed_m", "sigma_m"):
            values = getattr(self, name)
            if values.shape != (count,) or not np.isfinite(values).all():
                raise ValueError(f"{name} must hold {count} finite values")
        if self.is_contour.shape != (count,):
            raise ValueError(f"is_contour must hold {count} values")

    def __len__(self) -> int:
        """Return the number of points."""
        return len(self.bed_m)


@dataclass(frozen=True, eq=False)
class BedSurface:
    """
    The bed in each cell.

    Attributes
    ----------
    bed_m : ndarray of float, shape (rows, cols)
        Most likely elevation at the cell centre, NaN off the water [m].
    sigma_m : ndarray of float, shape (rows, cols)
        One standard deviation of it; infinite where there is no survey at all, NaN off the
        water [m].
    reliable_bed_m : ndarray of float, shape (rows, cols)
        Elevation that the bed does not exceed anywhere in the cell, at 99 %; NaN off the water
        and where unsurveyed [m].
    is_unsurveyed : ndarray of bool, shape (rows, cols)
        Water farther than ``reach_m`` from any sounding.
    reach_m : float
        Farthest from a sounding that a depth is believed [m].
    """

    bed_m: FloatArray
    sigma_m: FloatArray
    reliable_bed_m: FloatArray
    is_unsurveyed: BoolArray
    reach_m: float

    def __post_init__(self) -> None:
        """Lock the arrays."""
        for array in (self.bed_m, self.sigma_m, self.reliable_bed_m, self.is_unsurveyed):
            array.setflags(write=False)


@dataclass(frozen=True, eq=False)
class _Cells:
    """Water cells in coordinates near the origin, and the distance of each to soundings."""

    easting_m: FloatArray
    northing_m: FloatArray
    water: BoolArray
    centre_m: FloatArray
    sounding_distance_m: FloatArray
    nearest_sounding: IntArray
    reach_m: float


def s44_tvu_m(depth_m: float, order: str) -> float:
    """
    Return the total vertical uncertainty that a survey order allows, at 95 %.

    Parameters
    ----------
    depth_m : float
        Depth, not negative [m].
    order : {"exclusive", "special", "1a", "1b", "2"}
        Order of the survey.

    Returns
    -------
    float
        Largest allowed uncertainty of one sounding [m].

    Raises
    ------
    ValueError
        If the order is unknown or the depth negative.

    Notes
    -----
    ``sqrt(a² + (b d)²)`` [1]_. It is a budget for soundings: what lies between them is extra.

    References
    ----------
    .. [1] International Hydrographic Organization, *Standards for Hydrographic Surveys*, S-44,
       edition 6.0.0, 2020, section 3.2.3 and table 1.

    Examples
    --------
    >>> round(s44_tvu_m(2.0, "special"), 4)
    0.2504
    """
    if order not in S44_ORDERS:
        raise ValueError(f"order must be one of {', '.join(S44_ORDERS)}, not {order!r}")
    if not depth_m >= 0:
        raise ValueError(f"depth_m must not be negative, not {depth_m:g}")
    constant_m, per_depth = S44_ORDERS[order]
    return math.hypot(constant_m, per_depth * depth_m)


def bed_from_points(
    easting_m: FloatArray,
    northing_m: FloatArray,
    water: BoolArray,
    points: BedPoints,
    shore: BedPoints,
    reach_m: float | None,
) -> BedSurface:
    r"""
    Return the bed from soundings, contours and the water's edge.

    Parameters
    ----------
    easting_m : ndarray of float, shape (cols,)
        Eastings of the cell centres, rising evenly [m].
    northing_m : ndarray of float, shape (rows,)
        Northings of the cell centres, rising evenly [m].
    water : ndarray of bool, shape (rows, cols)
        True on the water.
    points : BedPoints
        Soundings and points along contours; may be empty.
    shore : BedPoints
        Water's edge with islands, at the level of the outline, so dense that no triangle spans
        land.
    reach_m : float or None
        Farthest from a sounding that a depth is believed; ``None``: three times the median
        distance from the water's cells to the nearest sounding [m].

    Returns
    -------
    BedSurface
        The bed; without any points at the level of the edge, that is without depth.

    Raises
    ------
    ValueError
        If the grid is smaller than two by two, ``reach_m`` is not positive, the edge is empty
        where there are no soundings, or all points lie on one line.

    Notes
    -----
    The mean is linear on Delaunay triangles; the edge takes part as points at its level. Of
    points within a millimetre the shoalest is kept.

    .. math:: \sigma^2 = \sigma_s^2 + \sigma_i^2

    where :math:`\sigma_s` is the largest uncertainty of the triangle's vertices and
    :math:`\sigma_i` what lies between the points, judged by leaving soundings out
    (``survey_error``). The bed relied on is the highest of the triangles anywhere in the cell
    plus 2.33 σ, not below the lowest sounding within reach, nor below any sounding in the cell
    and the eight round it. The method, its evidence and its limits: ``docs/methods/bed.md``.

    Examples
    --------
    >>> def points(rows):
    ...     e, n, z = np.array(rows, float).T
    ...     return BedPoints(e, n, z, np.full(len(e), 0.05), np.zeros(len(e), bool))
    >>> corners = points([(0, 0, 5), (4, 0, 5), (4, 4, 5), (0, 4, 5)])
    >>> centre = np.array([1.0, 2.0, 3.0])
    >>> surveyed = points([(2, 2, 3)])
    >>> surface = bed_from_points(centre, centre, np.ones((3, 3), bool), surveyed, corners, None)
    >>> surface.bed_m[1].tolist()
    [4.0, 3.0, 4.0]
    """
    cell_borders(easting_m), cell_borders(northing_m)
    if reach_m is not None and not reach_m > 0:
        raise ValueError(f"reach_m must be positive, not {reach_m:g}")
    if len(points) == 0 or not water.any():
        return _without_survey(water, shore, reach_m)
    middle = np.array([easting_m.mean(), northing_m.mean()])
    kept, is_sounding = _distinct(points, shore, middle)
    surface = triangulated(kept.place_m, kept.bed_m)
    if surface is None:
        raise ValueError("the bed needs three points that do not lie on one line")
    sounding_m = np.column_stack([points.easting_m, points.northing_m]) - middle
    cells = _cells(easting_m - middle[0], northing_m - middle[1], water, sounding_m, reach_m)
    bed_m, triangle = surface.at(cells.easting_m, cells.northing_m)
    sigma_m = np.hypot(
        _vertex_sigma_m(surface, kept, cells, triangle[water]),
        between_sigma_m(surface, is_sounding, kept.is_contour, cells.centre_m, triangle[water]),
    )
    reliable_m = surface.highest_in_cells(cells.easting_m, cells.northing_m)[water]
    reliable_m += RELIABLE_SIGMAS * sigma_m
    reliable_m = np.maximum(reliable_m, _shoalest_round(cells, sounding_m, points.bed_m))
    is_far = cells.sounding_distance_m > cells.reach_m
    _raise_to_lowest_within_reach(reliable_m, cells, sounding_m, points.bed_m, ~is_far)
    reliable_m[is_far] = np.nan
    is_unsurveyed = np.zeros(water.shape, bool)
    is_unsurveyed[water] = is_far
    return BedSurface(
        np.where(water, bed_m, np.nan),
        _on_water(water, sigma_m),
        _on_water(water, reliable_m),
        is_unsurveyed,
        cells.reach_m,
    )


def _on_water(water: BoolArray, value: FloatArray) -> FloatArray:
    """Return values of water cells on the grid, NaN off the water."""
    out = np.full(water.shape, np.nan)
    out[water] = value
    return out


def _without_survey(water: BoolArray, shore: BedPoints, reach_m: float | None) -> BedSurface:
    """Return a bed at the water's edge: without a survey there is no depth to rely on."""
    if len(shore) == 0:
        raise ValueError("a bed without soundings needs the level of the water's edge")
    return BedSurface(
        np.where(water, shore.bed_m.max(), np.nan),
        np.where(water, np.inf, np.nan),
        np.full(water.shape, np.nan),
        water.copy(),
        reach_m or 0.0,
    )


@dataclass(frozen=True, eq=False)
class _Vertices:
    """Distinct points of the bed near the origin."""

    place_m: FloatArray
    bed_m: FloatArray
    sigma_m: FloatArray
    is_contour: BoolArray


def _distinct(
    points: BedPoints, shore: BedPoints, middle: FloatArray
) -> tuple[_Vertices, BoolArray]:
    """Return points and edge without twins, and which of them are soundings."""
    both = [points, shore]
    place = np.concatenate([np.column_stack([p.easting_m, p.northing_m]) for p in both]) - middle
    bed = np.concatenate([p.bed_m for p in both])
    sigma = np.concatenate([p.sigma_m for p in both])
    is_contour = np.concatenate([p.is_contour for p in both])
    is_sounding = np.arange(len(bed)) < len(points)
    is_sounding &= ~is_contour
    key = np.round(place * 1000.0)
    order = np.lexsort([-bed, key[:, 1], key[:, 0]])
    is_first = np.ones(len(order), bool)
    is_first[1:] = (np.diff(key[order], axis=0) != 0).any(axis=1)
    kept = np.sort(order[is_first])
    return (
        _Vertices(place[kept], bed[kept], sigma[kept], is_contour[kept]),
        is_sounding[kept],
    )


def _cells(
    easting_m: FloatArray,
    northing_m: FloatArray,
    water: BoolArray,
    sounding_m: FloatArray,
    reach_m: float | None,
) -> _Cells:
    """Return the water's cells with their distance to soundings, and the reach in force."""
    row, col = np.nonzero(water)
    centre = np.column_stack([easting_m[col], northing_m[row]])
    distance, nearest = cKDTree(sounding_m).query(centre)
    if reach_m is None:
        reach_m = REACH_SPACINGS * float(np.median(distance)) if len(distance) else 0.0
    return _Cells(easting_m, northing_m, water, centre, distance, nearest, reach_m)


def _vertex_sigma_m(
    surface: TriangulatedSurface, kept: _Vertices, cells: _Cells, triangle: IntArray
) -> FloatArray:
    """Return the largest uncertainty of the points that a cell's value is made from."""
    sigma: FloatArray = kept.sigma_m[surface.triangles[triangle]].max(axis=1)
    outside = triangle < 0
    if outside.any():
        _, nearest = cKDTree(kept.place_m).query(cells.centre_m[outside])
        sigma[outside] = kept.sigma_m[nearest]
    return sigma


def _shoalest_round(cells: _Cells, sounding_m: FloatArray, bed_m: FloatArray) -> FloatArray:
    """Return the highest sounding in each water cell and the eight round it."""
    col = np.searchsorted(cell_borders(cells.easting_m), sounding_m[:, 0], side="right") - 1
    row = np.searchsorted(cell_borders(cells.northing_m), sounding_m[:, 1], side="right") - 1
    rows, cols = cells.water.shape
    is_on = (row >= 0) & (row < rows) & (col >= 0) & (col < cols)
    highest = np.full(cells.water.shape, -np.inf)
    np.maximum.at(highest, (row[is_on], col[is_on]), bed_m[is_on])
    around: FloatArray = maximum_filter(highest, size=3, mode="constant", cval=-np.inf)
    return around[cells.water]


def _raise_to_lowest_within_reach(
    reliable_m: FloatArray,
    cells: _Cells,
    sounding_m: FloatArray,
    bed_m: FloatArray,
    is_near: BoolArray,
) -> None:
    """Raise surveyed cells to the lowest sounding within reach: nothing deeper was measured."""
    # A cell above its nearest sounding is above the lowest, so only the others are searched.
    doubtful = np.flatnonzero(is_near & (reliable_m < bed_m[cells.nearest_sounding]))
    tree = cKDTree(sounding_m)
    for chunk in np.array_split(doubtful, len(doubtful) // 4096 + 1):
        around = tree.query_ball_point(cells.centre_m[chunk], cells.reach_m * (1 + 1e-12))
        lowest = np.array([bed_m[near].min() for near in around])
        reliable_m[chunk] = np.maximum(reliable_m[chunk], lowest)


def bed_from_raster(
    easting_m: FloatArray,
    northing_m: FloatArray,
    water: BoolArray,
    raster_bed_m: FloatArray,
    affine: FloatArray,
    sigma_m: float,
) -> BedSurface:
    """
    Return the bed from a raster of elevations.

    Parameters
    ----------
    easting_m : ndarray of float, shape (cols,)
        Eastings of the cell centres, rising evenly [m].
    northing_m : ndarray of float, shape (rows,)
        Northings of the cell centres, rising evenly [m].
    water : ndarray of bool, shape (rows, cols)
        True on the water.
    raster_bed_m : ndarray of float, shape (raster rows, raster columns)
        Elevation at the raster's nodes, NaN where there is none [m].
    affine : ndarray of float, shape (2, 3)
        ``affine @ (col, row, 1)`` is easting and northing of a node [m].
    sigma_m : float
        One standard deviation of the raster's values, not negative [m].

    Returns
    -------
    BedSurface
        Bilinear between nodes; the nearest value where some of the four are missing.

    Raises
    ------
    ValueError
        If the raster holds no value, the affine has no inverse or ``sigma_m`` is negative.

    Notes
    -----
    The bed relied on is the highest node whose bilinear support touches the cell, plus 2.33 σ:
    no point of a bilinear surface is above the nodes round it. Unsurveyed is water whose
    nearest node with a value is farther than two raster cells.

    Examples
    --------
    >>> raster = np.array([[1.0, 2.0], [1.0, 2.0]])
    >>> unit = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    >>> centre = np.array([0.25, 0.75])
    >>> surface = bed_from_raster(centre, centre, np.ones((2, 2), bool), raster, unit, 0.1)
    >>> surface.bed_m[0].tolist(), surface.reliable_bed_m[0].round(3).tolist()
    ([1.25, 1.75], [2.233, 2.233])
    """
    is_known = np.isfinite(raster_bed_m)
    if not is_known.any():
        raise ValueError("the bed raster holds no value")
    if not sigma_m >= 0:
        raise ValueError(f"sigma_m must not be negative, not {sigma_m:g}")
    inverse = np.linalg.inv(affine[:, :2])
    east, north = np.meshgrid(easting_m - affine[0, 2], northing_m - affine[1, 2])
    col, row = (inverse[k, 0] * east[water] + inverse[k, 1] * north[water] for k in range(2))
    nearest = distance_transform_edt(~is_known, return_distances=False, return_indices=True)
    at = _nodes_at(row, col, is_known.shape)
    known_row, known_col = nearest[0][at], nearest[1][at]
    bed_m = _bilinear(np.where(is_known, raster_bed_m, np.nan), row, col)
    bed_m = np.where(np.isnan(bed_m), raster_bed_m[known_row, known_col], bed_m)
    half_cell = np.array([_step(easting_m), _step(northing_m)]) / 2
    half_col, half_row = np.abs(inverse) @ half_cell
    lattice = np.where(is_known, raster_bed_m, -np.inf)
    reliable_m = np.maximum(_highest_within(lattice, row, col, half_row, half_col), bed_m)
    reliable_m += RELIABLE_SIGMAS * sigma_m
    is_far = np.hypot(row - known_row, col - known_col) > REACH_RASTER_CELLS
    reliable_m[is_far] = np.nan
    is_unsurveyed = np.zeros(water.shape, bool)
    is_unsurveyed[water] = is_far
    return BedSurface(
        _on_water(water, bed_m),
        np.where(water, sigma_m, np.nan),
        _on_water(water, reliable_m),
        is_unsurveyed,
        REACH_RASTER_CELLS * math.sqrt(abs(float(np.linalg.det(affine[:, :2])))),
    )


def _step(centre_m: FloatArray) -> float:
    """Return the side of a cell."""
    return float(np.ptp(cell_borders(centre_m))) / len(centre_m)


def _nodes_at(
    row: FloatArray, col: FloatArray, shape: tuple[int, int]
) -> tuple[IntArray, IntArray]:
    """Return the node of the raster nearest to each place."""
    return (
        np.clip(np.rint(row), 0, shape[0] - 1).astype(np.int64),
        np.clip(np.rint(col), 0, shape[1] - 1).astype(np.int64),
    )


def _bilinear(raster_bed_m: FloatArray, row: FloatArray, col: FloatArray) -> FloatArray:
    """Return values between nodes, NaN where one of them is missing or outside."""
    value: FloatArray = map_coordinates(
        raster_bed_m, np.stack([row, col]), order=1, mode="constant", cval=np.nan
    )
    return value


@numba.njit(cache=True)
def _highest_within(
    lattice: FloatArray, row: FloatArray, col: FloatArray, half_row: float, half_col: float
) -> FloatArray:
    """Return the highest node whose bilinear support touches the rectangle round each place."""
    highest = np.full(len(row), -np.inf)
    for k in range(len(row)):
        top = min(int(np.ceil(row[k] + half_row)), lattice.shape[0] - 1)
        right = min(int(np.ceil(col[k] + half_col)), lattice.shape[1] - 1)
        for r in range(max(int(np.floor(row[k] - half_row)), 0), top + 1):
            for c in range(max(int(np.floor(col[k] - half_col)), 0), right + 1):
                highest[k] = max(highest[k], lattice[r, c])
    return highest
