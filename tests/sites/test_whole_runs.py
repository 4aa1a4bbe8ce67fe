"""Whole runs from files to files: a sample, two ponds by any count of workers, a killed run."""

import hashlib
import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from geoplan.fleet import audit_folder, plan_folder


def two_ponds(folder: Path) -> Path:
    """Two square ponds 200 m apart that share five rafts, in one GeoJSON."""
    features = []
    for k, west in enumerate((9.30, 9.304)):
        east, south, north = west + 0.0007, 56.1, 56.1004
        ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
        features.append(
            ("water", {"water_id": f"p{k}", "level_m": 10.0}, "Polygon", [ring]),
        )
        inflow = {"inflow_id": f"in{k}", "flow_l_s": 1.0 + 2 * k, "tn_mg_l": 3.0}
        features.append(("inflows", inflow, "Point", [west, south + 0.0002]))
        features.append(
            ("outlets", {"outlet_id": f"out{k}"}, "Point", [east, south + 0.0002]),
        )
        for x in np.linspace(0.05, 0.95, 12):
            for y in np.linspace(0.05, 0.95, 12):
                depth = min(2.4, 14 * min(x, y, 1 - x, 1 - y))
                place = [west + x * 0.0007, south + y * 0.0004]
                features.append(("soundings", {"depth_m": round(depth, 2)}, "Point", place))
    raft = {"name": "r", "length_m": 3, "width_m": 2, "draft_m": 0.2, "root_depth_m": 0.5}
    record = {
        "type": "FeatureCollection",
        "site": {
            "name": "Two ponds",
            "levels": {"low_m": 9.8, "normal_m": 10.0, "high_m": 10.2},
            "raft": [raft | {"stock": 5}],
        },
        "features": [
            {
                "type": "Feature",
                "properties": {"layer": layer} | properties,
                "geometry": {"type": kind, "coordinates": place},
            }
            for layer, properties, kind, place in features
        ],
    }
    path = folder / "ponds.geojson"
    path.write_text(json.dumps(record), encoding="utf-8")
    return path


def digest(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_the_same_bytes_for_any_number_of_workers(tmp_path: Path) -> None:
    site = two_ponds(tmp_path)
    for workers in (1, 2):
        outcome = plan_folder(site, tmp_path / f"plan{workers}", workers=workers)
        assert outcome.audit.passed
        counts = [len(water.rafts) for water in outcome.plan.waters]
        assert sum(counts) == 5
        assert counts[1] > counts[0]  # three times the load flows into the second
    assert digest(tmp_path / "plan1") == digest(tmp_path / "plan2")
    assert len(digest(tmp_path / "plan1")) >= 6


def test_a_killed_run_leaves_the_earlier_plan_whole(tmp_path: Path) -> None:
    site, out = two_ponds(tmp_path), tmp_path / "plan"
    plan_folder(site, out, workers=1)
    before = digest(out)
    command = [sys.executable, "-m", "geoplan", "plan", str(site), "-o", str(out)]
    for seconds in (1.5, 3.0):
        with subprocess.Popen([*command, "--workers", "1"], stdout=subprocess.DEVNULL) as run:
            time.sleep(seconds)
            run.send_signal(signal.SIGKILL)
        assert digest(out) == before or json.loads((out / "plan.json").read_text())["site"]
    assert audit_folder(out, site).passed


def test_the_subdivision_pond_is_planned_and_accepted(repository: Path, tmp_path: Path) -> None:
    outcome = plan_folder(repository / "sample_sites" / "elder_close", tmp_path / "plan")
    water = outcome.plan.waters[0]
    assert outcome.audit.passed
    assert len(water.rafts) == 12
    cover = [part.cover_pct for part in water.cover]
    assert cover == sorted(cover, reverse=True)
    assert cover[1] == pytest.approx(100 * 12 * 9.6 / 4864.0, rel=1e-3)
    assert water.effect is not None
    assert not water.effect.is_relative


@pytest.mark.parametrize("levels", [("low_m",), ("low_m", "normal_m", "high_m")])
def test_a_pond_that_falls_dry_is_told_and_the_other_is_planned(
    tmp_path: Path, levels: tuple[str, ...]
) -> None:
    """The bed lies at 7.6 m at its deepest: at 7 m nothing of the first pond is water."""
    path = two_ponds(tmp_path)
    record = json.loads(path.read_text(encoding="utf-8"))
    record["features"][0]["properties"].update(dict.fromkeys(levels, 7.0))
    path.write_text(json.dumps(record), encoding="utf-8")
    made = plan_folder(path, tmp_path / "out", workers=1)
    dry, wet = made.plan.waters
    assert [edge.outline.is_empty for edge in dry.edges[: len(levels)]] == [True] * len(levels)
    assert not dry.rafts
    assert "falls dry at the low level of 7 m" in dry.why_none
    assert wet.rafts
    assert made.audit.passed
    assert audit_folder(tmp_path / "out").passed
