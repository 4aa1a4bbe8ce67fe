"""
``map.html`` of a survey: the plan's own map, with the rafts as they lie.

The page of the plan is taken as it is; what was surveyed goes in as one more island of data, which
the page's own scripts show as text and outlines. Nothing of it is run.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry

from geoplan.asbuilt.record import AsBuilt, SurveyedRaft
from geoplan.asbuilt.regions import region
from geoplan.asbuilt.report import summary
from geoplan.crs import WGS84, transformed
from geoplan.errors import ExportError
from geoplan.exports.web_map import pages_of
from geoplan.exports.web_page import with_survey
from geoplan.written import WrittenPlan

#: Decimals of degrees: a tenth of a millimetre.
_DECIMALS = 9


def write(found: AsBuilt, written: WrittenPlan, out: Path, folder: Path) -> None:
    """
    Write the plan's map with what was surveyed; of a paged map, the pages with surveyed rafts.

    Parameters
    ----------
    found : AsBuilt
        The survey.
    written : WrittenPlan
        The plan, for the water body of each raft.
    out : Path
        Plan folder.
    folder : Path
        Folder of the survey.

    Raises
    ------
    ExportError
        If a page of the plan cannot be read, or one of the survey not written.
    """
    waters = tuple(dict.fromkeys(edge.water_id for edge in written.edges))
    for name, shown in pages_of(waters):
        if not any(raft.water_id in shown for raft in found.rafts):
            continue
        try:
            page = with_survey((out / name).read_bytes().decode(), _record(found, written, shown))
            (folder / name).parent.mkdir(exist_ok=True)
            (folder / name).write_bytes(page.encode())
        except (OSError, ValueError) as error:
            raise ExportError(f"{out / name} could not be taken over: {error}") from error


def _record(found: AsBuilt, written: WrittenPlan, waters: tuple[str, ...]) -> dict[str, Any]:
    """Return what the scripts show of a survey, of the water bodies on one page."""
    here = {raft.raft_id for raft in written.rafts if raft.water_id in waters}
    amiss = [
        {"who": one.raft_id or one.water_id, "rule": one.check.replace("_", " "),
         "verdict": one.verdict, "words": one.detail}
        for one in found.findings
        if one.verdict != "holds" and one.water_id in waters
    ]  # fmt: skip
    return {
        "surveyed_on": found.surveyed_on,
        "summary": summary(found),
        "rafts": [_raft(raft, found.crs) for raft in found.rafts if raft.water_id in waters],
        "missing": [name for name in found.missing if name in here],
        "amiss": sorted(amiss, key=lambda one: one["verdict"] != "fails"),
    }


def _raft(raft: SurveyedRaft, crs: str) -> dict[str, Any]:
    """Return what a popup says, outline and region as rings of latitude and longitude."""
    return {
        "raft_id": raft.raft_id,
        "surveyed_name": raft.surveyed_name,
        "state": raft.state,
        "is_sure": raft.is_identity_sure,
        "moved_m": None if raft.moved_m is None else round(raft.moved_m, 2),
        "turned_deg": None if raft.turned_deg is None else round(raft.turned_deg, 1) + 0.0,
        "known_to_m": round(raft.half_axis_major_m, 2),
        "outline": list(_ring(raft.outline, crs)),
        "region": list(_ring(region(raft), crs)),
    }


def _ring(shape: BaseGeometry, crs: str) -> Iterator[list[float]]:
    """Yield the corners of a polygon as latitude and longitude [°]."""
    for longitude, latitude in shapely.get_coordinates(transformed(shape, crs, WGS84))[:-1]:
        yield [round(float(latitude), _DECIMALS), round(float(longitude), _DECIMALS)]
