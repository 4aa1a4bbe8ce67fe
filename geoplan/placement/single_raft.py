"""
What one raft is worth at most, wherever it lies and however it is turned.

No raft of many is worth more, so that so many times this bounds a plan: for few rafts in much water
better than their area does, which need not hold together to be worth the most.
"""

import math

import numpy as np
import shapely

from geoplan.cut_cells import cell_coverage
from geoplan.placement.allowed import AllowedRegion, grown
from geoplan.placement.bound import SLACK_M
from geoplan.placement.box_kernels import box_states, boxes_of
from geoplan.placement.pose_lattice import half_ranges, pose_tables, remainders_m, shore_points
from geoplan.placement.price_problem import cells_worth
from geoplan.placement.sum_kernels import HEADINGS, STEPS, lattice_sums
from geoplan.placement.worth import WorthSurface

#: Boxes of poses beyond which it is not looked for: some hundred bytes each.
_MOST_BOXES = 1_000_000


def most_of_one(surface: WorthSurface, region: AllowedRegion, least: float) -> float:
    """
    Return what one raft is worth at most.

    Parameters
    ----------
    surface : WorthSurface
        Worth for its type.
    region : AllowedRegion
        Where it may lie.
    least : float
        What a raft that was found is worth: only poses that may be worth more are looked at [unit
        of the benefit].

    Returns
    -------
    float
        No legal raft is worth more; infinite where too many poses may be [unit of the benefit].

    Notes
    -----
    Poses are taken in boxes of half a cell and a step of headings. In a box a raft is worth no more
    than at the best of its corners and a remainder (see `geoplan.placement.pose_lattice`). Boxes
    without a legal pose are left out, but only of those that may be worth more than ``least``.
    """
    kind, h = region.raft_type, surface.cell_size_m
    rows, cols = (STEPS * (count - 1) for count in surface.nodes.shape)
    west, south, step = surface.west_m, surface.south_m, h / STEPS
    frame = shapely.box(west, south, west + cols * step, south + rows * step)
    area = shapely.intersection(grown(region.region, SLACK_M), frame)
    worth_cells = np.repeat(np.repeat(cells_worth(surface, kind, least), STEPS, 0), STEPS, 1)
    is_wet = cell_coverage(area, west, south, step, (rows, cols)) > 0
    squares = np.argwhere(worth_cells & is_wet)
    if len(squares) * HEADINGS > _MOST_BOXES:
        return math.inf
    every = np.ones((HEADINGS, len(squares)), np.int64)
    poses, boxes, corners = boxes_of(every, squares, rows, cols)
    nodes = np.asarray(surface.nodes, float)
    tables = pose_tables(kind, 0.0, h, nodes.shape[1])
    padded = np.pad(nodes, tables.border).ravel()
    rises = remainders_m(kind, 0.0, h)[0] * half_ranges(nodes, h, kind, 0.0)
    turn, row, col = boxes[:, :3].T
    most = lattice_sums(tables, padded, poses, False)[corners].max(axis=1)
    most = (most + rises[turn, row // STEPS, col // STEPS]) * kind.planted_share
    more = np.flatnonzero(most > least)
    which = np.zeros((rows, cols), np.int64)
    which[row[more], col[more]] = 1
    asked = np.argwhere(which)
    which[tuple(asked.T)] = np.arange(len(asked))
    shore = shore_points(area, west, south)
    states = box_states(asked, shore, step, kind.length_m / 2, kind.width_m / 2)
    legal = more[states[turn[more], which[row[more], col[more]]] > 0]
    return float(most[legal].max(initial=least)) * (1 + 1e-9)
