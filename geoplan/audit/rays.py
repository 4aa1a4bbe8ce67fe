"""How far rays run before they meet an edge: crossings of straight lines in closed form."""

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geoplan.audit.frame import FloatArray


def to_edge_m(water: BaseGeometry, places: FloatArray, ways: FloatArray) -> FloatArray:
    """
    Return the distance from places to where rays first cross the edge of an area.

    Parameters
    ----------
    water : BaseGeometry
        Polygons, frame [m].
    places : ndarray of float, shape (n, 2)
        Where rays begin, frame [m].
    ways : ndarray of float, shape (k, 2)
        Their directions, of length one [1].

    Returns
    -------
    ndarray of float, shape (n, k)
        Distance; infinite where nothing is met [m].

    Examples
    --------
    >>> pond, middle = shapely.box(0, 0, 10, 4), np.array([[2.0, 2.0]])
    >>> to_edge_m(pond, middle, np.array([[1.0, 0.0], [0.0, 1.0]])).tolist()
    [[8.0, 2.0]]
    """
    rings = shapely.get_parts(shapely.boundary(water))
    corners, ring = shapely.get_coordinates(rings, return_index=True)
    is_side = ring[1:] == ring[:-1]
    away = np.full((len(places), len(ways)), np.inf)
    for index, place in enumerate(places):
        x, y = (corners - place).T
        # On which side of each ray a corner lies, and which sides of the area that parts.
        side = np.outer(ways[:, 0], y) - np.outer(ways[:, 1], x)
        way, at = np.nonzero(((side[:, 1:] > 0) != (side[:, :-1] > 0)) & is_side)
        twice_area = x[at] * y[at + 1] - x[at + 1] * y[at]
        reach = twice_area / (side[way, at + 1] - side[way, at])
        np.minimum.at(away[index], way[reach >= 0], reach[reach >= 0])
    return away
