"""
Solves the sparse balances of flow and transport, the same one again and again.

Small systems are factored once; large ones are iterated on an algebraic multigrid, which needs a
fraction of the memory. What is added to the diagonal later, such as the sinks of rafts, needs no
new factors: the old ones bring the iteration home in a few steps. Sums are taken in one order, so
that the number of threads changes nothing.
"""

from collections.abc import Callable
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, diags_array
from scipy.sparse.linalg import splu

FloatArray = NDArray[np.float64]
Solve = Callable[[FloatArray], FloatArray]

#: Most unknowns that are factored; beyond, multigrid is as fast and leaner.
MOST_FACTORED = 200_000
#: Residual at which an iteration ends, of the right side [1].
_TIGHT = 1e-13
#: Residual with which a solution is accepted, of the right side and of the sums it comes from [1].
_ACCEPTED = 1e-11
_ROUNDING = 64 * float(np.finfo(float).eps)
_MOST_STEPS = 200
#: Columns that are factored at a time: of so sparse systems few, a quarter faster than the usual.
_PANEL = 2
_COARSEST = 50
#: Right sides whose near solutions are kept.
_MOST_KNOWN = 8


class SparseSystem:
    """
    A system with an M-matrix, ready to be solved.

    Parameters
    ----------
    matrix : sparse array, shape (n, n)
        M-matrix whose pattern is symmetric.
    is_symmetric : bool
        Whether the matrix is.
    most_factored : int
        Most unknowns that are factored; larger systems are iterated.
    """

    def __init__(
        self, matrix: Any, *, is_symmetric: bool = False, most_factored: int = MOST_FACTORED
    ) -> None:
        self._matrix = matrix.tocsr()
        self._is_symmetric = is_symmetric
        self._is_factored = matrix.shape[0] <= most_factored
        self._known: dict[tuple[bool, bytes], FloatArray] = {}

    def solve(
        self,
        right: FloatArray,
        more: FloatArray | None = None,
        *,
        is_adjoint: bool = False,
    ) -> FloatArray:
        """
        Solve the system, or its transpose, with more on its diagonal.

        Parameters
        ----------
        right : ndarray of float, shape (n,)
            Right side [unit of the matrix times that of the solution].
        more : ndarray of float, shape (n,), or None
            What is added to the diagonal, such that it stays an M-matrix; ``None``: nothing [unit
            of the matrix].
        is_adjoint : bool
            Whether the transpose is solved.

        Returns
        -------
        ndarray of float, shape (n,)
            The solution, its residual at most 1e-11 of the right side or at rounding [its unit].
        """
        is_adjoint = is_adjoint and not self._is_symmetric
        added = more if more is not None and np.any(more) else None
        if added is None and self._is_factored:
            return self._first(right, is_adjoint=is_adjoint)
        given = self._transposed if is_adjoint else self._matrix
        matrix = _Heavier(given, added)
        iterate = _conjugate_gradients if self._is_symmetric else _stabilised
        first = self._first(right, is_adjoint=is_adjoint)
        found = iterate(matrix, right, first, self._nearly(is_adjoint=is_adjoint))
        if _is_solved(matrix, found, right):
            return found
        whole = given if added is None else given + diags_array(added, format="csr")
        direct: FloatArray = factored(whole).solve(right)
        return direct

    def _first(self, right: FloatArray, *, is_adjoint: bool) -> FloatArray:
        """Return the near solution for a right side, kept: other rafts ask for the same again."""
        key = (is_adjoint, right.tobytes())
        if key not in self._known:
            while len(self._known) >= _MOST_KNOWN:
                del self._known[next(iter(self._known))]
            self._known[key] = self._nearly(is_adjoint=is_adjoint)(right)
            self._known[key].setflags(write=False)
        return self._known[key]

    def _nearly(self, *, is_adjoint: bool) -> Solve:
        """Return a cheap near solution of the system as it was given."""
        if self._is_factored:
            trans = "T" if is_adjoint else "N"
            return lambda right: self._factors.solve(right, trans=trans)
        return self._adjoint_cycle if is_adjoint else self._cycle

    @cached_property
    def _transposed(self) -> Any:
        """Return the transpose."""
        return self._matrix.T.tocsr()

    @cached_property
    def _factors(self) -> Any:
        """Return the factors of the matrix."""
        return factored(self._matrix)

    @cached_property
    def _cycle(self) -> Solve:
        """Return a multigrid cycle for the matrix."""
        return _multigrid_cycle(self._matrix)

    @cached_property
    def _adjoint_cycle(self) -> Solve:
        """Return a multigrid cycle for the transpose."""
        return _multigrid_cycle(self._transposed)


class _Heavier:
    """A matrix with more on its diagonal, for products alone: it need not be put together."""

    def __init__(self, matrix: Any, added: FloatArray | None) -> None:
        self._matrix, self._added = matrix, added

    def __matmul__(self, vector: FloatArray) -> FloatArray:
        """Return the product with a vector."""
        out: FloatArray = self._matrix @ vector
        return out if self._added is None else out + self._added * vector

    def diagonal(self) -> FloatArray:
        """Return the diagonal."""
        out: FloatArray = self._matrix.diagonal()
        return out if self._added is None else out + self._added


def factored(matrix: Any) -> Any:
    """
    Return the factors of a matrix with symmetric pattern that needs no pivoting.

    Parameters
    ----------
    matrix : sparse array, shape (n, n)
        An M-matrix, or a positive definite one.

    Returns
    -------
    SuperLU
        Its factors, with ``solve``.

    Examples
    --------
    >>> factored(diags_array([2.0, 4.0])).solve(np.ones(2)).tolist()
    [0.5, 0.25]
    """
    return splu(
        matrix.tocsc(),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        panel_size=_PANEL,
        options={"SymmetricMode": True},
    )


def _multigrid_cycle(matrix: Any) -> Solve:
    """Return one cycle of classical multigrid, kept in single precision to halve its memory."""
    import pyamg

    single = csr_matrix(
        (matrix.data.astype(np.float32), matrix.indices, matrix.indptr), shape=matrix.shape
    )
    levels = pyamg.ruge_stuben_solver(single, max_coarse=_COARSEST, interpolation="direct")

    def cycle(right: FloatArray) -> FloatArray:
        size = float(np.abs(right).max(initial=0.0))
        if size == 0.0:
            return np.zeros_like(right)
        scaled = (right / size).astype(np.float32)
        near = levels.solve(scaled, x0=np.zeros_like(scaled), tol=0.0, maxiter=1)
        out: FloatArray = near.astype(float) * size
        return out

    return cycle


def _dot(one: FloatArray, other: FloatArray) -> float:
    """Return the sum of products, in an order that no number of threads changes."""
    return float((one * other).sum())


def _is_solved(matrix: Any, found: FloatArray, right: FloatArray) -> bool:
    """Tell whether a residual is as small as can be asked."""
    rest = right - matrix @ found
    residual = np.sqrt(_dot(rest, rest))
    if not np.isfinite(residual):
        return False
    turned = matrix.diagonal() * np.abs(found)
    limit = max(_ACCEPTED * np.sqrt(_dot(right, right)), _ROUNDING * np.sqrt(_dot(turned, turned)))
    return bool(residual <= limit)


def _conjugate_gradients(
    matrix: Any, right: FloatArray, first: FloatArray, nearly: Solve
) -> FloatArray:
    """Return the solution of a symmetric system by conjugate gradients on near solutions."""
    end = _TIGHT**2 * _dot(right, right)
    found = np.zeros_like(right)
    rest = right.copy()
    near = first
    way = near.copy()
    gain = _dot(rest, near)
    for _ in range(_MOST_STEPS):
        if _dot(rest, rest) <= end or gain <= 0:
            break
        pushed = matrix @ way
        step = gain / _dot(way, pushed)
        found += step * way
        rest -= step * pushed
        near = nearly(rest)
        next_gain = _dot(rest, near)
        way *= next_gain / gain
        way += near
        gain = next_gain
    return found


def _stabilised(matrix: Any, right: FloatArray, first: FloatArray, nearly: Solve) -> FloatArray:
    """
    Return the solution by bi-conjugate gradients, stabilised, on near solutions.

    It ends early where it breaks down, which the caller sees by the residual.

    References
    ----------
    .. [1] H. A. van der Vorst, "Bi-CGSTAB", SIAM J. Sci. Stat. Comput. 13, 631-644, 1992.
    """
    end = _TIGHT * np.sqrt(_dot(right, right))
    found = first
    rest = right - matrix @ found
    shadow = rest.copy()
    way, pushed = np.zeros_like(rest), np.zeros_like(rest)
    gain = step = turn = 1.0
    for _ in range(_MOST_STEPS):
        next_gain = _dot(shadow, rest)
        if np.sqrt(_dot(rest, rest)) <= end or gain == 0.0 or turn == 0.0:
            break
        way = rest + (next_gain / gain) * (step / turn) * (way - turn * pushed)
        gain = next_gain
        near = nearly(way)
        pushed = matrix @ near
        facing = _dot(shadow, pushed)
        if facing == 0.0:
            break
        step = gain / facing
        found = found + step * near
        half = rest - step * pushed
        if np.sqrt(_dot(half, half)) <= end:
            break
        near_half = nearly(half)
        turned = matrix @ near_half
        size = _dot(turned, turned)
        turn = _dot(turned, half) / size if size > 0 else 0.0
        found = found + turn * near_half
        rest = half - turn * turned
    return found
