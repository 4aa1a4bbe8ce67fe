"""The sample sites are what their script makes, are declared as invented, and can be read."""

import importlib
from pathlib import Path

import pytest

from geoplan.readers import check_site
from tests.architecture.source_tree import ROOT

SAMPLES = ROOT / "sample_sites"
SITES = ("elder_close", "holm_lake", "vestre_district/district.gpkg")


def test_text_layers_are_what_the_script_makes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.syspath_prepend(SAMPLES)
    importlib.import_module("make_sites").elder_close(tmp_path)
    made = sorted(tmp_path.iterdir())
    assert len(made) == 8
    for path in made:
        assert path.read_bytes() == (SAMPLES / "elder_close" / path.name).read_bytes(), path.name


@pytest.mark.parametrize("folder", ["elder_close", "holm_lake", "vestre_district"])
def test_first_line_says_that_the_site_is_invented(folder: str) -> None:
    first = (SAMPLES / folder / "README.md").read_text(encoding="utf-8").splitlines()[0]
    assert "invented" in first


@pytest.mark.parametrize("name", SITES)
def test_each_can_be_read_without_an_error(name: str) -> None:
    result = check_site(SAMPLES / name)
    assert [str(fault) for fault in result.faults if fault.severity == "error"] == []
    assert result.site is not None


def test_samples_stay_small() -> None:
    size = sum(path.stat().st_size for path in SAMPLES.rglob("*") if path.is_file())
    assert size < 1_500_000
