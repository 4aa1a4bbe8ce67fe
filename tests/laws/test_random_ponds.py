"""The audit, which shares no computation with the planner, accepts plans of random ponds."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from geoplan.audit import audit_plan
from geoplan.exports import gis_files
from geoplan.plan import Plan
from geoplan.planner import plan_water
from geoplan.site import BedRaster, Site
from tests.laws.ponds import held_of, random_site, varied_site


def with_raster(site: Site, seed: int) -> Site:
    """A raster under the soundings: an older bed that falls from the shore, a part missing."""
    (body,) = site.water_bodies
    rng = np.random.default_rng(900 + seed)
    west, south, east, north = body.outline.buffer(5.0).bounds
    cell_m = float(rng.choice([0.5, 1.0]))
    easting, northing = np.arange(west, east, cell_m), np.arange(south, north, cell_m)
    node = shapely.points(*np.meshgrid(easting, northing))
    away = shapely.distance(body.outline.boundary, node)
    away = np.where(shapely.contains(body.outline, node), away, -away)
    bed = body.outline_level_m - rng.uniform(1.0, 3.0) * np.tanh(away / rng.uniform(3.0, 8.0))
    bed[:, easting > west + rng.uniform(0.5, 1.2) * (east - west)] = np.nan
    affine = np.array([[cell_m, 0.0, west], [0.0, cell_m, south]])
    return replace(site, water_bodies=(replace(body, bed_raster=BedRaster(bed, affine)),))


@pytest.mark.parametrize(
    ("seed", "has_raster"),
    [*((seed, False) for seed in range(12)), *((seed, True) for seed in range(2, 12, 3))],
)
def test_audit_accepts_the_plan_and_the_plan_keeps_its_bound(
    seed: int, has_raster: bool, tmp_path: Path
) -> None:
    site = with_raster(random_site(seed), seed) if has_raster else random_site(seed)
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


@pytest.mark.parametrize("seed", range(20, 24))
def test_audit_accepts_plans_of_any_rules_and_stocks_and_their_rafts_may_be_held(
    seed: int, tmp_path: Path
) -> None:
    site = varied_site(seed)
    body = site.water_bodies[0]
    water = plan_water(body, site.settings)
    held = held_of(water, np.random.default_rng(seed))
    again = plan_water(body, site.settings, detail="brief", held=held)
    for name, made in (("free", water), ("held", again)):
        folder = tmp_path / name
        folder.mkdir()
        gis_files.write(Plan("any", site.client_crs, (made,)), site, folder, None)
        report = audit_plan(gis_files.read_plan(folder / gis_files.FILE_NAME), site)
        assert [finding for finding in report.findings if not finding.passed] == []
        assert made.report.value <= made.report.bound + 1e-9
    assert sum(raft.is_kept for raft in again.rafts) == len(held)
    parts = water.reasons.why_not
    whole = water.edges[1].outline.area
    assert sum(part.area.area for part in parts) == pytest.approx(whole, abs=0.01, rel=1e-6)
