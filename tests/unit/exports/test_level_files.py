"""Tables, drawings and page of levels: whole, the same each time, and never run as anything."""

import csv
import io
import json
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from geoplan.exports import level_history, level_page, plan_json, stage_table
from geoplan.exports.plots import history_plot, stage_plot
from geoplan.plan import Plan, RaftReplay, RecordReplay, StageCurve
from geoplan.site import Levels
from tests.unit.exports import small_plan as small

SVG = "{http://www.w3.org/2000/svg}"
LEVELS = Levels(11.6, 12.0, 12.45)
CURVE = StageCurve(
    np.array([9.0, 11.0, 11.6, 12.0, 12.45]),
    np.array([0.0, 500.0, 900.0, 1300.0, 1500.0]),
    np.array([0.0, 600.0, 1020.0, 1460.0, 2090.0]),
)


def replay(count: int = 800) -> RecordReplay:
    """A season of levels with a gap of 100 days."""
    day = np.arange(float(count))
    day[count // 2 :] += 100.0
    level = 12.0 + 0.5 * np.sin(day / 58.0)
    rafts = (RaftReplay(small.HOSTILE[0], 12.5, 1.25, 0.0), RaftReplay("b", 0.0, 0.0, None))
    area = 1300.0 + 400.0 * (level - 12.0)
    return RecordReplay(
        day * 86400.0, level, area, 100.0 * 19.2 / area, count - 1.0, 21.0, 3.0, rafts
    )


def levelled() -> Plan:
    """The hand-made plan, its first water body with a record."""
    plan = small.plan()
    first, *rest = plan.waters
    return replace(plan, waters=(replace(first, stage=CURVE, record=replay()), *rest))


def rows_of(path: Path) -> list[dict[str, str]]:
    text = path.read_bytes().decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_the_table_of_levels_is_the_curve(tmp_path: Path) -> None:
    stage_table.write(levelled(), small.site(), tmp_path, None)
    rows = rows_of(tmp_path / "stage_area_volume.csv")
    assert [float(row["level_m"]) for row in rows] == CURVE.level_m.tolist()
    assert [float(row["volume_m3"]) for row in rows] == CURVE.volume_m3.tolist()


def test_the_history_has_a_row_for_each_reading_and_counts_rafts(tmp_path: Path) -> None:
    """Rafts have 0.789 m of room at 11.6 m: within 0.3 m of the bed below 11.111 m."""
    plan = levelled()
    record = plan.waters[0].record
    assert record is not None
    low = np.array([10.80, 10.811, 11.0, 11.112])
    dry = replace(record, time_s=np.arange(4.0) * 86400, level_m=low, cover_pct=np.full(4, 2.01))
    dry = replace(dry, water_area_m2=np.full(4, 100.0))
    plan = replace(plan, waters=(replace(plan.waters[0], record=dry), *plan.waters[1:]))
    level_history.write(plan, small.site(), tmp_path, None)
    rows = rows_of(tmp_path / "level_history.csv")
    count = sum(raft.status == "planned" for raft in plan.waters[0].rafts)
    assert count > 0
    assert [row["time"] for row in rows] == [f"1970-01-0{day}" for day in (1, 2, 3, 4)]
    assert [int(row["rafts_on_bed"]) for row in rows] == [count, count, 0, 0]
    assert [int(row["rafts_within_clearance"]) for row in rows] == [count, count, count, 0]
    assert {row["cover_pct"] for row in rows} == {"2.1"}  # rounded up


def test_without_a_record_there_is_a_header_alone(tmp_path: Path) -> None:
    level_history.write(small.plan(), small.site(), tmp_path, None)
    assert rows_of(tmp_path / "level_history.csv") == []
    plan_json.write(small.plan(), small.site(), tmp_path, None)
    record = json.loads((tmp_path / "plan.json").read_bytes())
    assert [water["record"] for water in record["water_bodies"]] == [None, None]


def test_plan_json_holds_the_shares_of_each_raft(tmp_path: Path) -> None:
    plan_json.write(levelled(), small.site(), tmp_path, None)
    first, _ = json.loads((tmp_path / "plan.json").read_bytes())["water_bodies"]
    assert first["record"]["reading_count"] == 800
    assert first["record"]["from"] == "1970-01-01"
    assert first["record"]["rafts"][0]["on_bed_pct"] == 1.25
    assert first["record"]["rafts"][1]["beyond_posts_pct"] is None


@pytest.mark.parametrize("title", small.HOSTILE)
def test_drawings_are_sound_and_keep_any_title_as_text(title: str) -> None:
    rafts = small.plan().waters[0].rafts
    for text in (
        stage_plot(CURVE, LEVELS, rafts, title),
        history_plot(replay(), LEVELS, 20.0, title),
    ):
        root = ET.fromstring(text)  # noqa: S314 - our own text
        assert root.tag == f"{SVG}svg"
        assert root.get("role") == "img"
        assert root.findtext(f"{SVG}title") == title
        assert root.get("aria-label", "").startswith(title)
        kinds = {part.tag.removeprefix(SVG) for part in root.iter()}
        assert kinds <= {"svg", "title", "desc", "path", "polyline", "circle", "text"}


def test_a_drawing_says_in_words_what_it_shows() -> None:
    rafts = small.plan().waters[0].rafts
    root = ET.fromstring(stage_plot(CURVE, LEVELS, rafts, "t"))  # noqa: S314
    words = root.findtext(f"{SVG}desc") or ""
    assert "Area grows to 1500 m² and volume to 2090 m³" in words
    assert "least depths of 1.84 to 1.84 m at low level" in words
    planned = sum(raft.status == "planned" for raft in rafts)
    assert len(root.findall(f"{SVG}circle")) == planned
    root = ET.fromstring(history_plot(replay(), LEVELS, 20.0, "t"))  # noqa: S314
    words = root.findtext(f"{SVG}desc") or ""
    assert "below the low level for 21.0 %" in words
    assert "level from 11.50 to 12.50 m" in words


def test_places_on_a_drawing_are_in_proportion() -> None:
    """The area's line ends at the right and the top; halfway up in level it is halfway down."""
    root = ET.fromstring(stage_plot(CURVE, LEVELS, (), "t"))  # noqa: S314
    area, _ = (part.get("points", "").split() for part in root.findall(f"{SVG}polyline"))
    points = np.array([[float(number) for number in point.split(",")] for point in area])
    across, down = points.T
    np.testing.assert_allclose(
        (across - across[0]) / np.ptp(across), CURVE.area_m2 / 1500.0, atol=1e-3
    )
    np.testing.assert_allclose(
        (down[0] - down) / np.ptp(down), (CURVE.level_m - 9.0) / 3.45, atol=1e-3
    )


def test_a_gap_breaks_the_line_and_a_long_line_keeps_its_extremes() -> None:
    root = ET.fromstring(history_plot(replay(), LEVELS, 20.0, "t"))  # noqa: S314
    assert len(root.findall(f"{SVG}polyline")) == 4  # two runs, of level and of cover
    time = np.arange(50_000.0) * 3600.0
    level = 12.0 + 0.3 * np.sin(time / 1e6)
    level[31_234] = 14.0
    long = replace(replay(), time_s=time, level_m=level, cover_pct=np.full(50_000, 1.0))
    text = history_plot(replace(long, water_area_m2=level), LEVELS, 20.0, "t")
    assert len(text) < 60_000
    first = ET.fromstring(text).find(f"{SVG}polyline")  # noqa: S314
    assert first is not None
    heights = [float(point.split(",")[1]) for point in first.get("points", "").split()]
    top, bottom = 28.0, 176.0
    assert min(heights) == pytest.approx(top)
    assert max(heights) <= bottom


def test_the_page_runs_nothing_and_is_the_same_each_time(tmp_path: Path) -> None:
    level_page.write(levelled(), small.site(), tmp_path, None)
    data = (tmp_path / "levels.html").read_bytes()
    text = data.decode()
    for part in ("<script", "<img", 'http-equiv="refresh', "href="):
        assert part not in text
    assert "&lt;img src=x onerror=" in text
    assert "12.5" in text
    level_page.write(levelled(), small.site(), tmp_path, None)
    assert (tmp_path / "levels.html").read_bytes() == data
