r"""
What the mean of a worth over a raft can exceed the mean over the raft grown by half the gap.

The area bound's correction δ has a mean over each grown raft D that is at least that excess, so
that the mean of the worth and δ over D is no less than the worth's mean over the raft. The excess
is computed at many centres and headings, and what it can gain between them is bounded by the range
of the worth's gradient: an upper bound, not a sample.
"""

import itertools
import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.fft import irfft2, next_fast_len, rfft2
from scipy.ndimage import maximum_filter, minimum_filter
from shapely.geometry import Polygon

from geoplan.cut_cells import cell_coverage
from geoplan.placement.bend_kernels import bent_ranges
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType, footprints
from geoplan.site import FloatArray

#: Share of the worth below which it does not pay to say more closely what lies between.
_LITTLE = 1e-4
#: Parts of a cell's side in which the weights of the means are integrated; even.
_PARTS = 8
#: Up to this many nodes poses are taken twice as densely: small ponds have more to gain by it.
_FEW_NODES = 300_000
#: Nodes up to which the spectra of the weights are kept for the next worth of the same water.
_MOST_KNOWN = 65_536


@dataclass(frozen=True)
class _Poses:
    """Centres in each cell and headings at which means are taken; sets repeat every 180°."""

    parts: int  # along a side of a cell
    heading_count: int

    @property
    def step_rad(self) -> float:
        """Return the step between headings [rad]."""
        return math.pi / self.heading_count

    @property
    def headings_deg(self) -> list[float]:
        """Return the headings [°]."""
        return [180.0 * k / self.heading_count for k in range(self.heading_count)]


_COARSE, _DENSE = _Poses(1, 12), _Poses(2, 24)


def averaging_excess(
    surface: WorthSurface, raft_type: RaftType, gap_m: float, *, is_close: bool = True
) -> FloatArray:
    r"""
    Bound how much a mean over a raft can exceed the mean over the raft grown by half the gap.

    Parameters
    ----------
    surface : WorthSurface
        Worth, bilinear between nodes.
    raft_type : RaftType
        The raft.
    gap_m : float
        Distance between rafts [m].
    is_close : bool
        Whether it is bounded as closely as it may be, at several times the cost.

    Returns
    -------
    ndarray of float, shape (rows, cols)
        Correction δ at each node, bilinear between them: for every raft, in any heading, the mean
        of δ over its grown set is at least the excess [unit of the worth].

    Notes
    -----
    E(c, θ), the difference of the two means for a centre and heading, is computed at every node, or
    every half cell, and every 15° or 7.5°. Between them it is at most the value interpolated plus
    h²/8 of its second derivatives in the centre, plus Δ²/8 of that in the heading. Those are
    integrals of the worth's gradient round the sets' edges; a constant gradient drops out of them
    by symmetry, so half the local range of the gradient, ρ, bounds them. A linear gradient is that
    of a quadratic worth, whose E is the same at every centre and a cosine of the heading, in closed
    form: any may be taken off first, and half the range of what is left is far less where the worth
    bends evenly.

    So E at the nodes, bilinear between them, is at least the excess of every raft centred there.
    Its own mean over D may be less; by how much at most is found in the same way, and the largest
    such lack within reach is added, or the highest E within reach is taken, as always where it
    need not be close.
    """
    h = surface.cell_size_m
    reach_m = math.hypot(raft_type.length_m, raft_type.width_m) / 2 + gap_m / 2
    # Reach from a centre to its set, one cell to its nodes, and one to the far end of a patch.
    radius = math.ceil(reach_m / h) + 2
    nodes = np.pad(surface.nodes, radius, mode="edge")
    sets = _Sets(raft_type, gap_m, h, radius)
    rise, poses = _rise(nodes, sets, is_close=is_close)
    excess = np.maximum(0.0, _most_excess(nodes, sets, poses) + rise)
    # What is highest within reach is never less than the excess either.
    highest: FloatArray = maximum_filter(excess, 2 * radius + 1, mode="nearest")
    if not is_close:
        return highest
    # Of the two the one that is lower where the worth is high, and rafts lie.
    level: FloatArray = excess + _lack(excess, sets)
    weights = np.asarray(surface.nodes) ** 2
    return min(highest, level, key=lambda more: float((weights * more).sum()))


@dataclass(frozen=True)
class _Sets:
    """A raft and its grown set on a grid: what weights and ranges are of."""

    raft_type: RaftType
    gap_m: float
    cell_m: float
    radius: int


@dataclass(frozen=True)
class _Pose:
    """
    A raft parts of a cell north and east of a node, and of which means.

    ``excess``: what its mean exceeds that of its grown set by; ``lack``: what its middle does.
    """

    sets: _Sets
    heading_deg: float
    at: tuple[int, int]
    parts: int
    of: Literal["excess", "lack"]


def _most_excess(nodes: FloatArray, sets: _Sets, poses: _Poses) -> FloatArray:
    """Return the largest excess over headings, at each node and half a cell about it."""
    near: FloatArray = np.zeros(0)
    for down, left in itertools.product(range(poses.parts), repeat=2):
        at = _most(
            nodes,
            [_Pose(sets, turn, (down, left), poses.parts, "excess") for turn in poses.headings_deg],
        )
        # Centres half a cell about a node, on all sides: then what is bilinear between nodes is no
        # less at any centre than what is bilinear between the denser centres.
        for axis, is_between in ((0, down), (1, left)):
            if is_between:
                before = np.roll(at, 1, axis=axis)
                first = (slice(None),) * axis + (slice(0, 1),)
                before[first] = at[first]
                at = np.maximum(at, before)
        near = np.maximum(near, at) if near.size else at
    return near


def _lack(excess: FloatArray, sets: _Sets) -> FloatArray:
    """Return what means of an excess over grown sets may lack of it at their centres."""
    radius, h = sets.radius, sets.cell_m
    nodes = np.pad(excess, radius, mode="edge")
    most = _most(nodes, [_Pose(sets, turn, (0, 0), 1, "lack") for turn in _COARSE.headings_deg])
    _, wide = _grown_raft(sets.raft_type, sets.gap_m, 0.0)
    centre, turning = _edge_integrals(sets, wide, sets.gap_m)
    between_m = 2 * centre * h**2 / 8 + turning * _COARSE.step_rad**2 / 8
    quadrature_m = (h / _PARTS) ** 2 * float(wide.length / wide.area)
    lack = np.maximum(0.0, most + (between_m + quadrature_m) * _gradient_range(nodes, h, radius))
    out: FloatArray = maximum_filter(lack, 2 * radius + 1, mode="nearest")
    return out


def _most(nodes: FloatArray, poses: list[_Pose]) -> FloatArray:
    """Return the largest of sums of weighted nodes, about each node within the padding."""
    rows, cols = (n - 2 * poses[0].sets.radius for n in nodes.shape)
    size = (next_fast_len(nodes.shape[0]), next_fast_len(nodes.shape[1]))
    spectrum = rfft2(nodes, size)
    known = _spectrum if size[0] * size[1] <= _MOST_KNOWN else _spectrum.__wrapped__
    most = np.full((rows, cols), -np.inf)
    for pose in poses:
        np.maximum(most, irfft2(spectrum * known(pose, size), size)[:rows, :cols], out=most)
    return most


@lru_cache(maxsize=3 * _COARSE.heading_count)
def _spectrum(pose: _Pose, size: tuple[int, int]) -> NDArray[np.complex128]:
    """Return what turns the spectrum of nodes into that of the sums that a pose weighs."""
    # Weights times values, summed: the conjugate turns the convolution into that.
    spectrum: NDArray[np.complex128] = np.conj(rfft2(_weights(pose), size))
    spectrum.setflags(write=False)  # shared by all who ask again
    return spectrum


def _grown_raft(raft_type: RaftType, gap_m: float, heading_deg: float) -> tuple[Polygon, Polygon]:
    """Return a raft at the origin, and the polygon inside it grown by half the gap."""
    raft = footprints(0.0, 0.0, heading_deg, raft_type.length_m, raft_type.width_m)[0]
    return raft, shapely.buffer(raft, gap_m / 2, quad_segs=16) if gap_m > 0 else raft


def grown_polygon_m2(raft_type: RaftType, gap_m: float) -> float:
    """
    Return the area of the polygon inside a grown raft over which means are taken.

    Parameters
    ----------
    raft_type : RaftType
        The raft.
    gap_m : float
        Distance between rafts [m].

    Returns
    -------
    float
        A little less than that of the grown raft [m²].

    Examples
    --------
    >>> kind = RaftType(name="a", length_m=4.0, width_m=2.4, draft_m=0.2, planted_share=1.0)
    >>> round(grown_polygon_m2(kind, 1.0), 2)
    16.78
    """
    return float(_grown_raft(raft_type, gap_m, 0.0)[1].area)


def _weights(pose: _Pose) -> FloatArray:
    """Return the weights of the nodes in what is asked of a pose."""
    raft, wide = _weights_of_means(pose.sets, pose.heading_deg, pose.at, pose.parts)
    if pose.of == "excess":
        return raft - wide
    middle = np.zeros_like(wide)
    middle[pose.sets.radius, pose.sets.radius] = 1.0
    return middle - wide


@lru_cache(maxsize=1024)
def _weights_of_means(
    sets: _Sets, heading_deg: float, at: tuple[int, int], parts: int
) -> tuple[FloatArray, FloatArray]:
    """Return the weights in both means of a pose, parts of a cell north and east of a node."""
    h, radius = sets.cell_m, sets.radius
    fine = h / _PARTS
    cells = (2 * radius + 1) * _PARTS
    corner = -cells / 2 * fine
    hat = 1 - np.abs((np.arange(2 * _PARTS) + 0.5) / _PARTS - 1)
    shift = np.array([at[1], at[0]]) * h / parts
    weights = []
    for shape in _grown_raft(sets.raft_type, sets.gap_m, heading_deg):
        moved = shapely.transform(shape, lambda xy: xy + shift)
        share = cell_coverage(moved, corner, corner, fine, (cells, cells)) / shape.area * fine**2
        padded = np.pad(share, _PARTS // 2)
        blocks = np.lib.stride_tricks.sliding_window_view(padded, (2 * _PARTS, 2 * _PARTS))
        mean: FloatArray = np.einsum("ijkl,k,l->ij", blocks[::_PARTS, ::_PARTS], hat, hat)
        mean.setflags(write=False)  # shared by all who ask again
        weights.append(mean)
    return weights[0], weights[1]


def _rise(nodes: FloatArray, sets: _Sets, *, is_close: bool) -> tuple[FloatArray, _Poses]:
    """Return what the excess can rise by between poses, by the range of gradients; and these."""
    h, radius = sets.cell_m, sets.radius
    between_m, quadrature_m = _between(sets, _COARSE)
    whole = _gradient_range(nodes, h, radius)
    if between_m * whole.mean() < _LITTLE * np.abs(nodes).mean():
        return np.asarray((between_m + quadrature_m) * whole), _COARSE
    poses = _DENSE if is_close and nodes.size <= _FEW_NODES else _COARSE
    between_m, quadrature_m = _between(sets, poses)
    bent, spread = bent_ranges(nodes, h, radius)
    raft, wide = (_moments_m2(s) for s in _grown_raft(sets.raft_type, sets.gap_m, 0.0))
    # E of a quadratic is ¼ times both differences times the cosine of twice the heading.
    turned_m2 = abs((raft[0] - raft[1]) - (wide[0] - wide[1])) * poses.step_rad**2 / 8
    out: FloatArray = np.minimum(between_m * whole, between_m * bent + turned_m2 * spread)
    return out + quadrature_m * whole, poses


def _moments_m2(shape: Polygon) -> tuple[float, float]:
    """Return the mean squares of both coordinates over a polygon round the origin [m²]."""
    x, y = shapely.get_coordinates(shape)[:-1].T
    far_x, far_y = np.roll(x, -1), np.roll(y, -1)
    part = (x * far_y - far_x * y) / 2
    squares = [part @ (a * a + a * b + b * b) / 6 for a, b in ((x, far_x), (y, far_y))]
    return float(squares[0] / part.sum()), float(squares[1] / part.sum())


def _edge_integrals(sets: _Sets, shape: Polygon, gap_m: float) -> tuple[float, float]:
    """Return by how many times ρ a mean bends over the centre [1/m] and over the heading [m]."""
    length, width = sets.raft_type.length_m, sets.raft_type.width_m
    diagonal = math.hypot(length, width) + gap_m
    squares = (length + gap_m) ** 2 + (width + gap_m) ** 2
    turning = squares / 2 * diagonal / 2 / shape.area
    return float(2 * diagonal / shape.area), float(turning)


def _between(sets: _Sets, poses: _Poses) -> tuple[float, float]:
    """Return by how many times ρ the excess can rise between poses, and by quadrature [m]."""
    raft, wide = _grown_raft(sets.raft_type, sets.gap_m, 0.0)
    own, more = _edge_integrals(sets, raft, 0.0), _edge_integrals(sets, wide, sets.gap_m)
    centre, turning = own[0] + more[0], own[1] + more[1]
    step_m, fine = sets.cell_m / poses.parts, sets.cell_m / _PARTS
    quadrature = fine**2 * (raft.length / raft.area + wide.length / wide.area)
    between = 2 * centre * step_m**2 / 8 + turning * poses.step_rad**2 / 8
    return float(between), float(quadrature)


def _gradient_range(nodes: FloatArray, h: float, radius: int) -> FloatArray:
    """Return half the local range of the worth's gradient, within the padding [1/m]."""
    size = 2 * radius + 1
    halves: list[NDArray[np.float64]] = []
    for axis in (0, 1):
        slope = np.diff(nodes, axis=axis, append=np.take(nodes, [-1], axis=axis)) / h
        high = maximum_filter(slope, size, mode="nearest")
        low = minimum_filter(slope, size, mode="nearest")
        halves.append((high - low)[radius:-radius, radius:-radius] / 2)
    out: FloatArray = np.hypot(halves[0], halves[1])
    return out
