"""
``plan.gpkg``, the plan of record, in the client's CRS.

It says what the plan is; it does not judge it. Writing the same plan twice gives the same bytes.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError, FieldError
from shapely.geometry import Point

from geoplan.crs import transformed
from geoplan.errors import ExportError
from geoplan.exports.gis_reading import read_plan
from geoplan.exports.outlines import pose_in, raft_outlines
from geoplan.exports.reason_rows import alternative_rows, why_not_rows
from geoplan.exports.set_out_places import Places, places_of
from geoplan.plan import AuditReport, Plan, WaterPlan
from geoplan.site import Site

__all__ = ["FILE_NAME", "read_plan", "write"]

FILE_NAME = "plan.gpkg"

Row = dict[str, Any]

#: Layer -> (geometry type, columns). A column's type follows from its name, see ``_dtype``.
_LAYERS: dict[str, tuple[str, tuple[str, ...]]] = {
    "rafts": (
        "Polygon",
        (
            "raft_id", "water_id", "raft_type", "status", "length_m", "width_m", "heading_deg",
            "easting_m", "northing_m", "area_m2", "planted_area_m2", "depth_low_m",
            "root_clearance_m", "bank_clearance_m", "gap_m", "sun_h", "worth", "removal_g_d",
            "fetch_m", "wave_height_m", "wave_period_s", "wave_from_deg", "draft_m", "freeboard_m",
            "is_kept",
        ),
    ),
    "moorings": (
        "Point",
        (
            "mooring_id", "raft_id", "water_id", "kind", "easting_m", "northing_m",
            "depth_high_m", "length_m", "embedment_m", "load_n", "capacity_n",
        ),
    ),
    "mooring_lines": (
        "LineString",
        ("raft_id", "mooring_id", "length_m", "watch_radius_low_m"),
    ),
    "routes": (
        "LineString",
        ("raft_id", "water_id", "launch_id", "sequence", "length_m", "least_depth_m"),
    ),
    "water_edges": (
        "MultiPolygon",
        (
            "water_id", "name", "level_name", "level_m", "area_m2", "volume_m3", "raft_area_m2",
            "cover_pct", "sigma_pct", "is_assumed",
        ),
    ),
    "marks": (
        "Point",
        ("mark_id", "water_id", "easting_m", "northing_m", "is_suggested"),
    ),
    "setting_out": (
        "Point",
        (
            "raft_id", "water_id", "item", "easting_m", "northing_m", "mark_1", "tape_1_m",
            "mark_2", "tape_2_m", "crossing_deg", "error_major_m", "error_minor_m",
            "error_axis_deg",
        ),
    ),
    "worth": (
        "MultiPolygon",
        ("water_id", "worth_from", "worth_to", "unit"),
    ),
    "streamlines": (
        "LineString",
        ("water_id", "length_m"),
    ),
    "why_not": (
        "MultiPolygon",
        ("water_id", "rule", "words", "area_m2", "alone_m2", "only_m2", "is_room"),
    ),
    "alternatives": (
        "Polygon",
        (
            "water_id", "name", "raft_type", "length_m", "width_m", "heading_deg", "easting_m",
            "northing_m", "cost_pct",
        ),
    ),
    "findings": (
        "Point",
        ("check", "water_id", "raft_id", "measured", "limit", "unit", "passed", "detail"),
    ),
}  # fmt: skip

_TEXTS = frozenset(
    {"item", "mark_1", "mark_2", "mark_id"}
    | {"check", "detail", "kind", "level_name", "name", "raft_type", "status", "unit"}
    | {"launch_id", "mooring_id", "raft_id", "rule", "water_id", "words"}
)
_POSE = ("easting_m", "northing_m", "heading_deg")
_FLAGS = frozenset({"is_assumed", "is_kept", "is_room", "is_suggested", "passed"})


def write(plan: Plan, site: Site, folder: Path, audit: AuditReport | None) -> None:
    """
    Write ``plan.gpkg``.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site it was made from.
    folder : Path
        Folder to write into; a ``plan.gpkg`` in it is replaced.
    audit : AuditReport or None
        Verdict for the layer ``findings``; ``None`` leaves it empty.

    Raises
    ------
    ExportError
        If the file cannot be written, or a place has no coordinates in the client's CRS.

    Notes
    -----
    Lengths and areas are true ones, on the ground; coordinates are of the client's CRS, whose
    scale may differ from 1 by some parts in ten thousand.
    """
    path = folder / FILE_NAME
    layers = _plan_rows(plan, site)
    layers["findings"] = _finding_rows(layers["rafts"], audit)
    try:
        path.unlink(missing_ok=True)
        with _fixed_date():
            for name, rows in layers.items():
                _write_layer(path, name, rows, plan.client_crs)
    except (OSError, DataSourceError, DataLayerError, FeatureError, FieldError) as error:
        raise ExportError(f"{path} could not be written: {error}") from error


def _plan_rows(plan: Plan, site: Site) -> dict[str, list[Row]]:
    """Return the rows of every layer that a plan fills, in the order of the layers."""
    layers: dict[str, list[Row]] = {name: [] for name in _LAYERS}
    for water in plan.waters:
        layers["rafts"] += _raft_rows(water, site, plan.client_crs)
        layers["moorings"] += _mooring_rows(water, plan.client_crs)
        layers["routes"] += [
            {
                **_fields(route, "routes"),
                "water_id": water.water_id,
                "geometry": transformed(route.path, water.crs, plan.client_crs),
            }
            for route in water.routes
        ]
        layers["water_edges"] += _edge_rows(water, plan.client_crs)
        layers["worth"] += _worth_rows(water, plan.client_crs)
        layers["why_not"] += why_not_rows(water, plan.client_crs)
        layers["alternatives"] += alternative_rows(water, plan.client_crs)
        layers["streamlines"] += [
            {
                "water_id": water.water_id,
                "length_m": float(line.length),
                "geometry": transformed(line, water.crs, plan.client_crs),
            }
            for line in (water.worth_map.streamlines if water.worth_map else ())
        ]
    for places in places_of(plan, site):
        layers["marks"] += _mark_rows(places, plan.client_crs)
        layers["setting_out"] += _set_out_rows(places, plan.client_crs)
    return layers


def _fields(part: Any, layer: str) -> Row:
    """Return the columns of a layer that a part of the plan has under the same name."""
    return {name: getattr(part, name, None) for name in _LAYERS[layer][1]}


def _raft_rows(water: WaterPlan, site: Site, crs: str) -> list[Row]:
    """Return the rows of ``rafts``: footprints, with centre and heading of the file's CRS."""
    return [
        {
            **_fields(raft, "rafts"),
            **dict(zip(_POSE, pose_in(raft, water.crs, crs), strict=True)),
            "geometry": transformed(outline, water.crs, crs),
        }
        for raft, outline in zip(water.rafts, raft_outlines(water, site), strict=True)
    ]


def _mooring_rows(water: WaterPlan, crs: str) -> list[Row]:
    """Return the rows of ``moorings``."""
    rows = []
    for mooring in water.moorings:
        point = transformed(Point(mooring.easting_m, mooring.northing_m), water.crs, crs)
        rows.append(
            {
                **_fields(mooring, "moorings"),
                "water_id": water.water_id,
                "easting_m": point.x,
                "northing_m": point.y,
                "geometry": point,
            }
        )
    return rows


def _mark_rows(places: Places, crs: str) -> list[Row]:
    """Return the rows of ``marks``: those of the site, and those proposed."""
    return [
        {
            "mark_id": mark.mark_id,
            "water_id": places.water.water_id,
            "easting_m": place[0],
            "northing_m": place[1],
            "is_suggested": places.is_suggested(mark),
            "geometry": Point(place),
        }
        for mark, place in zip(places.marks, places.mark_places_in(crs), strict=True)
    ]


def _set_out_rows(places: Places, crs: str) -> list[Row]:
    """Return the rows of ``setting_out``; without tapes where no two marks fix a point."""
    rows = []
    for point, place in zip(places.points, places.point_places_in(crs), strict=True):
        fix = point.fix
        marks = [places.marks[index].mark_id for index in fix.marks] if fix else [None, None]
        tapes = fix.tapes_m if fix else (None, None)
        rows.append(
            {
                "raft_id": point.raft_id,
                "water_id": places.water.water_id,
                "item": point.item,
                "easting_m": place[0],
                "northing_m": place[1],
                "mark_1": marks[0],
                "tape_1_m": tapes[0],
                "mark_2": marks[1],
                "tape_2_m": tapes[1],
                "crossing_deg": fix.crossing_deg if fix else None,
                "error_major_m": fix.error_major_m if fix else None,
                "error_minor_m": fix.error_minor_m if fix else None,
                "error_axis_deg": fix.error_axis_deg if fix else None,
                "geometry": Point(place),
            }
        )
    return rows


def _edge_rows(water: WaterPlan, crs: str) -> list[Row]:
    """Return the rows of ``water_edges``, each with the cover at its level."""
    cover = {part.level_name: part for part in water.cover}
    return [
        {
            **_fields(edge, "water_edges"),
            "water_id": water.water_id,
            "name": water.name,
            "raft_area_m2": getattr(cover.get(edge.level_name), "raft_area_m2", None),
            "cover_pct": getattr(cover.get(edge.level_name), "cover_pct", None),
            "sigma_pct": getattr(cover.get(edge.level_name), "sigma_pct", None),
            "geometry": transformed(edge.outline, water.crs, crs),
        }
        for edge in water.edges
    ]


def _worth_rows(water: WaterPlan, crs: str) -> list[Row]:
    """Return the rows of ``worth``: water of each class of worth of raft area."""
    worth = water.worth_map
    if worth is None:
        return []
    return [
        {
            "water_id": water.water_id,
            "worth_from": low,
            "worth_to": high,
            "unit": worth.unit,
            "geometry": transformed(area, water.crs, crs),
        }
        for area, low, high in zip(worth.areas, worth.steps[:-1], worth.steps[1:], strict=True)
    ]


def _finding_rows(rafts: Sequence[Row], audit: AuditReport | None) -> list[Row]:
    """Return the rows of ``findings``; one about a raft stands at its centre."""
    centres = {
        (row["water_id"], row["raft_id"]): Point(row["easting_m"], row["northing_m"])
        for row in rafts
    }
    return [
        {
            **_fields(finding, "findings"),
            "geometry": centres.get((finding.water_id, finding.raft_id)),
        }
        for finding in (audit.findings if audit else ())
    ]


@contextmanager
def _fixed_date() -> Iterator[None]:
    """Give GDAL a fixed date to stamp files with: the same plan must give the same bytes."""
    key = "OGR_CURRENT_DATE"
    earlier = pyogrio.get_gdal_config_option(key)
    pyogrio.set_gdal_config_options({key: "2000-01-01T00:00:00.000Z"})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({key: earlier})


def _write_layer(path: Path, name: str, rows: Sequence[Row], crs: str) -> None:
    """Write one layer with all its columns, even where it has no row."""
    kind, columns = _LAYERS[name]
    geometries = [row["geometry"] for row in rows]
    drawn = [g for g in geometries if g is not None and not g.is_empty]
    if not np.isfinite(shapely.bounds(drawn)).all():
        raise ExportError(
            f"{path}, layer '{name}': a place has no coordinates in {crs}; choose a CRS for the"
            " site that is made for this place"
        )
    frame = gpd.GeoDataFrame(
        {column: _series(column, [row[column] for row in rows]) for column in columns},
        geometry=gpd.GeoSeries(geometries, crs=crs),
    )
    pyogrio.write_dataframe(frame, path, layer=name, driver="GPKG", geometry_type=kind)


def _series(column: str, values: list[Any]) -> Any:
    """Return a column with the type that its name stands for; what is not known stays NULL."""
    if column in _TEXTS:
        return pd.Series(values, dtype="object")
    if column in _FLAGS:
        return pd.Series(values, dtype="bool")
    if column == "sequence":
        return pd.Series(values, dtype="int32")
    numbers = np.array([np.nan if value is None else value for value in values], float)
    return pd.Series(np.where(np.isfinite(numbers), numbers, np.nan), dtype="float64")
