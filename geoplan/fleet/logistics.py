"""In which order a crew with a trailer brings the rafts of a plan to their water bodies."""

import math
from collections import Counter
from collections.abc import Sequence

import numpy as np
import shapely

from geoplan.crs import WGS84, transformed, working_crs
from geoplan.district import Logistics, Visit
from geoplan.fleet.trips import Stops, least_length_m, trips
from geoplan.plan import Plan
from geoplan.settings_district import YardSettings
from geoplan.site import FloatArray, Site, WaterBody


def logistics(plan: Plan, site: Site) -> Logistics | None:
    """
    Return the trips of the crew.

    Parameters
    ----------
    plan : Plan
        Where rafts go.
    site : Site
        The yard, and the banks from which rafts are launched.

    Returns
    -------
    Logistics or None
        ``None`` where the site names no yard, or nothing is to be brought.
    """
    yard = site.settings.yard
    wanted: dict[str, Counter[str]] = {}
    for water in plan.waters if yard.is_given else ():
        types = Counter(raft.raft_type for raft in water.rafts if raft.status == "planned")
        if types:
            wanted[water.water_id] = types
    bodies = [body for body in site.water_bodies if body.water_id in wanted]
    if not bodies:
        return None
    stops = Stops(
        place_m=_places_m(yard, site.client_crs, bodies),
        load=tuple(sum(wanted[body.water_id].values()) for body in bodies),
        most=yard.rafts_per_trip,
        work_h=(yard.set_up_h, yard.raft_h),
        speed_m_h=yard.speed_km_h * 1000.0 / yard.detour,
        day_h=yard.day_h,
    )
    detour = yard.detour
    rounds = sorted(trips(stops), key=lambda trip: _turn(stops, trip))
    names = [kind.name for kind in site.settings.raft]
    left = [[(name, wanted[body.water_id][name]) for name in names] for body in bodies]
    visits: list[Visit] = []
    days, hours = 1, 0.0
    for number, trip in enumerate(rounds, 1):
        spent = _hours(stops, trip)
        if hours > 0 and hours + spent > stops.day_h + 1e-9:
            days, hours = days + 1, 0.0
        visits += _visits(stops, trip, (number, days, len(visits)), bodies, left, detour)
        # A lone stop may take longer than a day: the next trip begins on the morning after.
        over = max(0, math.ceil((hours + spent) / stops.day_h - 1e-9) - 1)
        days, hours = days + over, hours + spent - over * stops.day_h
    total = sum(stops.length_m([stop for stop, _ in trip]) for trip in rounds)
    least = least_length_m(stops)
    return Logistics(tuple(visits), detour * total, detour * min(least, total), days)


def _places_m(yard: YardSettings, crs: str, bodies: Sequence[WaterBody]) -> FloatArray:
    """Return where the crew goes in each water body, the yard at the origin [m]."""
    if yard.easting_m is not None and yard.northing_m is not None:
        point = transformed(shapely.Point(yard.easting_m, yard.northing_m), crs, WGS84)
    else:
        point = shapely.Point(yard.longitude_deg or 0.0, yard.latitude_deg or 0.0)
    plane = working_crs(float(point.x), float(point.y))
    places = []
    for body in bodies:
        bank = body.launches[0].geometry if body.launches else body.outline
        there = transformed(bank.centroid, body.crs, plane)
        places.append((there.x, there.y))
    return np.array(places)


def _turn(stops: Stops, trip: Sequence[tuple[int, int]]) -> tuple[float, float, int]:
    """Return the direction in which a trip leaves the yard, and how far: trips go round it."""
    easting, northing = stops.place_m[[stop for stop, _ in trip]].mean(axis=0)
    away_m = math.hypot(easting, northing)
    return round(math.atan2(easting, northing), 9), round(away_m, 3), trip[0][0]


def _hours(stops: Stops, trip: Sequence[tuple[int, int]]) -> float:
    """Return the time of a trip, back to the yard [h]."""
    rafts = sum(count for _, count in trip)
    drive = stops.length_m([stop for stop, _ in trip]) / stops.speed_m_h
    return drive + len(trip) * stops.work_h[0] + rafts * stops.work_h[1]


def _visits(
    stops: Stops,
    trip: Sequence[tuple[int, int]],
    numbers: tuple[int, int, int],
    bodies: Sequence[WaterBody],
    left: list[list[tuple[str, int]]],
    detour: float,
) -> list[Visit]:
    """Return the visits of a trip; what is brought is taken off what is left to bring."""
    number, day, before = numbers
    made = []
    here = np.zeros(2)
    for place, (stop, count) in enumerate(trip, before + 1):
        way = float(np.hypot(*(stops.place_m[stop] - here)))
        here = stops.place_m[stop]
        brought, rest, room = [], [], count
        for name, still in left[stop]:
            taken = min(still, room)
            room -= taken
            rest.append((name, still - taken))
            if taken:
                brought.append((name, taken))
        left[stop] = rest
        made.append(
            Visit(
                trip=number,
                day=day,
                sequence=place,
                water_id=bodies[stop].water_id,
                counts=tuple(brought),
                drive_m=detour * way,
                drive_h=way / stops.speed_m_h,
                work_h=stops.work_h[0] + count * stops.work_h[1],
            )
        )
    return made
