"""
The bed as the raw survey has it: triangles between soundings, or the cells of a raster.

Nothing is smoothed or fitted. Between measured places the bed is a plane through three of them;
what lies outside the survey is judged by its distance, not here.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, map_coordinates
from scipy.spatial import Delaunay, cKDTree
from shapely.geometry import Polygon

from geoplan.audit.frame import Frame
from geoplan.site import BedRaster, WaterBody

FloatArray = NDArray[np.float64]
#: Places that were measured, and how far a depth is believed from them where that is settled [m].
Survey = tuple[FloatArray, float | None]

#: Spacing of the points that carry outline and contours into the triangulation [m].
LINE_STEP_M = 1.0
#: A raster is believed this far beyond its last valid cell [cells].
RASTER_REACH_CELLS = 2.0
#: Nodes of a raster beyond which only every k-th one is used for edges and volumes.
_MOST_NODES = 400_000


class RawBed(Protocol):
    """
    What the audit asks of the bed of a water body, in the audit's frame.

    Attributes
    ----------
    measured_m : ndarray of float, shape (k, 2)
        Places where the bed was measured; the outline is not among them [m].
    surveys : tuple of Survey
        Measured places by kind, each with its reach where the kind settles that [m].
    """

    @property
    def measured_m(self) -> FloatArray:
        """Return the places where the bed was measured, shape (k, 2) [m]."""

    @property
    def surveys(self) -> tuple[Survey, ...]:
        """Return measured places by kind, each with its reach if that is settled [m]."""

    def at(self, places_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """
        Return the bed at places.

        Parameters
        ----------
        places_m : ndarray of float, shape (n, 2)
            Places, frame [m].

        Returns
        -------
        ndarray of float, shape (n,)
            Elevation, NaN where not known [m].
        ndarray of float, shape (n,)
            One standard deviation of it [m].
        """

    def inside(self, polygon: Polygon) -> tuple[FloatArray, FloatArray]:
        """
        Return every raw measurement within a polygon.

        Parameters
        ----------
        polygon : Polygon
            Frame [m].

        Returns
        -------
        ndarray of float, shape (k,)
            Elevations [m].
        ndarray of float, shape (k,)
            Their standard deviations [m].
        """

    def triangles(self) -> tuple[FloatArray, FloatArray]:
        """Return corners, shape (m, 3, 2), and bed, shape (m, 3), of the triangles [m]."""


@dataclass(frozen=True, eq=False)
class PointBed:
    """
    Triangulation of soundings, contour points and the outline.

    Attributes
    ----------
    nodes_m : ndarray of float, shape (n, 2)
        Places, frame [m].
    bed_m, sigma_m : ndarray of float, shape (n,)
        Elevation and one standard deviation [m].
    measured_m : ndarray of float, shape (k, 2)
        Soundings and contour points, without the outline, frame [m].
    mesh : Delaunay
        Triangles between the nodes.
    measured_bed_m, measured_sigma_m : ndarray of float, shape (k,)
        Elevation and one standard deviation of the measured ones [m].
    """

    nodes_m: FloatArray
    bed_m: FloatArray
    sigma_m: FloatArray
    measured_m: FloatArray
    mesh: Delaunay
    measured_bed_m: FloatArray
    measured_sigma_m: FloatArray

    @property
    def surveys(self) -> tuple[Survey, ...]:
        """Return all that was measured: the spacing of the soundings settles the reach."""
        return ((self.measured_m, None),)

    def at(self, places_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """
        Return the bed on the planes of the triangles.

        Parameters
        ----------
        places_m : ndarray of float, shape (n, 2)
            Places, frame [m].

        Returns
        -------
        ndarray of float, shape (n,)
            Elevation; beyond the triangles that of the nearest node [m].
        ndarray of float, shape (n,)
            Largest standard deviation among the three corners [m].
        """
        triangle = self.mesh.find_simplex(places_m)
        corners = self.mesh.simplices[triangle]
        matrix = self.mesh.transform[triangle]
        first = np.einsum("nij,nj->ni", matrix[:, :2], places_m - matrix[:, 2])
        weights = np.column_stack([first, 1.0 - first.sum(axis=1)])
        bed = (weights * self.bed_m[corners]).sum(axis=1)
        sigma = self.sigma_m[corners].max(axis=1)
        off = (triangle < 0) | ~np.isfinite(bed)
        if off.any():
            _, nearest = cKDTree(self.nodes_m).query(places_m[off])
            bed[off], sigma[off] = self.bed_m[nearest], self.sigma_m[nearest]
        return bed, sigma

    def inside(self, polygon: Polygon) -> tuple[FloatArray, FloatArray]:
        """
        Return the raw soundings within a polygon.

        Parameters
        ----------
        polygon : Polygon
            Frame [m].

        Returns
        -------
        ndarray of float, shape (k,)
            Elevations [m].
        ndarray of float, shape (k,)
            Their standard deviations [m].
        """
        within = shapely.intersects_xy(polygon, self.measured_m[:, 0], self.measured_m[:, 1])
        return self.measured_bed_m[within], self.measured_sigma_m[within]

    def triangles(self) -> tuple[FloatArray, FloatArray]:
        """
        Return the triangles.

        Returns
        -------
        ndarray of float, shape (m, 3, 2)
            Corners, frame [m].
        ndarray of float, shape (m, 3)
            Elevation at the corners [m].
        """
        return self.nodes_m[self.mesh.simplices], self.bed_m[self.mesh.simplices]


@dataclass(frozen=True, eq=False)
class CellBed:
    """
    A raster of the bed, cut to the water body.

    Attributes
    ----------
    raw_bed_m : ndarray of float, shape (rows, cols)
        Elevation as read, NaN where there is none [m].
    filled_m : ndarray of float, shape (rows, cols)
        The same, continued by the nearest valid cell for two cells [m].
    to_cells : ndarray of float, shape (2, 3)
        From site coordinates to column and row [1/m and 1].
    nodes_m : ndarray of float, shape (rows, cols, 2)
        Cell centres, frame [m].
    sigma_m : float
        One standard deviation of the raster [m].
    frame : Frame
        The audit's frame.
    cell_size_m : float
        Longer side of a cell [m].
    """

    raw_bed_m: FloatArray
    filled_m: FloatArray
    to_cells: FloatArray
    nodes_m: FloatArray
    sigma_m: float
    frame: Frame
    cell_size_m: float

    @property
    def measured_m(self) -> FloatArray:
        """Return the centres of valid cells, shape (k, 2) [m]."""
        return self.nodes_m[np.isfinite(self.raw_bed_m)]

    @property
    def surveys(self) -> tuple[Survey, ...]:
        """Return the valid cells and two cells' reach: a raster carries no gaps [m]."""
        return ((self.measured_m, RASTER_REACH_CELLS * self.cell_size_m),)

    def at(self, places_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """
        Return the bed between four cell centres.

        Parameters
        ----------
        places_m : ndarray of float, shape (n, 2)
            Places, frame [m].

        Returns
        -------
        ndarray of float, shape (n,)
            Bilinear elevation, NaN farther than two cells from a valid one [m].
        ndarray of float, shape (n,)
            Standard deviation of the raster [m].
        """
        site = self.frame.back_to_site(places_m)
        col, row = self.to_cells @ np.vstack([site.T, np.ones(len(site))])
        bed = map_coordinates(self.filled_m, [row, col], order=1, mode="constant", cval=np.nan)
        return bed, np.full(len(bed), self.sigma_m)

    def inside(self, polygon: Polygon) -> tuple[FloatArray, FloatArray]:
        """
        Return the raw cells whose centre lies within a polygon.

        Parameters
        ----------
        polygon : Polygon
            Frame [m].

        Returns
        -------
        ndarray of float, shape (k,)
            Elevations [m].
        ndarray of float, shape (k,)
            Their standard deviations [m].
        """
        nodes, bed = self._window(polygon)
        within = shapely.intersects_xy(polygon, nodes[:, 0], nodes[:, 1]) & np.isfinite(bed)
        return bed[within], np.full(int(within.sum()), self.sigma_m)

    def nodes_inside(self, polygon: Polygon) -> FloatArray:
        """
        Return the centres of valid cells within a polygon.

        Parameters
        ----------
        polygon : Polygon
            Frame [m].

        Returns
        -------
        ndarray of float, shape (k, 2)
            Places, frame [m].
        """
        nodes, bed = self._window(polygon)
        within = shapely.intersects_xy(polygon, nodes[:, 0], nodes[:, 1]) & np.isfinite(bed)
        valid: FloatArray = nodes[within]
        return valid

    def _window(self, polygon: Polygon) -> tuple[FloatArray, FloatArray]:
        """Return the cells round a polygon: places, shape (k, 2), and raw bed [m]."""
        corners = self.frame.back_to_site(shapely.get_coordinates(polygon))
        col, row = self.to_cells @ np.vstack([corners.T, np.ones(len(corners))])
        if not np.isfinite([col, row]).all():
            return np.zeros((0, 2)), np.zeros(0)
        rows, cols = self.raw_bed_m.shape
        window = (
            slice(max(0, int(row.min())), max(0, min(rows, int(row.max()) + 2))),
            slice(max(0, int(col.min())), max(0, min(cols, int(col.max()) + 2))),
        )
        return self.nodes_m[window].reshape(-1, 2), self.raw_bed_m[window].ravel()

    def triangles(self) -> tuple[FloatArray, FloatArray]:
        """
        Return two triangles for each square of four known cell centres.

        Returns
        -------
        ndarray of float, shape (m, 3, 2)
            Corners, frame [m].
        ndarray of float, shape (m, 3)
            Elevation at the corners [m].
        """
        return square_triangles(*self.thinned())

    def thinned(self) -> tuple[FloatArray, FloatArray]:
        """
        Return the cells, of a large raster every k-th only.

        Returns
        -------
        ndarray of float, shape (rows, cols, 2)
            Centres, frame [m].
        ndarray of float, shape (rows, cols)
            Elevation, NaN farther than two cells from a valid one [m].
        """
        step = max(1, int(np.ceil(np.sqrt(self.filled_m.size / _MOST_NODES))))
        return self.nodes_m[::step, ::step], self.filled_m[::step, ::step]


def square_triangles(nodes_m: FloatArray, bed_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """
    Return two triangles for each square of four known nodes of a lattice.

    Parameters
    ----------
    nodes_m : ndarray of float, shape (rows, cols, 2)
        Places, frame [m].
    bed_m : ndarray of float, shape (rows, cols)
        Elevation, NaN where not known [m].

    Returns
    -------
    ndarray of float, shape (m, 3, 2)
        Corners, frame [m].
    ndarray of float, shape (m, 3)
        Elevation at the corners [m].
    """
    index = np.arange(bed_m.size).reshape(bed_m.shape)
    a, b = index[:-1, :-1].ravel(), index[:-1, 1:].ravel()
    c, d = index[1:, 1:].ravel(), index[1:, :-1].ravel()
    corners = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    heights = bed_m.ravel()[corners]
    known = np.isfinite(heights).all(axis=1)
    return nodes_m.reshape(-1, 2)[corners[known]], heights[known]


def raw_bed(body: WaterBody, frame: Frame, sigma_m: float, reach_m: float | None = None) -> RawBed:
    """
    Return the bed of a water body from its raw survey.

    Parameters
    ----------
    body : WaterBody
        Soundings, contours and raster.
    frame : Frame
        The audit's frame.
    sigma_m : float
        One standard deviation of contours and raster [m].
    reach_m : float or None
        How far a sounding is believed, where that is stated [m].

    Returns
    -------
    RawBed
        Bed with the outline as points at its own level.
    """
    cells = None
    if body.bed_raster is not None:
        cells = _cell_bed(body, body.bed_raster, frame, sigma_m)
    if cells is not None and len(body.soundings) == 0:
        return cells
    points = _point_bed(body, frame, sigma_m)
    if cells is None:
        return points
    from geoplan.audit.overlaid_bed import overlaid_bed

    return overlaid_bed(body, cells, points, frame, reach_m)


def _point_bed(body: WaterBody, frame: Frame, sigma_m: float) -> PointBed:
    """Return the triangulation of everything measured and the outline."""
    raw = body.soundings
    places = [frame.site_places(np.column_stack([raw.easting_m, raw.northing_m]))]
    beds, sigmas = [raw.bed_m], [raw.sigma_m]
    for contour in body.contours:
        along = points_along(frame.of_site(contour.line))
        places.append(along)
        beds.append(np.full(len(along), contour.bed_m))
        sigmas.append(np.full(len(along), sigma_m))
    measured, bed, sigma = np.concatenate(places), np.concatenate(beds), np.concatenate(sigmas)
    shore = points_along(frame.of_site(body.outline))
    nodes, node_bed, node_sigma = kept_shoalest(
        np.concatenate([measured, shore]),
        np.concatenate([bed, np.full(len(shore), body.outline_level_m)]),
        np.concatenate([sigma, np.zeros(len(shore))]),
    )
    return PointBed(nodes, node_bed, node_sigma, measured, Delaunay(nodes), bed, sigma)


def points_along(geometry: shapely.Geometry) -> FloatArray:
    """
    Return the vertices of lines and rings and points between them.

    Parameters
    ----------
    geometry : Geometry
        Lines or polygons, frame [m].

    Returns
    -------
    ndarray of float, shape (n, 2)
        Places a metre apart or less [m].
    """
    dense: FloatArray = shapely.get_coordinates(shapely.segmentize(geometry, LINE_STEP_M))
    return dense


def kept_shoalest(
    places: FloatArray, bed: FloatArray, sigma: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """
    Keep the highest bed of those within the same millimetre.

    Parameters
    ----------
    places : ndarray of float, shape (n, 2)
        Places, frame [m].
    bed, sigma : ndarray of float, shape (n,)
        Elevation and one standard deviation [m].

    Returns
    -------
    tuple of ndarray of float
        Places, elevation and standard deviation of those kept [m].
    """
    cell = np.round(places, 3)
    order = np.lexsort([-bed, cell[:, 1], cell[:, 0]])
    cell = cell[order]
    first = np.ones(len(order), bool)
    first[1:] = (np.diff(cell, axis=0) != 0).any(axis=1)
    kept = order[first]
    return places[kept], bed[kept], sigma[kept]


def _cell_bed(body: WaterBody, raster: BedRaster, frame: Frame, sigma_m: float) -> CellBed | None:
    """Return the raster round the water body; nothing where it holds no valid cell there."""
    turn, shift = raster.affine[:, :2], raster.affine[:, 2]
    back = np.linalg.inv(turn)
    west, south, east, north = body.outline.bounds
    corners = np.array([[west, south], [west, north], [east, south], [east, north]])
    col, row = back @ (corners - shift).T
    rows, cols = raster.bed_m.shape
    row0, col0 = (int(np.floor(line.min())) - 6 for line in (row, col))
    row1, col1 = (int(np.ceil(line.max())) + 7 for line in (row, col))
    raw = np.full((row1 - row0, col1 - col0), np.nan)
    on_rows, on_cols = (
        np.arange(max(row0, 0), min(row1, rows)),
        np.arange(max(col0, 0), min(col1, cols)),
    )
    raw[np.ix_(on_rows - row0, on_cols - col0)] = raster.bed_m[np.ix_(on_rows, on_cols)]
    if np.isnan(raw).all():
        return None
    away, nearest = distance_transform_edt(np.isnan(raw), return_indices=True)
    filled = np.where(away <= RASTER_REACH_CELLS, raw[tuple(nearest)], np.nan)
    grid_col, grid_row = np.meshgrid(np.arange(col0, col1), np.arange(row0, row1))
    site = np.column_stack([grid_col.ravel(), grid_row.ravel()]) @ turn.T + shift
    origin = back @ shift + np.array([col0, row0])
    return CellBed(
        raw_bed_m=raw,
        filled_m=filled,
        to_cells=np.column_stack([back, -origin]),
        nodes_m=frame.site_places(site).reshape(*raw.shape, 2),
        sigma_m=sigma_m,
        frame=frame,
        cell_size_m=float(np.hypot(turn[0], turn[1]).max()),
    )
