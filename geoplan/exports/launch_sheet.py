"""
``launch.csv``: the order of launching, day by day, with people, pull and times.

Masses are of bare rafts; rates and masses that the site does not give are judgement, and listed
among the defaults.
"""

from collections.abc import Iterator
from pathlib import Path

from geoplan.exports.csv_text import Cell, Fixed, write_table
from geoplan.exports.outlines import pose_in
from geoplan.exports.safe_rounding import rounded_down, rounded_up
from geoplan.launch.days import LaunchStep, clock, launch_steps
from geoplan.plan import AuditReport, Plan
from geoplan.site import Site

FILE_NAME = "launch.csv"

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
    "clear_beside_m",
    "turn_before_m",
    "bank_reason",
    "posts",
    "carry_min",
    "plant_min",
    "tow_min",
    "hold_min",
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
    Times count from the beginning of the day's work. The header stands alone where no raft has a
    way.
    """
    write_table(folder / FILE_NAME, _HEADER, _rows(plan, site))


def _rows(plan: Plan, site: Site) -> Iterator[tuple[Cell, ...]]:
    """Yield a row for each raft, in the order of work."""
    crs = {water.water_id: water.crs for water in plan.waters}
    for step in launch_steps(plan.waters, site):
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
            rounded_down(step.route.clearance_m - step.raft.width_m / 2, 2),
            rounded_down(step.route.turn_before_m, 1),
            step.route.bank_reason,
            step.posts,
            *(Fixed(part, 0) for part in (step.carry_min, step.plant_min)),
            *(Fixed(part, 0) for part in (step.tow_min, step.hold_min)),
            "; ".join(cautions(step, site)),
        )


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
