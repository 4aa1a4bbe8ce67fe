"""
What the audit holds against a plan: one water body's raw data and the file's rows, side by side.

Rows that cannot be judged at all (no such water body, no outline, not a number) are sorted out
here, each with a finding in words, so that no check has to fear them.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from geoplan.audit.bed import RawBed, raw_bed
from geoplan.audit.edges import edge_at, volume_m3
from geoplan.audit.frame import FloatArray, Frame, frame_of
from geoplan.plan import Finding
from geoplan.raft import RaftType
from geoplan.settings import Settings
from geoplan.site import ShareTerms, Site, WaterBody, names_of
from geoplan.written import WrittenEdge, WrittenMooring, WrittenPlan, WrittenRaft, WrittenRoute

#: Spacing of the points at which a footprint is sampled [m].
SAMPLE_STEP_M = 0.25
#: A row that calls itself existing must lie this close to a raft the site knows [m].
_SAME_PLACE_M = 0.01
#: No raft type is longer than 60 m; an outline beyond this is a fault of drawing or of CRS [m].
_LARGEST_M = 100.0


@dataclass(frozen=True, eq=False)
class JudgedRaft:
    """
    A row of the layer ``rafts`` that can be judged.

    Attributes
    ----------
    row : WrittenRaft
        The row as it stands in the file.
    outline : Polygon
        Its outline in the frame [m].
    raft_type : RaftType or None
        Its type; ``None`` where the site has none of that name.
    """

    row: WrittenRaft
    outline: Polygon
    raft_type: RaftType | None


@dataclass(frozen=True, eq=False)
class Evidence:
    """
    Everything about one water body that checks look at, in the audit's frame.

    Attributes
    ----------
    body : WaterBody
        Raw data, in the site's CRS.
    settings : Settings
        Settings of the site.
    frame : Frame
        The audit's frame.
    outline : Polygon
        Outline as surveyed [m].
    bed : RawBed
        Bed from the raw survey.
    edges : dict of str to BaseGeometry
        Open water at ``low``, ``normal`` and ``high`` [m].
    mean_depth_m : float
        Volume over area at normal level [m].
    rafts : tuple of JudgedRaft
        Rafts that the plan puts there.
    existing : tuple of (str, Polygon)
        Rafts that the site has there already [m].
    written_edges : tuple of WrittenEdge
        Rows of the layer ``water_edges`` for this water body.
    moorings : tuple of WrittenMooring
        Posts of its rafts; places in the CRS of the file.
    routes : tuple of WrittenRoute
        Routes of its rafts; paths in the CRS of the file.
    """

    body: WaterBody
    settings: Settings
    frame: Frame
    outline: Polygon
    bed: RawBed
    edges: dict[str, BaseGeometry]
    mean_depth_m: float
    rafts: tuple[JudgedRaft, ...]
    existing: tuple[tuple[str, Polygon], ...]
    written_edges: tuple[WrittenEdge, ...]
    moorings: tuple[WrittenMooring, ...]
    routes: tuple[WrittenRoute, ...]


@dataclass(frozen=True, eq=False)
class Case:
    """
    A plan before its judge.

    Attributes
    ----------
    settings : Settings
        Settings of the site.
    written : WrittenPlan
        The plan as it stands in the file.
    waters : tuple of Evidence
        One for each water body that the plan touches.
    record : tuple of Finding
        What was found on sorting the rows.
    """

    settings: Settings
    written: WrittenPlan
    waters: tuple[Evidence, ...]
    record: tuple[Finding, ...]


def case_of(written: WrittenPlan, site: Site) -> Case:
    """
    Lay a plan and the raw site side by side.

    Parameters
    ----------
    written : WrittenPlan
        The plan as it stands in the file.
    site : Site
        The raw site.

    Returns
    -------
    Case
        Evidence for each water body that the plan touches, and findings on rows that cannot be
        judged.
    """
    return _case(written, site, _evidence)


def counted_case(written: WrittenPlan, site: Site) -> Case:
    """
    Lay rows and water bodies side by side for checks that only count.

    Parameters
    ----------
    written : WrittenPlan
        The plan as it stands in the file.
    site : Site
        The raw site.

    Returns
    -------
    Case
        As ``case_of`` makes it, without bed, edges, depth and places: no more of a water body is
        kept than its name, its terms and which rafts count.
    """
    return _case(written, site, _sums_only)


def _case(written: WrittenPlan, site: Site, evidence_of: Callable[..., Any]) -> Case:
    """Return the evidence on each water body that a plan touches."""
    unplaced = list(_crs_faults(written.crs))
    faults = [*unplaced, *_row_faults(written, site)]
    waters = []
    by_water = _grouped(written.rafts, "water_id")
    edges_by_water = _grouped(written.edges, "water_id")
    held = _Held(_grouped(written.moorings, "raft_id"), _grouped(written.routes, "raft_id"))
    for body in site.water_bodies:
        rows = by_water.get(body.water_id, [])
        edges = tuple(edges_by_water.get(body.water_id, []))
        if unplaced or not (rows or edges):
            continue
        evidence, lost = evidence_of(body, site.settings, written.crs, rows, edges, held)
        waters.append(evidence)
        faults += lost
    if not faults:
        words = "every row names a known water body and raft type and has an outline"
        faults = [_record("", "", words, passed=True)]
    return Case(site.settings, written, tuple(waters), tuple(faults))


@dataclass(frozen=True, eq=False)
class _Held:
    """Posts and routes by raft: looking through all of them for each water body takes too long."""

    moorings: dict[str, list[WrittenMooring]]
    routes: dict[str, list[WrittenRoute]]


def _grouped(rows: Iterable[Any], column: str) -> dict[str, list[Any]]:
    """Return rows by what they name, each in the order of the file."""
    groups: dict[str, list[Any]] = {}
    for row in rows:
        groups.setdefault(getattr(row, column), []).append(row)
    return groups


def _record(water_id: str, raft_id: str, words: str, passed: bool = False) -> Finding:
    """Return a finding about a row as such."""
    count = 0.0 if passed else 1.0
    return Finding("record", water_id, raft_id, count, 0.0, "faults", passed, words)


def _crs_faults(crs: str) -> Iterator[Finding]:
    """Yield a finding where the file's CRS is not known."""
    try:
        known = CRS.from_user_input(crs)
    except CRSError:
        known = None
    if known is None or not (known.is_projected or known.is_geographic):
        words = (
            f"the file's CRS {str(crs)[:80]!r} is not known or has no place on the map, so nothing"
            " in it can be judged; write the file again with a CRS"
        )
        yield _record("", "", words)


def _row_faults(written: WrittenPlan, site: Site) -> Iterator[Finding]:
    """Yield a finding for each row that names something unknown, or an identity twice."""
    waters = set(names_of(site.water_bodies))
    for raft in written.rafts:
        if raft.water_id not in waters:
            words = f"the site has no water body {raft.water_id!r}; correct water_id"
            yield _record(raft.water_id, raft.raft_id, words)
    for edge in written.edges:
        if edge.water_id not in waters:
            words = f"water_edges: the site has no water body {edge.water_id!r}; remove the row"
            yield _record(edge.water_id, "", words)
    for raft_id, count in Counter(raft.raft_id for raft in written.rafts).items():
        if count > 1:
            words = f"raft_id {raft_id!r} stands {count} times; give each raft its own"
            yield _record("", raft_id, words)


def _evidence(
    body: WaterBody,
    settings: Settings,
    file_crs: str,
    rows: list[WrittenRaft],
    edges: tuple[WrittenEdge, ...],
    held: "_Held",
) -> tuple[Evidence, list[Finding]]:
    """Return the evidence on a water body, and findings on rows without a usable outline."""
    counted, faults = _counted(body, settings, file_crs, rows, edges, held)
    bed = raw_bed(body, counted.frame, settings.survey.sigma_m, settings.survey.reach_m)
    outline = counted.outline
    levels = {
        name: edge_at(outline, body.outline_level_m, bed, level, settings.bank_slope)
        for name, level in body.levels.named()
    }
    depth_m = _mean_depth_m(body, outline, bed, levels["normal"])
    return replace(counted, bed=bed, edges=levels, mean_depth_m=depth_m), faults


class _Unread:
    """Stands for what no check at hand looks at."""

    __slots__ = ("_what",)

    def __init__(self, what: str) -> None:
        self._what = what

    def __getattr__(self, name: str) -> Any:
        """Refuse."""
        raise RuntimeError(f"the {self._what} was not read, and its {name} is not known")


@dataclass(frozen=True)
class _Named:
    """What is kept of a water body where rafts are counted."""

    water_id: str
    terms: ShareTerms


def _sums_only(*args: Any) -> tuple[Evidence, list[Finding]]:
    """Return what is counted of a water body, without the shapes by which it was found."""
    found, faults = _counted(*args)
    nowhere: Any = _Unread("place")
    named: Any = _Named(found.body.water_id, found.body.terms)
    judged = tuple(replace(raft, outline=nowhere) for raft in found.rafts)
    existing = tuple((name, nowhere) for name, _ in found.existing)
    found = replace(found, body=named, frame=nowhere, outline=nowhere)
    return replace(found, rafts=judged, existing=existing), faults


def _counted(
    body: WaterBody,
    settings: Settings,
    file_crs: str,
    rows: list[WrittenRaft],
    edges: tuple[WrittenEdge, ...],
    held: "_Held",
) -> tuple[Evidence, list[Finding]]:
    """Return the evidence on a water body as far as it can be counted."""
    frame = frame_of(body.outline, body.crs, file_crs)
    existing = tuple((raft.raft_id, frame.of_site(raft.outline)) for raft in body.rafts)
    rafts, faults = _judged(rows, frame, dict(existing), settings)
    names = dict.fromkeys(row.raft_id for row in rows)
    evidence = Evidence(
        body=body,
        settings=settings,
        frame=frame,
        outline=frame.of_site(body.outline),
        bed=_Unread("bed"),
        edges={},
        mean_depth_m=float("nan"),
        rafts=tuple(rafts),
        existing=existing,
        written_edges=edges,
        moorings=tuple(post for name in names for post in held.moorings.get(name, [])),
        routes=tuple(route for name in names for route in held.routes.get(name, [])),
    )
    return evidence, faults


def _mean_depth_m(body: WaterBody, outline: Polygon, bed: RawBed, normal: BaseGeometry) -> float:
    """Return volume over area at normal level; a bank above the outline counts as a wedge."""
    level = body.levels.normal_m
    area = float(shapely.area(normal))
    if area <= 0:
        return 0.0
    rise = max(0.0, level - body.outline_level_m)
    wedge = rise * max(0.0, area - float(shapely.area(outline))) / 2.0
    return (volume_m3(outline, bed, level) + wedge) / area


def _judged(
    rows: list[WrittenRaft], frame: Frame, existing: dict[str, Polygon], settings: Settings
) -> tuple[list[JudgedRaft], list[Finding]]:
    """Sort the rows of a water body: to be judged, known to exist, or without an outline."""
    types = {kind.name: kind for kind in settings.raft}
    judged, faults = [], []
    for row in rows:
        outline = frame_outline(row.outline, frame)
        if outline is None:
            words = "its outline is empty, crosses itself or has no numbers; draw it again"
            faults.append(_record(row.water_id, row.raft_id, words))
            continue
        if row.raft_id in existing and row.status == "existing":
            if _same_place(outline, existing[row.raft_id]):
                continue
            words = "it lies elsewhere than the site's existing raft, and is judged as planned"
            faults.append(_record(row.water_id, row.raft_id, words))
        west, south, east, north = outline.bounds
        if max(east - west, north - south) > _LARGEST_M:
            words = (
                f"its outline is over {_LARGEST_M:g} m across; draw it again, or correct the CRS"
            )
            faults.append(_record(row.water_id, row.raft_id, words))
            continue
        if row.raft_type not in types:
            words = f"the site has no raft type {row.raft_type!r}; correct raft_type"
            faults.append(_record(row.water_id, row.raft_id, words))
        judged.append(JudgedRaft(row, outline, types.get(row.raft_type)))
    return judged, faults


def _same_place(one: Polygon, other: Polygon) -> bool:
    """Tell whether two outlines are the same within a centimetre."""
    return bool(shapely.hausdorff_distance(one, other) <= _SAME_PLACE_M)


def frame_outline(outline: object, frame: Frame) -> Polygon | None:
    """
    Return an outline of the file in the frame.

    Parameters
    ----------
    outline : object
        What the file has for it.
    frame : Frame
        The audit's frame.

    Returns
    -------
    Polygon or None
        The outline; ``None`` where it is no simple polygon of finite coordinates.
    """
    if not isinstance(outline, Polygon) or not _is_finite(outline):
        return None
    moved = frame.of_file(outline)
    return moved if _is_finite(moved) and moved.is_valid and moved.area > 0 else None


def frame_line(line: object, frame: Frame) -> LineString | None:
    """
    Return a line of the file in the frame.

    Parameters
    ----------
    line : object
        What the file has for it.
    frame : Frame
        The audit's frame.

    Returns
    -------
    LineString or None
        The line; ``None`` where it is none, or not of finite coordinates.
    """
    if not isinstance(line, LineString) or not _is_finite(line):
        return None
    moved = frame.of_file(line)
    return moved if _is_finite(moved) and moved.length > 0 else None


def _is_finite(geometry: BaseGeometry) -> bool:
    """Tell whether a geometry has coordinates, all of them finite."""
    places = shapely.get_coordinates(geometry)
    return len(places) > 0 and bool(np.isfinite(places).all())


def samples(outline: Polygon) -> FloatArray:
    """
    Return points that stand for a footprint.

    Parameters
    ----------
    outline : Polygon
        Footprint, frame [m].

    Returns
    -------
    ndarray of float, shape (n, 2)
        A lattice inside, points along the edge and the corners, a quarter metre apart [m].
    """
    west, south, east, north = outline.bounds
    easting, northing = np.meshgrid(
        np.arange(west, east, SAMPLE_STEP_M), np.arange(south, north, SAMPLE_STEP_M)
    )
    shapely.prepare(outline)
    inside = shapely.contains_xy(outline, easting, northing)
    edge = shapely.get_coordinates(shapely.segmentize(outline, SAMPLE_STEP_M))
    return np.concatenate([np.column_stack([easting[inside], northing[inside]]), edge])


def number(value: object) -> float:
    """
    Return what a file has for a number.

    Parameters
    ----------
    value : object
        Cell of a table.

    Returns
    -------
    float
        The number; NaN where it is none.

    Examples
    --------
    >>> number(2), number(None)
    (2.0, nan)
    """
    return float(value) if isinstance(value, int | float) else float("nan")


def stray(check: str, rafts: tuple[WrittenRaft, ...], named: list[str]) -> Iterator[Finding]:
    """
    Find rows that belong to no raft of the plan.

    Parameters
    ----------
    check : str
        Name of the check.
    rafts : tuple of WrittenRaft
        Rafts of the plan.
    named : list of str
        The raft that each row names.

    Yields
    ------
    Finding
        A failed one for each raft that is named and not there.
    """
    known = {raft.raft_id for raft in rafts}
    for raft_id, count in Counter(named).items():
        if raft_id not in known:
            words = f"{count} rows name raft {raft_id!r}, which the plan does not have; remove them"
            yield Finding(check, "", raft_id, float(count), 0.0, "rows", False, words)
