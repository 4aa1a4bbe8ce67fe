"""
The bed from a raster with soundings over it: the raster's shape, put right by what was sounded.

Where the raster has no value, soundings alone make the bed.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import map_coordinates

from geoplan.water import BoolArray, FloatArray
from geoplan.water.bathymetry import SOUNDING_SIGMAS, bed_from_points
from geoplan.water.bed import RELIABLE_SIGMAS, BedPoints, BedSurface, on_water
from geoplan.water.blocks import Blocks, block_means
from geoplan.water.kriging import Variogram, kriged, variogram
from geoplan.water.raster_bed import bed_from_raster, raster_at
from geoplan.water.sounded_cells import (
    SoundedCells,
    highest_round,
    lowest_within_reach,
    shoalest_round,
    sounded_cells,
)
from geoplan.water.triangulation import triangulated

#: Places at which the correction is computed; it is linear between them.
_MOST_NODES = 60_000.0


@dataclass(frozen=True, eq=False)
class RasterOfBed:
    """
    A raster of the bed.

    Attributes
    ----------
    bed_m : ndarray of float, shape (rows, cols)
        Elevation at the nodes, NaN where there is none [m].
    affine : ndarray of float, shape (2, 3)
        ``affine @ (col, row, 1)`` is easting and northing of a node [m].
    sigma_m : float
        One standard deviation of it [m].
    """

    bed_m: FloatArray
    affine: FloatArray
    sigma_m: float


@dataclass(frozen=True, eq=False)
class _Correction:
    """What soundings add to a raster on the water's cells: likely, by triangles, and doubt."""

    likely_m: FloatArray
    linear_m: FloatArray
    highest_linear_m: FloatArray
    sigma_m: FloatArray
    vertex_sigma_m: FloatArray


def bed_over_raster(
    easting_m: FloatArray,
    northing_m: FloatArray,
    water: BoolArray,
    raster: RasterOfBed,
    points: BedPoints,
    shore: BedPoints,
    reach_m: float | None,
) -> BedSurface:
    r"""
    Return the bed from a raster with soundings over it.

    Parameters
    ----------
    easting_m, northing_m : ndarray of float, shapes (cols,) and (rows,)
        Cell centres, rising evenly [m].
    water : ndarray of bool, shape (rows, cols)
        True on the water.
    raster : RasterOfBed
        The raster, with one value at least.
    points : BedPoints
        Soundings, one at least, and points along contours; contours serve only where the raster
        has no value.
    shore : BedPoints
        Water's edge with islands, at the level of the outline.
    reach_m : float or None
        Farthest from a sounding that a depth is believed where the raster has no value, and that
        a sounding may lower the raster; ``None``: three times the median distance from the
        water's cells to the nearest sounding [m].

    Returns
    -------
    BedSurface
        The bed. Unsurveyed is water farther than two raster cells from a value and out of the
        soundings' reach.

    Raises
    ------
    ValueError
        If the raster holds no value, its affine has no inverse or its uncertainty is negative.

    Notes
    -----
    Soundings less the raster are kriged with the soundings' own errors, and added to the raster.
    The standard error is scaled by how much higher left-out tracks lie than it expects, and its
    sill is at least the raster's stated variance, which it so returns to away from soundings.
    Out of their reach soundings may raise the raster, never lower it.

    The bed relied on is the highest node of the raster whose support touches the cell, plus the
    highest correction round it, plus 2.33 σ; not below the raster with the corrections linear on
    triangles between soundings and an uncorrected edge; not below any sounding in the cell and
    the eight round it; not below all of what was measured round it, raster and soundings.

    Examples
    --------
    >>> unit = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    >>> flat = RasterOfBed(np.full((9, 9), 3.0), unit, 0.1)
    >>> def points(rows):
    ...     e, n, z = np.array(rows, float).T
    ...     return BedPoints(e, n, z, np.full(len(e), 0.05), np.zeros(len(e), bool))
    >>> edge = points([(0, 0, 5), (8, 0, 5), (8, 8, 5), (0, 8, 5)])
    >>> centre, sounded = np.arange(0.5, 8.0), points([(4.5, 4.5, 3.4)])
    >>> bed = bed_over_raster(centre, centre, np.ones((8, 8), bool), flat, sounded, edge, None)
    >>> bool(bed.bed_m[4, 4] > 3.3), bool(bed.reliable_bed_m[4, 4] > 3.4)
    (True, True)
    """
    base = bed_from_raster(
        easting_m, northing_m, water, raster.bed_m, raster.affine, raster.sigma_m
    )
    if not water.any():
        return base
    value, is_off = raster_at(raster.bed_m, raster.affine, points.easting_m, points.northing_m)
    over = _taken(points, ~is_off & ~points.is_contour, value)
    middle = np.array([easting_m.mean(), northing_m.mean()])
    grid = (easting_m - middle[0], northing_m - middle[1], water)
    every = sounded_cells(*grid, _moved(points, middle), reach_m)
    joined = base if not len(over) else _corrected(base, grid, over, shore, (middle, raster, every))
    if not base.is_unsurveyed.any():
        return replace(joined, reach_m=every.reach_m)
    beside = bed_from_points(easting_m, northing_m, water, points, shore, every.reach_m)
    off = base.is_unsurveyed
    return BedSurface(
        bed_m=np.where(off, beside.bed_m, joined.bed_m),
        sigma_m=np.where(off, beside.sigma_m, joined.sigma_m),
        reliable_bed_m=np.where(off, beside.reliable_bed_m, joined.reliable_bed_m),
        is_unsurveyed=off & beside.is_unsurveyed,
        reach_m=every.reach_m,
        edge_bed_m=np.where(off, beside.edge_bed_m, joined.edge_bed_m),
    )


def _taken(points: BedPoints, kept: BoolArray, less_m: FloatArray) -> BedPoints:
    """Return some points as residuals."""
    parts = vars(points) | {"bed_m": points.bed_m - less_m}
    return BedPoints(**{name: value[kept] for name, value in parts.items()})


def _moved(points: BedPoints, middle_m: FloatArray) -> BedPoints:
    """Return points near the origin: large coordinates cost digits."""
    return replace(
        points,
        easting_m=points.easting_m - middle_m[0],
        northing_m=points.northing_m - middle_m[1],
    )


def _corrected(
    base: BedSurface,
    grid: tuple[FloatArray, FloatArray, BoolArray],
    over: BedPoints,
    shore: BedPoints,
    known: tuple[FloatArray, RasterOfBed, SoundedCells],
) -> BedSurface:
    """Return the raster's bed with what soundings add to it; meaningless far from the raster."""
    middle, raster, every = known
    water = grid[2]
    over, shore = _moved(over, middle), _moved(shore, middle)
    cells = sounded_cells(*grid, over, every.reach_m)
    add = _correction(cells, over, shore, raster.sigma_m)
    node_m = base.reliable_bed_m[water] - RELIABLE_SIGMAS * raster.sigma_m
    likely = on_water(water, add.likely_m)
    relied = np.maximum(
        node_m + highest_round(likely, water) + RELIABLE_SIGMAS * add.sigma_m,
        node_m + add.highest_linear_m + SOUNDING_SIGMAS * add.vertex_sigma_m,
    )
    sounded_m = (
        over.bed_m
        + raster_at(
            raster.bed_m, raster.affine, over.easting_m + middle[0], over.northing_m + middle[1]
        )[0]
    )
    soundings = replace(over, bed_m=sounded_m)
    relied = np.maximum(relied, shoalest_round(cells, soundings))
    place = np.column_stack([over.easting_m, over.northing_m])
    lowest = lowest_within_reach(relied, cells, place, sounded_m)
    relied = np.maximum(relied, np.minimum(np.where(cells.is_far, np.inf, lowest), node_m))
    return BedSurface(
        base.bed_m + likely,
        on_water(water, add.sigma_m),
        on_water(water, relied),
        base.is_unsurveyed,
        every.reach_m,
        base.edge_bed_m + on_water(water, add.linear_m),
    )


def _correction(
    cells: SoundedCells, over: BedPoints, shore: BedPoints, sigma_m: float
) -> _Correction:
    """Return what soundings add to the raster."""
    spacing_m = max(cells.usual_distance_m, 1e-3)
    nothing = replace(over, **{name: value[:0] for name, value in vars(over).items()})
    blocks = block_means(over, nothing, spacing_m / 3.0, 4.0 * spacing_m)
    model = _model(blocks, spacing_m, sigma_m)
    likely, error = _on_cells(cells, blocks, model, spacing_m)
    likely = np.clip(likely, blocks.bed_m.min(), blocks.bed_m.max())
    linear, highest, vertex = _by_triangles(cells, over, shore, sigma_m)
    own = np.maximum(_scale(blocks, model) * error, over.sigma_m[cells.nearest_sounding])
    is_far = cells.is_far
    return _Correction(
        np.where(is_far, np.maximum(likely, 0.0), likely),
        np.where(is_far, np.maximum(linear, 0.0), linear),
        np.where(is_far, np.maximum(highest, 0.0), highest),
        np.where(is_far, np.maximum(own, sigma_m), own),
        np.where(is_far, np.maximum(vertex, sigma_m), vertex),
    )


def _model(blocks: Blocks, spacing_m: float, sigma_m: float) -> Variogram:
    """Return the variogram of the raster's error, no smaller than what is stated of it."""
    noise_m2 = float(np.median(blocks.variance_m2))
    found = variogram(blocks.place_m, blocks.bed_m, 4.0 * spacing_m)
    if found is None:
        square_m2 = float(np.mean(blocks.bed_m**2))
        return Variogram(max(square_m2, sigma_m**2), 0.0, 4.0 * spacing_m)
    nugget_m2 = max(found.nugget_m2 - noise_m2, 0.0)
    return Variogram(max(found.sill_m2, sigma_m**2 - nugget_m2), nugget_m2, found.range_m)


def _scale(blocks: Blocks, model: Variogram) -> float:
    """Return how much higher left-out soundings lie than kriging expects, 1 at least."""
    scale = 1.0
    for part in blocks.fold.T:
        if len(np.unique(part)) < 2:
            continue
        measured = blocks.bed_m, blocks.variance_m2
        value, error = kriged(model, blocks.place_m, measured, blocks.place_m, (part, part))
        off = (blocks.bed_m - value) / np.sqrt(error**2 + blocks.variance_m2)
        scale = max(scale, float(np.quantile(off, 0.95)) / SOUNDING_SIGMAS)
    return scale


def _on_cells(
    cells: SoundedCells, blocks: Blocks, model: Variogram, spacing_m: float
) -> tuple[FloatArray, FloatArray]:
    """Return the kriged correction on the water's cells and its error, linear between nodes."""
    east, north = cells.easting_m, cells.northing_m
    cell_m = float(east[1] - east[0])
    area_m2 = float(np.ptp(east) + cell_m) * float(np.ptp(north) + cell_m)
    side_m = max(0.5 * spacing_m, math.sqrt(area_m2 / _MOST_NODES), cell_m)
    cols, rows = (max(2, math.ceil(np.ptp(line) / side_m) + 1) for line in (east, north))
    node_east, node_north = (
        np.linspace(line[0], line[-1], count) for line, count in ((east, cols), (north, rows))
    )
    node = np.column_stack([part.ravel() for part in np.meshgrid(node_east, node_north)])
    found = kriged(model, blocks.place_m, (blocks.bed_m, blocks.variance_m2), node)
    at = (
        (cells.centre_m - [east[0], north[0]])
        / [node_east[1] - node_east[0], node_north[1] - node_north[0]]
    ).T[::-1]
    value, error = (
        map_coordinates(part.reshape(rows, cols), at, order=1, mode="nearest") for part in found
    )
    return value, error


def _by_triangles(
    cells: SoundedCells, over: BedPoints, shore: BedPoints, sigma_m: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return corrections linear between soundings and edge, their highest in each cell, and σ."""
    place = np.column_stack(
        [
            np.concatenate([over.easting_m, shore.easting_m]),
            np.concatenate([over.northing_m, shore.northing_m]),
        ]
    )
    add = np.concatenate([over.bed_m, np.zeros(len(shore))])
    sigma = np.concatenate([over.sigma_m, np.full(len(shore), sigma_m)])
    order = np.lexsort([-add, *np.round(place * 1000.0).T])
    key = np.round(place[order] * 1000.0)
    first = np.append(True, (np.diff(key, axis=0) != 0).any(axis=1))
    kept = np.sort(order[first])
    surface = triangulated(place[kept], add[kept])
    if surface is None:
        nothing = np.zeros(len(cells.centre_m))
        return nothing, nothing, nothing + sigma_m
    linear, triangle = surface.at(cells.easting_m, cells.northing_m)
    vertex = sigma[kept][surface.triangles[triangle[cells.water]]].max(axis=1)
    vertex = np.where(triangle[cells.water] < 0, sigma_m, vertex)
    highest = surface.highest_in_cells(cells.easting_m, cells.northing_m)
    return linear[cells.water], highest[cells.water], vertex
