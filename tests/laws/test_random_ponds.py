"""The audit, which shares no computation with the planner, accepts plans of random ponds."""

from pathlib import Path

import pytest

from geoplan.audit import audit_plan
from geoplan.exports import gis_files
from geoplan.plan import Plan
from geoplan.planner import plan_water
from tests.laws.ponds import random_site


@pytest.mark.parametrize("seed", range(12))
def test_audit_accepts_the_plan_and_the_plan_keeps_its_bound(seed: int, tmp_path: Path) -> None:
    site = random_site(seed)
    water = plan_water(site.water_bodies[0], site.settings)
    plan = Plan(site.settings.name, site.client_crs, (water,))
    gis_files.write(plan, site, tmp_path, None)
    report = audit_plan(gis_files.read_plan(tmp_path / gis_files.FILE_NAME), site)
    failed = [finding for finding in report.findings if not finding.passed]
    assert not failed
    assert report.findings
    assert water.report.value <= water.report.bound + 1e-9
    planned = [raft for raft in water.rafts if raft.status == "planned"]
    assert planned or water.why_none
