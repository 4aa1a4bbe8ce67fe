"""The plan at other levels: a pond with even banks, whose areas and volumes are closed forms."""

from dataclasses import replace

import numpy as np
import pytest

from geoplan.cover import water_edges
from geoplan.plan import Mooring, PlacedRaft
from geoplan.replay import record_notes, replayed, stage_table
from geoplan.settings import Settings
from geoplan.site import LevelRecord, WaterBody
from tests.unit.cover_ponds import rectangular_pond
from tests.unit.exports.small_plan import raft

SETTINGS = Settings.model_validate(
    {
        "name": "Pond",
        "levels": {"low_m": -0.3, "normal_m": 0.0, "high_m": 0.3},
        "raft": [{"name": "four by two", "length_m": 4.0, "width_m": 2.4, "draft_m": 0.2}],
    }
)
BODY, FIELDS = rectangular_pond()
EDGES = water_edges(BODY, FIELDS, 3.0)
PHASE = np.linspace(0.0, 20 * np.pi, 20_001)


def recorded(amplitude_m: float) -> WaterBody:
    """The pond with a record of ten whole swings round normal level."""
    return replace(BODY, record=LevelRecord(PHASE * 1e5, amplitude_m * np.sin(PHASE)))


def placed(root_clearance_m: float) -> PlacedRaft:
    return replace(raft("a", "w", 40.0, 10.0, 90.0), root_clearance_m=root_clearance_m)


def below(height_m: float, amplitude_m: float) -> float:
    """Percent of the time that a sinusoid is below a height."""
    return 100.0 * (1.0 - float(np.arccos(height_m / amplitude_m)) / np.pi)


def test_area_and_volume_by_level_are_those_of_a_prismoid() -> None:
    curve = stage_table(BODY, FIELDS, EDGES)
    assert curve is not None
    assert curve.level_m[0] == pytest.approx(-2.0)
    assert curve.level_m[-1] == pytest.approx(0.3)
    for named in (-0.3, 0.0, 0.3):
        assert np.isclose(curve.level_m, named).any()
    for level, area, volume in zip(curve.level_m, curve.area_m2, curve.volume_m3, strict=True):
        run = 3.0 * level  # of the bank from the outline; negative below it
        exact = (80 + 2 * run) * (20 + 2 * run)
        middle = (80 + run - 6.0) * (20 + run - 6.0)
        full = (level + 2.0) / 6.0 * (exact + 4.0 * middle + 68.0 * 8.0)
        if level < -1.999:
            continue
        assert area == pytest.approx(exact, abs=50.0)  # half a cell all along the edge
        assert volume == pytest.approx(full, rel=0.02, abs=2.0)
    assert curve.area_m2[-1] == pytest.approx(EDGES[-1].area_m2, rel=1e-6)
    assert curve.volume_m3[-1] == pytest.approx(EDGES[-1].volume_m3, rel=1e-3)


def test_area_and_volume_rise_with_the_level() -> None:
    curve = stage_table(BODY, FIELDS, EDGES)
    assert curve is not None
    assert (np.diff(curve.level_m) > 0).all()
    assert (np.diff(curve.area_m2) >= 0).all()
    assert (np.diff(curve.volume_m3) >= 0).all()


def test_without_any_bed_there_is_no_table_and_the_edges_stand_in() -> None:
    unknown = replace(FIELDS, sigma_m=np.full(FIELDS.grid.shape, np.inf))
    assert stage_table(BODY, unknown, EDGES) is None
    replay = replayed(recorded(0.3), (), (), EDGES, 80.0, None, SETTINGS)
    assert replay is not None
    assert replay.cover_pct[0] == pytest.approx(100 * 80 / EDGES[1].area_m2)


def test_shares_of_time_on_the_bed_are_arc_cosines() -> None:
    """0.1 m of room at -0.3 m: on the bed below -0.4 m, within the clearance below -0.1 m."""
    body = recorded(0.5)
    replay = replayed(body, [placed(0.1)], (), EDGES, 9.6, None, SETTINGS)
    assert replay is not None
    [one] = replay.rafts
    assert one.on_bed_pct == pytest.approx(below(-0.4, 0.5), abs=1e-3)
    assert one.within_clearance_pct == pytest.approx(below(-0.1, 0.5), abs=1e-3)
    assert one.beyond_posts_pct is None
    assert replay.below_low_pct == pytest.approx(below(-0.3, 0.5), abs=1e-3)
    assert replay.above_high_pct == pytest.approx(below(-0.3, 0.5), abs=1e-3)
    [note] = record_notes(body, replay)
    assert "roots on the bed for up to 20 % of the record: rafts 'a'" in str(note)


def test_posts_are_left_above_their_tops_and_below_the_margin() -> None:
    """Tops 0.5 m above high level at 0.8 m; sleeves follow down to 0.5 m below low level."""
    post = Mooring("a-P1", "a", "post", 40.0, 10.0, 2.3, 3.8, 1.0)
    replay = replayed(recorded(1.0), [placed(3.0)], [post], EDGES, 9.6, None, SETTINGS)
    assert replay is not None
    [one] = replay.rafts
    assert one.beyond_posts_pct == pytest.approx(2 * below(-0.8, 1.0), abs=1e-3)
    assert one.on_bed_pct == 0.0


def test_a_record_that_only_just_reaches_the_low_level_breaks_no_clearance() -> None:
    replay = replayed(recorded(0.3), [placed(0.3)], (), EDGES, 9.6, None, SETTINGS)
    assert replay is not None
    assert replay.rafts[0].within_clearance_pct == 0.0
    assert record_notes(BODY, replay) == ()


def test_cover_follows_the_area_and_is_whole_where_there_is_no_water() -> None:
    curve = stage_table(BODY, FIELDS, EDGES)
    time = np.arange(4.0) * 86400.0
    body = replace(BODY, record=LevelRecord(time, np.array([-3.0, -1.0, 0.0, 0.3])))
    replay = replayed(body, (), (), EDGES, 80.0, curve, SETTINGS)
    assert replay is not None
    exact = [100.0, 100 * 80 / (74 * 14), 100 * 80 / 1600, 100 * 80 / (81.8 * 21.8)]
    np.testing.assert_allclose(replay.cover_pct, exact, rtol=0.02)
    assert replay.cover_pct[3] == pytest.approx(100 * 80 / EDGES[2].area_m2, rel=1e-6)
    assert replayed(BODY, (), (), EDGES, 80.0, curve, SETTINGS) is None
    none = replayed(body, (), (), EDGES, 0.0, curve, SETTINGS)
    assert none is not None
    assert none.cover_pct.tolist() == [0.0, 0.0, 0.0, 0.0]
