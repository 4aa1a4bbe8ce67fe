"""The audit, which shares no computation with the planner, accepts plans of random ponds."""

from pathlib import Path

import numpy as np
import pytest

from geoplan.audit import audit_plan
from geoplan.exports import gis_files
from geoplan.plan import Plan
from geoplan.planner import plan_water
from tests.laws.ponds import held_of, random_site, varied_site


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


@pytest.mark.parametrize("seed", range(20, 26))
def test_audit_accepts_plans_of_any_rules_and_stocks_and_their_rafts_may_be_held(
    seed: int, tmp_path: Path
) -> None:
    site = varied_site(seed)
    body = site.water_bodies[0]
    water = plan_water(body, site.settings)
    held = held_of(water, np.random.default_rng(seed))
    for number, made in enumerate((water, plan_water(body, site.settings, held=held))):
        folder = tmp_path / str(number)
        folder.mkdir()
        gis_files.write(Plan("any", site.client_crs, (made,)), site, folder, None)
        report = audit_plan(gis_files.read_plan(folder / gis_files.FILE_NAME), site)
        assert [finding for finding in report.findings if not finding.passed] == []
        assert made.report.value <= made.report.bound + 1e-9
        parts = made.reasons.why_not
        assert sum(part.area.area for part in parts) == pytest.approx(
            made.edges[1].outline.area, abs=0.01, rel=1e-6
        )
    kept = [raft for raft in made.rafts if raft.is_kept]
    assert len(kept) == len(held)
