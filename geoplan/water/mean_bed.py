"""
The most likely bed and its uncertainty between soundings, as a smooth surface on the water.

A trend with the distance from the shore, a thin plate on what it leaves, and kriging for how far
both may be off, scaled by how well tracks that were left out were predicted.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import binary_dilation, map_coordinates

from geoplan.water import BoolArray, FloatArray
from geoplan.water.bed import BedPoints
from geoplan.water.blocks import Blocks, block_means
from geoplan.water.kriging import Variogram, standard_error_m, variogram
from geoplan.water.sheet import WaterSheet, water_sheet
from geoplan.water.shore_trend import ShoreTrend, shore_distance_m, shore_trend
from geoplan.water.thin_plate import plate_on

#: Measured blocks that a smooth surface needs; with fewer, triangles must do.
FEWEST_BLOCKS = 12
#: Nodes of a plate: no more than can be solved in seconds, no fewer than a shore's shape needs.
_MOST_NODES, _FEWEST_NODES = 60_000.0, 2_500.0
#: Nodes of the plate by which the stiffness is chosen.
_MOST_NODES_TRIED = 8_000.0
#: Stiffnesses that are tried [m²].
_STIFFNESSES_M2 = (1.0, 10.0, 100.0, 1e3, 1e4)
#: Left-out blocks whose standardised misfit is looked at.
_MOST_JUDGED = 4000
#: A covariance taken from the soundings it is then judged by comes out too small; on rough ponds of
#: known bed, so much more keeps the bed relied on true in close to 99 of 100 cells. Judgement [1].
_SHORTFALL = 1.3


@dataclass(frozen=True, eq=False)
class SmoothBed:
    """
    A smooth bed on the cells.

    Attributes
    ----------
    bed_m : ndarray of float, shape (rows, cols)
        Most likely elevation at the cell centre; meaningless off the water [m].
    between_sigma_m : ndarray of float, shape (rows, cols), or None
        One standard deviation of it between soundings; ``None`` where soundings are too few to
        judge by [m].
    trend : ShoreTrend or None
        The trend, where it predicts better with than without.
    stiffness_m2 : float
        Stiffness that predicts left-out tracks best [m²].
    misfit_scale : float
        Factor by which left-out tracks missed more than kriging expects, 1 or more [1].
    """

    bed_m: FloatArray
    between_sigma_m: FloatArray | None
    trend: ShoreTrend | None
    stiffness_m2: float
    misfit_scale: float


def smooth_bed(
    easting_m: FloatArray,
    northing_m: FloatArray,
    water: BoolArray,
    points: BedPoints,
    shore: BedPoints,
    spacing_m: float,
) -> SmoothBed | None:
    """
    Return the smooth bed.

    Parameters
    ----------
    easting_m : ndarray of float, shape (cols,)
        Eastings of the cell centres near the origin, rising evenly [m].
    northing_m : ndarray of float, shape (rows,)
        Northings of the cell centres near the origin, rising evenly [m].
    water : ndarray of bool, shape (rows, cols)
        True on the water, in one cell at least.
    points : BedPoints
        Soundings and points along contours, in the same coordinates.
    shore : BedPoints
        Points of the water's edge, in the same coordinates.
    spacing_m : float
        Median distance from the water to the nearest point; lines lie four times as far apart
        [m].

    Returns
    -------
    SmoothBed or None
        ``None`` where there are too few points to choose a surface by.

    Notes
    -----
    The method with its evidence: ``docs/methods/bed.md``.
    """
    cell_m = float(easting_m[1] - easting_m[0])
    area_m2 = float(water.sum()) * cell_m**2
    side_m = _node_spacing_m(area_m2, spacing_m, cell_m)
    origin = np.array([easting_m[0], northing_m[0]])
    points, shore = (_on_the_water(each, origin, water, cell_m) for each in (points, shore))
    blocks = block_means(points, shore, side_m / 2.0, 4.0 * spacing_m)
    if (~blocks.is_shore).sum() < FEWEST_BLOCKS:
        return None
    away = shore_distance_m(water, cell_m)
    at = (blocks.place_m - origin).T[::-1] / cell_m
    block_away = map_coordinates(away, at, order=1, mode="nearest")
    trend = _trend(blocks, block_away)
    expected = np.zeros((len(blocks), 2))
    expected[:, 0] = blocks.bed_m.mean() if trend is None else trend.bed_m(block_away)
    expected[:, 1] = blocks.bed_m.mean()
    span = max(1, round(side_m / cell_m))
    tried_m = max(spacing_m, math.sqrt(area_m2 / _MOST_NODES_TRIED))
    tried = max(span, round(tried_m / cell_m))
    stiffness_m2, column, predicted = _chosen(
        water_sheet(water, tried), cell_m, blocks, at, expected
    )
    sheet = water_sheet(water, span)
    plate = plate_on(sheet, cell_m, sheet.weights(*at), 1.0 / blocks.variance_m2)
    height = plate.drawn(blocks.bed_m - expected[:, column], stiffness_m2)
    bed = np.full(water.shape, np.nan)
    weights = sheet.weights(*(index.astype(float) for index in np.nonzero(water)))
    is_trend = trend is not None and column == 0
    bed[water] = weights @ height
    bed[water] += trend.bed_m(away[water]) if trend is not None and is_trend else expected[0, 1]
    model = _model(blocks, expected[:, 0], 4.0 * spacing_m)
    if model is None:
        return SmoothBed(bed, None, trend if is_trend else None, stiffness_m2, 1.0)
    scale = _misfit_scale(blocks, predicted, model)
    sigma = np.full(water.shape, np.nan)
    sigma[water] = scale * (weights @ _node_error_m(blocks, model, sheet, origin, cell_m))
    return SmoothBed(bed, sigma, trend if is_trend else None, stiffness_m2, scale)


def _node_spacing_m(area_m2: float, spacing_m: float, cell_m: float) -> float:
    """Return the distance between nodes: a third of that between lines, if it can be solved."""
    return max(
        min(0.7 * spacing_m, math.sqrt(area_m2 / _FEWEST_NODES)),
        math.sqrt(area_m2 / _MOST_NODES),
        cell_m,
    )


def _node_error_m(
    blocks: Blocks, model: Variogram, sheet: WaterSheet, origin: FloatArray, cell_m: float
) -> FloatArray:
    """Return the standard error at the nodes of a sheet, ghosts like the nodes they continue."""
    place = origin + np.column_stack([sheet.col, sheet.row]) * cell_m
    error = standard_error_m(model, blocks.place_m, blocks.variance_m2, place)
    owner = np.arange(sheet.size)
    ghost = sheet.beside >= len(sheet)
    owner[sheet.beside[ghost]] = np.nonzero(ghost)[0]
    out: FloatArray = error[owner]
    return out


def _on_the_water(
    points: BedPoints, origin_m: FloatArray, water: BoolArray, cell_m: float
) -> BedPoints:
    """Return points within two cells of the water: a plate carries no farther over land."""
    near = binary_dilation(water, iterations=2)
    col = np.rint((points.easting_m - origin_m[0]) / cell_m).astype(np.int64)
    row = np.rint((points.northing_m - origin_m[1]) / cell_m).astype(np.int64)
    on = (row >= 0) & (row < water.shape[0]) & (col >= 0) & (col < water.shape[1])
    on[on] = near[row[on], col[on]]
    return BedPoints(*(value[on] for value in vars(points).values()))


def _trend(blocks: Blocks, away_m: FloatArray) -> ShoreTrend | None:
    """Return the trend of what was measured, from the level of the shore."""
    if not blocks.is_shore.any():
        return None
    own = ~blocks.is_shore
    level_m = float(np.median(blocks.bed_m[blocks.is_shore]))
    return shore_trend(away_m[own], blocks.bed_m[own], level_m)


def _chosen(
    sheet: WaterSheet, cell_m: float, blocks: Blocks, at: FloatArray, expected: FloatArray
) -> tuple[float, int, FloatArray]:
    """
    Return stiffness and trend that predict left-out tracks best, and what they predict.

    The predictions are for left-out tracks and for left-out pieces, shape (k, 2).
    """
    plate = plate_on(sheet, cell_m, sheet.weights(*at), 1.0 / blocks.variance_m2)
    own = ~blocks.is_shore
    residual = blocks.bed_m[:, None] - expected
    stiffness_m2, column, least = _STIFFNESSES_M2[-1], 0, np.inf
    out = np.full((len(blocks), 2), np.nan)
    before = np.full(2, np.inf)
    for tried_m2 in _STIFFNESSES_M2:
        predicted = plate.left_out(residual, tried_m2, blocks.fold[:, 0]) + expected
        misfit = np.abs(predicted - blocks.bed_m[:, None])[own].mean(axis=0)
        for k in np.flatnonzero(misfit < least * (1 - 1e-9)):
            if misfit[k] < least * (1 - 1e-9):
                stiffness_m2, column, least = tried_m2, int(k), float(misfit[k])
                out[:, 0] = predicted[:, k]
        if (misfit > before).all():
            break
        before = misfit
    pieces = plate.left_out(residual[:, column], stiffness_m2, blocks.fold[:, 1])
    out[:, 1] = pieces + expected[:, column]
    return stiffness_m2, column, out


def _model(blocks: Blocks, expected_m: FloatArray, gap_m: float) -> Variogram | None:
    """Return the variogram of soundings about the trend, their own errors taken out."""
    own = ~blocks.is_shore & ~blocks.is_contour
    model = variogram(blocks.place_m[own], (blocks.bed_m - expected_m)[own], gap_m)
    if model is None:
        return None
    noise_m2 = float(np.median(blocks.variance_m2[own]))
    return replace(model, nugget_m2=max(model.nugget_m2 - noise_m2, 0.0))


def _misfit_scale(blocks: Blocks, predicted_m: FloatArray, model: Variogram) -> float:
    """
    Return how much higher left-out soundings lie than kriging expects, 1 at least.

    The larger of two: for tracks left out, which lie farther from the next than most water does,
    and for pieces of tracks, which lie nearer and show what is rougher over short ways than a
    smooth covariance makes it.
    """
    own = np.flatnonzero(~blocks.is_shore & ~blocks.is_contour)
    judged = own[np.unique(np.linspace(0, len(own) - 1, _MOST_JUDGED).astype(np.int64))]
    scales = []
    for k in range(2):
        part = blocks.fold[:, k]
        error = standard_error_m(
            model,
            blocks.place_m,
            blocks.variance_m2,
            blocks.place_m[judged],
            (part, part[judged]),
        )
        off = (blocks.bed_m - predicted_m[:, k])[judged]
        off /= np.sqrt(error**2 + blocks.variance_m2[judged])
        scales.append(max(1.0, float(np.quantile(off, 0.95)) / 1.645))
    return _SHORTFALL * max(scales)
