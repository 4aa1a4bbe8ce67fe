"""
The posts of planned rafts, each with a place, a depth and a length.

Loads and what posts can bear are not known here: an engineer settles both.
"""

from collections.abc import Sequence

import numpy as np
import shapely
from scipy.ndimage import distance_transform_edt

from geoplan.errors import Fault
from geoplan.grid import SiteFields
from geoplan.mooring.posts import post_length_m, post_positions
from geoplan.plan import Mooring, PlacedRaft
from geoplan.raft import footprints
from geoplan.settings import Settings
from geoplan.site import FloatArray, WaterBody
from geoplan.water.bathymetry import RELIABLE_SIGMAS

#: Longest post that is commonly in stock. Judgement [m].
STOCK_POST_M = 6.0
_MOST_NAMED = 20


def design_moorings(
    body: WaterBody, fields: SiteFields, rafts: Sequence[PlacedRaft], settings: Settings
) -> tuple[Mooring, ...]:
    """
    Return the posts of every planned raft.

    Parameters
    ----------
    body : WaterBody
        The water body and its levels.
    fields : SiteFields
        Bed and its uncertainty.
    rafts : sequence of PlacedRaft
        Rafts of the plan; those not planned have moorings of their own.
    settings : Settings
        Margin and embedment of posts.

    Returns
    -------
    tuple of Mooring
        Four posts a raft, in the order of the rafts; ``load_n`` and ``capacity_n`` are ``None``,
        not assessed.

    Raises
    ------
    ValueError
        If a post stands off the grid.

    Notes
    -----
    A post must be long enough, so here the deeper side is the safe one: the bed is taken as low
    as it may be at 99 % in the cell of the post and the eight round it. Rafts that ask for lines
    are given posts too; `mooring_notes` names them.
    """
    planned = [raft for raft in rafts if raft.status == "planned"]
    if not planned:
        return ()
    easting_m, northing_m = _positions(planned)
    depth_m = _greatest_depth_m(body, fields, easting_m, northing_m)
    margin_m, embedment_m = settings.mooring.travel_margin_m, settings.mooring.embedment_m
    length_m = post_length_m(depth_m, margin_m, embedment_m)
    return tuple(
        Mooring(
            mooring_id=f"{raft.raft_id}-P{post + 1}",
            raft_id=raft.raft_id,
            kind="post",
            easting_m=float(easting_m[row, post]),
            northing_m=float(northing_m[row, post]),
            depth_high_m=float(depth_m[row, post]),
            length_m=float(length_m[row, post]),
            embedment_m=embedment_m,
        )
        for row, raft in enumerate(planned)
        for post in range(easting_m.shape[1])
    )


def mooring_notes(
    body: WaterBody, fields: SiteFields, rafts: Sequence[PlacedRaft], settings: Settings
) -> tuple[Fault, ...]:
    """
    Return warnings about the posts of planned rafts.

    Parameters
    ----------
    body : WaterBody
        The water body and its levels.
    fields : SiteFields
        Bed and its uncertainty.
    rafts : sequence of PlacedRaft
        Rafts of the plan.
    settings : Settings
        Raft types, margin and embedment of posts.

    Returns
    -------
    tuple of Fault
        One that names the rafts with a post longer than ``STOCK_POST_M``, one that names those
        whose type asks for lines, and one that names those with a post inside another raft.

    Raises
    ------
    ValueError
        If a post stands off the grid.
    """
    moorings = design_moorings(body, fields, rafts, settings)
    if not moorings:
        return ()
    planned = [raft for raft in rafts if raft.status == "planned"]
    wants_lines = {kind.name for kind in settings.raft if kind.mooring == "lines"}
    longest_m = max(mooring.length_m for mooring in moorings)
    cases = (
        (
            [mooring.raft_id for mooring in moorings if mooring.length_m > STOCK_POST_M],
            f"posts up to {longest_m:.2f} m long",
            f"posts of at most {STOCK_POST_M:g} m, a stock length (judgement)",
            "Lines may hold them better: they are not designed here; ask a mooring engineer.",
        ),
        (
            [raft.raft_id for raft in planned if raft.raft_type in wants_lines],
            'mooring = "lines"',
            'mooring = "posts" or "auto"',
            "Posts are shown in their stead; lines and anchors need a mooring engineer.",
        ),
        (
            _posts_in_rafts(body, rafts, moorings),
            "a post inside another raft",
            "room for posts between rafts",
            "Raise clearances.gap_m, or leave out or move that post on the day.",
        ),
    )
    return tuple(
        _warning(body, found, raft_ids, expected, remedy)
        for raft_ids, found, expected, remedy in cases
        if raft_ids
    )


def _positions(rafts: Sequence[PlacedRaft]) -> tuple[FloatArray, FloatArray]:
    """Return eastings and northings of the posts, shape (rafts, 4)."""
    return post_positions(
        [raft.easting_m for raft in rafts],
        [raft.northing_m for raft in rafts],
        [raft.heading_deg for raft in rafts],
        [raft.length_m for raft in rafts],
        [raft.width_m for raft in rafts],
    )


def _greatest_depth_m(
    body: WaterBody, fields: SiteFields, easting_m: FloatArray, northing_m: FloatArray
) -> FloatArray:
    """Return the water at high level, as deep as it may be within a cell of each place."""
    grid = fields.grid
    low_bed_m = _on_land_as_in_the_water_beside_it(fields.bed_m - RELIABLE_SIGMAS * fields.sigma_m)
    row = np.floor((northing_m - grid.south_m) / grid.cell_size_m).astype(int)
    col = np.floor((easting_m - grid.west_m) / grid.cell_size_m).astype(int)
    rows, cols = grid.shape
    if ((row < 1) | (row > rows - 2) | (col < 1) | (col > cols - 2)).any():
        raise ValueError(f"a post lies off the grid of water body '{body.water_id}'")
    around = np.arange(-1, 2)
    cells = low_bed_m[
        row[..., None, None] + around[:, None], col[..., None, None] + around[None, :]
    ]
    depth: FloatArray = np.maximum(body.levels.high_m - cells.min(axis=(-2, -1)), 0.0)
    return depth


def _on_land_as_in_the_water_beside_it(bed_m: FloatArray) -> FloatArray:
    """Give cells without a bed the one of the nearest cell that has it."""
    is_unknown = np.isnan(bed_m)
    if is_unknown.all():
        raise ValueError("no cell has a bed elevation")
    nearest = distance_transform_edt(is_unknown, return_distances=False, return_indices=True)
    filled: FloatArray = bed_m[tuple(nearest)]
    return filled


def _posts_in_rafts(
    body: WaterBody, rafts: Sequence[PlacedRaft], moorings: Sequence[Mooring]
) -> list[str]:
    """Return the rafts that have a post within the water another raft covers."""
    others = [raft for raft in rafts if raft.status != "existing"]
    outlines = [
        *footprints(
            [raft.easting_m for raft in others],
            [raft.northing_m for raft in others],
            [raft.heading_deg for raft in others],
            [raft.length_m for raft in others],
            [raft.width_m for raft in others],
        ),
        *(raft.outline for raft in body.rafts),
    ]
    posts = shapely.points([(mooring.easting_m, mooring.northing_m) for mooring in moorings])
    found, _ = shapely.STRtree(outlines).query(posts, predicate="within")
    return [moorings[index].raft_id for index in found.tolist()]


def _warning(
    body: WaterBody, found: str, raft_ids: Sequence[str], expected: str, remedy: str
) -> Fault:
    """Return a warning that names rafts, each but once, and cut where there are many."""
    names = list(dict.fromkeys(raft_ids))
    named = ", ".join(f"'{name}'" for name in names[:_MOST_NAMED])
    if len(names) > _MOST_NAMED:
        named += f" and {len(names) - _MOST_NAMED} more"
    return Fault(
        "warning",
        "plan",
        f"{found}: rafts {named}",
        expected,
        remedy,
        feature=f"water '{body.water_id}'",
    )
