"""
Which way a raft may lie where it lies: free, or held to the flow, the wind or the bank.

The long axis of a raft whose centre lies in a cell may turn from the middle of that cell by no
more than its half width. The half width is what every point of the cell allows, so that a cell in
which the direction changes leaves less. A square raft may lie by either of its sides.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.ndimage import uniform_filter
from shapely.geometry.base import BaseGeometry

from geoplan.grid import BoolArray, WaterGrid
from geoplan.raft import RaftType
from geoplan.site import FloatArray

#: From here on a raft may lie any way [°].
FREE_DEG = 90.0
#: The audit draws the same line in another projection; a raft keeps this much less [°].
_ROOM_DEG = 0.5
#: Where a flow turns under a raft its direction is doubtful, and the band about it narrower by the
#: standard deviation of it, down to this share of the tolerance. *Judgement* [1].
_LEAST_SHARE = 0.6
#: Flows over two beds may lie this far off their mean before the band is narrower, two thirds of
#: what two honest models are allowed. *Judgement* [°].
_APART_DEG = 10.0
#: Frames are turned to this many of the commonest directions besides those spread evenly [1].
_COMMON = 3


@dataclass(frozen=True, eq=False)
class Headings:
    """
    The headings that are allowed in each cell.

    Attributes
    ----------
    along : str
        What they follow, in words.
    tolerance_deg : float
        How far a raft may turn from it [°].
    west_m, south_m : float
        Corner of cell (0, 0), working CRS [m].
    cell_size_m : float
        Side of a cell [m].
    middle_deg : ndarray of float, shape (rows, cols)
        Direction of the long axis, clockwise from grid north, 0 to 180 [°].
    half_deg : ndarray of float, shape (rows, cols)
        Half the width of the band about it; 90 or more: any heading, below 0: none [°].
    """

    along: str
    tolerance_deg: float
    west_m: float
    south_m: float
    cell_size_m: float
    middle_deg: FloatArray
    half_deg: FloatArray

    def off_deg(
        self,
        raft_type: RaftType,
        easting_m: FloatArray,
        northing_m: FloatArray,
        heading_deg: FloatArray,
    ) -> FloatArray:
        """
        Return by how much rafts are turned beyond what is allowed.

        Parameters
        ----------
        raft_type : RaftType
            Their type.
        easting_m, northing_m : ndarray of float, shape (n,)
            Centres, working CRS [m].
        heading_deg : ndarray of float, shape (n,)
            Long axes, clockwise from grid north [°].

        Returns
        -------
        ndarray of float, shape (n,)
            Angle beyond the band; zero or less where the heading is allowed [°].
        """
        rows, cols = self.half_deg.shape
        row = np.floor((np.asarray(northing_m) - self.south_m) / self.cell_size_m)
        col = np.floor((np.asarray(easting_m) - self.west_m) / self.cell_size_m)
        at = (
            np.clip(row, 0, rows - 1).astype(np.int64),
            np.clip(col, 0, cols - 1).astype(np.int64),
        )
        half = self.half_deg[at]
        off = turned_deg(np.asarray(heading_deg) - self.middle_deg[at], raft_type)
        return np.where(half >= FREE_DEG, -FREE_DEG, off - half)

    def allows(
        self,
        raft_type: RaftType,
        easting_m: FloatArray,
        northing_m: FloatArray,
        heading_deg: FloatArray,
    ) -> BoolArray:
        """
        Tell which rafts lie as they may.

        Parameters
        ----------
        raft_type : RaftType
            Their type.
        easting_m, northing_m : ndarray of float, shape (n,)
            Centres, working CRS [m].
        heading_deg : ndarray of float, shape (n,)
            Long axes, clockwise from grid north [°].

        Returns
        -------
        ndarray of bool, shape (n,)
            True within the band, to a millionth of a degree.
        """
        off = self.off_deg(raft_type, easting_m, northing_m, heading_deg)
        return np.asarray(off <= 1e-6)

    def widened(self, by_deg: float) -> "Headings":
        """
        Return the headings with a wider band.

        Parameters
        ----------
        by_deg : float
            What is added to its half width [°].

        Returns
        -------
        Headings
            The same directions.
        """
        wider = self.half_deg + by_deg
        return replace(self, tolerance_deg=self.tolerance_deg + by_deg, half_deg=wider)

    def common_deg(self, region: BaseGeometry) -> tuple[float, ...]:
        """
        Return the directions that are commonest in a part of the water.

        Parameters
        ----------
        region : BaseGeometry
            The part, working CRS [m].

        Returns
        -------
        tuple of float
            Middles of the fullest classes of 7.5°, the fullest first [°].
        """
        rows, cols = self.half_deg.shape
        h = self.cell_size_m
        at = np.meshgrid(
            self.west_m + (np.arange(cols) + 0.5) * h, self.south_m + (np.arange(rows) + 0.5) * h
        )
        shapely.prepare(region)
        held = (self.half_deg < FREE_DEG) & (self.half_deg >= 0) & shapely.contains_xy(region, *at)
        middles = self.middle_deg[held]
        classes = (middles // 7.5).astype(np.int64)
        count = np.bincount(classes, minlength=24)
        fullest = [k for k in np.argsort(-count, kind="stable")[:_COMMON] if count[k]]
        return tuple(round(float(np.median(middles[classes == k])), 3) for k in fullest)


def turned_deg(difference_deg: FloatArray, raft_type: RaftType) -> FloatArray:
    """
    Return the angle between two axes.

    Parameters
    ----------
    difference_deg : ndarray of float
        Difference of their headings [°].
    raft_type : RaftType
        The raft; of a square one either axis counts.

    Returns
    -------
    ndarray of float
        Angle, 0 to 90 [°].

    Examples
    --------
    >>> oblong = RaftType(name="a", length_m=4.0, width_m=2.0, draft_m=0.2)
    >>> turned_deg(np.array([170.0, 95.0]), oblong)
    array([10., 85.])
    >>> turned_deg(np.array([170.0, 95.0]), oblong.model_copy(update={"width_m": 4.0}))
    array([10.,  5.])
    """
    turn = 90.0 if raft_type.length_m == raft_type.width_m else 180.0
    off = np.mod(difference_deg, turn)
    return np.minimum(off, turn - off)


def along_wind(grid: WaterGrid, from_deg: float, tolerance_deg: float) -> Headings:
    """
    Return headings that lie along the wind.

    Parameters
    ----------
    grid : WaterGrid
        The cells.
    from_deg : float
        Where the wind comes from, clockwise from north [°].
    tolerance_deg : float
        How far a raft may turn from it [°].

    Returns
    -------
    Headings
        The same everywhere.
    """
    middle = np.full(grid.shape, from_deg % 180.0)
    half = np.full(grid.shape, tolerance_deg - _ROOM_DEG)
    return _on(grid, "the wind", tolerance_deg, middle, half)


def along_bank(grid: WaterGrid, outline: BaseGeometry, tolerance_deg: float) -> Headings:
    """
    Return headings square to the shortest way to the bank.

    Parameters
    ----------
    grid : WaterGrid
        The cells.
    outline : BaseGeometry
        Outline of the water as surveyed, islands as holes, working CRS [m].
    tolerance_deg : float
        How far a raft may turn from it [°].

    Returns
    -------
    Headings
        None where banks of different directions are as near, as in the middle of a corner.
    """
    rows, cols = np.nonzero(grid.water)
    h = grid.cell_size_m
    bank = shapely.boundary(outline)
    shapely.prepare(bank)
    axes = []
    for right, up in ((0.5, 0.5), (0.0, 0.0), (0.0, 1.0), (1.0, 0.0), (1.0, 1.0)):
        points = shapely.points(grid.west_m + (cols + right) * h, grid.south_m + (rows + up) * h)
        ways = shapely.get_coordinates(shapely.shortest_line(bank, points)).reshape(-1, 2, 2)
        east, north = (ways[:, 1] - ways[:, 0]).T
        # Doubled, opposite directions of one axis are the same.
        axes.append(np.exp(2j * np.arctan2(-north, east)))
    middle, half = np.zeros(grid.shape), np.full(grid.shape, -1.0)
    mean = np.sum(axes, axis=0)
    spread = np.max([np.abs(np.angle(axis * np.conj(mean))) for axis in axes], axis=0) / 2
    middle[rows, cols] = np.mod(np.degrees(np.angle(mean) / 2), 180.0)
    half[rows, cols] = tolerance_deg - np.degrees(spread) - _ROOM_DEG
    return _on(grid, "the bank", tolerance_deg, middle, half)


def along_flow(
    grid: WaterGrid,
    through_m2_s: Sequence[tuple[FloatArray, FloatArray]],
    least_m2_s: float,
    tolerance_deg: float,
    length_m: float,
) -> Headings:
    """
    Return headings that lie along the flow, where there is any.

    Parameters
    ----------
    grid : WaterGrid
        The cells.
    through_m2_s : sequence of tuple of ndarray of float, shape (rows, cols)
        Flow over a unit width, to the east and to the north; several where the bed may be seen in
        several ways [m²/s].
    least_m2_s : float
        Flow from which on rafts are held [m²/s].
    tolerance_deg : float
        How far a raft may turn from it [°].
    length_m : float
        Length over which the flow is averaged, that of a raft [m].

    Returns
    -------
    Headings
        Any heading where less passes by all of them; a narrower band where the flow turns over
        that length, or the flows go different ways.
    """
    size = 2 * round(length_m / grid.cell_size_m / 2) + 1
    mean = (
        np.mean([east for east, _ in through_m2_s], axis=0),
        np.mean([north for _, north in through_m2_s], axis=0),
    )
    flows = [
        tuple(uniform_filter(part, size, mode="nearest") for part in flow)
        for flow in (mean, *through_m2_s)
    ]
    speed = np.array([np.hypot(east, north) for east, north in flows[1:]])
    ways = np.array([np.degrees(np.arctan2(east, north)) for east, north in flows])
    middle = np.mod(ways[0], 180.0)
    off = np.abs(np.mod(ways[1:] - ways[0] + 90.0, 180.0) - 90.0)
    apart = np.where(speed >= least_m2_s, off, 0.0).max(axis=0)
    half = np.maximum(tolerance_deg - _spread_deg(mean, size), _LEAST_SHARE * tolerance_deg)
    half -= np.maximum(apart - _APART_DEG, 0.0)
    is_held = (speed >= least_m2_s).any(axis=0)
    return _on(grid, "the flow", tolerance_deg, middle, np.where(is_held, half, FREE_DEG))


def _spread_deg(through_m2_s: tuple[FloatArray, FloatArray], size: int) -> FloatArray:
    """Return the standard deviation of the flow's axis in a square of so many cells [°]."""
    east, north = through_m2_s
    # Doubled, opposite directions of one axis are the same; cells without flow have none.
    axis = np.exp(2j * np.arctan2(north, east)) * (np.hypot(east, north) > 0)
    share = uniform_filter((axis != 0).astype(float), size, mode="nearest")
    mean = [uniform_filter(part, size, mode="nearest") for part in (axis.real, axis.imag)]
    length = np.clip(np.hypot(*mean) / np.maximum(share, 1e-9), 1e-9, 1.0)
    return np.asarray(np.degrees(np.sqrt(-2.0 * np.log(length))) / 2.0)


def _on(
    grid: WaterGrid, along: str, tolerance_deg: float, middle: FloatArray, half: FloatArray
) -> Headings:
    """Return headings on the cells of a grid, locked."""
    for part in (middle, half):
        part.setflags(write=False)
    return Headings(along, tolerance_deg, grid.west_m, grid.south_m, grid.cell_size_m, middle, half)


def for_search(headings: Headings | None) -> tuple[FloatArray, FloatArray, FloatArray]:
    """
    Return headings as the compiled search sees them.

    Parameters
    ----------
    headings : Headings or None
        Headings; ``None``: any.

    Returns
    -------
    ndarray of float, shape (rows, cols)
        Middle, counter-clockwise from grid east [rad]; empty where any heading is allowed.
    ndarray of float, shape (rows, cols)
        Half the width [rad].
    ndarray of float, shape (3,)
        West and south corner and side of a cell [m].
    """
    if headings is None:
        return np.zeros((0, 0)), np.zeros((0, 0)), np.zeros(3)
    place = np.array([headings.west_m, headings.south_m, headings.cell_size_m])
    middle = np.radians(90.0 - headings.middle_deg)
    return (
        middle,
        np.where(headings.half_deg >= FREE_DEG, math.pi, np.radians(headings.half_deg)),
        place,
    )
