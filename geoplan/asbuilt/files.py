"""
What a survey writes: the record, a table, outlines on the map, and a page to read.

Numbers that err towards danger are not rounded in its favour; texts are data.
"""

import hashlib
import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely.geometry import Polygon, mapping

from geoplan.asbuilt.page import page
from geoplan.asbuilt.record import AsBuilt, SurveyedRaft
from geoplan.crs import WGS84, transformed
from geoplan.errors import ExportError
from geoplan.exports.csv_text import Cell, Fixed, write_table
from geoplan.exports.safe_rounding import finite
from geoplan.written import WrittenPlan

#: Layout of ``asbuilt.json``; raised when a reader of the old one would go wrong.
FORMAT = 1
RECORD, TABLE, OUTLINES, PAGE = "asbuilt.json", "asbuilt.csv", "asbuilt.geojson", "asbuilt.html"

_HEADER = (
    "raft_id", "surveyed_name", "water_id", "raft_type", "state", "easting_m", "northing_m",
    "longitude_deg", "latitude_deg", "heading_deg", "is_heading_measured", "moved_m",
    "turned_deg", "half_axis_major_m", "half_axis_minor_m", "bearing_deg", "worst_residual_m",
    "is_identity_sure",
)  # fmt: skip


def write(found: AsBuilt, written: WrittenPlan, folder: Path, fixes: Path) -> None:
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

    Raises
    ------
    ExportError
        If a file cannot be written.
    """
    record = _record(found, fixes)
    write_table(folder / TABLE, _HEADER, _rows(found))
    texts = {
        RECORD: json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n",
        OUTLINES: json.dumps(_collection(found), ensure_ascii=False, allow_nan=False) + "\n",
        PAGE: page(found, written),
    }
    for name, text in texts.items():
        try:
            (folder / name).write_bytes(text.encode())
        except OSError as error:
            raise ExportError(f"{folder / name} could not be written: {error}") from error


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


def _record(found: AsBuilt, fixes: Path) -> dict[str, Any]:
    """Return everything that the record says."""
    return {
        "geoplan_asbuilt": FORMAT,
        "site": found.site_name,
        "surveyed_on": found.surveyed_on,
        "level_m": found.level_m,
        "level_change_m": found.level_change_m,
        "fixes": {"path": fixes.name, "sha256": hashlib.sha256(fixes.read_bytes()).hexdigest()},
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


def region(raft: SurveyedRaft) -> Polygon:
    """
    Return the ellipse that holds the centre of a raft 19 times in 20.

    Parameters
    ----------
    raft : SurveyedRaft
        The raft.

    Returns
    -------
    Polygon
        CRS of the plan [m].
    """
    turn = np.linspace(0.0, 2.0 * math.pi, 48, endpoint=False)
    angle = math.radians(raft.bearing_deg)
    ahead = raft.half_axis_major_m * np.cos(turn)
    aside = raft.half_axis_minor_m * np.sin(turn)
    return Polygon(
        np.column_stack(
            [
                raft.easting_m + ahead * math.sin(angle) + aside * math.cos(angle),
                raft.northing_m + ahead * math.cos(angle) - aside * math.sin(angle),
            ]
        )
    )
