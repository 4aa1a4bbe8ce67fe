"""
The wading leg: how a raft comes from the bank into water in which it can be towed.

It is straight. People walk it at low level; a steep drop that no sounding met is not known here.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from geoplan.grid import SiteFields, WaterGrid
from geoplan.site import FloatArray
from geoplan.water.bathymetry import RELIABLE_SIGMAS

#: Rounding of a bank place that lies on the outline [m].
_ROUNDING_M = 1e-6
#: Water too deep to stand in over which a raft is pushed with poles or drawn on a rope, beyond
#: where people stand. Judgement [m].
POLE_REACH_M = 5.0
#: Places tried beside the nearest one, a metre apart. Judgement: more is a walk, not a launch.
_OTHER_PLACES = 64


@dataclass(frozen=True)
class WadingLeg:
    """
    A straight way from the bank to where towing begins.

    Attributes
    ----------
    line : LineString
        From the bank into the water, of length zero where the bank place is in it, working CRS
        [m].
    deepest_m : float
        Deepest that the water may be where people walk, at low level [m].
    afloat_depth_m : float
        Deepest that it may be beside the raft's middle where towing begins, which is where it is
        planted afloat, at low level [m].
    """

    line: LineString
    deepest_m: float
    afloat_depth_m: float


@dataclass(frozen=True, eq=False)
class WadingGround:
    """
    Ground that people may walk beside and in the water.

    Attributes
    ----------
    outline : Polygon
        Water's edge with islands as holes, working CRS [m].
    grid : WaterGrid
        The cells.
    likely_depth_m, deepest_m : ndarray of float, shape (rows, cols)
        Most likely depth at low level, and the greatest that is plausible; zero off the water
        [m].
    wading_m : float
        Depth in which people may work [m].
    """

    outline: Polygon
    grid: WaterGrid
    likely_depth_m: FloatArray
    deepest_m: FloatArray
    wading_m: float

    @classmethod
    def of(
        cls, outline: Polygon, fields: SiteFields, low_m: float, wading_m: float
    ) -> "WadingGround":
        """
        Return the ground of a water body.

        Parameters
        ----------
        outline : Polygon
            Water's edge with islands as holes, working CRS [m].
        fields : SiteFields
            Bed and its uncertainty.
        low_m : float
            Low level above the vertical datum [m].
        wading_m : float
            Depth in which people may work [m].

        Returns
        -------
        WadingGround
            The ground, a bed as low as it may be at 99 % taken for the greatest depth.
        """
        likely = np.nan_to_num(np.maximum(low_m - fields.bed_m, 0.0))
        low_bed_m = fields.bed_m - RELIABLE_SIGMAS * fields.sigma_m
        deepest = np.nan_to_num(np.maximum(low_m - low_bed_m, 0.0))
        return cls(outline, fields.grid, likely, deepest, wading_m)


def wading_leg(
    bank: BaseGeometry,
    room: Polygon,
    ground: WadingGround,
    obstacles: BaseGeometry,
    raft_size_m: tuple[float, float],
) -> WadingLeg | None:
    """
    Return the shortest straight way on which a raft can be brought from the bank to open water.

    Parameters
    ----------
    bank : BaseGeometry
        Launch place, point or line, working CRS [m].
    room : Polygon
        Where the raft's centre may be when it is towed, working CRS [m].
    ground : WadingGround
        Ground on which people walk.
    obstacles : BaseGeometry
        Rafts in the water, working CRS [m].
    raft_size_m : tuple of float
        Length and width of the raft [m].

    Returns
    -------
    WadingLeg or None
        The leg; ``None`` where each one tried crosses land beyond the bank, comes nearer to a
        raft than half the width, or leads farther than ``POLE_REACH_M`` through water that is
        likely too deep to stand in.

    Notes
    -----
    People hold the raft at its stern, so the last half of its length is not walked. The nearest
    place of the room is tried first, then places a metre apart along its edge. Water that only
    may be too deep is no reason to refuse a leg: its greatest depth is told, for a warning.
    """
    length_m, width_m = raft_size_m
    for line in _lines(bank, room):
        walked_m = line.length - length_m / 2
        if (
            _keeps_off_land(line, ground.outline)
            and not shapely.dwithin(line, obstacles, width_m / 2 - _ROUNDING_M)
            and _deepest(line, walked_m - POLE_REACH_M, ground.grid, ground.likely_depth_m)
            <= ground.wading_m
        ):
            # People who plant stand beside the raft, so for them the whole line counts.
            walked, planted = (
                _deepest(line, most_m, ground.grid, ground.deepest_m)
                for most_m in (walked_m, max(line.length, _ROUNDING_M))
            )
            return WadingLeg(line, walked, planted)
    return None


def _lines(bank: BaseGeometry, room: Polygon) -> Iterator[LineString]:
    """Yield straight lines from the bank to the room, the shortest first."""
    yield shapely.shortest_line(bank, room)
    places = [
        shapely.line_interpolate_point(ring, np.arange(0.0, ring.length, 1.0))
        for ring in (room.exterior, *room.interiors)
    ]
    lines = shapely.shortest_line(bank, np.concatenate(places))
    order = np.argsort(shapely.length(lines), kind="stable")
    yield from lines[order[:_OTHER_PLACES]]


def _keeps_off_land(line: LineString, outline: Polygon) -> bool:
    """Tell whether a line from the bank, once in the water, stays in it."""
    dry = shapely.difference(line, shapely.buffer(outline, _ROUNDING_M, join_style="mitre"))
    if dry.is_empty:
        return True
    starts_here = shapely.distance(dry, shapely.get_point(line, 0)) <= _ROUNDING_M
    return isinstance(dry, LineString) and bool(starts_here)


def _deepest(line: LineString, walked_m: float, grid: WaterGrid, depth_m: FloatArray) -> float:
    """Return the greatest depth on the first part of a line, a quarter of a cell apart."""
    if walked_m <= 0:
        return 0.0
    count = int(np.ceil(4 * walked_m / grid.cell_size_m)) + 1
    places = shapely.line_interpolate_point(line, np.linspace(0.0, walked_m, count))
    east_m, north_m = shapely.get_coordinates(places).T
    rows, cols = grid.shape
    row = np.floor((north_m - grid.south_m) / grid.cell_size_m).astype(int)
    col = np.floor((east_m - grid.west_m) / grid.cell_size_m).astype(int)
    inside = (row >= 0) & (row < rows) & (col >= 0) & (col < cols)
    return float(depth_m[row[inside], col[inside]].max(initial=0.0))
