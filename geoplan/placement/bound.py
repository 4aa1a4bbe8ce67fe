r"""
The area bound: no legal plan is worth more, whatever its positions and headings.

Legal rafts, each grown by half the gap, are disjoint sets D inside the allowed region grown by
half the gap. Let a raft of type t with planted area aₜ cost the prices λₜ of what it uses. With
the field f(x) = maxₜ (aₜ (B(x) + δₜ(x)) − λₜ)⁺ / Dₜ, where δₜ corrects for the worth being averaged
over the raft and not over its grown set, every raft's worth is at most λₜ + ∫_D f, so

.. math:: \sum v \le \int f + \sum_j p_j b_j, \qquad \lambda_t = \sum_j p_j u_{jt}

for every set of prices p ≥ 0 of limits bⱼ of which a raft uses uⱼₜ. Prices are searched; each set
is valid.

δ is an upper bound, not a sample: it is computed at every node and many headings, and what it
can gain between them is bounded by the range of the worth's gradient.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.fft import irfft2, next_fast_len, rfft2
from scipy.ndimage import distance_transform_edt, maximum_filter, minimum_filter
from scipy.optimize import linprog, minimize_scalar
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from geoplan.cut_cells import cell_coverage
from geoplan.placement.allowed import AllowedRegion, grown
from geoplan.placement.bend_kernels import bent_ranges
from geoplan.placement.patches import Patches, field_integral, patches_of
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType, footprints
from geoplan.site import FloatArray
from geoplan.water import IntArray

#: Slack by which the region of the bound is larger than that of the search: the search draws
#: arcs from outside and keeps a millimetre for rounding, the bound must allow what is legal [m].
SLACK_M = 0.01
#: Headings at which the excess of a raft's mean is computed; the set repeats every 180° [°].
_HEADINGS_DEG = tuple(float(heading) for heading in range(0, 180, 15))
#: Share of the worth below which it does not pay to say more closely what lies between.
_LITTLE = 1e-4
_STEP_RAD = math.radians(_HEADINGS_DEG[1])
#: Nodes up to which the spectra of the weights are kept for the next worth of the same water.
_MOST_KNOWN = 65_536
#: Parts of a cell's side in which the weights of the means are integrated; even.
_FINE = 8
#: Share of the worth that must lie beyond the regions, above what lies beside it, to be cut off.
_WORTH_CUTTING = 1e-3


@dataclass(frozen=True)
class Limit:
    """
    A sum over rafts that must not pass a limit.

    Attributes
    ----------
    name : str
        Rule it comes from.
    words : str
        What it limits, for a person.
    per_raft : tuple of float
        What one raft of each type adds, in the order of the types.
    most : float
        Limit of the sum.
    """

    name: str
    words: str
    per_raft: tuple[float, ...]
    most: float


@dataclass(frozen=True, eq=False)
class AreaBound:
    """
    A bound on the worth of every legal plan.

    Attributes
    ----------
    value : float
        No legal plan is worth more [worth of planted m²].
    prices : tuple of float
        Price of each limit: worth that one more unit of it could bring at most.
    """

    value: float
    prices: tuple[float, ...]


def grown_area_m2(length_m: float, width_m: float, gap_m: float) -> float:
    """
    Return the area of a raft grown by half the gap.

    Parameters
    ----------
    length_m, width_m : float
        Sides [m].
    gap_m : float
        Distance between rafts [m].

    Returns
    -------
    float
        Area of the rectangle with a border of half the gap and round corners [m²].

    Examples
    --------
    >>> round(grown_area_m2(4.0, 2.4, 1.0), 3)
    16.785
    """
    return length_m * width_m + (length_m + width_m) * gap_m + math.pi * gap_m**2 / 4


def averaging_excess(surface: WorthSurface, raft_type: RaftType, gap_m: float) -> FloatArray:
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

    Returns
    -------
    ndarray of float, shape (rows, cols)
        At each node, a bound that holds for every raft, in any heading, whose grown set comes
        within a cell of that node (relative) [1].

    Notes
    -----
    E(c, θ), the difference of the two means for a centre and heading, is computed at every node
    and every 15°. Between them it is at most the largest neighbour plus h²/8 of its second
    derivatives in the centre, plus Δ²/8 of that in the heading. Those are integrals of the worth's
    gradient round the sets' edges; a constant gradient drops out of them by symmetry, so half the
    local range of the gradient, ρ, bounds them. A linear gradient is that of a quadratic worth,
    whose E is the same at every centre and a cosine of the heading, in closed form: any may be
    taken off first, and half the range of what is left is far less where the worth bends evenly.
    """
    h = surface.cell_size_m
    reach_m = math.hypot(raft_type.length_m, raft_type.width_m) / 2 + gap_m / 2
    # Reach from a centre to its set, half a cell to its node, and one to the far end of a patch.
    radius = math.ceil(reach_m / h) + 2
    nodes = np.pad(surface.nodes, radius, mode="edge")
    rows, cols = surface.nodes.shape
    size = [next_fast_len(n) for n in nodes.shape]
    spectrum = rfft2(nodes, size)
    known = _spectrum if size[0] * size[1] <= _MOST_KNOWN else _spectrum.__wrapped__
    most = np.full((rows, cols), -np.inf)
    for heading_deg in _HEADINGS_DEG:
        weights = known(raft_type, gap_m, heading_deg, h, radius, tuple(size))
        np.maximum(most, irfft2(spectrum * weights, size)[:rows, :cols], out=most)
    excess = np.maximum(0.0, most + _rise(nodes, raft_type, gap_m, h, radius))
    out: FloatArray = maximum_filter(excess, 2 * radius + 1, mode="nearest")
    return out


def _grown_raft(raft_type: RaftType, gap_m: float, heading_deg: float) -> tuple[Polygon, Polygon]:
    """Return a raft at the origin, and the polygon inside it grown by half the gap."""
    raft = footprints(0.0, 0.0, heading_deg, raft_type.length_m, raft_type.width_m)[0]
    return raft, shapely.buffer(raft, gap_m / 2, quad_segs=16) if gap_m > 0 else raft


@lru_cache(maxsize=512)
def _mean_difference(
    raft_type: RaftType, gap_m: float, heading_deg: float, h: float, radius: int
) -> FloatArray:
    """Return the weights of the nodes in the mean over the raft less that over its grown set."""
    fine = h / _FINE
    cells = (2 * radius + 1) * _FINE
    corner = -cells / 2 * fine
    hat = 1 - np.abs((np.arange(2 * _FINE) + 0.5) / _FINE - 1)
    weights = []
    for shape in _grown_raft(raft_type, gap_m, heading_deg):
        share = cell_coverage(shape, corner, corner, fine, (cells, cells)) / shape.area * fine**2
        padded = np.pad(share, _FINE // 2)
        blocks = np.lib.stride_tricks.sliding_window_view(padded, (2 * _FINE, 2 * _FINE))
        weights.append(np.einsum("ijkl,k,l->ij", blocks[::_FINE, ::_FINE], hat, hat))
    difference: FloatArray = weights[0] - weights[1]
    difference.setflags(write=False)  # shared by all who ask again
    return difference


@lru_cache(maxsize=3 * len(_HEADINGS_DEG))
def _spectrum(
    raft_type: RaftType,
    gap_m: float,
    heading_deg: float,
    h: float,
    radius: int,
    size: tuple[int, int],
) -> NDArray[np.complex128]:
    """Return what turns the spectrum of nodes into that of the differences of means."""
    kernel = _mean_difference(raft_type, gap_m, heading_deg, h, radius)
    # Weights times values, summed: the conjugate turns the convolution into that.
    weights: NDArray[np.complex128] = np.conj(rfft2(kernel, size))
    weights.setflags(write=False)
    return weights


def _rise(
    nodes: FloatArray, raft_type: RaftType, gap_m: float, h: float, radius: int
) -> FloatArray:
    """Return what the excess can rise by between nodes and headings, by the range of gradients."""
    between_m, quadrature_m = _between(raft_type, gap_m, h)
    whole = _gradient_range(nodes, h, radius)
    if between_m * whole.mean() < _LITTLE * np.abs(nodes).mean():
        return np.asarray((between_m + quadrature_m) * whole)
    bent, spread = bent_ranges(nodes, h, radius)
    raft, wide = (_moments_m2(shape) for shape in _grown_raft(raft_type, gap_m, 0.0))
    # E of a quadratic is ¼ times both differences times the cosine of twice the heading.
    turned_m2 = abs((raft[0] - raft[1]) - (wide[0] - wide[1])) * _STEP_RAD**2 / 8
    out: FloatArray = np.minimum(between_m * whole, between_m * bent + turned_m2 * spread)
    return out + quadrature_m * whole


def _moments_m2(shape: Polygon) -> tuple[float, float]:
    """Return the mean squares of both coordinates over a polygon round the origin [m²]."""
    x, y = shapely.get_coordinates(shape)[:-1].T
    far_x, far_y = np.roll(x, -1), np.roll(y, -1)
    part = (x * far_y - far_x * y) / 2
    squares = [part @ (a * a + a * b + b * b) / 6 for a, b in ((x, far_x), (y, far_y))]
    return float(squares[0] / part.sum()), float(squares[1] / part.sum())


def _between(raft_type: RaftType, gap_m: float, h: float) -> tuple[float, float]:
    """Return by how many times ρ the excess can rise between poses, and by quadrature [m]."""
    length, width = raft_type.length_m, raft_type.width_m
    raft, wide = _grown_raft(raft_type, gap_m, 0.0)
    diagonal = math.hypot(length, width)
    edge = 2 * diagonal / raft.area + 2 * (diagonal + gap_m) / wide.area
    turning = diagonal**2 / 2 * (diagonal / 2) / raft.area + (
        ((length + gap_m) ** 2 + (width + gap_m) ** 2) / 2 * (diagonal + gap_m) / 2 / wide.area
    )
    fine = h / _FINE
    quadrature = fine**2 * (raft.length / raft.area + wide.length / wide.area)
    return float(2 * edge * h**2 / 8 + turning * _STEP_RAD**2 / 8), float(quadrature)


def _gradient_range(nodes: FloatArray, h: float, radius: int) -> FloatArray:
    """Return half the local range of the worth's gradient, within the padding [1/m]."""
    size = 2 * radius + 1
    halves = []
    for axis in (0, 1):
        slope = np.diff(nodes, axis=axis, append=np.take(nodes, [-1], axis=axis)) / h
        high = maximum_filter(slope, size, mode="nearest")
        low = minimum_filter(slope, size, mode="nearest")
        halves.append((high - low)[radius:-radius, radius:-radius] / 2)
    out: FloatArray = np.hypot(halves[0], halves[1])
    return out


@dataclass(frozen=True, eq=False)
class BoundedRoom:
    """
    The room of a water body's rafts, ready for the bounds of many worths.

    Attributes
    ----------
    regions : tuple of AllowedRegion
        Where rafts of each type may lie.
    gap_m : float
        Distance between rafts [m].
    limits : tuple of Limit
        Sums that are bounded, over the types in the order of ``regions``.
    shares : ndarray of float, shape (types, rows, cols)
        Share of each patch between four nodes that rafts of a type, grown by half the gap, may
        cover [1].
    union : ndarray of float, shape (rows, cols)
        The same for rafts of any type [1].
    stand_ins : ndarray of int, shape (types, nodes)
        Node whose worth stands for that of each: its own where a raft may lie on it [1].
    """

    regions: tuple[AllowedRegion, ...]
    gap_m: float
    limits: tuple[Limit, ...]
    shares: FloatArray
    union: FloatArray
    stand_ins: IntArray

    def grown_m2(self, index: int) -> float:
        """
        Return the area that the price of a raft is spread over.

        Parameters
        ----------
        index : int
            Which type.

        Returns
        -------
        float
            Of a polygon inside the grown raft [m²].
        """
        return float(_grown_raft(self.regions[index].raft_type, self.gap_m, 0.0)[1].area)

    def corrected(self, surfaces: Sequence[WorthSurface]) -> FloatArray:
        """
        Return worths that bound the mean over a raft by the mean over its grown set.

        Parameters
        ----------
        surfaces : sequence of WorthSurface
            Worth for each type, bilinear between the nodes of one grid.

        Returns
        -------
        ndarray of float, shape (types, rows, cols)
            Worth and its averaging excess; averages of such arrays bound averages of worths,
            since the excess is sublinear [unit of the worth].
        """
        out = []
        for index, surface in enumerate(surfaces):
            own = replace(surface, nodes=self._under_rafts(surface.nodes, index))
            kind = self.regions[index].raft_type
            out.append(own.nodes + averaging_excess(own, kind, self.gap_m))
        return np.stack(out)

    def _under_rafts(self, nodes: FloatArray, index: int) -> FloatArray:
        """
        Return the worth as rafts of a type can have it.

        No raft lies on the half gap beyond its region, so that what is worth more there counts for
        nothing: the worth beside it bounds as well. That makes creases, which an average over a
        raft exceeds by more, and is done where there is something to gain.
        """
        lower = np.minimum(nodes, nodes.ravel()[self.stand_ins[index]].reshape(nodes.shape))
        share = self.shares[index]
        cut = float((share * (nodes - lower)[:-1, :-1]).sum())
        return lower if cut > _WORTH_CUTTING * float((share * nodes[:-1, :-1]).sum()) else nodes

    def bound(self, corrected: FloatArray, cell_size_m: float) -> AreaBound:
        """
        Return the area bound with the best prices found.

        Parameters
        ----------
        corrected : ndarray of float, shape (types, rows, cols)
            Corrected worths [unit of the worth].
        cell_size_m : float
            Distance between nodes [m].

        Returns
        -------
        AreaBound
            Bound on the worth of every legal plan with these limits, for continuous positions
            and headings.
        """
        return self.bound_with(self.patches(corrected, cell_size_m), self.limits)

    def patches(self, corrected: FloatArray, cell_size_m: float) -> Patches:
        """
        Return a worth as bounds with any limits take it.

        Parameters
        ----------
        corrected : ndarray of float, shape (types, rows, cols)
            Corrected worths [unit of the worth].
        cell_size_m : float
            Distance between nodes [m].

        Returns
        -------
        Patches
            For ``bound_with``.
        """
        return patches_of(corrected, self.shares, self.union, cell_size_m)

    def bound_with(self, patches: Patches, limits: Sequence[Limit]) -> AreaBound:
        """
        Return the area bound under other limits than those of the room.

        Parameters
        ----------
        patches : Patches
            The worth, as ``patches`` has it.
        limits : sequence of Limit
            Sums that are bounded.

        Returns
        -------
        AreaBound
            Bound on the worth of every legal plan with these limits.
        """
        types = [region.raft_type for region in self.regions]
        grown_m2 = np.array([self.grown_m2(index) for index in range(len(types))])
        planted_m2 = np.array([t.planted_area_m2 for t in types])
        use = np.array([limit.per_raft for limit in limits]).reshape(-1, len(types))
        most = np.array([limit.most for limit in limits])

        def value(prices: FloatArray) -> float:
            field = field_integral(patches, planted_m2, prices @ use, grown_m2)
            return field + float(prices @ most)

        tried = _candidate_prices(patches, planted_m2, grown_m2, use, most)
        values = [value(prices) for prices in tried]
        best = int(np.argmin(values))
        return AreaBound(values[best], tuple(float(p) for p in tried[best]))


def bounded_room(
    surface: WorthSurface,
    regions: Sequence[AllowedRegion],
    gap_m: float,
    limits: Sequence[Limit],
) -> BoundedRoom:
    """
    Return the room of rafts with the exact shares of the patches of a grid.

    Parameters
    ----------
    surface : WorthSurface
        A surface on that grid.
    regions : sequence of AllowedRegion
        Where rafts of each type may lie.
    gap_m : float
        Distance between rafts [m].
    limits : sequence of Limit
        Sums that are bounded, over the types in the order of ``regions``.

    Returns
    -------
    BoundedRoom
        Ready to bound worths on that grid.
    """
    shape = (surface.nodes.shape[0] - 1, surface.nodes.shape[1] - 1)
    west, south, h = surface.west_m, surface.south_m, surface.cell_size_m
    frame = shapely.box(west, south, west + shape[1] * h, south + shape[0] * h)
    wide = [
        shapely.intersection(grown(region.region, gap_m / 2 + SLACK_M), frame) for region in regions
    ]
    shares = np.stack([cell_coverage(area, west, south, h, shape) for area in wide])
    union = (
        shares[0]
        if len(wide) == 1
        else cell_coverage(shapely.union_all(wide), west, south, h, shape)
    )
    stand_ins = np.stack([_stand_ins(surface, region.region) for region in regions])
    return BoundedRoom(tuple(regions), gap_m, tuple(limits), shares, union, stand_ins)


def _stand_ins(surface: WorthSurface, region: BaseGeometry) -> IntArray:
    """Return for each node the nearest whose worth a raft in the region may be given."""
    rows, cols = surface.nodes.shape
    lain = np.zeros((rows, cols), bool)
    if not region.is_empty:
        place = (surface.west_m, surface.south_m, surface.cell_size_m)
        touched = cell_coverage(grown(region, SLACK_M), *place, (rows - 1, cols - 1)) > 0
        for up in (0, 1):
            for right in (0, 1):
                lain[up : rows - 1 + up, right : cols - 1 + right] |= touched
    if not lain.any():
        return np.arange(rows * cols)
    row, col = distance_transform_edt(~lain, return_distances=False, return_indices=True)
    nearest: IntArray = (row.astype(np.int64) * cols + col).ravel()
    return nearest


def area_bound(
    surfaces: Sequence[WorthSurface],
    regions: Sequence[AllowedRegion],
    gap_m: float,
    limits: Sequence[Limit],
) -> AreaBound:
    """
    Return the area bound with the best prices found.

    Parameters
    ----------
    surfaces : sequence of WorthSurface
        Worth for each type, bilinear between the nodes of one grid.
    regions : sequence of AllowedRegion
        Where rafts of each type may lie.
    gap_m : float
        Distance between rafts [m].
    limits : sequence of Limit
        Sums that are bounded, over the types in the order of ``regions``.

    Returns
    -------
    AreaBound
        Bound on the worth of every legal plan with these limits, for continuous positions and
        headings.

    Notes
    -----
    Within a patch, (B − b)⁺ of a bilinear B is at most the mean of its corners (convexity); on
    the region's edge the largest corner times the exact covered area is taken.
    """
    room = bounded_room(surfaces[0], regions, gap_m, limits)
    return room.bound(room.corrected(surfaces), surfaces[0].cell_size_m)


def _candidate_prices(
    patches: Patches,
    planted_m2: FloatArray,
    grown_m2: FloatArray,
    use: FloatArray,
    most: FloatArray,
) -> list[FloatArray]:
    """Return prices worth trying, found on classes of worth; any of them gives a valid bound."""
    area, worth = patches.classes
    rays = [np.diag(np.full(len(most), 1.0))[k] for k in range(len(most)) if use[k].any()]
    if len(planted_m2) > 1:
        rays.append(_program_prices(area, worth, planted_m2, grown_m2, use, most))
    best = float(worth.max(initial=0.0))
    found = [np.zeros(len(most))]
    for ray in rays:
        rent = ray @ use
        if not rent.any() or best <= 0:
            continue
        if len(planted_m2) == 1:
            breaks, slopes = planted_m2[0] * worth[0] / rent[0], area * rent[0] / grown_m2[0]
            share = _least_share(breaks, slopes, float(ray @ most))
        else:
            # At this share of the ray the best place is worth no more than the rent.
            top = best * float(np.max(planted_m2[rent > 0] / rent[rent > 0]))

            def rough(share: float, ray: FloatArray = ray, rent: FloatArray = rent) -> float:
                height = (planted_m2[:, None] * worth - share * rent[:, None]) / grown_m2[:, None]
                return float(np.maximum(height.max(axis=0), 0.0) @ area + share * (ray @ most))

            near = {"xatol": 1e-7 * top}
            share = minimize_scalar(rough, bounds=(0.0, top), method="bounded", options=near).x
        found += [ray, float(share) * ray]
    return found


def _least_share(breaks: FloatArray, slopes: FloatArray, most: float) -> float:
    """Return where Σ slope (break − share)⁺ + most · share is least, over shares not negative."""
    order = np.argsort(-breaks, kind="stable")
    # Below the k-th break from above, the first k classes fall as the share rises.
    first = int(np.searchsorted(np.cumsum(slopes[order]), most))
    return max(float(breaks[order[first]]), 0.0) if first < len(order) else 0.0


def _program_prices(
    area: FloatArray,
    worth: FloatArray,
    planted_m2: FloatArray,
    grown_m2: FloatArray,
    use: FloatArray,
    most: FloatArray,
) -> FloatArray:
    """Return the best prices for the worth in classes, by a linear programme."""
    types, count = worth.shape
    # z ≥ (a B − rent)/D for each class and type, in the prices and one z a class.
    rows = np.zeros((count * types, len(most) + count))
    for index in range(types):
        block = slice(index * count, (index + 1) * count)
        rows[block, : len(most)] = -use[:, index] / grown_m2[index]
        rows[block, len(most) :] = -np.eye(count)
    limit = -(planted_m2[:, None] * worth / grown_m2[:, None]).ravel()
    found = linprog(np.concatenate([most, area]), A_ub=rows, b_ub=limit, method="highs")
    prices: FloatArray = found.x[: len(most)] if found.status == 0 else np.zeros(len(most))
    return prices
