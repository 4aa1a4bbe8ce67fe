"""
Whether rafts of a type are held by posts or by lines on a water body, and what room that takes.

Placement asks before it places anything: the room is worst case over the water, so that no raft
needs more where it comes to lie.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from scipy.ndimage import maximum_filter, minimum_filter

from geoplan.grid import BoolArray, SiteFields
from geoplan.mooring.envelope import excursion_m, swept_envelope
from geoplan.mooring.lines import line_places, watch_radius_m
from geoplan.raft import RaftType
from geoplan.settings import Settings
from geoplan.site import FloatArray, WaterBody
from geoplan.water.bathymetry import RELIABLE_SIGMAS

#: Share of the surveyed water that posts must reach, before lines are taken instead. Judgement.
_POSTS_REACH = 0.5


@dataclass(frozen=True, eq=False)
class Holding:
    """
    How rafts of a type are held on a water body.

    Attributes
    ----------
    kind : {"posts", "lines"}
        By what.
    too_deep : ndarray of bool, shape (rows, cols)
        Cells in which posts would not do; none for lines.
    reach_m : float
        From a fairlead to above its anchor; zero for posts [m].
    excursion_m : float
        How far beyond its footprint a raft may sweep at low level, at most; zero for posts [m].
    """

    kind: Literal["posts", "lines"]
    too_deep: BoolArray
    reach_m: float = 0.0
    excursion_m: float = 0.0


def holding(body: WaterBody, fields: SiteFields, kind: RaftType, settings: Settings) -> Holding:
    """
    Return how rafts of a type are held on a water body.

    Parameters
    ----------
    body : WaterBody
        The water body and its levels.
    fields : SiteFields
        Its bed.
    kind : RaftType
        The type; ``auto`` becomes posts, unless the bed is lined or most of the water is too
        deep for them.
    settings : Settings
        Posts, lines, bed.

    Returns
    -------
    Holding
        For posts the cells that are too deep; for lines the room they take.
    """
    deep = greatest_depths_m(body, fields)
    mooring = settings.mooring
    too_deep = deep + mooring.travel_margin_m + mooring.embedment_m > mooring.longest_post_m
    too_deep &= fields.grid.water
    known = fields.grid.water & ~fields.is_unsurveyed & np.isfinite(deep)
    reached = 1.0 - float(too_deep[known].mean()) if known.any() else 1.0
    if kind.mooring == "posts" or (
        kind.mooring == "auto" and not settings.bed.lined and reached >= _POSTS_REACH
    ):
        return Holding("posts", too_deep)
    none = np.zeros_like(too_deep)
    needed = kind.draft_m + kind.root_depth_m
    anchored = known & (fields.reliable_depth_m(body.levels.low_m) >= needed)
    if not anchored.any():
        return Holding("lines", none, needed, needed)
    reach = mooring.line_spread * float(deep[anchored].max())
    length = line_lengths_m(reach, deep[anchored], settings)
    shallow = least_depths_m(body, fields)[anchored]
    radius = watch_radius_m(stretched_m(length, settings), shallow).max()
    size_m = kind.length_m, kind.width_m
    return Holding(
        "lines", none, reach, _sweep_m(*size_m, reach, float(radius), mooring.line_splay_deg)
    )


@lru_cache(maxsize=256)
def _sweep_m(
    length_m: float, width_m: float, reach_m: float, radius_m: float, splay_deg: float
) -> float:
    """Return how far a raft on lines sweeps; every rule of a water body asks for the same."""
    fairleads, anchors = line_places(length_m, width_m, reach_m, splay_deg)
    envelope = swept_envelope(length_m, width_m, fairleads, anchors, np.full(4, radius_m))
    return excursion_m(envelope, length_m, width_m)


def line_lengths_m(reach_m: float, depth_high_m: FloatArray, settings: Settings) -> FloatArray:
    """
    Return how long lines must be for high water.

    Parameters
    ----------
    reach_m : float
        From fairlead to above the anchor [m].
    depth_high_m : ndarray of float, shape (n,)
        Water over the anchors at high level, as deep as it may be [m].
    settings : Settings
        Slack.

    Returns
    -------
    ndarray of float, shape (n,)
        Straight distance and the slack; a line any shorter would pull the raft under [m].
    """
    length: FloatArray = np.hypot(reach_m, depth_high_m) * (1.0 + settings.mooring.line_slack)
    return length


def stretched_m(length_m: FloatArray, settings: Settings) -> FloatArray:
    """
    Return how long lines are under load.

    Parameters
    ----------
    length_m : ndarray of float, shape (n,)
        Lines without load [m].
    settings : Settings
        Stretch.

    Returns
    -------
    ndarray of float, shape (n,)
        With the stretch [m].
    """
    return length_m * (1.0 + settings.mooring.line_stretch)


def greatest_depths_m(body: WaterBody, fields: SiteFields) -> FloatArray:
    """
    Return the water at high level, as deep as it may be in each cell and those round it.

    Parameters
    ----------
    body : WaterBody
        Levels.
    fields : SiteFields
        The bed.

    Returns
    -------
    ndarray of float, shape (rows, cols)
        At 99 % [m].
    """
    bed = fields.bed_m - RELIABLE_SIGMAS * fields.sigma_m
    low = minimum_filter(np.where(np.isfinite(bed), bed, np.inf), size=3)
    depth: FloatArray = np.maximum(body.levels.high_m - low, 0.0)
    return depth


def least_depths_m(body: WaterBody, fields: SiteFields, level_m: float | None = None) -> FloatArray:
    """
    Return the water at a level, as shallow as it may be in each cell and those round it.

    Parameters
    ----------
    body : WaterBody
        Levels.
    fields : SiteFields
        The bed.
    level_m : float or None
        Height above the vertical datum; ``None``: the low level [m].

    Returns
    -------
    ndarray of float, shape (rows, cols)
        At 99 % [m].
    """
    bed = fields.bed_m + RELIABLE_SIGMAS * fields.sigma_m
    high = maximum_filter(np.where(np.isfinite(bed), bed, -np.inf), size=3)
    depth: FloatArray = np.maximum((body.levels.low_m if level_m is None else level_m) - high, 0.0)
    return depth
