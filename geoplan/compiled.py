"""
How functions are compiled that only compiled ones call.

A function that nothing in Python calls needs no way in from there, which takes as long to compile
as a short function itself. It is compiled once for each set of types that it is called with: a
plain number in a call is a type of its own, so that `ZERO` stands where one would be passed on.
"""

from typing import Any

import numba
import numpy as np

#: Zero as a number like any other.
ZERO: Any = np.int64(0)
_NO_WAY_IN: Any = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}
#: Compiles a function for others that are compiled; it cannot be called from Python.
inner = numba.njit(cache=True, **_NO_WAY_IN)
