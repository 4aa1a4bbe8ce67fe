"""
``setting_out.csv``: every point that the crew sets out on the water.

Coordinates are in the client's CRS and in WGS 84; tapes are true horizontal distances from marks
on the bank, which a projected CRS is not.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import shapely

from geoplan.crs import WGS84, transformed_points
from geoplan.exports.csv_text import Cell, Fixed, write_table
from geoplan.exports.outlines import raft_outlines
from geoplan.plan import AuditReport, Mooring, PlacedRaft, Plan, WaterPlan
from geoplan.site import FloatArray, Mark, Site

FILE_NAME = "setting_out.csv"

#: Tapes that cross flatter than this leave a point that slides along them [°].
LEAST_CROSSING_DEG = 30.0

_HEADER = (
    "raft_id",
    "water_id",
    "raft_type",
    "item",
    "easting_m",
    "northing_m",
    "longitude_deg",
    "latitude_deg",
    "mark_1",
    "tape_1_m",
    "mark_2",
    "tape_2_m",
    "depth_high_m",
    "length_m",
    "embedment_m",
)

_Item = tuple[str, float, float, tuple[Cell, ...]]
_NO_POST: tuple[Cell, ...] = (None, None, None)


def write(
    plan: Plan,
    site: Site,
    folder: Path,
    audit: AuditReport | None,  # noqa: ARG001 - exports are called alike
) -> None:
    """
    Write ``setting_out.csv``.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site, for its marks.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Not used: the sheet states what the plan says.

    Raises
    ------
    ExportError
        If the file cannot be written.

    Notes
    -----
    Rafts that lie there already are left out: there is nothing to set out.
    """
    marks = {body.water_id: body.marks for body in site.water_bodies}
    rows = (
        row
        for water in plan.waters
        for row in _water_rows(water, site, plan.client_crs, marks.get(water.water_id, ()))
    )
    write_table(folder / FILE_NAME, _HEADER, rows)


def best_marks(point_m: FloatArray, marks_m: FloatArray) -> tuple[int, int] | None:
    """
    Return the two marks whose tapes cross best at a point.

    Parameters
    ----------
    point_m : ndarray of float, shape (2,)
        Easting and northing of the point [m].
    marks_m : ndarray of float, shape (n, 2)
        Eastings and northings of the marks [m].

    Returns
    -------
    tuple of int or None
        Indices in rising order; ``None`` where no two tapes cross between 30° and 150°.

    Notes
    -----
    The error of the point is that of a tape over the sine of the crossing angle, hence the angle
    nearest to a right one; of equal ones the shorter tapes.

    Examples
    --------
    >>> best_marks(np.array([0.0, 0.0]), np.array([[9.0, 0.0], [9.0, 1.0], [0.0, 9.0]]))
    (0, 2)
    """
    ways = marks_m - point_m
    tapes = np.hypot(ways[:, 0], ways[:, 1])
    one, other = np.triu_indices(len(marks_m), 1)
    usable = (tapes[one] > 0) & (tapes[other] > 0)
    one, other = one[usable], other[usable]
    cosine = np.abs((ways[one] * ways[other]).sum(axis=1)) / (tapes[one] * tapes[other])
    crossing = cosine <= np.cos(np.radians(LEAST_CROSSING_DEG))
    if not crossing.any():
        return None
    one, other, cosine = one[crossing], other[crossing], cosine[crossing]
    best = np.lexsort((other, one, tapes[one] + tapes[other], cosine.round(6)))[0]
    return int(one[best]), int(other[best])


def _water_rows(
    water: WaterPlan, site: Site, crs: str, marks: Sequence[Mark]
) -> Iterator[tuple[Cell, ...]]:
    """Yield the rows of one water body, raft by raft."""
    outlines = raft_outlines(water, site)
    posts: dict[str, list[Mooring]] = {}
    for post in water.moorings:
        posts.setdefault(post.raft_id, []).append(post)
    for raft, outline in zip(water.rafts, outlines, strict=True):
        if raft.status != "existing":
            items = _items(raft, shapely.get_coordinates(outline)[:-1], posts.get(raft.raft_id, []))
            yield from _item_rows(raft, items, water.crs, crs, marks)


def _items(raft: PlacedRaft, corners_m: FloatArray, posts: Sequence[Mooring]) -> list[_Item]:
    """Return what is set out for a raft: its centre, its corners, its posts."""
    return [
        ("centre", raft.easting_m, raft.northing_m, _NO_POST),
        *(
            (f"corner {number}", float(corner[0]), float(corner[1]), _NO_POST)
            for number, corner in enumerate(corners_m, 1)
        ),
        *(
            (
                f"{post.kind} {post.mooring_id}",
                post.easting_m,
                post.northing_m,
                (
                    Fixed(post.depth_high_m, 2),
                    Fixed(post.length_m, 2),
                    Fixed(post.embedment_m, 2),
                ),
            )
            for post in posts
        ),
    ]


def _item_rows(
    raft: PlacedRaft, items: Sequence[_Item], working_crs: str, crs: str, marks: Sequence[Mark]
) -> Iterator[tuple[Cell, ...]]:
    """Yield a row for each item, with coordinates and tapes."""
    points = np.array([(item[1], item[2]) for item in items])
    easting, northing = transformed_points(points[:, 0], points[:, 1], working_crs, crs)
    longitude, latitude = transformed_points(points[:, 0], points[:, 1], working_crs, WGS84)
    marks_m = np.array([(mark.point.x, mark.point.y) for mark in marks]).reshape(-1, 2)
    for index, (item, _, _, post) in enumerate(items):
        yield (
            raft.raft_id,
            raft.water_id,
            raft.raft_type,
            item,
            Fixed(easting[index], 3),
            Fixed(northing[index], 3),
            Fixed(longitude[index], 8),
            Fixed(latitude[index], 8),
            *_tapes(points[index], marks_m, marks),
            *post,
        )


def _tapes(point_m: FloatArray, marks_m: FloatArray, marks: Sequence[Mark]) -> tuple[Cell, ...]:
    """Return two marks and the tape from each, or blanks where none cross well enough."""
    pair = best_marks(point_m, marks_m)
    if pair is None:
        return (None, None, None, None)
    cells: list[Cell] = []
    for index in pair:
        cells += [
            marks[index].mark_id,
            Fixed(float(np.hypot(*(marks_m[index] - point_m))), 2),
        ]
    return tuple(cells)
