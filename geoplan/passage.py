"""
How wide the open water stays: between an inflow or outlet and the middle, rafts in between.

A drainage authority asks it, and so does whoever fears a loose raft: what is narrower than the
passage can drift through it.
"""

from collections.abc import Sequence

import shapely
from shapely.geometry import MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

#: Passages wider than this are said to be so; no raft is longer [m].
WIDEST_M = 20.0
#: To which width is told [m].
STEP_M = 0.1
#: Outlines are drawn to this first; a passage is told to twice as much [m].
_DRAWN_TO_M = 0.02


def passage_m(water: BaseGeometry, rafts: Sequence[Polygon], spot: BaseGeometry) -> float:
    """
    Return the width of the widest way between a place on the bank and the middle of the water.

    Parameters
    ----------
    water : Polygon or MultiPolygon
        Open water [m].
    rafts : sequence of Polygon
        Water that rafts cover [m].
    spot : Point or LineString
        An inflow or outlet, on the bank [m].

    Returns
    -------
    float
        Diameter of the largest disc that can be moved from the water's widest part, as it is
        without rafts, to touch the place, rounded down to a tenth; ``WIDEST_M`` where it is at
        least that wide [m].

    Notes
    -----
    Found by halving: the water shrunk by half the width must be in one piece between the two. On
    a curved or pointed bank a wide disc may not touch the place itself; half a metre is allowed.

    Examples
    --------
    >>> channel = shapely.union_all([shapely.box(0, 0, 30, 30), shapely.box(30, 14, 50, 17)])
    >>> passage_m(channel, [], Point(50, 15.5))
    3.0
    """
    plain = shapely.simplify(water, _DRAWN_TO_M)
    middle = _middle(plain)
    free = shapely.difference(plain, shapely.union_all(list(rafts)))
    steps = round(WIDEST_M / STEP_M)
    low, high = 0, steps + 1
    while high - low > 1:
        half = (low + high) // 2
        if _leads(free, half * STEP_M - 2 * _DRAWN_TO_M, spot, middle):
            low = half
        else:
            high = half
    return round(low * STEP_M, 1)


def _middle(water: BaseGeometry) -> Point:
    """Return the place farthest from every bank."""
    parts = [part for part in shapely.get_parts(water) if part.area > 0]
    largest = max(parts, key=lambda part: part.area)
    circle = shapely.maximum_inscribed_circle(largest, tolerance=0.1)
    return Point(shapely.get_coordinates(circle)[0])


def _leads(free: BaseGeometry, width_m: float, spot: BaseGeometry, middle: Point) -> bool:
    """Tell whether a disc gets from the middle to the place."""
    room = shapely.buffer(free, -width_m / 2.0)
    if not isinstance(room, Polygon | MultiPolygon) or room.is_empty:
        return False
    parts = shapely.get_parts(room)
    touches = shapely.distance(parts, spot) <= width_m / 2.0 + 0.5
    # The widest part of the water may itself be taken up by rafts: what lies nearest counts.
    away = shapely.distance(parts, middle)
    return bool(touches[int(away.argmin())])
