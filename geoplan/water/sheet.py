"""
A coarse lattice of nodes on the water that land keeps apart.

Water on two sides of a dyke has two nodes, however narrow the dyke, so that nothing that is
known of one side is carried to the other.
"""

from dataclasses import dataclass

import numba
import numpy as np
from scipy.ndimage import distance_transform_edt
from scipy.sparse import csr_array, vstack

from geoplan.water import BoolArray, FloatArray, IntArray

#: Farthest from the centre of its node that a place is extrapolated to [nodes].
_FARTHEST = 1.5


@dataclass(frozen=True, eq=False)
class WaterSheet:
    """
    Nodes on water: one for each connected piece of water in a square of cells.

    Attributes
    ----------
    span : int
        Cells along the side of a square.
    node_of_cell : ndarray of int, shape (rows, cols)
        Node of each cell; of a cell of land that of the nearest water.
    row, col : ndarray of float, shape (n,)
        Centre of the square of each node, in cells [1].
    beside : ndarray of int, shape (n, 4)
        What lies east, north, west and south of each node: a node with which it shares water, or
        a ghost, numbered from n, that no other node has.
    size : int
        Number of nodes and ghosts.

    Notes
    -----
    A ghost continues the surface for half a square beyond the water's edge. Each belongs to one
    node alone: that is what keeps the two sides of narrow land apart.
    """

    span: int
    node_of_cell: IntArray
    row: FloatArray
    col: FloatArray
    beside: IntArray
    size: int

    def __len__(self) -> int:
        """Return the number of nodes, ghosts left out."""
        return len(self.row)

    def weights(self, row: FloatArray, col: FloatArray) -> csr_array:
        """
        Return how much each node counts at places: bilinear between the four round each.

        Parameters
        ----------
        row, col : ndarray of float, shape (k,)
            Places in cells, the centre of cell (0, 0) at zero [1].

        Returns
        -------
        csr_array, shape (k, size)
            Weights; each row sums to 1, and a plane is reproduced.
        """
        rows, cols = self.node_of_cell.shape
        node = self.node_of_cell[
            np.clip(np.rint(row), 0, rows - 1).astype(np.int64),
            np.clip(np.rint(col), 0, cols - 1).astype(np.int64),
        ]
        east = np.clip((col - self.col[node]) / self.span, -_FARTHEST, _FARTHEST)
        north = np.clip((row - self.row[node]) / self.span, -_FARTHEST, _FARTHEST)
        side, way = np.where(east >= 0, 0, 2), np.where(north >= 0, 1, 3)
        aside, beyond = self.beside[node, side], self.beside[node, way]
        u, v = np.abs(east), np.abs(north)
        corner = self._corner(node, side, way)
        both = np.where(corner >= 0, u * v, 0.0)
        weight = np.column_stack([1 - u - v + both, u - both, v - both, both])
        index = np.column_stack([node, aside, beyond, np.maximum(corner, 0)])
        start = np.arange(0, 4 * len(node) + 1, 4)
        return csr_array((weight.ravel(), index.ravel(), start), shape=(len(node), self.size))

    def _corner(self, node: IntArray, side: IntArray, way: IntArray) -> IntArray:
        """Return what lies diagonally of nodes, by way of a neighbour that is none of land; -1."""
        aside, beyond = self.beside[node, side], self.beside[node, way]
        count = len(self)
        by_way = np.where(beyond < count, self.beside[np.minimum(beyond, count - 1), side], -1)
        return np.where(aside < count, self.beside[np.minimum(aside, count - 1), way], by_way)

    def bending(self) -> csr_array:
        r"""
        Return differences whose squares sum to the bending of the sheet.

        Returns
        -------
        csr_array, shape (m, size)
            Second differences along both axes, and mixed ones times √2, over the side of a
            square in cells: the sum of squares of ``bending() @ z`` is the integral of
            :math:`z_{xx}^2 + 2 z_{xy}^2 + z_{yy}^2` with lengths in cells.
        """
        count = len(self)
        node = np.arange(count)
        east, north, west, south = self.beside.T
        corner = self._corner(node, np.zeros(count, np.int64), np.ones(count, np.int64))
        is_square = (east < count) & (north < count) & (corner >= 0) & (corner < count)
        parts = [
            _differences([west, node, east], [1.0, -2.0, 1.0], self.size),
            _differences([south, node, north], [1.0, -2.0, 1.0], self.size),
            _differences(
                [node[is_square], east[is_square], north[is_square], corner[is_square]],
                list(np.sqrt(2.0) * np.array([1.0, -1.0, -1.0, 1.0])),
                self.size,
            ),
        ]
        return csr_array(vstack(parts, format="csr")) / self.span

    def stretching(self) -> csr_array:
        """
        Return differences between neighbours, ghosts among them.

        Returns
        -------
        csr_array, shape (m, size)
            First differences.
        """
        node = np.repeat(np.arange(len(self)), 4)
        return _differences([node, self.beside.ravel()], [1.0, -1.0], self.size)


def _differences(index: list[IntArray], weight: list[float], size: int) -> csr_array:
    """Return rows with the same weights at different nodes."""
    count, width = len(index[0]), len(index)
    return csr_array(
        (
            np.tile(np.array(weight), count),
            np.column_stack(index).ravel(),
            np.arange(0, count * width + 1, width),
        ),
        shape=(count, size),
    )


def water_sheet(water: BoolArray, span: int) -> WaterSheet:
    """
    Return the lattice of nodes on water.

    Parameters
    ----------
    water : ndarray of bool, shape (rows, cols)
        True on the water, in one cell at least.
    span : int
        Cells along the side of a square, one at least.

    Returns
    -------
    WaterSheet
        The nodes.

    Raises
    ------
    ValueError
        If there is no water.

    Examples
    --------
    A dyke of one cell in a square of four parts two nodes:

    >>> pond = np.ones((4, 4), bool)
    >>> pond[:, 2] = False
    >>> len(water_sheet(pond, 4))
    2
    """
    if not water.any():
        raise ValueError("a sheet needs water")
    label, row, col = _pieces(water, span)
    east = _neighbours(label[:, :-1], label[:, 1:], len(row))
    north = _neighbours(label[:-1], label[1:], len(row))
    beside = np.column_stack([east[0], north[0], east[1], north[1]])
    is_ghost = beside < 0
    beside[is_ghost] = len(row) + np.arange(int(is_ghost.sum()))
    nearest = distance_transform_edt(~water, return_distances=False, return_indices=True)
    middle = (span - 1) / 2.0
    return WaterSheet(
        span,
        label[tuple(nearest)],
        (row * span + middle).astype(np.float64),
        (col * span + middle).astype(np.float64),
        beside,
        len(row) + int(is_ghost.sum()),
    )


def _neighbours(one: IntArray, other: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """
    Return what lies ahead of each node and behind it, -1 where nothing does.

    Of several pieces of water that touch a node on one side, the one that shares most cells of
    the border; two nodes are neighbours where each is that of the other.
    """
    meets = (one >= 0) & (other >= 0) & (one != other)
    pair, shared = np.unique(one[meets].astype(np.int64) * count + other[meets], return_counts=True)
    first, second = pair // count, pair % count
    ahead, behind = np.full(count, -1), np.full(count, -1)
    order = np.lexsort((-pair, shared))  # the last one written counts: most shared, then lowest
    ahead[first[order]] = second[order]
    behind[second[order]] = first[order]
    node = np.arange(count)
    ahead[(ahead >= 0) & (behind[ahead] != node)] = -1
    kept = np.full(count, -1)
    kept[ahead[ahead >= 0]] = node[ahead >= 0]
    return ahead, kept


@numba.njit(cache=True)
def _pieces(water: BoolArray, span: int) -> tuple[IntArray, IntArray, IntArray]:
    """Return the connected piece of water in its square that each cell belongs to."""
    rows, cols = water.shape
    label = np.full((rows, cols), -1, np.int64)
    piece_row = np.empty(rows * cols, np.int64)
    piece_col = np.empty(rows * cols, np.int64)
    todo = np.empty((span * span, 2), np.int64)
    count = 0
    for row in range(rows):
        for col in range(cols):
            if not water[row, col] or label[row, col] >= 0:
                continue
            south, west = row // span * span, col // span * span
            north, east = min(south + span, rows), min(west + span, cols)
            piece_row[count], piece_col[count] = row // span, col // span
            label[row, col] = count
            todo[0, 0], todo[0, 1] = row, col
            waiting = 1
            while waiting > 0:
                waiting -= 1
                r, c = todo[waiting, 0], todo[waiting, 1]
                for k in range(4):
                    a = r + (1 if k == 1 else -1 if k == 3 else 0)
                    b = c + (1 if k == 0 else -1 if k == 2 else 0)
                    inside = south <= a < north and west <= b < east
                    if inside and water[a, b] and label[a, b] < 0:
                        label[a, b] = count
                        todo[waiting, 0], todo[waiting, 1] = a, b
                        waiting += 1
            count += 1
    return label, piece_row[:count].copy(), piece_col[:count].copy()
