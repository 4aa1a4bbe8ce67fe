"""
Rafts that a person tried elsewhere: what changed against the plan, and whether they may lie there.

Nothing that the file says of itself is believed: its places are laid beside those of the plan.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry import Polygon

from geoplan.audit import audit_places
from geoplan.crs import transformed
from geoplan.exports import gis_files
from geoplan.fleet.crew import Crew
from geoplan.fleet.folder import (
    Outcome,
    parts_of,
    site_location,
    site_of_plan,
    written_folder,
)
from geoplan.fleet.lock import alone
from geoplan.fleet.planning import Asked, planned
from geoplan.fleet.running import Progress
from geoplan.fleet.whole import refuse_foreign_folder
from geoplan.plan import AuditReport
from geoplan.readers.held_rafts import read_held, rectangle_round
from geoplan.reasons import HeldRaft
from geoplan.site import Site, SourceFile
from geoplan.written import WrittenPlan, WrittenRaft

#: What writing a place in degrees to eight decimals and reading it back may shift it by [m].
_SAME_PLACE_M = 5e-3


@dataclass(frozen=True, eq=False)
class RaftChange:
    """
    How one raft of a file differs from the plan.

    Attributes
    ----------
    raft_id, water_id : str
        Which raft, in which water body.
    kind : str
        ``moved``, ``added`` or ``removed``.
    words : str
        The same for a person, with the amount.
    """

    raft_id: str
    water_id: str
    kind: str
    words: str


@dataclass(frozen=True, eq=False)
class EditedRafts:
    """
    Rafts of a file beside those of a plan.

    Attributes
    ----------
    changes : tuple of RaftChange
        What differs, in the order of the file, then what is gone in the order of the plan.
    unchanged_count : int
        Rafts that lie where the plan has them.
    report : AuditReport
        The verdict on the rafts in their places.
    held : tuple of HeldRaft
        All rafts of the file; those that did not move at the very place of the plan.
    source : SourceFile
        The file and its hash.
    site : Site
        The site of the plan.
    site_path : Path
        Where that lies.
    """

    changes: tuple[RaftChange, ...]
    unchanged_count: int
    report: AuditReport
    held: tuple[HeldRaft, ...]
    source: SourceFile
    site: Site
    site_path: Path


def audit_edited(folder: Path, rafts: Path, site_path: Path | None = None) -> EditedRafts:
    """
    Judge rafts that were tried elsewhere, against the raw data of a plan's site.

    Parameters
    ----------
    folder : Path
        Plan folder.
    rafts : Path
        GeoJSON or GeoPackage of rafts, such as the map of the plan saves.
    site_path : Path or None
        The site; ``None``: where the plan says it was.

    Returns
    -------
    EditedRafts
        What changed, and the verdict.

    Raises
    ------
    PlanFileError
        If the folder is not a whole plan, or the site has moved or changed since.
    SiteDataError
        If the file has rows that are no raft of the site; all of them are named.
    """
    site = site_of_plan(folder, site_path)
    written = gis_files.read_plan(folder / gis_files.FILE_NAME)
    held, source = read_held(rafts, site)
    held, changes = _compared(held, written, site)
    unchanged = len(held) - sum(change.kind != "removed" for change in changes)
    report = audit_places(_as_written(held, site), site)
    where = site_location(folder, site_path)
    return EditedRafts(changes, unchanged, report, held, source, site, where)


def plan_edited(
    edited: EditedRafts,
    out: Path,
    *,
    crew: Crew | None = None,
    progress: Progress | None = None,
) -> Outcome:
    """
    Write a whole plan folder of exactly the rafts of a file.

    Parameters
    ----------
    edited : EditedRafts
        The rafts, all of which are held where they lie; none is added.
    out : Path
        Plan folder to write.
    crew : Crew or None
        Who does the work; ``None``: as many processes as there are cores.
    progress : callable or None
        As in ``plan_folder``.

    Returns
    -------
    Outcome
        Plan and audit.

    Raises
    ------
    SiteDataError
        If a raft may not lie where it lies; the message says by how much.
    PlanFileError
        If ``out`` holds something that is not a plan.
    ExportError
        If the disk is full.
    """
    refuse_foreign_folder(out)
    store = parts_of(out)
    with alone(store, str(out)):
        asked = Asked(held=edited.held, is_held_alone=True)
        plan = planned(edited.site, store, crew or Crew(), asked, progress)
        plan = replace(plan, kept_from=edited.source)
        return written_folder(plan, edited.site, edited.site_path, out)


@dataclass(frozen=True, eq=False)
class _Planned:
    """A raft of the plan, in the CRS of its water body."""

    row: WrittenRaft
    outline: Polygon


def _compared(
    held: Sequence[HeldRaft], written: WrittenPlan, site: Site
) -> tuple[tuple[HeldRaft, ...], tuple[RaftChange, ...]]:
    """Return the rafts, each with a name of its own, and what differs from the plan."""
    crs = {body.water_id: body.crs for body in site.water_bodies}
    outlines = {
        row.raft_id: _Planned(row, transformed(row.outline, written.crs, crs[row.water_id]))
        for row in written.rafts
        if row.status != "existing" and row.water_id in crs
    }
    # A place without numbers in the plan's file is no place to compare with.
    left = {
        name: old
        for name, old in outlines.items()
        if np.isfinite(shapely.get_coordinates(old.outline)).all()
    }
    taken = {row.raft_id for row in written.rafts}
    out, changes = [], []
    for raft in held:
        old = left.pop(raft.raft_id, None) or _at_same_place(raft, left)
        if old is None:
            name = raft.raft_id if raft.raft_id not in taken else _new_name(raft, taken)
            taken.add(name)
            words = f"a '{raft.raft_type}' more"
            changes.append(RaftChange(name, raft.water_id, "added", words))
            out.append(replace(raft, raft_id=name))
            continue
        left.pop(old.row.raft_id, None)
        words = _difference(raft, old)
        if words:
            changes.append(RaftChange(old.row.raft_id, raft.water_id, "moved", words))
        out.append(_named(raft, old, has_moved=bool(words)))
    changes += [
        RaftChange(name, old.row.water_id, "removed", f"the '{old.row.raft_type}' of the plan")
        for name, old in left.items()
    ]
    return tuple(out), tuple(changes)


def _at_same_place(raft: HeldRaft, planned: dict[str, _Planned]) -> _Planned | None:
    """Return the raft of the plan at the place of one without a name that the plan knows."""
    if raft.raft_id:
        return None
    return next((old for old in planned.values() if not _difference(raft, old)), None)


def _new_name(raft: HeldRaft, taken: set[str]) -> str:
    """Return a name for a raft that has none, or that of another."""
    numbers = (f"{raft.water_id}-new-{number}" for number in range(1, len(taken) + 2))
    return next(name for name in numbers if name not in taken)


def _difference(raft: HeldRaft, old: _Planned) -> str:
    """Return in words how a raft was changed; empty where it lies where it was planned."""
    row = old.row
    if raft.water_id != row.water_id:
        return f"from water '{row.water_id}' to water '{raft.water_id}'"
    parts = [] if raft.raft_type == row.raft_type else [f"now a '{raft.raft_type}'"]
    if shapely.hausdorff_distance(raft.outline, old.outline) <= _SAME_PLACE_M:
        return "; ".join(parts)
    centre = shapely.get_coordinates(shapely.centroid(old.outline))[0]
    east, north = raft.easting_m - centre[0], raft.northing_m - centre[1]
    away = math.hypot(east, north)
    if away >= _SAME_PLACE_M:
        bearing = math.degrees(math.atan2(east, north)) % 360.0
        parts.append(f"{away:.2f} m towards {bearing:.0f}°")
    turn = (raft.heading_deg - rectangle_round(old.outline)[2] + 90.0) % 180.0 - 90.0
    if abs(turn) >= 0.05:
        parts.append(f"turned {abs(turn):.1f}° {'right' if turn > 0 else 'left'}")
    return "; ".join(parts) or "by less than a centimetre"


def _named(raft: HeldRaft, old: _Planned, *, has_moved: bool) -> HeldRaft:
    """Return a raft of the plan under its name; unmoved, at the very place it was planned at."""
    if has_moved:
        return replace(raft, raft_id=old.row.raft_id)
    east, north, heading, _ = rectangle_round(old.outline)
    return replace(
        raft,
        raft_id=old.row.raft_id,
        easting_m=east,
        northing_m=north,
        heading_deg=heading,
        outline=old.outline,
    )


def _as_written(held: Sequence[HeldRaft], site: Site) -> WrittenPlan:
    """Return rafts as rows of a plan in longitude and latitude, for the audit."""
    crs = {body.water_id: body.crs for body in site.water_bodies}
    kinds = {kind.name: kind for kind in site.settings.raft}
    rows = tuple(
        WrittenRaft(
            raft_id=raft.raft_id,
            water_id=raft.water_id,
            raft_type=raft.raft_type,
            status="planned",
            outline=transformed(raft.outline, crs[raft.water_id], "EPSG:4326"),
            length_m=kinds[raft.raft_type].length_m,
            width_m=kinds[raft.raft_type].width_m,
            depth_low_m=None,
        )
        for raft in held
    )
    return WrittenPlan("EPSG:4326", rows, (), (), ())
