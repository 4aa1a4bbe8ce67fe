"""What ``plan.gpkg`` and ``plan.json`` say of why a plan is as it is."""

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

import shapely
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from geoplan.crs import transformed
from geoplan.exports.outlines import pose_in
from geoplan.plan import PlacedRaft, WaterPlan
from geoplan.raft import footprints
from geoplan.reasons import Alternative, AlternativeRaft, WhyNot
from geoplan.site import FloatArray

Row = dict[str, Any]


def why_not_rows(water: WaterPlan, crs: str) -> list[Row]:
    """
    Return the rows of ``why_not``.

    Parameters
    ----------
    water : WaterPlan
        Plan of a water body.
    crs : str
        CRS of the file.

    Returns
    -------
    list of dict of str to object
        One for each answer; together they are the water at normal level.
    """
    return [
        {
            **_answer(part),
            "water_id": water.water_id,
            "geometry": transformed(part.area, water.crs, crs),
        }
        for part in water.reasons.why_not
    ]


def _answer(part: WhyNot) -> Row:
    """Return what a row says of an area."""
    names = ("rule", "words", "area_m2", "alone_m2", "only_m2", "is_room")
    return {name: getattr(part, name) for name in names}


def room_rows(water: WaterPlan, crs: str) -> list[Row]:
    """
    Return the rows of ``rooms``.

    Parameters
    ----------
    water : WaterPlan
        Plan of a water body.
    crs : str
        CRS of the file.

    Returns
    -------
    list of dict of str to object
        One for each raft type that has room by the rules of place; none without a certificate.
    """
    made = water.certificate
    if made is None:
        return []
    return [
        {
            "water_id": water.water_id,
            "raft_type": name,
            "area_m2": float(region.area),
            "geometry": transformed(_as_multi(region), water.crs, crs),
        }
        for name, region in zip(made.raft_types, made.regions, strict=True)
        if not region.is_empty
    ]


def _as_multi(region: BaseGeometry) -> MultiPolygon:
    """Return the areas of a region."""
    return MultiPolygon([part for part in shapely.get_parts(region) if part.area > 0])


def alternative_rows(water: WaterPlan, crs: str) -> list[Row]:
    """
    Return the rows of ``alternatives``: each raft of each plan that was not chosen.

    Parameters
    ----------
    water : WaterPlan
        Plan of a water body.
    crs : str
        CRS of the file.

    Returns
    -------
    list of dict of str to object
        Footprints, with centre and heading of the file's CRS.
    """
    rows = []
    for other in water.reasons.alternatives:
        for raft, outline in zip(other.rafts, alternative_outlines(other), strict=True):
            easting_m, northing_m, heading_deg = pose_in(_placed(raft, water), water.crs, crs)
            rows.append(
                {
                    "water_id": water.water_id,
                    "name": other.name,
                    "raft_type": raft.raft_type,
                    "length_m": raft.length_m,
                    "width_m": raft.width_m,
                    "heading_deg": heading_deg,
                    "easting_m": easting_m,
                    "northing_m": northing_m,
                    "cost_pct": other.cost_pct,
                    "geometry": transformed(outline, water.crs, crs),
                }
            )
    return rows


def alternative_outlines(other: Alternative) -> list[Any]:
    """
    Return the footprints of a plan that was not chosen.

    Parameters
    ----------
    other : Alternative
        The plan.

    Returns
    -------
    list of Polygon
        One for each raft, working CRS [m].
    """
    names = ("easting_m", "northing_m", "heading_deg", "length_m", "width_m")
    columns: list[FloatArray | list[float]] = [
        [getattr(raft, name) for raft in other.rafts] for name in names
    ]
    return list(footprints(*columns))


def _placed(raft: AlternativeRaft, water: WaterPlan) -> PlacedRaft:
    """Return a raft as the plan's own are, for its pose in another CRS."""
    return PlacedRaft(
        "", water.water_id, raft.raft_type, raft.easting_m, raft.northing_m, raft.heading_deg,
        raft.length_m, raft.width_m, 0.0, 0.0, 0.0, 0.0, 0.0, None, None, 0.0, None,
    )  # fmt: skip


def explanation(water: WaterPlan) -> Row:
    """
    Return why a plan is as it is, for ``plan.json``.

    Parameters
    ----------
    water : WaterPlan
        Plan of a water body.

    Returns
    -------
    dict of str to object
        What stopped the search, counts of work, prices of limits, water by what keeps a further
        raft out, what would open room, and other plans. No time: the same plan, the same bytes.
    """
    report, reasons = water.report, water.reasons
    return {
        "stopped_by": report.status,
        "is_stopped_by_time": report.is_stopped_by_time,
        "rounds": report.rounds,
        "frames_tried": report.frames_tried,
        "seed": report.seed,
        "kept_raft_count": sum(raft.is_kept for raft in water.rafts),
        "prices": [{**asdict(price), "unit": report.unit} for price in reasons.prices],
        "why_not": [_answer(part) for part in reasons.why_not],
        "yields": [asdict(one) for one in reasons.yields],
        "alternatives": list(_others(water)),
    }


def _others(water: WaterPlan) -> Iterator[Row]:
    """Yield what each plan that was not chosen would bring and cost."""
    for other in water.reasons.alternatives:
        yield {
            "name": other.name,
            "raft_count": len(other.rafts),
            "value": other.value,
            "cost_pct": other.cost_pct,
            "moved_pct": other.moved_pct,
        }
