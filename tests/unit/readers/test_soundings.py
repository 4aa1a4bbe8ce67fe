"""Soundings and contours: signs, times, strays, and what lies on land."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from geoplan.readers import check_site, read_site, stray_fixes
from geoplan.readers.survey_steps import survey_steps
from tests.unit.readers.sites import EAST_M, NORTH_M, SETTINGS, at, features, frame, write_site

LEVELS = "time,level_m\n2025-01-01,11.0\n2026-01-01,12.0\n2026-01-11,13.0\n"


def soundings(*rows: tuple[object, ...], header: str = "depth_m") -> str:
    """A table of soundings, places measured from the corner of the pond."""
    lines = [f"easting_m,northing_m,{header}"]
    for east, north, *rest in rows:
        cells = [EAST_M + float(str(east)), NORTH_M + float(str(north)), *rest]
        lines.append(",".join(str(cell) for cell in cells))
    return "\n".join(lines) + "\n"


def texts(path: Path, severity: str) -> list[str]:
    """Faults of one severity."""
    return [str(fault) for fault in check_site(path).faults if fault.severity == severity]


def test_depth_counts_from_the_outline_and_bed_from_the_datum(tmp_path: Path) -> None:
    one = read_site(write_site(tmp_path / "a", soundings=soundings((50, 25, 1.5))))
    other = read_site(
        write_site(tmp_path / "b", soundings=soundings((50, 25, 10.5), header="Bed_M"))
    )
    assert one.water_bodies[0].soundings.bed_m.tolist() == [10.5]
    assert other.water_bodies[0].soundings.bed_m.tolist() == [10.5]


def test_depth_is_reduced_with_the_level_of_its_day(tmp_path: Path) -> None:
    table = soundings((50, 25, 1.5, "2026-01-06"), (60, 25, 1.5, ""), header="depth_m,time")
    site = read_site(write_site(tmp_path, soundings=table, levels=LEVELS))
    # Half way from 12.0 to 13.0 m, and the level of the outline where no time is given.
    assert site.water_bodies[0].soundings.bed_m.tolist() == pytest.approx([11.0, 10.5])


def test_time_outside_the_record_is_refused(tmp_path: Path) -> None:
    table = soundings((50, 25, 1.5, "2026-02-06"), header="depth_m,time")
    path = write_site(tmp_path, soundings=table, levels=LEVELS)
    assert any("outside the record" in text for text in texts(path, "error"))


def test_time_that_is_none_is_refused(tmp_path: Path) -> None:
    table = soundings((50, 25, 1.5, "6/1/2026"), header="depth_m,time")
    path = write_site(tmp_path, soundings=table, levels=LEVELS)
    assert any("'6/1/2026'" in text for text in texts(path, "error"))


def test_levels_come_from_the_record(tmp_path: Path) -> None:
    settings = SETTINGS.replace(
        "low_m = 11.6\nnormal_m = 12.0\nhigh_m = 12.4",
        'record = "levels.csv"\nlow_percentile = 0\nhigh_percentile = 100',
    )
    levels = (
        read_site(write_site(tmp_path, settings=settings, levels=LEVELS)).water_bodies[0].levels
    )
    # Up from 11 to 12 m in 365 days, and to 13 m in 10 more: half of the time in 187.5 days.
    median_m = round(11.0 + 187.5 / 365.0, 4)
    assert levels.named() == (("low", 11.0), ("normal", median_m), ("high", 13.0))


@pytest.mark.parametrize(
    ("table", "words"),
    [
        (soundings((50, 25, -1.5), (51, 25, -1.4), (52, 25, 1.0)), "2 of 3 values of depth_m"),
        (soundings((50, 25, -1.5), (51, 25, 1.4), (52, 25, 1.0)), "row 2"),
        (soundings((50, 25, "nan")), "'nan'"),
        (soundings((50, 25, "")), "neither depth_m nor bed_m"),
        (soundings((50, 25, 1, 11), header="depth_m,bed_m"), "both depth_m and bed_m"),
        (soundings((50, 25, 1, 0.3048), header="depth_m,depth_ft"), "two columns for one"),
        (soundings((50, 25, 1, 0), header="depth_m,sigma_m"), "sigma_m 0"),
        (soundings((50, 25, 3), (60, 25, 3), header="bed_m").replace(",3", ",13"), "mostly above"),
        (soundings((50, 25, 1), header="dept"), "neither depths nor heights"),
        (soundings((500, 25, 1), (501, 25, 2)), "all 2 soundings on land"),
        (soundings((50, 25, 1, 1)), "4 cells"),
        ("easting_m,northing_m\n", "no features"),
        ("easting_ft,northing_ft,depth_m\n1,1,1\n", "two kinds of foot"),
        ("a,a\n1,2\n", "two columns named"),
    ],
)
def test_a_fault_of_soundings_is_said(tmp_path: Path, table: str, words: str) -> None:
    result = check_site(write_site(tmp_path, soundings=table))
    assert any(words in str(fault) for fault in result.faults), result.faults
    if words != "no features":
        assert result.site is None


def test_soundings_on_land_are_counted_and_left_out(tmp_path: Path) -> None:
    table = soundings((50, 25, 1.5), (60, 25, 1.0), (70, 25, 1.0), (50, 60, 0.0))
    path = write_site(tmp_path, soundings=table)
    site = read_site(path)
    assert len(site.water_bodies[0].soundings) == 3
    assert any(
        "1 of 4 soundings on land" in text and "row 5" in text for text in texts(path, "warning")
    )


def test_a_shallowest_sounding_that_is_deep_is_doubted(tmp_path: Path) -> None:
    path = write_site(tmp_path, soundings=soundings((50, 25, -2.0), (60, 25, -1.0), header="bed_m"))
    assert any("every depth is wrong" in text for text in texts(path, "warning"))


def test_a_lone_sounding_is_said(tmp_path: Path) -> None:
    path = write_site(tmp_path, soundings=soundings((50, 25, 2.0)))
    assert any("Depth is known only there" in text for text in texts(path, "warning"))


def test_stray_fixes_are_named_each(tmp_path: Path) -> None:
    good = [(5 + east, 5 + north, 1.0) for east in range(0, 90, 6) for north in range(0, 40, 6)]
    path = write_site(tmp_path, soundings=soundings(*good, (4000, 25, 1.0), (50, -3000, 1.0)))
    strays = [text for text in texts(path, "error") if "far from all others" in text]
    assert len(strays) == 2
    assert f"row {len(good) + 2}," in strays[0]
    assert "3.90 km" in strays[0]


@given(
    arrays(np.float64, st.integers(0, 60), elements=st.floats(-200, 200)),
    st.floats(-1e6, 1e6),
    st.floats(-1e6, 1e6),
)
def test_strays_do_not_depend_on_where_the_pond_is(
    east: np.ndarray, shift_east: float, shift_north: float
) -> None:
    north = np.sin(np.arange(east.size)) * 50.0
    here = stray_fixes(np.round(east), north)
    there = stray_fixes(np.round(east) + np.round(shift_east), north + np.round(shift_north))
    # A fix right at the limit may fall to either side of it by rounding.
    assert np.count_nonzero(here != there) <= 1
    assert here.sum() <= here.size / 2


@pytest.mark.parametrize("count", [3, 10, 1000])
def test_even_spread_has_no_strays(count: int) -> None:
    line = np.linspace(0.0, 5000.0, count)
    assert not stray_fixes(line, np.zeros(count)).any()


def test_heights_of_points_are_taken_as_bed_and_said(tmp_path: Path) -> None:
    write_site(tmp_path)
    points = [
        (shapely.Point(EAST_M + 50, NORTH_M + 25 + step, 10.0 + step), {}) for step in (0, 1, 2)
    ]
    frame(points).to_file(tmp_path / "soundings.gpkg")
    site = read_site(tmp_path)
    assert site.water_bodies[0].soundings.bed_m.tolist() == [10.0, 11.0, 12.0]
    assert any("heights of the geometry" in note.remedy for note in site.notes)


def test_contours_count_from_datum_or_level_and_must_be_level(tmp_path: Path) -> None:
    line = shapely.LineString([at(10, 10), at(90, 10)])
    site = read_site(write_site(tmp_path / "a", contours=features([(line, {"depth_ft": 5.0})])))
    (contour,) = site.water_bodies[0].contours
    assert contour.bed_m == pytest.approx(12.0 - 5 * 0.3048)
    sloping = shapely.LineString(
        [(EAST_M + 10, NORTH_M + 9, 10.0), (EAST_M + 20, NORTH_M + 9, 11.0)]
    )
    path = write_site(tmp_path / "b", contours=features([(sloping, {})]))
    assert any("a contour from 10 to 11 m" in text for text in texts(path, "error"))


def two_days(step_m: float, apart_m: float = 1.0) -> str:
    """Soundings of two days beside each other; the later ones higher by a step."""
    rows: list[tuple[object, ...]] = []
    for k in range(12):
        bed = 10.0 + 0.02 * (k % 3)
        rows.append((20 + 4 * k, 25, bed, "2026-05-01"))
        rows.append((20 + 4 * k, 25 + apart_m, round(bed + step_m, 3), "2026-06-01"))
    return soundings(*rows, header="bed_m,time")


def test_a_step_between_surveys_that_overlap_is_named(tmp_path: Path) -> None:
    said = texts(write_site(tmp_path, soundings=two_days(0.4)), "warning")
    found = [text for text in said if "higher on 2026-06-01 than on 2026-05-01" in text]
    assert len(found) == 1
    assert "0.40 m" in found[0]
    assert "12 places" in found[0]


@pytest.mark.parametrize(("step_m", "apart_m"), [(0.05, 1.0), (0.4, 8.0)])
def test_surveys_that_agree_or_lie_apart_pass(
    step_m: float, apart_m: float, tmp_path: Path
) -> None:
    said = texts(write_site(tmp_path, soundings=two_days(step_m, apart_m)), "warning")
    assert not [text for text in said if "surveys that agree" in text]


@given(st.integers(0, 10_000))
def test_noise_alone_is_no_step(seed: int) -> None:
    rng = np.random.default_rng(seed)
    place = rng.uniform(0, 20, (80, 2))
    day = np.repeat([0.0, 86_400.0], 40)
    assert survey_steps(place, rng.uniform(-0.07, 0.07, 80), day) == []


def test_a_sounding_above_the_high_level_is_named(tmp_path: Path) -> None:
    table = soundings((40, 20, 10.5), (50, 25, 13.1), (60, 25, 10.4), header="bed_m")
    said = texts(write_site(tmp_path, soundings=table), "warning")
    assert any("1 sounding above the high level" in text and "13.1 m" in text for text in said)
