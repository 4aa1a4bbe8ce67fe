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
from functools import lru_cache

import numba
import numpy as np
import shapely
from scipy.ndimage import maximum_filter, minimum_filter
from shapely.geometry.base import BaseGeometry

from geoplan.cut_cells import cell_coverage
from geoplan.grid import BoolArray
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType, footprints
from geoplan.site import FloatArray
from geoplan.water import IntArray

#: Lattice poses in a cell's side, and headings in a half turn.
STEPS = 2
HEADINGS = 24
#: Parts of a cell's side in which weights are integrated; a multiple of twice the steps.
_FINE = 8
#: Distance of points along a boundary [m], and shift of a raft's points below which a box of poses
#: is taken to hold a legal one [m].
_POINTS_M = 0.1
_TOLERANCE_M = 0.02

Weights = tuple[IntArray, IntArray, IntArray, FloatArray]


@dataclass(frozen=True, eq=False)
class PoseSums:
    """
    Weights of nodes in integrals over a raft's set, for every lattice pose in a cell.

    Attributes
    ----------
    raft : tuple of ndarray
        Where each pose's weights start, their rows and columns from its node, and the weights of
        the mean over the raft [1].
    grown : tuple of ndarray
        The same for the integral over the raft grown by half the gap [m²].
    raft_rise_m, grown_rise_m3 : float
        By how many times ρ each can rise between lattice poses, rounding of the weights included
        [m], [m³].
    reach_m : float
        Distance from a centre to the far end of its grown set [m].
    grown_m2 : float
        Area of the grown set [m²].
    """

    raft: Weights
    grown: Weights
    raft_rise_m: float
    grown_rise_m3: float
    reach_m: float
    grown_m2: float


@lru_cache(maxsize=16)
def pose_sums(length_m: float, width_m: float, gap_m: float, cell_size_m: float) -> PoseSums:
    """
    Return the weights for rafts of one size.

    Parameters
    ----------
    length_m, width_m : float
        Sides of the raft [m].
    gap_m : float
        Distance between rafts [m].
    cell_size_m : float
        Distance between nodes [m].

    Returns
    -------
    PoseSums
        Weights and their remainders.

    Notes
    -----
    The grown set is drawn from inside, so that integrals over it are never too large. Weights are
    midpoint sums over parts of cells; a part cut by the edge is off by at most a quarter of its
    size cubed times ρ.
    """
    h = cell_size_m
    reach_m = math.hypot(length_m, width_m) / 2 + gap_m / 2
    radius = math.ceil(reach_m / h) + 2
    parts: list[list[FloatArray]] = [[], []]
    areas = [length_m * width_m, 0.0]
    for turn in range(HEADINGS):
        raft = footprints(0.0, 0.0, 180.0 * turn / HEADINGS, length_m, width_m)[0]
        wide = shapely.buffer(raft, gap_m / 2, quad_segs=16)
        areas[1] = float(wide.area)
        for up in range(STEPS):
            for right in range(STEPS):
                for which, shape in enumerate((raft, wide)):
                    parts[which].append(_weights(shape, h, radius, up, right))
    step_rad = math.pi / HEADINGS
    spacing = h / STEPS
    rises = []
    for grow_m in (0.0, gap_m):
        far_m = math.hypot(length_m, width_m) / 2 + grow_m / 2
        moved = spacing**2 / 4 * (length_m + width_m + math.sqrt(2) * grow_m)
        # x·t ds is d(|x|²/2): its total variation round the set, four corners and four middles.
        turned = 4 * far_m**2 - ((length_m + grow_m) ** 2 + (width_m + grow_m) ** 2) / 2
        edge_m = 2 * (length_m + width_m) + math.pi * grow_m
        rises.append(moved + step_rad**2 / 8 * far_m * turned + 0.25 * edge_m * (h / _FINE) ** 2)
    raft_weights = _packed([part / areas[0] for part in parts[0]], radius)
    return PoseSums(
        raft_weights,
        _packed(parts[1], radius),
        rises[0] / areas[0],
        rises[1],
        reach_m,
        areas[1],
    )


def _weights(shape: BaseGeometry, h: float, radius: int, up: int, right: int) -> FloatArray:
    """Return the weights of nodes in the integral over a shape moved by parts of a cell."""
    fine = h / _FINE
    cells = (2 * radius + 1) * _FINE
    corner = -cells / 2 * fine
    moved = shapely.transform(shape, lambda xy: xy + np.array([right, up]) * h / STEPS)
    share = cell_coverage(moved, corner, corner, fine, (cells, cells)) * fine**2
    hat = 1 - np.abs((np.arange(2 * _FINE) + 0.5) / _FINE - 1)
    padded = np.pad(share, _FINE // 2)
    blocks = np.lib.stride_tricks.sliding_window_view(padded, (2 * _FINE, 2 * _FINE))
    out: FloatArray = np.einsum("ijkl,k,l->ij", blocks[::_FINE, ::_FINE], hat, hat)
    return out


def _packed(arrays: list[FloatArray], radius: int) -> Weights:
    """Return the entries of arrays that are not zero, one array after the other."""
    start, rows, cols, weights = [0], [], [], []
    for array in arrays:
        row, col = np.nonzero(array)
        rows.append(row - radius)
        cols.append(col - radius)
        weights.append(array[row, col])
        start.append(start[-1] + len(row))
    return (
        np.array(start),
        np.concatenate(rows),
        np.concatenate(cols),
        np.concatenate(weights),
    )


def sums(
    nodes: FloatArray,
    poses: IntArray,
    start: IntArray,
    rows: IntArray,
    cols: IntArray,
    weights: FloatArray,
) -> FloatArray:
    """
    Return the integral of a field over the set of each pose.

    Parameters
    ----------
    nodes : ndarray of float, shape (rows, cols)
        Field at the nodes, nothing beyond them [unit of the field].
    poses : ndarray of int, shape (n, 3)
        Heading, row and column on the lattice.
    start, rows, cols, weights : ndarray
        Weights as in `PoseSums`.

    Returns
    -------
    ndarray of float, shape (n,)
        Sums of weights times nodes [unit of the field, by the weights' unit].
    """
    # A border of nothing, so that no place has to be asked whether it is one.
    border = int(max(np.abs(rows).max(initial=0), np.abs(cols).max(initial=0)))
    wide = np.pad(np.asarray(nodes, float), border)
    steps = rows * wide.shape[1] + cols
    out: FloatArray = _sums(wide.ravel(), wide.shape[1], border, poses, start, steps, weights)
    return out


@numba.njit(cache=True)
def _sums(
    flat: FloatArray,
    wide: int,
    border: int,
    poses: IntArray,
    start: IntArray,
    steps: IntArray,
    weights: FloatArray,
) -> FloatArray:
    """Return the integral over the set of each pose of a field with a border, row after row."""
    out = np.zeros(len(poses))
    for k in range(len(poses)):
        turn, row, col = poses[k]
        kind = (turn * STEPS + row % STEPS) * STEPS + col % STEPS
        node = (row // STEPS + border) * wide + col // STEPS + border
        total = 0.0
        for e in range(start[kind], start[kind + 1]):
            total += weights[e] * flat[node + steps[e]]
        out[k] = total
    return out


def gradient_reach(nodes: FloatArray, cell_size_m: float, reach_m: float) -> FloatArray:
    """
    Return half the range of a field's gradient within reach of each node.

    Parameters
    ----------
    nodes : ndarray of float, shape (rows, cols)
        Field, bilinear between nodes [unit of the field].
    cell_size_m : float
        Distance between nodes [m].
    reach_m : float
        Distance from a centre to the far end of its set [m].

    Returns
    -------
    ndarray of float, shape (rows, cols)
        Half the range, the root of both axes' squares [unit of the field a m].
    """
    size = 2 * (math.ceil(reach_m / cell_size_m) + 2) + 1
    halves = []
    for axis in (0, 1):
        slope = np.diff(nodes, axis=axis, append=np.take(nodes, [-1], axis=axis)) / cell_size_m
        high = maximum_filter(slope, size, mode="nearest")
        halves.append((high - minimum_filter(slope, size, mode="nearest")) / 2)
    out: FloatArray = np.hypot(halves[0], halves[1])
    return out


def lattice_poses(
    surface: WorthSurface,
    region: BaseGeometry,
    raft_type: RaftType,
    pays: BoolArray | None = None,
) -> IntArray:
    """
    Return the lattice poses round every box of poses that may hold a legal one.

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
    ndarray of int, shape (n, 3)
        Heading, row and column on the lattice.
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
    boxes = np.argwhere(is_wet)
    edge = shapely.get_coordinates(shapely.segmentize(shapely.boundary(region), _POINTS_M))
    edge = edge[np.argsort(edge[:, 0], kind="stable")]
    may = _may_hold(
        boxes, np.ascontiguousarray(edge - (west, south)), spacing,
        raft_type.length_m / 2, raft_type.width_m / 2,
    )  # fmt: skip
    held = np.zeros((HEADINGS, shape[0] + 1, shape[1] + 1), bool)
    for up in (0, 1):
        for right in (0, 1):
            for turn in (0, 1):
                which, box = np.nonzero(may)
                held[(which + turn) % HEADINGS, boxes[box, 0] + up, boxes[box, 1] + right] = True
    return np.argwhere(held)


@numba.njit(cache=True)
def _may_hold(
    boxes: IntArray, edge: FloatArray, spacing: float, half_length: float, half_width: float
) -> BoolArray:
    """Tell for each box and heading step whether it may hold a legal pose, shape (steps, boxes)."""
    out = np.zeros((HEADINGS, len(boxes)), np.bool_)
    far = math.hypot(half_length, half_width) + spacing
    east = edge[:, 0]
    for b in range(len(boxes)):
        y, x = (boxes[b, 0] + 0.5) * spacing, (boxes[b, 1] + 0.5) * spacing
        first = np.searchsorted(east, x - far)
        last = np.searchsorted(east, x + far)
        near = np.empty((last - first, 2))
        n = 0
        for e in range(first, last):
            if abs(edge[e, 1] - y) < far:
                near[n, 0], near[n, 1] = edge[e, 0], edge[e, 1]
                n += 1
        for turn in range(HEADINGS):
            out[turn, b] = _box_may_hold(
                x, y, (turn + 0.5) * math.pi / HEADINGS, spacing / 2, near[:n],
                half_length, half_width,
            )  # fmt: skip
    return out


@numba.njit(cache=True)
def _lay(
    stack: FloatArray, n: int, x: float, y: float, heading: float, move: float, turn: float
) -> None:
    """Lay a box of poses on a stack."""
    stack[n, 0], stack[n, 1], stack[n, 2], stack[n, 3], stack[n, 4] = x, y, heading, move, turn


@numba.njit(cache=True)
def _box_may_hold(
    x: float,
    y: float,
    heading: float,
    half: float,
    near: FloatArray,
    half_length: float,
    half_width: float,
) -> bool:
    """Tell whether a box of poses may hold one without a boundary point inside it."""
    far = math.hypot(half_length, half_width)
    stack = np.empty((256, 5))
    _lay(stack, 0, x, y, heading, half, math.pi / HEADINGS / 2)
    n = 1
    while n > 0:
        n -= 1
        cx, cy, angle, move, turn = stack[n]
        ahead_x, ahead_y = math.sin(angle), math.cos(angle)
        shift = move * (abs(ahead_x) + abs(ahead_y))
        is_hit = False
        is_clear = True
        for k in range(len(near)):
            dx, dy = near[k, 0] - cx, near[k, 1] - cy
            inside = min(
                half_length - abs(dx * ahead_x + dy * ahead_y),
                half_width - abs(dx * ahead_y - dy * ahead_x),
            )
            if inside > 0.0:
                is_clear = False
                if inside > shift + math.hypot(dx, dy) * turn:
                    is_hit = True
                    break
        if is_hit:
            continue
        # The pose in the middle is one that the box holds.
        if is_clear or shift + far * turn < _TOLERANCE_M or n > 246:
            return True
        if shift > far * turn:
            for k in range(4):
                east, north = cx + (k % 2 - 0.5) * move, cy + (k // 2 - 0.5) * move
                _lay(stack, n, east, north, angle, move / 2, turn)
                n += 1
        else:
            for k in range(2):
                _lay(stack, n, cx, cy, angle + (k - 0.5) * turn, move, turn / 2)
                n += 1
    return False
