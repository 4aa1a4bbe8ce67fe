"""
``launch.csv``: the order of launching, day by day, with people, pull and times.

Masses are of bare rafts; rates and masses that the site does not give are judgement, and listed
among the defaults.
"""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

from geoplan.exports.csv_text import Cell, Fixed, write_table
from geoplan.exports.outlines import pose_in
from geoplan.exports.safe_rounding import rounded_down, rounded_up
from geoplan.launch.days import LaunchStep, clock, launch_steps
from geoplan.launch.handling import HAND_AHEAD_CM, recommended_weight_kg
from geoplan.materials import mooring_parts, raft_parts
from geoplan.plan import AuditReport, Mooring, Plan, Route
from geoplan.site import LaunchPlace, Site

FILE_NAME = "launch.csv"
#: What goes onto a raft when it floats.
_PLANTED_AFLOAT = frozenset({"medium", "plant"})

_HEADER = (
    "day",
    "start",
    "end",
    "water_id",
    "sequence",
    "raft_id",
    "raft_type",
    "launch_id",
    "easting_m",
    "northing_m",
    "heading_deg",
    "mass_kg",
    "people",
    "brought_by",
    "haul_n",
    "route_m",
    "least_depth_m",
    "need_depth_m",
    "width_m",
    "clear_beside_m",
    "turning_m",
    "room_to_turn",
    "turn_before_m",
    "bank_reason",
    "slope_pct",
    "carry_m",
    "ground",
    "can_drive_there",
    "wade_m",
    "wade_depth_m",
    "plant_depth_m",
    "posts",
    "carry_min",
    "plant_min",
    "tow_min",
    "hold_min",
    "bring",
    "caution",
)


def write(
    plan: Plan,
    site: Site,
    folder: Path,
    audit: AuditReport | None,  # noqa: ARG001 - exports are called alike
) -> None:
    """
    Write ``launch.csv``.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site, for banks, crew and rates.
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
    Times count from the beginning of the day's work; depths are of low level. Rafts that no way
    leads to stand at the end, without a day, and say why. The header stands alone where the site
    names no launch place.
    """
    write_table(folder / FILE_NAME, _HEADER, _rows(plan, site))


def _rows(plan: Plan, site: Site) -> Iterator[tuple[Cell, ...]]:
    """Yield a row for each raft, in the order of work."""
    crs = {water.water_id: water.crs for water in plan.waters}
    moorings = {water.water_id: water.moorings for water in plan.waters}
    banks = {
        (body.water_id, place.launch_id): place
        for body in site.water_bodies
        for place in body.launches
    }
    for step in launch_steps(plan.waters, site, plan.logistics):
        place = banks.get((step.water_id, step.route.launch_id))
        easting_m, northing_m, heading_deg = pose_in(step.raft, crs[step.water_id], plan.client_crs)
        yield (
            step.day,
            clock(step.start_min),
            clock(step.end_min),
            step.water_id,
            step.route.sequence,
            step.raft.raft_id,
            step.raft.raft_type,
            step.route.launch_id,
            Fixed(easting_m, 2),
            Fixed(northing_m, 2),
            Fixed(heading_deg, 1),
            rounded_up(step.handling.mass_kg, 0),
            step.handling.people,
            step.handling.by,
            rounded_up(step.handling.haul_n, 0),
            rounded_up(step.route.length_m, 1),
            rounded_down(step.route.least_depth_m, 2),
            *_room(step.route),
            step.route.bank_reason,
            *_bank(place, step.route),
            step.posts,
            *(Fixed(part, 0) for part in (step.carry_min, step.plant_min)),
            *(Fixed(part, 0) for part in (step.tow_min, step.hold_min)),
            _bring(step, moorings[step.water_id], site),
            "; ".join(cautions(step, site)),
        )
    yield from _without_way(plan)


def _room(route: Route) -> tuple[Cell, ...]:
    """Return what a raft needs on its way, and what is left beside it."""
    return (
        rounded_up(route.need_m, 2),
        rounded_up(route.width_m, 2),
        rounded_down(route.clearance_m - route.width_m / 2, 2),
        rounded_up(route.turning_m, 2),
        "yes" if route.has_room else "NO",
        rounded_down(route.turn_before_m, 1),
    )


def _bank(place: LaunchPlace | None, route: Route) -> tuple[Cell, ...]:
    """Return what the survey says of a bank, and how deep people go there."""
    said: tuple[Cell, ...] = (None,) * 4
    if place is not None:
        said = (place.slope_pct, place.carry_m, place.surface, place.vehicle)
    depths = (route.wade_m, route.wade_depth_m, route.plant_depth_m)
    return (*said, *(rounded_up(value, 2) for value in depths))


def _bring(step: LaunchStep, moorings: Sequence[Mooring], site: Site) -> str:
    """Return what is brought to the bank with a raft: what it is planted with, posts and lines."""
    kind = next(one for one in site.settings.raft if one.name == step.raft.raft_type)
    parts = {} if kind.build is None else raft_parts(kind, kind.build)
    loads = Counter({key: part for key, part in parts.items() if key[0] in _PLANTED_AFLOAT})
    held_by = [part for part in moorings if part.raft_id == step.raft.raft_id]
    for key, quantity in mooring_parts(held_by, site.settings):
        loads[key] += quantity  # type: ignore[assignment]
    whole = {key: math.ceil(100 * quantity - 1e-6) / 100 for key, quantity in loads.items()}
    return "; ".join(
        f"{item}, {size}: {quantity:g} {'piece' if (quantity, unit) == (1, 'pieces') else unit}"
        for (item, size, unit), quantity in whole.items()
    )


def _without_way(plan: Plan) -> Iterator[tuple[Cell, ...]]:
    """Yield the rafts that no way leads to, with what bars it."""
    at = {name: index for index, name in enumerate(_HEADER)}
    for water in plan.waters:
        rafts = {raft.raft_id: raft for raft in water.rafts}
        for lost in water.no_routes:
            raft = rafts[lost.raft_id]
            easting_m, northing_m, heading_deg = pose_in(raft, water.crs, plan.client_crs)
            row: list[Cell] = [None] * len(_HEADER)
            row[at["water_id"]] = water.water_id
            row[at["raft_id"]], row[at["raft_type"]] = raft.raft_id, raft.raft_type
            row[at["easting_m"]] = Fixed(easting_m, 2)
            row[at["northing_m"]] = Fixed(northing_m, 2)
            row[at["heading_deg"]] = Fixed(heading_deg, 1)
            row[at["caution"]] = f"NO WAY: {lost.why_no_way}"
            yield tuple(row)


def cautions(step: LaunchStep, site: Site) -> list[str]:
    """
    Return what the crew must look out for with one raft.

    Parameters
    ----------
    step : LaunchStep
        The raft on its day.
    site : Site
        The site, for its crew and hours.

    Returns
    -------
    list of str
        Words; empty where nothing is out of the usual.
    """
    given = site.settings.launch
    words = []
    if step.handling.carriers is None:
        words.append("not to be carried")
    if step.handling.by == "carried":
        words += _lifting(step)
    if step.handling.by == "winch or vehicle":
        words.append("more pull than the crew has: winch or vehicle for the pull stated")
    if step.route.wade_depth_m > given.wading_m:
        words.append("too deep to wade where people would walk: poles or a rope from the bank")
    if step.route.plant_depth_m > given.wading_m:
        words.append("too deep to stand beside it: plant from its landward end or a boat")
    if step.handling.people > given.crew:
        words.append(f"{step.handling.people} people needed, the crew has {given.crew}")
    if not step.route.has_room:
        words.append("no room to turn it on the way: warp it round with lines and poles")
    if step.is_slope_assumed:
        words.append("slope of the bank not measured: 15 % assumed")
    if step.end_min - step.start_min > given.day_h * 60.0:
        words.append("longer than a working day: more people, or begin the day before")
    words.append("never alone, buoyancy aids on, local rules prevail")
    return words


def _lifting(step: LaunchStep) -> list[str]:
    """Return what the NIOSH equation says to those who lift a raft flat by its long sides."""
    ahead_cm = HAND_AHEAD_CM + 50.0 * step.raft.width_m
    limit_kg = recommended_weight_kg(ahead_cm, 75.0, 25.0)
    share_kg = step.handling.mass_kg / max(step.handling.carriers or 1, 1)
    if limit_kg == 0.0:
        words = (
            f"held flat its middle is {ahead_cm:.0f} cm ahead, beyond the NIOSH lifting equation"
        )
        return [f"{words}: carry it on edge or on a trolley"]
    if share_kg > limit_kg:
        return [f"each lifts {share_kg:.0f} kg, the NIOSH limit for it is {limit_kg:.0f} kg"]
    return []
