r"""
What keeps rafts apart and afloat, as linear rows: by how much, and how moves change it.

Two convex shapes are apart where some direction parts them. Of two rafts that is the normal of a
side or the line between two corners; of a raft and an edge, the normal of either. For each pair
the direction that parts it most is taken, and a row is written for each corner: the room that is
left, and its rates as either raft moves and turns. Where shapes meet, the same rows say how to
part them with the least move.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

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


@dataclass(frozen=True, eq=False)
class Shapes:
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
        return cls(poses[:, :2], corner, normal, half)

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
    far = np.hypot(shapes.half[:, 0], shapes.half[:, 1])
    a, b = np.triu_indices(len(far), 1)
    apart = np.hypot(*(shapes.centre[a] - shapes.centre[b]).T)
    is_near = apart < far[a] + far[b] + gap_m + near_m
    a, b = a[is_near], b[is_near]
    pair = np.arange(len(a))
    ends = (shapes.corner[a][:, :, None] - shapes.corner[b][:, None, :]).reshape(-1, 16, 2)
    nearest = np.hypot(ends[..., 0], ends[..., 1]).argmin(axis=1)
    line = ends[pair, nearest] / np.maximum(np.hypot(*ends[pair, nearest].T), 1e-12)[:, None]
    by_line = np.einsum("pik,pk->pi", ends, line).min(axis=1)
    every = np.column_stack([_by_sides(shapes, b, a), _by_sides(shapes, a, b), by_line])
    best = every.argmax(axis=1)
    parts = []
    for owner, other, side in ((b, a, best), (a, b, best - 4)):
        mine = np.flatnonzero((side >= 0) & (side < 4) & (best < 8))
        parts.append(_side_rows(shapes, owner[mine], other[mine], side[mine], gap_m, pair[mine]))
    mine = np.flatnonzero(best == 8)
    corner = shapes.corner[b[mine], nearest[mine] % 4]
    arm = corner - shapes.centre[b[mine]]
    turn = -np.einsum("pk,pk->p", line[mine], turned(arm))
    level = np.einsum("pk,pk->p", line[mine], corner) + gap_m
    parts.append(
        _rows(shapes, a[mine], b[mine], line[mine], level, np.tile(turn[:, None], 4), pair[mine])
    )
    return _near(parts, near_m)


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
    far = np.hypot(shapes.half[:, 0], shapes.half[:, 1]) + near_m
    low, high = edges.min(axis=1), edges.max(axis=1)
    off = np.maximum(low - shapes.centre[:, None], shapes.centre[:, None] - high).max(axis=2)
    raft, edge = np.nonzero(off < far[:, None])
    start, along = edges[edge, 0], edges[edge, 1] - edges[edge, 0]
    inward = turned(along / np.hypot(*along.T)[:, None])
    depth = np.einsum("pik,pk->pi", shapes.corner[raft] - start[:, None], inward)
    # Wholly behind an edge a raft may lie in another arm of the water.
    behind = -depth.max(axis=1)
    ends = edges[edge] - shapes.centre[raft][:, None]
    by_side = np.einsum("pik,pfk->pfi", ends, shapes.normal[raft]).min(axis=2)
    every = np.column_stack(
        [by_side - shapes.half[raft], depth.min(axis=1), np.where(behind > 0, behind, -np.inf)]
    )
    best = every.argmax(axis=1)
    mine, other = np.flatnonzero(best < 4), np.flatnonzero(best >= 4)
    pair = np.arange(len(raft))
    normal = shapes.normal[raft[mine], best[mine]]
    arms = ends[mine]
    room = np.einsum("pik,pk->pi", arms, normal) - shapes.half[raft[mine], best[mine]][:, None]
    spin = np.einsum("pik,pk->pi", arms, turned(normal))
    push = inward[other] * np.where(best[other] == 4, 1.0, -1.0)[:, None]
    level = np.einsum("pk,pk->p", push, start[other])
    nobody = np.full(len(other), -1)
    parts = [
        _flat(None, raft[mine], normal, spin, room, pair[mine]),
        _rows(shapes, raft[other], nobody, push, level, np.zeros((len(other), 4)), pair[other]),
    ]
    return _near(parts, near_m)


def _by_sides(shapes: Shapes, owner: IntArray, other: IntArray) -> FloatArray:
    """Return how far beyond each side of a raft another lies, shape (n, 4) [m]."""
    arms = shapes.corner[other] - shapes.centre[owner][:, None]
    reach = np.einsum("pik,pfk->pfi", arms, shapes.normal[owner]).min(axis=2)
    out: FloatArray = reach - shapes.half[owner]
    return out


def _side_rows(
    shapes: Shapes, owner: IntArray, other: IntArray, side: IntArray, gap_m: float, pair: IntArray
) -> Rows:
    """Return rows that keep the corners of rafts beyond a side of others, which may turn."""
    normal = shapes.normal[owner, side]
    arms = shapes.corner[other] - shapes.centre[owner][:, None]
    spin = np.einsum("pik,pk->pi", arms, turned(normal))
    level = np.einsum("pk,pk->p", normal, shapes.centre[owner]) + shapes.half[owner, side] + gap_m
    return _rows(shapes, other, owner, normal, level, spin, pair)


def _rows(
    shapes: Shapes,
    first: IntArray,
    second: IntArray,
    normal: FloatArray,
    level: FloatArray,
    spin: FloatArray,
    pair: IntArray,
) -> Rows:
    """Return rows that keep the corners of rafts above a level along a direction."""
    corner = shapes.corner[first]
    room = np.einsum("pik,pk->pi", corner, normal) - level[:, None]
    arms = turned(corner - shapes.centre[first][:, None])
    own = np.einsum("pik,pk->pi", arms, normal)
    moved = _flat(first, second, normal, spin, room, pair)
    rate = np.concatenate([np.repeat(normal, 4, axis=0), own.reshape(-1, 1)], axis=1)
    return moved._replace(first_rate=rate)


def _flat(
    first: IntArray | None,
    second: IntArray,
    normal: FloatArray,
    spin: FloatArray,
    room: FloatArray,
    pair: IntArray,
) -> Rows:
    """Return rows of which the second raft holds the direction; the first stays."""
    count = room.shape[1]
    rate = np.concatenate([np.repeat(-normal, count, axis=0), spin.reshape(-1, 1)], axis=1)
    nobody = np.full(len(second), -1) if first is None else first
    return Rows(
        np.repeat(nobody, count),
        np.repeat(second, count),
        np.zeros_like(rate),
        rate,
        room.ravel(),
        np.repeat(pair, count),
    )


def _near(parts: list[Rows], near_m: float) -> Rows:
    """Return the rows of several sets that have little room."""
    columns = [np.concatenate(column) for column in zip(*parts, strict=True)]
    is_near = columns[4] < near_m
    return Rows(*(column[is_near] for column in columns))


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
