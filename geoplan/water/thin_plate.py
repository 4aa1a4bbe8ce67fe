"""
A thin plate on the water, drawn to measurements: as smooth as they allow, cut where land is.

Its stiffness is chosen by leaving whole tracks of the survey out and predicting them.
"""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from scipy.sparse import csc_array, csr_array, diags_array, eye_array

from geoplan.water import FloatArray, IntArray
from geoplan.water.sheet import WaterSheet
from geoplan.water.sparse_system import factored

#: Share of a plate's stiffness that resists stretching, and the pull to zero: enough to settle
#: nodes that no measurement reaches, too little to be seen elsewhere [1].
_STRETCH = 1e-7
_PULL = 1e-9

#: Measurements left out in turn up to which their influence on each other is found at once, and
#: the least pivot of what the others leave open by which they may be taken out of it.
_MOST_AT_ONCE = 500
_LEAST_PIVOT = 1e-4


@dataclass(frozen=True, eq=False)
class Plate:
    """
    A plate that can be drawn to measurements.

    Attributes
    ----------
    weights : csr_array, shape (k, size)
        How much each node counts at each measurement.
    precision_m2 : ndarray of float, shape (k,)
        One over the variance of each measurement [1/m²].
    resistance : csc_array, shape (size, size)
        Bending and a trace of stretching, for a stiffness of one [1/m²].
    known : dict
        Influence of measurements on each other for the stiffness that was last asked for.
    """

    weights: csr_array
    precision_m2: FloatArray
    resistance: csc_array
    known: dict[tuple[float, bytes], FloatArray] = field(default_factory=dict, repr=False)

    def drawn(
        self, value_m: FloatArray, stiffness_m2: float, precision_m2: FloatArray | None = None
    ) -> FloatArray:
        r"""
        Return the plate at the nodes.

        Parameters
        ----------
        value_m : ndarray of float, shape (k,) or (k, j)
            What was measured; each column is drawn by itself [m].
        stiffness_m2 : float
            The λ below, positive [m²].
        precision_m2 : ndarray of float, shape (k,), or None
            Weights other than the plate's own [1/m²].

        Returns
        -------
        ndarray of float, shape (size,) or (size, j)
            Height at nodes and ghosts [m].

        Notes
        -----
        The least of

        .. math:: \sum_i w_i (B z - z_i)^2
            + \lambda \int z_{xx}^2 + 2 z_{xy}^2 + z_{yy}^2 \, dA

        over the water [1]_, B bilinear. No difference is taken across land, so the edge is free:
        the natural condition of a plate. A plane costs nothing and is reproduced.

        References
        ----------
        .. [1] G. Wahba, *Spline Models for Observational Data*, SIAM, 1990, chapter 2.
        """
        precision = self.precision_m2 if precision_m2 is None else precision_m2
        matrix = stiffness_m2 * self.resistance + self._held_by(precision)
        moved = self.weights.T @ (precision * value_m.T).T
        height: FloatArray = factored(matrix).solve(moved)
        return height

    def _held_by(self, precision_m2: FloatArray) -> csc_array:
        """Return how measurements hold the nodes, for any stiffness."""
        pull = _PULL * eye_array(self.resistance.shape[0])
        return csc_array(self.weights.T @ diags_array(precision_m2) @ self.weights + pull)

    @cached_property
    def _held(self) -> csc_array:
        """Return how all measurements hold the nodes."""
        return self._held_by(self.precision_m2)

    def left_out(self, value_m: FloatArray, stiffness_m2: float, fold: IntArray) -> FloatArray:
        r"""
        Return each measurement as predicted without its part of the survey.

        Parameters
        ----------
        value_m : ndarray of float, shape (k,) or (k, j)
            What was measured [m].
        stiffness_m2 : float
            Stiffness of the plate [m²].
        fold : ndarray of int, shape (k,)
            Part of the survey of each; -1: never left out.

        Returns
        -------
        ndarray of float, as ``value_m``
            Predictions, NaN for what is never left out [m].

        Notes
        -----
        With :math:`H = B A^{-1} B^T` of the plate that all measurements hold, W their weights, S a
        part and R the rest, Woodbury's identity gives :math:`(I - H_{SS} W_S)^{-1} H_{SR} W_R z_R`
        for S, without new factors for each part. They are made where very many are left out, or
        where little but the part itself held the plate.
        """
        out = np.full(value_m.shape, np.nan)
        asked = np.flatnonzero(fold >= 0)
        influence = None
        if len(asked) <= _MOST_AT_ONCE:
            influence = self._influence(stiffness_m2, asked)
        for part in np.unique(fold[asked]):
            own = np.flatnonzero(fold == part)
            rest = np.where(fold == part, 0.0, self.precision_m2)
            found = None
            if influence is not None:
                moved = influence[:, fold[asked] == part]
                found = _without(moved[own], self.precision_m2[own], moved.T * rest @ value_m)
            if found is None:
                found = self.weights[own] @ self.drawn(value_m, stiffness_m2, rest)
            out[own] = found
        return out

    def _influence(self, stiffness_m2: float, asked: IntArray) -> FloatArray:
        """Return how far each measurement moves the plate at those asked, by its weight [m²]."""
        key = (stiffness_m2, asked.tobytes())
        if key not in self.known:
            factors = factored(stiffness_m2 * self.resistance + self._held)
            self.known.clear()
            self.known[key] = self.weights @ factors.solve(self.weights[asked].T.toarray())
        return self.known[key]


def _without(
    influence_m2: FloatArray, precision_m2: FloatArray, by_rest_m: FloatArray
) -> FloatArray | None:
    """Return what the rest predicts of a part of the survey; ``None`` where it holds too little."""
    root = np.sqrt(precision_m2)
    left = np.eye(len(root)) - root[:, None] * influence_m2 * root
    try:
        if np.linalg.cholesky(left).diagonal().min() < _LEAST_PIVOT:
            return None
    except np.linalg.LinAlgError:
        return None
    scale = root if by_rest_m.ndim == 1 else root[:, None]
    found: FloatArray = np.linalg.solve(left, scale * by_rest_m) / scale
    return found


def plate_on(
    sheet: WaterSheet, cell_m: float, weights: csr_array, precision_m2: FloatArray
) -> Plate:
    """
    Return a plate on the water.

    Parameters
    ----------
    sheet : WaterSheet
        Nodes and what lies beside each.
    cell_m : float
        Side of a cell [m].
    weights : csr_array, shape (k, size)
        How much each node counts at each measurement.
    precision_m2 : ndarray of float, shape (k,)
        One over the variance of each measurement [1/m²].

    Returns
    -------
    Plate
        The plate.
    """
    bending, stretching = sheet.bending(), sheet.stretching()
    resistance = bending.T @ bending + _STRETCH * (stretching.T @ stretching)
    return Plate(weights, precision_m2, csc_array(resistance / cell_m**2))
