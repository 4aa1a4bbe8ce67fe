r"""
What no plan of a whole district can exceed, whatever its counts, places and headings.

With prices π for the shared limits a district is worth at most what its water bodies are worth
less what they pay, and the limits at those prices. In a water body each area bound c + p·n holds
for every n, so that it is worth at most

.. math:: \max_n \min_k (c_k + (p_k - \pi) \cdot n) - \pi_F F
   \le \min_k \bigl( c_k + A \max_t (p_{kt} - \pi_t)^+ / a_t \bigr) - \pi_F F,

A the area that rafts may cover and aₜ that of a raft, F the cost of setting up; and never less
than nothing. Any prices will do; a few multiples of those of the allocation are tried.
"""

from collections.abc import Sequence

import numpy as np

from geoplan.fleet.allocation import Limits
from geoplan.fleet.curves import RemovalCurve
from geoplan.site import FloatArray

_MULTIPLES = np.concatenate([[0.0], np.geomspace(0.5, 2.0, 25)])


def district_bound(
    curves: Sequence[RemovalCurve],
    scale: FloatArray,
    area_m2: FloatArray,
    setting_up: FloatArray,
    use: FloatArray,
    limits: Limits,
    prices: FloatArray,
) -> float:
    """
    Return what no legal plan of a district exceeds.

    Parameters
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
    prices : ndarray of float, shape (limits,)
        Prices to begin from [unit of the worth per unit of the limit].

    Returns
    -------
    float
        The bound [unit of the worth].
    """
    cuts = [len(curve.cut_constant) for curve in curves]
    with_cuts = np.flatnonzero(np.array(cuts) > 0)
    if not len(with_cuts):
        return 0.0
    water = np.repeat(np.arange(len(curves)), cuts)
    constant = np.concatenate([curve.cut_constant for curve in curves]) * scale[water]
    slope = np.concatenate([curve.cut_slope for curve in curves]) * scale[water][:, None]
    room = np.array([curve.room_m2 for curve in curves])[water]
    starts = np.flatnonzero(np.diff(water, prepend=-1))
    finite = np.isfinite(limits.most)
    most = np.where(finite, limits.most, 0.0)
    usable = np.where(finite, np.maximum(prices, 0.0), 0.0)

    def bound(paid: FloatArray) -> float:
        gain = np.maximum(slope - (use @ paid)[water], 0.0) / area_m2
        each = np.minimum.reduceat(constant + room * gain.max(axis=1), starts)
        return float(np.maximum(each - (setting_up @ paid)[with_cuts], 0.0).sum() + most @ paid)

    return min(bound(usable * multiple) for multiple in _MULTIPLES)
