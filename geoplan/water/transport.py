"""
What becomes of the load that flows in, and what a square metre of raft would take out of it.

Steady advection, dispersion and settling of a dissolved load, averaged over the depth; rafts are
sinks. One system gives the concentration and its adjoint, the share of a parcel here that would
leave through the outlets; their product is the worth of raft area.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geoplan.water.flow import Faces, FlowField, face_matrix, numbered
from geoplan.water.sparse_system import SparseSystem

FloatArray = NDArray[np.float64]

SECONDS_PER_DAY = 86_400.0
SECONDS_PER_YEAR = 365.0 * SECONDS_PER_DAY


@dataclass(frozen=True, eq=False)
class Transport:
    """
    Concentration and its adjoint.

    Attributes
    ----------
    concentration_g_m3 : ndarray of float, shape (rows, cols)
        Load per volume; NaN off the water [g/m³].
    escape_share : ndarray of float, shape (rows, cols)
        Share of a parcel here that leaves through the outlets; NaN off the water [1].
    load_out_g_s, settled_g_s, removed_g_s : float
        What leaves, settles, and is taken out by rafts [g/s].
    """

    concentration_g_m3: FloatArray
    escape_share: FloatArray
    load_out_g_s: float
    settled_g_s: float
    removed_g_s: float

    def worth_g_m2_d(self, rate_m_yr: float) -> FloatArray:
        """
        Return what another square metre of raft would keep from the outlets.

        Parameters
        ----------
        rate_m_yr : float
            Areal rate of a raft [m/yr].

        Returns
        -------
        ndarray of float, shape (rows, cols)
            Rate times concentration times the share that would escape [g/(m² d)].
        """
        per_day = rate_m_yr / SECONDS_PER_YEAR * SECONDS_PER_DAY
        out: FloatArray = per_day * self.concentration_g_m3 * self.escape_share
        return out


@dataclass(frozen=True, eq=False)
class BareWater:
    """
    What is known of a water body without planned rafts, found once.

    Attributes
    ----------
    potential : ndarray of float, shape (rows, cols)
        Potential of the flow [arbitrary].
    transport : Transport
        Balance of the constituent that the plan takes out, with the rafts that are there already.
    out_g_s : mapping of str to float
        Load of each constituent that leaves where there is no raft at all [g/s].
    """

    potential: FloatArray
    transport: Transport
    out_g_s: Mapping[str, float]


def okubo_dispersion_m2_s(size_m: float) -> float:
    """
    Return the horizontal dispersion of a water body by its size.

    Parameters
    ----------
    size_m : float
        Length scale, such as the root of the area [m].

    Returns
    -------
    float
        Apparent diffusivity [m²/s].

    Notes
    -----
    0.0103 l^1.15 in cgs units [1]_, recalled; fitted from 10 m to 1000 km in the sea. Uncertain by
    a factor of ten.

    References
    ----------
    .. [1] A. Okubo, "Oceanic diffusion diagrams", Deep-Sea Res. 18, 789-802, 1971.

    Examples
    --------
    >>> round(okubo_dispersion_m2_s(100.0), 4)
    0.041
    """
    return float(0.0103 * (size_m * 100.0) ** 1.15 * 1e-4)


@dataclass(frozen=True, eq=False)
class Basin:
    """
    Water through which a load is carried.

    Attributes
    ----------
    flow : FlowField
        Flow through the faces.
    faces : Faces
        Open shares of the faces.
    depth_m : ndarray of float, shape (rows, cols)
        Depth; zero or NaN off the water [m].
    cell_area_m2 : ndarray of float, shape (rows, cols)
        Water surface in each cell [m²].
    outflow_m3_s : ndarray of float, shape (rows, cols)
        Water taken out by outlets, positive [m³/s].
    dispersion_m2_s : float
        Horizontal dispersion [m²/s].
    """

    flow: FlowField
    faces: Faces
    depth_m: FloatArray
    cell_area_m2: FloatArray
    outflow_m3_s: FloatArray
    dispersion_m2_s: float


class Carrier:
    r"""
    Water that carries a load and lets some of it settle, ready for any number of solves.

    Parameters
    ----------
    basin : Basin
        The water, its flow and dispersion.
    settling_m_s : float
        Areal rate of open water [m/s].
    near : Carrier or None
        The same water with another rate, whose factors serve; ``None``: it has its own.

    Raises
    ------
    ValueError
        If settling is negative, or dispersion is not positive.

    Notes
    -----
    Face fluxes are fitted to the exponential profile between two cells [1]_:
    :math:`F = D\,[B(-P)\,C_i - B(P)\,C_j]`, :math:`B(z) = z/(e^z - 1)`, with the face's
    exchange D and Péclet number P. Off-diagonals are never positive and columns sum to what leaves
    the water, so the matrix is an M-matrix and load removed is concave in the rafts.

    References
    ----------
    .. [1] D. L. Scharfetter and H. K. Gummel, "Large-signal analysis of a silicon Read diode
       oscillator", IEEE Trans. Electron Devices 16, 64-77, 1969.
    """

    def __init__(self, basin: Basin, settling_m_s: float, near: "Carrier | None" = None) -> None:
        if settling_m_s < 0 or basin.dispersion_m2_s <= 0:
            raise ValueError("dispersion must be positive, settling not negative")
        self._basin = basin
        self._water = np.nan_to_num(np.asarray(basin.depth_m, float)) > 0
        self._settling = (settling_m_s * basin.cell_area_m2)[self._water]
        self._outflow = np.asarray(basin.outflow_m3_s, float)[self._water]
        # Itself is not held: factors would then lie in memory until cycles are looked for.
        self._other = near

    @property
    def _near(self) -> "Carrier":
        """Return the one whose factors serve."""
        return self if self._other is None else self._other

    @cached_property
    def _system(self) -> SparseSystem:
        """Return the balance without rafts."""
        basin = self._basin
        depth = np.where(self._water, basin.depth_m, 0.0)
        east_d = basin.dispersion_m2_s * (depth[:, :-1] + depth[:, 1:]) / 2 * basin.faces.east
        north_d = basin.dispersion_m2_s * (depth[:-1] + depth[1:]) / 2 * basin.faces.north
        matrix = face_matrix(
            numbered(self._water),
            *_fitted(basin.flow.east_m3_s, east_d),
            *_fitted(basin.flow.north_m3_s, north_d),
        )
        matrix.setdiag(matrix.diagonal() + self._settling + self._outflow)
        return SparseSystem(matrix)

    def _concentration(
        self, source_g_s: FloatArray, raft_m3_s: FloatArray | float
    ) -> tuple[FloatArray, FloatArray]:
        """Return the concentration in cells of water, and the sinks of rafts there."""
        if np.any(np.asarray(raft_m3_s) < 0):
            raise ValueError("rafts must not be negative")
        rafts = np.broadcast_to(np.asarray(raft_m3_s, float), self._water.shape)[self._water]
        source = np.asarray(source_g_s, float)[self._water]
        return self._solve(source, rafts), rafts

    def _solve(
        self, right: FloatArray, rafts: FloatArray, *, is_adjoint: bool = False
    ) -> FloatArray:
        """Solve the balance with rafts, or its adjoint, by the factors that are there."""
        more = rafts + (self._settling - self._near._settling)
        return self._near._system.solve(right, more, is_adjoint=is_adjoint)

    def load_out_g_s(self, source_g_s: FloatArray, raft_m3_s: FloatArray | float = 0.0) -> float:
        """
        Return the load that leaves, without its fields.

        Parameters
        ----------
        source_g_s : ndarray of float, shape (rows, cols)
            Load put in by inflows [g/s].
        raft_m3_s : ndarray of float, shape (rows, cols), or float
            Areal rate of rafts times their planted area in each cell [m³/s].

        Returns
        -------
        float
            Load through the outlets [g/s].

        Raises
        ------
        ValueError
            If rafts are negative.
        """
        return float((self._outflow * self._concentration(source_g_s, raft_m3_s)[0]).sum())

    def solved(self, source_g_s: FloatArray, raft_m3_s: FloatArray | float = 0.0) -> Transport:
        """
        Solve the steady balance of a load, and its adjoint.

        Parameters
        ----------
        source_g_s : ndarray of float, shape (rows, cols)
            Load put in by inflows [g/s].
        raft_m3_s : ndarray of float, shape (rows, cols), or float
            Areal rate of rafts times their planted area in each cell [m³/s].

        Returns
        -------
        Transport
            Fields, and the balance of what comes in.

        Raises
        ------
        ValueError
            If rafts are negative.
        """
        c, rafts = self._concentration(source_g_s, raft_m3_s)
        escape = self._solve(self._outflow, rafts, is_adjoint=True)
        return Transport(
            _on_grid(c, self._water),
            _on_grid(escape, self._water),
            float((self._outflow * c).sum()),
            float((self._settling * c).sum()),
            float((rafts * c).sum()),
        )


def transport(
    basin: Basin,
    source_g_s: FloatArray,
    settling_m_s: float,
    raft_m3_s: FloatArray | float = 0.0,
) -> Transport:
    """
    Solve the steady balance of a load, and its adjoint, once.

    Parameters
    ----------
    basin : Basin
        The water, its flow and dispersion.
    source_g_s : ndarray of float, shape (rows, cols)
        Load put in by inflows [g/s].
    settling_m_s : float
        Areal rate of open water [m/s].
    raft_m3_s : ndarray of float, shape (rows, cols), or float
        Areal rate of rafts times their planted area in each cell [m³/s].

    Returns
    -------
    Transport
        Fields, and the balance of what comes in.

    Raises
    ------
    ValueError
        If a rate is negative, or dispersion is not positive.
    """
    return Carrier(basin, settling_m_s).solved(source_g_s, raft_m3_s)


def _on_grid(values: Any, water: NDArray[np.bool_]) -> FloatArray:
    """Return values of the cells of water on the grid, NaN elsewhere."""
    out = np.full(water.shape, np.nan)
    out[water] = values
    return out


def _fitted(flow: FloatArray, exchange: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return what a cell gives to and takes from its neighbour, per unit of concentration."""
    open_face = exchange > 0
    peclet = np.divide(flow, exchange, out=np.zeros_like(flow), where=open_face)
    give = np.where(open_face, exchange * _bernoulli(-peclet), 0.0)
    take = np.where(open_face, exchange * _bernoulli(peclet), 0.0)
    return give, take


def _bernoulli(z: FloatArray) -> FloatArray:
    """Return z/(e^z − 1), by its series near zero and its limits far from it."""
    small = np.abs(z) < 1e-4
    safe = np.where(small, 1.0, np.clip(z, -700.0, 700.0))
    out: FloatArray = np.where(small, 1 - z / 2 + z * z / 12, safe / np.expm1(safe))
    return out
