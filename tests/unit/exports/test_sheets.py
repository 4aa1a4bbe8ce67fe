"""``cover.csv`` and ``setting_out.csv``: never a formula, never a limit met by rounding."""

import csv
import io
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from geoplan.exports import cover_sheet, material_sheet, mooring_sheet, setting_out
from geoplan.exports.cover_sheet import is_within, rounded_up_pct
from geoplan.exports.csv_text import Fixed, write_table
from geoplan.launch.taping import TapeLimits, best_fix
from geoplan.raft import footprints
from tests.unit.exports import small_plan as small

Rows = list[dict[str, str]]


def rows_of(path: Path) -> Rows:
    data = path.read_bytes()
    assert data.startswith(b"\xef\xbb\xbf")
    assert b"\n" not in data.replace(b"\r\n", b"")
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


@pytest.fixture
def cover(tmp_path: Path) -> Rows:
    cover_sheet.write(small.plan(), small.site(), tmp_path, None)
    return rows_of(tmp_path / "cover.csv")


@pytest.fixture
def points(tmp_path: Path) -> Rows:
    setting_out.write(small.plan(), small.site(), tmp_path, None)
    return rows_of(tmp_path / "setting_out.csv")


@given(st.floats(0, 100))
def test_a_rounded_percent_is_never_lower_and_never_a_tenth_higher(percent: float) -> None:
    shown = rounded_up_pct(percent)
    assert percent - 1e-7 <= shown < percent + 0.1 + 1e-9


@given(st.integers(0, 1000), st.floats(0, 100))
def test_what_is_shown_at_or_below_a_limit_in_tenths_keeps_it(tenths: int, percent: float) -> None:
    limit = tenths / 10
    if rounded_up_pct(percent) > limit:
        assert not is_within(percent, limit)
    elif percent > limit + 1e-7:
        pytest.fail("a limit was met by rounding")


def test_each_water_and_level_has_a_row_and_the_sum_too(cover: Rows) -> None:
    assert [(row["water_id"], row["level_name"]) for row in cover] == [
        (water, level)
        for water in ("lower", "upper", "total")
        for level in ("low", "normal", "high")
    ]


def test_the_limit_is_judged_at_the_normal_level(cover: Rows) -> None:
    verdicts = {(row["water_id"], row["level_name"]): row["within_limit"] for row in cover}
    assert verdicts["lower", "normal"] == "no"  # 9.6 m² on some 1,300 m² is above 0.5 %
    assert verdicts["upper", "normal"] == "yes"
    assert verdicts["total", "normal"] == "no"
    assert verdicts["upper", "low"] == ""


def test_totals_are_sums(cover: Rows) -> None:
    for level in ("low", "normal", "high"):
        rows = {row["water_id"]: row for row in cover if row["level_name"] == level}
        both = [rows["lower"], rows["upper"]]
        for column in ("raft_area_m2", "water_area_m2"):
            total = sum(float(row[column]) for row in both)
            assert float(rows["total"][column]) == pytest.approx(total, abs=0.011)


def test_no_cell_runs_as_a_formula(tmp_path: Path) -> None:
    texts = ["=1+1", "+1", "-1", "@A1", "\t=1", "\r=1", "plain", 'quo"te, comma', "two\nlines"]
    write_table(tmp_path / "t.csv", ["text"], [[text] for text in texts])
    read = [row["text"] for row in rows_of_any(tmp_path / "t.csv")]
    assert read == [f"'{text}" for text in texts[:6]] + texts[6:]


def rows_of_any(path: Path) -> Rows:
    return list(csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8-sig"), newline="")))


def test_a_negative_number_stays_a_number(tmp_path: Path) -> None:
    write_table(tmp_path / "t.csv", ["a", "b", "c", "d"], [[Fixed(-1.5, 3), None, math.nan, True]])
    assert (tmp_path / "t.csv").read_bytes().endswith(b"a,b,c,d\r\n-1.500,,,yes\r\n")


def test_each_raft_has_centre_corners_and_posts(points: Rows) -> None:
    items = [row["item"] for row in points if row["raft_id"] == "U1"]
    posts = [f"post U1 p{number}" for number in (1, 2, 3, 4)]
    assert items == ["centre", "corner 1", "corner 2", "corner 3", "corner 4", *posts]
    assert "old" not in {row["raft_id"] for row in points}


def test_corners_lie_on_the_ground_where_the_raft_is(points: Rows) -> None:
    """By geodesics on the ellipsoid: half a diagonal from the centre, sides of 4 and 2.4 m."""
    rows = {row["item"]: row for row in points if row["raft_id"] == "U2"}
    at = {item: (float(r["longitude_deg"]), float(r["latitude_deg"])) for item, r in rows.items()}
    geod = Geod(ellps="WGS84")

    def apart_m(one: str, other: str) -> float:
        return float(geod.inv(*at[one], *at[other])[2])

    for number in (1, 2, 3, 4):
        assert apart_m("centre", f"corner {number}") == pytest.approx(math.hypot(2, 1.2), abs=2e-3)
    assert apart_m("corner 1", "corner 2") == pytest.approx(4.0, abs=2e-3)
    assert apart_m("corner 2", "corner 3") == pytest.approx(2.4, abs=2e-3)


def test_tapes_are_true_distances_from_the_named_marks(points: Rows) -> None:
    marks = {"P1": (10.0, -33.0), "'=P2": (44.0, -20.0), "P3": (10.5, -33.0)}
    raft = small.RAFTS[0]
    row = next(row for row in points if row["raft_id"] == "U1" and row["item"] == "centre")
    for number in ("1", "2"):
        mark = marks[row[f"mark_{number}"]]
        expected = math.dist(mark, (raft.easting_m, raft.northing_m))
        assert float(row[f"tape_{number}_m"]) == pytest.approx(expected, abs=0.0051)


def test_tapes_are_blank_where_there_are_no_marks(points: Rows) -> None:
    row = next(row for row in points if row["water_id"] == "lower")
    assert (row["mark_1"], row["tape_1_m"], row["mark_2"], row["tape_2_m"]) == ("", "", "", "")


def test_marks_in_one_line_with_the_point_are_not_used() -> None:
    marks = np.array([[5.0, 0.0], [9.0, 0.1], [-7.0, 0.0]])
    assert best_fix(np.zeros(2), marks, TapeLimits(0.05, 50.0)) is None


def test_of_two_right_angles_the_shorter_tapes_are_used() -> None:
    marks = np.array([[50.0, 0.0], [0.0, 50.0], [0.0, 5.0], [5.0, 0.0]])
    fix = best_fix(np.zeros(2), marks, TapeLimits(0.05, 50.0))
    assert fix is not None
    assert fix.marks == (2, 3)


def test_rafts_whose_parts_are_not_known_are_counted_all_the_same(tmp_path: Path) -> None:
    material_sheet.write(small.plan(), small.site(), tmp_path, None)
    rows = rows_of(tmp_path / "materials.csv")
    rafts = [raft for water in small.plan().waters for raft in water.rafts]
    unbuilt = {kind.name for kind in small.site().settings.raft if kind.build is None}
    planned = [r for r in rafts if r.status == "planned" and r.raft_type in unbuilt]
    assert planned
    counted = sum(float(row["quantity"]) for row in rows if "not billed" in row["item"])
    assert counted == len(planned)


def test_a_post_stands_out_by_what_is_left_of_its_length(tmp_path: Path) -> None:
    plan = small.plan()
    mooring_sheet.write(plan, small.site(), tmp_path, None)
    rows = {row["mooring_id"]: row for row in rows_of(tmp_path / "moorings.csv")}
    for water in plan.waters:
        for part in water.moorings:
            left = part.length_m - part.embedment_m - part.depth_high_m
            stated = float(rows[part.mooring_id]["top_above_high_m"])
            assert left - 0.0101 < stated <= left + 1e-9
            body = next(b for b in small.site().water_bodies if b.water_id == water.water_id)
            margins = 2 * small.site().settings.mooring.travel_margin_m
            travel = float(rows[part.mooring_id]["sleeve_travel_m"])
            rise = body.levels.high_m - body.levels.low_m + margins
            assert rise - 1e-9 <= travel < rise + 0.0101


def test_a_line_goes_from_the_corner_that_it_is_made_fast_to(tmp_path: Path) -> None:
    upper = small.plan().waters[1]
    raft = next(one for one in upper.rafts if one.raft_id == "U1")
    outline = footprints(
        raft.easting_m, raft.northing_m, raft.heading_deg, raft.length_m, raft.width_m
    )[0]
    corners = list(outline.exterior.coords)[:4]
    post = upper.moorings[0]
    lines = tuple(
        replace(
            post,
            mooring_id=f"A{k}",
            raft_id="U1",
            kind="anchor",
            fairlead_easting_m=east,
            fairlead_northing_m=north,
        )
        for k, (east, north) in enumerate(corners, 1)
    )
    plan = replace(small.plan(), waters=(replace(upper, moorings=lines),))
    mooring_sheet.write(plan, small.site(), tmp_path, None)
    rows = rows_of(tmp_path / "moorings.csv")
    assert [(row["mooring_id"], row["from_corner"]) for row in rows] == [
        (f"A{k}", str(k)) for k in (1, 2, 3, 4)
    ]


def test_what_goes_to_the_waters_is_what_is_built_in(tmp_path: Path) -> None:
    material_sheet.write(small.plan(), small.site(), tmp_path, None)
    rows = rows_of(tmp_path / "materials.csv")
    whole = {(r["item"], r["size"]): r for r in rows if r["scope"] == "whole plan" and r["size"]}
    assert whole
    for key, row in whole.items():
        parts = [
            float(r["quantity"])
            for r in rows
            if r["scope"].startswith("water ") and (r["item"], r["size"]) == key
        ]
        assert sum(parts) == pytest.approx(float(row["quantity"]), abs=0.01 * max(len(parts), 1))
