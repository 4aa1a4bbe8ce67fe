"""
Pegs on the bank from which rafts can be taped, where the site has none.

They are proposals: who drives a peg looks for pipes and cables first, and surveys it afterwards.
"""

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from geoplan.errors import Fault
from geoplan.launch.set_out import points_to_set_out, tape_limits
from geoplan.launch.taping import LEAST_CROSSING_DEG, P95_SIGMAS, TapeLimits
from geoplan.plan import Mooring, PlacedRaft
from geoplan.settings import Settings
from geoplan.site import FloatArray, Mark, WaterBody

#: Distance of a peg from the high water's edge. Judgement [m].
OFF_THE_EDGE_M = 1.0
#: Most places on the bank that are compared, and most points that they are compared for: the
#: memory for it grows with the second power of the one and the first of the other.
_MOST_PLACES = 120
_MOST_POINTS = 240
_CLOSEST_M = 4.0
#: No more pegs than this, and none that betters the points by less than this on average [m].
_MOST_MARKS = 30
_LEAST_GAIN_M = 0.01
#: What a point without two good tapes counts as being off [m].
_NOT_TAPED_M = 10.0


def suggested_marks(
    body: WaterBody,
    high_edge: BaseGeometry,
    rafts: Sequence[PlacedRaft],
    moorings: Sequence[Mooring],
    settings: Settings,
) -> tuple[Mark, ...]:
    """
    Return pegs to drive on the bank so that what is set out can be taped from them.

    Parameters
    ----------
    body : WaterBody
        The water body, with its marks and what is kept clear.
    high_edge : BaseGeometry
        Open water at high level, working CRS [m].
    rafts : sequence of PlacedRaft
        Rafts of the plan.
    moorings : sequence of Mooring
        Their posts and anchors.
    settings : Settings
        What tapes can do.

    Returns
    -------
    tuple of Mark
        ``M1``, ``M2`` and so on, a metre from the high water's edge and outside what is kept
        clear; empty where the site has two marks or more, or nothing is set out.

    Notes
    -----
    The first is the pair, and each further one the peg, that makes the sum of the long axes of
    all points' error ellipses least; a greedy choice, good and not the best.
    """
    points_m = np.array([[p.easting_m, p.northing_m] for p in points_to_set_out(rafts, moorings)])
    if len(body.marks) > 1 or not len(points_m):
        return ()
    points_m = points_m[:: -(-len(points_m) // _MOST_POINTS)]
    places_m = _places(body, high_edge)
    given_m = np.array([[m.point.x, m.point.y] for m in body.marks]).reshape(-1, 2)
    if len(places_m) < 2:
        return ()
    off_m = _off_by_pair(points_m, np.concatenate([places_m, given_m]), tape_limits(settings))
    chosen = _chosen(off_m, list(range(len(places_m), len(places_m) + len(given_m))))
    names = _free_names({mark.mark_id for mark in body.marks}, len(chosen))
    return tuple(
        Mark(name, Point(places_m[index]))
        for name, index in zip(names, sorted(chosen), strict=True)
    )


def taping_notes(
    body: WaterBody,
    rafts: Sequence[PlacedRaft],
    moorings: Sequence[Mooring],
    suggested: Sequence[Mark],
    settings: Settings,
) -> tuple[Fault, ...]:
    """
    Return warnings about marks that were proposed and points that cannot be taped.

    Parameters
    ----------
    body : WaterBody
        The water body.
    rafts : sequence of PlacedRaft
        Rafts of the plan.
    moorings : sequence of Mooring
        Their posts and anchors.
    suggested : sequence of Mark
        Marks that the plan proposes.
    settings : Settings
        What tapes can do.

    Returns
    -------
    tuple of Fault
        None where the site's own marks serve every point.
    """
    points = points_to_set_out(rafts, moorings, (*body.marks, *suggested), settings)
    untaped = sum(point.fix is None for point in points)
    notes = []

    def warn(found: str, expected: str, remedy: str) -> None:
        notes.append(
            Fault("warning", "plan", found, expected, remedy, feature=f"water '{body.water_id}'")
        )

    if suggested:
        warn(
            f"{len(body.marks)} marks on the bank; {len(suggested)} are proposed,"
            f" '{suggested[0].mark_id}' to '{suggested[-1].mark_id}'",
            "two or more surveyed marks in the layer 'marks'",
            "Look for pipes and cables, drive them, survey them to a few centimetres, give them as"
            " layer 'marks' and plan again before anything is taped from them.",
        )
    if untaped:
        warn(
            f"{untaped} of {len(points)} points that no two marks fix by tape",
            f"two marks within {settings.setting_out.longest_tape_m:g} m whose tapes cross between"
            f" {LEAST_CROSSING_DEG:g} and {180 - LEAST_CROSSING_DEG:g} degrees",
            "Set these out by total station or survey-grade satellite receiver; a phone is off by"
            " more than the gaps between rafts.",
        )
    return tuple(notes)


def _places(body: WaterBody, high_edge: BaseGeometry) -> FloatArray:
    """Return places along the bank where a peg may stand, shape (n, 2)."""
    banks = shapely.buffer(shapely.union(high_edge, body.outline), OFF_THE_EDGE_M)
    rings = shapely.get_exterior_ring(shapely.get_parts(banks))
    whole_m = float(shapely.length(rings).sum())
    step_m = max(_CLOSEST_M, whole_m / _MOST_PLACES)
    along = [
        shapely.line_interpolate_point(ring, np.arange(0.0, ring.length, step_m)) for ring in rings
    ]
    places = np.concatenate(along) if along else np.zeros(0, object)
    for part in body.keep_clear:
        places = places[shapely.distance(places, part.geometry) > part.buffer_m]
    places_m: FloatArray = shapely.get_coordinates(places)
    return places_m


def _off_by_pair(points_m: FloatArray, marks_m: FloatArray, limits: TapeLimits) -> FloatArray:
    """Return how far each point may be off with each pair of marks, shape (points, n, n)."""
    ways = marks_m - points_m[:, None]
    tapes = np.hypot(ways[..., 0], ways[..., 1])
    units = ways / np.maximum(tapes, 1e-9)[..., None]
    cosine = np.abs(np.einsum("pic,pjc->pij", units, units))
    near = (tapes > 0) & (tapes <= limits.longest_m)
    good = near[:, :, None] & near[:, None, :]
    good &= cosine <= np.cos(np.radians(LEAST_CROSSING_DEG))
    off = P95_SIGMAS * limits.sigma_m / np.sqrt(np.where(good, 1.0 - cosine, 1.0))
    chosen: FloatArray = np.where(good, off, _NOT_TAPED_M)
    return chosen


def _chosen(off_m: FloatArray, given: list[int]) -> list[int]:
    """Return the marks to drive beside those given, the best gain first."""
    count = off_m.shape[1] - len(given)
    chosen: list[int] = []
    if not given:
        chosen = [
            int(index) for index in np.unravel_index(off_m.sum(axis=0).argmin(), (count,) * 2)
        ]
        if chosen[0] == chosen[1]:  # no pair serves any point
            return []
    best = off_m[:, given + chosen][:, :, given + chosen].min(axis=(1, 2))
    while len(chosen) < _MOST_MARKS:
        with_one_more = np.minimum(best[:, None], off_m[:, :count, given + chosen].min(axis=2))
        gain = best.mean() - with_one_more.mean(axis=0)
        index = int(gain.argmax())
        if gain[index] < _LEAST_GAIN_M:
            break
        chosen.append(index)
        best = with_one_more[:, index]
    return chosen


def _free_names(taken: set[str], count: int) -> list[str]:
    """Return the first names of the row M1, M2, ... that no mark of the site has."""
    names = (f"M{number}" for number in range(1, count + len(taken) + 1))
    return [name for name in names if name not in taken][:count]
