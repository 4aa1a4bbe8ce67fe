"""
``setting_out.gpx``: points, marks and tow ways for handheld receivers.

It says with each place that a phone is too coarse to set out by.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import gpxpy.gpx
import shapely

from geoplan.crs import WGS84, transformed
from geoplan.errors import writing
from geoplan.exports.set_out_places import (
    DIG_WARNING,
    PHONE_WARNING,
    Places,
    places_of,
    plain_text,
)
from geoplan.launch.set_out import SetOutPoint
from geoplan.plan import AuditReport, Plan, Route
from geoplan.site import FloatArray, Site, WaterBody

FILE_NAME = "setting_out.gpx"
#: Decimals of a degree: a centimetre.
_DECIMALS = 7


def write(
    plan: Plan,
    site: Site,
    folder: Path,
    audit: AuditReport | None,  # noqa: ARG001 - exports are called alike
) -> None:
    """
    Write ``setting_out.gpx``.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site, for its marks.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Not used.

    Raises
    ------
    ExportError
        If the file cannot be written.

    Notes
    -----
    GPX 1.1: a waypoint for each point, mark and launch place used, a route for each tow way. No
    waypoint carries a height or a time.
    """
    gpx = gpxpy.gpx.GPX()
    gpx.creator = "geoplan"
    gpx.name = plain_text(plan.site_name)
    gpx.description = PHONE_WARNING
    known = site.by_id
    # Proposed pegs are M1, M2 and so on at each water body: with several its name goes first.
    lone: Counter[str] = Counter()
    for water in plan.waters:
        marks = (*known[water.water_id].marks, *water.suggested_marks)
        lone.update(mark.mark_id for mark in marks)
    head, end = gpx.to_xml(version="1.1").rsplit("\n", 1)
    last = []  # texts that stand behind the points of every water body
    with writing(folder / FILE_NAME), (folder / FILE_NAME).open("wb") as file:
        file.write(head.encode())
        for places in places_of(plan, site):
            file.write(_text(gpx, "waypoints", _points(places, lone)).encode())
            banks = _banks(places, known[places.water.water_id])
            routes = [_route(route, places) for route in places.water.routes]
            last.append((_text(gpx, "waypoints", banks), _text(gpx, "routes", routes)))
        file.write("".join(banks for banks, _ in last).encode())
        file.write("".join(routes for _, routes in last).encode())
        file.write(f"\n{end}".encode())


def short_name(point: SetOutPoint) -> str:
    """
    Return the name of a point that a small screen shows whole.

    Parameters
    ----------
    point : SetOutPoint
        The point.

    Returns
    -------
    str
        The raft alone for its centre, with ``c1`` to ``c4`` for a corner, else the mooring's name.

    Examples
    --------
    >>> short_name(SetOutPoint("R7", "corner 2", 0.0, 0.0))
    'R7 c2'
    """
    if point.mooring is not None:
        return plain_text(point.mooring.mooring_id)
    corner = point.item.removeprefix("corner ")
    return plain_text(point.raft_id + (f" c{corner}" if corner != point.item else ""))


def _text(gpx: gpxpy.gpx.GPX, name: str, values: Iterable[Any]) -> str:
    """Return a field of a GPX file as the library writes it: a district is never held whole."""
    field: Any = next(one for one in gpx.gpx_11_fields if getattr(one, "name", "") == name)
    return str(field.to_xml(list(values), "1.1", gpx.nsmap, prettyprint=True, indent="  "))


def _points(places: Places, named: Mapping[str, int]) -> Iterator[gpxpy.gpx.GPXWaypoint]:
    """Yield the points of a water body, then its marks, told how many bear the name of each."""
    for point, place in zip(places.points, places.point_places_in(WGS84), strict=True):
        words = f"{point.item} of raft {point.raft_id}: {places.tape_words(point)}. {PHONE_WARNING}"
        if point.mooring is not None:
            words += f" {DIG_WARNING}"
        kind = point.item.split(" ", 1)[0]
        yield _waypoint(place, short_name(point), words, kind)
    for mark, place in zip(places.marks, places.mark_places_in(WGS84), strict=True):
        proposed = places.is_suggested(mark)
        words = f"proposed, to be surveyed. {DIG_WARNING}" if proposed else "mark of the site"
        name = mark.mark_id
        if named[name] > 1:
            name = f"{places.water.water_id} {name}"
        yield _waypoint(place, plain_text(name), words, "mark")


def _banks(places: Places, body: WaterBody) -> Iterator[gpxpy.gpx.GPXWaypoint]:
    """Yield the launch places that rafts go from, each where its first raft enters the water."""
    said = {place.launch_id: place for place in body.launches}
    first = {route.launch_id: route for route in reversed(places.water.routes)}
    for name, route in sorted(first.items()):
        start = shapely.get_coordinates(transformed(route.path, places.water.crs, WGS84))[0]
        words = f"launch place {name} on {places.water.water_id}"
        bank = said.get(name)
        if bank is not None and (bank.surface or bank.vehicle):
            words += f": {', '.join(part for part in (bank.surface, bank.vehicle) if part)}"
        yield _waypoint(start, plain_text(f"launch {name}"), words, "launch")


def _waypoint(place: FloatArray, name: str, words: str, kind: str) -> gpxpy.gpx.GPXWaypoint:
    """Return a waypoint."""
    return gpxpy.gpx.GPXWaypoint(
        latitude=round(float(place[1]), _DECIMALS),
        longitude=round(float(place[0]), _DECIMALS),
        name=name,
        description=plain_text(words),
        type=kind,
    )


def _route(route: Route, places: Places) -> gpxpy.gpx.GPXRoute:
    """Return a tow way, from the bank to the raft's place."""
    path = shapely.get_coordinates(transformed(route.path, places.water.crs, WGS84))
    out = gpxpy.gpx.GPXRoute(
        name=plain_text(f"tow {route.sequence} {route.raft_id}"),
        description=plain_text(
            f"raft {route.raft_id} from launch place {route.launch_id}, number {route.sequence} on"
            f" {places.water.water_id}"
        ),
    )
    out.points = [
        gpxpy.gpx.GPXRoutePoint(
            latitude=round(float(latitude), _DECIMALS), longitude=round(float(longitude), _DECIMALS)
        )
        for longitude, latitude in path
    ]
    return out
