r"""
What keeps rafts apart and afloat, as linear rows: by how much, and how moves change it.

Two convex shapes are apart where some direction parts them. Of two rafts that is the normal of a
side or the line between two corners; of a raft and an edge, the normal of either. For each pair
the direction that parts it most is taken, and a row is written for each corner: the room that is
left, and its rates as either raft moves and turns. Where shapes meet, the same rows say how to
part them with the least move.
"""

from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geoplan.placement.parting_kernels import edge_table, pair_table
from geoplan.site import FloatArray
from geoplan.water import IntArray


class Rows(NamedTuple):
    """
    Rooms that must not be negative, and their rates.

    Attributes
    ----------
    first, second : ndarray of int, shape (n,)
        Rafts that a row is about; -1 for an edge.
    first_rate, second_rate : ndarray of float, shape (n, 3)
        Change of the room as a raft moves east and north [1] and turns [m a radian].
    room_m : ndarray of float, shape (n,)
        Distance beyond what is needed [m].
    pair : ndarray of int, shape (n,)
        Rows of one pair share a number; the pair lacks what its worst row lacks.
    """

    first: IntArray
    second: IntArray
    first_rate: FloatArray
    second_rate: FloatArray
    room_m: FloatArray
    pair: IntArray

    def lacking_m(self) -> float:
        """
        Return by how much all pairs together are too near.

        Returns
        -------
        float
            Sum over pairs [m].
        """
        if len(self.pair) == 0:
            return 0.0
        lack = np.zeros(int(self.pair.max()) + 1)
        np.maximum.at(lack, self.pair, -self.room_m)
        return float(lack.sum())


class Shapes(NamedTuple):
    """
    Rafts as corners and sides.

    Attributes
    ----------
    centre : ndarray of float, shape (n, 2)
        Centres, working CRS [m].
    corner : ndarray of float, shape (n, 4, 2)
        Corners [m].
    normal : ndarray of float, shape (n, 4, 2)
        Outward normals of the sides [1].
    half : ndarray of float, shape (n, 4)
        Distance from the centre to each side [m].
    """

    centre: FloatArray
    corner: FloatArray
    normal: FloatArray
    half: FloatArray

    @classmethod
    def of(cls, poses: FloatArray, sides_m: FloatArray) -> "Shapes":
        """
        Return the shapes of rafts.

        Parameters
        ----------
        poses : ndarray of float, shape (n, 3)
            Easting, northing [m] and turn of the long axis, counter-clockwise from east [rad].
        sides_m : ndarray of float, shape (n, 2)
            Length and width [m].

        Returns
        -------
        Shapes
            Corners and sides.
        """
        ahead = np.column_stack([np.cos(poses[:, 2]), np.sin(poses[:, 2])])
        normal = np.stack([ahead, turned(ahead), -ahead, -turned(ahead)], axis=1)
        half = np.tile(sides_m / 2, 2)
        reach = normal * half[..., None]
        corner = poses[:, None, :2] + reach + np.roll(reach, -1, axis=1)
        return cls(np.ascontiguousarray(poses[:, :2]), corner, normal, half)

    def of_some(self, which: IntArray) -> "Shapes":
        """
        Return the shapes of some of the rafts.

        Parameters
        ----------
        which : ndarray of int, shape (k,)
            Which rafts.

        Returns
        -------
        Shapes
            Those alone, in that order.
        """
        return Shapes(self.centre[which], self.corner[which], self.normal[which], self.half[which])


def turned(vectors: FloatArray) -> FloatArray:
    """
    Return vectors turned by a quarter, counter-clockwise.

    Parameters
    ----------
    vectors : ndarray of float, shape (..., 2)
        Vectors [any unit].

    Returns
    -------
    ndarray of float, shape (..., 2)
        Turned vectors [the same unit].
    """
    return np.stack([-vectors[..., 1], vectors[..., 0]], axis=-1)


def inner_edges(region: BaseGeometry) -> FloatArray:
    """
    Return the edges of a region, its water on their left.

    Parameters
    ----------
    region : BaseGeometry
        Polygons [m].

    Returns
    -------
    ndarray of float, shape (n, 2, 2)
        Start and end of each edge [m].
    """
    edges = [np.zeros((0, 2, 2))]
    for part in shapely.get_parts(region):
        for ring, is_hole in ((part.exterior, False), *((hole, True) for hole in part.interiors)):
            xy = shapely.get_coordinates(ring)
            if shapely.is_ccw(ring) == is_hole:
                xy = xy[::-1]
            edges.append(np.stack([xy[:-1], xy[1:]], axis=1))
    found = np.concatenate(edges)
    out: FloatArray = found[np.hypot(*(found[:, 1] - found[:, 0]).T) > 0]
    return out


def pair_rows(shapes: Shapes, gap_m: float, near_m: float) -> Rows:
    """
    Return the rows of rafts that are near each other.

    Parameters
    ----------
    shapes : Shapes
        The rafts.
    gap_m : float
        Distance to keep [m].
    near_m : float
        Pairs and corners with more room than this are left out [m].

    Returns
    -------
    Rows
        Pairs numbered from zero.
    """
    return _rows(pair_table(tuple(shapes), gap_m, near_m))


def edge_rows(shapes: Shapes, edges: FloatArray, near_m: float) -> Rows:
    """
    Return the rows of rafts that are near an edge of their region.

    Parameters
    ----------
    shapes : Shapes
        The rafts.
    edges : ndarray of float, shape (n, 2, 2)
        Edges with the water on their left [m].
    near_m : float
        Edges and corners with more room than this are left out [m].

    Returns
    -------
    Rows
        A raft and an edge are a pair, numbered from zero.
    """
    return _rows(edge_table(tuple(shapes), edges, near_m))


def _rows(table: FloatArray) -> Rows:
    """Return the rows of a table."""
    first, second, pair = (table[:, k].astype(np.int64) for k in (0, 1, 9))
    return Rows(first, second, table[:, 2:5], table[:, 5:8], table[:, 8], pair)


def together(first: Rows, second: Rows) -> Rows:
    """
    Return two sets of rows as one.

    Parameters
    ----------
    first, second : Rows
        Rows of different pairs.

    Returns
    -------
    Rows
        All of them, the pairs of the second numbered on.
    """
    next_pair = int(first.pair.max()) + 1 if len(first.pair) else 0
    moved = second._replace(pair=second.pair + next_pair)
    return Rows(*(np.concatenate(columns) for columns in zip(first, moved, strict=True)))
