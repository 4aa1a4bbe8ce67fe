"""
Whether posts and lines of the plan still serve a raft where it lies.

Posts are driven through the sleeves of a raft, so they stand where it lies and must be long enough
for the water there; anchors stay where the plan has them, so lines must reach them from the corners
of the raft at high level. The error of the survey is carried through: the deepest water that a post
may stand in, the farthest that a corner may be.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geoplan.audit.evidence import Case, Evidence, JudgedRaft, case_of, number
from geoplan.audit.strength import place_of
from geoplan.plan import Finding
from geoplan.site import Site
from geoplan.written import WrittenMooring, WrittenPlan

FloatArray = NDArray[np.float64]

#: Length that a cut of a post or a splice of a line may lack [m]; as the audit of the plan.
TOLERANCE_M = 0.02
#: Orders of corners that fit as well as the best, to this much, are told apart by their turn [m].
_MISFIT_M = 1e-3
#: Directions in which deeper water is looked for round a post.
_ROUND = np.radians(np.arange(0.0, 360.0, 22.5))


@dataclass(frozen=True)
class _Need:
    """Length that one post or line needs as fitted and at worst, and the length planned [m]."""

    mooring_id: str
    is_post: bool
    fitted_m: float
    worst_m: float
    planned_m: float


def holding_findings(
    lying: WrittenPlan, planned: WrittenPlan, site: Site, error_m: dict[str, float]
) -> Iterator[tuple[Finding, Finding]]:
    """
    Yield, for each raft that the plan holds, the length that it needs where it lies.

    Parameters
    ----------
    lying : WrittenPlan
        The rafts as they lie.
    planned : WrittenPlan
        The plan, for its posts, anchors and rafts.
    site : Site
        The raw site.
    error_m : dict of str to float
        What any point of each raft may be off, by its name [m].

    Yields
    ------
    tuple of (Finding, Finding)
        Length needed by the post or line that lacks most against the length planned [m]: at the
        fitted place, and at the worst place within the survey's error.
    """
    held = _by_raft(planned.moorings)
    were = {raft.raft_id: raft.outline for raft in planned.rafts}
    case: Case = case_of(lying, site)
    for evidence in case.waters:
        for raft in evidence.rafts:
            name = raft.row.raft_id
            if name in held and name in were:
                was = evidence.frame.of_file(were[name])
                doubt = error_m.get(name, 0.0)
                needs = _needs(evidence, raft, was, held[name], doubt)
                if needs:
                    fitted = max(needs, key=lambda one: one.fitted_m - one.planned_m)
                    worst = max(needs, key=lambda one: one.worst_m - one.planned_m)
                    yield (
                        _finding(raft, fitted, fitted.fitted_m),
                        _finding(raft, worst, worst.worst_m),
                    )


def _by_raft(moorings: Sequence[WrittenMooring]) -> dict[str, list[WrittenMooring]]:
    """Return posts and anchors by the raft they hold."""
    out: dict[str, list[WrittenMooring]] = {}
    for mooring in moorings:
        out.setdefault(mooring.raft_id, []).append(mooring)
    return out


def _needs(
    evidence: Evidence,
    raft: JudgedRaft,
    was: shapely.Polygon,
    parts: Sequence[WrittenMooring],
    doubt_m: float,
) -> list[_Need]:
    """Return what each post or line of a raft needs."""
    known = [(part, place_of(evidence, part)) for part in parts]
    known = [(part, place) for part, place in known if place is not None]
    if not known:
        return []
    places = np.array([place for _, place in known])
    is_post = np.array([part.kind == "post" for part, _ in known])
    posts = _need_of_posts(evidence, _carried(places, was, raft.outline), doubt_m)
    lines = _need_of_lines(evidence, places, was, raft.outline, doubt_m)
    return [
        _Need(
            part.mooring_id,
            bool(is_post[k]),
            *(posts[k] if is_post[k] else lines[k]),
            number(part.length_m),
        )
        for k, (part, _) in enumerate(known)
    ]


def _carried(places: FloatArray, was: shapely.Polygon, lies: shapely.Polygon) -> FloatArray:
    """Return places that go with a raft from where it was planned to where it lies."""
    there, here = (shapely.get_coordinates(shapely.orient_polygons(one))[:4] for one in (was, lies))
    middle, now = there.mean(axis=0), here.mean(axis=0)
    arms = [np.roll(here - now, -k, axis=0) for k in range(4)]
    # Long sides go with long sides; of the two ways left, half a turn apart, the lesser is meant.
    fits = [_turn(there - middle, arm) for arm in arms]
    least_m = min(misfit for misfit, _ in fits)
    angle = min((angle for misfit, angle in fits if misfit < least_m + _MISFIT_M), key=abs)
    spin = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    out: FloatArray = (places - middle) @ spin.T + now
    return out


def _turn(there: FloatArray, here: FloatArray) -> tuple[float, float]:
    """Return the misfit of corners turned about one middle onto others [m], and the turn [rad]."""
    cross = float((there[:, 0] * here[:, 1] - there[:, 1] * here[:, 0]).sum())
    angle = math.atan2(cross, float((there * here).sum()))
    spin = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    return float(np.hypot(*(there @ spin.T - here).T).max()), angle


def _need_of_posts(
    evidence: Evidence, places: FloatArray, doubt_m: float
) -> list[tuple[float, float]]:
    """Return the lengths of posts as fitted and in the deepest water within the doubt [m]."""
    mooring = evidence.settings.mooring
    fixed = mooring.travel_margin_m + mooring.embedment_m
    rim = np.column_stack([np.cos(_ROUND), np.sin(_ROUND)]) * doubt_m
    around = (places[:, None, :] + np.vstack([np.zeros((1, 2)), rim])[None]).reshape(-1, 2)
    bed, _ = evidence.bed.at(around)
    depth = _depth_high_m(evidence, bed).reshape(len(places), -1)
    return [(float(row[0]) + fixed, float(row.max()) + fixed) for row in depth]


def _depth_high_m(evidence: Evidence, bed_m: FloatArray) -> FloatArray:
    """Return the water over the bed at high level; without end where no bed is known [m]."""
    depth = np.maximum(evidence.body.levels.high_m - np.asarray(bed_m, float), 0.0)
    return np.where(np.isfinite(depth), depth, math.inf)


def _need_of_lines(
    evidence: Evidence,
    anchors: FloatArray,
    was: shapely.Polygon,
    lies: shapely.Polygon,
    doubt_m: float,
) -> list[tuple[float, float]]:
    """Return the lengths of lines at high level, as fitted and with the corner farthest off [m]."""
    bed, _ = evidence.bed.at(anchors)
    depth = _depth_high_m(evidence, bed)
    corners = shapely.get_coordinates(was)[:4]
    away = np.hypot(*(anchors[:, None] - corners[None]).transpose(2, 0, 1))
    leads = _carried(corners[away.argmin(axis=1)], was, lies)
    flat = np.hypot(*(anchors - leads).T)
    return [
        (math.hypot(float(f), float(d)), math.hypot(float(f) + doubt_m, float(d)))
        for f, d in zip(flat, depth, strict=True)
    ]


def _finding(raft: JudgedRaft, need: _Need, needed_m: float) -> Finding:
    """Return one finding; a length that is not known fails."""
    kind = "the post" if need.is_post else "the line at high level"
    planned = need.planned_m
    words = (
        f"{need.mooring_id}: {kind} needs {needed_m:.2f} m where the raft lies,"
        f" {planned:.2f} m planned"
    )
    if not math.isfinite(needed_m):
        words = f"{need.mooring_id} stands where the bed is not surveyed; {planned:.2f} m planned"
    passed = bool(needed_m <= planned + TOLERANCE_M)
    row = raft.row
    return Finding(
        "mooring length", row.water_id, row.raft_id, needed_m, planned, "m", passed, words
    )
