"""
Numerics of the water: arrays in, arrays out.

Rows run north from the south, columns east from the west. Geometry, files and people are met
elsewhere; what stands here depends on numpy, scipy, numba and contourpy alone.
"""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
