"""Rafts on lines are placed so that nothing they can sweep is forbidden, and none can meet."""

import itertools
from dataclasses import replace

import pytest
import shapely

from geoplan.mooring.design import design_moorings
from geoplan.mooring.holding import holding
from geoplan.mooring.swept import swept_areas
from geoplan.placement.place import place_rafts
from geoplan.placement.rules import GAP
from geoplan.site import KeepClear
from tests.unit.placement.test_rules import BASE, around

LINES = {"raft": [BASE["raft"][0] | {"mooring": "lines", "root_depth_m": 0.5}]}  # type: ignore[index]


@pytest.fixture(scope="module")
def placed() -> tuple[object, ...]:
    """A square pond 2 m deep at low level, a pipe across a corner, as many rafts as fit."""
    pipe = KeepClear(shapely.LineString([(0, 26), (14, 40)]), 2.0, "pipe")
    about = around(bed_m=7.5, settings=LINES, keep_clear=(pipe,))
    rafts = place_rafts(about).rafts
    moorings = design_moorings(about.body, about.fields, rafts, about.settings)
    swept = swept_areas(about.body, about.fields, rafts, moorings, about.settings)
    return about, rafts, moorings, swept


def test_rafts_are_placed_on_lines(placed: tuple[object, ...]) -> None:
    _, rafts, moorings, swept = placed
    assert len(rafts) >= 2  # type: ignore[arg-type]
    assert {part.kind for part in moorings} == {"anchor"}  # type: ignore[attr-defined]
    assert len(swept) == 3 * len(rafts)  # type: ignore[arg-type]


def test_what_is_swept_is_legal_water_and_apart(placed: tuple[object, ...]) -> None:
    about, _, _, swept = placed
    low = [area.outline for area in swept if area.level_name == "low"]  # type: ignore[attr-defined]
    keep = about.settings.clearances  # type: ignore[attr-defined]
    shore = shapely.boundary(about.low_water)  # type: ignore[attr-defined]
    pipe = about.body.keep_clear[0]  # type: ignore[attr-defined]
    for outline in low:
        assert shapely.within(outline, about.low_water)  # type: ignore[attr-defined]
        assert shapely.distance(outline, shore) >= keep.bank_m
        assert shapely.distance(outline, pipe.geometry) >= pipe.buffer_m
    for one, other in itertools.combinations(low, 2):
        assert shapely.distance(one, other) >= keep.gap_m


def test_anchors_lie_in_low_water(placed: tuple[object, ...]) -> None:
    about, _, moorings, _ = placed
    points = shapely.points([(p.easting_m, p.northing_m) for p in moorings])  # type: ignore[attr-defined]
    assert shapely.within(points, about.low_water).all()  # type: ignore[attr-defined]


def test_sweep_is_largest_when_the_water_is_low(placed: tuple[object, ...]) -> None:
    _, _, _, swept = placed
    for low, normal, high in zip(swept[::3], swept[1::3], swept[2::3], strict=True):  # type: ignore[index]
        assert low.outline.area > normal.outline.area > high.outline.area
        assert low.raft_id == normal.raft_id == high.raft_id


def test_no_raft_needs_more_room_than_placement_kept(placed: tuple[object, ...]) -> None:
    about, rafts, _, swept = placed
    kind = about.settings.raft[0]  # type: ignore[attr-defined]
    most = holding(about.body, about.fields, kind, about.settings).excursion_m  # type: ignore[attr-defined]
    assert GAP.gap_m(about) == pytest.approx(1.0 + 2 * most)  # type: ignore[arg-type]
    for raft, area in zip(rafts, swept[::3], strict=True):  # type: ignore[call-overload, index]
        corners = shapely.points(shapely.get_coordinates(area.outline))
        centre = shapely.Point(raft.easting_m, raft.northing_m)
        assert shapely.distance(corners, centre).max() <= most + 2.24


def test_auto_takes_lines_where_posts_cannot_serve() -> None:
    deep, shallow = around(bed_m=2.0), around(bed_m=7.5)
    kinds = [
        holding(about.body, about.fields, about.settings.raft[0], about.settings).kind
        for about in (deep, shallow)
    ]
    assert kinds == ["lines", "posts"]
    lined = around(
        bed_m=7.5, settings={"bed": {"lined": True}, "mooring": {"anchor": "dead_weight"}}
    )
    assert holding(lined.body, lined.fields, lined.settings.raft[0], lined.settings).kind == "lines"


def test_posts_stay_out_of_water_too_deep_for_them() -> None:
    about = around(bed_m=7.5, settings={"raft": [BASE["raft"][0] | {"mooring": "posts"}]})  # type: ignore[index]
    bed = about.fields.bed_m.copy()
    bed[:, 40:] = 3.0
    half = replace(about, fields=replace(about.fields, bed_m=bed, reliable_bed_m=bed))
    for raft in place_rafts(half).rafts:
        assert raft.easting_m < 20.0
