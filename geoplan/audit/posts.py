"""
Checks of the posts of each raft: how many, where, and how long.

A post stands just outside a long side, at one third or two thirds of it, and reaches from its
embedment to the margin above high level.
"""

from collections.abc import Iterator

import numpy as np
import shapely

from geoplan.audit.evidence import Case, Evidence, JudgedRaft, number, stray
from geoplan.audit.frame import FloatArray
from geoplan.plan import Finding
from geoplan.written import WrittenMooring

#: Farthest that a post may stand from its side [m].
SIDE_REACH_M = 0.5
#: Departure along the side from one third or two thirds [m].
ALONG_TOLERANCE_M = 0.05
#: Length that a post may lack by rounding [m].
LENGTH_TOLERANCE_M = 0.02
#: Posts without which a raft turns.
LEAST_POSTS = 3


def check_post(case: Case) -> Iterator[Finding]:
    """
    Hold the posts of each planned raft against its sides, other rafts and the depth there.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Faults of the posts, limit 0, for each raft; each fault is named. Rafts as built are left
        out: their posts have been seen. Posts of no raft of the plan fail by themselves.
    """
    yield from stray("post", case.written.rafts, [post.raft_id for post in case.written.moorings])
    for evidence in case.waters:
        posts: dict[str, list[WrittenMooring]] = {}
        for post in evidence.moorings:
            posts.setdefault(post.raft_id, []).append(post)
        outlines = [raft.outline for raft in evidence.rafts]
        outlines += [outline for _, outline in evidence.existing]
        tree = shapely.STRtree(outlines)
        for raft in evidence.rafts:
            if raft.row.status == "as_built":
                continue
            own = posts.get(raft.row.raft_id, [])
            if own and all(post.kind == "anchor" for post in own):
                continue
            faults = _faults(evidence, raft, own, tree)
            words = "; ".join(faults) + "; correct the posts" if faults else f"{len(own)} posts"
            yield Finding(
                "post",
                raft.row.water_id,
                raft.row.raft_id,
                float(len(faults)),
                0.0,
                "faults",
                not faults,
                words,
            )


def _faults(
    evidence: Evidence, raft: JudgedRaft, posts: list[WrittenMooring], tree: shapely.STRtree
) -> list[str]:
    """Return what is wrong with the posts of one raft, in words."""
    faults = []
    if len(posts) < LEAST_POSTS:
        faults.append(f"{len(posts)} posts, at least {LEAST_POSTS} wanted")
    good, places = [], []
    for post in posts:
        place = evidence.frame.place_of(number(post.easting_m), number(post.northing_m))
        if post.kind != "post":
            faults.append(f"{post.mooring_id} is of kind {post.kind!r}, which needs an engineer")
        elif place is None:
            faults.append(f"{post.mooring_id} has no place")
        else:
            good.append(post)
            places.append(place)
    if not good:
        return faults
    at = np.array(places)
    faults += _standing_faults(raft, good, at)
    inside = {int(k) for k in tree.query(shapely.points(at), predicate="within")[0]}
    faults += [f"{good[k].mooring_id} stands inside a raft" for k in sorted(inside)]
    return faults + _length_faults(evidence, good, at)


def _standing_faults(
    raft: JudgedRaft, posts: list[WrittenMooring], places: FloatArray
) -> list[str]:
    """Return the posts that do not stand at a third of a long side, each by itself."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(raft.outline))[:4]
    sides = [corners[1] - corners[0], corners[2] - corners[1]]
    lengths = [float(np.hypot(*side)) for side in sides]
    centre = corners.mean(axis=0)
    tried = []
    for ahead, across in ((0, 1), (1, 0)):
        is_long = lengths[ahead] >= lengths[across] - 2 * ALONG_TOLERANCE_M
        if is_long and min(lengths) > 0:
            along = (places - centre) @ (sides[ahead] / lengths[ahead])
            out = (places - centre) @ (sides[across] / lengths[across])
            tried.append(_slot_faults(posts, along, out, lengths[ahead], lengths[across]))
    return min(tried, key=len, default=["its outline has no sides"])


def _slot_faults(
    posts: list[WrittenMooring], along: FloatArray, out: FloatArray, length: float, width: float
) -> list[str]:
    """Return the posts that are not in one of the four slots of a rectangle, or share one."""
    faults = []
    taken: set[tuple[bool, bool]] = set()
    off_side = np.abs(np.abs(out) - width / 2)
    off_third = np.abs(np.abs(along) - length / 6)
    for index, post in enumerate(posts):
        slot = (bool(along[index] > 0), bool(out[index] > 0))
        if off_side[index] > SIDE_REACH_M:
            faults.append(f"{post.mooring_id} stands {off_side[index]:.2f} m from a long side")
        elif off_third[index] > ALONG_TOLERANCE_M:
            faults.append(
                f"{post.mooring_id} stands {off_third[index]:.2f} m from a third of the side"
            )
        elif slot in taken:
            faults.append(f"{post.mooring_id} stands where another post does")
        taken.add(slot)
    return faults


def _length_faults(
    evidence: Evidence, posts: list[WrittenMooring], places: FloatArray
) -> list[str]:
    """Return the posts that are too short for the water at high level."""
    bed, _ = evidence.bed.at(places)
    mooring = evidence.settings.mooring
    faults = []
    for post, height in zip(posts, bed, strict=True):
        depth = max(0.0, evidence.body.levels.high_m - float(height))
        need = depth + mooring.travel_margin_m + mooring.embedment_m
        if not number(post.length_m) >= need - LENGTH_TOLERANCE_M:
            faults.append(f"{post.mooring_id} is {post.length_m} m long, {need:.2f} m wanted")
    return faults
