"""What the map says of the day on which a raft is launched, as ``launch.csv`` has it."""

from collections.abc import Mapping
from typing import Any

from geoplan.exports.safe_rounding import rounded_up
from geoplan.launch.days import clock, launch_steps
from geoplan.plan import Plan
from geoplan.site import Site

#: What the map says of a launch, by water body and raft.
Launches = Mapping[tuple[str, str], dict[str, Any]]


def launches_record(plan: Plan, site: Site) -> Launches:
    """
    Return what the map says of each launch.

    Parameters
    ----------
    plan : Plan
        The whole plan: the days of one water body depend on those before it.
    site : Site
        The site, for banks, crew and rates.

    Returns
    -------
    mapping of (str, str) to dict
        By water body and raft: ``number`` in the order of all work, from 1; ``day``; ``start`` and
        ``end`` in words, from the beginning of the day's work; ``people``; ``haul_n``, rounded up
        [N]; ``brought_by``; ``posts`` to set.
    """
    return {
        (step.water_id, step.raft.raft_id): {
            "number": number,
            "day": step.day,
            "start": clock(step.start_min),
            "end": clock(step.end_min),
            "people": step.handling.people,
            "haul_n": rounded_up(step.handling.haul_n, 0),
            "brought_by": step.handling.by,
            "posts": step.posts,
        }
        for number, step in enumerate(launch_steps(plan.waters, site, plan.logistics), 1)
    }
