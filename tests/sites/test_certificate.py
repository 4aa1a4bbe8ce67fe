"""A certificate proves its bound again from the files alone; a tampered one does not."""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import shapely

from geoplan.fleet import plan_folder
from tests.certificate_checker import Files, added_up, faults, read
from tests.sites.test_whole_runs import two_ponds


def small_pond(folder: Path, stock: int) -> Path:
    """One pond of 25 by 24 m, from the first of two, with a stock of its own."""
    record = json.loads(two_ponds(folder).read_text(encoding="utf-8"))
    record["site"]["raft"][0]["stock"] = stock
    record["site"]["cover"] = {"max_pct": 50.0}
    kept = []
    for feature in record["features"]:
        at = feature["geometry"]["coordinates"]
        first = at[0][0] if feature["geometry"]["type"] == "Polygon" else at
        if first[0] > 9.302:
            continue
        feature["geometry"]["coordinates"] = json.loads(json.dumps(at), parse_float=float)
        kept.append(feature)
    record["features"] = [_shrunk(feature) for feature in kept]
    path = folder / f"pond{stock}.geojson"
    path.write_text(json.dumps(record), encoding="utf-8")
    return path


def _shrunk(feature: dict[str, Any]) -> dict[str, Any]:
    """A feature drawn towards the corner of the pond, to 0.57 times its size."""

    def moved(at: Any) -> Any:
        if isinstance(at[0], list):
            return [moved(part) for part in at]
        return [9.3 + (at[0] - 9.3) * 0.57, 56.1 + (at[1] - 56.1) * 0.57]

    shape = feature["geometry"]
    return feature | {"geometry": shape | {"coordinates": moved(shape["coordinates"])}}


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> dict[int, Path]:
    folder = tmp_path_factory.mktemp("certificate")
    for stock in (4, 20):
        plan_folder(small_pond(folder, stock), folder / f"plan{stock}", workers=1)
    return {stock: folder / f"plan{stock}" for stock in (4, 20)}


@pytest.mark.parametrize("stock", [4, 20])
def test_bound_is_proven_again_from_the_files(folders: dict[int, Path], stock: int) -> None:
    files = read(folders[stock])
    assert files.value > 0
    assert faults(files) == []
    assert files.bound == pytest.approx(max(files.value, files.said["proven"]), rel=1e-9)


def lower_prices(files: Files) -> Files:
    """Every price a tenth lower, and all sums made to agree, as a skilled forger would."""
    said = json.loads(json.dumps(files.said))
    for part in (*said["limits"], *said["rooms"]):
        part["price"] *= 0.9
    said["raft_prices"] = [0.9 * price for price in said["raft_prices"]]
    return replace(files, said=said | {"proven": added_up(said)}, value=0.0)


def lower_field(files: Files) -> Files:
    """The field a tenth lower, and all sums made to agree."""
    said = files.said | {"field_integral": 0.9 * files.said["field_integral"]}
    said |= {"proven": added_up(said)}
    return replace(files, field=0.9 * files.field, said=said, value=0.0)


def without_margin(files: Files) -> Files:
    """What a raft may lack left out of the sum."""
    return replace(files, said=files.said | {"margin": 0.0})


def fewer_rafts(files: Files) -> Files:
    """The margin counted for one raft, and all sums made to agree."""
    said = files.said | {"most_rafts": 1}
    return replace(files, said=said | {"proven": added_up(said)}, value=0.0)


def lower_bound(files: Files) -> Files:
    """A printed bound below what is proven."""
    return replace(files, bound=0.99 * files.bound)


def less_field(files: Files) -> Files:
    """A smaller integral than the field has."""
    said = files.said | {"field_integral": 0.9 * files.said["field_integral"]}
    return replace(files, said=said | {"proven": added_up(said)}, value=0.0)


def less_room(files: Files) -> Files:
    """Room of which rafts are said to have half alone."""
    west, south, _, north = files.room.bounds
    half = shapely.box(west, south, files.room.centroid.x, north)
    return replace(files, rooms=tuple(shapely.intersection(one, half) for one in files.rooms))


@pytest.mark.parametrize(
    ("tampered", "word"),
    [
        (less_room, "are no type's"),
        (lower_prices, "lacks"),
        (lower_field, "lacks"),
        (without_margin, "add up"),
        (fewer_rafts, "more rafts may fit"),
        (lower_bound, "printed bound"),
        (less_field, "the field holds"),
    ],
)
def test_tampered_certificate_is_rejected(
    folders: dict[int, Path], tampered: Callable[[Files], Files], word: str
) -> None:
    files = read(folders[20])
    assert files.said["margin"] > 0
    assert any(word in fault for fault in faults(tampered(files)))


def test_types_with_rooms_of_their_own_are_each_held_to_their_own(tmp_path: Path) -> None:
    """A long type with deep roots has less room than a small one; both pay where they may lie."""
    record = json.loads(small_pond(tmp_path, 4).read_text(encoding="utf-8"))
    first = record["site"]["raft"][0]
    deeper = {"name": "deep", "length_m": 5.0, "width_m": 2.0, "root_depth_m": 0.9, "stock": 3}
    record["site"]["raft"].append({**first, **deeper})
    path = tmp_path / "types.geojson"
    path.write_text(json.dumps(record), encoding="utf-8")
    plan_folder(path, tmp_path / "types", workers=1)
    files = read(tmp_path / "types")
    assert files.rooms[1].area < 0.95 * files.rooms[0].area
    assert faults(files) == []


def test_several_waters_have_a_file_each_and_the_same_bytes(tmp_path: Path) -> None:
    site = two_ponds(tmp_path)
    for name in ("one", "two"):
        plan_folder(site, tmp_path / name, workers=1)
    tifs = [sorted((tmp_path / name / "certificates").glob("*.tif")) for name in ("one", "two")]
    assert [path.name for path in tifs[0]] == ["1.tif", "2.tif"]
    assert [p.read_bytes() for p in tifs[0]] == [p.read_bytes() for p in tifs[1]]
    assert all(not faults(read(tmp_path / "one", number)) for number in (0, 1))


def test_area_bound_alone_is_proven_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a price field, as many as fit: rafts pay for what their corners leave too."""
    monkeypatch.setattr("geoplan.placement.proof.price_field", lambda *_: None)
    plan_folder(small_pond(tmp_path, 40), tmp_path / "full", workers=1)
    files = read(tmp_path / "full")
    assert files.said["basis"] == "area bound"
    assert faults(files) == []
    assert any("lacks" in fault for fault in faults(lower_field(files)))
