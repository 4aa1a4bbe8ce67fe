r"""
What rafts are worth in one water body: proven from below and from above, for many counts at once.

The load kept back is concave in the planted area, and more area anywhere makes area elsewhere
worth less (the second derivatives are −λᵢGᵢⱼCⱼ − λⱼGⱼᵢCᵢ ≤ 0, G the inverse of the balance). So
with rafts ranked, Sₖ the first k of them, and gᵢ(S) what raft i is worth at the margin with S in
the water,

.. math:: R(S_k) \ge R(S_m) + \sum_{m < i \le k} g_i(S_n), \quad m \le k \le n, \qquad
          R(S_k) \ge R(S_m) - \sum_{k < i \le m} g_i(S_n), \quad n \le k \le m

for every pair of plans that were solved: few solves prove a value for every count. From above,
each area bound with its prices holds for every count: U(n) ≤ c + p·n.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from itertools import pairwise
from typing import Any

import numpy as np

from geoplan.hydraulics import inflow_l_s
from geoplan.placement.allowed import (
    ROUNDING_ROOM_M,
    AllowedRegion,
    Ground,
    Surroundings,
)
from geoplan.placement.benefit import Benefit, Tangent
from geoplan.placement.bound import BoundedRoom, Charge, Limit, bounded_room
from geoplan.placement.place import packed_for, place_benefit, regions_of
from geoplan.placement.rules import GAP, LIMIT_RULES
from geoplan.placement.search import TURNS_DEG, Poses
from geoplan.placement.single_raft import most_of_one
from geoplan.planner import surroundings_of
from geoplan.settings import Settings
from geoplan.site import FloatArray, WaterBody, lock_arrays
from geoplan.treatment import load_benefit

#: Counts up to this are all told; larger ones in steps.
_ALL_UP_TO = 16
_STEPS = 14
#: Shares of the room at which bounds are taken, of the plain tangent and of those of full plans.
_BARE_LEVELS = (0.05, 0.2, 0.5)
_FULL_LEVELS = (0.5, 1.0)
#: Rows for curves run fewer ways than those for plans: they prove what a count is worth at least,
#: and no raft lies by them [°].
_TURNS_DEG = TURNS_DEG[::2]
#: Up to so many types, pairs of them are put side by side.
_MOST_MIXED = 3


@dataclass(frozen=True, eq=False)
class RemovalCurve:
    """
    What rafts are worth in one water body.

    Attributes
    ----------
    water_id : str
        Which.
    unit : str
        Unit of the worth.
    is_load : bool
        True where it is a load kept back, false where it is a worth of places.
    counts : ndarray of float, shape (n, types)
        Rafts of each type in plans that were found; the first has none [1].
    kept : ndarray of float, shape (n,)
        What each is worth at least [unit of the worth].
    cut_constant : ndarray of float, shape (cuts,)
        Constants of the bounds [unit of the worth].
    cut_slope : ndarray of float, shape (cuts, types)
        Their slopes: no plan with n rafts is worth more than constant + slope · n, for any of
        them [unit of the worth per raft].
    room_m2 : float
        Area that rafts may cover, what lies there already taken off [m²].
    pool_m2 : float
        Normal pool [m²].
    inflow_l_s : float
        What flows in [L/s].
    """

    water_id: str
    unit: str
    is_load: bool
    counts: FloatArray
    kept: FloatArray
    cut_constant: FloatArray
    cut_slope: FloatArray
    room_m2: float
    pool_m2: float
    inflow_l_s: float

    def __post_init__(self) -> None:
        """Lock the arrays."""
        lock_arrays(self)

    def __reduce__(self) -> tuple[Any, ...]:
        """Rebuild through the constructor, so that arrays stay locked after pickling."""
        return (RemovalCurve, tuple(getattr(self, part.name) for part in fields(self)))

    @property
    def is_relative(self) -> bool:
        """Tell whether the worth is no measured load: flows assumed, or no load known."""
        return not self.is_load or "relative" in self.unit

    def bound(self, counts: FloatArray) -> float:
        """
        Return what no plan with so many rafts exceeds.

        Parameters
        ----------
        counts : ndarray of float, shape (types,)
            Rafts of each type [1].

        Returns
        -------
        float
            Bound [unit of the worth].
        """
        if not len(self.cut_constant):
            return 0.0
        return float(max(0.0, np.min(self.cut_constant + self.cut_slope @ counts)))


def removal_curve(body: WaterBody, settings: Settings) -> RemovalCurve:
    """
    Return what rafts are worth in a water body, whatever it is allotted.

    Parameters
    ----------
    body : WaterBody
        The water body.
    settings : Settings
        Settings of the site; stock and budget are not looked at.

    Returns
    -------
    RemovalCurve
        Values and bounds.
    """
    return weighed(body, settings)[0]


def weighed(body: WaterBody, settings: Settings) -> tuple[RemovalCurve, Ground]:
    """
    Return what rafts are worth in a water body, and what was found of it on the way.

    Parameters
    ----------
    body : WaterBody
        The water body.
    settings : Settings
        Settings of the site; stock and budget are not looked at.

    Returns
    -------
    RemovalCurve
        Values and bounds.
    Ground
        What the plan of the water body begins with.
    """
    around, _ = surroundings_of(body, settings)
    load, _ = load_benefit(body, settings, around.fields)
    benefit: Benefit = load or place_benefit(around)
    cover = cover_limit(around)
    regions = regions_of(around)
    made = _Curve(benefit, regions, cover, GAP.gap_m(around))
    curve = RemovalCurve(
        water_id=body.water_id,
        unit=benefit.unit,
        is_load=load is not None,
        counts=np.array([counts for counts, _ in made.points]),
        kept=np.array([kept for _, kept in made.points]),
        cut_constant=np.array([constant for constant, _ in made.cuts]),
        cut_slope=np.array([slope for _, slope in made.cuts]).reshape(-1, len(settings.raft)),
        room_m2=cover.most,
        pool_m2=around.edges[1].area_m2,
        inflow_l_s=inflow_l_s(body, settings),
    )
    bare = load.bare() if load else None
    return curve, Ground(around.fields, around.edges, regions, bare)


def cover_limit(around: Surroundings) -> Limit:
    """
    Return what rafts of all types may cover of a water body, the one limit that is its own.

    Parameters
    ----------
    around : Surroundings
        The water body.

    Returns
    -------
    Limit
        Water that a raft of each type covers, and how much all may [m²].
    """
    every = (rule.limits(around, around.settings.raft, {}) for rule in LIMIT_RULES)
    return next(limit for limits in every for limit in limits if limit.name == "cover")


class _Curve:
    """The points and cuts of one water body, as they are found."""

    def __init__(
        self, benefit: Benefit, regions: Sequence[AllowedRegion], cover: Limit, gap_m: float
    ) -> None:
        self.benefit, self.regions, self.cover, self.gap_m = benefit, regions, cover, gap_m
        self.bare = benefit.tangent(())
        none = np.zeros(len(regions))
        self.points: list[tuple[FloatArray, float]] = [(none, 0.0)]
        self.cuts: list[tuple[float, FloatArray]] = []
        self.tangents: list[Tangent] = []
        self.best = none.copy()
        full = [self._alone(index) for index in range(len(regions))]
        if len(regions) <= _MOST_MIXED:
            self._pairs(full)
        # Where there is room and rows find no raft for it, some other way might.
        if any(not region.region.is_empty for region in regions):
            self._bounds([1 if poses is None else len(poses) for poses in full])

    def _worths(self, poses: Poses, index: int, tangent: Tangent) -> FloatArray:
        """Return what each raft is worth at the margin of a plan."""
        kind, surface = poses.raft_type, tangent.surfaces[index]
        under = surface.mean_under(kind, poses.easting_m, poses.northing_m, poses.heading_deg)
        worth: FloatArray = under * kind.planted_area_m2
        return worth

    def _alone(self, index: int) -> Poses | None:
        """Fill the water with one type; add the points of its first rafts, best first."""
        full = self._packed(index, None, _TURNS_DEG)
        if full is None:
            return None
        count = len(full)
        kept = self._proven(full, index)
        if count >= _ALL_UP_TO:
            # Places that hold most rafts are not those where a few are worth most.
            few = self._packed(index, max(1, count // 6), _turns_of(full))
            if few is not None:
                first = self._proven(few, index)
                kept[: len(first)] = np.maximum(kept[: len(first)], first[: count + 1])
        for size in _sizes(count):
            counts = np.zeros(len(self.regions))
            counts[index] = size
            self.points.append((counts, float(kept[size])))
        return full

    def _packed(self, index: int, count: int | None, turns_deg: Sequence[float]) -> Poses | None:
        """Return up to so many rafts of one type where they are worth most, best first."""
        region = self.regions[index]
        if region.region.is_empty:
            return None
        limits = [Limit("cover", "", (region.raft_type.area_m2,), self.cover.most)]
        if count is not None:
            limits.append(Limit("count", "", (1.0,), float(count)))
        gap_m = self.gap_m + ROUNDING_ROOM_M
        found = packed_for([self.bare.surfaces[index]], [region], limits, gap_m, turns_deg)
        if not found or not len(found[0]):
            return None
        worths = self._worths(found[0], index, self.bare)
        self.best[index] = max(self.best[index], worths.max())
        return _taken(found[0], np.argsort(-worths, kind="stable"))

    def _proven(self, poses: Poses, index: int) -> FloatArray:
        """Return what the first k rafts of a plan are worth at least, for every k."""
        count = len(poses)
        solved = {0: (0.0, self._worths(poses, index, self.bare))}
        for size in () if self.benefit.is_linear else sorted({(count + 1) // 2, count}):
            tangent = self.benefit.tangent([_taken(poses, np.arange(size))])
            solved[size] = (tangent.value, self._worths(poses, index, tangent))
            self.tangents.append(tangent)
        return _proven(solved, count)

    def _pairs(self, full: Sequence[Poses | None]) -> None:
        """Put half of one type beside as many of the next as fit, and add parts of that."""
        there = [(k, poses) for k, poses in enumerate(full) if poses is not None and len(poses) > 1]
        for (one, first), (other, _) in pairwise(there):
            self._pair((one, other), (len(first) + 1) // 2)

    def _pair(self, pair: tuple[int, int], half: int) -> None:
        """Add the points of parts of a plan of two types."""
        regions = [self.regions[index] for index in pair]
        limits = [
            Limit("cover", "", tuple(r.raft_type.area_m2 for r in regions), self.cover.most),
            Limit("count", "", (1.0, 0.0), float(half)),
        ]
        surfaces = [self.bare.surfaces[index] for index in pair]
        parts = packed_for(surfaces, regions, limits, self.gap_m + ROUNDING_ROOM_M)
        by_name = {part.raft_type.name: part for part in parts if len(part)}
        if len(by_name) < len(pair):
            return
        tangent = self.benefit.tangent(parts)
        inside, outside = [], []
        for index in pair:
            part = by_name[self.regions[index].raft_type.name]
            bare = self._worths(part, index, self.bare)
            order = np.argsort(-bare, kind="stable")
            inside.append(np.append(0.0, np.cumsum(self._worths(part, index, tangent)[order])))
            outside.append(np.append(np.cumsum(bare[order][::-1])[::-1], 0.0))
        for sizes in _grid(len(inside[0]) - 1, len(inside[1]) - 1):
            least = sum(float(one[k]) for one, k in zip(inside, sizes, strict=True))
            lost = sum(float(one[k]) for one, k in zip(outside, sizes, strict=True))
            counts = np.zeros(len(self.regions))
            counts[list(pair)] = sizes
            self.points.append((counts, max(least, tangent.value - lost)))

    def _bounds(self, most: Sequence[int]) -> None:
        """Add the area bounds at some counts, for the tangents of the plans that were solved."""
        is_few = len(self.regions) <= 2
        room = bounded_room(self.bare.surfaces[0], self.regions, self.gap_m, [self.cover])
        # The plain tangent is tight for few rafts, those of fuller plans for many.
        for tangent in [self.bare, *self.tangents[: 2 if is_few else 1]]:
            surfaces = tangent.surfaces
            charge = room.plain_charge(room.corrected(surfaces), surfaces[0].cell_size_m)
            for level in _BARE_LEVELS if tangent is self.bare else _FULL_LEVELS:
                counts = [float(np.ceil(level * count)) for count in most]
                self._cut(room, tangent, charge, counts)
        if self.best.any():
            self._alone_at_most()

    def _alone_at_most(self) -> None:
        """Add the bound that no raft of many is worth more than one at its best: tight for few."""
        alone = [
            most_of_one(surface, region, float(least))
            for surface, region, least in zip(
                self.bare.surfaces, self.regions, self.best, strict=True
            )
        ]
        if np.isfinite(alone).all():
            self.cuts.append((self.bare.constant, np.array(alone)))

    def _cut(
        self, room: BoundedRoom, tangent: Tangent, charge: Charge, counts: Sequence[float]
    ) -> None:
        """Add the bound that is tight near some counts and holds for all."""
        each = [
            Limit("count", "", tuple(float(k == t) for k in range(len(counts))), counts[t])
            for t in range(len(counts))
        ]
        bound = room.bound_with(charge, (*room.limits, *each))
        slope = np.array(bound.prices[-len(counts) :])
        self.cuts.append((tangent.constant + bound.value - float(slope @ np.array(counts)), slope))


def _turns_of(poses: Poses) -> tuple[float, ...]:
    """Return which way the rows of a plan may run: along its rafts and across them."""
    along = np.unique(np.round(poses.heading_deg % 90.0, 3))
    return tuple(float(turn) for turn in (*along, *(along + 90.0)))


def _taken(poses: Poses, order: Any) -> Poses:
    """Return some rafts, in an order."""
    return Poses(
        poses.raft_type,
        poses.easting_m[order],
        poses.northing_m[order],
        poses.heading_deg[order],
        poses.value[order],
    )


def _proven(solved: dict[int, tuple[float, FloatArray]], count: int) -> FloatArray:
    """Return what the first k rafts are worth at least, for k from 0 to ``count``."""
    kept = np.zeros(count + 1)
    k = np.arange(count + 1)
    is_linear = len(solved) == 1
    sums = {n: np.append(0.0, np.cumsum(worth)) for n, (_, worth) in solved.items()}
    for m, (value, _) in solved.items():
        for n, total in sums.items():
            # Rafts beyond m are worth no less than with all n there; those taken away were worth
            # no more than with the few of n.
            holds = ((m <= k) & (k <= n)) | ((n <= k) & (k <= m)) | is_linear
            kept = np.where(holds, np.maximum(kept, value + total - total[m]), kept)
    best: FloatArray = np.maximum.accumulate(kept)
    return best


def _sizes(count: int) -> list[int]:
    """Return the counts that are told."""
    small = range(1, min(count, _ALL_UP_TO) + 1)
    if count <= _ALL_UP_TO:
        return list(small)
    return sorted({*small, *(round(k) for k in np.geomspace(_ALL_UP_TO, count, _STEPS))})


def _grid(first: int, second: int) -> Iterator[tuple[int, int]]:
    """Yield pairs of counts, few of many."""
    steps = (1, 2, 3, 5, 8, 13, 20, 32, 50, 80)
    for one in sorted({*(k for k in steps if k < first), first}):
        for other in sorted({*(k for k in steps if k < second), second}):
            yield one, other
