"""
What the map shows, as one record of plain numbers and texts.

Depths and clearances are rounded down, lengths of posts and percents up: a page never promises
more than the plan.
"""

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry

from geoplan.crs import crs_name
from geoplan.exports.cover_sheet import is_within, rounded_up_pct
from geoplan.exports.degree_fit import fit_degrees
from geoplan.exports.depth_embedding import (
    class_limits_cm,
    embedded,
    least_need_cm,
    merged_cells,
)
from geoplan.exports.effect_sheet import knows_grams
from geoplan.exports.map_coordinates import Millimetres, fit_record
from geoplan.exports.map_effect import effect_record
from geoplan.exports.map_launch import Launches, launches_record
from geoplan.exports.map_levels import levels_record
from geoplan.exports.map_moorings import moorings_record
from geoplan.exports.map_reasons import reasons_record
from geoplan.exports.map_surroundings import kept_clear, shading, surroundings
from geoplan.exports.map_trial import trial_record
from geoplan.exports.outlines import pose_in, raft_outlines
from geoplan.exports.safe_rounding import rounded_down, rounded_up
from geoplan.plan import (
    AuditReport,
    Finding,
    PlacedRaft,
    Plan,
    Route,
    WaterEdge,
    WaterPlan,
    WorthMap,
)
from geoplan.site import Site, WaterBody

#: Failures that are listed in full; a page with thousands could not be read.
_MOST_FAILURES = 200
#: Land shown round everything [m].
_MARGIN_M = 5.0
#: Steps in which fields are drawn: nothing is measured from them [mm].
_COARSE_MM = 50

Failures = Mapping[tuple[str, str], Sequence[str]]


@dataclass(frozen=True, eq=False)
class Verdict:
    """
    What a map says of the audit; pages of one map share it.

    Attributes
    ----------
    record : dict of str to Any
        How many checks were made, and what failed.
    failures : mapping of (str, str) to sequence of str
        Words of every check that failed, by water body and raft.
    """

    record: dict[str, Any]
    failures: Failures


def verdict_of(audit: AuditReport | None) -> Verdict:
    """
    Return what a map says of the audit.

    Parameters
    ----------
    audit : AuditReport or None
        Verdict on the plan; ``None`` where it was not judged.

    Returns
    -------
    Verdict
        Its failures grouped.

    Examples
    --------
    >>> verdict_of(None).record["made"] is None
    True
    """
    return Verdict(_verdict(audit), _failures_by_raft(audit))


def map_record(
    plan: Plan, site: Site, verdict: Verdict, launches: Launches | None = None
) -> dict[str, Any]:
    """
    Return everything that the map shows.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site it was made from.
    verdict : Verdict
        What is said of the audit.
    launches : mapping or None
        What is known of each launch; ``None``: counted for this plan alone.

    Returns
    -------
    dict of str to Any
        Record for JSON: numbers are finite, or None where something was not assessed.

    Raises
    ------
    ExportError
        If a water body is too large to be shown to a centimetre.
    """
    bodies = site.by_id
    grids = [water.depth_grid for water in plan.waters if water.depth_grid is not None]
    merged = merged_cells(sum(grid.depth_low_m.size for grid in grids))
    launches = launches_record(plan, site) if launches is None else launches
    waters = [
        _water(
            water,
            bodies.get(water.water_id),
            site,
            plan.client_crs,
            verdict.failures,
            merged,
            launches,
        )
        for water in plan.waters
    ]
    deepest = max((water["depth"]["deepest_cm"] for water in waters if water["depth"]), default=0)
    need = least_need_cm(site.settings)
    return {
        "site": plan.site_name,
        "crs": crs_name(plan.client_crs),
        "vertical_datum": site.settings.vertical_datum,
        "need_cm": need,
        "class_limits_cm": class_limits_cm(need, deepest),
        "merged_cells": merged,
        "audit": verdict.record,
        "waters": waters,
    }


def _failures_by_raft(audit: AuditReport | None) -> Failures:
    """Return the words of every check that failed, by water body and raft."""
    words: dict[tuple[str, str], list[str]] = defaultdict(list)
    for finding in audit.failed if audit else ():
        words[finding.water_id, finding.raft_id].append(_words(finding))
    return words


def _words(finding: Finding) -> str:
    """Return a failed check in words."""
    numbers = f"{finding.measured:.4g} {finding.unit}, limit {finding.limit:.4g} {finding.unit}"
    return f"{finding.check}: {numbers}. {finding.detail}".strip()


def _verdict(audit: AuditReport | None) -> dict[str, Any]:
    """Return how many checks were made, and what failed."""
    failed = audit.failed if audit else ()
    return {
        "made": len(audit.findings) if audit else None,
        "failed_count": len(failed),
        "failed": [
            {"water_id": f.water_id, "raft_id": f.raft_id, "words": _words(f)}
            for f in failed[:_MOST_FAILURES]
        ],
    }


def _water(
    water: WaterPlan,
    body: WaterBody | None,
    site: Site,
    crs: str,
    failures: Failures,
    merged: int,
    launches: Launches,
) -> dict[str, Any]:
    """Return what the map shows of one water body."""
    outlines = raft_outlines(water, site)
    fit = fit_degrees(_bounds_m(water, body, outlines), water.crs)
    mm = Millimetres(*fit.centre_m)
    depth = embedded(water.depth_grid, merged) if water.depth_grid is not None else None
    order = {route.raft_id: route.sequence for route in water.routes}
    best = max((raft.worth for raft in water.rafts), default=0.0)
    return {
        "water_id": water.water_id,
        "name": water.name,
        "fit": fit_record(fit),
        "bounds": _extent(water, body, mm),
        "why_none": water.why_none,
        "notes": [str(note) for note in water.notes],
        "cover": _cover(water, body.max_cover_pct if body else None),
        "levels": levels_record(water),
        "edges": [_edge(edge, mm) for edge in water.edges],
        "depth": _depth(asdict(depth), mm) if depth else None,
        "rafts": [
            _raft(raft, mm.shape(outline), pose_in(raft, water.crs, crs), order, best)
            | _failed(failures.get((water.water_id, raft.raft_id), []))
            | ({} if knows_grams(water.effect) else {"removal_g_d": None})
            for raft, outline in zip(water.rafts, outlines, strict=True)
        ],
        **moorings_record(water, mm),
        "routes": [
            _route(route, mm) | {"work": launches.get((water.water_id, route.raft_id))}
            for route in water.routes
        ],
        "worth": _worth(water.worth_map, mm) if water.worth_map else None,
        "effect": effect_record(water.effect) if water.effect else None,
        **reasons_record(water, mm),
        **trial_record(water, site.settings, mm),
        **(surroundings(body, mm, water.suggested_marks) if body else {}),
    }


def _bounds_m(
    water: WaterPlan, body: WaterBody | None, outlines: Sequence[BaseGeometry]
) -> tuple[float, float, float, float]:
    """Return the bounds of everything that is shown of a water body, working CRS [m]."""
    shown: list[BaseGeometry] = [*outlines, *(edge.outline for edge in water.edges)]
    shown += [route.path for route in water.routes]
    shown += [shapely.Point(post.easting_m, post.northing_m) for post in water.moorings]
    shown += [part.point for part in water.suggested_marks]
    shown += [part.outline for part in water.swept]
    if body:
        shown += [body.outline, *(part.geometry for part in body.outlets)]
        shown += [part.geometry for part in body.launches]
        shown += [part.point for part in body.inflows]
        shown += [part.point for part in body.marks]
        shown += [kept_clear(part) for part in body.keep_clear]
        shown += [shading(part) for part in body.shade]
    grid = water.depth_grid
    if grid is not None:
        rows, cols = grid.depth_low_m.shape
        east, north = grid.west_m + cols * grid.cell_size_m, grid.south_m + rows * grid.cell_size_m
        shown.append(shapely.box(grid.west_m, grid.south_m, east, north))
    west, south, east, north = shapely.total_bounds(shown) if shown else (0.0, 0.0, 0.0, 0.0)
    return (
        math.floor(west - _MARGIN_M),
        math.floor(south - _MARGIN_M),
        math.ceil(east + _MARGIN_M),
        math.ceil(north + _MARGIN_M),
    )


def _extent(water: WaterPlan, body: WaterBody | None, mm: Millimetres) -> list[int]:
    """Return west, south, east and north of the water and its rafts, for zooming to it [mm]."""
    shown = [edge.outline for edge in water.edges if not edge.outline.is_empty]
    shown += [shapely.Point(raft.easting_m, raft.northing_m) for raft in water.rafts]
    # Where all is dry at every level, what stands round it is shown.
    west, south, east, north = shapely.total_bounds(shown) if shown else _bounds_m(water, body, ())
    return [
        math.floor((west - mm.east_m) * 1000),
        math.floor((south - mm.north_m) * 1000),
        math.ceil((east - mm.east_m) * 1000),
        math.ceil((north - mm.north_m) * 1000),
    ]


def _cover(water: WaterPlan, limit_pct: float | None) -> list[dict[str, Any]]:
    """Return cover by level; the limit is of the normal pool."""
    rows = []
    for part in water.cover:
        limit = limit_pct if part.level_name == "normal" else None
        rows.append(
            {
                "level_name": part.level_name,
                "level_m": round(part.level_m, 3),
                "cover_pct": rounded_up_pct(part.cover_pct),
                "limit_pct": limit,
                "is_within": None if limit is None else is_within(part.cover_pct, limit),
            }
        )
    return rows


def _depth(grid: dict[str, Any], mm: Millimetres) -> dict[str, Any]:
    """Return an embedded grid with its corner counted from the centre of the water body."""
    return grid | {
        "west_m": grid["west_m"] - mm.east_m,
        "south_m": grid["south_m"] - mm.north_m,
    }


def _raft(
    raft: PlacedRaft,
    shape: dict[str, Any],
    pose: tuple[float, float, float],
    order: dict[str, int],
    best: float,
) -> dict[str, Any]:
    """Return what the map says of a raft."""
    return {
        "raft_id": raft.raft_id,
        "raft_type": raft.raft_type,
        "status": raft.status,
        "easting_m": round(pose[0], 2),
        "northing_m": round(pose[1], 2),
        "heading_deg": round(pose[2], 1) % 180.0,
        "length_m": round(raft.length_m, 2),
        "width_m": round(raft.width_m, 2),
        "depth_low_m": rounded_down(raft.depth_low_m, 2),
        "root_clearance_m": rounded_down(raft.root_clearance_m, 2),
        "bank_clearance_m": rounded_down(raft.bank_clearance_m, 2),
        "gap_m": rounded_down(raft.gap_m, 2),
        "sun_h": rounded_down(raft.sun_h, 1),
        "worth_pct": rounded_down(100.0 * raft.worth / best, 0) if best > 0 else None,
        "removal_g_d": rounded_down(raft.removal_g_d, 1),
        "wave_height_m": rounded_up(raft.wave_height_m, 2),
        "wave_period_s": rounded_up(raft.wave_period_s, 1),
        "sequence": order.get(raft.raft_id),
        "shape": shape,
        **({"is_kept": True} if raft.is_kept else {}),
    }


def _failed(words: Sequence[str]) -> dict[str, Sequence[str]]:
    """Return what fails, and nothing where nothing does: there may be thousands of rafts."""
    return {"failures": words} if words else {}


def _worth(worth: WorthMap, mm: Millimetres) -> dict[str, Any]:
    """Return what the map shows of the worth of places and the way of the water."""
    return {
        "unit": worth.unit,
        "steps": [float(f"{step:.3g}") for step in worth.steps],
        "areas": [mm.shape(shapely.simplify(area, 0.25), _COARSE_MM) for area in worth.areas],
        "streamlines": [
            mm.shape(shapely.simplify(line, 0.25), _COARSE_MM) for line in worth.streamlines
        ],
    }


def _edge(edge: WaterEdge, mm: Millimetres) -> dict[str, Any]:
    """Return what the map says of the water's edge at one level."""
    return {
        "level_name": edge.level_name,
        "is_assumed": edge.is_assumed,
        "shape": mm.shape(edge.outline),
    }


def _route(route: Route, mm: Millimetres) -> dict[str, Any]:
    """Return what the map says of a tow route."""
    return {
        "raft_id": route.raft_id,
        "launch_id": route.launch_id,
        "sequence": route.sequence,
        "length_m": rounded_up(route.length_m, 1),
        "least_depth_m": rounded_down(route.least_depth_m, 2),
        "clearance_m": rounded_down(route.clearance_m, 2),
        "has_room": route.has_room,
        "shape": mm.shape(route.path),
    }
