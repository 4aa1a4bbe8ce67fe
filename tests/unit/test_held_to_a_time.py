"""A time limit ends the search with a plan and a bound that hold; without one no clock is read."""

import time
from pathlib import Path

import pytest

from geoplan.audit import audit_plan
from geoplan.exports import gis_files
from geoplan.placement.patience import ENDLESS, Patience
from geoplan.plan import Plan
from geoplan.planner import plan_water
from tests.laws.ponds import random_site


def test_no_time_left_still_gives_a_plan_with_its_bound(tmp_path: Path) -> None:
    site = random_site(1)
    body = site.water_bodies[0]
    hurried = plan_water(body, site.settings, detail="brief", time_limit_s=0.0)
    assert any(raft.status == "planned" for raft in hurried.rafts)
    assert hurried.report.is_stopped_by_time
    assert "time limit" in hurried.report.status
    assert hurried.report.value <= hurried.report.bound + 1e-9
    plan = Plan(site.settings.name, site.client_crs, (hurried,), 0, 0.0)
    gis_files.write(plan, site, tmp_path, None)
    assert audit_plan(gis_files.read_plan(tmp_path / gis_files.FILE_NAME), site).passed


def test_time_enough_changes_nothing() -> None:
    site = random_site(1)
    body = site.water_bodies[0]
    free = plan_water(body, site.settings, detail="brief")
    timed = plan_water(body, site.settings, detail="brief", time_limit_s=1e6)
    assert not free.report.is_stopped_by_time
    assert timed.rafts == free.rafts
    assert timed.report == free.report


def test_without_a_limit_no_clock_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse() -> float:
        raise AssertionError("the clock was read")

    monkeypatch.setattr(time, "monotonic", refuse)
    assert not ENDLESS.is_over()
    assert Patience.of(None) == ENDLESS
