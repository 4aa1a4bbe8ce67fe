"""Memory that is free in a process and that the system does not have back yet."""

import ctypes
import sys
from collections.abc import Callable
from contextlib import suppress
from functools import lru_cache


def gives_back() -> bool:
    """
    Tell whether a process can give free memory back here.

    Returns
    -------
    bool
        True with the C library of most Linux systems.
    """
    return _trim() is not None


def give_back() -> None:
    """
    Give free memory back to the system, which would else be kept for what comes later.

    Examples
    --------
    >>> give_back()
    """
    trim = _trim()
    if trim is not None:
        trim(0)


@lru_cache(maxsize=1)
def _trim() -> Callable[[int], object] | None:
    """Return the call that does it, where the C library knows one."""
    if sys.platform == "linux":
        with suppress(AttributeError, OSError):
            trim: Callable[[int], object] = ctypes.CDLL(None).malloc_trim
            return trim
    return None
