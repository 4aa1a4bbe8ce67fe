"""Rounding to the safe side, so that a page never promises more than the plan."""

import math

#: Room for what binary numbers cannot hold: 1.84 must not become 1.83.
_BINARY = 1e-9


def finite(value: float | None) -> float | None:
    """
    Return a number, or None where it says nothing.

    Parameters
    ----------
    value : float or None
        The number.

    Returns
    -------
    float or None
        The same; None for NaN and infinity.

    Examples
    --------
    >>> finite(1.5), finite(math.nan)
    (1.5, None)
    """
    return value if value is not None and math.isfinite(value) else None


def rounded_down(value: float | None, decimals: int) -> float | None:
    """
    Return a number rounded down.

    Parameters
    ----------
    value : float or None
        The number.
    decimals : int
        Decimals to keep.

    Returns
    -------
    float or None
        Never above the number by more than 1e-9 of the last place; None where it says nothing.

    Examples
    --------
    >>> rounded_down(1.839, 2), rounded_down(1.84, 2), rounded_down(-0.001, 2)
    (1.83, 1.84, -0.01)
    """
    known = finite(value)
    scale = 10**decimals
    return None if known is None else math.floor(known * scale + _BINARY) / scale


def rounded_up(value: float | None, decimals: int) -> float | None:
    """
    Return a number rounded up.

    Parameters
    ----------
    value : float or None
        The number.
    decimals : int
        Decimals to keep.

    Returns
    -------
    float or None
        Never below the number by more than 1e-9 of the last place; None where it says nothing.

    Examples
    --------
    >>> rounded_up(4.211, 2), rounded_up(4.21, 2)
    (4.22, 4.21)
    """
    known = finite(value)
    scale = 10**decimals
    return None if known is None else math.ceil(known * scale - _BINARY) / scale
