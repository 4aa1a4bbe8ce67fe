"""
A thin plate on the water, drawn to measurements: as smooth as they allow, cut where land is.

Its stiffness is chosen by leaving whole tracks of the survey out and predicting them.
"""

from dataclasses import dataclass, field

import numpy as np
from scipy.sparse import csc_array, csr_array, diags_array, eye_array
from scipy.sparse.linalg import splu

from geoplan.water import FloatArray, IntArray
from geoplan.water.sheet import WaterSheet

#: Share of a plate's stiffness that resists stretching, and the pull to zero: enough to settle
#: nodes that no measurement reaches, too little to be seen elsewhere [1].
_STRETCH = 1e-7
_PULL = 1e-9

#: Measurements that are left out, their weights, and how the others hold and move the nodes.
_WithoutPart = tuple[IntArray, csr_array, csr_array, csr_array]


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
        What is left without each part of the survey, by how it is parted, once it was asked for.
    """

    weights: csr_array
    precision_m2: FloatArray
    resistance: csc_array
    known: dict[bytes, list[_WithoutPart]] = field(default_factory=dict, repr=False)

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
        pull, push = self._normal(self.precision_m2 if precision_m2 is None else precision_m2)
        return self._solved(value_m, stiffness_m2, pull, push)

    def _normal(self, precision_m2: FloatArray) -> tuple[csr_array, csr_array]:
        """Return how measurements hold the nodes, and how they move them; for any stiffness."""
        push = csr_array(self.weights.T @ diags_array(precision_m2))
        return csr_array(push @ self.weights + _PULL * eye_array(push.shape[0])), push

    def _solved(
        self, value_m: FloatArray, stiffness_m2: float, pull: csr_array, push: csr_array
    ) -> FloatArray:
        """Return the plate that measurements hold so."""
        matrix = stiffness_m2 * self.resistance + pull
        factors = splu(
            csc_array(matrix),
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )
        height: FloatArray = factors.solve(push @ value_m)
        return height

    def left_out(self, value_m: FloatArray, stiffness_m2: float, fold: IntArray) -> FloatArray:
        """
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
        """
        out = np.full(value_m.shape, np.nan)
        for own, weights, pull, push in self._without_parts(fold):
            out[own] = weights @ self._solved(value_m, stiffness_m2, pull, push)
        return out

    def _without_parts(self, fold: IntArray) -> list[_WithoutPart]:
        """Return for each part of the survey what is left without it; kept for each stiffness."""
        key = fold.tobytes()
        if key not in self.known:
            self.known[key] = [
                (
                    own,
                    self.weights[own],
                    *self._normal(np.where(fold == part, 0.0, self.precision_m2)),
                )
                for part in np.unique(fold[fold >= 0])
                for own in [np.flatnonzero(fold == part)]
            ]
        return self.known[key]


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
