"""Points of the bed, and the bed in each cell: what goes in and what comes out."""

from dataclasses import dataclass

import numpy as np

from geoplan.water import BoolArray, FloatArray
from geoplan.water.triangulation import TriangulatedSurface

#: Standard deviations between the mean bed and the bed relied on: 99 % one-sided [1].
#: A raft covers many cells that must all hold, so 95 % of rafts takes more than 95 % of cells.
RELIABLE_SIGMAS = 2.33


@dataclass(frozen=True, eq=False)
class BedPoints:
    """
    Points of the bed: soundings, points along contours, or points of the water's edge.

    Attributes
    ----------
    easting_m, northing_m : ndarray of float, shape (n,)
        Where [m].
    bed_m : ndarray of float, shape (n,)
        Elevation, up positive [m].
    sigma_m : ndarray of float, shape (n,)
        One standard deviation of each [m].
    is_contour : ndarray of bool, shape (n,)
        True for points along a contour.
    """

    easting_m: FloatArray
    northing_m: FloatArray
    bed_m: FloatArray
    sigma_m: FloatArray
    is_contour: BoolArray

    def __post_init__(self) -> None:
        """Refuse arrays of different lengths and values that are not finite."""
        count = len(self.bed_m)
        for name in ("easting_m", "northing_m", "bed_m", "sigma_m"):
            values = getattr(self, name)
            if values.shape != (count,) or not np.isfinite(values).all():
                raise ValueError(f"{name} must hold {count} finite values")
        if self.is_contour.shape != (count,):
            raise ValueError(f"is_contour must hold {count} values")

    def __len__(self) -> int:
        """Return the number of points."""
        return len(self.bed_m)


@dataclass(frozen=True, eq=False)
class BedSurface:
    """
    The bed in each cell.

    Attributes
    ----------
    bed_m : ndarray of float, shape (rows, cols)
        Most likely elevation at the cell centre, NaN off the water [m].
    sigma_m : ndarray of float, shape (rows, cols)
        One standard deviation of it; infinite where there is no survey at all, NaN off the
        water [m].
    reliable_bed_m : ndarray of float, shape (rows, cols)
        Elevation that the bed does not exceed anywhere in the water of the cell, at 99 %; NaN off
        the water and where unsurveyed [m].
    is_unsurveyed : ndarray of bool, shape (rows, cols)
        Water farther than ``reach_m`` from any sounding.
    reach_m : float
        Farthest from a sounding that a depth is believed [m].
    edge_bed_m : ndarray of float, shape (rows, cols)
        The bed by which the water's edge is drawn, NaN off the water [m]. Linear between points:
        in a bowl it lies above the smooth bed, so that there is rather too little water.
    edge_surface : TriangulatedSurface or None
        The same where it is one of triangles alone.
    """

    bed_m: FloatArray
    sigma_m: FloatArray
    reliable_bed_m: FloatArray
    is_unsurveyed: BoolArray
    reach_m: float
    edge_bed_m: FloatArray
    edge_surface: TriangulatedSurface | None = None

    def __post_init__(self) -> None:
        """Lock the arrays."""
        for value in vars(self).values():
            if isinstance(value, np.ndarray):
                value.setflags(write=False)


def on_water(water: BoolArray, value: FloatArray) -> FloatArray:
    """
    Return values of water cells on the grid.

    Parameters
    ----------
    water : ndarray of bool, shape (rows, cols)
        True on the water.
    value : ndarray of float, shape (k,)
        One for each cell of water, of any unit of its own [as given].

    Returns
    -------
    ndarray of float, shape (rows, cols)
        The same, NaN off the water [as given].
    """
    out = np.full(water.shape, np.nan)
    out[water] = value
    return out
