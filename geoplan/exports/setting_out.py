"""
``setting_out.csv``: every point that the crew sets out on the water, and the marks it tapes from.

Coordinates are in the client's CRS and in WGS 84; tapes are true horizontal distances from marks
on the bank, which a projected CRS is not.
"""

from collections.abc import Iterator
from pathlib import Path

from geoplan.crs import WGS84
from geoplan.exports.csv_text import Cell, Fixed, write_table
from geoplan.exports.safe_rounding import rounded_up
from geoplan.exports.set_out_places import DIG_WARNING, PHONE_WARNING, Places, places_of
from geoplan.launch.set_out import SetOutPoint
from geoplan.plan import AuditReport, Plan
from geoplan.site import FloatArray, Site

FILE_NAME = "setting_out.csv"

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
    "crossing_deg",
    "error_major_m",
    "error_minor_m",
    "error_axis_deg",
    "note",
)


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
    Rafts that lie there already are left out: there is nothing to set out. Marks stand after the
    rafts of their water body, without a raft.
    """
    rows = (row for places in places_of(plan, site) for row in _rows(places, plan.client_crs))
    write_table(folder / FILE_NAME, _HEADER, rows)


def _rows(places: Places, crs: str) -> Iterator[tuple[Cell, ...]]:
    """Yield the rows of one water body: its points, then its marks."""
    types = {raft.raft_id: raft.raft_type for raft in places.water.rafts}
    plane, globe = places.point_places_in(crs), places.point_places_in(WGS84)
    for index, point in enumerate(places.points):
        yield (
            point.raft_id,
            places.water.water_id,
            types[point.raft_id],
            point.item,
            *_coordinates(plane[index], globe[index]),
            *_tapes(places, point),
            *_post(point),
            *_error(point),
            _note(point),
        )
    plane, globe = places.mark_places_in(crs), places.mark_places_in(WGS84)
    for index, mark in enumerate(places.marks):
        note = (
            f"proposed: drive it, survey it, give it as a mark and plan again. {DIG_WARNING}"
            if places.is_suggested(mark)
            else "mark of the site"
        )
        yield (
            None,
            places.water.water_id,
            None,
            f"mark {mark.mark_id}",
            *_coordinates(plane[index], globe[index]),
            *(None,) * 11,
            note,
        )


def _coordinates(plane: FloatArray, globe: FloatArray) -> tuple[Cell, ...]:
    """Return a place to the millimetre."""
    return (
        Fixed(float(plane[0]), 3),
        Fixed(float(plane[1]), 3),
        Fixed(float(globe[0]), 8),
        Fixed(float(globe[1]), 8),
    )


def _tapes(places: Places, point: SetOutPoint) -> tuple[Cell, ...]:
    """Return two marks and the tape from each, or blanks where none fix the point."""
    if point.fix is None:
        return (None,) * 4
    cells: list[Cell] = []
    for index, tape_m in zip(point.fix.marks, point.fix.tapes_m, strict=True):
        cells += [places.marks[index].mark_id, Fixed(tape_m, 2)]
    return tuple(cells)


def _post(point: SetOutPoint) -> tuple[Cell, ...]:
    """Return what a post or an anchor needs, or blanks."""
    if point.mooring is None:
        return (None, None, None)
    post = point.mooring
    return Fixed(post.depth_high_m, 2), Fixed(post.length_m, 2), Fixed(post.embedment_m, 2)


def _error(point: SetOutPoint) -> tuple[Cell, ...]:
    """Return crossing angle and error ellipse, rounded up, or blanks."""
    fix = point.fix
    if fix is None:
        return (None,) * 4
    major_m, minor_m = rounded_up(fix.error_major_m, 2), rounded_up(fix.error_minor_m, 2)
    return Fixed(fix.crossing_deg, 0), major_m, minor_m, Fixed(fix.error_axis_deg, 0)


def _note(point: SetOutPoint) -> str:
    """Return what the crew must know of a point."""
    words = [] if point.fix else ["No two marks fix it by tape: use a survey-grade receiver."]
    if point.item == "centre":
        words.append(PHONE_WARNING)
    if point.mooring is not None:
        words.append(DIG_WARNING)
    return " ".join(words)
