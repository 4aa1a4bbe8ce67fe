"""
What a survey writes: the record, a table, outlines for a GIS, the report, and the map.

Numbers that err towards danger are not rounded in its favour; texts are data.
"""

import hashlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import shapely
from shapely.geometry import mapping

from geoplan.asbuilt import map_page
from geoplan.asbuilt.record import AsBuilt, SurveyedRaft
from geoplan.asbuilt.regions import region
from geoplan.asbuilt.report import survey_report
from geoplan.crs import WGS84, transformed
from geoplan.errors import writing
from geoplan.exports.csv_text import Cell, Fixed, write_table
from geoplan.exports.report.as_html import html_of
from geoplan.exports.report.as_pdf import pdf_of
from geoplan.exports.safe_rounding import finite
from geoplan.written import WrittenPlan

#: Layout of ``asbuilt.json``; raised when a reader of the old one would go wrong.
FORMAT = 1
RECORD, TABLE, OUTLINES = "asbuilt.json", "asbuilt.csv", "asbuilt.geojson"
PAGE, PAPER = "asbuilt.html", "asbuilt.pdf"

_HEADER = (
    "raft_id", "surveyed_name", "water_id", "raft_type", "state", "easting_m", "northing_m",
    "longitude_deg", "latitude_deg", "heading_deg", "is_heading_measured", "moved_m",
    "turned_deg", "half_axis_major_m", "half_axis_minor_m", "bearing_deg", "worst_residual_m",
    "is_identity_sure",
)  # fmt: skip


def write(
    found: AsBuilt,
    written: WrittenPlan,
    folder: Path,
    fixes: Path,
    out: Path,
    limits_pct: dict[str, float],
) -> None:
    """
    Write what a survey found.

    Parameters
    ----------
    found : AsBuilt
        The survey.
    written : WrittenPlan
        The plan as it stands in its file.
    folder : Path
        Empty folder.
    fixes : Path
        File of the fixes, whose hash is kept.
    out : Path
        Plan folder, whose map is taken over.
    limits_pct : dict of str to float
        Largest cover of each water body [%].

    Raises
    ------
    ExportError
        If a file cannot be written.
    """
    sha256 = hashlib.sha256(fixes.read_bytes()).hexdigest()
    record = _record(found, fixes.name, sha256)
    report = survey_report(found, written, limits_pct, sha256)
    write_table(folder / TABLE, _HEADER, _rows(found))
    files = {
        RECORD: _json(record, indent=1),
        OUTLINES: _json(_collection(found)),
        PAGE: html_of(report).encode(),
        PAPER: pdf_of(report),
    }
    for name, data in files.items():
        with writing(folder / name):
            (folder / name).write_bytes(data)
    map_page.write(found, written, out, folder)


def _json(record: dict[str, Any], indent: int | None = None) -> bytes:
    """Return a record as JSON."""
    return (json.dumps(record, indent=indent, ensure_ascii=False, allow_nan=False) + "\n").encode()


def _degrees(raft: SurveyedRaft, crs: str) -> tuple[float, float]:
    """Return the centre of a raft as longitude and latitude."""
    at = transformed(shapely.Point(raft.easting_m, raft.northing_m), crs, WGS84)
    return float(at.x), float(at.y)


def _rows(found: AsBuilt) -> Iterator[tuple[Cell, ...]]:
    """Yield the rows of the table: rafts that were fixed, then missing ones."""
    for raft in found.rafts:
        longitude, latitude = _degrees(raft, found.crs)
        yield (
            raft.raft_id, raft.surveyed_name, raft.water_id, raft.raft_type, raft.state,
            Fixed(raft.easting_m, 3), Fixed(raft.northing_m, 3), Fixed(longitude, 8),
            Fixed(latitude, 8), Fixed(raft.heading_deg, 2), raft.is_heading_measured,
            _fixed(raft.moved_m, 3), _fixed(raft.turned_deg, 2),
            Fixed(raft.half_axis_major_m, 3), Fixed(raft.half_axis_minor_m, 3),
            Fixed(raft.bearing_deg, 1), Fixed(raft.worst_residual_m, 3), raft.is_identity_sure,
        )  # fmt: skip
    for name in found.missing:
        yield (name, "", "", "", "missing", *[None] * (len(_HEADER) - 5))


def _fixed(value: float | None, decimals: int) -> Cell:
    """Return a number with a set number of decimals, blank where there is none."""
    return None if value is None else Fixed(value, decimals)


def _record(found: AsBuilt, fixes: str, sha256: str) -> dict[str, Any]:
    """Return everything that the record says."""
    return {
        "geoplan_asbuilt": FORMAT,
        "site": found.site_name,
        "surveyed_on": found.surveyed_on,
        "level_m": found.level_m,
        "level_change_m": found.level_change_m,
        "fixes": {"path": fixes, "sha256": sha256},
        "rafts": [_raft(raft, found.crs) for raft in found.rafts],
        "missing": list(found.missing),
        "cover": {
            name: {
                cover.level_name: {"cover_pct": cover.cover_pct, "sigma_pct": cover.sigma_pct}
                for cover in covers
            }
            for name, covers in found.covers
        },
        "findings": [
            {
                name: finite(value) if isinstance(value, float) else value
                for name, value in vars(finding).items()
            }
            for finding in found.findings
        ],
        "since_last": [vars(one) for one in found.since],
        "inspected": [vars(one) for one in found.seen],
        "notes": [str(note) for note in found.notes],
    }


def _raft(raft: SurveyedRaft, crs: str) -> dict[str, Any]:
    """Return what the record says of a raft."""
    longitude, latitude = _degrees(raft, crs)
    out = {name: value for name, value in vars(raft).items() if name != "outline"}
    return {**out, "longitude_deg": longitude, "latitude_deg": latitude}


def _collection(found: AsBuilt) -> dict[str, Any]:
    """Return outlines and the regions that hold their centres, in WGS 84."""
    features = []
    for raft in found.rafts:
        shapes = (("raft", raft.outline), ("centre within, 95 %", region(raft)))
        for part, shape in shapes:
            degrees = transformed(shape, found.crs, WGS84)
            features.append(
                {
                    "type": "Feature",
                    "properties": {
                        "part": part, "raft_id": raft.raft_id, "water_id": raft.water_id,
                        "raft_type": raft.raft_type, "status": "as_built", "state": raft.state,
                        "moved_m": raft.moved_m, "turned_deg": raft.turned_deg,
                    },
                    "geometry": mapping(shapely.set_precision(degrees, 1e-9)),
                }
            )  # fmt: skip
    return {"type": "FeatureCollection", "features": features}
