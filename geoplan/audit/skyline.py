"""
The audit's own look at a surface model: points along rays, each in the cell that it falls into.

The planner walks from cell to cell and counts a cell from where it begins; here a ray is sampled
every half cell, so that a fault of either shows.
"""

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from geoplan.audit.evidence import Evidence

FloatArray = NDArray[np.float64]

#: Rays round a place; the sun is held against the nearest.
RAYS = 720
#: What stands over the water less than this above high level lies on it [m].
_ON_WATER_M = 0.5


class Skyline:
    """
    A surface model that can be asked for the horizon at a place.

    Parameters
    ----------
    evidence : Evidence
        The water body, with its surface model.
    least_slope : float
        Slope of sight below which no sun counts [1].
    """

    def __init__(self, evidence: Evidence, least_slope: float) -> None:
        self._frame = evidence.frame
        self._least_slope = least_slope
        self._above: FloatArray | None = None
        raster = evidence.body.surface_raster
        if raster is None:
            return
        low = evidence.body.levels.low_m
        self._above = raster.surface_m - low
        square = np.vstack([raster.affine, [0.0, 0.0, 1.0]])
        self._to_cell = np.linalg.inv(square)[:2]
        self._cell_m = math.sqrt(abs(float(np.linalg.det(square[:2, :2]))))
        self._water = evidence.body.outline
        self._on_water_m = evidence.body.levels.high_m + _ON_WATER_M - low
        shapely.prepare(self._water)

    def slopes(self, place: FloatArray) -> FloatArray:
        """
        Return the steepest slope of sight that the surface model hides, by direction.

        Parameters
        ----------
        place : ndarray of float, shape (2,)
            Easting and northing in the frame [m].

        Returns
        -------
        ndarray of float, shape (RAYS,)
            From north clockwise, ray k at 360° · k / RAYS; zero where nothing is hidden [1].
        """
        if self._above is None or not np.nanmax(self._above, initial=0.0) > 0:
            return np.zeros(RAYS)
        highest = float(np.nanmax(self._above))
        # The site's axes at the place; over the reach of a shadow they do not turn.
        origin, east, north = self._frame.back_to_site(
            place + np.array([[0.0, 0.0], [100.0, 0.0], [0.0, 100.0]])
        )
        reach = min(highest / self._least_slope, self._farthest_m(origin))
        away = np.arange(self._cell_m, reach + 2 * self._cell_m, self._cell_m / 2)
        angle = np.arange(RAYS) * (2 * math.pi / RAYS)
        ways = np.outer(np.sin(angle), east - origin) + np.outer(np.cos(angle), north - origin)
        places = origin + ways[:, None, :] * (away[None, :, None] / 100.0)
        tops = self._tops(places)
        slopes: FloatArray = (tops / away).max(axis=1)
        return slopes

    def _farthest_m(self, origin: FloatArray) -> float:
        """Return the distance to the farthest corner of the surface model."""
        if self._above is None:
            return 0.0
        rows, cols = self._above.shape
        corners = np.array([[0, 0], [cols, 0], [0, rows], [cols, rows]], float)
        at = self._to_cell[:, :2] @ origin + self._to_cell[:, 2]
        return float(np.hypot(*(corners - at).T).max()) * self._cell_m

    def _tops(self, places: FloatArray) -> FloatArray:
        """Return what stands above low water at places of the site, zero for nothing."""
        if self._above is None:
            return np.zeros(places.shape[:-1])
        at = places @ self._to_cell[:, :2].T + self._to_cell[:, 2]
        col, row = (np.rint(at[..., axis]).astype(np.int64) for axis in (0, 1))
        rows, cols = self._above.shape
        inside = (row >= 0) & (row < rows) & (col >= 0) & (col < cols)
        tops = np.zeros(places.shape[:-1])
        tops[inside] = np.nan_to_num(self._above[row[inside], col[inside]], nan=0.0)
        low = inside & (tops > 0) & (tops <= self._on_water_m)
        tops[low] = np.where(self._is_water(row[low], col[low]), 0.0, tops[low])
        return np.maximum(tops, 0.0)

    def _is_water(self, row: NDArray[np.int64], col: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Tell which cells have their centre on the water."""
        back = np.linalg.inv(np.vstack([self._to_cell, [0.0, 0.0, 1.0]]))[:2]
        easting, northing = back[:, :2] @ np.stack([col, row]) + back[:, 2:]
        return np.asarray(shapely.contains_xy(self._water, easting, northing), bool)
