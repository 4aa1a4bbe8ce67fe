"""
How deep a post must go for its load, and what it bears there: the bed, or its own bending.

A screening: an engineer settles every post, and local codes prevail.
"""

import math
from dataclasses import dataclass

from geoplan.mooring.broms import Bed, CohesiveBed, GranularBed
from geoplan.post_sections import POST_SECTIONS
from geoplan.settings import Settings

#: Share of a raft's load that one post takes: half, because the sleeves' slack lets two of four
#: bear first, and what a load off centre by a tenth of the length adds, with posts a third of the
#: length apart: 1/2 + 0.1 · 3. Judgement [1].
POST_SHARE = 0.8
#: Step in which posts are driven deeper [m].
_STEP_M = 0.05


@dataclass(frozen=True)
class PostStrength:
    """
    A post in the bed, and what it bears.

    Attributes
    ----------
    embedment_m : float
        Post below the bed's surface, mud included [m].
    capacity_n : float
        Load at the water line at high level that it bears, with safety [N].
    governs : str
        ``bed`` or ``bending``.
    """

    embedment_m: float
    capacity_n: float
    governs: str


def bed_of(settings: Settings) -> Bed:
    """
    Return the bed that posts stand in.

    Parameters
    ----------
    settings : Settings
        Table ``[bed]``.

    Returns
    -------
    CohesiveBed or GranularBed
        As its soil says.
    """
    bed = settings.bed
    if bed.soil == "granular":
        return GranularBed(bed.friction_deg, bed.unit_weight_n_m3)
    return CohesiveBed(bed.shear_strength_pa)


def post_strength(
    settings: Settings, depth_m: float, load_n: float, embedment_m: float | None = None
) -> PostStrength:
    """
    Return how deep a post goes, and what it bears.

    Parameters
    ----------
    settings : Settings
        Bed, section of the post, safety, least and most embedment.
    depth_m : float
        Water at the post at high level [m].
    load_n : float
        Load on the post [N].
    embedment_m : float or None
        Embedment to judge; ``None``: the least that bears the load, and never less than
        ``mooring.embedment_m`` nor more than ``mooring.most_embedment_m`` or the longest post
        allow [m].

    Returns
    -------
    PostStrength
        The load acts at the water line; mud bears nothing, so the arm reaches down to firm bed.

    Notes
    -----
    Deeper than needed for bending helps nothing: the search stops where bending governs.
    """
    mooring = settings.mooring
    section = POST_SECTIONS[mooring.post]
    bed = bed_of(settings)
    arm = depth_m + settings.bed.mud_m
    bending = bed.bending_n(section.width_m, section.moment_n_m, arm)

    def judged(embedment: float) -> PostStrength:
        firm = max(embedment - settings.bed.mud_m, 0.0)
        soil = bed.ultimate_n(section.width_m, firm, arm) / mooring.post_safety
        return PostStrength(embedment, min(soil, bending), "bed" if soil <= bending else "bending")

    if embedment_m is not None:
        return judged(embedment_m)
    least = mooring.embedment_m
    longest = mooring.longest_post_m - mooring.travel_margin_m - depth_m
    most = min(mooring.most_embedment_m, longest)
    steps = max(0, math.floor((most - least) / _STEP_M + 1e-9))
    found = judged(least)
    for step in range(1, steps + 1):
        if found.capacity_n >= load_n or found.governs == "bending":
            break
        found = judged(round(least + step * _STEP_M, 6))
    return found
