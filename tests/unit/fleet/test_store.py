"""What is kept is whole, and what is not whole is not read."""

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from geoplan.errors import ExportError, PlanFileError
from geoplan.fleet.fingerprint import fingerprint
from geoplan.fleet.store import WORK_ENDING, PartStore, packed
from tests.laws.ponds import random_site

KEY = "ab" * 32


def test_a_part_comes_back(tmp_path: Path) -> None:
    store = PartStore(tmp_path / "parts")
    store.open()
    assert store.load(KEY) is None
    store.keep(KEY, packed({"a": 1.5}))
    assert store.load(KEY) == {"a": 1.5}
    assert [path.name for path in (tmp_path / "parts" / "ab").iterdir()] == [KEY]


def test_only_what_must_last_is_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    flushed: list[int] = []
    monkeypatch.setattr("geoplan.fleet.store.os.fsync", flushed.append)
    store = PartStore(tmp_path / "parts")
    store.open()
    store.keep("ab1", packed(1), is_lasting=False)
    store.keep(f"ab2{WORK_ENDING}", packed(2))
    assert flushed == []
    store.keep("ab3", packed(3))
    assert len(flushed) == 2
    assert [store.load(key) for key in ("ab1", f"ab2{WORK_ENDING}", "ab3")] == [1, 2, 3]


def test_a_part_cut_short_or_changed_anywhere_is_not_read(tmp_path: Path) -> None:
    store = PartStore(tmp_path)
    store.keep(KEY, packed(list(range(50))))
    whole = store.path_of(KEY).read_bytes()
    for size in range(len(whole)):
        store.path_of(KEY).write_bytes(whole[:size])
        assert store.data_of(KEY) is None
    for at in range(len(whole)):
        store.path_of(KEY).write_bytes(whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :])
        assert store.data_of(KEY) is None
    store.path_of(KEY).write_bytes(whole)
    assert store.load(KEY) == list(range(50))


def test_scraps_and_old_parts_are_cleared_away(tmp_path: Path) -> None:
    store = PartStore(tmp_path)
    other = "cd" * 32
    store.keep(KEY, b"a")
    store.keep(other, b"b")
    store.path_of(KEY).with_name(f".{KEY}.123").write_bytes(b"scrap")
    store.forget_all_but([other])
    assert [path.name for path in tmp_path.glob("*/*")] == [other]


def test_a_disk_that_takes_no_more_is_told_and_leaves_what_was_kept(tmp_path: Path) -> None:
    code = f"""
import resource
from pathlib import Path
from geoplan.errors import ExportError
from geoplan.fleet.store import PartStore
store = PartStore(Path({str(tmp_path)!r}))
store.keep("a" * 64, b"x" * 100)
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
try:
    store.keep("b" * 64, b"x" * 5000)
except ExportError as error:
    print(error)
"""
    pytest.importorskip("resource")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "make room and run the same command again" in done.stdout
    store = PartStore(tmp_path)
    assert store.data_of("a" * 64) == b"x" * 100
    assert [path.name for path in tmp_path.glob("*/*")] == ["a" * 64]


@pytest.mark.skipif(sys.platform == "win32", reason="rights of POSIX")
def test_a_folder_that_others_may_write_to_is_refused(tmp_path: Path) -> None:
    folder = tmp_path / "parts"
    folder.mkdir()
    folder.chmod(0o777)
    with pytest.raises(PlanFileError, match="others may write"):
        PartStore(folder).open()


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(ExportError, match="could not be made"):
        PartStore(tmp_path / "file" / "parts").open()


def test_the_key_of_a_water_body_is_that_of_its_data() -> None:
    body, again = random_site(3).water_bodies[0], random_site(3).water_bodies[0]
    assert fingerprint(body) == fingerprint(again)
    bed = np.array(body.soundings.bed_m)
    bed[-1] = np.nextafter(bed[-1], 99.0)
    moved = replace(body, soundings=replace(body.soundings, bed_m=bed))
    assert fingerprint(moved) != fingerprint(body)
    assert fingerprint(replace(body, max_cover_pct=7.0)) != fingerprint(body)
    assert fingerprint(replace(body, marks=body.marks[:-1])) != fingerprint(body)


def test_no_two_ways_to_say_things_run_together() -> None:
    values = [("ab", "c"), ("a", "bc"), (["a"], "bc"), ("a", ["b", "c"]), (1, 2), (12,), (1.0, 2)]
    values += [(None,), ("None",), (True,), (1,), (np.arange(2),), (np.arange(2.0),), ({"a": 1},)]
    assert len({fingerprint(*value) for value in values}) == len(values)
    with pytest.raises(TypeError):
        fingerprint(object())
