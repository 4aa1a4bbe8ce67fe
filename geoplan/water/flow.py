"""
Depth-averaged steady flow from inflows to outlets.

Water is conducted along falling potential, the better the deeper it is. Volumes are conserved in
each cell to rounding. It knows no jets, momentum, wind, stratification or eddies: a screening of
which way the water goes, not a prediction of speeds.
"""

from dataclasses import dataclass
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order

from geoplan.water.sparse_system import MOST_FACTORED, SparseSystem

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
    potential: FloatArray | None = None,
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
    potential : ndarray of float, shape (rows, cols), or None
        Potential that was found before for the very same; ``None``: it is found here [arbitrary].

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
    source = np.asarray(source_m3_s, float)
    water = depth > 0
    if np.any((source != 0) & ~water):
        raise ValueError("a source lies off the water")
    east, north = _conductances(np.where(water, depth, 0.0) ** exponent, faces)
    is_large = int(water.sum()) > MOST_FACTORED
    if potential is None or is_large:
        pinned = _pinned(water, faces, (east, north), source)
        found = balanced(water, (east, north), pinned, source)
        potential = np.where(water, found, np.nan)
    known = np.nan_to_num(potential)
    falling = known[:, :-1] - known[:, 1:], known[:-1] - known[1:]
    flow = FlowField(potential, east * falling[0], north * falling[1])
    if is_large:
        joined = face_matrix(numbered(water), east, east, north, north)
        close_balance(flow, source, joined, numbered(water)[pinned > 0])
    return flow


def _pinned(
    water: NDArray[np.bool_],
    faces: Faces,
    conductances: tuple[FloatArray, FloatArray],
    source_m3_s: FloatArray,
) -> FloatArray:
    """Return what holds one cell of each pool to a potential of zero."""
    pins = _pins(pools_of(water, faces), source_m3_s)
    out = np.zeros(water.shape)
    out.ravel()[pins] = given_away(*conductances).max(initial=1.0)
    return out


def given_away(east: FloatArray, north: FloatArray) -> FloatArray:
    """
    Return the sum of the conductances of each cell's faces.

    Parameters
    ----------
    east : ndarray of float, shape (rows, cols - 1)
        Conductance to the eastern neighbour [any unit].
    north : ndarray of float, shape (rows - 1, cols)
        The same to the northern neighbour [any unit].

    Returns
    -------
    ndarray of float, shape (rows, cols)
        Sum over the four faces, in the unit of the conductances [any unit].

    Examples
    --------
    >>> given_away(np.ones((1, 2)), np.zeros((0, 3))).tolist()
    [[1.0, 2.0, 1.0]]
    """
    out = np.zeros((east.shape[0], north.shape[1]))
    out[:, :-1] += east
    out[:, 1:] += east
    out[:-1] += north
    out[1:] += north
    return out


def balanced(
    water: NDArray[np.bool_],
    conductances: tuple[FloatArray, FloatArray],
    beside: FloatArray,
    source: FloatArray,
) -> FloatArray:
    """
    Return the potential whose flow through faces carries sources off.

    Parameters
    ----------
    water : ndarray of bool, shape (rows, cols)
        Cells of water.
    conductances : tuple of ndarray of float
        Those of the faces to the east and to the north [any unit].
    beside : ndarray of float, shape (rows, cols)
        Conductance of each cell to a potential of zero, positive somewhere in each pool [any unit].
    source : ndarray of float, shape (rows, cols)
        What is put into each cell [any unit].

    Returns
    -------
    ndarray of float, shape (rows, cols)
        Potential, zero off the water [unit of the source over that of the conductance].
    """
    east, north = conductances
    matrix = face_matrix(numbered(water), east, east, north, north)
    matrix.setdiag(matrix.diagonal() + beside[water])
    out = np.zeros(water.shape)
    out[water] = SparseSystem(matrix, is_symmetric=True).solve(source[water])
    return out


def close_balance(flow: FlowField, source_m3_s: FloatArray, joined: Any, roots: Any) -> None:
    """
    Change flows so that each cell gives what it takes, to rounding.

    Parameters
    ----------
    flow : FlowField
        Flows whose balance is nearly closed; they are changed in place.
    source_m3_s : ndarray of float, shape (rows, cols)
        Water put in, negative where it is taken out [m³/s].
    joined : sparse array, shape (cells, cells)
        Matrix whose entries join the cells between which water passes.
    roots : ndarray of int
        A cell of each pool, by its number.

    Notes
    -----
    What a cell has too much of is passed on along a tree of faces to the root of its pool, the
    farthest cells first. An iteration leaves a trillionth; this leaves nothing for streamlines
    and loads to lose on the way.
    """
    water = np.isfinite(flow.potential)
    cells = np.flatnonzero(water)
    rest = (source_m3_s - flow.net_outflow_m3_s())[water]
    for root in roots:
        order, before = breadth_first_order(joined, int(root))
        _pass_on(order, before, cells, rest, flow.east_m3_s, flow.north_m3_s)


@numba.njit(cache=True)
def _pass_on(
    order: Any, before: Any, cells: Any, rest: FloatArray, east: FloatArray, north: FloatArray
) -> None:
    """Pass what each cell has too much of to the cell before it, the last cell first."""
    cols = north.shape[1]
    for k in range(len(order) - 1, 0, -1):
        cell, to = order[k], before[order[k]]
        row, col = cells[cell] // cols, cells[cell] % cols
        step = cells[to] - cells[cell]
        if step == 1:
            east[row, col] += rest[cell]
        elif step == -1:
            east[row, col - 1] -= rest[cell]
        elif step == cols:
            north[row, col] += rest[cell]
        else:
            north[row - 1, col] -= rest[cell]
        rest[to] += rest[cell]
        rest[cell] = 0.0


def _conductances(conductance: FloatArray, faces: Faces) -> tuple[FloatArray, FloatArray]:
    """Return the conductances of the faces to the east and to the north."""
    return (
        _harmonic(conductance[:, :-1], conductance[:, 1:]) * faces.east,
        _harmonic(conductance[:-1], conductance[1:]) * faces.north,
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


def numbered(water: NDArray[np.bool_]) -> Any:
    """
    Return the number of each cell of water, row by row.

    Parameters
    ----------
    water : ndarray of bool, shape (rows, cols)
        Cells of water.

    Returns
    -------
    ndarray of int, shape (rows, cols)
        From 0; -1 elsewhere [1].
    """
    index = np.full(water.shape, -1, np.int32)
    index[water] = np.arange(int(water.sum()), dtype=np.int32)
    return index


def _pins(pools: Any, source_m3_s: FloatArray) -> Any:
    """Return one cell of each pool, whose potential is fixed; refuse pools that do not balance."""
    of_cell = pools.ravel()
    net = np.bincount(of_cell, weights=source_m3_s.ravel())
    total = max(float(np.abs(source_m3_s).sum()), _LEAST_FLOW_M3_S)
    faulty = np.flatnonzero(np.abs(net[1:]) > 1e-9 * total) + 1
    if len(faulty):
        raise ValueError(
            f"a pool of {int((of_cell == faulty[0]).sum())} cells gains {net[faulty[0]]:.3g} m³/s:"
            " what flows in must flow out of the same pool"
        )
    names, first = np.unique(of_cell, return_index=True)
    return first[names > 0]


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
        Number of each cell of water, row by row; -1 elsewhere.
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
    # One slot for each neighbour in the order of their numbers, so that rows come out sorted.
    values = np.zeros((*index.shape, 5))
    values[1:, :, 0], values[:, 1:, 1] = -north_out, -east_out
    values[:, :-1, 3], values[:-1, :, 4] = -east_in, -north_in
    values[:, :-1, 2] += east_out
    values[:, 1:, 2] += east_in
    values[:-1, :, 2] += north_out
    values[1:, :, 2] += north_in
    there = np.full(values.shape, -1, np.int32)
    there[1:, :, 0], there[:, 1:, 1] = index[:-1], index[:, :-1]
    there[..., 2] = index
    there[:, :-1, 3], there[:-1, :, 4] = index[:, 1:], index[1:]
    kept = (values != 0) & (there >= 0)
    kept[..., 2] = True
    kept &= (index >= 0)[..., None]
    ends = np.cumsum(kept.sum(axis=2, dtype=np.int32)[index >= 0], dtype=np.int32)
    count = len(ends)
    return csr_array(
        (values[kept], there[kept], np.concatenate([np.zeros(1, np.int32), ends])),
        shape=(count, count),
    )
