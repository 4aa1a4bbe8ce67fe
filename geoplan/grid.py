"""
The grid of a water body: from polygons to cells, and the fields on them.

Row 0 lies in the south, column 0 in the west; arrays are indexed ``[row, col]``. Cells are
squares of the working CRS.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from geoplan.errors import Fault
from geoplan.site import FloatArray, lock_arrays
from geoplan.water.triangulation import TriangulatedSurface

BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class WaterGrid:
    """
    Square cells over a water body.

    Attributes
    ----------
    west_m, south_m : float
        Lower left corner of cell (0, 0), working CRS [m].
    cell_size_m : float
        Side of a cell [m].
    water : ndarray of bool, shape (rows, cols)
        True where the centre of the cell is inside the outline.
    """

    west_m: float
    south_m: float
    cell_size_m: float
    water: BoolArray

    def __post_init__(self) -> None:
        """Lock the mask."""
        lock_arrays(self)

    def __reduce__(self) -> tuple[Any, ...]:
        """Rebuild through the constructor, so that the mask stays locked after pickling."""
        return (WaterGrid, (self.west_m, self.south_m, self.cell_size_m, self.water))

    @property
    def shape(self) -> tuple[int, int]:
        """Return the number of rows and columns."""
        rows, cols = self.water.shape
        return rows, cols

    def cells_of(self, easting_m: FloatArray, northing_m: FloatArray) -> tuple[Any, Any]:
        """
        Return the cells that places lie in.

        Parameters
        ----------
        easting_m, northing_m : ndarray of float, shape (n,)
            Places, working CRS [m].

        Returns
        -------
        tuple of ndarray of int
            Rows and columns; beyond the grid where a place is.
        """
        row = np.floor((northing_m - self.south_m) / self.cell_size_m).astype(int)
        col = np.floor((easting_m - self.west_m) / self.cell_size_m).astype(int)
        return row, col

    @property
    def easting_m(self) -> FloatArray:
        """Return the eastings of the cell centres, shape (cols,) [m]."""
        return self.west_m + (np.arange(self.shape[1], dtype=np.float64) + 0.5) * self.cell_size_m

    @property
    def northing_m(self) -> FloatArray:
        """Return the northings of the cell centres, shape (rows,) [m]."""
        return self.south_m + (np.arange(self.shape[0], dtype=np.float64) + 0.5) * self.cell_size_m


@dataclass(frozen=True, eq=False)
class SiteFields:
    """
    What is known of each cell of a water body.

    Attributes
    ----------
    grid : WaterGrid
        The cells.
    bed_m : ndarray of float, shape (rows, cols)
        Most likely bed elevation at the cell centre, NaN off the water [m].
    sigma_m : ndarray of float, shape (rows, cols)
        One standard deviation of it, NaN off the water [m].
    reliable_bed_m : ndarray of float, shape (rows, cols)
        Elevation that the bed does not exceed anywhere in the cell, at 99 %; NaN off the water
        and where nothing is known [m].
    is_unsurveyed : ndarray of bool, shape (rows, cols)
        Water too far from any sounding for a depth to be believed.
    worth : ndarray of float, shape (rows, cols)
        Worth of a square metre of planted raft, continued over the land beside the water so
        that it can be interpolated up to the bank (relative, 0 to 1).
    sun_h : ndarray of float, shape (rows, cols), or None
        Mean hours of direct sun a day; ``None`` where not assessed [h].
    edge_bed_m : ndarray of float, shape (rows, cols), or None
        Bed by which the water's edge is drawn, linear between soundings, NaN off the water;
        ``None``: ``bed_m`` [m].
    edge_surface : TriangulatedSurface or None
        The same where it is one of triangles alone, working CRS.
    notes : tuple of Fault
        What a reader of the plan must know of these fields.
    """

    grid: WaterGrid
    bed_m: FloatArray
    sigma_m: FloatArray
    reliable_bed_m: FloatArray
    is_unsurveyed: BoolArray
    worth: FloatArray
    sun_h: FloatArray | None = None
    edge_bed_m: FloatArray | None = None
    edge_surface: TriangulatedSurface | None = None
    notes: tuple[Fault, ...] = ()

    def __post_init__(self) -> None:
        """Lock the arrays."""
        lock_arrays(self)

    def reliable_depth_m(self, level_m: float) -> FloatArray:
        """
        Return the depth that may be relied on at a level.

        Parameters
        ----------
        level_m : float
            Height of the water above the vertical datum [m].

        Returns
        -------
        ndarray of float, shape (rows, cols)
            Depth, zero off the water and where nothing is known [m].
        """
        depth = level_m - self.reliable_bed_m
        known: FloatArray = np.nan_to_num(np.maximum(depth, 0.0), nan=0.0)
        return known


def default_cell_size_m(area_m2: float) -> float:
    """
    Return the cell size for a water body of a given area.

    Parameters
    ----------
    area_m2 : float
        Area of the water [m²].

    Returns
    -------
    float
        A multiple of a quarter metre, at least half a metre, that gives about 300,000 cells
        at most [m].

    Examples
    --------
    >>> default_cell_size_m(5000.0), default_cell_size_m(250_000.0)
    (0.5, 1.0)
    """
    return max(0.5, math.ceil(4 * math.sqrt(area_m2 / 3e5)) / 4)


def water_grid(outline: Polygon, cell_size_m: float, margin_cells: int = 4) -> WaterGrid:
    """
    Return the grid of a water body.

    Parameters
    ----------
    outline : Polygon
        Water's edge with islands as holes, working CRS [m].
    cell_size_m : float
        Side of a cell [m].
    margin_cells : int
        Cells of land left round the water.

    Returns
    -------
    WaterGrid
        Corners are multiples of the cell size, so that a grid does not depend on the outline's
        last vertex.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> int(water_grid(box(0, 0, 10, 5), 0.5).water.sum())
    200
    """
    west, south, east, north = outline.bounds
    col0 = math.floor(west / cell_size_m) - margin_cells
    row0 = math.floor(south / cell_size_m) - margin_cells
    cols = math.ceil(east / cell_size_m) + margin_cells - col0
    rows = math.ceil(north / cell_size_m) + margin_cells - row0
    easting = (col0 + np.arange(cols) + 0.5) * cell_size_m
    northing = (row0 + np.arange(rows) + 0.5) * cell_size_m
    shapely.prepare(outline)
    water = shapely.contains_xy(outline, *np.meshgrid(easting, northing))
    return WaterGrid(col0 * cell_size_m, row0 * cell_size_m, cell_size_m, water)
