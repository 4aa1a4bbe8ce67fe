"""
Ways of the water from inflows to outlets, traced through the faces of cells.

Within a cell each component of the velocity is linear between its two faces, so that lines
neither cross walls nor gather where water does not.
"""

from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from geoplan.water.flow import FlowField

FloatArray = NDArray[np.float64]

#: Longest step, as a share of a cell [1].
_STEP = 0.25


def streamlines(
    flow: FlowField,
    depth_m: FloatArray,
    start_row: FloatArray,
    start_col: FloatArray,
    most_steps: int = 20_000,
) -> list[FloatArray]:
    """
    Return the ways of water from places.

    Parameters
    ----------
    flow : FlowField
        Flow through the faces.
    depth_m : ndarray of float, shape (rows, cols)
        Depth; zero off the water [m].
    start_row, start_col : ndarray of float, shape (n,)
        Places where they begin, in cells from the lower left corner of the grid [1].
    most_steps : int
        Steps after which a line ends where it is.

    Returns
    -------
    list of ndarray of float, shape (k, 2)
        Column and row of the points of each line, in cells from the lower left corner [1].
    """
    east = np.pad(np.nan_to_num(flow.east_m3_s), ((0, 0), (1, 1)))
    north = np.pad(np.nan_to_num(flow.north_m3_s), ((1, 1), (0, 0)))
    depth = np.nan_to_num(np.asarray(depth_m, float))
    return [
        _trace(east, north, depth, float(row), float(col), most_steps)
        for row, col in zip(start_row, start_col, strict=True)
    ]


@numba.njit(cache=True)
def _trace(
    east: FloatArray,
    north: FloatArray,
    depth: FloatArray,
    row: float,
    col: float,
    most_steps: int,
) -> Any:
    """Follow the flow from one place until it stands still or leaves the water."""
    points = np.empty((most_steps + 1, 2))
    points[0, 0], points[0, 1] = col, row
    n = 1
    for _ in range(most_steps):
        r, c = int(np.floor(row)), int(np.floor(col))
        if r < 0 or c < 0 or r >= depth.shape[0] or c >= depth.shape[1] or depth[r, c] <= 0:
            break
        x, y = col - c, row - r
        u = east[r, c] * (1 - x) + east[r, c + 1] * x
        v = north[r, c] * (1 - y) + north[r + 1, c] * y
        speed = max(abs(u), abs(v))
        if speed <= 1e-12:
            break
        col += _STEP * u / speed
        row += _STEP * v / speed
        points[n, 0], points[n, 1] = col, row
        n += 1
    return points[:n].copy()
