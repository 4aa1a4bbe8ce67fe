"""Junk gives findings, not exceptions; the audit runs without the planner."""

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from geoplan.audit import audit_plan
from geoplan.written import (
    WrittenEdge,
    WrittenMooring,
    WrittenPlan,
    WrittenRaft,
    WrittenRoute,
    WrittenWhyNot,
)
from tests.audit_faults.pond import CRS, HONEST, honest_plan, honest_site, raft

NAN = float("nan")
with np.errstate(invalid="ignore"):
    NAN_RING = shapely.Polygon([(0, 0), (4, NAN), (4, 2), (0, 0)])
    NAN_LINE = shapely.LineString([(NAN, 0), (1, 1)])
SHAPES = [
    shapely.Polygon(),
    shapely.Polygon([(0, 0), (4, 2.4), (4, 0), (0, 2.4)]),
    NAN_RING,
    shapely.Polygon([(0, 0), (1e12, 0), (1e12, 1e12)]),
    shapely.Point(0, 0),
    shapely.MultiPolygon([shapely.box(0, 0, 4, 2.4)]),
    None,
]


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: str(s)[:30])
def test_rafts_without_a_usable_outline_are_recorded(shape: object) -> None:
    plan = honest_plan()
    row = replace(plan.rafts[0], outline=shape)  # type: ignore[arg-type]
    report = audit_plan(replace(plan, rafts=(row, *plan.rafts[1:])), honest_site())
    found = [f for f in report.findings if f.check == "record" and not f.passed]
    assert [f.raft_id for f in found] == ["R1"]


def junk(crs: str = CRS) -> WrittenPlan:
    rafts = tuple(
        WrittenRaft(name, water, kind, status, shape, NAN, NAN, NAN)  # type: ignore[arg-type]
        for name, water, kind, status in [
            ("a", "pond", "four by two", "planned"),
            ("a", "nowhere", "", ""),
            ("<b>", "pond", "{{7*7}}", "existing"),
            ("", "", "=1+1", "as_built"),
        ]
        for shape in [*SHAPES, shapely.box(0, 0, 4, 2.4)]
    )
    moorings = tuple(
        WrittenMooring("m", name, kind, NAN, e, NAN, NAN, NAN)
        for name in ("a", "zz", "")
        for kind in ("post", "anchor", "")
        for e in (NAN, float("inf"), 0.0)
    )
    lines = [
        shapely.LineString(),
        shapely.LineString([(0, 0), (0, 0)]),
        NAN_LINE,
        shapely.LineString([(0, 0), (1, 1)]),
        None,
    ]
    routes = tuple(
        WrittenRoute(name, "ramp", 0, line, *(NAN,) * 3, True, *(NAN,) * 5, "", NAN)  # type: ignore[arg-type]
        for name in ("a", "zz")
        for line in lines
    )
    edges = tuple(
        WrittenEdge(water, level, NAN, shape, NAN, NAN, NAN)  # type: ignore[arg-type]
        for water in ("pond", "nowhere")
        for level in ("low", "flood", "")
        for shape in SHAPES
    )
    answers = tuple(
        WrittenWhyNot(water, rule, shape, NAN)  # type: ignore[arg-type]
        for water in ("pond", "nowhere")
        for rule in ("outlet", "keep_clear", "")
        for shape in SHAPES
    )
    return WrittenPlan(crs, rafts, moorings, routes, edges, answers)


@pytest.mark.parametrize("crs", [CRS, "EPSG:4326", "not a CRS", "", "EPSG:5703"])
def test_junk_gives_findings_in_words(crs: str) -> None:
    report = audit_plan(junk(crs), honest_site())
    assert not report.passed
    assert all(f.detail for f in report.findings if not f.passed)


@pytest.mark.parametrize("shape", SHAPES, ids=str)
def test_an_answer_of_junk_is_a_finding(shape: object) -> None:
    answer = WrittenWhyNot("pond", "keep_clear", shape, NAN)  # type: ignore[arg-type]
    report = audit_plan(replace(honest_plan(), why_not=(answer,)), honest_site())
    found = [f for f in report.findings if f.check == "why_not" and not f.passed]
    assert found
    assert all(f.detail for f in found)


def test_cells_that_are_empty_give_findings() -> None:
    plan = honest_plan()
    empty = replace(
        plan,
        rafts=(replace(plan.rafts[0], length_m=None, width_m=None), *plan.rafts[1:]),  # type: ignore[arg-type]
        moorings=(replace(plan.moorings[0], easting_m=None), *plan.moorings[1:]),  # type: ignore[arg-type]
        routes=(replace(plan.routes[0], length_m=None, sequence=None), *plan.routes[1:]),  # type: ignore[arg-type]
        edges=(replace(plan.edges[0], area_m2=None, cover_pct=None, level_m=None), *plan.edges[1:]),  # type: ignore[arg-type]
    )
    report = audit_plan(empty, honest_site())
    assert {f.check for f in report.findings if not f.passed} == {"size", "post", "route", "cover"}


def test_a_plan_of_nothing_passes_and_says_so() -> None:
    report = audit_plan(WrittenPlan(CRS, (), (), (), ()), honest_site())
    assert report.passed
    assert {f.check for f in report.findings} == {"record", "stock", "budget"}


def test_identities_that_stand_twice_are_found() -> None:
    plan = honest_plan()
    twice = replace(plan, rafts=(*plan.rafts, raft("R1", 14.0, 0.0)))
    report = audit_plan(twice, honest_site())
    found = [f for f in report.findings if f.check == "record" and not f.passed]
    assert [f.raft_id for f in found] == ["R1"]
    assert "2 times" in found[0].detail


def test_calling_a_raft_existing_does_not_free_it() -> None:
    plan = honest_plan({"R1": HONEST["R1"], "R2": (6.0, 13.8)})
    rafts = tuple(replace(row, status="existing") for row in plan.rafts)
    report = audit_plan(replace(plan, rafts=rafts), honest_site())
    assert [f.raft_id for f in report.findings if f.check == "bank" and not f.passed] == ["R2"]
    stock = next(f for f in report.findings if f.check == "stock")
    assert stock.measured == 2


def test_water_without_any_survey_passes_no_raft() -> None:
    none = np.zeros(0)
    body = honest_site().water_bodies[0]
    site = honest_site(soundings=type(body.soundings)(none, none, none, none))
    failed = {f.check for f in audit_plan(honest_plan(), site).findings if not f.passed}
    assert {"depth", "depth_claim", "survey", "cover"} <= failed


BLOCKED = """
import sys
blocked = ("water", "placement", "mooring", "launch", "grid", "fields", "cover", "planner", "fleet",
           "readers", "exports", "crs")
for name in blocked:
    sys.modules["geoplan." + name] = None
from geoplan.audit import audit_plan
from tests.audit_faults.pond import honest_plan, honest_site
report = audit_plan(honest_plan(), honest_site())
sys.exit(0 if report.passed and report.findings else 3)
"""


def test_audit_runs_with_the_planner_blocked() -> None:
    root = Path(__file__).parents[2]
    done = subprocess.run([sys.executable, "-c", BLOCKED], cwd=root, check=False)
    assert done.returncode == 0
