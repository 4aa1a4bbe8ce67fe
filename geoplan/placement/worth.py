"""
The worth of raft area, as a surface that can be sampled and integrated.

The field is known at cell centres; between them it is bilinear. What a raft is worth is its
planted area times the mean of that surface over its footprint.
"""

from dataclasses import dataclass

import numpy as np

from geoplan.grid import WaterGrid
from geoplan.placement.row_kernels import bilinear
from geoplan.raft import RaftType
from geoplan.site import FloatArray

#: Points a side at which a footprint's mean is taken; the bilinear surface leaves an error of
#: second order in the spacing, below 1e-4 of the worth for rafts of a few cells.
_SAMPLES = 16


@dataclass(frozen=True, eq=False)
class WorthSurface:
    """
    Worth of a square metre of planted raft, everywhere.

    Attributes
    ----------
    west_m, south_m : float
        Centre of cell (0, 0), working CRS [m].
    cell_size_m : float
        Distance between nodes [m].
    nodes : ndarray of float, shape (rows, cols)
        Worth at the nodes; bilinear between them (relative, 0 to 1).
    """

    west_m: float
    south_m: float
    cell_size_m: float
    nodes: FloatArray

    @classmethod
    def on(cls, grid: WaterGrid, nodes: FloatArray) -> "WorthSurface":
        """
        Return the surface of values at the cell centres of a grid.

        Parameters
        ----------
        grid : WaterGrid
            The cells.
        nodes : ndarray of float, shape (rows, cols)
            Worth at their centres, land beside the water included [unit of the worth].

        Returns
        -------
        WorthSurface
            The surface.
        """
        half = grid.cell_size_m / 2
        return cls(grid.west_m + half, grid.south_m + half, grid.cell_size_m, nodes)

    def at(self, easting_m: FloatArray, northing_m: FloatArray) -> FloatArray:
        """
        Return the worth at points.

        Parameters
        ----------
        easting_m, northing_m : ndarray of float
            Points, working CRS [m].

        Returns
        -------
        ndarray of float
            Worth there, that of the nearest node beyond the grid (relative) [1].
        """
        rows = (np.asarray(northing_m) - self.south_m) / self.cell_size_m
        cols = (np.asarray(easting_m) - self.west_m) / self.cell_size_m
        values = bilinear(np.asarray(self.nodes, float), rows.ravel(), cols.ravel())
        return values.reshape(rows.shape)

    def mean_under(
        self,
        raft_type: RaftType,
        easting_m: FloatArray,
        northing_m: FloatArray,
        heading_deg: FloatArray,
    ) -> FloatArray:
        """
        Return the mean worth under rafts of one type.

        Parameters
        ----------
        raft_type : RaftType
            The type.
        easting_m, northing_m : ndarray of float, shape (n,)
            Centres, working CRS [m].
        heading_deg : ndarray of float, shape (n,)
            Long axes, clockwise from grid north [°].

        Returns
        -------
        ndarray of float, shape (n,)
            Mean over each footprint (relative) [1].
        """
        values = self.at(*_points_under(raft_type, easting_m, northing_m, heading_deg))
        mean: FloatArray = values.mean(axis=(1, 2))
        return mean

    def deposit_m2(
        self,
        raft_type: RaftType,
        easting_m: FloatArray,
        northing_m: FloatArray,
        heading_deg: FloatArray,
    ) -> FloatArray:
        """
        Return the planted area of rafts, shared over the nodes.

        Parameters
        ----------
        raft_type : RaftType
            The type.
        easting_m, northing_m : ndarray of float, shape (n,)
            Centres, working CRS [m].
        heading_deg : ndarray of float, shape (n,)
            Long axes, clockwise from grid north [°].

        Returns
        -------
        ndarray of float, shape (rows, cols)
            Planted area at each node [m²].

        Notes
        -----
        The transpose of `mean_under`: the sum over nodes of worth times this is what the rafts
        are worth, to rounding, so that sinks and worth are one and the same functional.
        """
        easting, northing = _points_under(raft_type, easting_m, northing_m, heading_deg)
        rows = (northing.ravel() - self.south_m) / self.cell_size_m
        cols = (easting.ravel() - self.west_m) / self.cell_size_m
        row, col = np.floor(rows).astype(int), np.floor(cols).astype(int)
        up, right = rows - row, cols - col
        each = raft_type.planted_area_m2 / _SAMPLES**2
        nodes = np.ravel_multi_index(
            (
                np.concatenate([row, row + 1, row, row + 1]),
                np.repeat([col, col + 1], 2, axis=0).ravel(),
            ),
            self.nodes.shape,
        )
        shares = ((1 - up) * (1 - right), up * (1 - right), (1 - up) * right, up * right)
        planted = np.bincount(nodes, each * np.concatenate(shares), self.nodes.size)
        return np.asarray(planted, float).reshape(self.nodes.shape)


def _points_under(
    raft_type: RaftType, easting_m: FloatArray, northing_m: FloatArray, heading_deg: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return points evenly spread under each raft, shape (n, k, k)."""
    angle = np.radians(np.asarray(heading_deg, float))[:, None, None]
    steps = (np.arange(_SAMPLES) + 0.5) / _SAMPLES - 0.5
    ahead = (steps * raft_type.length_m)[None, :, None]
    aside = (steps * raft_type.width_m)[None, None, :]
    easting = np.asarray(easting_m, float)[:, None, None]
    northing = np.asarray(northing_m, float)[:, None, None]
    return (
        easting + ahead * np.sin(angle) + aside * np.cos(angle),
        northing + ahead * np.cos(angle) - aside * np.sin(angle),
    )
