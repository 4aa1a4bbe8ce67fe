r"""
Poses on a lattice that stand for every pose between them.

A function of a raft's centre and heading, interpolated between lattice poses, is off by at most
d²/8 of its second derivatives in the centre and Δ²/8 of that in the heading. Of an integral of a
field over the raft's set these derivatives are integrals of the field's gradient round the set's
edge. A constant gradient drops out, for the set is symmetric about its centre, so that half the
local range ρ of the gradient bounds them. What holds at the corners of a box of poses with that
much to spare holds in all of it.

Boxes that hold no legal pose are left out by interval branch and bound: no legal raft has a point
of the region's boundary in its inside, so a box is left out where every part of it does.
"""

import math
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.ndimage import maximum_filter, minimum_filter
from shapely.geometry.base import BaseGeometry

from geoplan.cut_cells import cell_coverage
from geoplan.grid import BoolArray
from geoplan.placement.box_kernels import box_states, boxes_of
from geoplan.placement.sum_kernels import FINER, HEADINGS, STEPS, Tables
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType
from geoplan.site import FloatArray
from geoplan.water import IntArray

#: Distance of points along a boundary [m].
_POINTS_M = 0.1
#: Corners of a quarter of the circle that rounds a grown raft.
_ARC = 16


@dataclass(frozen=True, eq=False)
class PoseBoxes:
    """
    Boxes of poses that may hold a legal one, and the lattice poses at their corners.

    Attributes
    ----------
    poses : ndarray of int, shape (n, 3)
        Heading, row and column on the lattice.
    boxes : ndarray of int, shape (k, 4)
        First corner of each box, and 1 where the boundary is near, else 0.
    corners : ndarray of int, shape (k, 8)
        Which poses are its corners; columns change first, then rows, then headings.
    edge : ndarray of float, shape (m, 2)
        Points of the region's boundary from the grid's corner, sorted from the west [m].
    """

    poses: IntArray
    boxes: IntArray
    corners: IntArray
    edge: FloatArray


def pose_tables(kind: RaftType, gap_m: float, cell_size_m: float, cols: int) -> Tables:
    """
    Return the weights of nodes for rafts of one size, none made yet.

    Parameters
    ----------
    kind : RaftType
        The raft.
    gap_m : float
        Distance between rafts [m].
    cell_size_m : float
        Distance between nodes [m].
    cols : int
        Nodes in a row of the grid.

    Returns
    -------
    Tables
        To be filled in as poses are asked.

    Notes
    -----
    The grown set is drawn from inside, so that integrals over it are never too large.
    """
    h = cell_size_m
    length, width = kind.length_m, kind.width_m
    border = math.ceil((math.hypot(length, width) / 2 + gap_m / 2) / h) + 2
    kinds = HEADINGS * FINER * (STEPS * FINER) ** 2
    most = 0
    for grow in (0.0, gap_m):
        round_m = 2 * (length + width + 2 * grow) * math.sqrt(2)
        most += math.ceil((length + grow) * (width + grow) / h**2 + 2 * round_m / h + 16)
    raft = shapely.box(-width / 2, -length / 2, width / 2, length / 2)
    wide = shapely.buffer(raft, gap_m / 2, quad_segs=_ARC) if gap_m > 0 else raft
    return Tables(
        np.zeros(kinds, bool), np.zeros((kinds, 2), np.int64),
        np.empty((kinds, most), np.int64), np.empty((kinds, most)),
        _ring(raft, h), _ring(wide, h), cols + 2 * border, border, h * h,
    )  # fmt: skip


def _ring(shape: BaseGeometry, h: float) -> FloatArray:
    """Return the corners of a polygon, counter-clockwise, in cells."""
    out: FloatArray = shapely.get_coordinates(shapely.normalize(shape))[:-1][::-1] / h
    return np.ascontiguousarray(out)


def remainders_m(kind: RaftType, gap_m: float, cell_size_m: float) -> tuple[float, float]:
    """
    Return by how many times ρ integrals can rise between the corners of a box of the lattice.

    Parameters
    ----------
    kind : RaftType
        The raft.
    gap_m : float
        Distance between rafts [m].
    cell_size_m : float
        Distance between nodes [m].

    Returns
    -------
    tuple of float
        Of the integral over the raft and of that over its grown set [m³].
    """
    length, width = kind.length_m, kind.width_m
    step_rad, spacing = math.pi / HEADINGS, cell_size_m / STEPS
    out = []
    for grow_m in (0.0, gap_m):
        far_m = math.hypot(length, width) / 2 + grow_m / 2
        moved = spacing**2 / 4 * (length + width + math.sqrt(2) * grow_m)
        # x·t ds is d(|x|²/2): its total variation round the set, four corners and four middles.
        turned = 4 * far_m**2 - ((length + grow_m) ** 2 + (width + grow_m) ** 2) / 2
        out.append(moved + step_rad**2 / 8 * far_m * turned)
    return out[0], out[1]


def half_ranges(nodes: FloatArray, cell_size_m: float, kind: RaftType, gap_m: float) -> FloatArray:
    """
    Return half the range of a field's gradient within reach of boxes of the lattice.

    Parameters
    ----------
    nodes : ndarray of float, shape (rows, cols)
        Field, bilinear between nodes [unit of the field].
    cell_size_m : float
        Distance between nodes [m].
    kind : RaftType
        The raft.
    gap_m : float
        Distance between rafts, of which half is within reach [m].

    Returns
    -------
    ndarray of float, shape (headings, rows, cols)
        Half the range, the root of both axes' squares, for boxes with a first corner in the cell
        beyond each node [unit of the field a m].
    """
    slopes = [
        np.diff(nodes, axis=axis, append=np.take(nodes, [-1], axis=axis)) / cell_size_m
        for axis in (0, 1)
    ]
    out = np.empty((HEADINGS, *nodes.shape))
    done: dict[tuple[int, int], FloatArray] = {}
    for turn in range(HEADINGS):
        size = _window(turn, cell_size_m, kind, gap_m)
        if size not in done:
            halves = [
                maximum_filter(slope, size, mode="nearest")
                - minimum_filter(slope, size, mode="nearest")
                for slope in slopes
            ]
            done[size] = np.hypot(halves[0], halves[1]) / 2
        out[turn] = done[size]
    return out


def _window(turn: int, h: float, kind: RaftType, gap_m: float) -> tuple[int, int]:
    """Return the rows and columns of nodes round a node that rafts of a box's headings reach."""
    half_step = math.pi / HEADINGS / 2
    size = []
    for quarter in (math.pi / 2, 0.0):
        # Between two headings a half extent is at most that of the larger by this cosine.
        reach = max(
            kind.length_m / 2 * abs(math.sin((turn + end) * 2 * half_step + quarter))
            + kind.width_m / 2 * abs(math.cos((turn + end) * 2 * half_step + quarter))
            for end in (0, 1)
        )
        size.append(2 * (math.ceil((reach / math.cos(half_step) + gap_m / 2) / h) + 2) + 1)
    return size[0], size[1]


def shore_points(region: BaseGeometry, west_m: float, south_m: float) -> FloatArray:
    """
    Return points along the boundary of a region, near each other.

    Parameters
    ----------
    region : BaseGeometry
        Where a legal raft lies whole [m].
    west_m, south_m : float
        Corner of the grid [m].

    Returns
    -------
    ndarray of float, shape (n, 2)
        From the grid's corner, sorted from the west [m].
    """
    edge = shapely.get_coordinates(shapely.segmentize(shapely.boundary(region), _POINTS_M))
    edge = edge[np.argsort(edge[:, 0], kind="stable")] - (west_m, south_m)
    return np.ascontiguousarray(edge)


def lattice_boxes(
    surface: WorthSurface,
    region: BaseGeometry,
    raft_type: RaftType,
    pays: BoolArray | None = None,
) -> PoseBoxes:
    """
    Return every box of poses that may hold a legal one.

    Parameters
    ----------
    surface : WorthSurface
        A surface on the grid of nodes.
    region : BaseGeometry
        Where a legal raft lies whole [m].
    raft_type : RaftType
        The raft.
    pays : ndarray of bool, shape (rows - 1, cols - 1), or None
        Cells between nodes to which boxes are held; ``None``: all.

    Returns
    -------
    PoseBoxes
        Boxes and the poses at their corners.
    """
    spacing = surface.cell_size_m / STEPS
    shape = (
        (surface.nodes.shape[0] - 1) * STEPS,
        (surface.nodes.shape[1] - 1) * STEPS,
    )
    west, south = surface.west_m, surface.south_m
    frame = shapely.box(west, south, west + shape[1] * spacing, south + shape[0] * spacing)
    region = shapely.intersection(region, frame)
    is_wet = cell_coverage(region, west, south, spacing, shape) > 0
    if pays is not None:
        is_wet &= np.repeat(np.repeat(pays, STEPS, axis=0), STEPS, axis=1)
    squares = np.argwhere(is_wet)
    edge = shore_points(region, west, south)
    state = box_states(squares, edge, spacing, raft_type.length_m / 2, raft_type.width_m / 2)
    poses, boxes, corners = boxes_of(state, squares, *shape)
    return PoseBoxes(poses, boxes, corners, edge)
