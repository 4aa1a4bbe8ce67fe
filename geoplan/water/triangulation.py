"""
A linear surface on triangles between points, on any lattice and as its highest value in a cell.

It knows no land: triangles span whatever lies between points. Dense points along the water's
edge keep them apart.
"""

from dataclasses import dataclass

import numba
import numpy as np
from scipy.spatial import Delaunay, QhullError, cKDTree

from geoplan.compiled import inner
from geoplan.water import BoolArray, FloatArray, IntArray

#: Slack by which a point on the border of a triangle or cell counts as inside [m].
_TOUCH_M = 1e-9


@dataclass(frozen=True, eq=False)
class TriangulatedSurface:
    """
    A surface that is linear on each triangle of a Delaunay triangulation.

    Attributes
    ----------
    points_m : ndarray of float, shape (n, 2)
        Easting and northing of the vertices, near the origin [m].
    bed_m : ndarray of float, shape (n,)
        Elevation of the vertices [m].
    triangles : ndarray of int, shape (m, 3)
        Vertices of each triangle.
    neighbour_start, neighbours : ndarray of int, shapes (n + 1,) and (k,)
        Vertices joined to vertex ``i`` by an edge:
        ``neighbours[neighbour_start[i]:neighbour_start[i + 1]]``.
    """

    points_m: FloatArray
    bed_m: FloatArray
    triangles: IntArray
    neighbour_start: IntArray
    neighbours: IntArray

    def at(
        self, easting_m: FloatArray, northing_m: FloatArray, wanted: BoolArray | None = None
    ) -> tuple[FloatArray, IntArray]:
        """
        Return the surface on a lattice, and which triangle each value comes from.

        Parameters
        ----------
        easting_m : ndarray of float, shape (cols,)
            Rising eastings of the lattice [m].
        northing_m : ndarray of float, shape (rows,)
            Rising northings of the lattice [m].
        wanted : ndarray of bool, shape (rows, cols), or None
            Where it is asked for; ``None``: everywhere.

        Returns
        -------
        ndarray of float, shape (rows, cols)
            Elevation; outside the hull that of the nearest vertex; NaN where it is not wanted [m].
        ndarray of int, shape (rows, cols)
            Index of the triangle; -1 outside the hull.
        """
        found = _triangles_at(self.points_m, self.triangles, easting_m, northing_m)
        wanted = np.ones(found.shape, bool) if wanted is None else wanted
        row, col = np.nonzero(wanted)
        place = np.column_stack([easting_m[col], northing_m[row]])
        value = np.full(found.shape, np.nan)
        value[wanted] = self._linear_or_nearest(place, found[wanted])
        return value, found

    def at_places(self, place_m: FloatArray) -> FloatArray:
        """
        Return the surface at scattered places.

        Parameters
        ----------
        place_m : ndarray of float, shape (k, 2)
            Easting and northing [m].

        Returns
        -------
        ndarray of float, shape (k,)
            Elevation; outside the hull that of the nearest vertex [m].
        """
        order = np.argsort(place_m[:, 1], kind="stable")
        found = np.full(len(place_m), -1, np.int64)
        found[order] = _triangles_under(
            self.points_m, self.triangles, np.ascontiguousarray(place_m[order])
        )
        return self._linear_or_nearest(place_m, found)

    def _linear_or_nearest(self, place_m: FloatArray, triangle: IntArray) -> FloatArray:
        """Return the surface at places, in their triangle or outside the hull."""
        value = np.empty(len(place_m))
        inside = triangle >= 0
        value[inside] = self._linear(place_m[inside], triangle[inside])
        if not inside.all():
            _, nearest = cKDTree(self.points_m).query(place_m[~inside])
            value[~inside] = self.bed_m[nearest]
        return value

    def _linear(self, place_m: FloatArray, triangle: IntArray) -> FloatArray:
        """Return the surface at places in known triangles, never beyond their vertices."""
        corner = self.triangles[triangle]
        a, b, c = (self.points_m[corner[:, k]] for k in range(3))
        twice_area = _cross(b - a, c - a)
        weight = np.column_stack(
            [_cross(b - place_m, c - place_m), _cross(c - place_m, a - place_m)]
        )
        weight = np.clip(weight / twice_area[:, None], 0.0, 1.0)
        weight = np.column_stack([weight, np.clip(1.0 - weight.sum(axis=1), 0.0, 1.0)])
        value: FloatArray = (weight * self.bed_m[corner]).sum(axis=1) / weight.sum(axis=1)
        return value

    def highest_in_cells(
        self, easting_m: FloatArray, northing_m: FloatArray, wanted: BoolArray | None = None
    ) -> FloatArray:
        """
        Return the highest elevation of the surface anywhere in each cell.

        Parameters
        ----------
        easting_m : ndarray of float, shape (cols,)
            Rising eastings of the cell centres, two at least [m].
        northing_m : ndarray of float, shape (rows,)
            Rising northings of the cell centres, two at least [m].
        wanted : ndarray of bool, shape (rows, cols), or None
            Cells that are asked for; ``None``: all.

        Returns
        -------
        ndarray of float, shape (rows, cols)
            Highest elevation on the closed cell; of no meaning where it is not wanted [m].

        Notes
        -----
        On a cell the surface is piecewise linear, so it is highest at a corner of the cell, at
        a vertex in it, or where an edge of a triangle crosses its border. All three are looked
        at; nothing between them can be higher.
        """
        east_line, north_line = cell_borders(easting_m), cell_borders(northing_m)
        touched = None
        if wanted is not None:
            touched = np.pad(wanted, 1)
            touched = touched[1:] | touched[:-1]
            touched = touched[:, 1:] | touched[:, :-1]
        corner, _ = self.at(east_line, north_line, touched)
        highest: FloatArray = np.maximum.reduce(
            [corner[:-1, :-1], corner[1:, :-1], corner[:-1, 1:], corner[1:, 1:]]
        )
        tail = np.repeat(np.arange(len(self.bed_m)), np.diff(self.neighbour_start))
        is_once = tail < self.neighbours
        edges = np.column_stack([tail[is_once], self.neighbours[is_once]])
        _raise_to_edges(highest, self.points_m, self.bed_m, edges, east_line, north_line)
        return highest


def triangulated(points_m: FloatArray, bed_m: FloatArray) -> TriangulatedSurface | None:
    """
    Return the linear surface through points.

    Parameters
    ----------
    points_m : ndarray of float, shape (n, 2)
        Easting and northing, distinct and near the origin: large coordinates cost digits [m].
    bed_m : ndarray of float, shape (n,)
        Elevation [m].

    Returns
    -------
    TriangulatedSurface or None
        ``None`` where there are fewer than three points or all lie on one line.

    Notes
    -----
    Delaunay triangulation by Qhull [1]_. A plane is reproduced exactly inside the hull.

    References
    ----------
    .. [1] C. B. Barber, D. P. Dobkin, H. Huhdanpaa, "The Quickhull algorithm for convex
       hulls", ACM Trans. Math. Softw. 22, 469-483, 1996. :doi:`10.1145/235815.235821`
    """
    if len(points_m) < 3:
        return None
    try:
        mesh = Delaunay(points_m)
    except QhullError:
        return None
    side = points_m[mesh.simplices[:, 1:]] - points_m[mesh.simplices[:, :1]]
    twice_area = np.abs(_cross(side[:, 0], side[:, 1]))
    # Qhull leaves slivers without area where points of the hull lie on one line.
    is_solid = twice_area > 1e-12 * (side**2).sum(axis=(1, 2))
    start, neighbours = mesh.vertex_neighbor_vertices
    return TriangulatedSurface(
        points_m,
        bed_m,
        mesh.simplices[is_solid].astype(np.int64),
        start.astype(np.int64),
        neighbours.astype(np.int64),
    )


def cell_borders(centre_m: FloatArray) -> FloatArray:
    """
    Return the lines between cells, and those round the outside.

    Parameters
    ----------
    centre_m : ndarray of float, shape (n,)
        Rising coordinates of evenly spaced cell centres, two at least [m].

    Returns
    -------
    ndarray of float, shape (n + 1,)
        Borders [m].

    Raises
    ------
    ValueError
        If there are fewer than two centres, or they do not rise.

    Examples
    --------
    >>> cell_borders(np.array([0.5, 1.5, 2.5]))
    array([0., 1., 2., 3.])
    """
    if len(centre_m) < 2 or not (np.diff(centre_m) > 0).all():
        raise ValueError("a grid needs two rows and columns at least, rising north and east")
    half = (centre_m[-1] - centre_m[0]) / (len(centre_m) - 1) / 2
    return np.concatenate(
        [[centre_m[0] - half], (centre_m[1:] + centre_m[:-1]) / 2, [centre_m[-1] + half]]
    )


def _cross(one: FloatArray, other: FloatArray) -> FloatArray:
    """Return the cross product of vectors in the plane."""
    product: FloatArray = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
    return product


@numba.njit(cache=True)
def _triangles_at(
    points: FloatArray, triangles: IntArray, easting: FloatArray, northing: FloatArray
) -> IntArray:
    """Return the triangle over each node of a lattice by scanning its rows, -1 where none."""
    found = np.full((len(northing), len(easting)), -1, np.int64)
    for t in range(len(triangles)):
        low = high = points[triangles[t, 0], 1]
        for k in range(1, 3):
            low = min(low, points[triangles[t, k], 1])
            high = max(high, points[triangles[t, k], 1])
        first = np.searchsorted(northing, low - _TOUCH_M)
        last = np.searchsorted(northing, high + _TOUCH_M)
        for row in range(first, last):
            west, east = np.inf, -np.inf
            for k in range(3):
                one, other = triangles[t, k], triangles[t, (k + 1) % 3]
                y0, y1 = points[one, 1] - northing[row], points[other, 1] - northing[row]
                if min(y0, y1) > _TOUCH_M or max(y0, y1) < -_TOUCH_M:
                    continue
                share0, share1 = 0.0, 1.0
                if y0 != y1:
                    share0 = share1 = min(max(y0 / (y0 - y1), 0.0), 1.0)
                span = points[other, 0] - points[one, 0]
                for share in (share0, share1):
                    west = min(west, points[one, 0] + share * span)
                    east = max(east, points[one, 0] + share * span)
            left = np.searchsorted(easting, west - _TOUCH_M)
            right = np.searchsorted(easting, east + _TOUCH_M)
            found[row, left:right] = t
    return found


@numba.njit(cache=True)
def _triangles_under(points: FloatArray, triangles: IntArray, place: FloatArray) -> IntArray:
    """Return the triangle over each place, places sorted by northing, -1 where none."""
    found = np.full(len(place), -1, np.int64)
    for t in range(len(triangles)):
        a, b, c = triangles[t, 0], triangles[t, 1], triangles[t, 2]
        low = min(points[a, 1], points[b, 1], points[c, 1])
        high = max(points[a, 1], points[b, 1], points[c, 1])
        west = min(points[a, 0], points[b, 0], points[c, 0])
        east = max(points[a, 0], points[b, 0], points[c, 0])
        first = np.searchsorted(place[:, 1], low)
        last = np.searchsorted(place[:, 1], high, side="right")
        for k in range(first, last):
            if not west <= place[k, 0] <= east:
                continue
            turns = 0
            for one, other in ((a, b), (b, c), (c, a)):
                side_x = points[other, 0] - points[one, 0]
                side_y = points[other, 1] - points[one, 1]
                away_x, away_y = place[k, 0] - points[one, 0], place[k, 1] - points[one, 1]
                turns += np.sign(side_x * away_y - side_y * away_x)
            if abs(turns) >= 2:
                found[k] = t
    return found


@inner
def _touched(line: FloatArray, at: float) -> tuple[int, int]:
    """Return the first and last cell between lines whose closed interval holds a value."""
    first = int(np.searchsorted(line, at - _TOUCH_M)) - 1
    last = int(np.searchsorted(line, at + _TOUCH_M)) - 1
    return max(first, 0), min(last, len(line) - 2)


@inner
def _raise_near(
    highest: FloatArray,
    east: float,
    north: float,
    value: float,
    east_line: FloatArray,
    north_line: FloatArray,
) -> None:
    """Raise every cell whose closed square holds a place to the value there."""
    left, right = _touched(east_line, east)
    bottom, top = _touched(north_line, north)
    for row in range(bottom, top + 1):
        for col in range(left, right + 1):
            highest[row, col] = max(highest[row, col], value)


@numba.njit(cache=True)
def _raise_to_edges(
    highest: FloatArray,
    points: FloatArray,
    bed: FloatArray,
    edges: IntArray,
    east_line: FloatArray,
    north_line: FloatArray,
) -> None:
    """Raise cells to the vertices in them and to the edges of triangles on their borders."""
    for k in range(len(points)):
        _raise_near(highest, points[k, 0], points[k, 1], bed[k], east_line, north_line)
    for e in range(len(edges)):
        one, other = edges[e, 0], edges[e, 1]
        for axis in range(2):
            line = east_line if axis == 0 else north_line
            start, end = points[one, axis], points[other, axis]
            first = np.searchsorted(line, min(start, end))
            last = np.searchsorted(line, max(start, end))
            for k in range(first, last):
                share = (line[k] - start) / (end - start)
                east = points[one, 0] + share * (points[other, 0] - points[one, 0])
                north = points[one, 1] + share * (points[other, 1] - points[one, 1])
                value = bed[one] + share * (bed[other] - bed[one])
                _raise_near(highest, east, north, value, east_line, north_line)
