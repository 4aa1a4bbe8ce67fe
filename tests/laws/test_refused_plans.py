"""Ponds whose plans the audit once refused, out of thousands drawn; and what each stands for."""

from pathlib import Path

import pytest

from geoplan.audit import audit_plan
from geoplan.audit.bed import raw_bed
from geoplan.audit.edges import edge_at, volume_m3
from geoplan.audit.frame import frame_of
from geoplan.audit.neighbours import jet_reach_m
from geoplan.cover import water_edges
from geoplan.exports import gis_files
from geoplan.fields import site_fields
from geoplan.placement.allowed import Surroundings
from geoplan.placement.rules import InflowJet
from geoplan.plan import Plan
from geoplan.planner import plan_water
from tests.benchmarks.bench_audited_plans import is_full, site_of


@pytest.mark.parametrize(
    "number",
    [
        pytest.param(163, id="rafts that have no order with room to turn"),
        pytest.param(5181, id="a way past rafts in place, narrower than the raft"),
        pytest.param(5231, id="a bowl of few soundings, shallower by straight lines between them"),
        pytest.param(5360, id="parts of the water that only touch"),
        pytest.param(230, id="a flow that is weak enough in one model of two"),
        pytest.param(20527, id="a corner under the rim of a crown, the cell's middle not"),
        pytest.param(30193, id="a third of an hour less sun at a cell's corner"),
        pytest.param(30252, id="posts in water deeper by straight lines between soundings"),
        pytest.param(30540, id="one such post, where the heading is held"),
        pytest.param(42317, id="a place over a shoal for towing, into which a raft is hauled"),
        pytest.param(52568, id="a raft in place where another's stern is when its tow begins"),
        pytest.param(43649, id="a flow that goes another way over straight lines"),
        pytest.param(85110, id="a raft turned where its tow begins, at the edge of its place"),
    ],
)
def test_audit_accepts_what_it_once_refused(number: int, tmp_path: Path) -> None:
    site = site_of(number)
    (body,) = site.water_bodies
    detail = "brief" if is_full(number) else False
    water = plan_water(body, site.settings, detail=detail, time_limit_s=0.0)
    gis_files.write(Plan("once refused", site.client_crs, (water,)), site, tmp_path, None)
    report = audit_plan(gis_files.read_plan(tmp_path / gis_files.FILE_NAME), site)
    failed = [finding for finding in report.findings if not finding.passed]
    assert [finding for finding in failed if finding.check != "effect"] == []
    assert any(raft.status == "planned" for raft in water.rafts)


@pytest.mark.parametrize("number", [5231, *range(2, 12)])
def test_rafts_keep_off_a_jet_as_far_as_the_audit_asks(number: int) -> None:
    """The audit sums the prisms between soundings, the planner the cells of its own beds."""
    site = site_of(number)
    (body,) = site.water_bodies
    frame = frame_of(body.outline, body.crs, site.client_crs)
    outline = frame.of_site(body.outline)
    survey = site.settings.survey
    bed = raw_bed(body, frame, survey.sigma_m, survey.reach_m)
    slope, level_m = site.settings.bank_slope, body.levels.normal_m
    normal = edge_at(outline, body.outline_level_m, bed, level_m, slope)
    depth_m = volume_m3(outline, bed, level_m) / normal.area
    fields = site_fields(body, site.settings)
    around = Surroundings(body, fields, water_edges(body, fields, slope), site.settings)
    speed_m_s = site.settings.clearances.jet_speed_m_s
    for inflow in body.inflows:
        asked_m = jet_reach_m(inflow, depth_m, speed_m_s)
        assert InflowJet().standoff_m(around, inflow) >= asked_m
