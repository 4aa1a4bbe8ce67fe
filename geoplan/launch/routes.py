"""The routes of a plan: ways in order of launching, and what a reader must know of them."""

import math
from collections.abc import Sequence

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from geoplan.errors import Fault
from geoplan.grid import SiteFields
from geoplan.launch.free_water import SweptDepth
from geoplan.launch.no_way import why_no_way
from geoplan.launch.sequence import LaunchOrder, ordered
from geoplan.launch.ways import DRAFT_MARGIN_M, Lake, Way, raft_places, ways_to
from geoplan.plan import NoRoute, PlacedRaft, Route
from geoplan.settings import Settings
from geoplan.site import WaterBody

#: Longest wading leg that is not remarked on. Judgement [m].
LONG_WADE_M = 10.0
_MOST_NAMED = 20
_BARRED = (
    "past the others in their places no way is as wide as it: launch it before them and hold it"
    " beside its place until they have passed, or leave it out or move it"
)


def tow_routes(
    body: WaterBody,
    fields: SiteFields,
    edges_low: BaseGeometry,
    rafts: Sequence[PlacedRaft],
    settings: Settings,
) -> tuple[tuple[Route, ...], tuple[NoRoute, ...], tuple[Fault, ...]]:
    """
    Return the way of each planned raft and the order of launching.

    Parameters
    ----------
    body : WaterBody
        The water body, its launch places and the rafts in it already.
    fields : SiteFields
        Bed and its uncertainty.
    edges_low : BaseGeometry
        Open water at low level, working CRS [m].
    rafts : sequence of PlacedRaft
        Rafts of the plan; those not planned are obstacles.
    settings : Settings
        Raft types and wading depth.

    Returns
    -------
    tuple of Route
        In order of launching. A route begins on the bank with a straight wading leg and ends in
        the raft's centre; its least depth is that under the whole width towed, the wading leg
        left out.
    tuple of NoRoute
        Rafts that no way leads to, and why; empty where the site names no launch place.
    tuple of Fault
        Warnings: rafts that cannot be reached, a wading leg that is long or deep, and rafts
        that block each other.

    Raises
    ------
    ValueError
        If a raft is of a type that the settings do not have.

    Notes
    -----
    The way is the shortest through water whose reliable depth at low level is at least the draft
    and ``DRAFT_MARGIN_M``, half the raft's width away from anything else; only within its own
    place may a raft be nearer. Where the raft cannot be towed, turned and hauled along it, the
    shortest way on which it could turn anywhere is taken. The farthest raft goes first, but none
    after one that lies in the water it sweeps; where that cannot be, the later one is led round
    those in place, or drawn past them without room to turn, which is said. Where no way past the
    others is as wide as it, a raft is left without a route.
    """
    planned = [raft for raft in rafts if raft.status == "planned"]
    if not planned:
        return (), (), ()
    if not body.launches:
        return (), (), (_no_launch(body, planned),)
    lake = Lake.of(body, fields, edges_low, settings)
    there = _rafts_there(body, rafts)
    ways = ways_to(lake, planned, there)
    lost = why_no_way(lake, [raft for raft in planned if raft.raft_id not in ways], there)
    found = ordered(lake, [raft for raft in planned if raft.raft_id in ways], ways, there)
    routes = _routes(lake, found.steps, there)
    barred = tuple(NoRoute(raft.raft_id, _BARRED) for raft in found.barred)
    notes = (
        *_unreached(body, lost),
        *_wading_notes(lake, found.steps),
        *_tight(body, found.steps),
        *_blocked(body, found),
    )
    return routes, lost + barred, notes


def _routes(
    lake: Lake, steps: Sequence[tuple[PlacedRaft, Way]], there: Sequence[Polygon]
) -> tuple[Route, ...]:
    """Return the routes in order, each with what it keeps from the bank, shoals and rafts."""
    swept = SweptDepth(lake.fields.grid, lake.depth_low_m)
    places = raft_places([raft for raft, _ in steps])
    shores: dict[float, BaseGeometry] = {}
    out = []
    for index, (raft, way) in enumerate(steps):
        draft_m = lake.type_of(raft).draft_m
        if draft_m not in shores:
            shores[draft_m] = shapely.boundary(lake.free_for(raft, there))
        near = [shores[draft_m], *places[:index]]
        out.append(
            Route(
                raft_id=raft.raft_id,
                launch_id=way.launch_id,
                sequence=index + 1,
                path=way.line,
                length_m=way.line.length,
                least_depth_m=swept.least_m(way.tow, raft.width_m / 2),
                clearance_m=float(shapely.distance(way.open_tow, near).min()),
                turn_before_m=way.manoeuvre.turn_before_m,
                has_room=way.manoeuvre.is_clear,
                bank_reason=way.bank_reason,
                need_m=draft_m + DRAFT_MARGIN_M,
                width_m=raft.width_m,
                turning_m=math.hypot(raft.length_m, raft.width_m),
                wade_m=way.leg.line.length,
                wade_depth_m=way.leg.deepest_m,
                plant_depth_m=way.leg.afloat_depth_m,
                mass_kg=way.handling.mass_kg,
                people=way.handling.people,
                brought_by=way.handling.by,
                haul_n=way.handling.haul_n,
            )
        )
    return tuple(out)


def _rafts_there(body: WaterBody, rafts: Sequence[PlacedRaft]) -> list[Polygon]:
    """Return the outlines of rafts that are in the water before the first is launched."""
    known = {raft.raft_id for raft in body.rafts}
    placed = [raft for raft in rafts if raft.status != "planned" and raft.raft_id not in known]
    return [*(raft.outline for raft in body.rafts), *raft_places(placed)]


def _warning(body: WaterBody, found: str, expected: str, remedy: str) -> Fault:
    """Return a warning about the launching of a water body."""
    return Fault("warning", "plan", found, expected, remedy, feature=f"water '{body.water_id}'")


def _names(raft_ids: Sequence[str]) -> str:
    """Return the names of rafts for a sentence, cut where there are many."""
    named = ", ".join(f"'{raft_id}'" for raft_id in raft_ids[:_MOST_NAMED])
    more = len(raft_ids) - _MOST_NAMED
    return f"{named} and {more} more" if more > 0 else named


def _no_launch(body: WaterBody, rafts: Sequence[PlacedRaft]) -> Fault:
    """Return the warning that no bank to launch from is known."""
    return _warning(
        body,
        f"no launch place for rafts {_names([raft.raft_id for raft in rafts])}",
        "a bank from which they can be launched",
        "No route is given; add the layer 'launches'.",
    )


def _unreached(body: WaterBody, lost: Sequence[NoRoute]) -> list[Fault]:
    """Return a warning for each reason that no route leads to rafts, which it names."""
    reasons = dict.fromkeys(one.why_no_way for one in lost)
    return [
        _warning(
            body,
            "no way from any launch place to rafts"
            f" {_names([one.raft_id for one in lost if one.why_no_way == reason])}: {reason}",
            "water as wide as the raft, reliably deeper at low level than its draft and"
            f" {DRAFT_MARGIN_M:g} m, and a bank from which people can wade to it",
            "No route is given; sound the way, add a launch place, or launch at a higher level.",
        )
        for reason in reasons
    ]


def _wading_notes(lake: Lake, steps: Sequence[tuple[PlacedRaft, Way]]) -> list[Fault]:
    """Return a warning for each launch place with a long wading leg or one that may be deep."""
    worst: dict[str, tuple[float, float]] = {}
    for _, way in steps:
        length_m, deepest_m = worst.get(way.launch_id, (0.0, 0.0))
        leg = way.leg
        worst[way.launch_id] = max(length_m, leg.line.length), max(deepest_m, leg.deepest_m)
    return [
        _warning(
            lake.body,
            f"{length_m:.1f} m from launch place '{launch_id}' to water for towing, up to"
            f" {deepest_m:.2f} m deep at low level where people would walk",
            f"at most {LONG_WADE_M:g} m, and {lake.ground.wading_m:g} m deep",
            "Sound the way before the day; where it is deep keep out, and push the raft with poles"
            " or draw it on a rope.",
        )
        for launch_id, (length_m, deepest_m) in sorted(worst.items())
        if length_m > LONG_WADE_M or deepest_m > lake.ground.wading_m
    ]


def _tight(body: WaterBody, steps: Sequence[tuple[PlacedRaft, Way]]) -> list[Fault]:
    """Return the warning that names rafts without the room to turn."""
    names = [raft.raft_id for raft, way in steps if not way.manoeuvre.is_clear]
    if not names:
        return []
    return [
        _warning(
            body,
            f"no room to turn rafts {_names(names)} on the way to their places",
            "water as wide as the raft's diagonal where it turns, deep enough at low level",
            "Warp them round with lines from the bank and a pole at each end, launch at a higher"
            " level, or move them.",
        )
    ]


def _blocked(body: WaterBody, found: LaunchOrder) -> list[Fault]:
    """Return the warning that some rafts have no place in the order, and what would help."""
    if not found.barred:
        return []
    return [
        _warning(
            body,
            f"no order of launching that has room for rafts"
            f" {_names([raft.raft_id for raft in found.barred])}: whichever of those there went"
            " last would have to pass the others, and none can",
            "a way for each raft, as wide as it, clear of those in place before it",
            "Leave them out or move them. Or launch them first and hold them beside their places"
            " until the others have passed.",
        )
    ]
