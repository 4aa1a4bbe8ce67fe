"""Why a water body gets as many rafts as it does, in words."""

import numpy as np

from geoplan.fleet.curves import RemovalCurve
from geoplan.site import FloatArray, ShareTerms


def why(
    terms: ShareTerms,
    counts: FloatArray,
    curve: RemovalCurve,
    next_worth: float,
    price: float,
    cover_pct: FloatArray,
) -> str:
    """
    Return the reason of a share.

    Parameters
    ----------
    terms : ShareTerms
        On what terms the water body shares.
    counts : ndarray of float, shape (types,)
        What it gets [1].
    curve : RemovalCurve
        What rafts are worth there.
    next_worth : float
        What one more would be worth there [unit of the worth].
    price : float
        What the cheapest raft is worth elsewhere, by the prices of the limits [unit of the worth].
    cover_pct : ndarray of float
        Cover with each plan of the curve [%].

    Returns
    -------
    str
        For a person.
    """
    if terms.wanted == "never":
        return "the site says that no raft is wanted here"
    if curve.counts.sum() == 0:
        return _why_never(curve)
    if counts.sum() == 0:
        return _why_none(terms, curve, next_worth, price, cover_pct)
    must = "must have rafts; " if terms.wanted == "must" else ""
    if next_worth <= 0.0:
        return f"{must}filled: no room or cover is left that more rafts could use"
    if np.isclose(price, 0.0):
        return f"{must}one more would bring {next_worth:.3g}; no whole number of rafts fits better"
    return (
        f"{must}one more would bring {next_worth:.3g} here; the limits make a raft worth"
        f" {price:.3g} elsewhere"
    )


def _why_never(curve: RemovalCurve) -> str:
    """Return why no raft at all was found for a water body."""
    if not len(curve.cut_constant):
        return "there is no room for a raft"
    if curve.room_m2 <= 0.0:
        return "the cover allowed leaves nothing for a raft"
    if curve.bound(np.ones(curve.counts.shape[1])) <= 0.0:
        return "a raft would take out nothing here"
    return "no raft was found that fits into the room and cover there is"


def _why_none(
    terms: ShareTerms,
    curve: RemovalCurve,
    next_worth: float,
    price: float,
    cover_pct: FloatArray,
) -> str:
    """Return why a water body that has room gets nothing."""
    most_pct = cover_pct[curve.counts.sum(axis=1) > 0].max()
    if terms.min_cover_pct > 0 and most_pct < terms.min_cover_pct - 1e-6:
        return (
            f"the least cover of {terms.min_cover_pct:g} % is out of reach: there is room for"
            f" {most_pct:.2f} %"
        )
    setting_up = " and setting up costs" if terms.mobilisation_cost > 0 else ""
    return (
        f"a raft here would bring {next_worth:.3g} at best{setting_up}; the limits make a raft"
        f" worth {price:.3g} elsewhere"
    )
