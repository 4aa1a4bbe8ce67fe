"""
The days of launching: which raft on which day, from when to when, with how many people.

One crew does one raft after another, water body by water body, or as its trailer brings them; rates
are judgement and belong to the site's settings.
"""

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

from geoplan.district import Logistics
from geoplan.hulls import bare_mass_kg
from geoplan.launch.bank_choice import ASSUMED_SLOPE_PCT
from geoplan.launch.handling import Handling, raft_handling
from geoplan.plan import PlacedRaft, Route, WaterPlan
from geoplan.settings import Settings
from geoplan.site import LaunchPlace, Site, WaterBody


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


def launch_steps(
    waters: Sequence[WaterPlan], site: Site, logistics: Logistics | None = None
) -> tuple[LaunchStep, ...]:
    """
    Return the whole work day by day.

    Parameters
    ----------
    waters : sequence of WaterPlan
        Plans of the water bodies.
    site : Site
        The site, for banks, raft types and rates.
    logistics : Logistics or None
        Trips that bring the rafts; ``None``: all are there, water bodies are done as they stand.

    Returns
    -------
    tuple of LaunchStep
        In order of work. A raft that cannot be done on what is left of a day is begun the next
        morning; one that takes longer than a day has a day of its own.
    """
    banks = {
        body.water_id: {place.launch_id: place for place in body.launches}
        for body in site.water_bodies
    }
    if logistics is None:
        return tuple(_one_by_one(waters, banks, site.settings))
    work = {
        water.water_id: iter(_work(water, banks[water.water_id], site.settings)) for water in waters
    }
    whole_min = site.settings.yard.day_h * 60.0
    steps: list[LaunchStep] = []
    for visit in logistics.visits:
        day = visit.day
        now_min = 60.0 * (visit.begins_h + site.settings.yard.set_up_h)
        count = sum(number for _, number in visit.counts)
        for one in islice(work[visit.water_id], count):
            day, now_min = begun(day, now_min, sum(one[2]), whole_min)
            steps.append(_step(visit.water_id, one, day, now_min))
            now_min = steps[-1].end_min
    return tuple(steps)


def begun(day: int, now_min: float, need_min: float, whole_min: float) -> tuple[int, float]:
    """
    Return when a piece of work is begun that is not broken off for the night.

    Parameters
    ----------
    day : int
        The day.
    now_min : float
        Time since its work began [min].
    need_min, whole_min : float
        What the piece takes, and a working day [min].

    Returns
    -------
    tuple of int and float
        Day, and time since its work began [min].

    Examples
    --------
    >>> begun(1, 200.0, 100.0, 360.0), begun(1, 300.0, 100.0, 360.0), begun(2, 0.0, 400.0, 360.0)
    ((1, 200.0), (2, 0.0), (2, 0.0))
    """
    if now_min > 0 and now_min + need_min > whole_min + 1e-6:
        return day + 1, 0.0
    return day, now_min


def raft_minutes(water: WaterPlan, body: WaterBody, settings: Settings) -> dict[str, float]:
    """
    Return how long the crew has with each raft of a water body that has a way.

    Parameters
    ----------
    water : WaterPlan
        Its plan.
    body : WaterBody
        The water body, for its banks.
    settings : Settings
        Raft types and rates.

    Returns
    -------
    dict of str to float
        By raft, in order of launching [min].
    """
    banks = {place.launch_id: place for place in body.launches}
    return {one[0].raft_id: sum(one[2]) for one in _work(water, banks, settings)}


def _one_by_one(
    waters: Sequence[WaterPlan],
    banks: Mapping[str, Mapping[str, LaunchPlace]],
    settings: Settings,
) -> Iterator[LaunchStep]:
    """Yield the work where all rafts are there, water body by water body."""
    given = settings.launch
    day, now_min = 1, 0.0
    for water in waters:
        if now_min > 0 and water.routes:  # the crew and its boat move to the next water
            now_min += given.move_min
        for one in _work(water, banks[water.water_id], settings):
            day, now_min = begun(day, now_min, sum(one[2]), given.day_h * 60.0)
            step = _step(water.water_id, one, day, now_min)
            now_min = step.end_min
            yield step


def _step(water_id: str, one: "_Work", day: int, now_min: float) -> LaunchStep:
    """Return a piece of work on its day."""
    raft, route, parts, handling, posts, is_assumed = one
    return LaunchStep(
        water_id, raft, route, handling, posts, day, now_min, now_min + sum(parts), *parts,
        is_slope_assumed=is_assumed,
    )  # fmt: skip


_Work = tuple[PlacedRaft, Route, tuple[float, float, float, float], Handling, int, bool]


def _work(water: WaterPlan, banks: Mapping[str, LaunchPlace], settings: Settings) -> list[_Work]:
    """Return each raft of a water body in order, with the minutes of each part of its work."""
    given = settings.launch
    work: list[_Work] = []
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
        work.append((raft, route, parts, handling, posts, slope is None))
    return work


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
