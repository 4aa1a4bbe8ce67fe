"""
Many water bodies, one stock: share out the rafts, plan each water, write and audit the whole.

Water bodies are planned on any ``concurrent.futures`` executor; each is on disk as soon as it is
finished, and the result does not depend on how many workers there are, nor on who finishes first.

The public names below are resolved on first use: a worker that plans imports no readers and no
exports, which are a hundred megabytes of it.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from geoplan.fleet.crew import Crew
    from geoplan.fleet.edited import audit_edited, plan_edited
    from geoplan.fleet.folder import Outcome, audit_folder, plan_folder, plan_site, site_of_plan
    from geoplan.fleet.running import Progress
    from geoplan.fleet.sharing import unmet_limits
    from geoplan.fleet.whole import refuse_foreign_folder, whole_or_nothing
    from geoplan.fleet.writing import write_plan

__all__ = [
    "Crew",
    "Outcome",
    "Progress",
    "audit_edited",
    "audit_folder",
    "plan_edited",
    "plan_folder",
    "plan_site",
    "refuse_foreign_folder",
    "site_of_plan",
    "unmet_limits",
    "whole_or_nothing",
    "write_plan",
]

_HOMES = {
    "audit_edited": "edited",
    "plan_edited": "edited",
    "Outcome": "folder",
    "audit_folder": "folder",
    "plan_folder": "folder",
    "plan_site": "folder",
    "site_of_plan": "folder",
    "Crew": "crew",
    "Progress": "running",
    "unmet_limits": "sharing",
    "refuse_foreign_folder": "whole",
    "whole_or_nothing": "whole",
    "write_plan": "writing",
}


def __getattr__(name: str) -> Any:
    """Return a public name, importing its module when it is first asked for."""
    if name in _HOMES:
        return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
    raise AttributeError(f"module '{__name__}' has no attribute '{name}'")
