"""
The bed from a raster with soundings over it, as the raw survey has it.

What soundings lie off the raster is carried between them on triangles, down to nothing at the
water's edge. Nothing is fitted.
"""

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import Delaunay, cKDTree
from shapely.geometry import Polygon

from geoplan.audit.bed import (
    CellBed,
    FloatArray,
    PointBed,
    Survey,
    kept_shoalest,
    points_along,
    square_triangles,
)
from geoplan.audit.frame import Frame
from geoplan.site import WaterBody

#: Typical distances to a sounding beyond which it may no longer lower the raster [1].
_REACHES = 3.0
#: Room that the audit leaves between its reach and the planner's [1].
_REACH_ROOM = 1.25
#: Points of a lattice from which the spacing of soundings is taken.
_LATTICE_POINTS = 4000


@dataclass(frozen=True, eq=False)
class OverlaidBed:
    """
    A raster put right by soundings, and triangles where it has no value.

    Attributes
    ----------
    cells : CellBed
        The raster, its lattice covering the whole water.
    points : PointBed
        Soundings, contours and outline, which serve where the raster has no value.
    off : PointBed
        How far soundings lie above the raster; nothing at the outline.
    reach_m : float
        How far a sounding may lower the raster [m].
    """

    cells: CellBed
    points: PointBed
    off: PointBed
    reach_m: float

    @property
    def measured_m(self) -> FloatArray:
        """Return valid cells, soundings and contour points, shape (k, 2) [m]."""
        return np.concatenate([self.cells.measured_m, self.points.measured_m])

    @property
    def surveys(self) -> tuple[Survey, ...]:
        """Return the raster and the soundings, each with its own reach."""
        return (*self.cells.surveys, *self.points.surveys)

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
            The raster and what soundings lie off it; without a raster, the triangles [m].
        ndarray of float, shape (n,)
            One standard deviation of it [m].
        """
        raster, raster_sigma = self.cells.at(places_m)
        add, sigma = self._off_at(places_m)
        bed, point_sigma = self.points.at(places_m)
        known = np.isfinite(raster)
        bed[known] = (raster + add)[known]
        return bed, np.where(known, np.where(np.isnan(sigma), raster_sigma, sigma), point_sigma)

    def _off_at(self, places_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return what to add to the raster and how sure it is, not a number out of reach."""
        if not len(self.off.measured_m):
            nothing = np.zeros(len(places_m))
            return nothing, nothing + np.nan
        add, sigma = self.off.at(places_m)
        away, _ = cKDTree(self.off.measured_m).query(places_m)
        far = away > self.reach_m
        return np.where(far, np.maximum(add, 0.0), add), np.where(far, np.nan, sigma)

    def inside(self, polygon: Polygon) -> tuple[FloatArray, FloatArray]:
        """
        Return the soundings, and the raster's cells put right, within a polygon.

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
        nodes = self.cells.nodes_inside(polygon)
        bed, sigma = self.at(nodes)
        sounded, sounded_sigma = self.points.inside(polygon)
        return np.concatenate([bed, sounded]), np.concatenate([sigma, sounded_sigma])

    def triangles(self) -> tuple[FloatArray, FloatArray]:
        """
        Return two triangles for each square of four cell centres of the lattice.

        Returns
        -------
        ndarray of float, shape (m, 3, 2)
            Corners, frame [m].
        ndarray of float, shape (m, 3)
            Elevation at the corners [m].
        """
        nodes, filled = self.cells.thinned()
        add, _ = self._off_at(nodes.reshape(-1, 2))
        bed = filled + add.reshape(filled.shape)
        unknown = np.isnan(bed)
        bed[unknown] = self.points.at(nodes[unknown])[0]
        return square_triangles(nodes, bed)


def overlaid_bed(
    body: WaterBody, cells: CellBed, points: PointBed, frame: Frame, reach_m: float | None
) -> OverlaidBed:
    """
    Return a raster's bed put right by the soundings over it.

    Parameters
    ----------
    body : WaterBody
        The water body with its soundings.
    cells : CellBed
        Its raster.
    points : PointBed
        Its soundings and contours.
    frame : Frame
        The audit's frame.
    reach_m : float or None
        How far a sounding is believed; ``None``: three times the usual distance to one [m].

    Returns
    -------
    OverlaidBed
        The bed.
    """
    raw = body.soundings
    places = frame.site_places(np.column_stack([raw.easting_m, raw.northing_m]))
    raster, _ = cells.at(places)
    over = np.isfinite(raster)
    outline = frame.of_site(body.outline)
    shore = points_along(outline)
    if reach_m is None:
        west, south, east, north = outline.bounds
        step = float(np.sqrt(outline.area / _LATTICE_POINTS))
        lattice = np.stack(
            np.meshgrid(np.arange(west + step / 2, east, step), np.arange(south, north, step)), -1
        ).reshape(-1, 2)
        lattice = lattice[shapely.contains_xy(outline, lattice[:, 0], lattice[:, 1])]
        away, _ = cKDTree(points.measured_m).query(lattice)
        reach_m = _REACHES * float(np.median(away))
    add = raw.bed_m[over] - raster[over]
    nodes, node_add, node_sigma = kept_shoalest(
        np.concatenate([places[over], shore]),
        np.concatenate([add, np.zeros(len(shore))]),
        np.concatenate([raw.sigma_m[over], np.full(len(shore), cells.sigma_m)]),
    )
    mesh = Delaunay(nodes)
    off = PointBed(nodes, node_add, node_sigma, places[over], mesh, add, raw.sigma_m[over])
    return OverlaidBed(cells, points, off, _REACH_ROOM * reach_m)
