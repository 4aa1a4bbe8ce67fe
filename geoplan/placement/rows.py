"""
Packing by rows in a turned frame.

A frame is the water turned so that rows run along its first axis. In each strip of a raft's
depth, the stretches free of the region's edge are exact: a raft from one abscissa to another lies
in the region exactly where no edge's shadow on the strip meets it. Rows are filled, and rows are
chosen, by two dynamic programmes at one price per raft.
"""

import math
from dataclasses import dataclass

import numpy as np
from shapely.geometry.base import BaseGeometry

from geoplan.cut_cells import ring_edges
from geoplan.placement.headings import Headings
from geoplan.placement.row_kernels import legal_places
from geoplan.placement.shadow_kernels import mark_worth, running_sums
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType
from geoplan.site import FloatArray

#: Coarsest step between neighbouring positions along and across rows [m].
STEP_M = 0.2


@dataclass(frozen=True, eq=False)
class Frame:
    """
    A turned frame with what a raft is worth at each of its places.

    Attributes
    ----------
    raft_type : RaftType
        The type packed.
    turn_deg : float
        Direction of the rows, clockwise from grid east towards south [°].
    is_across : bool
        True where rafts lie with their long axis across the rows.
    first_m, second_m : float
        Lower left corner of place (0, 0), frame coordinates [m].
    step_along_m, step_across_m : float
        Distance between places along a row and between strips [m].
    places_per_raft, strips_per_row : int
        Steps from one raft, and from one row, to the next.
    value : ndarray of float, shape (strips, places)
        Worth of a raft there; -inf where none may lie [worth of planted m²].
    """

    raft_type: RaftType
    turn_deg: float
    is_across: bool
    first_m: float
    second_m: float
    step_along_m: float
    step_across_m: float
    places_per_raft: int
    strips_per_row: int
    value: FloatArray

    @property
    def along_m(self) -> float:
        """Return the side of the raft along the rows [m]."""
        return self.raft_type.width_m if self.is_across else self.raft_type.length_m

    @property
    def across_m(self) -> float:
        """Return the side of the raft across the rows [m]."""
        return self.raft_type.length_m if self.is_across else self.raft_type.width_m

    @property
    def heading_deg(self) -> float:
        """Return the heading of its rafts, clockwise from grid north, 0 to 180 [°]."""
        return (self.turn_deg + (0.0 if self.is_across else 90.0)) % 180.0

    def positions(self, strips: FloatArray, places: FloatArray) -> tuple[FloatArray, FloatArray]:
        """
        Return the centres of rafts at places of the frame.

        Parameters
        ----------
        strips, places : ndarray of int, shape (n,)
            Indices of strip and place.

        Returns
        -------
        ndarray of float, shape (n,)
            Eastings, working CRS [m].
        ndarray of float, shape (n,)
            Northings, working CRS [m].
        """
        first = self.first_m + places * self.step_along_m + self.along_m / 2
        second = self.second_m + strips * self.step_across_m + self.across_m / 2
        angle = math.radians(self.turn_deg)
        return (
            first * math.cos(angle) + second * math.sin(angle),
            -first * math.sin(angle) + second * math.cos(angle),
        )


def _steps(period_m: float, step_m: float) -> int:
    """Return how many whole steps make a period, so that no room is lost between rafts."""
    return max(1, math.ceil(period_m / step_m - 1e-9))


def frame(
    edges: FloatArray,
    surface: WorthSurface,
    raft_type: RaftType,
    gap_m: float,
    turn_deg: float,
    *,
    is_across: bool,
    step_m: float | tuple[float, float] = STEP_M,
    headings: Headings | None = None,
) -> Frame | None:
    """
    Return the frame of a region turned by an angle, or None where no raft fits.

    Parameters
    ----------
    edges : ndarray of float, shape (n, 4)
        Edges of the region in which the whole raft must lie, from ``turned_edges`` [m].
    surface : WorthSurface
        Worth of planted area.
    raft_type : RaftType
        The type packed.
    gap_m : float
        Distance between rafts [m].
    turn_deg : float
        Direction of the rows, clockwise from grid east [°].
    is_across : bool
        True to lay rafts with their long axis across the rows.
    step_m : float or tuple of float
        Coarsest step between places, with which strips part a raft and its gap into whole parts;
        or such a step along the rows and the very step between strips [m].
    headings : Headings or None
        Which way rafts may lie; ``None``: any.

    Returns
    -------
    Frame or None
        Legal places and what each is worth.
    """
    along = raft_type.width_m if is_across else raft_type.length_m
    across = raft_type.length_m if is_across else raft_type.width_m
    if len(edges) == 0:
        return None
    low = np.minimum(edges[:, :2], edges[:, 2:]).min(axis=0)
    high = np.maximum(edges[:, :2], edges[:, 2:]).max(axis=0)
    step_along_m, strip_m = step_m if isinstance(step_m, tuple) else (step_m, step_m)
    per_raft, per_row = _steps(along + gap_m, step_along_m), _steps(across + gap_m, strip_m)
    dx = (along + gap_m) / per_raft
    dy = strip_m if isinstance(step_m, tuple) else (across + gap_m) / per_row
    places = int((high[0] - low[0] - along) / dx + 1e-9) + 1
    strips = int((high[1] - low[1] - across) / dy + 1e-9) + 1
    if high[0] - low[0] < along or high[1] - low[1] < across:
        return None
    legal = legal_places(edges, low, along, across, dx, dy, strips, places)
    if not legal.any():
        return None
    corner = (float(low[0]), float(low[1]))
    value = _worths(
        surface, raft_type, (along, across), (*corner, dx, dy), (strips, places), turn_deg
    )
    value[~legal] = -np.inf
    made = Frame(raft_type, turn_deg, is_across, *corner, dx, dy, per_raft, per_row, value)
    return made if headings is None else _as_they_may(made, headings)


def _as_they_may(made: Frame, headings: Headings) -> Frame | None:
    """Return a frame with those places alone at which its heading is allowed."""
    strips, places = np.nonzero(np.isfinite(made.value))
    at = made.positions(strips.astype(float), places.astype(float))
    barred = ~headings.allows(made.raft_type, *at, np.full(len(strips), made.heading_deg))
    made.value[strips[barred], places[barred]] = -np.inf
    return None if barred.all() else made


def turned_edges(region: BaseGeometry, turn_deg: float) -> FloatArray:
    """
    Return the edges of a region in the coordinates of a frame.

    Parameters
    ----------
    region : BaseGeometry
        Polygons, working CRS [m].
    turn_deg : float
        Direction of the frame's rows, clockwise from grid east [°].

    Returns
    -------
    ndarray of float, shape (n, 4)
        Start and end of each edge, in the order of their western ends [m].

    Examples
    --------
    >>> import shapely
    >>> turned_edges(shapely.box(0, 0, 2, 1), 90.0).round(9)[0].tolist()
    [-1.0, 2.0, -1.0, 0.0]
    """
    angle = math.radians(turn_deg)
    cos, sin = math.cos(angle), math.sin(angle)
    edges = ring_edges(region)
    x, y = edges[:, ::2], edges[:, 1::2]
    turned = np.empty_like(edges)
    turned[:, ::2], turned[:, 1::2] = x * cos - y * sin, x * sin + y * cos
    out: FloatArray = turned[np.minimum(turned[:, 0], turned[:, 2]).argsort()]
    return out


def _worths(
    surface: WorthSurface,
    raft_type: RaftType,
    sides: tuple[float, float],
    grid: tuple[float, float, float, float],
    shape: tuple[int, int],
    turn_deg: float,
) -> FloatArray:
    """Return what a raft is worth at each place, by running sums over the frame."""
    along, across = sides
    _, _, dx, dy = grid
    value = np.empty(shape)
    cells = shape[0] + math.ceil(across / dy) + 1, shape[1] + math.ceil(along / dx) + 1
    angle = math.radians(turn_deg)
    nodes = np.ascontiguousarray(surface.nodes, float)
    first = surface.west_m, surface.south_m, surface.cell_size_m
    sums = running_sums(nodes, first, (0.0, 0.0, math.cos(angle), -math.sin(angle)), grid, cells)
    scale = raft_type.planted_area_m2 * dx * dy / (along * across)
    mark_worth(sums, (along / dx, across / dy), scale, 0.0, shape, value, np.empty(shape[0], bool))
    return value
