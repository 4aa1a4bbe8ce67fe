"""
The days of launching: which raft on which day, from when to when, with how many people.

One crew does one raft after another, water body by water body; rates are judgement and belong
to the site's settings.
"""

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from geoplan.hulls import bare_mass_kg
from geoplan.launch.bank_choice import ASSUMED_SLOPE_PCT
from geoplan.launch.handling import Handling, raft_handling
from geoplan.plan import PlacedRaft, Route, WaterPlan
from geoplan.settings import Settings
from geoplan.site import LaunchPlace, Site


@dataclass(frozen=True)
class LaunchStep:
    """
    One raft on its day.

    Attributes
    ----------
    water_id : str
        Which water body.
    raft : PlacedRaft
        The raft.
    route : Route
        Its way.
    handling : Handling
        People and pull on the bank.
    posts : int
        Posts or anchors to set.
    day : int
        Day of the work, from 1.
    start_min, end_min : float
        Minutes after the day's work begins [min].
    carry_min, plant_min, tow_min, hold_min : float
        Bringing into the water, planting afloat, towing there and back, setting posts [min].
    is_slope_assumed : bool
        True where the bank's slope was not measured.
    """

    water_id: str
    raft: PlacedRaft
    route: Route
    handling: Handling
    posts: int
    day: int
    start_min: float
    end_min: float
    carry_min: float
    plant_min: float
    tow_min: float
    hold_min: float
    is_slope_assumed: bool


def launch_steps(waters: Sequence[WaterPlan], site: Site) -> tuple[LaunchStep, ...]:
    """
    Return the whole work day by day.

    Parameters
    ----------
    waters : sequence of WaterPlan
        Plans of the water bodies, in the order in which they are done.
    site : Site
        The site, for banks, raft types and rates.

    Returns
    -------
    tuple of LaunchStep
        In order of work. A raft that cannot be done on what is left of a day is begun the next
        morning; one that takes longer than a day has a day of its own.
    """
    given = site.settings.launch
    whole_min = given.day_h * 60.0
    banks = {body.water_id: body.launches for body in site.water_bodies}
    steps: list[LaunchStep] = []
    day, now_min = 1, 0.0
    for water in waters:
        if not water.routes:
            continue
        if now_min > 0:  # the crew and its boat move to the next water
            now_min += given.move_min
        for raft, route, parts, handling, posts, assumed in _work(
            water, {place.launch_id: place for place in banks[water.water_id]}, site.settings
        ):
            need_min = sum(parts)
            if now_min > 0 and now_min + need_min > whole_min:
                day, now_min = day + 1, 0.0
            carry, plant, tow, hold = parts
            steps.append(
                LaunchStep(
                    water_id=water.water_id,
                    raft=raft,
                    route=route,
                    handling=handling,
                    posts=posts,
                    day=day,
                    start_min=now_min,
                    end_min=now_min + need_min,
                    carry_min=carry,
                    plant_min=plant,
                    tow_min=tow,
                    hold_min=hold,
                    is_slope_assumed=assumed,
                )
            )
            now_min += need_min
    return tuple(steps)


_Work = tuple[PlacedRaft, Route, tuple[float, float, float, float], Handling, int, bool]


def _work(
    water: WaterPlan, banks: Mapping[str, LaunchPlace], settings: Settings
) -> Iterator[_Work]:
    """Yield each raft of a water body in order, with the minutes of each part of its work."""
    given = settings.launch
    kinds = {kind.name: kind for kind in settings.raft}
    rafts = {raft.raft_id: raft for raft in water.rafts}
    held_by = Counter(mooring.raft_id for mooring in water.moorings)
    for route in sorted(water.routes, key=lambda way: way.sequence):
        raft = rafts[route.raft_id]
        place = banks.get(route.launch_id)
        slope = place.slope_pct if place else None
        mass_kg = bare_mass_kg(kinds[raft.raft_type], given)
        handling = raft_handling(mass_kg, ASSUMED_SLOPE_PCT if slope is None else slope, given)
        posts = held_by[raft.raft_id]
        carry_m = (place.carry_m or 0.0) if place else 0.0
        parts = (
            given.raft_min + 2 * carry_m / given.carry_m_s / 60.0,
            raft.planted_area_m2 * given.plant_min_m2 / given.crew,
            2 * route.length_m / given.tow_m_s / 60.0,
            posts * given.post_min,
        )
        yield raft, route, parts, handling, posts, slope is None


def clock(minutes: float) -> str:
    """
    Return a time after the beginning of the work, rounded up to five minutes.

    Parameters
    ----------
    minutes : float
        Minutes [min].

    Returns
    -------
    str
        Hours and minutes, in words that no spreadsheet takes for a time of day.

    Examples
    --------
    >>> clock(61.2), clock(0.0)
    ('1 h 05 min', '0 h 00 min')
    """
    whole = 5 * math.ceil(minutes / 5.0 - 1e-9)
    return f"{whole // 60} h {whole % 60:02d} min"
