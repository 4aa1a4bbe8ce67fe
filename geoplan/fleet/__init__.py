"""
Many water bodies, one stock: share out the rafts, plan each water, write and audit the whole.

Water bodies are planned on any ``concurrent.futures`` executor; each is on disk as soon as it is
finished, and the result does not depend on how many workers there are, nor on who finishes first.
"""

from geoplan.fleet.crew import Crew
from geoplan.fleet.edited import audit_edited, plan_edited
from geoplan.fleet.folder import (
    Outcome,
    audit_folder,
    plan_folder,
    plan_site,
    site_of_plan,
)
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
