"""To which water body a feature belongs: the ones it touches, or lies near enough to."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from geoplan.crs import WGS84, transformed
from geoplan.readers.points import AT_A_TIME, Geometries
from geoplan.readers.waters import DrawnWater

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Metres of a degree of latitude, at its least [m/°]. WGS 84 at the equator: 110,574 m.
_DEGREE_M = 110_500.0


@dataclass(frozen=True, eq=False)
class Reach:
    """
    Pairs of a feature and a water body within its reach.

    Attributes
    ----------
    feature, water : ndarray of int, shape (n,)
        Positions, in the order of features and then of waters.
    distance_m : ndarray of float, shape (n,)
        Distance between them, zero where they touch [m].
    """

    feature: IntArray
    water: IntArray
    distance_m: FloatArray


def within_reach(
    geometries: Geometries, crs: str, waters: tuple[DrawnWater, ...], reach_m: FloatArray
) -> Reach:
    """
    Return every water body that lies within reach of each feature.

    Parameters
    ----------
    geometries : ndarray of BaseGeometry, shape (n,), or Points
        Features in ``crs``.
    crs : str
        Their CRS.
    waters : tuple of DrawnWater
        The water bodies.
    reach_m : ndarray of float, shape (n,)
        Reach of each feature [m].

    Returns
    -------
    Reach
        Distances are planar in the working CRS of the water body.
    """
    outlines = np.array([water.outline_deg for water in waters], dtype=object)
    tree = shapely.STRtree(shapely.envelope(outlines))
    parts = [
        _some_within_reach(geometries[part], crs, waters, reach_m[part], tree)
        for part in _pieces(len(geometries))
    ]
    return Reach(
        np.concatenate([one.feature + AT_A_TIME * at for at, one in enumerate(parts)]),
        np.concatenate([one.water for one in parts]),
        np.concatenate([one.distance_m for one in parts]),
    )


def _pieces(count: int) -> list[slice]:
    """Return the features that are looked at together: their boxes take a kilobyte each."""
    return [slice(begin, begin + AT_A_TIME) for begin in range(0, max(1, count), AT_A_TIME)]


def _some_within_reach(
    geometries: NDArray[Any],
    crs: str,
    waters: tuple[DrawnWater, ...],
    reach_m: FloatArray,
    tree: shapely.STRtree,
) -> Reach:
    """Return the pairs of some features; ``tree`` holds the bounds of the waters in degrees."""
    bounds = shapely.bounds(transformed(geometries, crs, WGS84))
    north = reach_m / _DEGREE_M
    poleward = np.minimum(np.maximum(np.abs(bounds[:, 1]), np.abs(bounds[:, 3])) + north, 89.9)
    east = np.minimum(north / np.cos(np.radians(poleward)), 360.0)
    boxes = shapely.box(
        bounds[:, 0] - east, bounds[:, 1] - north, bounds[:, 2] + east, bounds[:, 3] + north
    )
    near_feature, near_water = tree.query(boxes)
    distance = distances_m(geometries[near_feature], crs, waters, near_water)
    is_near = distance <= reach_m[near_feature]
    feature, water = near_feature[is_near], near_water[is_near]
    order = np.lexsort((water, feature))
    return Reach(feature[order], water[order], distance[is_near][order])


def nearest_only(reach: Reach) -> Reach:
    """
    Return each feature with the nearest of the water bodies in its reach.

    Parameters
    ----------
    reach : Reach
        All pairs.

    Returns
    -------
    Reach
        One pair for each feature; of two as near, the first in the order of ``water_id``.
    """
    order = np.lexsort((reach.water, reach.distance_m, reach.feature))
    _, first = np.unique(reach.feature[order], return_index=True)
    kept = order[first]
    return Reach(reach.feature[kept], reach.water[kept], reach.distance_m[kept])


def touched_or_nearest(reach: Reach) -> Reach:
    """
    Return each feature with every water body that it touches, or else with the nearest one.

    Parameters
    ----------
    reach : Reach
        All pairs.

    Returns
    -------
    Reach
        One pair or more for each feature.
    """
    nearest = nearest_only(reach)
    least = dict(zip(nearest.feature.tolist(), nearest.water.tolist(), strict=True))
    kept = [
        at
        for at, (feature, water) in enumerate(zip(reach.feature, reach.water, strict=True))
        if reach.distance_m[at] == 0.0 or least[int(feature)] == water
    ]
    return Reach(reach.feature[kept], reach.water[kept], reach.distance_m[kept])


def nearest_water(
    geometries: Geometries, crs: str, waters: tuple[DrawnWater, ...]
) -> tuple[IntArray, FloatArray]:
    """
    Return the water body nearest to each feature, however far.

    Parameters
    ----------
    geometries : ndarray of BaseGeometry, shape (n,), or Points
        Features in ``crs``.
    crs : str
        Their CRS.
    waters : tuple of DrawnWater
        The water bodies, one at least.

    Returns
    -------
    ndarray of int, shape (n,)
        Position of the water body.
    ndarray of float, shape (n,)
        Distance; infinite where it cannot be measured in a plane [m].
    """
    if not len(geometries):
        return np.empty(0, dtype=np.int64), np.empty(0)
    tree = shapely.STRtree([water.outline_deg for water in waters])
    nearest, distance_m = [], []
    for part in _pieces(len(geometries)):
        some = geometries[part]
        nearest.append(tree.nearest(transformed(some, crs, WGS84)))
        distance_m.append(distances_m(some, crs, waters, nearest[-1]))
    return np.concatenate(nearest), np.concatenate(distance_m)


def nearest_of_all(
    geometries: Geometries, crs: str, waters: tuple[DrawnWater, ...], reach_m: float
) -> Reach:
    """
    Return the water body nearest to each feature, those beyond reach included.

    Parameters
    ----------
    geometries : ndarray of BaseGeometry, shape (n,), or Points
        Features in ``crs``.
    crs : str
        Their CRS.
    waters : tuple of DrawnWater
        The water bodies, one at least.
    reach_m : float
        Reach within which the nearest is told to the last millimetre, as ``within_reach`` does;
        beyond it is the nearest in degrees [m].

    Returns
    -------
    Reach
        One pair for each feature, in their order.
    """
    count = len(geometries)
    near = nearest_only(within_reach(geometries, crs, waters, np.full(count, reach_m)))
    water, distance_m = np.empty(count, dtype=np.int64), np.empty(count)
    water[near.feature], distance_m[near.feature] = near.water, near.distance_m
    beyond = np.setdiff1d(np.arange(count), near.feature)
    water[beyond], distance_m[beyond] = nearest_water(geometries[beyond], crs, waters)
    return Reach(np.arange(count), water, distance_m)


def distances_m(
    geometries: NDArray[Any], crs: str, waters: tuple[DrawnWater, ...], water: IntArray
) -> FloatArray:
    """
    Return the distance of each feature from a water body.

    Parameters
    ----------
    geometries : ndarray of BaseGeometry, shape (n,)
        Features in ``crs``.
    crs : str
        Their CRS.
    waters : tuple of DrawnWater
        The water bodies.
    water : ndarray of int, shape (n,)
        Position of the water body for each feature.

    Returns
    -------
    ndarray of float, shape (n,)
        Zero where they touch; infinite where it cannot be measured in a plane [m].
    """
    out = np.full(len(geometries), np.inf)
    for index, every in by_owner(water):
        target, own = waters[index], every
        placed = transformed(geometries[own], crs, target.crs)
        shapely.prepare(target.outline)
        is_finite = np.isfinite(shapely.bounds(placed)).all(axis=1)
        own, placed = own[is_finite], placed[is_finite]
        is_touching = shapely.intersects(target.outline, placed)  # fast: the outline is prepared
        out[own[is_touching]] = 0.0
        out[own[~is_touching]] = shapely.distance(target.outline, placed[~is_touching])
    return out


def by_owner(owner: IntArray) -> Iterator[tuple[int, IntArray]]:
    """
    Yield what belongs to each owner, in one pass for all.

    Parameters
    ----------
    owner : ndarray of int, shape (n,)
        Owner of each; negative where there is none.

    Yields
    ------
    int
        Each owner, in rising order.
    ndarray of int, shape (m,)
        Positions of what is its own, in rising order.

    Examples
    --------
    >>> [(who, what.tolist()) for who, what in by_owner(np.array([1, -1, 0, 1]))]
    [(0, [2]), (1, [0, 3])]
    """
    order = np.argsort(owner, kind="stable")
    owners, begins = np.unique(owner[order], return_index=True)
    ends = np.append(begins, len(order))
    for at, who in enumerate(owners.tolist()):
        if who >= 0:
            yield who, order[ends[at] : ends[at + 1]]
