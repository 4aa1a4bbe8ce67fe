"""In which order a crew with a trailer brings the rafts of a plan to their water bodies."""

import math
from collections import Counter, deque
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import islice

import numpy as np
import shapely

from geoplan.crs import WGS84, transformed, working_crs
from geoplan.district import Logistics, Visit
from geoplan.fleet.trips import Stops, least_length_m, trips
from geoplan.launch.days import begun, raft_minutes
from geoplan.plan import Plan, WaterPlan
from geoplan.settings import Settings
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
    waters = plan.waters if yard.is_given else ()
    known = site.by_id
    wanted = {
        water.water_id: _to_bring(water, known[water.water_id], site.settings) for water in waters
    }
    names = [name for name in known if wanted.get(name)]
    if not names:
        return None
    left = [wanted[name] for name in names]
    stops = Stops(
        place_m=_places_m(yard, site.client_crs, (known[name] for name in names)),
        load=tuple(len(rafts) for rafts in left),
        most=yard.rafts_per_trip,
        work_h=(yard.set_up_h, yard.raft_h),
        speed_m_h=yard.speed_km_h * 1000.0 / yard.detour,
        day_h=yard.day_h,
        raft_h=tuple(sum(hours for _, hours in rafts) / len(rafts) for rafts in left),
    )
    rounds = sorted(trips(stops), key=lambda trip: _turn(stops, trip))
    visits, days = _on_days(stops, rounds, names, left)
    detour = yard.detour
    total = sum(stops.length_m([stop for stop, _ in trip]) for trip in rounds)
    least = least_length_m(stops)
    visits = [replace(visit, drive_m=detour * visit.drive_m) for visit in visits]
    return Logistics(tuple(visits), detour * total, detour * min(least, total), days)


def _to_bring(water: WaterPlan, body: WaterBody, settings: Settings) -> deque[tuple[str, float]]:
    """Return type and hours of each raft to be brought, as launched; those without a way last."""
    minutes = raft_minutes(water, body, settings)
    planned = {raft.raft_id: raft for raft in water.rafts if raft.status == "planned"}
    order = [*minutes, *(name for name in planned if name not in minutes)]
    least_h = settings.yard.raft_h
    return deque(
        (planned[name].raft_type, minutes[name] / 60.0 if name in minutes else least_h)
        for name in order
    )


def _on_days(
    stops: Stops,
    rounds: Sequence[Sequence[tuple[int, int]]],
    names: Sequence[str],
    left: Sequence[deque[tuple[str, float]]],
) -> tuple[list[Visit], int]:
    """Return the visits of all trips in order, ways as straight lines, and the days they take."""
    visits: list[Visit] = []
    day, hours = 1, 0.0
    for number, trip in enumerate(rounds, 1):
        if hours > 0 and hours + _hours(stops, trip, left) > stops.day_h + 1e-9:
            day, hours = day + 1, 0.0
        here = np.zeros(2)
        for stop, count in trip:
            way_m = float(np.hypot(*(stops.place_m[stop] - here)))
            here = stops.place_m[stop]
            brought = [left[stop].popleft() for _ in range(count)]
            drive_h = way_m / stops.speed_m_h
            visits.append(
                Visit(
                    trip=number,
                    day=day,
                    begins_h=hours + drive_h,
                    sequence=len(visits) + 1,
                    water_id=names[stop],
                    counts=tuple(Counter(name for name, _ in brought).items()),
                    drive_m=way_m,
                    drive_h=drive_h,
                    work_h=stops.work_h[0] + sum(raft_h for _, raft_h in brought),
                )
            )
            hours += drive_h + stops.work_h[0]
            for _, raft_h in brought:
                day, began_min = begun(day, 60.0 * hours, 60.0 * raft_h, 60.0 * stops.day_h)
                hours = began_min / 60.0 + raft_h
        hours += float(np.hypot(*here)) / stops.speed_m_h
    return visits, day


def _places_m(yard: YardSettings, crs: str, bodies: Iterable[WaterBody]) -> FloatArray:
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


def _hours(
    stops: Stops, trip: Sequence[tuple[int, int]], left: Sequence[deque[tuple[str, float]]]
) -> float:
    """Return the time of a trip that takes the first rafts of those left, back to the yard [h]."""
    drive = stops.length_m([stop for stop, _ in trip]) / stops.speed_m_h
    work = sum(hours for stop, count in trip for _, hours in islice(left[stop], count))
    return drive + len(trip) * stops.work_h[0] + work
