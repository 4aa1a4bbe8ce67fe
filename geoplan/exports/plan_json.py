"""
``plan.json``: what the plan promises, what it was made from, and what says that it holds.

No time is written: the same plan gives the same bytes. Nothing here is computed but sums.
"""

import json
import math
import platform
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import shapely

import geoplan
from geoplan.crs import proj_version
from geoplan.district import Allocation, Logistics
from geoplan.errors import PlanFileError, writing
from geoplan.exports.certificates import certificate_names, certificate_record
from geoplan.exports.reason_rows import explanation
from geoplan.plan import AuditReport, ConstituentLoads, Effect, Plan, RecordReplay, WaterPlan
from geoplan.settings import defaults_used
from geoplan.site import Site
from geoplan.water.record import time_text

FILE_NAME = "plan.json"

#: Version of the file's layout; a reader refuses one that it does not know.
FORMAT = 1


def write(plan: Plan, site: Site, folder: Path, audit: AuditReport | None) -> None:
    """
    Write ``plan.json``.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site it was made from.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Verdict on the plan; ``None`` where it was not judged.

    Raises
    ------
    ExportError
        If the file cannot be written.
    """
    path = folder / FILE_NAME
    with writing(path), path.open("w", encoding="utf-8", newline="") as file:
        file.writelines(_pieces(_record(plan, site, audit)))


def load(path: Path) -> dict[str, Any]:
    """
    Read ``plan.json`` back.

    Parameters
    ----------
    path : Path
        The file, or the plan folder that holds it.

    Returns
    -------
    dict of str to Any
        What it says.

    Raises
    ------
    PlanFileError
        If it is missing, is not JSON, or is of a layout that this version does not know.
    """
    file = path / FILE_NAME if path.is_dir() else path
    if not file.is_file():
        raise PlanFileError(f"{file} is missing; name a folder that holds a whole plan")
    try:
        record = json.loads(file.read_bytes())
    except (OSError, ValueError) as error:
        raise PlanFileError(f"{file} cannot be read: {error}; plan the site again") from error
    found = record.get("geoplan_plan") if isinstance(record, dict) else None
    if found != FORMAT:
        raise PlanFileError(
            f"{file}: found layout {found!r} in 'geoplan_plan'; expected {FORMAT}. Plan the site"
            " again with this version."
        )
    return dict(record)


def _pieces(record: Mapping[str, Any]) -> Iterator[str]:
    """Yield the text that ``json.dumps`` has for it all; what comes one by one is held so too."""
    before = "{\n "
    for name, value in record.items():
        yield f"{before}{json.dumps(name)}: "
        if isinstance(value, Iterator):
            yield from _listed(value)
        else:
            yield _dumped(value, 1)
        before = ",\n "
    yield "\n}\n"


def _listed(values: Iterator[Any]) -> Iterator[str]:
    """Yield a list in the file's outermost object."""
    before, end = "[\n  ", "[]"
    for value in values:
        yield before + _dumped(value, 2)
        before, end = ",\n  ", "\n ]"
    yield end


def _dumped(value: Any, depth: int) -> str:
    """Return the text of a value that lies so deep in the file."""
    text = json.dumps(_without_nan(value), indent=1, ensure_ascii=False, allow_nan=False)
    # Within a string a line's end is written as two characters, so these are between values.
    return text.replace("\n", "\n" + " " * depth)


def _record(plan: Plan, site: Site, audit: AuditReport | None) -> dict[str, Any]:
    """Return all that the file says, in its order; water bodies one by one, as they are asked."""
    return {
        "geoplan_plan": FORMAT,
        "site": plan.site_name,
        "site_location": site.location,
        "crs": plan.client_crs,
        "seed": plan.seed,
        "time_limit_s": plan.time_limit_s,
        "kept_from": asdict(plan.kept_from) if plan.kept_from else None,
        "audit": _verdict(audit),
        "water_bodies": (
            _water(water, name)
            for water, name in zip(plan.waters, certificate_names(len(plan.waters)), strict=True)
        ),
        "allocation": _allocation(plan.allocation),
        "logistics": _logistics(plan.logistics),
        "failed_water_bodies": [asdict(failure) for failure in plan.failures],
        "notes": [str(note) for note in site.notes],
        "settings": site.settings.model_dump(mode="json"),
        "defaults_used": [asdict(used) for used in defaults_used(site.settings)],
        "inputs": [asdict(source) for source in site.sources],
        "versions": _versions(),
    }


def _water(water: WaterPlan, file_name: str) -> dict[str, Any]:
    """Return the summary of one water body."""
    existing_count = sum(raft.status == "existing" for raft in water.rafts)
    report = water.report
    return {
        "water_id": water.water_id,
        "name": water.name,
        "raft_count": len(water.rafts),
        "existing_raft_count": existing_count,
        "raft_area_m2": math.fsum(raft.area_m2 for raft in water.rafts),
        "planted_area_m2": math.fsum(raft.planted_area_m2 for raft in water.rafts),
        "water_area_m2": {part.level_name: part.water_area_m2 for part in water.cover},
        "covered_area_m2": {part.level_name: part.raft_area_m2 for part in water.cover},
        "cover_pct": {part.level_name: part.cover_pct for part in water.cover},
        "cover_doubt_95_pct": {part.level_name: 1.96 * part.sigma_pct for part in water.cover},
        "cover_at_asked_levels": [asdict(part) for part in water.asked_cover],
        **_loads(water.effect),
        "value": report.value,
        "bound": report.bound,
        "bound_basis": report.bound_basis,
        "certificate": certificate_record(water, file_name),
        "unit": report.unit,
        "gap_pct": report.gap_pct,
        "method": report.method,
        "status": report.status,
        "frames_tried": report.frames_tried,
        "explanation": explanation(water),
        "waves": [asdict(part) for part in water.waves],
        "room_m2": water.room_m2,
        "unsurveyed_pct": water.unsurveyed_pct,
        "record": _replay(water.record),
        "why_none": water.why_none,
        "notes": [str(note) for note in water.notes],
    }


def _allocation(allocation: Allocation | None) -> dict[str, Any] | None:
    """Return what proves the allocation, and its prices; who gets what is in its own file."""
    if allocation is None:
        return None
    return {
        "unit": allocation.unit,
        "value": allocation.value,
        "choice_bound": allocation.choice_bound,
        "gap_pct": allocation.gap_pct,
        "bound": allocation.bound,
        "district_gap_pct": allocation.district_gap_pct,
        "limits": [asdict(limit) for limit in allocation.limits],
        "policies": [asdict(policy) for policy in allocation.policies],
    }


def _logistics(made: Logistics | None) -> dict[str, Any] | None:
    """Return the sums of the trips; the trips are in their own file."""
    if made is None:
        return None
    return {
        "total_m": made.total_m,
        "least_total_m": made.least_total_m,
        "work_days": made.work_days,
        "trip_count": len({visit.trip for visit in made.visits}),
    }


def _replay(record: RecordReplay | None) -> dict[str, Any] | None:
    """Return the summary of a replayed record; the readings are in ``level_history.csv``."""
    if record is None:
        return None
    return {
        "from": time_text(float(record.time_s[0])),
        "to": time_text(float(record.time_s[-1])),
        "reading_count": len(record.time_s),
        "known_d": record.known_d,
        "level_m": {"least": float(record.level_m.min()), "most": float(record.level_m.max())},
        "below_low_pct": record.below_low_pct,
        "above_high_pct": record.above_high_pct,
        "cover_pct": {
            "least": float(record.cover_pct.min()),
            "median": float(np.median(record.cover_pct)),
            "most": float(record.cover_pct.max()),
        },
        "rafts": [asdict(raft) for raft in record.rafts],
    }


def _loads(effect: Effect | None) -> dict[str, Any]:
    """Return loads with and without rafts; null where flows or loads are assumed or unknown."""
    keys = ("load_in_g_d", "load_out_g_d", "load_out_without_rafts_g_d", "removed_g_d")
    known = effect is not None and not effect.is_relative
    loads: dict[str, Any] = {key: getattr(effect, key) if known else None for key in keys}
    loads["removed_range_g_d"] = list(effect.removed_range_g_d) if effect and known else None
    loads["relative"] = not known
    if effect is None:
        return loads | {"effect": None}
    # A relative worth must never be read as grams a day: shares of the inflow are given instead.
    scale = 1.0 if known else 1.0 / max(effect.load_in_g_d, 1e-300)
    return loads | {
        "effect": {
            "constituent": effect.constituent,
            "unit": "g/d" if known else "share of the load that flows in (relative)",
            "removed_share": effect.removed_g_d / max(effect.load_in_g_d, 1e-300),
            "residence_h": effect.residence_h,
            "inflows": [asdict(inflow) for inflow in effect.inflows],
            "constituents": [_constituent(part) for part in effect.constituents],
            "sensitivity": [
                {
                    "case": case.name,
                    "kept": case.kept_g_d * scale,
                    "bound": case.bound_g_d * scale,
                    "loss_pct": case.loss_pct,
                }
                for case in effect.sensitivity
            ],
            "curve": [
                {
                    "raft_count": point.raft_count,
                    "cover_pct": point.cover_pct,
                    "cost": point.cost,
                    "kept": point.kept_g_d * scale,
                    "bound": point.bound_g_d * scale,
                    "is_chosen": point.is_chosen,
                }
                for point in effect.curve
            ],
        }
    }


def _constituent(part: ConstituentLoads) -> dict[str, Any]:
    """Return the loads of one constituent; shares of what flows in where that was assumed."""
    scale = 1.0 / max(part.load_in_g_d, 1e-300) if part.is_relative else 1.0
    known = "million/d" if part.constituent == "ecoli" else "g/d"
    return {
        "constituent": part.constituent,
        "is_chosen": part.is_chosen,
        "unit": "share of the load that flows in (relative)" if part.is_relative else known,
        "load_in": part.load_in_g_d * scale,
        "load_out_without_rafts": part.load_out_without_rafts_g_d * scale,
        "load_out": part.load_out_g_d * scale,
        "removed": part.removed_g_d * scale,
        "removed_range": [value * scale for value in part.removed_range_g_d],
        "rate_m_yr": part.rate_m_yr,
        "rate_range_m_yr": list(part.rate_range_m_yr),
        "settling_m_yr": part.settling_m_yr,
    }


def _verdict(audit: AuditReport | None) -> dict[str, Any]:
    """Return the verdict: counts of every check, and in full what does not hold."""
    if audit is None:
        return {"passed": None, "checks": {}, "findings": []}
    return {
        "passed": audit.passed,
        "checks": {
            check: {"made": sum(counts), "failed": counts[1]}
            for check, counts in sorted(audit.counts.items())
        },
        "findings": [asdict(finding) for finding in audit.failed],
    }


def _versions() -> dict[str, str]:
    """Return the versions of everything that the numbers depend on."""
    return {
        "geoplan": geoplan.__version__,
        "python": platform.python_version(),
        "numpy": version("numpy"),
        "scipy": version("scipy"),
        "numba": version("numba"),
        "shapely": shapely.__version__,
        "geos": shapely.geos_version_string,
        "pyproj": version("pyproj"),
        "proj": proj_version(),
    }


def _without_nan(value: Any) -> Any:
    """Return the same with null for numbers that JSON does not know."""
    if isinstance(value, dict):
        return {key: _without_nan(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_without_nan(part) for part in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
