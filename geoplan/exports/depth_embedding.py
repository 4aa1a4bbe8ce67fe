"""
Depth grids as text that a page in a browser unpacks, and the classes it is shaded by.

Depth is only ever rounded down and merged by its least: the page is never deeper than the plan.
"""

import base64
import math
import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geoplan.plan import DepthGrid
from geoplan.settings import Settings
from geoplan.site import FloatArray

#: Cells that one page may carry, all water bodies together.
MOST_CELLS = 600_000
#: Deepest that is told apart; deeper water is shown as this deep [cm].
_DEEPEST_CM = 32766
_CLASS_COUNT = 5
#: Steps of depth that people read easily [cm].
_STEPS_CM = (5, 10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000, 2500, 5000, 10000)


@dataclass(frozen=True)
class EmbeddedGrid:
    """
    A depth grid as a page carries it.

    Attributes
    ----------
    west_m, south_m, cell_size_m : float
        Lower left corner and side of the cells, working CRS [m].
    rows, cols : int
        Size.
    deepest_cm : int
        Deepest cell [cm].
    data : str
        Depth [cm] rounded down, −1 off the water; row by row from the south, each cell less
        the ones to its west and south and plus the one between, zeros around, as 16-bit
        little-endian integers, deflated, in base 64.
    """

    west_m: float
    south_m: float
    cell_size_m: float
    rows: int
    cols: int
    deepest_cm: int
    data: str


def merged_cells(cell_count: int, most_cells: int = MOST_CELLS) -> int:
    """
    Return how many cells are merged along each side so that a page can carry them.

    Parameters
    ----------
    cell_count : int
        Cells of all grids together.
    most_cells : int
        Cells that a page may carry.

    Returns
    -------
    int
        1 where nothing needs to be merged.

    Examples
    --------
    >>> merged_cells(600_000), merged_cells(600_001), merged_cells(2_400_001)
    (1, 2, 3)
    """
    return max(1, math.ceil(math.sqrt(cell_count / most_cells)))


def embedded(grid: DepthGrid, merged: int = 1) -> EmbeddedGrid:
    """
    Return a depth grid as a page carries it.

    Parameters
    ----------
    grid : DepthGrid
        Reliable depth at low level.
    merged : int
        Cells merged along each side into one, which gets the least of their depths.

    Returns
    -------
    EmbeddedGrid
        The grid as text.
    """
    depth = _least_of_blocks(grid.depth_low_m, merged)
    floor = np.floor(np.nan_to_num(depth, nan=-1.0) * 100)
    centimetres = np.where(np.isnan(depth), -1, np.clip(floor, 0, _DEEPEST_CM)).astype(np.int32)
    rows, cols = centimetres.shape
    along = np.diff(centimetres, axis=1, prepend=0)
    steps = np.diff(along, axis=0, prepend=0).astype("<i2")  # wraps; so does the page
    return EmbeddedGrid(
        west_m=grid.west_m,
        south_m=grid.south_m,
        cell_size_m=grid.cell_size_m * merged,
        rows=rows,
        cols=cols,
        deepest_cm=int(centimetres.max(initial=0)),
        data=base64.b64encode(zlib.compress(steps.tobytes(), 6)).decode("ascii"),
    )


def _least_of_blocks(depth_m: FloatArray, merged: int) -> FloatArray:
    """Return the least depth of each block of cells, NaN where a block is all land."""
    if merged == 1:
        return depth_m
    rows, cols = (-(-size // merged) for size in depth_m.shape)
    padded = np.full((rows * merged, cols * merged), np.nan)
    padded[: depth_m.shape[0], : depth_m.shape[1]] = depth_m
    blocks = padded.reshape(rows, merged, cols, merged).swapaxes(1, 2).reshape(rows, cols, -1)
    least = np.where(np.isnan(blocks), np.inf, blocks).min(axis=2)
    return np.where(np.isfinite(least), least, np.nan)


def least_need_cm(settings: Settings) -> int:
    """
    Return the depth that the raft type with the least draft and roots needs.

    Parameters
    ----------
    settings : Settings
        Settings of the site.

    Returns
    -------
    int
        Draft, roots, sediment and root clearance, rounded up [cm].
    """
    hull = min(kind.draft_m + kind.root_depth_m for kind in settings.raft)
    kept = settings.clearances.sediment_m + settings.clearances.root_m
    return math.ceil((hull + kept) * 100 - 1e-9)


def class_limits_cm(need_cm: int, deepest_cm: int) -> list[int]:
    """
    Return where the classes of depth begin, five at most.

    Parameters
    ----------
    need_cm : int
        Depth below which no raft may lie; the first class begins there [cm].
    deepest_cm : int
        Deepest water [cm].

    Returns
    -------
    list of int
        Rising; the last class has no upper limit [cm].

    Examples
    --------
    >>> class_limits_cm(135, 320)
    [135, 150, 200, 250, 300]
    >>> class_limits_cm(135, 100)
    [135]
    """
    for step in _STEPS_CM:
        limits = [need_cm, *_multiples(step, need_cm, deepest_cm)]
        if len(limits) <= _CLASS_COUNT:
            return limits
    return [need_cm]


def _multiples(step: int, above: int, up_to: int) -> Sequence[int]:
    """Return the multiples of a step between two depths."""
    return range((above // step + 1) * step, up_to, step)
