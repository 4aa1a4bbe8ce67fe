r"""
The area bound: no legal plan is worth more, whatever its positions and headings.

Legal rafts, each grown by half the gap, are disjoint sets D inside the allowed region grown by
half the gap. Let a raft of type t with planted area aₜ cost the prices λₜ of what it uses. With
the field f(x) = maxₜ (aₜ (B(x) + δₜ(x)) − λₜ)⁺ / Dₜ, where δₜ corrects for the worth being averaged
over the raft and not over its grown set, every raft's worth is at most λₜ + ∫_D f, so

.. math:: \sum v \le \int f + \sum_j p_j b_j, \qquad \lambda_t = \sum_j p_j u_{jt}

for every set of prices p ≥ 0 of limits bⱼ of which a raft uses uⱼₜ. Prices are searched; each set
is valid.

δ is an upper bound, not a sample: see :mod:`geoplan.placement.averaging`.

Round corners leave water that no raft grown so covers. Rafts may be charged for it too, on top of
|D|, where the field near the shore is raised: see :mod:`geoplan.placement.corner_waste`. The lesser
of the bounds with that charge and without stands.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.ndimage import distance_transform_edt
from scipy.optimize import linprog, minimize_scalar
from shapely.geometry.base import BaseGeometry

from geoplan.cut_cells import cell_coverage
from geoplan.placement.allowed import AllowedRegion, grown
from geoplan.placement.averaging import averaging_excess, grown_polygon_m2
from geoplan.placement.corner_waste import (
    corner_allowance,
    corner_waste_m2,
    shore_raise,
    shore_width_m,
)
from geoplan.placement.patches import Patches, field_integral, patches_of
from geoplan.placement.worth import WorthSurface
from geoplan.site import FloatArray
from geoplan.water import IntArray

#: Slack by which the region of the bound is larger than that of the search: the search draws
#: arcs from outside and keeps a millimetre for rounding, the bound must allow what is legal [m].
SLACK_M = 0.01
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
class Charge:
    """
    What rafts are charged for the water they take.

    Attributes
    ----------
    worth : ndarray of float, shape (types, rows, cols)
        Worth at the nodes, so corrected that its means over what is charged bound a raft's mean
        [unit of the worth].
    paid_m2 : ndarray of float, shape (types,)
        Area that the price of a raft is spread over [m²].
    raised : ndarray of float, shape (rows, cols)
        What the field is multiplied by in each patch between four nodes [1].
    patches : Patches
        The worth so raised, by the patches of the room.
    """

    worth: FloatArray
    paid_m2: FloatArray
    raised: FloatArray
    patches: Patches


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
    charge : Charge
        What rafts are charged for the water they take.
    """

    value: float
    prices: tuple[float, ...]
    charge: Charge


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
        return grown_polygon_m2(self.regions[index].raft_type, self.gap_m)

    def corrected(self, surfaces: Sequence[WorthSurface], *, is_close: bool = False) -> FloatArray:
        """
        Return worths that bound the mean over a raft by the mean over its grown set.

        Parameters
        ----------
        surfaces : sequence of WorthSurface
            Worth for each type, bilinear between the nodes of one grid.
        is_close : bool
            Whether the excess is bounded as closely as it may be, at several times the cost.

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
            out.append(own.nodes + averaging_excess(own, kind, self.gap_m, is_close=is_close))
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
        return self.bound_with(self.plain_charge(corrected, cell_size_m), self.limits)

    def closest(self, surfaces: Sequence[WorthSurface]) -> AreaBound:
        """
        Return the least area bound that is known, rafts charged for their corners' waste or not.

        Parameters
        ----------
        surfaces : sequence of WorthSurface
            Worth for each type, bilinear between the nodes of one grid.

        Returns
        -------
        AreaBound
            Bound on the worth of every legal plan with these limits, for continuous positions
            and headings.
        """
        found = [self.bound_with(charge, self.limits) for charge in self.close_charges(surfaces)]
        return min(found, key=lambda bound: bound.value)

    def close_charges(self, surfaces: Sequence[WorthSurface]) -> tuple[Charge, ...]:
        """
        Return what rafts may be charged for: grown sets, and these with their corners' waste.

        Parameters
        ----------
        surfaces : sequence of WorthSurface
            Worth for each type, bilinear between the nodes of one grid.

        Returns
        -------
        tuple of Charge
            One, or two where rafts' corners leave water; each makes a bound.
        """
        cell_m = surfaces[0].cell_size_m
        corrected = self.corrected(surfaces, is_close=True)
        plain = self.plain_charge(corrected, cell_m)
        types = [region.raft_type for region in self.regions]
        waste_m2 = np.array([corner_waste_m2(kind, self.gap_m) for kind in types])
        if not waste_m2.any():
            return (plain,)
        paid_m2 = plain.paid_m2 + waste_m2
        more = [
            corner_allowance(nodes, cell_m, kind, self.gap_m, area)
            for nodes, kind, area in zip(corrected, types, paid_m2, strict=True)
        ]
        raised = _raised(surfaces[0], self.regions, self.gap_m, self.shares)
        return plain, self._charge(corrected + np.stack(more), paid_m2, raised, cell_m)

    def plain_charge(self, corrected: FloatArray, cell_size_m: float) -> Charge:
        """
        Return the charge of rafts for their grown sets alone.

        Parameters
        ----------
        corrected : ndarray of float, shape (types, rows, cols)
            Corrected worths, from ``corrected`` [unit of the worth].
        cell_size_m : float
            Distance between nodes [m].

        Returns
        -------
        Charge
            For ``bound_with``.
        """
        grown_m2 = np.array([self.grown_m2(index) for index in range(len(self.regions))])
        return self._charge(corrected, grown_m2, np.ones_like(self.union), cell_size_m)

    def _charge(
        self, worth: FloatArray, paid_m2: FloatArray, raised: FloatArray, cell_size_m: float
    ) -> Charge:
        """Return a way to charge with its patches."""
        patches = patches_of(worth, self.shares, self.union * raised, cell_size_m)
        return Charge(worth, paid_m2, raised, patches)

    def bound_with(self, charge: Charge, limits: Sequence[Limit]) -> AreaBound:
        """
        Return the area bound of a way to charge, under other limits than those of the room.

        Parameters
        ----------
        charge : Charge
            The worth and what rafts are charged.
        limits : sequence of Limit
            Sums that are bounded.

        Returns
        -------
        AreaBound
            Bound on the worth of every legal plan with these limits.
        """
        types = [region.raft_type for region in self.regions]
        patches, paid_m2 = charge.patches, charge.paid_m2
        planted_m2 = np.array([t.planted_area_m2 for t in types])
        use = np.array([limit.per_raft for limit in limits]).reshape(-1, len(types))
        most = np.array([limit.most for limit in limits])

        def value(prices: FloatArray) -> float:
            field = field_integral(patches, planted_m2, prices @ use, paid_m2)
            return field + float(prices @ most)

        tried = _candidate_prices(patches, planted_m2, paid_m2, use, most)
        values = [value(prices) for prices in tried]
        best = int(np.argmin(values))
        return AreaBound(values[best], tuple(float(p) for p in tried[best]), charge)


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


def _raised(
    surface: WorthSurface, regions: Sequence[AllowedRegion], gap_m: float, shares: FloatArray
) -> FloatArray:
    """Return what pays near the shore for the waste of corners that lies beyond it."""
    place = (surface.west_m, surface.south_m, surface.cell_size_m)
    raised = np.ones(shares.shape[1:])
    for region, share in zip(regions, shares, strict=True):
        more = shore_raise(region.raft_type, gap_m)
        if more > 0:
            shore = grown(region.region.boundary, shore_width_m(region.raft_type, gap_m))
            inner = shapely.difference(region.region, shore)
            is_shore = (share > 0) & (cell_coverage(inner, *place, share.shape) < 1 - 1e-9)
            np.maximum(raised, np.where(is_shore, 1 + more, 1.0), out=raised)
    return raised


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
    return room.closest(surfaces)


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
