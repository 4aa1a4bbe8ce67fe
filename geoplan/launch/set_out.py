"""
What the crew sets out on the water: centres, corners, posts and anchors, each with two tapes.

Points are in the working CRS of the water body, whose distances are true ones on the ground.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from geoplan.launch.taping import TapeFix, TapeLimits, best_fix
from geoplan.plan import Mooring, PlacedRaft
from geoplan.raft import footprints
from geoplan.settings import Settings
from geoplan.site import FloatArray, Mark

#: How far the place that a telephone shows may be off with 95 %; common experience under open
#: sky, and more under trees; judgement [m].
PHONE_ERROR_M = 4.0


@dataclass(frozen=True)
class SetOutPoint:
    """
    One point to set out.

    Attributes
    ----------
    raft_id : str
        The raft it belongs to.
    item : str
        ``centre``, ``corner 1`` to ``corner 4``, or kind and name of a mooring.
    easting_m, northing_m : float
        Where, working CRS [m].
    mooring : Mooring or None
        The post or anchor; ``None`` for a point of the raft.
    fix : TapeFix or None
        Its tapes; ``None`` where no two marks fix it.
    """

    raft_id: str
    item: str
    easting_m: float
    northing_m: float
    mooring: Mooring | None = None
    fix: TapeFix | None = None


def tape_limits(settings: Settings) -> TapeLimits:
    """
    Return what tapes can do on a site.

    Parameters
    ----------
    settings : Settings
        Settings of the site.

    Returns
    -------
    TapeLimits
        The deviations of tape and mark in one, as independent errors add up.
    """
    given = settings.setting_out
    return TapeLimits(float(np.hypot(given.tape_sigma_m, given.mark_sigma_m)), given.longest_tape_m)


def points_to_set_out(
    rafts: Sequence[PlacedRaft],
    moorings: Sequence[Mooring],
    marks: Sequence[Mark] = (),
    settings: Settings | None = None,
) -> tuple[SetOutPoint, ...]:
    """
    Return what is set out for the rafts of a water body.

    Parameters
    ----------
    rafts : sequence of PlacedRaft
        Rafts of the plan; those that lie there already are left out.
    moorings : sequence of Mooring
        Posts and anchors of the planned ones.
    marks : sequence of Mark
        Marks to tape from.
    settings : Settings or None
        What tapes can do; ``None`` leaves tapes out.

    Returns
    -------
    tuple of SetOutPoint
        Raft by raft: centre, corners, moorings. Corner 1 is ahead and to starboard of the
        heading, the others follow clockwise.
    """
    marks_m = np.array([(mark.point.x, mark.point.y) for mark in marks]).reshape(-1, 2)
    limits = tape_limits(settings) if settings else None
    held: dict[str, list[Mooring]] = {}
    for part in moorings:
        held.setdefault(part.raft_id, []).append(part)
    points = []
    for raft in rafts:
        if raft.status == "existing":
            continue
        for item, place_m, mooring in _items(raft, held.get(raft.raft_id, [])):
            fix = best_fix(place_m, marks_m, limits) if limits else None
            east_m, north_m = float(place_m[0]), float(place_m[1])
            points.append(SetOutPoint(raft.raft_id, item, east_m, north_m, mooring, fix))
    return tuple(points)


def _items(
    raft: PlacedRaft, moorings: Sequence[Mooring]
) -> list[tuple[str, FloatArray, Mooring | None]]:
    """Return the points of one raft by name."""
    outline = footprints(
        raft.easting_m, raft.northing_m, raft.heading_deg, raft.length_m, raft.width_m
    )[0]
    corners_m = shapely.get_coordinates(outline)[:-1]
    return [
        ("centre", np.array([raft.easting_m, raft.northing_m]), None),
        *((f"corner {number}", corner, None) for number, corner in enumerate(corners_m, 1)),
        *(
            (f"{part.kind} {part.mooring_id}", np.array([part.easting_m, part.northing_m]), part)
            for part in moorings
        ),
    ]
