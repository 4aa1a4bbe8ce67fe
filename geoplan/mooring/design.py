"""
The posts or lines of planned rafts, each with a place, a depth, a length, a load and a capacity.

A screening for an engineer, who must sign every load and every capacity; local codes prevail.
"""

import math
from collections.abc import Mapping, Sequence

import numpy as np
from scipy.ndimage import distance_transform_edt

from geoplan.grid import SiteFields
from geoplan.mooring.holding import (
    Holding,
    holding,
    least_depths_m,
    line_lengths_m,
    stretched_m,
)
from geoplan.mooring.lines import dead_weight_kg, line_places, placed, watch_radius_m
from geoplan.mooring.loads import LoadCase
from geoplan.mooring.posts import post_length_m, post_positions
from geoplan.mooring.strength import POST_SHARE, post_strength
from geoplan.plan import Mooring, PlacedRaft
from geoplan.settings import Settings
from geoplan.site import FloatArray, WaterBody
from geoplan.water.bathymetry import RELIABLE_SIGMAS


def design_moorings(
    body: WaterBody,
    fields: SiteFields,
    rafts: Sequence[PlacedRaft],
    settings: Settings,
    loads: Mapping[str, LoadCase] | None = None,
) -> tuple[Mooring, ...]:
    """
    Return the posts or lines of every planned raft.

    Parameters
    ----------
    body : WaterBody
        The water body and its levels.
    fields : SiteFields
        Bed and its uncertainty.
    rafts : sequence of PlacedRaft
        Rafts of the plan; those not planned have moorings of their own.
    settings : Settings
        Posts, lines and bed.
    loads : mapping of str to LoadCase or None
        Load on each raft; ``None``: not assessed, and posts go in as far as the settings say.

    Returns
    -------
    tuple of Mooring
        Four posts or four lines a raft, in the order of the rafts.

    Raises
    ------
    ValueError
        If a post or an anchor stands off the grid.

    Notes
    -----
    A post must be long enough, so here the deeper side is the safe one: the bed is taken as low
    as it may be at 99 % in the cell of the post and the eight round it, and by straight lines
    between soundings where those lie lower. So is a line.
    """
    kinds = {kind.name: kind for kind in settings.raft}
    held: dict[str, Holding] = {}
    low_bed = _low_bed_m(fields)
    out: list[Mooring] = []
    for raft in rafts:
        if raft.status != "planned":
            continue
        kind = kinds.get(raft.raft_type)
        if kind is not None and kind.name not in held:
            held[kind.name] = holding(body, fields, kind, settings)
        load = (loads or {}).get(raft.raft_id)
        if kind is not None and held[kind.name].kind == "lines":
            made = _lines(body, fields, low_bed, raft, held[kind.name], settings, load)
        else:
            made = _posts(body, fields, low_bed, raft, settings, load)
        out += made
    return tuple(out)


def _posts(
    body: WaterBody,
    fields: SiteFields,
    low_bed_m: FloatArray,
    raft: PlacedRaft,
    settings: Settings,
    load: LoadCase | None,
) -> list[Mooring]:
    """Return the posts of one raft."""
    east, north = (
        part[0]
        for part in post_positions(
            raft.easting_m, raft.northing_m, raft.heading_deg, raft.length_m, raft.width_m
        )
    )
    depth = _greatest_depth_m(body, fields, low_bed_m, east, north)
    share = None if load is None else POST_SHARE * load.load_n
    out = []
    for post in range(len(east)):
        embedment, capacity, governs = settings.mooring.embedment_m, None, ""
        if share is not None:
            found = post_strength(settings, float(depth[post]), share)
            embedment, capacity, governs = found.embedment_m, found.capacity_n, found.governs
        length = post_length_m(depth[post], settings.mooring.travel_margin_m, embedment)
        out.append(
            Mooring(
                mooring_id=f"{raft.raft_id}-P{post + 1}",
                raft_id=raft.raft_id,
                kind="post",
                easting_m=float(east[post]),
                northing_m=float(north[post]),
                depth_high_m=float(depth[post]),
                length_m=float(length),
                embedment_m=embedment,
                load_n=share,
                capacity_n=capacity,
                load_case="" if load is None else load.words,
                governs=governs,
            )
        )
    return out


def _lines(
    body: WaterBody,
    fields: SiteFields,
    low_bed_m: FloatArray,
    raft: PlacedRaft,
    held: Holding,
    settings: Settings,
    load: LoadCase | None,
) -> list[Mooring]:
    """Return the anchors of one raft, with the lines to them."""
    fairleads, anchors = _line_ends(raft, held, settings)
    depth = _greatest_depth_m(body, fields, low_bed_m, anchors[:, 0], anchors[:, 1])
    length = line_lengths_m(held.reach_m, depth, settings)
    row, col = fields.grid.cells_of(anchors[:, 0], anchors[:, 1])
    shallow = least_depths_m(body, fields)[row, col]
    radius = watch_radius_m(stretched_m(length, settings), shallow)
    out = []
    for line in range(len(anchors)):
        pull, capacity, block = _anchor(settings, load, held.reach_m, float(depth[line]))
        out.append(
            Mooring(
                mooring_id=f"{raft.raft_id}-A{line + 1}",
                raft_id=raft.raft_id,
                kind="anchor",
                easting_m=float(anchors[line, 0]),
                northing_m=float(anchors[line, 1]),
                depth_high_m=float(depth[line]),
                length_m=float(length[line]),
                embedment_m=0.0,
                load_n=pull,
                capacity_n=capacity,
                load_case="" if load is None else load.words,
                governs="" if load is None else settings.mooring.anchor,
                fairlead_easting_m=float(fairleads[line, 0]),
                fairlead_northing_m=float(fairleads[line, 1]),
                watch_radius_low_m=float(radius[line]),
                block_kg=block,
            )
        )
    return out


def _line_ends(
    raft: PlacedRaft, held: Holding, settings: Settings
) -> tuple[FloatArray, FloatArray]:
    """Return fairleads and anchors of a raft on the plan, shape (4, 2) each [m]."""
    fairleads, anchors = line_places(
        raft.length_m, raft.width_m, held.reach_m, settings.mooring.line_splay_deg
    )
    pose = (raft.easting_m, raft.northing_m, raft.heading_deg)
    return placed(fairleads, *pose), placed(anchors, *pose)


def _anchor(
    settings: Settings, load: LoadCase | None, reach_m: float, depth_m: float
) -> tuple[float | None, float | None, float | None]:
    """Return the pull of a line that bears the whole raft, what its anchor bears, and its mass."""
    if load is None:
        return None, None, None
    mooring = settings.mooring
    lift = load.load_n * depth_m / reach_m
    pull = math.hypot(load.load_n, lift)
    if mooring.anchor == "dead_weight":
        mass = dead_weight_kg(
            load.load_n, lift, mooring.block_friction, mooring.line_safety, mooring.block_kg_m3
        )
        return pull, pull, math.ceil(mass / 10.0) * 10.0
    proof = mooring.anchor_proof_n
    return pull, None if proof is None else proof / mooring.line_safety, None


def _low_bed_m(fields: SiteFields) -> FloatArray:
    """Return the bed as low as it may be; on land as in the water beside it [m]."""
    linear = fields.bed_m if fields.edge_bed_m is None else fields.edge_bed_m
    bed = np.minimum(fields.bed_m, linear) - RELIABLE_SIGMAS * fields.sigma_m
    is_unknown = np.isnan(bed)
    if is_unknown.all():
        return bed
    nearest = distance_transform_edt(is_unknown, return_distances=False, return_indices=True)
    filled: FloatArray = bed[tuple(nearest)]
    return filled


def _greatest_depth_m(
    body: WaterBody,
    fields: SiteFields,
    low_bed_m: FloatArray,
    easting_m: FloatArray,
    northing_m: FloatArray,
) -> FloatArray:
    """Return the water at high level, as deep as it may be within a cell of each place."""
    row, col = fields.grid.cells_of(easting_m, northing_m)
    rows, cols = fields.grid.shape
    if ((row < 1) | (row > rows - 2) | (col < 1) | (col > cols - 2)).any():
        raise ValueError(f"a post or anchor lies off the grid of water body '{body.water_id}'")
    if np.isnan(low_bed_m).all():
        raise ValueError("no cell has a bed elevation")
    around = np.arange(-1, 2)
    cells = low_bed_m[
        row[..., None, None] + around[:, None], col[..., None, None] + around[None, :]
    ]
    depth: FloatArray = np.maximum(body.levels.high_m - cells.min(axis=(-2, -1)), 0.0)
    return depth
