"""The rules of a water body as a page needs them to try rafts elsewhere, on the safe side."""

import math
from functools import lru_cache

import numpy as np
from scipy.ndimage import maximum_filter

from geoplan.mooring.holding import greatest_depths_m
from geoplan.mooring.strength import post_strength
from geoplan.placement.allowed import Surroundings
from geoplan.placement.headings import FREE_DEG, Headings
from geoplan.placement.rules import GAP, DepthForRoots
from geoplan.settings import Settings
from geoplan.site import FloatArray
from geoplan.tried import TrialRules, TriedHeading, TriedKind

#: Cells that a page carries for depths at high level, about so wide [m].
_BLOCK_M = 3.0
#: Step of depth in the table of posts, and what an embedment may jump by within one [m].
_DEPTH_STEP_M = 0.1
_EMBEDMENT_STEP_M = 0.05
#: Headings are told in such steps [°].
_HEADING_STEP_DEG = 0.5


def trial_rules(around: Surroundings) -> TrialRules:
    """
    Return the rules by which rafts may be tried on a page.

    Parameters
    ----------
    around : Surroundings
        The water body, its fields and settings.

    Returns
    -------
    TrialRules
        Depths at high level are no less, and posts no shorter, than those of the plan.
    """
    settings, grid = around.settings, around.fields.grid
    kinds = []
    for kind in settings.raft:
        held = around.holding_of(kind)
        need = DepthForRoots().need_m(around, kind)
        apart = GAP.to_existing_m(around, kind)
        size = (kind.length_m, kind.width_m)
        kinds.append(TriedKind(kind.name, *size, need, held.kind, held.reach_m, apart))
    merged = max(1, round(_BLOCK_M / grid.cell_size_m))
    deep = _greatest_of_blocks(_deep_m(around), merged)
    return TrialRules(
        gap_m=GAP.gap_m(around),
        kinds=tuple(kinds),
        west_m=grid.west_m,
        south_m=grid.south_m,
        cell_size_m=grid.cell_size_m * merged,
        depth_high_m=deep,
        post_length_m=post_lengths_m(settings, float(np.nanmax(deep, initial=0.0))),
        line_stretch=1.0 + settings.mooring.line_slack,
        heading=tried_heading(around.headings),
    )


def tried_heading(headings: Headings | None) -> TriedHeading | None:
    """
    Return the headings of a water body in half degrees, never wider than they are.

    Parameters
    ----------
    headings : Headings or None
        Which way rafts may lie; ``None``: any.

    Returns
    -------
    TriedHeading or None
        A band loses what rounding its middle may take, and what is left is rounded down.
    """
    if headings is None:
        return None
    step = _HEADING_STEP_DEG
    middle, half = headings.middle_deg, headings.half_deg
    if np.ptp(middle) > 0 or np.ptp(half) > 0:
        rounded = np.round(middle / step) * step
        left = np.floor((half - np.abs(middle - rounded)) / step + 1e-9) * step
        held = np.where(half < 0, -1.0, np.maximum(left, -1.0))
        half = np.where(half >= FREE_DEG, FREE_DEG, np.minimum(held, FREE_DEG - step))
        # What is not told apart is packed best as one number.
        middle = np.where((half < 0) | (half >= FREE_DEG), 0.0, rounded % 180.0)
    else:
        middle, half = middle[:1, :1], np.minimum(half[:1, :1], FREE_DEG)
    place = (headings.west_m, headings.south_m, headings.cell_size_m)
    return TriedHeading(headings.along, *place, middle, half)


def _deep_m(around: Surroundings) -> FloatArray:
    """Return depths at high level, each the greatest of its surroundings; NaN where unknown [m]."""
    deep = greatest_depths_m(around.body, around.fields)
    known = np.isfinite(around.fields.bed_m)
    # A post beside unknown ground is as long as the nearest known bed asks, two cells off at most.
    widest: FloatArray = maximum_filter(np.where(np.isfinite(deep), deep, 0.0), size=5)
    near = maximum_filter(known, size=5)
    return np.where(near, widest, np.nan)


def _greatest_of_blocks(depth_m: FloatArray, merged: int) -> FloatArray:
    """Return the greatest depth of each block of cells, NaN where none is known."""
    rows, cols = (-(-size // merged) for size in depth_m.shape)
    padded = np.full((rows * merged, cols * merged), np.nan)
    padded[: depth_m.shape[0], : depth_m.shape[1]] = depth_m
    blocks = padded.reshape(rows, merged, cols, merged)
    out: FloatArray = np.fmax.reduce(np.fmax.reduce(blocks, axis=3), axis=1)
    return out


def post_lengths_m(settings: Settings, deepest_m: float) -> FloatArray:
    """
    Return the longest post that any load asks for, by depth.

    Parameters
    ----------
    settings : Settings
        Posts and bed.
    deepest_m : float
        Deepest water at high level [m].

    Returns
    -------
    ndarray of float, shape (n,)
        In water of at most 0, 0.1, 0.2 ... m: depth, margin above and embedment [m].

    Notes
    -----
    A larger load never asks for less embedment, so that of an endless load is the greatest. It
    is taken at the ends of each step of depth, with a step of embedment more.
    """
    count = math.ceil(deepest_m / _DEPTH_STEP_M) + 2
    depth = np.arange(count) * _DEPTH_STEP_M
    embedment = np.array(_embedments_m(settings, count))
    before = np.concatenate([embedment[:1], embedment[:-1]])
    most = np.maximum(embedment, before) + _EMBEDMENT_STEP_M
    length = depth + settings.mooring.travel_margin_m + most
    return np.maximum.accumulate(length)


@lru_cache(maxsize=64)
def _embedments_m(settings: Settings, count: int) -> tuple[float, ...]:
    """Return how deep posts go under an endless load, alike on all water bodies of a site."""
    return tuple(
        post_strength(settings, step * _DEPTH_STEP_M, math.inf).embedment_m for step in range(count)
    )
