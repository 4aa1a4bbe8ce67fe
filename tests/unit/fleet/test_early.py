"""Files written while water bodies are planned have the bytes of those written afterwards."""

import shutil
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from geoplan.errors import ExportError
from geoplan.exports import gis_files, material_sheet
from geoplan.fleet import Crew, plan_folder, planning
from geoplan.fleet.early import EarlyFiles, early_files
from geoplan.fleet.folder import parts_of
from geoplan.fleet.running import Task
from geoplan.fleet.store import PartStore
from geoplan.plan import Plan, WaterPlan
from geoplan.readers import read_site
from tests.benchmarks.districts import complete, write_district
from tests.sites.test_whole_runs import digest
from tests.unit.fleet import jobs

PONDS = 35


@dataclass(frozen=True)
class District:
    """A district, its plan whose files were written early, and what was written when."""

    site: Path
    out: Path
    made_early: list[set[str]]

    @property
    def plans(self) -> dict[str, Path]:
        """The finished plan of each water body, as it lies in the store."""
        store = parts_of(self.out)
        every = {path: store.load(path.name) for path in sorted(store.folder.glob("*/*"))}
        return {part.water_id: path for path, part in every.items() if isinstance(part, WaterPlan)}


def watched(patch: pytest.MonkeyPatch) -> list[set[str]]:
    """For each plan begun, the files that were written early when that was settled."""
    told: list[set[str]] = []
    real = EarlyFiles.has_all

    def has_all(early: EarlyFiles) -> bool:
        is_whole = real(early)
        there = {path.name for path in early._folder.iterdir()}
        told.append(there if is_whole else set())
        return is_whole

    patch.setattr(EarlyFiles, "has_all", has_all)
    return told


@pytest.fixture(scope="module")
def district(tmp_path_factory: pytest.TempPathFactory) -> Iterator[District]:
    """Tiny ponds, planned by two workers."""
    folder = tmp_path_factory.mktemp("early")
    site = write_district(replace(complete(PONDS, 3), area_m2=60.0), folder / "site")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(planning, "_MOST_PROVEN", 1)  # bounds take longest, and matter nothing here
        patch.setattr(gis_files, "_BATCH", 10)
        told = watched(patch)
        assert plan_folder(site, folder / "plan", workers=2).audit.passed
        yield District(site, folder / "plan", told)


def begun_again(district: District, out: Path, *lost: str) -> Path:
    """A place for the same plan, with all that is finished but some plans."""
    store = parts_of(out)
    shutil.copytree(parts_of(district.out).folder, store.folder)
    for water_id in lost:
        store.path_of(district.plans[water_id].name).unlink()
    return out


def same(one: Path, other: Path) -> bool:
    """Whether two plan folders at the same place are the same, byte for byte."""
    assert one.parent == other.parent
    return digest(one) == digest(other)


def beside(district: District, name: str) -> Path:
    """Another plan folder from which the site is seen alike."""
    return district.out.parent / name


def test_all_but_what_needs_the_whole_is_written_early(district: District) -> None:
    names = {name for name, _ in early_files()}
    assert {"plan.gpkg", "cover.csv", "setting_out.dxf", "inspection.html"} <= names
    assert not names & {"plan.json", "map.html", "district.html", "launch.csv", "logistics.csv"}
    assert district.made_early[0] <= names
    assert len(district.made_early[0]) >= len(names) - 1  # no certificate where none is proven


@pytest.mark.parametrize("workers", [1, 2])
def test_files_written_early_are_those_written_afterwards(
    workers: int, district: District, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = begun_again(district, beside(district, f"afterwards_{workers}"))
    begun = len(district.made_early)
    monkeypatch.setattr(EarlyFiles, "begin", lambda *_: None)
    plan_folder(district.site, out, workers=workers)
    assert same(out, district.out)
    assert len(district.made_early) == begun


@pytest.mark.parametrize("workers", [1, 12])
def test_any_number_of_workers_writes_early(workers: int, district: District) -> None:
    out = begun_again(district, beside(district, f"by_{workers}"), "w00003", "w00030")
    plan_folder(district.site, out, workers=workers)
    assert district.made_early[-1] == district.made_early[0]
    assert same(out, district.out)


def test_workers_that_share_no_disk_write_early(district: District) -> None:
    out = begun_again(district, beside(district, "elsewhere"), "w00003", "w00030")
    with ThreadPoolExecutor(1) as executor:
        plan_folder(district.site, out, crew=Crew(executor=executor))
    assert district.made_early[-1] == district.made_early[0]
    assert same(out, district.out)


def test_a_run_begun_again_writes_the_same(district: District) -> None:
    out = begun_again(district, beside(district, "again"), "w00000", "w00020", "w00034")
    plan_folder(district.site, out, workers=2)
    assert district.made_early[-1] == district.made_early[0]
    assert same(out, district.out)


def test_where_a_water_body_fails_all_is_written_afterwards(
    district: District, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(planning, "planned_water", jobs.planned_but_one)
    folders = []
    for crew in (Crew(2), Crew(1)):
        begun = len(district.made_early)
        out = begun_again(district, beside(district, f"failed_{crew.workers}"), "w00007", "w00008")
        outcome = plan_folder(district.site, out, crew=crew)
        assert [failure.water_id for failure in outcome.plan.failures] == ["w00007"]
        assert len(outcome.plan.waters) == PONDS - 1
        assert len(district.made_early) == begun
        folders.append(out)
    assert same(*folders)
    assert not same(folders[0], district.out)


def test_the_plan_of_record_grows_while_water_bodies_are_planned(
    district: District, tmp_path: Path
) -> None:
    store = parts_of(district.out)
    paths = district.plans
    assert len(paths) == PONDS
    tasks = [Task(paths[name].name, name, 1.0, jobs.square, ()) for name in sorted(paths)]
    site = read_site(district.site)
    whole = (district.out / "plan.gpkg").stat().st_size
    record, sheet = tmp_path / "plan.gpkg", tmp_path / "setting_out.csv"
    with EarlyFiles(site, tmp_path, 1, in_turn=False) as early:
        told = early.begin(Plan(site.settings.name, site.client_crs, ()), tasks, store)
        assert told is not None
        for task in tasks[:30]:
            told(task, "")
        patience = time.monotonic() + 60
        while time.monotonic() < patience and not record.exists():
            time.sleep(0.05)
        sizes = {record.stat().st_size}
        while time.monotonic() < patience and max(sizes) < 0.6 * whole:
            sizes.add(record.stat().st_size)
            time.sleep(0.05)
        assert whole > max(sizes) >= 0.6 * whole
        assert sheet.exists()
        for task in tasks[30:]:
            told(task, "")
        assert early.has_record()
        assert early.has_all()
    assert sheet.read_bytes() == (district.out / "setting_out.csv").read_bytes()


def test_an_error_of_a_file_is_told_and_the_earlier_plan_stands(
    district: District, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = begun_again(district, beside(district, "full"))
    plan_folder(district.site, out, workers=2)
    before = digest(out)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(gis_files, "write", full)
    with pytest.raises(ExportError, match=r"No space left.*make room and run the same"):
        plan_folder(district.site, out, workers=2)
    assert digest(out) == before
    assert not list(out.parent.glob(f".{out.name}.part"))


@pytest.mark.parametrize("module", [gis_files, material_sheet])
def test_what_fails_once_is_written_afterwards(
    module: object, district: District, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Such as a disk on which there is room again."""
    real, calls = module.write, []  # type: ignore[attr-defined]

    def write(plan: Plan, *rest: object) -> None:
        calls.append(0)
        if len(calls) == 1:
            assert plan.waters[3].water_id == "w00003"
            raise OSError(28, "No space left on device")
        real(plan, *rest)

    monkeypatch.setattr(module, "write", write)
    name = module.__name__.rsplit(".", 1)[-1]  # type: ignore[attr-defined]
    out = begun_again(district, beside(district, name))
    plan_folder(district.site, out, workers=2)
    assert same(out, district.out)


def test_an_error_in_planning_leaves_no_scrap(
    district: District, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = begun_again(district, beside(district, "stopped"), "w00030")

    def stop(_store: PartStore, *_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(PartStore, "forget_all_but", stop)
    with pytest.raises(KeyboardInterrupt):
        plan_folder(district.site, out, workers=2)
    assert not out.exists()
    assert not list(out.parent.glob(f".{out.name}.part"))
