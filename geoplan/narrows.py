"""
Distance through the water from its outline: narrows and thin land that cells alone would miss.

Cells close a gap narrower than themselves and leak across land thinner than themselves. Here the
cells are held against the outline: faces that land crosses are closed, and where cells join an
island to other land, or cut off a bay, they are made finer.
"""

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import Point, Polygon

from geoplan.errors import Fault
from geoplan.grid import BoolArray, WaterGrid
from geoplan.site import FloatArray
from geoplan.water.distance import distance_onward

#: Cells are split in three, so that the middle of a coarse cell is that of a fine one.
_SPLIT = 3
#: Most cells of a finer grid: half a second for each inflow.
_MOST_CELLS = 2_000_000
#: Water cut off that is too small to matter: no raft has room in it. Judgement [m²].
_PUDDLE_M2 = 20.0
#: Cells round an inflow in which its way into the water is looked for.
_NEAR_CELLS = 6


@dataclass(frozen=True, eq=False)
class WayGrid:
    """
    Cells and the faces between them through which water leads.

    Attributes
    ----------
    grid : WaterGrid
        The cells.
    closed : ndarray of bool, shape (2, rows, cols)
        True where land crosses between the centre of a cell and that of the next one north
        (first) or east (second).
    split : int
        How many cells lie along a cell of the grid that it was made from.
    is_usable : ndarray of bool, shape (rows, cols)
        Water that is no puddle cut off from the rest.
    lost : tuple of float
        Coordinates of a place where the cells still differ from the outline; empty where they
        agree [m].
    """

    grid: WaterGrid
    closed: BoolArray
    split: int
    is_usable: BoolArray
    lost: tuple[float, ...]


def way_grid(outline: Polygon, grid: WaterGrid) -> WayGrid:
    """
    Return cells through which every way of the water leads that cells of some size can show.

    Parameters
    ----------
    outline : Polygon
        Water's edge with islands as holes, working CRS [m].
    grid : WaterGrid
        Its cells.

    Returns
    -------
    WayGrid
        The same cells, or finer ones where these join islands to other land, or cut off water
        with room for a raft; at most two million.
    """
    split = 1
    while True:
        ways = _way_grid(outline, grid, split)
        finer = split * _SPLIT
        if not ways.lost or grid.water.size * finer**2 > _MOST_CELLS:
            return ways
        split = finer


def distance_from_m(ways: WayGrid, outline: Polygon, point: Point) -> FloatArray:
    """
    Return the length of the shortest way through the water from a place to every cell.

    Parameters
    ----------
    ways : WayGrid
        From ``way_grid``.
    outline : Polygon
        Water's edge, working CRS [m].
    point : Point
        The place, on the bank or in the water, working CRS [m].

    Returns
    -------
    ndarray of float, shape (rows, cols)
        Distance to the centres of the cells that ``way_grid`` was given; infinite on land and
        where no water leads [m].

    Notes
    -----
    Cells near the place that it sees across open water get the straight distance, so the way never
    starts on the far side of a causeway.
    """
    grid, h = ways.grid, ways.grid.cell_size_m
    start = shapely.get_point(shapely.shortest_line(outline, point), 0)
    row, col = _first_cells(ways, outline, start)
    known = np.full(grid.shape, np.inf)
    straight = np.hypot(grid.northing_m[row] - start.y, grid.easting_m[col] - start.x)
    known[row, col] = straight + point.distance(start)
    distance = distance_onward(grid.water, h, known, ways.closed)
    # Differences come out a little short where the front is round; no way is shorter than this.
    direct = np.hypot(grid.northing_m[:, None] - start.y, grid.easting_m - start.x)
    distance = np.maximum(distance, direct + point.distance(start))
    middle = ways.split // 2
    out: FloatArray = distance[middle :: ways.split, middle :: ways.split]
    return out


def narrows_note(ways: WayGrid, water_id: str) -> tuple[Fault, ...]:
    """
    Say where the cells still differ from the outline.

    Parameters
    ----------
    ways : WayGrid
        From ``way_grid``.
    water_id : str
        For the note.

    Returns
    -------
    tuple of Fault
        A warning, or nothing.
    """
    if not ways.lost:
        return ()
    return (
        Fault(
            "warning",
            "plan",
            f"a narrows of less than {ways.grid.cell_size_m:.2g} m near"
            f" {ways.lost[0]:.0f} m east, {ways.lost[1]:.0f} m north of the middle",
            "water as wide as a cell",
            "It counts as closed for the worth of places; if water passes there, widen the outline"
            " to show it, or set grid.cell_m.",
            feature=f"water '{water_id}'",
        ),
    )


def _way_grid(outline: Polygon, grid: WaterGrid, split: int) -> WayGrid:
    """Return the ways through cells of one size."""
    h = grid.cell_size_m / split
    rows, cols = grid.shape[0] * split, grid.shape[1] * split
    easting = grid.west_m + (np.arange(cols) + 0.5) * h
    northing = grid.south_m + (np.arange(rows) + 0.5) * h
    water = grid.water
    if split > 1:
        shapely.prepare(outline)
        water = shapely.contains_xy(outline, *np.meshgrid(easting, northing))
    fine = WaterGrid(grid.west_m, grid.south_m, h, water)
    closed = _closed_faces(outline, fine)
    label = _pools(water, closed)
    size = np.bincount(label.ravel()) * h * h
    size[0] = 0.0
    main = int(np.argmax(size))
    is_large = size >= min(_PUDDLE_M2, size[main])
    is_large[0] = False
    cut_off = np.argwhere(is_large[label] & (label != main))
    lost = _joined_island(outline, fine)
    if len(cut_off):
        row, col = cut_off[0]
        lost = float(easting[col]), float(northing[row])
    return WayGrid(fine, closed, split, is_large[label], lost)


def _closed_faces(outline: Polygon, grid: WaterGrid) -> BoolArray:
    """Return the faces between centres of cells that the outline crosses."""
    closed = np.zeros((2, *grid.shape), bool)
    rings = shapely.get_rings(outline)
    corners, ring = shapely.get_coordinates(rings, return_index=True)
    at = (corners - [grid.west_m, grid.south_m]) / grid.cell_size_m - 0.5
    joined = ring[1:] == ring[:-1]
    begin, end = at[:-1][joined], at[1:][joined]
    for axis, (along, across) in enumerate(((0, 1), (1, 0))):
        line, place = _crossings(begin[:, along], end[:, along], begin[:, across], end[:, across])
        # Axis 0: on a column's line of centres, between two rows; axis 1 the other way round.
        row, col = (place, line) if axis == 0 else (line, place)
        inside = (row >= 0) & (row < grid.shape[0]) & (col >= 0) & (col < grid.shape[1])
        closed[axis, row[inside], col[inside]] = True
    return closed


def _crossings(
    u0: FloatArray, u1: FloatArray, v0: FloatArray, v1: FloatArray
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return where pieces cross the lines of whole u: which line, and the cell of v below."""
    first = np.ceil(np.minimum(u0, u1)).astype(np.int64)
    count = np.maximum(np.floor(np.maximum(u0, u1)).astype(np.int64) - first + 1, 0)
    count[u0 == u1] = 0
    piece = np.repeat(np.arange(len(u0)), count)
    before = np.repeat(np.cumsum(count) - count, count)
    line = first[piece] + np.arange(len(piece)) - before
    share = (line - u0[piece]) / (u1[piece] - u0[piece])
    return line, np.floor(v0[piece] + share * (v1[piece] - v0[piece])).astype(np.int64)


def _pools(water: BoolArray, closed: BoolArray) -> NDArray[np.int64]:
    """Return the pool of each cell, 0 on land; closed faces part pools."""
    rows, cols = water.shape
    # Between the cells lie their faces; between the faces there is nothing.
    wide = np.zeros((2 * rows - 1, 2 * cols - 1), bool)
    wide[::2, ::2] = water
    wide[1::2, ::2] = water[:-1] & water[1:] & ~closed[0, :-1]
    wide[::2, 1::2] = water[:, :-1] & water[:, 1:] & ~closed[1, :, :-1]
    label, _ = ndimage.label(wide)
    return np.asarray(label[::2, ::2])


def _joined_island(outline: Polygon, grid: WaterGrid) -> tuple[float, ...]:
    """Return a place on an island that cells join to the bank or to another; else nothing."""
    land, _ = ndimage.label(~grid.water, structure=np.ones((3, 3)))
    taken = {int(land[0, 0])}
    h = grid.cell_size_m
    for ring in outline.interiors:
        west, south, east, north = ring.bounds
        cols = np.arange(max(0, int((west - grid.west_m) / h)), int((east - grid.west_m) / h) + 1)
        rows = np.arange(
            max(0, int((south - grid.south_m) / h)), int((north - grid.south_m) / h) + 1
        )
        inside = shapely.contains_xy(
            Polygon(ring), *np.meshgrid(grid.easting_m[cols], grid.northing_m[rows])
        )
        own = {int(part) for part in np.unique(land[np.ix_(rows, cols)][inside])} - {0}
        if own & taken:
            return float(ring.centroid.x), float(ring.centroid.y)
        taken |= own
    return ()


def _first_cells(
    ways: WayGrid, outline: Polygon, start: Point
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return row and column of the cells near a place that it sees, else of the nearest cell."""
    grid, h = ways.grid, ways.grid.cell_size_m
    row0, col0 = int((start.y - grid.south_m) // h), int((start.x - grid.west_m) // h)
    near = np.zeros(grid.shape, bool)
    reach = _NEAR_CELLS
    near[max(row0 - reach, 0) : row0 + reach + 1, max(col0 - reach, 0) : col0 + reach + 1] = True
    row, col = np.nonzero(near & ways.is_usable)
    centres = np.column_stack([grid.easting_m[col], grid.northing_m[row]])
    place = np.broadcast_to([start.x, start.y], centres.shape)
    lines = shapely.linestrings(np.stack([place, centres], axis=1))
    around = shapely.intersection(outline, start.buffer((reach + 1) * 2 * h))
    is_seen = shapely.length(shapely.difference(lines, around)) < 1e-3 * h
    if is_seen.any():
        return row[is_seen], col[is_seen]
    row, col = np.nonzero(ways.is_usable)
    away = np.hypot(grid.northing_m[row] - start.y, grid.easting_m[col] - start.x)
    nearest = np.argsort(away, kind="stable")[:1]
    return row[nearest], col[nearest]
