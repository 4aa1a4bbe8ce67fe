"""
What a plan is worth, as the search and the bound see it.

A benefit is concave: seen from any plan, its tangent lies above it everywhere. A tangent is linear
in the planted area, so the area bound applies to it, and every average of tangents bounds too.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from geoplan.placement.bound import BoundedRoom
from geoplan.placement.search import Poses
from geoplan.placement.worth import WorthSurface
from geoplan.site import FloatArray

#: Shares of one tangent against another at which their average is tried.
_SHARES = (0.25, 0.5, 0.75)


@dataclass(frozen=True, eq=False)
class Tangent:
    """
    A plan's worth, and the linear worth that touches it there.

    Attributes
    ----------
    value : float
        What the plan is worth [unit of the benefit].
    constant : float
        Worth of the tangent without rafts [unit of the benefit].
    surfaces : tuple of WorthSurface
        Worth of a square metre of planted raft of each type, in the order of the types.
    """

    value: float
    constant: float
    surfaces: tuple[WorthSurface, ...]


class Benefit(Protocol):
    """What plans are worth."""

    @property
    def unit(self) -> str:
        """Return the unit of the worth of a plan."""

    @property
    def is_linear(self) -> bool:
        """Tell whether one tangent is the benefit itself."""

    def tangent(self, poses: Sequence[Poses]) -> Tangent:
        """
        Return the worth of a plan and the tangent there.

        Parameters
        ----------
        poses : sequence of Poses
            Rafts by type; none for the water as it is.

        Returns
        -------
        Tangent
            Worth, and a linear worth that no plan exceeds.
        """


@dataclass(frozen=True, eq=False)
class PlaceBenefit:
    """
    A benefit that is the sum over rafts of what their places are worth.

    Attributes
    ----------
    surfaces : tuple of WorthSurface
        Worth for each type.
    types : tuple of str
        Names of the types, in the same order.
    unit : str
        Unit of the worth of a plan.
    is_linear : bool
        Always true.
    """

    surfaces: tuple[WorthSurface, ...]
    types: tuple[str, ...]
    unit: str
    is_linear: bool = True

    def tangent(self, poses: Sequence[Poses]) -> Tangent:
        """
        Return the worth of a plan; the tangent is the benefit itself.

        Parameters
        ----------
        poses : sequence of Poses
            Rafts by type.

        Returns
        -------
        Tangent
            Worth, and the surfaces.
        """
        value = sum(
            float(
                (
                    self.surfaces[self.types.index(part.raft_type.name)].mean_under(
                        part.raft_type, part.easting_m, part.northing_m, part.heading_deg
                    )
                    * part.raft_type.planted_area_m2
                ).sum()
            )
            for part in poses
            if len(part)
        )
        return Tangent(value, 0.0, self.surfaces)


def average(tangents: Sequence[Tangent], shares: Sequence[float]) -> Tangent:
    """
    Return the average of tangents, itself a bound on every plan.

    Parameters
    ----------
    tangents : sequence of Tangent
        Tangents of one benefit.
    shares : sequence of float
        Shares that sum to 1 [1].

    Returns
    -------
    Tangent
        Average; its ``value`` is of no plan and not a number.
    """
    surfaces = []
    for index, first in enumerate(tangents[0].surfaces):
        nodes = sum(
            share * tangent.surfaces[index].nodes
            for share, tangent in zip(shares, tangents, strict=True)
        )
        surfaces.append(
            WorthSurface(first.west_m, first.south_m, first.cell_size_m, np.asarray(nodes))
        )
    constant = sum(s * t.constant for s, t in zip(shares, tangents, strict=True))
    return Tangent(float("nan"), float(constant), tuple(surfaces))


def tightest(
    tangents: Sequence[Tangent], corrected: Sequence[FloatArray], room: BoundedRoom
) -> tuple[float, Tangent]:
    """
    Return the best bound that averages of tangents give, and the average that gives it.

    Parameters
    ----------
    tangents : sequence of Tangent
        Tangents of one benefit; the first is that of the water as it is.
    corrected : sequence of ndarray of float
        Their corrected worths, as ``room`` makes them [unit of the benefit a m²].
    room : BoundedRoom
        Where rafts may lie.

    Returns
    -------
    float
        No plan is worth more [unit of the benefit].
    Tangent
        The average, whose surfaces are the next to pack for.

    Notes
    -----
    Pairs of the last tangent with each earlier one are tried at a few shares. Every average bounds,
    so that any choice is valid.
    """
    best, shares = _best(tangents, corrected, room)
    used = [k for k, share in enumerate(shares) if share > 0]
    return best, average([tangents[k] for k in used], [shares[k] for k in used])


def best_shares(
    tangents: Sequence[Tangent], corrected: Sequence[FloatArray], room: BoundedRoom
) -> tuple[float, ...]:
    """
    Return the shares of tangents in the average that bounds best.

    Parameters
    ----------
    tangents : sequence of Tangent
        Tangents of one benefit; the first is that of the water as it is.
    corrected : sequence of ndarray of float
        Their corrected worths, as ``room`` makes them [unit of the benefit a m²].
    room : BoundedRoom
        Where rafts may lie.

    Returns
    -------
    tuple of float
        One share for each tangent; they sum to 1 [1].
    """
    return _best(tangents, corrected, room)[1]


def _best(
    tangents: Sequence[Tangent], corrected: Sequence[FloatArray], room: BoundedRoom
) -> tuple[float, tuple[float, ...]]:
    """Return the least bound of the averages that are tried, and its shares."""
    last = len(tangents) - 1
    tries = [{last: 1.0}]
    tries += [{other: 1.0 - share, last: share} for other in range(last) for share in _SHARES]
    cell_m = tangents[0].surfaces[0].cell_size_m
    best, chosen = np.inf, tries[0]
    for shares in tries:
        constant = sum(share * tangents[k].constant for k, share in shares.items())
        mixed = np.sum([share * corrected[k] for k, share in shares.items()], axis=0)
        value = constant + room.bound(mixed, cell_m).value
        if value < best:
            best, chosen = value, shares
    return float(best), tuple(chosen.get(k, 0.0) for k in range(len(tangents)))
