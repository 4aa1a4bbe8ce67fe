"""
Whether a raft has the room to be towed, turned and hauled along a way, and where it is turned.

A raft is towed end-on and keeps the heading of its place from the last turn on. Where that turn is
made is the crew's choice: places from its own on outwards are tried, the nearest first.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geoplan.launch.sweep import tow_sweep
from geoplan.site import FloatArray

#: A raft that scrapes the edge of its water by less is not barred [m].
TOUCH_M = 0.01
#: A raft that touches the water another sweeps does not bar it [m].
_ROUNDING_M = 1e-6
#: Where the last turn is tried, in lengths of the raft before its place [1].
_TURNS = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 5.0)


@dataclass(frozen=True, eq=False)
class Manoeuvre:
    """
    A raft brought along a way.

    Attributes
    ----------
    turn_before_m : float
        Where it takes the heading of its place, before the end of its way [m].
    swept : ndarray of Polygon
        Water that it sweeps, in convex pieces, working CRS [m].
    is_clear : bool
        Whether all of that is water it may cross.
    """

    turn_before_m: float
    swept: Any
    is_clear: bool


def grown_water(water: BaseGeometry) -> BaseGeometry:
    """
    Return water grown by what a raft may scrape, made ready for many questions.

    Parameters
    ----------
    water : BaseGeometry
        Water that may be crossed [m].

    Returns
    -------
    BaseGeometry
        Grown by ``TOUCH_M`` [m].
    """
    grown = shapely.buffer(water, TOUCH_M, join_style="mitre")
    shapely.prepare(grown)
    return grown


def manoeuvre(
    tow_m: FloatArray,
    size_m: tuple[float, float],
    heading_deg: float,
    grown: BaseGeometry,
    in_place_m: float = 0.0,
) -> Manoeuvre:
    """
    Return how a raft is brought along a way.

    Parameters
    ----------
    tow_m : ndarray of float, shape (n, 2)
        Way of the centre from where towing begins [m].
    size_m : tuple of float
        Length and width [m].
    heading_deg : float
        Long axis in its place, clockwise from grid north [°].
    grown : BaseGeometry
        Water that may be crossed, from ``grown_water`` [m].
    in_place_m : float
        End of the way on which it is in its own place, and may be nearer than half its width to
        what bars it [m].

    Returns
    -------
    Manoeuvre
        With the turn nearest to its place that has room; without room the turn of which least
        lies outside, made before the raft is in its place.

    Examples
    --------
    >>> pond = grown_water(shapely.box(0, 0, 20, 20))
    >>> way = np.array([[10.0, 2.0], [10.0, 15.0]])
    >>> manoeuvre(way, (4.0, 2.0), 90.0, pond).is_clear
    True
    """
    last_m = float(np.hypot(*(tow_m[-1] - tow_m[-2]))) if len(tow_m) > 1 else 0.0
    tried = sorted({min(turns * size_m[0], last_m) for turns in _TURNS} | {last_m})
    least_m2, best = np.inf, Manoeuvre(0.0, np.zeros(0, object), is_clear=False)
    for turn_before_m in tried:
        swept = tow_sweep(tow_m, size_m, heading_deg, turn_before_m)
        if shapely.covers(grown, swept).all():
            return Manoeuvre(turn_before_m, swept, is_clear=True)
        near = shapely.intersection(grown, shapely.box(*shapely.total_bounds(swept)))
        outside_m2 = float(shapely.area(shapely.difference(swept, near)).sum())
        if turn_before_m >= in_place_m - _ROUNDING_M and outside_m2 < least_m2:
            least_m2, best = outside_m2, Manoeuvre(turn_before_m, swept, is_clear=False)
    return best


def rafts_swept(swept: list[Any], places: Any) -> tuple[frozenset[int], ...]:
    """
    Return for each raft the others that lie in the water it sweeps.

    Parameters
    ----------
    swept : list of ndarray of Polygon
        Water that each raft sweeps on its way [m].
    places : ndarray of Polygon, shape (n,)
        Water that each covers in its place [m].

    Returns
    -------
    tuple of frozenset of int
        For each raft the indices of those that bar its way, itself left out.
    """
    shrunk = shapely.buffer(np.asarray(places, object), -_ROUNDING_M, join_style="mitre")
    tree = shapely.STRtree(shrunk)
    owner = np.repeat(np.arange(len(swept)), [len(pieces) for pieces in swept])
    piece, other = tree.query(np.concatenate([*swept]), predicate="intersects")
    found: list[set[int]] = [set() for _ in swept]
    for way, raft in zip(owner[piece].tolist(), other.tolist(), strict=True):
        if way != raft:
            found[way].add(raft)
    return tuple(frozenset(others) for others in found)
