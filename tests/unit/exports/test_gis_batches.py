"""A GeoPackage written in batches holds the same rows in the same order as one written at once."""

from dataclasses import replace
from pathlib import Path

import pyogrio
import pytest

from geoplan.exports import gis_files
from tests.unit.exports import small_plan


def rows(folder: Path) -> dict[str, list[str]]:
    """Every row of every layer as text."""
    path = folder / gis_files.FILE_NAME
    return {
        name: pyogrio.read_dataframe(path, layer=name).to_csv().splitlines()
        for name, _ in pyogrio.list_layers(path)
    }


def test_batches_change_nothing_but_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plan, site = small_plan.plan(), small_plan.site()
    waters = [
        replace(water, water_id=f"{water.water_id}-{k}") for k in range(3) for water in plan.waters
    ]
    plan = replace(plan, waters=tuple(waters))
    seen = []
    for size in (100, 2, 1):
        folder = tmp_path / str(size)
        folder.mkdir()
        monkeypatch.setattr(gis_files, "_BATCH", size)
        gis_files.write(plan, site, folder, small_plan.audit())
        seen.append(rows(folder))
    assert seen[0] == seen[1] == seen[2]
    assert len(seen[0]["water_edges"]) > 3 * 3
