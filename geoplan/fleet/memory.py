"""Memory that is free in a process and that the system does not have back yet."""

import ctypes
import sys
from collections.abc import Callable
from contextlib import suppress
from functools import lru_cache

#: Parameter of ``mallopt`` in the GNU C library: how many heaps there are at most.
_MOST_HEAPS = -8


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


def share_one_heap() -> None:
    """
    Let threads to come share one heap: those that take turns need none of their own.

    What was free in the first would else stay unused beside them, a district that was read in it.
    It holds for the whole process: a matter of the program, not of a library that is called.

    Examples
    --------
    >>> share_one_heap()
    """
    if gives_back():
        with suppress(AttributeError):
            ctypes.CDLL(None).mallopt(_MOST_HEAPS, 1)


@lru_cache(maxsize=1)
def _trim() -> Callable[[int], object] | None:
    """Return the call that does it, where the C library knows one."""
    if sys.platform == "linux":
        with suppress(AttributeError, OSError):
            trim: Callable[[int], object] = ctypes.CDLL(None).malloc_trim
            return trim
    return None
