"""
Hours of sun on each raft, counted sun by sun.

The short solar formulas of Spencer (1971), good to a quarter of a degree, and a ray to each sun
through every building and crown, and past what a surface model shows: slow and plain, and nothing
of the planner's horizons.
"""

import datetime as dt
import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from weakref import WeakKeyDictionary

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Point

from geoplan.audit.evidence import Case, Evidence
from geoplan.audit.skyline import RAYS, Skyline
from geoplan.plan import Finding
from geoplan.site import ShadeObject

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _Sky:
    """The skyline of a water body, and the suns that may be hidden behind it."""

    skyline: Skyline
    days: int
    bare: NDArray[np.bool_]
    azimuth: FloatArray
    elevation: FloatArray

    @cached_property
    def east(self) -> FloatArray:
        """Return how far east each sun stands, of a level way of one."""
        return np.sin(self.azimuth)

    @cached_property
    def north(self) -> FloatArray:
        """Return how far north each sun stands, of a level way of one."""
        return np.cos(self.azimuth)

    @cached_property
    def slope(self) -> FloatArray:
        """Return how far each ray rises on a level way of one."""
        return np.tan(self.elevation)

    @cached_property
    def ray(self) -> FloatArray:
        """Return the way to each sun, east, north and up, one long."""
        level = np.cos(self.elevation)
        return np.stack([level * self.east, level * self.north, np.sin(self.elevation)])


_STEP_H = 0.25
_EVERY_DAYS = 3
_LEAST_ELEVATION_DEG = 3.0
#: By how much the two counts may differ [h].
_TOLERANCE_H = 0.05
_CROWN_SHARE = 0.3
_BARE_SHARE = 0.5


def check_sun(case: Case) -> Iterator[Finding]:
    """
    Hold the sun on each raft against what its plants need.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Least mean hours of direct sun a day at centre and corners of the raft [h].
    """
    for evidence in case.waters:
        limit = evidence.settings.sun.least_h
        for raft in evidence.rafts:
            hours = float(sun_hours(evidence, raft.outline).min())
            passed = hours >= limit - _TOLERANCE_H
            words = (
                "sun enough for the plants"
                if passed
                else "too shaded for the plants; move it, or choose plants for shade and lower"
                " sun.least_h"
            )
            yield Finding(
                "sun", raft.row.water_id, raft.row.raft_id, hours, limit, "h", passed, words
            )


#: Hours found so far, by water body and footprint: two checks ask for the same ones.
_KNOWN: WeakKeyDictionary[Evidence, tuple[_Sky, dict[bytes, FloatArray]]] = WeakKeyDictionary()


def sun_hours(evidence: Evidence, outline: shapely.Polygon) -> FloatArray:
    """
    Return the sun at the corners and the centre of a footprint.

    Parameters
    ----------
    evidence : Evidence
        The water body.
    outline : Polygon
        Footprint, frame [m].

    Returns
    -------
    ndarray of float, shape (corners + 1,)
        Mean hours of direct sun a day in the season; the centre comes last [h].
    """
    if evidence not in _KNOWN:
        skyline = Skyline(evidence, math.tan(math.radians(_LEAST_ELEVATION_DEG)))
        _KNOWN[evidence] = (_Sky(skyline, *_suns(evidence)), {})
    sky, known = _KNOWN[evidence]
    key = outline.wkb
    if key not in known:
        places = [*shapely.get_coordinates(outline)[:-1], outline.centroid.coords[0]]
        known[key] = np.array([_hours(evidence, sky, np.asarray(p)) / sky.days for p in places])
    return known[key]


def _suns(
    evidence: Evidence,
) -> tuple[int, NDArray[np.bool_], FloatArray, FloatArray]:
    """Return the days sampled, and of each sun: whether trees are bare, azimuth and elevation."""
    settings = evidence.settings
    year = settings.survey.date.year if settings.survey.date else 2025
    begin = dt.date.fromisoformat(f"{year}-{settings.sun.season[0]}")
    end = dt.date.fromisoformat(f"{year}-{settings.sun.season[1]}")
    if end < begin:
        end = end.replace(year=year + 1)
    chosen = range(0, (end - begin).days + 1, _EVERY_DAYS)
    latitude = math.radians(evidence.frame.latitude_deg)
    solar_h = np.arange(_STEP_H / 2, 24.0, _STEP_H)
    bare, azimuths, elevations = [], [], []
    for offset in chosen:
        day = begin + dt.timedelta(days=offset)
        angle = 2 * math.pi * (day.timetuple().tm_yday - 0.5) / 365.0
        declination = (
            0.006918
            - 0.399912 * math.cos(angle)
            + 0.070257 * math.sin(angle)
            - 0.006758 * math.cos(2 * angle)
            + 0.000907 * math.sin(2 * angle)
            - 0.002697 * math.cos(3 * angle)
            + 0.00148 * math.sin(3 * angle)
        )
        hour_angle = np.radians(15.0 * (solar_h - 12.0))
        sin_elevation = math.sin(latitude) * math.sin(declination) + math.cos(latitude) * math.cos(
            declination
        ) * np.cos(hour_angle)
        east = -math.cos(declination) * np.sin(hour_angle)
        north = math.cos(latitude) * math.sin(declination) - math.sin(latitude) * math.cos(
            declination
        ) * np.cos(hour_angle)
        up = sin_elevation > math.sin(math.radians(_LEAST_ELEVATION_DEG))
        azimuths.append(np.arctan2(east, north)[up])
        elevations.append(np.arcsin(sin_elevation)[up])
        bare.append(np.full(int(up.sum()), _is_bare(day, settings.sun.leaf)))
    return len(chosen), np.concatenate(bare), np.concatenate(azimuths), np.concatenate(elevations)


def _is_bare(day: dt.date, leaf: tuple[str, str]) -> bool:
    """Tell whether deciduous trees are out of leaf on a day."""
    date = day.strftime("%m-%d")
    first, last = leaf
    return not first <= date <= last if first <= last else last < date < first


def _hours(evidence: Evidence, sky: _Sky, place: FloatArray) -> float:
    """Return the hours of sun at a place over the sampled days."""
    body = evidence.body
    rise = body.outline_level_m - body.levels.low_m
    ray = np.rint(sky.azimuth / (2 * math.pi) * RAYS).astype(np.int64) % RAYS
    share = np.where(sky.skyline.slopes(place)[ray] > sky.slope, 0.0, 1.0)
    for part in body.shade:
        top = part.height_m + rise
        geometry = evidence.frame.of_site(part.geometry)
        # Nothing is hidden beyond the reach of a shadow at the least elevation.
        reach = top / math.tan(math.radians(_LEAST_ELEVATION_DEG))
        if shapely.distance(geometry, Point(place)) > reach:
            continue
        if isinstance(part.geometry, Point):
            hidden = _behind_crown(part, geometry, top, rise, place, sky)
        else:
            hidden = _behind_wall(geometry, top, place, sky)
        passes = np.where(sky.bare, _BARE_SHARE if part.deciduous else 0.0, 0.0)
        share = np.minimum(share, np.where(hidden, passes, 1.0))
    return float(share.sum() * _STEP_H)


def _behind_crown(
    part: ShadeObject,
    foot: Point,
    top: float,
    rise: float,
    place: FloatArray,
    sky: _Sky,
) -> NDArray[np.bool_]:
    """Return the suns behind a crown, or under it where the trunk stands."""
    radius = part.crown_radius_m or _CROWN_SHARE * part.height_m
    base = part.base_m + rise
    away = np.array([foot.x, foot.y]) - place
    if float(np.hypot(*away)) <= radius:
        return np.ones(len(sky.azimuth), bool)
    half, middle = (top - base) / 2, (top + base) / 2
    # Scaled so that the spheroid is a unit ball; a ray meets it, or passes below its middle.
    ray = sky.ray / np.array([[radius], [radius], [half]])
    centre = np.array([away[0] / radius, away[1] / radius, middle / half])
    along = centre @ ray / (ray**2).sum(axis=0)
    nearest = centre[:, None] - along * ray
    meets = (along > 0) & ((nearest**2).sum(axis=0) < 1.0)
    side = np.abs(sky.east * away[1] - sky.north * away[0])
    ahead = sky.east * away[0] + sky.north * away[1]
    below = (ahead > 0) & (side < radius) & (sky.slope * ahead < middle)
    hidden: NDArray[np.bool_] = meets | below
    return hidden


def _behind_wall(
    geometry: shapely.Geometry, top: float, place: FloatArray, sky: _Sky
) -> NDArray[np.bool_]:
    """Return the suns behind a building."""
    length = top / sky.slope
    ends = place + np.column_stack([sky.east, sky.north]) * length[:, None]
    starts = np.broadcast_to(place, ends.shape)
    shapely.prepare(geometry)
    hidden: NDArray[np.bool_] = shapely.intersects(
        geometry, shapely.linestrings(np.stack([starts, ends], axis=1))
    )
    return hidden
