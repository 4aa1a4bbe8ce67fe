"""
The search: which rows, in which frames, at which price, give the most for a number of rafts.

The part of the region that can pay at all falls into clusters that lie at least a gap apart. Each
cluster is packed in the best of its frames; one price for a raft, found by bisection, brings the
clusters together to the number wanted. What is left over is packed again in new frames.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from scipy.ndimage import maximum_filter
from shapely.geometry.base import BaseGeometry

from geoplan.cut_cells import cells_polygon
from geoplan.placement.allowed import grown
from geoplan.placement.bound import grown_area_m2
from geoplan.placement.headings import Headings
from geoplan.placement.mixed_rows import Lays, Packed, lays, pack_bridged, pack_lays, worth_of
from geoplan.placement.rows import STEP_M
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType, footprints
from geoplan.site import FloatArray

#: Turns of the frames of a cluster: rows run every way [°].
TURNS_DEG = tuple(float(turn) for turn in np.arange(0.0, 180.0, 7.5))
_BEST_FRAMES = 3
_PASSES = 6
_BISECTIONS = 30
#: The clusters hold room for this many times the rafts wanted, as the area bound counts room.
_SPARE_ROOM = 1.6


@dataclass(frozen=True, eq=False)
class Poses:
    """
    Where rafts of one type lie.

    Attributes
    ----------
    raft_type : RaftType
        The type.
    easting_m, northing_m : ndarray of float, shape (n,)
        Centres, working CRS [m].
    heading_deg : ndarray of float, shape (n,)
        Long axes, clockwise from grid north, 0 to 180 [°].
    value : ndarray of float, shape (n,)
        Worth of each [worth of planted m²].
    """

    raft_type: RaftType
    easting_m: FloatArray
    northing_m: FloatArray
    heading_deg: FloatArray
    value: FloatArray

    def __len__(self) -> int:
        """Return the number of rafts."""
        return len(self.value)

    @property
    def outlines(self) -> Any:
        """Return the footprints, shape (n,) [m]."""
        kind = self.raft_type
        return footprints(
            self.easting_m, self.northing_m, self.heading_deg, kind.length_m, kind.width_m
        )


@dataclass(frozen=True, eq=False)
class Search:
    """
    What a search found, and how much it tried.

    Attributes
    ----------
    poses : Poses
        Rafts found.
    frames_tried : int
        Frames that were packed.
    """

    poses: Poses
    frames_tried: int


def best_rows(
    region: BaseGeometry,
    surface: WorthSurface,
    raft_type: RaftType,
    gap_m: float,
    count: int,
    headings: Headings | None = None,
    turns_deg: Sequence[float] = TURNS_DEG,
) -> Search:
    """
    Place up to a number of rafts of one type where they are worth most.

    Parameters
    ----------
    region : BaseGeometry
        Where every raft must lie whole, working CRS [m].
    surface : WorthSurface
        Worth of planted area.
    raft_type : RaftType
        The type.
    gap_m : float
        Distance between rafts [m].
    count : int
        Most rafts wanted.
    headings : Headings or None
        Which way rafts may lie; ``None``: any.
    turns_deg : sequence of float
        Which way rows run, besides along the long side of each cluster and as rafts may lie [°].

    Returns
    -------
    Search
        Rafts that lie in the region, at least the gap apart; fewer where no more fit.
    """
    found: list[Poses] = []
    tried = 0
    left = region
    for _ in range(_PASSES):
        missing = count - sum(len(part) for part in found)
        if missing <= 0 or left.is_empty:
            break
        part, frames = _one_pass(left, surface, raft_type, gap_m, missing, headings, turns_deg)
        tried += frames
        if len(part) == 0:
            break
        found.append(part)
        left = shapely.difference(left, grown(shapely.multipolygons(part.outlines), gap_m))
        left = _polygons(left, raft_type.area_m2)
    return Search(joined(raft_type, found), tried)


def joined(raft_type: RaftType, parts: Sequence[Poses]) -> Poses:
    """
    Return the poses of several searches as one.

    Parameters
    ----------
    raft_type : RaftType
        Their type.
    parts : sequence of Poses
        Poses of that type.

    Returns
    -------
    Poses
        All of them, in order.
    """
    columns = [
        np.concatenate([getattr(part, name) for part in parts]) if parts else np.zeros(0)
        for name in ("easting_m", "northing_m", "heading_deg", "value")
    ]
    return Poses(raft_type, *columns)


def _polygons(geometry: BaseGeometry, least_m2: float) -> BaseGeometry:
    """Return the polygons of a geometry that are not smaller than an area."""
    parts = shapely.get_parts(geometry)
    return shapely.multipolygons(parts[shapely.area(parts) >= least_m2])


def _one_pass(
    region: BaseGeometry,
    surface: WorthSurface,
    raft_type: RaftType,
    gap_m: float,
    count: int,
    headings: Headings | None,
    turns_deg: Sequence[float],
) -> tuple[Poses, int]:
    """Pack the clusters of a region once; return the best rafts and the frames tried."""
    sets, wide, tried = [], [], 0
    for cluster in _clusters(region, surface, raft_type, gap_m, count):
        kept, frames = _best_frames(cluster, surface, raft_type, gap_m, headings, turns_deg)
        tried += frames
        if kept:
            sets.append(kept)
            wide.append(cluster)
    packed = _packed_to_count(sets, count)
    if sum(len(places) for _, places in packed) < count:
        # As many as fit are wanted: what rows leave empty at their ends is worth a finer search.
        packed = []
        for cluster, kept in zip(wide, sets, strict=True):
            found, frames = _bridged(cluster, kept, surface, raft_type, gap_m, headings)
            packed += found
            tried += frames
    poses = _poses(raft_type, surface, packed)
    order = np.lexsort((poses.northing_m, poses.easting_m, -poses.value))[:count]
    return (
        Poses(
            raft_type,
            poses.easting_m[order],
            poses.northing_m[order],
            poses.heading_deg[order],
            poses.value[order],
        ),
        tried,
    )


def _clusters(
    region: BaseGeometry, surface: WorthSurface, raft_type: RaftType, gap_m: float, count: int
) -> list[BaseGeometry]:
    """Return the parts of the region with room for the rafts where it is worth most."""
    need_m2 = _SPARE_ROOM * count * grown_area_m2(raft_type.length_m, raft_type.width_m, gap_m)
    if need_m2 < region.area:
        region = _polygons(_most_worth(region, surface, need_m2, raft_type), raft_type.area_m2)
    parts = shapely.get_parts(region)
    if len(parts) == 0:
        return []
    tree = shapely.STRtree(parts)
    first, second = tree.query(parts, predicate="dwithin", distance=gap_m)
    group = np.arange(len(parts))
    for a, b in zip(first, second, strict=True):
        low, high = sorted((int(group[a]), int(group[b])))
        group[group == high] = low
    clusters = [shapely.multipolygons(parts[group == label]) for label in np.unique(group)]
    return [cluster for cluster in clusters if cluster.area >= raft_type.area_m2]


def _most_worth(
    region: BaseGeometry, surface: WorthSurface, area_m2: float, raft_type: RaftType
) -> BaseGeometry:
    """Return the part of the region that lies round its most worthy cells of a total area."""
    h = surface.cell_size_m
    rows, cols = surface.nodes.shape
    easting = surface.west_m + np.arange(cols) * h
    northing = surface.south_m + np.arange(rows) * h
    shapely.prepare(region)
    inside = shapely.contains_xy(region, *np.meshgrid(easting, northing))
    values = np.sort(surface.nodes[inside])[::-1]
    wanted = int(area_m2 / h**2)
    if wanted >= len(values):
        return region
    chosen = inside & (surface.nodes >= values[wanted])
    # Wide enough that specks of high worth join into few clusters.
    reach = int(np.ceil(np.hypot(raft_type.length_m, raft_type.width_m) / h)) + 1
    near = maximum_filter(chosen, 2 * reach + 1)
    cells = cells_polygon(surface.west_m - h / 2, surface.south_m - h / 2, h, near)
    return shapely.intersection(region, cells)


def _best_frames(
    cluster: BaseGeometry,
    surface: WorthSurface,
    raft_type: RaftType,
    gap_m: float,
    headings: Headings | None,
    turns_deg: Sequence[float],
) -> tuple[list[Lays], int]:
    """Return the few frames in which a cluster packs best, and how many were tried."""
    step = _step_m(cluster)

    def turned_by(turn: float, step_m: float) -> Lays:
        return lays(cluster, surface, raft_type, gap_m, turn, step_m, headings)

    scored = []
    tried = 0
    common = () if headings is None else headings.common_deg(cluster)
    for turn in dict.fromkeys((*turns_deg, *_along_deg(cluster), *common)):
        both = turned_by(turn, 2 * step)
        tried += len(both)
        scored += [(-worth_of(pack_lays(both, 0.0), 0.0), turn)] if both else []
    scored.sort()
    best = [turned_by(turn, step) for _, turn in scored[:_BEST_FRAMES]]
    return [both for both in best if both], tried + sum(len(both) for both in best)


def _step_m(cluster: BaseGeometry) -> float:
    """Return the step between places of a cluster's best frames [m]."""
    return float(np.clip(np.sqrt(cluster.area) / 600.0, STEP_M, 0.5))


def _bridged(
    cluster: BaseGeometry,
    kept: Sequence[Lays],
    surface: WorthSurface,
    raft_type: RaftType,
    gap_m: float,
    headings: Headings | None,
) -> tuple[Packed, int]:
    """Fill a cluster in the turns of its best frames, with bridges; return how many were tried."""
    step_m = _step_m(cluster) / 2
    tries = [pack_lays(both, 0.0) for both in kept]
    for both in kept:
        finer = lays(cluster, surface, raft_type, gap_m, both[0].turn_deg, step_m, headings)
        if finer:
            tries.append(pack_bridged(finer, 0.0))
    worths = [worth_of(packed, 0.0) for packed in tries]
    return tries[int(np.argmax(worths))], sum(len(packed) for packed in tries[len(kept) :])


def _along_deg(cluster: BaseGeometry) -> Iterable[float]:
    """Yield the turn along the cluster's long side."""
    rectangle = shapely.get_coordinates(shapely.minimum_rotated_rectangle(cluster))
    if len(rectangle) > 1:
        side = rectangle[1] - rectangle[0]
        yield round(float(-np.degrees(np.arctan2(side[1], side[0]))) % 90.0, 3)


def _packed_at(sets: Sequence[Sequence[Lays]], price: float) -> Packed:
    """Return each cluster's best frames at a price with the places they fill."""
    out: Packed = []
    for turns in sets:
        tries: list[Packed] = [pack_lays(both, price) for both in turns]
        out += tries[int(np.argmax([worth_of(packed, price) for packed in tries]))]
    return out


def _packed_to_count(sets: Sequence[Sequence[Lays]], count: int) -> Packed:
    """Return the packing at the highest price that still places the number of rafts."""
    enough = _packed_at(sets, 0.0)
    if sum(len(places) for _, places in enough) <= count:
        return enough
    low = 0.0
    frames = (one for turns in sets for both in turns for one in both)
    high = max((float(one.value.max()) for one in frames), default=0.0)
    for _ in range(_BISECTIONS):
        price = (low + high) / 2
        packed = _packed_at(sets, price)
        placed = sum(len(places) for _, places in packed)
        if placed >= count:
            low, enough = price, packed
            if placed == count:
                break
        else:
            high = price
    return enough


def _poses(raft_type: RaftType, surface: WorthSurface, packed: Packed) -> Poses:
    """Return packed places as poses, each with its worth integrated anew."""
    parts = []
    for turned, places in packed:
        easting, northing = turned.positions(places[:, 0].astype(float), places[:, 1].astype(float))
        heading = np.full(len(places), turned.heading_deg)
        value = raft_type.planted_area_m2 * surface.mean_under(
            raft_type, easting, northing, heading
        )
        parts.append(Poses(raft_type, easting, northing, heading, value))
    return joined(raft_type, parts)
