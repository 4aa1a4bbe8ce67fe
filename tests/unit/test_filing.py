"""Findings on disk are the findings that were made, in the order of the checks."""

import copy
import gc
from pathlib import Path

import pytest

from geoplan.audit.filing import Filed, Filing
from geoplan.errors import ExportError, PlanFileError
from geoplan.plan import AuditReport, Finding


def finding(check: str, water: int, *, passed: bool = True) -> Finding:
    """A finding of a check in a water body."""
    return Finding(check, f"w{water}", "", 1.0, 2.0, "m", passed, "in words")


def made(folder: Path) -> Filed:
    """Findings of two checks in three pieces, the last of one failed."""
    with Filing(folder) as filing:
        filing.add({"bank": [finding("bank", 0), finding("bank", 1)], "gap": [finding("gap", 0)]})
        filing.add({"bank": [], "gap": [finding("gap", 2), finding("gap", 3)]})
        filing.add({"bank": [finding("bank", 4, passed=False)]})
        return filing.filed(["gap", "depth", "bank"])


def test_they_stand_by_check_and_then_by_piece(tmp_path: Path) -> None:
    found = made(tmp_path)
    wanted = [("gap", "w0"), ("gap", "w2"), ("gap", "w3"), ("bank", "w0"), ("bank", "w1")]
    wanted.append(("bank", "w4"))
    assert [(one.check, one.water_id) for one in found] == wanted
    every = tuple(found)
    assert len(found) == 6
    for part in (slice(None), slice(1, 4), slice(2, 99), slice(5, 2), slice(None, None, 2)):
        assert found[part] == every[part]
    assert [found[at] for at in (0, 3, -1)] == [every[0], every[3], every[-1]]
    with pytest.raises(IndexError):
        found[6]


def test_the_verdict_needs_them_no_more(tmp_path: Path) -> None:
    report = AuditReport(made(tmp_path))
    again = copy.deepcopy(report)
    assert [one.water_id for one in again.failed] == ["w4"]
    assert not again.passed
    assert again.counts == {"gap": (3, 0), "bank": (2, 1)}
    assert tuple(again.findings) == tuple(report.findings)


def test_their_file_goes_with_them_and_is_told_if_it_is_gone(tmp_path: Path) -> None:
    found = made(tmp_path)
    other = copy.deepcopy(found)
    assert len(list(tmp_path.iterdir())) == 1
    del found
    gc.collect()
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(PlanFileError, match="run the same command again"):
        list(other)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no disk that is full")
def test_a_folder_that_takes_no_more_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(ExportError, match="Make room"):
        Filing(tmp_path / "file")
    (tmp_path / "file").unlink()
    with pytest.raises(ExportError, match="Make room"), Filing(tmp_path) as filing:
        filing._file.close()
        filing._file = Path("/dev/full").open("wb")  # noqa: SIM115 - Filing closes it
        filing.add({"bank": [finding("bank", 0)]})
    assert list(tmp_path.iterdir()) == []
