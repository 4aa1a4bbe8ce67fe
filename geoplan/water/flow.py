"""
Depth-averaged steady flow from inflows to outlets.

Water is conducted along falling potential, the better the deeper it is. Volumes are conserved in
each cell to rounding. It knows no jets, momentum, wind, stratification or eddies: a screening of
which way the water goes, not a prediction of speeds.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label
from scipy.sparse import coo_array
from scipy.sparse.linalg import splu

FloatArray = NDArray[np.float64]

#: Power of the depth in the conductance of a unit width; 1 to 3 is the band to show.
DEPTH_EXPONENT = 5.0 / 3.0


@dataclass(frozen=True, eq=False)
class Faces:
    """
    Openings between neighbouring cells.

    Attributes
    ----------
    east : ndarray of float, shape (rows, cols - 1)
        Open share of the face between a cell and its eastern neighbour [1].
    north : ndarray of float, shape (rows - 1, cols)
        Open share of the face between a cell and its northern neighbour [1].
    """

    east: FloatArray
    north: FloatArray


@dataclass(frozen=True, eq=False)
class FlowField:
    """
    Steady flow through the faces of cells.

    Attributes
    ----------
    potential : ndarray of float, shape (rows, cols)
        Potential whose fall drives the flow; NaN off the water [arbitrary].
    east_m3_s : ndarray of float, shape (rows, cols - 1)
        Flow to the eastern neighbour [m³/s].
    north_m3_s : ndarray of float, shape (rows - 1, cols)
        Flow to the northern neighbour [m³/s].
    """

    potential: FloatArray
    east_m3_s: FloatArray
    north_m3_s: FloatArray

    def net_outflow_m3_s(self) -> FloatArray:
        """
        Return what each cell gives to its neighbours more than it takes from them.

        Returns
        -------
        ndarray of float, shape (rows, cols)
            Equals the water put into the cell from outside [m³/s].
        """
        out = np.zeros(self.potential.shape)
        out[:, :-1] += self.east_m3_s
        out[:, 1:] -= self.east_m3_s
        out[:-1, :] += self.north_m3_s
        out[1:, :] -= self.north_m3_s
        return out


def whole_faces(water: NDArray[np.bool_]) -> Faces:
    """
    Return faces that are open wherever both cells are water.

    Parameters
    ----------
    water : ndarray of bool, shape (rows, cols)
        Cells of water.

    Returns
    -------
    Faces
        Ones between cells of water, zeros elsewhere.
    """
    return Faces(
        (water[:, :-1] & water[:, 1:]).astype(float), (water[:-1] & water[1:]).astype(float)
    )


def steady_flow(
    depth_m: FloatArray,
    faces: Faces,
    source_m3_s: FloatArray,
    exponent: float = DEPTH_EXPONENT,
) -> FlowField:
    r"""
    Return the steady flow that carries sources to sinks.

    Parameters
    ----------
    depth_m : ndarray of float, shape (rows, cols)
        Depth of water; zero or NaN off the water [m].
    faces : Faces
        Open shares of the faces.
    source_m3_s : ndarray of float, shape (rows, cols)
        Water put in, negative where it is taken out [m³/s].
    exponent : float
        Power of the depth in the conductance [1].

    Returns
    -------
    FlowField
        Potential and flows.

    Raises
    ------
    ValueError
        If the sources of a pool do not sum to zero, or one lies off the water.

    Notes
    -----
    Five-point finite volumes for :math:`\nabla \cdot (h^p \nabla \phi) = -q`, with the harmonic
    mean of :math:`h^p` on each face, walls without flow.
    """
    depth = np.nan_to_num(np.asarray(depth_m, float))
    water = depth > 0
    if np.any((source_m3_s != 0) & ~water):
        raise ValueError("a source lies off the water")
    conductance = np.where(water, depth, 0.0) ** exponent
    east = _harmonic(conductance[:, :-1], conductance[:, 1:]) * faces.east
    north = _harmonic(conductance[:-1], conductance[1:]) * faces.north
    index = np.full(water.shape, -1)
    index[water] = np.arange(int(water.sum()))
    matrix = face_matrix(index, east, east, north, north)
    pins = _pins(water, faces, source_m3_s)
    diagonal = np.zeros(matrix.shape[0])
    diagonal[index[pins]] = matrix.diagonal().max(initial=1.0)
    system = matrix + coo_array((diagonal, (np.arange(len(diagonal)),) * 2), shape=matrix.shape)
    phi = factorised(system).solve(np.asarray(source_m3_s, float)[water])
    potential = np.full(water.shape, np.nan)
    potential[water] = phi
    known = np.nan_to_num(potential)
    return FlowField(
        potential,
        east * (known[:, :-1] - known[:, 1:]),
        north * (known[:-1] - known[1:]),
    )


def _harmonic(one: FloatArray, other: FloatArray) -> FloatArray:
    """Return the harmonic mean, zero where either is."""
    total = one + other
    return np.divide(2 * one * other, total, out=np.zeros_like(total), where=total > 0)


def pools_of(water: NDArray[np.bool_], faces: Faces) -> Any:
    """
    Return the pool that each cell belongs to.

    Parameters
    ----------
    water : ndarray of bool, shape (rows, cols)
        Cells of water.
    faces : Faces
        Open shares of the faces.

    Returns
    -------
    ndarray of int, shape (rows, cols)
        Number of the pool from 1, cells of one pool joined through open faces; 0 on land [1].
    """
    grown = np.zeros((2 * water.shape[0] - 1, 2 * water.shape[1] - 1), bool)
    grown[::2, ::2] = water
    grown[::2, 1::2] = faces.east > 0
    grown[1::2, ::2] = faces.north > 0
    return label(grown)[0][::2, ::2]


#: A millilitre a second. What flows in at the very place of the outlet cancels out but for
#: rounding, which must not be taken for a flow [m³/s].
_LEAST_FLOW_M3_S = 1e-6


def _pins(water: NDArray[np.bool_], faces: Faces, source_m3_s: FloatArray) -> tuple[Any, ...]:
    """Return one cell of each pool, whose potential is fixed; refuse pools that do not balance."""
    pools = pools_of(water, faces)
    total = np.abs(source_m3_s).sum()
    rows, cols = [], []
    for pool in range(1, int(pools.max(initial=0)) + 1):
        inside = pools == pool
        net = float(source_m3_s[inside].sum())
        if abs(net) > 1e-9 * max(total, _LEAST_FLOW_M3_S):
            raise ValueError(
                f"a pool of {int(inside.sum())} cells gains {net:.3g} m³/s: what flows in must"
                " flow out of the same pool"
            )
        first = int(np.flatnonzero(inside.ravel())[0])
        rows.append(first // water.shape[1])
        cols.append(first % water.shape[1])
    return np.array(rows, int), np.array(cols, int)


def face_matrix(
    index: Any,
    east_out: FloatArray,
    east_in: FloatArray,
    north_out: FloatArray,
    north_in: FloatArray,
) -> Any:
    """
    Return the matrix of exchanges through faces.

    Parameters
    ----------
    index : ndarray of int, shape (rows, cols)
        Number of each cell of water; -1 elsewhere.
    east_out, east_in : ndarray of float, shape (rows, cols - 1)
        What a cell gives to its eastern neighbour per unit of its own value, and takes from it
        per unit of the neighbour's [m³/s].
    north_out, north_in : ndarray of float, shape (rows - 1, cols)
        The same towards the north [m³/s].

    Returns
    -------
    sparse array, shape (cells, cells)
        Row i sums what cell i gives less what it takes; its columns sum to zero.
    """
    rows, cols, values = [], [], []
    for here, there, out, back in (
        (index[:, :-1], index[:, 1:], east_out, east_in),
        (index[:-1], index[1:], north_out, north_in),
    ):
        open_face = (here >= 0) & (there >= 0) & ((out != 0) | (back != 0))
        i, j, give, take = here[open_face], there[open_face], out[open_face], back[open_face]
        rows += [i, i, j, j]
        cols += [i, j, j, i]
        values += [give, -take, take, -give]
    count = int(index.max(initial=-1)) + 1
    return coo_array(
        (np.concatenate(values), (np.concatenate(rows), np.concatenate(cols))),
        shape=(count, count),
    ).tocsc()


def factorised(matrix: Any) -> Any:
    """
    Return the factors of a matrix with symmetric pattern and dominant diagonal.

    Parameters
    ----------
    matrix : sparse array, shape (n, n)
        An M-matrix.

    Returns
    -------
    SuperLU
        Solves with the matrix and with its transpose.
    """
    return splu(
        matrix.tocsc(),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
