"""
Improvement of a plan: windows packed anew at the price of what they use, within every limit.

Rafts pay for what they use of each limit. Rounds of windows raise what the plan is worth above
those prices; then the best part of it that keeps the limits is taken, and its shadow prices are
those of the next round. What is handed back is the best part seen, checked by exact geometry.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from scipy.optimize import linprog

from geoplan.cut_cells import ring_edges
from geoplan.grid import BoolArray
from geoplan.placement.allowed import TOLERANCE_M, AllowedRegion
from geoplan.placement.bound import Limit
from geoplan.placement.headings import for_search
from geoplan.placement.patience import ENDLESS, Patience
from geoplan.placement.pose_kernels import Rafts, Terms, Water, binned, climbed, raft_worth
from geoplan.placement.search import Poses
from geoplan.placement.window_kernels import swept
from geoplan.placement.worth import WorthSurface
from geoplan.site import FloatArray

#: Steps between places of a window, and of moves uphill [m].
_STEP_M = 0.2
_MOVES_M = np.array([0.2, 0.05, 0.01])
_CELL_M = 8.0
#: Places in a plan beyond what it begins with.
_SPARE = 64
#: Spots kept beside the rafts, as a multiple of their number.
_SPOTS_EACH = 20
#: Up to this many rafts a plan hangs on chance, and other seeds bring more than further rounds.
FEW_RAFTS = 15
#: What two rounds must bring for a third, with few rafts and with many, when one costs seconds [1].
_WORTH_FEW, _WORTH_MANY = 1e-3, 3e-5


@dataclass(frozen=True)
class Effort:
    """
    How long to improve a plan.

    Attributes
    ----------
    rounds : int
        Rounds of windows.
    windows_each : int
        Windows in a round for each raft of the plan.
    most_windows : int
        Windows in a round at most.
    few_windows : int
        Where rafts are few: this many over their number are the seeds tried.
    most_settled : int
        Rafts up to which a plan is settled by joint moves.
    ends_settled : int
        Ends of windows that are settled.
    ends_alike : int
        So many ends worth as much as the best show that it is the best there is: no more are
        sought. Zero: all are sought.
    worth_a_round : float
        What a tangent at the plan must take off the bound for another plan to be sought, as a
        share of it [1].
    """

    rounds: int = 8
    windows_each: int = 15
    most_windows: int = 1500
    few_windows: int = 40
    most_settled: int = 60
    ends_settled: int = 6
    ends_alike: int = 0
    worth_a_round: float = 1e-3


#: What a plan gets unless asked for more.
DEFAULT_EFFORT = Effort()
#: What plans get in large districts, where a hundredth of a per cent of worth costs a third of the
#: time.
DISTRICT_EFFORT = Effort(ends_settled=2, ends_alike=3, worth_a_round=1e-2)
#: What plans get that stand beside it: a second plan, and one of as many rafts as the cover allows.
BRIEF_EFFORT = Effort(rounds=4, windows_each=12, most_windows=400, few_windows=1, ends_settled=1)


def water_of(surfaces: Sequence[WorthSurface], regions: Sequence[AllowedRegion]) -> Water:
    """
    Return regions and worths as the compiled search sees them.

    Parameters
    ----------
    surfaces : sequence of WorthSurface
        Worth for each type, on one grid.
    regions : sequence of AllowedRegion
        Where rafts of each type may lie.

    Returns
    -------
    Water
        Edges in bins, worth at the nodes, and sizes.
    """
    rings = [ring_edges(region.region) for region in regions]
    edges = np.concatenate(rings)
    kinds = np.repeat(np.arange(len(rings)), [len(ring) for ring in rings])
    low = np.minimum(edges[:, :2], edges[:, 2:]).min(axis=0) - 1.0
    high = np.maximum(edges[:, :2], edges[:, 2:]).max(axis=0) + 1.0
    cols, rows = (int(n) for n in np.ceil((high - low) / _CELL_M))
    cells = np.array([low[0], low[1], _CELL_M, _CELL_M])
    bands = np.array([low[0], low[1], cols * _CELL_M, _CELL_M])
    first = surfaces[0]
    cell_start, cell_items = binned(edges, kinds, len(rings), cells, rows, cols)
    band_start, band_items = binned(edges, kinds, len(rings), bands, rows, 1)
    return Water(
        edges,
        cell_start,
        cell_items,
        band_start,
        band_items,
        float(low[0]),
        float(low[1]),
        _CELL_M,
        rows,
        cols,
        np.stack([np.asarray(surface.nodes, float) for surface in surfaces]),
        first.west_m,
        first.south_m,
        first.cell_size_m,
        np.array([[r.raft_type.length_m, r.raft_type.width_m] for r in regions]),
        np.array([r.raft_type.planted_area_m2 for r in regions]),
        *for_search(regions[0].headings),
    )


@dataclass(frozen=True, eq=False)
class WindowGround:
    """
    Surfaces and regions ready for windows, whatever the plan.

    Attributes
    ----------
    water : Water
        As the compiled search sees them.
    inside : ndarray of bool, shape (rows, cols)
        Nodes of the worth where some raft may lie.
    regions : tuple of AllowedRegion
        Where rafts of each type may lie.
    nodes_m : ndarray of float, shape (rows, cols, 2)
        Easting and northing of the nodes [m].
    along_m : ndarray of float, shape (k, 2)
        Ends and middles of the regions' edges [m].
    along_at : tuple of ndarray of int, shape (k,)
        Row and column of the node below and left of each.
    """

    water: Water
    inside: BoolArray
    regions: tuple[AllowedRegion, ...]
    nodes_m: FloatArray
    along_m: FloatArray
    along_at: tuple[Any, Any]

    @classmethod
    def of(
        cls, surfaces: Sequence[WorthSurface], regions: Sequence[AllowedRegion]
    ) -> "WindowGround":
        """
        Return the ground of surfaces and regions.

        Parameters
        ----------
        surfaces : sequence of WorthSurface
            Worth for each type, on one grid.
        regions : sequence of AllowedRegion
            Where rafts of each type may lie.

        Returns
        -------
        WindowGround
            Ready for windows.
        """
        water = water_of(surfaces, regions)
        nodes = _nodes(water)
        inside = _nodes_inside(nodes, regions)
        return cls(water, inside, tuple(regions), nodes, *_along(water))


def improved(
    plan: Sequence[Poses],
    ground: WindowGround,
    limits: Sequence[Limit],
    gap_m: float,
    seed: int,
    effort: Effort,
    patience: Patience = ENDLESS,
) -> list[Poses]:
    """
    Return a plan that is worth at least as much as the one given.

    Parameters
    ----------
    plan : sequence of Poses
        A legal plan, by type.
    ground : WindowGround
        Worth for each type, and where rafts may lie.
    limits : sequence of Limit
        Sums that are bounded.
    gap_m : float
        Distance between rafts [m].
    seed : int
        Seed of the windows.
    effort : Effort
        How long to improve.
    patience : Patience
        When to stop in any case.

    Returns
    -------
    list of Poses
        Legal rafts by type, in the order of the ground's regions.
    """
    water, regions = ground.water, ground.regions
    rng = np.random.default_rng(seed)
    use = np.array([limit.per_raft for limit in limits]).reshape(-1, len(regions))
    most = np.array([limit.most for limit in limits])
    start = state_of(plan, water, [region.raft_type.name for region in regions])
    n = len(start.kind)
    state = _with_room(start, n)
    worths = [float(start.value.sum())]
    moves = 1
    for _ in range(effort.rounds):
        if _is_done(worths, n) or patience.is_over():
            break
        state = _with_room(state, n)
        prices = _prices(state, n, use, most)
        terms = Terms(gap_m, _STEP_M, prices, use, most)
        count = min(effort.most_windows, effort.windows_each * max(n, 4))
        spots = _spots(ground, prices, rng, _SPOTS_EACH * max(n, 10))
        n = swept(water, state, n, spots, rng.random((count, 8)), terms)
        if moves or float(state.value[:n].sum()) != worths[-1]:  # else all are where they stopped
            moves = climbed(water, state, n, gap_m, _MOVES_M)
        worths.append(float(state.value[:n].sum()))
    found = as_poses(_first(state, n), regions)
    return found if is_legal(found, regions, gap_m) else as_poses(start, regions)


def _is_done(worths: Sequence[float], n: int) -> bool:
    """Tell whether two rounds in a row brought next to nothing."""
    if len(worths) < 3:
        return False
    least = _WORTH_FEW if n <= FEW_RAFTS else _WORTH_MANY
    return worths[-1] - worths[-3] < least * worths[-1]


def state_of(plan: Sequence[Poses], water: Water, names: Sequence[str]) -> Rafts:
    """
    Return a plan as arrays, worth integrated anew.

    Parameters
    ----------
    plan : sequence of Poses
        Rafts by type.
    water : Water
        The water.
    names : sequence of str
        Names of the types, in the order of the water's.

    Returns
    -------
    Rafts
        One entry for each raft.
    """
    east = np.concatenate([*(part.easting_m for part in plan), np.zeros(0)])
    north = np.concatenate([*(part.northing_m for part in plan), np.zeros(0)])
    heading = np.concatenate([*(part.heading_deg for part in plan), np.zeros(0)])
    index = [np.full(len(part), names.index(part.raft_type.name)) for part in plan]
    kind = np.concatenate([*index, np.zeros(0, int)]).astype(np.int64)
    turn = np.radians(90.0 - heading)
    value = np.array(
        [raft_worth(water, *pose) for pose in zip(kind, east, north, turn, strict=True)], float
    )
    return Rafts(east.copy(), north.copy(), turn, value, kind)


def _first(state: Rafts, n: int) -> Rafts:
    """Return the first rafts alone."""
    return Rafts(*(column[:n] for column in state))


def _with_room(state: Rafts, n: int) -> Rafts:
    """Return the same rafts in arrays with room for more."""
    room = n // 2 + _SPARE
    return Rafts(*(np.concatenate([column[:n], np.zeros(room, column.dtype)]) for column in state))


def _prices(state: Rafts, n: int, use: FloatArray, most: FloatArray) -> FloatArray:
    """Return what a raft of each type pays: shadow prices of the limits in the plan as it is."""
    if n == 0 or len(most) == 0:
        return np.zeros(use.shape[1])
    # A limit that holds one raft less than whole ones has a price, though nothing presses on it.
    least = np.where(use > 0, use, np.inf).min(axis=1, initial=np.inf)
    short = np.maximum(most - np.where(np.isfinite(least), 0.999 * least, 0.0), 0.0)
    if use.shape[1] == 1:
        return np.array([_price_of_one_type(state.value[:n], use[:, 0], short)])
    solved = linprog(
        -state.value[:n], A_ub=use[:, state.kind[:n]], b_ub=short, bounds=(0, 1), method="highs"
    )
    out: FloatArray = -np.asarray(solved.ineqlin.marginals) @ use
    return out


def _price_of_one_type(value: FloatArray, use: FloatArray, short: FloatArray) -> float:
    """Return the worth of the raft that the tightest limit holds in part alone, or nothing."""
    held = float(np.min(short[use > 0] / use[use > 0], initial=np.inf))
    ranked = np.sort(value)[::-1]
    return float(max(ranked[int(held)], 0.0)) if held < len(ranked) else 0.0


def _nodes(water: Water) -> FloatArray:
    """Return easting and northing of the nodes of the worth, shape (rows, cols, 2) [m]."""
    rows, cols = water.nodes.shape[1:]
    east, north = np.meshgrid(
        water.node_west + np.arange(cols) * water.node_step,
        water.node_south + np.arange(rows) * water.node_step,
    )
    return np.stack([east, north], axis=2)


def _nodes_inside(nodes_m: FloatArray, regions: Sequence[AllowedRegion]) -> BoolArray:
    """Return which nodes lie where some raft may lie; the same in every round."""
    union = shapely.union_all([region.region for region in regions])
    shapely.prepare(union)
    inside: BoolArray = shapely.contains_xy(union, nodes_m[..., 0], nodes_m[..., 1])
    return inside


def _along(water: Water) -> tuple[FloatArray, tuple[Any, Any]]:
    """Return ends and middles of the regions' edges, and the node below and left of each."""
    rows, cols = water.nodes.shape[1:]
    ends = water.edges.reshape(-1, 2, 2)
    share = np.linspace(0.0, 1.0, 3)[None, :, None]
    along = (ends[:, :1] + share * (ends[:, 1:] - ends[:, :1])).reshape(-1, 2)
    row = np.clip(((along[:, 1] - water.node_south) / water.node_step).astype(int), 0, rows - 1)
    col = np.clip(((along[:, 0] - water.node_west) / water.node_step).astype(int), 0, cols - 1)
    return along, (row, col)


def _spots(ground: WindowGround, rent: FloatArray, rng: Any, most: int) -> FloatArray:
    """Return points that may pay, half of them along the edges, drawn at random."""
    water = ground.water
    pays = np.zeros(water.nodes.shape[1:], bool)
    for t in range(len(water.nodes)):
        pays |= water.nodes[t] * water.planted[t] > 0.7 * rent[t]
    edge = np.flatnonzero(pays[ground.along_at])
    bulk = np.flatnonzero(pays & ground.inside)
    parts = [
        points[paying[rng.integers(0, len(paying), most // 2)]]
        for points, paying in ((ground.along_m, edge), (ground.nodes_m.reshape(-1, 2), bulk))
        if len(paying)
    ]
    return np.concatenate(parts) if parts else np.zeros((0, 2))


def as_poses(state: Rafts, regions: Sequence[AllowedRegion]) -> list[Poses]:
    """
    Return arrays of rafts as poses by type, the most worth first.

    Parameters
    ----------
    state : Rafts
        The rafts.
    regions : sequence of AllowedRegion
        One for each type, in order.

    Returns
    -------
    list of Poses
        One for each type.
    """
    out = []
    for index, region in enumerate(regions):
        mine = np.flatnonzero(state.kind == index)
        order = mine[np.lexsort((state.north[mine], state.east[mine], -state.value[mine]))]
        heading = (90.0 - np.degrees(state.turn[order])) % 180.0
        out.append(
            Poses(
                region.raft_type,
                state.east[order],
                state.north[order],
                heading,
                state.value[order],
            )
        )
    return out


def is_legal(plan: Sequence[Poses], regions: Sequence[AllowedRegion], gap_m: float) -> bool:
    """
    Tell whether all rafts of a plan lie in their regions as they may, and keep the gap.

    Parameters
    ----------
    plan : sequence of Poses
        Rafts by type, in the order of ``regions``.
    regions : sequence of AllowedRegion
        Where rafts of each type may lie.
    gap_m : float
        Distance between rafts [m].

    Returns
    -------
    bool
        True where every outline is covered and no two are nearer than the gap, to a micrometre.
    """
    shapes = []
    for part, region in zip(plan, regions, strict=True):
        if len(part) == 0:
            continue
        place = (part.easting_m, part.northing_m, part.heading_deg)
        heads, outlines = region.headings, part.outlines
        if not shapely.covers(region.wide, outlines).all() or (
            heads is not None and not heads.allows(part.raft_type, *place).all()
        ):
            return False
        shapes.append(outlines)
    if not shapes:
        return True
    every = np.concatenate(shapes)
    tree = shapely.STRtree(every)
    first, second = tree.query(every, predicate="dwithin", distance=gap_m - TOLERANCE_M)
    return bool((first == second).all())
