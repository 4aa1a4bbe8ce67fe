"""
Simple ways to share out a stock, from the same choices and within the same limits.

What people do without a plan: the same share of every water body covered, or water bodies filled
one after the other, the largest load flowing in first. They show what the allocation is worth, and
they are candidates of it, so that it is never worth less than either.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from geoplan.fleet.allocation import Choices, IntArray, Limits, Selection
from geoplan.grid import BoolArray
from geoplan.site import FloatArray

#: Covers that are tried for the same cover everywhere, most of them where it is thin [1].
_COVERS_TRIED = 200
#: Rounding of sums against limits [unit of the limit].
_ROUNDING = 1e-9


def equal_cover(choices: Choices, cover_pct: FloatArray, limits: Limits) -> IntArray | None:
    """
    Return the selection that covers the same share of every water body, as rafts fit.

    Parameters
    ----------
    choices : Choices
        What may be chosen for each water body.
    cover_pct : ndarray of float, shape (n,)
        Cover with each choice [%].
    limits : Limits
        Sums that must be kept.

    Returns
    -------
    ndarray of int, shape (waters,), or None
        For each water body its best choice of no more cover than the share, and of the shares that
        keep the limits the one worth most; ``None`` where none of those tried keeps them.
    """
    least = _least(choices, cover_pct)
    levels = np.unique(np.quantile(cover_pct, np.linspace(0.0, 1.0, _COVERS_TRIED) ** 2))
    found, most = None, -np.inf
    for level in levels:
        allowed = cover_pct <= np.maximum(level + _ROUNDING, least)
        chosen = _best_of(choices, allowed, cover_pct)
        value = float(choices.value[chosen].sum())
        if value > most and _is_within(choices, chosen, limits):
            found, most = chosen, value
    return found


def inflow_order(
    choices: Choices, cover_pct: FloatArray, load_g_d: FloatArray, limits: Limits
) -> IntArray | None:
    """
    Return the selection that fills water bodies one after the other, most load first.

    Parameters
    ----------
    choices : Choices
        What may be chosen for each water body.
    cover_pct : ndarray of float, shape (n,)
        Cover with each choice [%].
    load_g_d : ndarray of float, shape (waters,)
        Load that flows into each water body [g/d].
    limits : Limits
        Sums that must be kept.

    Returns
    -------
    ndarray of int, shape (waters,), or None
        For each in its turn the choice of most cover that what is left allows, with what the
        others need at least set aside; ``None`` where the limits cannot be kept so.
    """
    waters = len(choices.starts)
    chosen = _best_of(choices, cover_pct <= _least(choices, cover_pct), cover_pct)
    left = limits.most - choices.use[chosen].sum(axis=0)
    ends = np.append(choices.starts[1:], len(choices.value))
    for k in np.argsort(-load_g_d, kind="stable")[:waters]:
        mine = np.arange(choices.starts[k], ends[k])
        more = choices.use[mine] - choices.use[chosen[k]]
        fits = mine[(more <= left + _ROUNDING).all(axis=1)]
        if not len(fits):
            continue
        best = fits[np.lexsort((-choices.value[fits], -cover_pct[fits]))[0]]
        left = left - (choices.use[best] - choices.use[chosen[k]])
        chosen[k] = best
    return chosen if _is_within(choices, chosen, limits) else None


def at_least_as_good(
    found: Selection, choices: Choices, others: Iterator[IntArray | None]
) -> Selection:
    """
    Return the best of a selection and others from the same choices.

    Parameters
    ----------
    found : Selection
        The selection.
    choices : Choices
        What may be chosen for each water body.
    others : iterator of ndarray of int, or None
        Other selections that keep the limits.

    Returns
    -------
    Selection
        That one, or one of the others where it is worth more; bound and prices stay.
    """
    for other in others:
        if other is not None and (value := float(choices.value[other].sum())) > found.value:
            found = replace(found, chosen=other, value=value, bound=max(found.bound, value))
    return found


def _least(choices: Choices, cover_pct: FloatArray) -> FloatArray:
    """Return for each choice the least cover that its water body may have [%]."""
    least: FloatArray = np.minimum.reduceat(cover_pct, choices.starts)[choices.water]
    return least + _ROUNDING


def _best_of(choices: Choices, allowed: BoolArray, cover_pct: FloatArray) -> IntArray:
    """Return for each water body its allowed choice of most cover, of equals the most worth."""
    rank = np.lexsort((choices.value, cover_pct, allowed, choices.water))
    ends = np.append(choices.starts[1:], len(choices.value)) - 1
    best: IntArray = rank[ends]
    return best


def _is_within(choices: Choices, chosen: IntArray, limits: Limits) -> bool:
    """Tell whether a selection keeps the limits."""
    used = choices.use[chosen].sum(axis=0)
    return bool(
        (used <= limits.most + _ROUNDING).all() and (used >= limits.least - _ROUNDING).all()
    )
