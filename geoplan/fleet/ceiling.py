r"""
What no plan of a whole district can exceed, whatever its counts, places and headings.

With prices π for the shared limits a district is worth at most what its water bodies are worth
less what they pay, and the limits at those prices. In a water body each area bound c + p·n holds
for every n, so that it is worth at most

.. math:: \max_n \min_k (c_k + (p_k - \pi) \cdot n) - \pi_F F
   \le \min_k \bigl( c_k + A \max_t (p_{kt} - \pi_t)^+ / a_t \bigr) - \pi_F F,

A the area that rafts may cover and aₜ that of a raft, F the cost of setting up; and never less
than nothing. Any prices will do; a few multiples of those of the allocation are tried.

The area bounds of few rafts in much water are wide. At the prices of the allocation a price field
proves more (see `geoplan.fleet.surplus`), and takes the place of what the area bounds say.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geoplan.fleet.allocation import IntArray, Limits
from geoplan.fleet.curves import RemovalCurve
from geoplan.site import FloatArray

#: Multiples of the prices of an allocation that are tried, for the area bounds and for fields.
_MULTIPLES = np.concatenate([[0.0], np.geomspace(0.5, 2.0, 25)])
_RAISED = np.geomspace(1.0, 2.0, 100)
#: How much of the bound may be given away for fewer places that are worth their price.
_AS_GOOD = 1.01


@dataclass(frozen=True, eq=False)
class Ceiling:
    """
    What bounds a district.

    Attributes
    ----------
    curves : sequence of RemovalCurve
        What rafts are worth in each water body.
    scale : ndarray of float, shape (waters,)
        By how much each worth counts; zero for a water body that may have none [1].
    area_m2 : ndarray of float, shape (types,)
        Water that a raft covers [m²].
    setting_up : ndarray of float, shape (waters, limits)
        What the first raft uses beyond itself [unit of the limit].
    use : ndarray of float, shape (waters, types, limits)
        What a raft uses of each limit [unit of the limit].
    limits : Limits
        What all share; only its ``most`` is looked at, which can only raise the bound.
    """

    curves: Sequence[RemovalCurve]
    scale: FloatArray
    area_m2: FloatArray
    setting_up: FloatArray
    use: FloatArray
    limits: Limits

    @cached_property
    def _cuts(self) -> tuple[IntArray, FloatArray, FloatArray, FloatArray]:
        """Return of all area bounds the water body, the constant, the slope and the room."""
        water = np.repeat(np.arange(len(self.curves)), [len(c.cut_constant) for c in self.curves])
        scale = self.scale[water]
        constant = np.concatenate([curve.cut_constant for curve in self.curves]) * scale
        slope = np.concatenate([curve.cut_slope for curve in self.curves]) * scale[:, None]
        return water, constant, slope, np.array([curve.room_m2 for curve in self.curves])[water]

    def usable(self, prices: FloatArray) -> FloatArray:
        """
        Return prices as a bound may take them: those of limits that there are, none below nothing.

        Parameters
        ----------
        prices : ndarray of float, shape (limits,)
            Prices of an allocation [unit of the worth per unit of the limit].

        Returns
        -------
        ndarray of float, shape (limits,)
            The same or nothing [unit of the worth per unit of the limit].
        """
        return np.where(np.isfinite(self.limits.most), np.maximum(prices, 0.0), 0.0)

    def highest(self, prices: FloatArray) -> FloatArray:
        """
        Return the highest multiple of usable prices that still bounds what was found well.

        Parameters
        ----------
        prices : ndarray of float, shape (limits,)
            Prices of an allocation [unit of the worth per unit of the limit].

        Returns
        -------
        ndarray of float, shape (limits,)
            Prices [unit of the worth per unit of the limit].

        Notes
        -----
        Where much water is worth about the same, any price between that of the last raft and that
        of the next one shares a stock out alike. The fewer places are worth it, the less is lost
        where more of them are thought to be there than there are.
        """
        usable = self.usable(prices)
        tried = [usable * multiple for multiple in _RAISED]
        bounds = np.array([self._of_found(paid) for paid in tried])
        chosen: FloatArray = tried[np.flatnonzero(bounds <= bounds.min() * _AS_GOOD)[-1]]
        return chosen

    def _of_found(self, paid: FloatArray) -> float:
        """Return what the prices would prove if no plans were better than those found."""
        surplus = np.zeros(len(self.curves))
        for index, curve in enumerate(self.curves):
            rent = curve.counts @ (self.use[index] @ paid)
            rent += (curve.counts.sum(axis=1) > 0) * float(self.setting_up[index] @ paid)
            surplus[index] = float((self.scale[index] * curve.kept - rent).max())
        return self.bound(surplus + self.setting_up @ paid, paid)

    def surplus(self, paid: FloatArray) -> FloatArray:
        """
        Return what rafts are worth at most beyond what they pay, by the area bounds.

        Parameters
        ----------
        paid : ndarray of float, shape (limits,)
            Usable prices [unit of the worth per unit of the limit].

        Returns
        -------
        ndarray of float, shape (waters,)
            Of each water body, before setting up [unit of the worth].
        """
        out = np.zeros(len(self.curves))
        water, constant, slope, room_m2 = self._cuts
        if len(water):
            gain = np.maximum(slope - (self.use @ paid)[water], 0.0) / self.area_m2
            starts = np.flatnonzero(np.diff(water, prepend=-1))
            each = np.minimum.reduceat(constant + room_m2 * gain.max(axis=1), starts)
            out[water[starts]] = np.maximum(each, 0.0)
        return out

    def bound(self, surplus: FloatArray, paid: FloatArray) -> float:
        """
        Return what no legal plan of the district exceeds, from what none of a water body does.

        Parameters
        ----------
        surplus : ndarray of float, shape (waters,)
            What rafts are worth at most beyond what they pay [unit of the worth].
        paid : ndarray of float, shape (limits,)
            Usable prices at which that holds [unit of the worth per unit of the limit].

        Returns
        -------
        float
            The bound [unit of the worth].
        """
        most = np.where(np.isfinite(self.limits.most), self.limits.most, 0.0)
        return float(np.maximum(surplus - self.setting_up @ paid, 0.0).sum() + most @ paid)

    def by_areas(self, prices: FloatArray) -> float:
        """
        Return the bound by area bounds alone, at the best multiple of some prices.

        Parameters
        ----------
        prices : ndarray of float, shape (limits,)
            Prices to begin from [unit of the worth per unit of the limit].

        Returns
        -------
        float
            The bound [unit of the worth].
        """
        tried = (self.usable(prices) * multiple for multiple in _MULTIPLES)
        return min(self.bound(self.surplus(paid), paid) for paid in tried)
