"""Water bodies of a large district lie on disk, and each piece of work reads its own."""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import shapely

from geoplan.audit.evidence import counted_case
from geoplan.audit.pieces import pieces
from geoplan.errors import PlanFileError
from geoplan.fleet import kept
from geoplan.fleet.fingerprint import fingerprint
from geoplan.fleet.kept import Kept, handed, laid_down
from geoplan.fleet.running import Crew, Task, run_all
from geoplan.fleet.store import PartStore
from geoplan.site import Site, WaterBody, names_of
from geoplan.written import WrittenPlan
from tests.laws.test_load_benefit import basin, settings
from tests.unit.fleet import jobs


@pytest.fixture
def store(tmp_path: Path) -> PartStore:
    return PartStore(tmp_path / "parts")


def ponds(count: int) -> tuple[WaterBody, ...]:
    return tuple(replace(basin(), water_id=f"w{k}") for k in range(count))


def no_rows() -> WrittenPlan:
    parts = {part.name: () for part in fields(WrittenPlan) if part.name != "crs"}
    return WrittenPlan(crs="EPSG:25832", **parts)


def few_held(monkeypatch: pytest.MonkeyPatch, store: PartStore, count: int) -> Sequence[WaterBody]:
    monkeypatch.setattr(kept, "MOST_HELD", 3)
    return laid_down(store)(iter(ponds(count)))


def test_few_water_bodies_stay_in_memory(store: PartStore, monkeypatch: pytest.MonkeyPatch) -> None:
    assert isinstance(few_held(monkeypatch, store, 3), tuple)
    assert not store.folder.exists()


def test_many_are_read_from_disk_as_they_were(
    store: PartStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    many = few_held(monkeypatch, store, 5)
    assert isinstance(many, Kept)
    assert [fingerprint(body) for body in many] == [fingerprint(body) for body in ponds(5)]
    assert [one.key for one in handed(many)] == [one.key for one in handed(ponds(5))]
    assert [body.water_id for body in many[1:3]] == ["w1", "w2"]


def test_a_look_up_by_name_reads_that_one_alone(
    store: PartStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    many = few_held(monkeypatch, store, 5)
    assert isinstance(many, Kept)
    for key in many.keys[:4]:
        store.path_of(key).unlink()
    by_id = Site(settings(), "EPSG:25832", many).by_id
    assert list(by_id) == ["w0", "w1", "w2", "w3", "w4"]
    assert by_id["w4"].water_id == "w4"
    with pytest.raises(PlanFileError, match="run the same command again"):
        by_id["w0"]


def test_a_plan_is_parted_without_reading_a_water_body(
    store: PartStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    many = few_held(monkeypatch, store, 5)
    assert isinstance(many, Kept)
    for key in many.keys:
        store.path_of(key).unlink()
    parted = list(pieces(no_rows(), Site(settings(), "EPSG:25832", many), 2))
    assert [names_of(site.water_bodies) for _, site in parted] == [
        [],
        ("w0", "w1"),
        ("w2", "w3"),
        ("w4",),
    ]


def test_what_is_counted_keeps_the_name_and_the_terms_of_a_water_body() -> None:
    body = basin()
    edge: Any = SimpleNamespace(water_id=body.water_id, level_name="normal")
    case = counted_case(replace(no_rows(), edges=(edge,)), Site(settings(), "EPSG:25832", (body,)))
    (kept_of_it,) = case.waters
    assert (kept_of_it.body.water_id, kept_of_it.body.terms) == (body.water_id, body.terms)
    assert not hasattr(kept_of_it.body, "soundings")


@pytest.mark.parametrize(
    "crew", [Crew(1), Crew(2), Crew(executor=ThreadPoolExecutor(2))], ids=["one", "two", "no disk"]
)
def test_whoever_does_the_work_gets_the_water_body(
    store: PartStore, monkeypatch: pytest.MonkeyPatch, crew: Crew
) -> None:
    work = [
        Task(f"{k:064x}", one.name, 1.0, jobs.area_m2, (one,))
        for k, one in enumerate(handed(few_held(monkeypatch, store, 5)))
    ]
    assert run_all(work, store, crew, "work") == {}
    assert [store.load(task.key) for task in work] == [1600.0] * 5


def test_another_outline_is_another_water_body() -> None:
    first, second = handed((basin(), replace(basin(), outline=shapely.box(0, 0, 40, 41))))
    assert first.key != second.key
