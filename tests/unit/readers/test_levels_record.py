"""A record of levels at the door: what is doubtful is said with dates, and nothing is dropped."""

import pickle
from pathlib import Path

import numpy as np
import pytest
import shapely

from geoplan.readers import check_site, read_site
from tests.unit.readers.sites import EAST_M, NORTH_M, POND, SETTINGS, features, write_site

DAYS = np.arange("2024-01-01", "2025-12-31", dtype="datetime64[D]")
SEASON = 12.0 + 0.38 * np.sin(2 * np.pi * np.arange(len(DAYS)) / 365.25)


def table(level: np.ndarray, kept: np.ndarray | None = None) -> str:
    rows = np.arange(len(DAYS)) if kept is None else kept
    lines = [f"{DAYS[k]},{level[k]:.3f}" for k in rows]
    return "\n".join(["time,level_m", *lines]) + "\n"


def warnings_of(path: Path) -> list[str]:
    result = check_site(path)
    assert result.site is not None
    return [str(fault) for fault in result.faults if fault.layer == "levels"]


def test_a_record_reaches_the_water_body_though_levels_are_given(tmp_path: Path) -> None:
    path = write_site(tmp_path, levels=table(SEASON))
    body = read_site(path).water_bodies[0]
    assert body.levels.low_m == 11.6
    assert body.record is not None
    assert len(body.record) == len(DAYS)
    assert not body.record.level_m.flags.writeable
    again = pickle.loads(pickle.dumps(body.record))  # noqa: S301 - our own bytes
    assert not again.level_m.flags.writeable
    assert warnings_of(path) == []


def test_without_a_record_there_is_none(tmp_path: Path) -> None:
    assert read_site(write_site(tmp_path)).water_bodies[0].record is None


def test_gap_spike_and_shift_are_said_with_dates_and_amounts_and_kept(tmp_path: Path) -> None:
    level = SEASON.copy()
    level[100] += 0.8
    level[500:] -= 0.25
    kept = np.concatenate([np.arange(0, 300), np.arange(341, len(DAYS))])
    settings = SETTINGS.replace("11.6", "11.3")
    path = write_site(tmp_path, settings=settings, levels=table(level, kept))
    gap, spike, shift = warnings_of(path)
    assert "a gap of 42.0 days from 2024-10-26 to 2024-12-07" in gap
    assert "on 2024-04-10, 0.80 m above" in spike
    assert "a step of -0.2" in shift
    assert "between 2025-05-14 and 2025-05-15" in shift
    record = read_site(path).water_bodies[0].record
    assert record is not None
    assert len(record) == len(kept)
    assert record.level_m.max() == pytest.approx(level[100], abs=1e-3)


def test_a_record_that_never_reaches_the_outline_is_said(tmp_path: Path) -> None:
    texts = warnings_of(write_site(tmp_path, levels=table(SEASON - 1.0)))
    assert any("10.62 to 11.38 m, which never reach the 12.00 m" in text for text in texts)
    texts = warnings_of(write_site(tmp_path, levels=table(SEASON + 1.0)))
    assert any("12.62 to 13.38 m, which never reach the 12.00 m" in text for text in texts)


def test_levels_that_are_often_passed_are_said(tmp_path: Path) -> None:
    settings = SETTINGS.replace("low_m = 11.6", "low_m = 11.9").replace("12.4", "12.2")
    low, high = warnings_of(write_site(tmp_path, settings=settings, levels=table(SEASON)))
    assert "below the low level of 11.90 m for" in low
    assert "above the high level of 12.20 m for" in high
    for text, height_m in ((low, 0.1), (high, 0.2)):
        exact = 100.0 * np.arccos(height_m / 0.38) / np.pi
        assert float(text.split(" %")[0].split()[-1]) == pytest.approx(exact, abs=0.15)


def test_rows_without_a_level_are_counted(tmp_path: Path) -> None:
    text = table(SEASON).replace(f"{DAYS[7]},{SEASON[7]:.3f}", f"{DAYS[7]},")
    [fault] = warnings_of(write_site(tmp_path, levels=text))
    assert f"1 of {len(DAYS)} rows without a time or a level" in fault


def test_a_record_is_not_that_of_water_with_levels_of_its_own(tmp_path: Path) -> None:
    other = shapely.box(EAST_M + 200, NORTH_M, EAST_M + 300, NORTH_M + 50)
    own = {"level_m": 20.0, "low_m": 19.8, "normal_m": 20.0, "high_m": 20.3}
    water = features(
        [(POND, {"water_id": "a", "level_m": 12.0}), (other, {"water_id": "b", **own})]
    )
    bodies = read_site(write_site(tmp_path, water=water, levels=table(SEASON))).water_bodies
    assert [body.record is not None for body in bodies] == [True, False]
