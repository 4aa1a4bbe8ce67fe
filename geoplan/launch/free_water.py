"""
The water that a towed raft may cross, as polygons, and the least depth along a way.

A cell counts as a whole square, so a corner of a shallow cell blocks as the cell does.
"""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from geoplan.cut_cells import cells_polygon
from geoplan.grid import BoolArray, WaterGrid
from geoplan.site import FloatArray

_ARC = 8
#: GEOS drops bends of the outline shallower than this share of the distance before it buffers
#: (BufferParameters, DEFAULT_SIMPLIFY_FACTOR in its source; recalled, and seen in a test) [1].
_BENDS_DROPPED = 0.01
#: Pieces into which a way is cut before the cells near it are looked up [m].
_PIECE_M = 4.0
#: A cell that touches the edge of the swept strip by no more than this is not swept [m].
_ROUNDING_M = 1e-6


def only_polygons(geometry: BaseGeometry) -> MultiPolygon:
    """
    Return the polygons of a geometry, without the lines and points that set operations leave.

    Parameters
    ----------
    geometry : BaseGeometry
        Any geometry [m].

    Returns
    -------
    MultiPolygon
        Its polygons; empty where there are none.
    """
    parts = shapely.get_parts(shapely.get_parts(geometry))
    return MultiPolygon([part for part in parts if isinstance(part, Polygon) and not part.is_empty])


def cell_squares(grid: WaterGrid, cells: BoolArray) -> MultiPolygon:
    """
    Return the union of cells as polygons.

    Parameters
    ----------
    grid : WaterGrid
        The cells.
    cells : ndarray of bool, shape (rows, cols)
        Those wanted.

    Returns
    -------
    MultiPolygon
        Union of whole squares, working CRS [m].

    Examples
    --------
    >>> grid = WaterGrid(0.0, 0.0, 0.5, np.ones((2, 3), bool))
    >>> cell_squares(grid, np.array([[True, True, False], [False, True, True]])).area
    1.0
    """
    squares = cells_polygon(grid.west_m, grid.south_m, grid.cell_size_m, cells)
    return only_polygons(squares)


def free_water(
    grid: WaterGrid,
    depth_m: FloatArray,
    need_m: float,
    edge: BaseGeometry,
    obstacles: Sequence[BaseGeometry] = (),
) -> MultiPolygon:
    """
    Return the water that is deep enough and not taken by a raft.

    Parameters
    ----------
    grid : WaterGrid
        The cells.
    depth_m : ndarray of float, shape (rows, cols)
        Reliable depth of each cell [m].
    need_m : float
        Depth that is needed [m].
    edge : BaseGeometry
        Open water at the level of ``depth_m``, working CRS [m].
    obstacles : sequence of BaseGeometry
        Outlines of rafts in the water, working CRS [m].

    Returns
    -------
    MultiPolygon
        Cells that are deep enough, as squares, inside the edge, less the obstacles.
    """
    deep = shapely.intersection(cell_squares(grid, depth_m >= need_m), edge)
    return only_polygons(shapely.difference(deep, joined(obstacles)))


def joined(rafts: Sequence[BaseGeometry]) -> BaseGeometry:
    """
    Return rafts as one geometry.

    Parameters
    ----------
    rafts : sequence of BaseGeometry
        Outlines, which may touch, working CRS [m].

    Returns
    -------
    BaseGeometry
        Their union; empty where there are none.
    """
    return shapely.disjoint_subset_union_all(list(rafts))


def taken_back(water: BaseGeometry, distance_m: float) -> MultiPolygon:
    """
    Return the places whose distance to the edge of the water is at least a given one.

    Parameters
    ----------
    water : BaseGeometry
        Polygons [m].
    distance_m : float
        Distance to keep from their edge [m].

    Returns
    -------
    MultiPolygon
        Polygons within the true offset, by up to 1.5 % of the distance.

    Notes
    -----
    A round buffer replaces an arc by chords, which come nearer than its radius r by
    r(1 − cos(π/4n)) for n segments a quarter circle, and it drops bends shallower than r/100
    first. The radius is enlarged so that the distance holds all the same.

    Examples
    --------
    >>> corner = shapely.box(0, 0, 20, 20).difference(shapely.box(0, 0, 10, 10))
    >>> bool(shapely.distance(taken_back(corner, 2.0), shapely.Point(10, 10)) > 2.0)
    True
    """
    if distance_m <= 0:
        return only_polygons(water)
    radius_m = distance_m / (math.cos(math.pi / (4 * _ARC)) - _BENDS_DROPPED)
    return only_polygons(shapely.buffer(water, -radius_m, quad_segs=_ARC))


class SweptDepth:
    """
    Depths that a raft meets on its way, for many ways over the same cells.

    Parameters
    ----------
    grid : WaterGrid
        The cells.
    depth_m : ndarray of float, shape (rows, cols)
        Reliable depth of each cell [m].
    """

    def __init__(self, grid: WaterGrid, depth_m: FloatArray) -> None:
        row, col = np.nonzero(grid.water)
        self._size_m = grid.cell_size_m
        self._west_m = grid.west_m + col * self._size_m
        self._south_m = grid.south_m + row * self._size_m
        half_m = self._size_m / 2
        self._middle = shapely.points(self._west_m + half_m, self._south_m + half_m)
        self._tree = shapely.STRtree(self._middle)
        self._depth_m = depth_m[row, col]

    def least_m(self, way: BaseGeometry, half_width_m: float) -> float:
        """
        Return the least depth in the strip of water that a way sweeps.

        Parameters
        ----------
        way : BaseGeometry
            Line or point, working CRS [m].
        half_width_m : float
            Half the width of the strip [m].

        Returns
        -------
        float
            Least depth of the cells nearer to the way than half the width; zero where there is
            none [m].
        """
        pieces = _pieces(way)
        reach_m = max(half_width_m - _ROUNDING_M, 0.0)
        corner_m = self._size_m * math.sqrt(0.5) + _ROUNDING_M
        piece, cell = self._tree.query(pieces, predicate="dwithin", distance=reach_m + corner_m)
        is_swept = shapely.dwithin(pieces[piece], self._middle[cell], reach_m)
        least_m = float(self._depth_m[cell[is_swept]].min(initial=math.inf))
        # Of the others, squares that are deeper cannot change it.
        piece, cell = (each[self._depth_m[cell] < least_m] for each in (piece, cell))
        west_m, south_m, size_m = self._west_m[cell], self._south_m[cell], self._size_m
        square = shapely.box(west_m, south_m, west_m + size_m, south_m + size_m)
        is_swept = shapely.dwithin(pieces[piece], square, reach_m)
        least_m = float(self._depth_m[cell[is_swept]].min(initial=least_m))
        return least_m if math.isfinite(least_m) else 0.0


def _pieces(way: BaseGeometry) -> Any:
    """Return a line in short pieces, whose boxes hold little but the line."""
    if way.length == 0:  # a line of no length cannot be cut
        return shapely.points(shapely.get_coordinates(way)[:1])
    points = shapely.get_coordinates(shapely.segmentize(way, _PIECE_M))
    return shapely.linestrings(np.stack([points[:-1], points[1:]], axis=1))
