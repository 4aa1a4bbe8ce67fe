"""What the programme of the price field is made from: poses, rooms, nodes and limits."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.ndimage import maximum_filter
from scipy.sparse import csr_array, kron

from geoplan.cut_cells import cell_coverage
from geoplan.grid import BoolArray
from geoplan.placement.allowed import AllowedRegion, grown
from geoplan.placement.bound import SLACK_M, Limit, grown_area_m2
from geoplan.placement.patience import ENDLESS, Patience
from geoplan.placement.pose_lattice import (
    PoseBoxes,
    half_ranges,
    lattice_boxes,
    pose_tables,
    remainders_m,
)
from geoplan.placement.sum_kernels import FINER, HEADINGS, STEPS, Asked, Tables, lattice_sums
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType
from geoplan.site import FloatArray
from geoplan.water import IntArray

#: Lattice poses beyond which the area bound has to do, and variables of the field.
_MOST_POSES = 1_500_000
_MOST_VARIABLES = 8_000
#: Cells between the nodes of the field that is sought.
COARSE = 2
_FINE = 8
#: Rooms for more rafts than this get no price of their own.
SMALL_ROOM = 12


@dataclass(frozen=True, eq=False)
class Room:
    """
    A part of the water that no grown raft leaves.

    Attributes
    ----------
    outline : shapely.Geometry
        Polygon [m].
    most : int
        Grown rafts of the smallest type that its area holds at most.
    """

    outline: shapely.Geometry
    most: int


@dataclass(frozen=True, eq=False)
class PoseSet:
    """
    The poses of one type, in boxes, and what those at the boxes' corners are worth.

    Attributes
    ----------
    kind : RaftType
        The type.
    held : PoseBoxes
        Boxes that may hold a legal pose, and the lattice poses at their corners.
    worth : ndarray of float, shape (poses,)
        What each lattice pose is worth [unit of the benefit].
    worth_rises : ndarray of float, shape (headings, rows, cols)
        What a pose in a box can be worth beyond its corners [unit of the benefit].
    room, box_room : ndarray of int, shape (poses,) and (boxes,)
        Which room each lies in.
    tables : Tables
        Weights of the sets' integrals.
    padded_worth : ndarray of float, shape (nodes,)
        Worth at the nodes with the tables' border [unit of the benefit a m²].
    field_rise_m3 : float
        By how many times ρ of the field a pose in a box can pay less than its corners [m³].
    gap_m : float
        Distance between rafts [m].
    """

    kind: RaftType
    held: PoseBoxes
    worth: FloatArray
    worth_rises: FloatArray
    room: IntArray
    box_room: IntArray
    tables: Tables
    padded_worth: FloatArray
    field_rise_m3: float
    gap_m: float

    @property
    def nearest(self) -> tuple[IntArray, IntArray]:
        """Return the node of each pose's cell."""
        return self.held.poses[:, 1] // STEPS, self.held.poses[:, 2] // STEPS

    @property
    def reach_m(self) -> float:
        """Return the distance from a centre to the far end of its grown set [m]."""
        return math.hypot(self.kind.length_m, self.kind.width_m) / 2 + self.gap_m / 2

    @property
    def grown_m2(self) -> float:
        """Return the area of the grown set, as it is drawn from inside [m²]."""
        x, y = self.tables.grown.T
        area = float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
        return area * self.tables.cell_m2

    @property
    def box_worth(self) -> FloatArray:
        """Return what a pose of each box is worth at most, shape (boxes,) [unit of the benefit]."""
        turn, row, col = self.held.boxes[:, :3].T
        rise = self.worth_rises[turn, row // STEPS, col // STEPS]
        most: FloatArray = self.worth[self.held.corners].max(axis=1) + rise
        return most

    def asked(self, field: FloatArray) -> Asked:
        """
        Return what poses are worth and pay, as the judge takes it.

        Parameters
        ----------
        field : ndarray of float, shape (rows, cols)
            Price of water at the nodes [unit of the benefit a m²].

        Returns
        -------
        Asked
            Worth and field with their border, and what boxes can lack beyond their corners.
        """
        h = math.sqrt(self.tables.cell_m2)
        rises = self.field_rise_m3 * half_ranges(field, h, self.kind, self.gap_m)
        rises += self.worth_rises
        padded = np.pad(field, self.tables.border).ravel()
        return Asked(self.padded_worth, padded, self.kind.planted_share, rises)


@dataclass(frozen=True, eq=False)
class Problem:
    """
    What the programme is made from; the variables are nodes, limits and rooms in this order.

    Attributes
    ----------
    surface : WorthSurface
        A surface on the grid of nodes.
    types : tuple of PoseSet
        Lattice poses of each type.
    spread : csr_array, shape (nodes, coarse nodes)
        The field at nodes from that at coarse nodes [1].
    node_area_m2 : ndarray of float, shape (rows, cols)
        Integral over the water of each node's hat [m²].
    use : ndarray of float, shape (limits, types)
        What a raft of each type uses of each limit [units of the limits].
    most : ndarray of float, shape (limits,)
        The limits [units of the limits].
    rooms : tuple of Room
        Parts of the water that no grown raft leaves.
    most_rafts : int
        No legal plan holds more rafts.
    least_prices : ndarray of float, shape (limits,)
        Prices are held to these and more: poses that cannot be worth them are left out [unit of
        the benefit a unit of the limit].
    paid_before : ndarray of float, shape (types,)
        What a raft of each type pays whatever the prices [unit of the benefit].
    """

    surface: WorthSurface
    types: tuple[PoseSet, ...]
    spread: csr_array
    node_area_m2: FloatArray
    use: FloatArray
    most: FloatArray
    rooms: tuple[Room, ...]
    most_rafts: int
    least_prices: FloatArray
    paid_before: FloatArray

    def rooms_of(self, poses: IntArray) -> IntArray:
        """
        Return which rooms poses lie in.

        Parameters
        ----------
        poses : ndarray of int, shape (n, 3)
            Poses on the finest lattice.

        Returns
        -------
        ndarray of int, shape (n,)
            Rooms, in the order of ``rooms``.
        """
        return _rooms_of(self.surface, poses, self.rooms, FINER)

    @property
    def costs(self) -> FloatArray:
        """Return what a unit of each variable adds to the bound."""
        area = self.spread.T @ self.node_area_m2.ravel()
        room = np.array([float(room.most) for room in self.rooms])
        return np.concatenate([area, self.most, room])

    def split(self, found: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """
        Return the field at nodes, the prices of limits and those of rooms.

        Parameters
        ----------
        found : ndarray of float
            The variables [units of each].

        Returns
        -------
        ndarray of float, shape (rows, cols)
            Field at the nodes [unit of the benefit a m²].
        ndarray of float, shape (limits,)
            Price of one unit of each limit [unit of the benefit a unit of it].
        ndarray of float, shape (rooms,)
            What a raft in each room pays more [unit of the benefit].
        """
        coarse = self.spread.shape[1]
        field = (self.spread @ found[:coarse]).reshape(self.surface.nodes.shape)
        limits = len(self.most)
        return field, found[coarse : coarse + limits], found[coarse + limits :]


def posed(
    surfaces: Sequence[WorthSurface],
    regions: Sequence[AllowedRegion],
    gap_m: float,
    limits: Sequence[Limit],
    least_prices: Sequence[float] | None = None,
    patience: Patience = ENDLESS,
    paid_before: Sequence[float] | None = None,
) -> Problem | None:
    """
    Return the programme's data.

    Parameters
    ----------
    surfaces : sequence of WorthSurface
        Worth for each type.
    regions : sequence of AllowedRegion
        Where rafts of each type may lie.
    gap_m : float
        Distance between rafts [m].
    limits : sequence of Limit
        Sums that are bounded.
    least_prices : sequence of float or None
        Price of one unit of each limit below which none is sought; ``None``: nothing [unit of the
        benefit a unit of the limit].
    patience : Patience
        When to break off.
    paid_before : sequence of float or None
        What a raft of each type pays whatever the prices; ``None``: nothing [unit of the benefit].

    Returns
    -------
    Problem or None
        ``None`` where there are too many poses or nodes, or time is up.

    Notes
    -----
    Prices may be held to any floor, for every field and price that all legal poses pay is a proof.
    A pose that cannot be worth the least rent is paid by it alone, whatever the field: it needs no
    row, and the water where all are such needs no field.
    """
    surface = surfaces[0]
    legal = [grown(region.region, SLACK_M) for region in regions]
    wide, h = _wide(surface, regions, gap_m), surface.cell_size_m
    use = np.array([limit.per_raft for limit in limits]).reshape(-1, len(regions))
    floor = np.zeros(len(limits)) if least_prices is None else np.array(least_prices, float)
    before = np.zeros(len(regions)) if paid_before is None else np.array(paid_before, float)
    rents = floor @ use + before
    if not rents.any() and _is_too_large(regions, legal, gap_m, h):
        return None
    rooms = _rooms(wide, regions, gap_m)
    found: list[PoseBoxes] = []
    for own, region, area, rent in zip(surfaces, regions, legal, rents, strict=True):
        held = _poses(own, region.raft_type, area, gap_m, float(rent), rooms)
        if held is None or patience.is_over() or _count((*found, held)) > _MOST_POSES:
            return None
        found.append(held)
    types = [
        _type(own, region.raft_type, held, gap_m, rooms)
        for own, region, held in zip(surfaces, regions, found, strict=True)
    ]
    across_m = min(region.raft_type.width_m for region in regions) + gap_m
    rooms = _counted(rooms, types, across_m, h / STEPS, is_whole=not rents.any())
    spread = _spread(surface, types)
    if spread.shape[1] > _MOST_VARIABLES:
        return None
    most = np.array([limit.most for limit in limits])
    most_rafts = min(sum(room.most for room in rooms), _most_by_limits(use, most))
    return Problem(
        surface, tuple(types), spread, node_areas(surface, wide), use, most, tuple(rooms),
        most_rafts, floor, before,
    )  # fmt: skip


def _wide(
    surface: WorthSurface, regions: Sequence[AllowedRegion], gap_m: float
) -> shapely.Geometry:
    """Return the water that grown rafts may cover, as far as the grid goes."""
    rows, cols = surface.nodes.shape
    west_m, south_m, h = surface.west_m, surface.south_m, surface.cell_size_m
    frame = shapely.box(west_m, south_m, west_m + (cols - 1) * h, south_m + (rows - 1) * h)
    grown_regions = [grown(area.region, gap_m / 2 + SLACK_M) for area in regions]
    return shapely.intersection(shapely.union_all(grown_regions), frame)


def _count(sets: Sequence[PoseBoxes]) -> int:
    """Return how many poses there are of all types."""
    return sum(len(each.poses) for each in sets)


def _rooms(wide: shapely.Geometry, regions: Sequence[AllowedRegion], gap_m: float) -> list[Room]:
    """Return the parts of the water that no grown raft leaves, counted by their area."""
    least_m2 = min(grown_area_m2(r.raft_type.length_m, r.raft_type.width_m, gap_m) for r in regions)
    return [
        Room(part, math.floor(part.area / least_m2 * (1 + 1e-6) + 1e-9))
        for part in shapely.get_parts(wide)
        if shapely.get_dimensions(part) == 2
    ]


def _poses(
    surface: WorthSurface,
    kind: RaftType,
    area: shapely.Geometry,
    gap_m: float,
    rent: float,
    rooms: Sequence[Room],
) -> PoseBoxes | None:
    """Return the boxes of poses of a type that may be worth more than a rent; none of too many."""
    if area.is_empty:
        none = np.zeros((0, 3), int)
        return PoseBoxes(none, np.zeros((0, 4), int), np.zeros((0, 8), int), np.zeros((0, 2)))
    pays = _pays(surface, kind, gap_m, rent, rooms) if rent > 0 else None
    if pays is not None:
        h, (rows, cols) = surface.cell_size_m, pays.shape
        wet = cell_coverage(area, surface.west_m, surface.south_m, h, (rows, cols)) > 0
        # By far too many: told before they are made.
        if (pays & wet).sum() * HEADINGS * STEPS**2 > 2 * _MOST_POSES:
            return None
    return lattice_boxes(surface, area, kind, pays)


def _pays(
    surface: WorthSurface, kind: RaftType, gap_m: float, rent: float, rooms: Sequence[Room]
) -> BoolArray:
    """Return the cells in which a raft's centre may lie where it is worth more than a rent."""
    h = surface.cell_size_m
    pays = cells_worth(surface, kind, rent)
    # Small rooms are counted by their poses, which are all kept.
    rows, cols = pays.shape
    for room in rooms:
        if room.most <= SMALL_ROOM:
            wide = shapely.buffer(room.outline, gap_m)
            pays |= cell_coverage(wide, surface.west_m, surface.south_m, h, (rows, cols)) > 0
    return pays


def cells_worth(surface: WorthSurface, kind: RaftType, least: float) -> BoolArray:
    """
    Return the cells in which the centre of a raft may lie that is worth more than something.

    Parameters
    ----------
    surface : WorthSurface
        Worth for its type.
    kind : RaftType
        The type.
    least : float
        What it must be worth more than [unit of the benefit].

    Returns
    -------
    ndarray of bool, shape (rows - 1, cols - 1)
        False where no raft is, by the highest worth within its reach.
    """
    reach = math.hypot(kind.length_m, kind.width_m) / 2 / surface.cell_size_m + 1
    near = _within(surface.nodes, reach)[:-1, :-1]
    worth: BoolArray = kind.planted_area_m2 * near > least
    return worth


def _is_too_large(
    regions: Sequence[AllowedRegion], legal: Sequence[shapely.Geometry], gap_m: float, h: float
) -> bool:
    """Tell before any work whether there must be too many poses or nodes."""
    poses, reached = 0.0, []
    for region, area in zip(regions, legal, strict=True):
        kind = region.raft_type
        # A raft round any of these points is legal whatever its heading.
        reach_m = math.hypot(kind.length_m, kind.width_m) / 2
        free = shapely.buffer(area, -reach_m)
        poses += free.area * HEADINGS * (STEPS / h) ** 2
        reached.append(shapely.buffer(free, reach_m + gap_m / 2))
    nodes = shapely.union_all(reached).area / (COARSE * h) ** 2
    return bool(poses > _MOST_POSES or nodes > _MOST_VARIABLES)


def _counted(
    rooms: Sequence[Room],
    types: Sequence[PoseSet],
    across_m: float,
    spacing_m: float,
    *,
    is_whole: bool,
) -> list[Room]:
    """Return the rooms; one raft alone where no two centres lie as far apart as rafts must."""
    out = []
    for index, room in enumerate(rooms):
        if not is_whole and room.most > SMALL_ROOM:
            # Some of its poses are left out: they cannot tell how many rafts it holds.
            out.append(room)
            continue
        places = np.concatenate([kind.held.poses[kind.room == index, 1:] for kind in types])
        most = room.most
        if len(places) == 0:
            most = 0
        elif float(np.hypot(*np.ptp(places * spacing_m, axis=0))) < across_m:
            most = min(most, 1)
        out.append(Room(room.outline, most))
    return out


def _most_by_limits(use: FloatArray, most: FloatArray) -> int:
    """Return how many rafts of all types together the limits can allow at most."""
    counts = [
        math.floor(limit / row.min() + 1e-9)
        for row, limit in zip(use, most, strict=True)
        if row.min() > 0
    ]
    by_type = []
    for t in range(use.shape[1]):
        own = [b / row[t] for row, b in zip(use, most, strict=True) if row[t] > 0]
        by_type.append(math.floor(min(own, default=1e6) + 1e-9))
    return int(min([*counts, sum(by_type)]))


def _type(
    surface: WorthSurface,
    kind: RaftType,
    held: PoseBoxes,
    gap_m: float,
    rooms: Sequence[Room],
) -> PoseSet:
    """Return the poses of a type with what those at the corners of boxes are worth."""
    h, nodes = surface.cell_size_m, np.asarray(surface.nodes, float)
    tables = pose_tables(kind, gap_m, h, nodes.shape[1])
    padded = np.pad(nodes, tables.border).ravel()
    raft_m3, grown_m3 = remainders_m(kind, gap_m, h)
    rises = kind.planted_share * raft_m3 * half_ranges(nodes, h, kind, 0.0)
    worth = lattice_sums(tables, padded, held.poses, False) * kind.planted_share
    room = _rooms_of(surface, held.poses, rooms)
    return PoseSet(
        kind, held, worth, rises, room, room[held.corners[:, 0]], tables, padded, grown_m3, gap_m
    )


def _rooms_of(
    surface: WorthSurface, poses: IntArray, rooms: Sequence[Room], finer: int = 1
) -> IntArray:
    """Return which room each pose lies in."""
    if len(rooms) == 1 or len(poses) == 0:
        return np.zeros(len(poses), int)
    spacing = surface.cell_size_m / STEPS / finer
    cols = int(poses[:, 2].max()) + 1
    places, which = np.unique(poses[:, 1] * cols + poses[:, 2], return_inverse=True)
    points = shapely.points(
        surface.west_m + places % cols * spacing, surface.south_m + places // cols * spacing
    )
    # A box of poses is smaller than the gap between rooms: the nearest room is that of its rafts.
    nearest: IntArray = shapely.STRtree([room.outline for room in rooms]).nearest(points)
    return nearest[which]


def node_areas(surface: WorthSurface, wide: shapely.Geometry) -> FloatArray:
    """
    Return the integral of each node's hat over the water, from above at its edge.

    Parameters
    ----------
    surface : WorthSurface
        A surface on the grid of nodes.
    wide : shapely.Geometry
        The water that grown rafts may cover [m].

    Returns
    -------
    ndarray of float, shape (rows, cols)
        A field's integral is at most the sum of these times its values at the nodes [m²].
    """
    rows, cols = surface.nodes.shape
    fine = surface.cell_size_m / _FINE
    share = cell_coverage(
        wide, surface.west_m, surface.south_m, fine, ((rows - 1) * _FINE, (cols - 1) * _FINE)
    )
    parts = share.reshape(rows - 1, _FINE, cols - 1, _FINE)
    i, j = np.nonzero(parts.max(axis=1).max(axis=2))
    blocks = parts[i, :, j] * fine**2
    is_cut = (blocks < (1 - 1e-9) * fine**2) & (blocks > 0)
    whole, cut = np.where(is_cut, 0, blocks), np.where(is_cut, blocks, 0)
    out = np.zeros((rows, cols))
    place = np.arange(_FINE)
    # Where a part of a cell is cut, the hat's largest value in the part is taken.
    ends = (1 - (place + 0.5) / _FINE, (place + 0.5) / _FINE)
    tops = (1 - place / _FINE, (place + 1) / _FINE)
    for up in (0, 1):
        for right in (0, 1):
            part = np.einsum("kab,a,b->k", whole, ends[up], ends[right])
            out[i + up, j + right] += part + np.einsum("kab,a,b->k", cut, tops[up], tops[right])
    return out


def _spread(surface: WorthSurface, types: Sequence[PoseSet]) -> csr_array:
    """Return the field at nodes from that at coarse nodes, which rafts can reach."""
    rows, cols = surface.nodes.shape
    lines = []
    for count in (rows, cols):
        node = np.arange(count)
        coarse = count // COARSE + 2
        low, part = node // COARSE, node % COARSE / COARSE
        lines.append(
            csr_array((1 - part, (node, low)), (count, coarse))
            + csr_array((part, (node, low + 1)), (count, coarse))
        )
    whole = csr_array(kron(lines[0], lines[1], format="csr"))
    reached = np.zeros((rows, cols), bool)
    for kind in types:
        near = np.zeros((rows, cols))
        near[kind.nearest] = 1.0
        reached |= _within(near, kind.reach_m / surface.cell_size_m + 1) > 0
    used = np.flatnonzero(whole.T @ reached.ravel().astype(float))
    return csr_array(whole[:, used])


def _within(cells: FloatArray, reach: float) -> FloatArray:
    """Return the largest of the values within a square of cells round each."""
    out: FloatArray = maximum_filter(cells, 2 * math.ceil(reach) + 1)
    return out
