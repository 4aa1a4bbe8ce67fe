"""
Flow and transport by finite elements: the audit's own water, apart from the planner's cells.

Triangles between points of a lattice and of the shore, linear functions, depth from the raw
survey. What flows in flows out exactly; what is near an inflow is as coarse as the mesh.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array, diags_array
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu
from scipy.spatial import Delaunay, cKDTree
from shapely.geometry import Polygon

from geoplan.audit.bed import RawBed

FloatArray = NDArray[np.float64]

#: Points of the lattice within a water body, and how much finer it is at its mouths [1].
_NODES = 900
_FINER = 4
#: Depth that is taken at least [m]; power of the depth in the conductance of a unit width [1].
_SHALLOWEST_M = 0.05
_POWER = 5.0 / 3.0


@dataclass(frozen=True, eq=False)
class WaterMesh:
    """
    Triangles of water with steady flow through them.

    Attributes
    ----------
    nodes_m : ndarray of float, shape (n, 2)
        Places, frame [m].
    mesh : Delaunay
        Triangles, some of them on land.
    node_of : ndarray of int, shape (k,)
        Number of each point of ``mesh`` among the nodes of water; -1 where it is none.
    node_area_m2 : ndarray of float, shape (n,)
        Water that belongs to each node [m²].
    exchange : sparse array, shape (n, n)
        What passes between nodes by flow and dispersion [m³/s].
    outflow_m3_s : ndarray of float, shape (n,)
        Water that leaves at each node [m³/s].
    through_m2_s : ndarray of float, shape (triangles, 2)
        Flow over a unit width in each triangle of ``mesh``, to the east and north; zero on land
        [m²/s].
    """

    nodes_m: FloatArray
    mesh: Delaunay
    node_of: NDArray[np.int64]
    node_area_m2: FloatArray
    exchange: Any
    outflow_m3_s: FloatArray
    through_m2_s: FloatArray

    def flow_at(self, places_m: FloatArray) -> FloatArray:
        """
        Return the flow over a unit width at places.

        Parameters
        ----------
        places_m : ndarray of float, shape (k, 2)
            Places, frame [m].

        Returns
        -------
        ndarray of float, shape (k, 2)
            To the east and to the north; zero off the triangles of water [m²/s].
        """
        found = self.mesh.find_simplex(places_m)
        return np.where(found[:, None] >= 0, self.through_m2_s[found], 0.0)

    def weights(self, places_m: FloatArray) -> tuple[NDArray[np.int64], FloatArray]:
        """
        Return the nodes round places, and their shares of what lies there.

        Parameters
        ----------
        places_m : ndarray of float, shape (k, 2)
            Places in the water, frame [m].

        Returns
        -------
        ndarray of int, shape (k, 3)
            Nodes; the nearest one alone where a place lies off the triangles of water.
        ndarray of float, shape (k, 3)
            Shares that sum to 1 [1].
        """
        found = self.mesh.find_simplex(places_m)
        corners = self.node_of[self.mesh.simplices[found]]
        turn = self.mesh.transform[found]
        first = np.einsum("nij,nj->ni", turn[:, :2], places_m - turn[:, 2])
        shares = np.column_stack([first, 1.0 - first.sum(axis=1)])
        lost = (found < 0) | (corners < 0).any(axis=1) | ~np.isfinite(shares).all(axis=1)
        if lost.any():
            nearest = cKDTree(self.nodes_m).query(places_m[lost])[1]
            corners[lost], shares[lost] = nearest[:, None], (1.0, 0.0, 0.0)
        return corners, shares

    def solved(
        self, load: FloatArray, settling_m_s: float, sinks_m3_s: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """
        Return the concentration, and the share of a parcel that leaves by the outlets.

        Parameters
        ----------
        load : ndarray of float, shape (n,)
            Load put in at each node [g/s].
        settling_m_s : float
            Areal rate of open water [m/s].
        sinks_m3_s : ndarray of float, shape (n,)
            Rate of rafts times their area at each node [m³/s].

        Returns
        -------
        ndarray of float, shape (n,)
            Concentration [g/m³].
        ndarray of float, shape (n,)
            Share that escapes [1].
        """
        taken = settling_m_s * self.node_area_m2 + sinks_m3_s + self.outflow_m3_s
        factors = splu((self.exchange + diags_array(taken)).tocsc())
        return factors.solve(load), factors.solve(self.outflow_m3_s, trans="T")


def water_mesh(
    outline: Polygon,
    bed: RawBed,
    level_m: float,
    inflows: tuple[FloatArray, FloatArray],
    outlets: tuple[FloatArray, FloatArray],
    dispersion_m2_s: float,
) -> WaterMesh | None:
    r"""
    Return the water of a body with its steady flow.

    Parameters
    ----------
    outline : Polygon
        Outline, frame [m].
    bed : RawBed
        Bed from the raw survey.
    level_m : float
        Normal level [m].
    inflows, outlets : tuple of ndarray of float, shapes (k, 2) and (k,)
        Places in the frame [m], and flows [m³/s]; both sum to the same.
    dispersion_m2_s : float
        Horizontal dispersion [m²/s].

    Returns
    -------
    WaterMesh or None
        ``None`` where the triangles do not join inflows and outlets.

    Notes
    -----
    Galerkin's method with the dispersion along the flow that makes it exact for one dimension:
    :math:`|u| l / 2 (\coth P - 1/P)` with :math:`P = |u| l / 2 D` and the size l of an element.
    """
    step = float(np.sqrt(outline.area / _NODES))
    mouths = np.concatenate([inflows[0], outlets[0]])
    for finer in (1.0, 2.0, 4.0):
        points = _points(outline, step / finer, mouths)
        mesh = Delaunay(points)
        made = _with_flow(outline, mesh, bed, level_m, inflows, outlets, dispersion_m2_s)
        if made is not None:
            return made
    return None


def _points(outline: Polygon, step_m: float, mouths: FloatArray) -> FloatArray:
    """Return a lattice in the water, finer at mouths, and points along the shore."""
    shore = shapely.get_coordinates(shapely.segmentize(outline.boundary, step_m / 2))
    west, south, east, north = outline.bounds
    inner = _lattice(west, south, east, north, step_m)
    away = cKDTree(mouths).query(inner)[0]
    parts = [inner[away > 2 * step_m]]
    small = step_m / _FINER
    for x, y in mouths:
        reach = 2 * step_m
        parts.append(_lattice(x - reach, y - reach, x + reach, y + reach, small))
    inside = np.concatenate(parts)
    shapely.prepare(outline)
    inside = inside[shapely.contains_xy(outline, inside[:, 0], inside[:, 1])]
    room = shapely.distance(shapely.points(inside), outline.boundary)
    kept = inside[
        room > 0.3 * np.where(cKDTree(mouths).query(inside)[0] > 2 * step_m, step_m, small)
    ]
    return np.unique(np.round(np.concatenate([shore, kept]), 6), axis=0)


def _lattice(west: float, south: float, east: float, north: float, step_m: float) -> FloatArray:
    """Return the points of a lattice, every second row moved by half a step."""
    x = np.arange(west + step_m / 2, east, step_m)
    y = np.arange(south + step_m / 2, north, step_m)
    grid_x, grid_y = np.meshgrid(x, y)
    grid_x = grid_x + np.where(np.arange(len(y)) % 2, step_m / 2, 0.0)[:, None]
    return np.column_stack([grid_x.ravel(), grid_y.ravel()])


def _with_flow(
    outline: Polygon,
    mesh: Delaunay,
    bed: RawBed,
    level_m: float,
    inflows: tuple[FloatArray, FloatArray],
    outlets: tuple[FloatArray, FloatArray],
    dispersion_m2_s: float,
) -> WaterMesh | None:
    """Return the mesh with flow and exchange, if inflows and outlets are joined."""
    places = mesh.points[mesh.simplices]
    middle = places.mean(axis=1)
    wet = shapely.contains_xy(outline, middle[:, 0], middle[:, 1])
    sides = np.roll(places, -1, axis=1) - np.roll(places, 1, axis=1)
    twice = sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0]
    wet &= np.abs(twice) > 1e-9
    used, corners = np.unique(mesh.simplices[wet], return_inverse=True)
    corners = corners.reshape(-1, 3)
    node_of = np.full(len(mesh.points), -1, np.int64)
    node_of[used] = np.arange(len(used))
    nodes, area = mesh.points[used], np.abs(twice[wet]) / 2
    depth = np.maximum(level_m - bed.at(nodes)[0], _SHALLOWEST_M)[corners].mean(axis=1)
    # Gradients of the three linear functions of each triangle.
    slope = np.stack([-sides[wet][..., 1], sides[wet][..., 0]], axis=-1) / twice[wet][:, None, None]

    source, sinks = np.zeros(len(nodes)), np.zeros(len(nodes))
    near = cKDTree(nodes)
    np.add.at(source, near.query(inflows[0])[1], inflows[1])
    np.add.at(sinks, near.query(outlets[0])[1], outlets[1])
    conductance = depth**_POWER
    stiff = np.einsum("eik,ejk->eij", slope, slope) * (area * conductance)[:, None, None]
    pools = connected_components(_assembled(stiff, corners, len(nodes)), directed=False)[1]
    if len(set(pools[(source > 0) | (sinks > 0)].tolist())) != 1:
        return None
    pinned = np.zeros(len(nodes))
    pinned[np.unique(pools, return_index=True)[1]] = 1.0
    system = _assembled(stiff, corners, len(nodes))
    potential = splu((system + diags_array(pinned * stiff.max())).tocsc()).solve(source - sinks)
    through = -conductance[:, None] * np.einsum("eik,ei->ek", slope, potential[corners])
    exchange = _exchange(slope, area, depth, through, dispersion_m2_s)
    node_area = np.zeros(len(nodes))
    np.add.at(node_area, corners, (area / 3)[:, None])
    everywhere = np.zeros((len(mesh.simplices), 2))
    everywhere[wet] = through
    joined = _assembled(exchange, corners, len(nodes))
    return WaterMesh(nodes, mesh, node_of, node_area, joined, sinks, everywhere)


def _exchange(
    slope: FloatArray, area: FloatArray, depth: FloatArray, through: FloatArray, dispersion: float
) -> FloatArray:
    """Return what passes between the corners of each triangle, shape (e, 3, 3)."""
    speed = np.hypot(through[:, 0], through[:, 1])
    # Size of an element along the flow.
    along = np.abs(np.einsum("eik,ek->ei", slope, through)).sum(axis=1)
    size = np.divide(2 * speed, along, out=np.zeros_like(speed), where=along > 0)
    peclet = speed / depth * size / (2 * dispersion)
    safe = np.maximum(peclet, 1e-3)
    fitted = np.where(peclet > 1e-3, 1 / np.tanh(safe) - 1 / safe, peclet / 3)
    extra = np.divide(fitted * size / 2, speed, out=np.zeros_like(speed), where=speed > 0)
    spread = np.einsum("eik,ejk->eij", slope, slope) * (area * depth * dispersion)[:, None, None]
    streamed = np.einsum("eik,ek->ei", slope, through)
    spread += np.einsum("ei,ej->eij", streamed, streamed) * (area * extra)[:, None, None]
    carried = -streamed[:, :, None] * (area / 3)[:, None, None]
    out: FloatArray = spread + carried
    return out


def _assembled(parts: FloatArray, corners: Any, count: int) -> Any:
    """Return the matrix of a mesh from those of its triangles."""
    rows = np.repeat(corners, 3, axis=1).ravel()
    cols = np.tile(corners, (1, 3)).ravel()
    return coo_array((parts.ravel(), (rows, cols)), shape=(count, count)).tocsr()
