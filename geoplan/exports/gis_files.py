"""
``plan.gpkg``, the plan of record, in the client's CRS.

It says what the plan is; it does not judge it. Writing the same plan twice gives the same bytes.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
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
from geoplan.errors import ExportError, writing
from geoplan.exports.effect_sheet import knows_grams
from geoplan.exports.gis_layers import FLAGS, LAYERS, TEXTS
from geoplan.exports.gis_reading import read_plan, row_keys
from geoplan.exports.held_rows import line_rows, material_rows, swept_rows
from geoplan.exports.outlines import pose_in, raft_outlines
from geoplan.exports.reason_rows import alternative_rows, room_rows, why_not_rows
from geoplan.exports.set_out_places import Places, places_of
from geoplan.plan import AuditReport, Finding, Plan, WaterPlan
from geoplan.site import Site

__all__ = ["FILE_NAME", "read_plan", "row_keys", "write"]

FILE_NAME = "plan.gpkg"

Row = dict[str, Any]

#: Water bodies whose rows are held at a time.
_BATCH = 200

#: Findings whose rows are held at a time.
_FINDINGS_BATCH = 10_000

#: Layers that are written once, from the whole plan.
_OF_THE_WHOLE = ("materials", "findings")
_POSE = ("easting_m", "northing_m", "heading_deg")


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
    centres: dict[tuple[str, str], Point] = {}
    findings = audit.findings if audit else ()
    with writing(path, DataSourceError, DataLayerError, FeatureError, FieldError):
        path.unlink(missing_ok=True)
        with _fixed_date():
            for begin in range(0, max(1, len(plan.waters)), _BATCH):
                some = replace(plan, waters=plan.waters[begin : begin + _BATCH])
                layers = _plan_rows(some, site)
                if audit:
                    centres |= _centres(layers["rafts"])
                for name, rows in layers.items():
                    if name not in _OF_THE_WHOLE:
                        _write_layer(path, name, rows, plan.client_crs, append=begin > 0)
            _write_layer(path, "materials", material_rows(plan, site.settings), plan.client_crs)
            _write_layer(path, "findings", _finding_rows(centres, findings), plan.client_crs)


def add_findings(folder: Path, client_crs: str, audit: AuditReport) -> None:
    """
    Put the verdict into a ``plan.gpkg`` that was written without.

    Parameters
    ----------
    folder : Path
        Folder of the file.
    client_crs : str
        CRS of the file.
    audit : AuditReport
        The verdict on it.

    Raises
    ------
    ExportError
        If the file cannot be written.
    """
    path = folder / FILE_NAME
    with writing(path, DataSourceError, DataLayerError, FeatureError, FieldError):
        columns = ["water_id", "raft_id", "easting_m", "northing_m"]
        table = pyogrio.read_dataframe(path, layer="rafts", columns=columns, read_geometry=False)
        centres = _centres(table.to_dict("records"))
        with _fixed_date():
            for begin in range(0, len(audit.findings), _FINDINGS_BATCH):
                some = audit.findings[begin : begin + _FINDINGS_BATCH]
                _write_layer(
                    path, "findings", _finding_rows(centres, some), client_crs, append=True
                )


def _plan_rows(plan: Plan, site: Site) -> dict[str, list[Row]]:
    """Return the rows of every layer that a plan fills, in the order of the layers."""
    layers: dict[str, list[Row]] = {name: [] for name in LAYERS}
    crs = plan.client_crs
    for water in plan.waters:
        layers["rafts"] += _raft_rows(water, site, crs)
        layers["moorings"] += _mooring_rows(water, crs)
        layers["mooring_lines"] += line_rows(water, crs)
        layers["swept"] += swept_rows(water, crs)
        layers["routes"] += [
            {
                **_fields(route, "routes"),
                "water_id": water.water_id,
                "geometry": transformed(route.path, water.crs, crs),
            }
            for route in water.routes
        ]
        layers["water_edges"] += _edge_rows(water, crs)
        layers["loads"] += _load_rows(water, crs)
        layers["worth"] += _worth_rows(water, crs)
        layers["why_not"] += why_not_rows(water, crs)
        layers["rooms"] += room_rows(water, crs)
        layers["alternatives"] += alternative_rows(water, crs)
        layers["streamlines"] += [
            {
                "water_id": water.water_id,
                "length_m": float(line.length),
                "geometry": transformed(line, water.crs, crs),
            }
            for line in (water.worth_map.streamlines if water.worth_map else ())
        ]
        for places in places_of(replace(plan, waters=(water,)), site):
            layers["marks"] += _mark_rows(places, crs)
            layers["setting_out"] += _set_out_rows(places, crs)
    return layers


def _fields(part: Any, layer: str) -> Row:
    """Return the columns of a layer that a part of the plan has under the same name."""
    return {name: getattr(part, name, None) for name in LAYERS[layer][1]}


def _raft_rows(water: WaterPlan, site: Site, crs: str) -> list[Row]:
    """Return the rows of ``rafts``: footprints, with centre and heading of the file's CRS."""
    no_way = {one.raft_id: one.why_no_way for one in water.no_routes}
    return [
        {
            **_fields(raft, "rafts"),
            "removal_g_d": raft.removal_g_d if knows_grams(water.effect) else None,
            **dict(zip(_POSE, pose_in(raft, water.crs, crs), strict=True)),
            "why_no_way": no_way.get(raft.raft_id),
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


def _load_rows(water: WaterPlan, crs: str) -> list[Row]:
    """Return the rows of ``loads``: shares of what flows in where that was assumed."""
    if water.effect is None:
        return []
    place = transformed(shapely.point_on_surface(water.edges[1].outline), water.crs, crs)
    rows = []
    for part in water.effect.constituents:
        scale = 1.0 / max(part.load_in_g_d, 1e-300) if part.is_relative else 1.0
        known = "million/d" if part.constituent == "ecoli" else "g/d"
        rows.append(
            {
                **_fields(part, "loads"),
                "water_id": water.water_id,
                "unit": "share of what flows in" if part.is_relative else known,
                "load_in": part.load_in_g_d * scale,
                "load_out_without_rafts": part.load_out_without_rafts_g_d * scale,
                "load_out": part.load_out_g_d * scale,
                "removed": part.removed_g_d * scale,
                "removed_lowest": part.removed_range_g_d[0] * scale,
                "removed_highest": part.removed_range_g_d[1] * scale,
                "rate_lowest_m_yr": part.rate_range_m_yr[0],
                "rate_highest_m_yr": part.rate_range_m_yr[1],
                "geometry": place,
            }
        )
    return rows


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


def _centres(rafts: Sequence[Row]) -> dict[tuple[str, str], Point]:
    """Return where each raft of each water body lies."""
    return {
        (row["water_id"], row["raft_id"]): Point(row["easting_m"], row["northing_m"])
        for row in rafts
    }


def _finding_rows(
    centres: Mapping[tuple[str, str], Point], findings: Sequence[Finding]
) -> list[Row]:
    """Return the rows of ``findings``; one about a raft stands at its centre."""
    return [
        {
            **_fields(finding, "findings"),
            "geometry": centres.get((finding.water_id, finding.raft_id)),
        }
        for finding in findings
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


def _write_layer(
    path: Path, name: str, rows: Sequence[Row], crs: str, *, append: bool = False
) -> None:
    """Write one layer with all its columns, even where it has no row."""
    kind, columns = LAYERS[name]
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
    pyogrio.write_dataframe(
        frame, path, layer=name, driver="GPKG", geometry_type=kind, append=append
    )


def _series(column: str, values: list[Any]) -> Any:
    """Return a column with the type that its name stands for; what is not known stays NULL."""
    if column in TEXTS:
        return pd.Series(values, dtype="object")
    if column in FLAGS:
        return pd.Series(values, dtype="bool")
    if column == "sequence":
        return pd.Series(values, dtype="int32")
    numbers = np.array([np.nan if value is None else value for value in values], float)
    return pd.Series(np.where(np.isfinite(numbers), numbers, np.nan), dtype="float64")
