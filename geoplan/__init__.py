"""
Plans where floating planted rafts go on ponds and lakes.

The public names below are resolved on first use, so that asking for help costs nothing.
"""

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_HOMES = {
    "AuditReport": "geoplan.plan",
    "GeoplanError": "geoplan.errors",
    "Plan": "geoplan.plan",
    "RaftType": "geoplan.raft",
    "Settings": "geoplan.settings",
    "Site": "geoplan.site",
    "SiteDataError": "geoplan.errors",
    "WaterBody": "geoplan.site",
    "WaterPlan": "geoplan.plan",
    "audit_folder": "geoplan.fleet",
    "audit_plan": "geoplan.audit",
    "check_site": "geoplan.readers",
    "plan_folder": "geoplan.fleet",
    "plan_site": "geoplan.fleet",
    "plan_water": "geoplan.planner",
    "read_plan": "geoplan.exports.gis_files",
    "read_site": "geoplan.readers",
}

__all__ = sorted(_HOMES)  # noqa: PLE0605 - resolved on first use


def __getattr__(name: str) -> Any:
    """Return a public name, importing its module when it is first asked for."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'geoplan' has no attribute '{name}'")


def __dir__() -> list[str]:
    """Return the public names."""
    return [*__all__, "__version__"]
