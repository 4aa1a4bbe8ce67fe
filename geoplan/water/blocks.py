"""Means of measurements over squares, so that a million soundings are no more work than needed."""

from dataclasses import dataclass

import numpy as np

from geoplan.water import BoolArray, FloatArray, IntArray
from geoplan.water.bed import BedPoints
from geoplan.water.tracks import folds, square_folds

#: Error that soundings of a block share, however many there are [m].
_SHARED_M = 0.02


@dataclass(frozen=True, eq=False)
class Blocks:
    """
    Means of measurements over squares.

    Attributes
    ----------
    place_m : ndarray of float, shape (n, 2)
        Mean easting and northing [m].
    bed_m : ndarray of float, shape (n,)
        Mean elevation [m].
    variance_m2 : ndarray of float, shape (n,)
        Variance of its error [m²].
    is_shore, is_contour : ndarray of bool, shape (n,)
        Which are means of the water's edge, and of contours.
    fold : ndarray of int, shape (n, 2)
        Part of the survey that each is left out with: a track, and a piece of one; -1 for the
        water's edge.
    """

    place_m: FloatArray
    bed_m: FloatArray
    variance_m2: FloatArray
    is_shore: BoolArray
    is_contour: BoolArray
    fold: IntArray

    def __len__(self) -> int:
        """Return the number of blocks."""
        return len(self.bed_m)


def block_means(points: BedPoints, shore: BedPoints, side_m: float, gap_m: float) -> Blocks:
    """
    Return means over squares: of soundings, of contours and of the shore, each by itself.

    Parameters
    ----------
    points : BedPoints
        Soundings and points along contours, near the origin.
    shore : BedPoints
        Points of the water's edge; may be empty.
    side_m : float
        Side of a square [m].
    gap_m : float
        Usual distance between tracks [m].

    Returns
    -------
    Blocks
        In the order of northing, easting and kind of their squares.
    """
    both = [points, shore]
    place = np.concatenate([np.column_stack([p.easting_m, p.northing_m]) for p in both])
    bed, sigma = (np.concatenate([getattr(p, name) for p in both]) for name in ("bed_m", "sigma_m"))
    kind = np.repeat([0, 2], [len(points), len(shore)])
    kind[: len(points)] += points.is_contour
    square = np.floor(place / side_m).astype(np.int64)
    square -= square.min(axis=0)
    key = (square[:, 1] * (square[:, 0].max() + 1) + square[:, 0]) * 3 + kind
    _, first, owner = np.unique(key, return_index=True, return_inverse=True)
    count = np.bincount(owner).astype(float)
    mean = [np.bincount(owner, value) / count for value in (*place.T, bed, sigma**2)]
    variance = mean[3] / count + _SHARED_M**2
    variance[kind[first] == 1] += _contour_variance_m2(points)
    own = kind[first] < 2
    middle = np.column_stack(mean[:2])
    fold = np.full((len(first), 2), -1)
    if own.any():
        fold[own, 0] = folds(middle[own], gap_m)
        fold[own, 1] = square_folds(middle[own], gap_m / 2.0)
    return Blocks(middle, mean[2], variance, kind[first] == 2, kind[first] == 1, fold)


def _contour_variance_m2(points: BedPoints) -> float:
    """Return the variance of a drawn contour: 90 % within half an interval."""
    heights = np.unique(points.bed_m[points.is_contour])
    if len(heights) < 2:
        return 0.0
    return (float(np.median(np.diff(heights))) / 2.0 / 1.645) ** 2
