"""The command line on rafts that were tried elsewhere: what changed, what fails, a plan of them."""

import copy
import json
import shutil
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import Geod
from shapely.affinity import rotate, translate

from geoplan.fleet import audit_folder, plan_folder
from tests.sites.test_kept_and_refused import run
from tests.sites.test_whole_runs import digest, two_ponds

HOSTILE = "<script>alert(1)</script>\x1b[31m{{ 7*7 }}"


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The two ponds and their plan."""
    folder = tmp_path_factory.mktemp("ponds")
    site = two_ponds(folder)
    plan_folder(site, folder / "plan", workers=1)
    return site, folder / "plan"


def as_saved(plan: Path) -> dict[str, Any]:
    """The rafts of a plan as GeoJSON in degrees to eight decimals."""
    frame = gpd.read_file(plan / "plan.gpkg", layer="rafts").to_crs("EPSG:4326")
    features = [
        {
            "type": "Feature",
            "properties": {
                "raft_id": row.raft_id,
                "raft_type": row.raft_type,
                "water_id": row.water_id,
                "status": "planned",
            },
            "geometry": {
                "type": "Polygon",
                "coordinates": [np.round(shapely.get_coordinates(row.geometry), 8).tolist()],
            },
        }
        for row in frame.itertuples()
    ]
    return {"type": "FeatureCollection", "features": features}


def shifted(feature: dict[str, Any], east_m: float, north_m: float, turn_deg: float = 0.0) -> None:
    """Move a feature on the ground, by geodesics from its first corner."""
    polygon = shapely.Polygon(feature["geometry"]["coordinates"][0])
    lon, lat = polygon.exterior.coords[0]
    geod = Geod(ellps="WGS84")
    east = geod.fwd(lon, lat, 90.0, east_m)[0] - lon
    north = geod.fwd(lon, lat, 0.0, north_m)[1] - lat
    if turn_deg:
        # A degree east over one north, by the radii of curvature of WGS 84.
        e2, s2 = 0.00669437999014, np.sin(np.radians(lat)) ** 2
        squeeze = np.cos(np.radians(lat)) * (1 - e2 * s2) / (1 - e2)
        plane = shapely.transform(polygon, lambda p: p * (squeeze, 1.0))
        plane = rotate(plane, -turn_deg)
        polygon = shapely.transform(plane, lambda p: p / (squeeze, 1.0))
    moved = translate(polygon, east, north)
    feature["geometry"]["coordinates"] = [shapely.get_coordinates(moved).tolist()]


def write(folder: Path, document: Any) -> Path:
    path = folder / "edited.geojson"
    path.write_text(document if isinstance(document, str) else json.dumps(document), "utf-8")
    return path


def test_untouched_rafts_are_judged_as_the_plan_was(
    planned: tuple[Path, Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    _, plan = planned
    rafts = write(tmp_path, as_saved(plan))
    assert run(monkeypatch, "audit", plan, "--rafts", rafts) == 0
    said = capsys.readouterr().out
    assert "5 rafts; 5 lie where they were planned" in said
    assert "audit: passed" in said
    assert "moved" not in said
    # So is the plan's own file, in which someone may have moved rafts in a GIS.
    assert run(monkeypatch, "audit", plan, "--rafts", plan / "plan.gpkg") == 0
    assert "5 rafts; 5 lie where they were planned" in capsys.readouterr().out


def test_moved_added_and_removed_are_told_with_the_amount(
    planned: tuple[Path, Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    _, plan = planned
    document = as_saved(plan)
    gone = document["features"].pop(0)["properties"]["raft_id"]
    moved, turned, copied = document["features"][:3]
    # What a file says of itself is not believed: it says planned, and lies elsewhere.
    shifted(moved, 0.3, 0.4)
    shifted(turned, 0.0, 0.0, 30.0)
    more = copy.deepcopy(copied)
    more["properties"] |= {"raft_id": HOSTILE, "status": "planned"}
    document["features"].append(more)
    assert run(monkeypatch, "audit", plan, "--rafts", write(tmp_path, document)) == 1
    said = capsys.readouterr().out
    assert f"moved {moved['properties']['raft_id']}" in said
    assert "0.50 m towards 37°" in said  # 3-4-5 triangle, atan(3/4)
    assert f"moved {turned['properties']['raft_id']}" in said
    assert "turned 30.0° right" in said
    assert f"removed {gone}" in said
    assert "added <script>" in said
    assert "\x1b" not in said
    assert "audit: FAILED" in said
    assert "  gap " in said  # two in the same place
    assert "5 rafts; 2 lie where they were planned" in said


def test_a_raft_aground_is_told_and_nothing_is_written(
    planned: tuple[Path, Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    _, plan = planned
    document = as_saved(plan)
    shifted(document["features"][0], 0.0, 60.0)  # the pond is 44 m from south to north
    rafts, out = write(tmp_path, document), tmp_path / "new"
    assert run(monkeypatch, "audit", plan, "--rafts", rafts, "-o", out) == 1
    said = capsys.readouterr().out
    name = document["features"][0]["properties"]["raft_id"]
    assert f"  water {name}" in said
    assert "nothing was written" in said
    assert not out.exists()


def test_a_whole_plan_is_written_of_exactly_these_rafts(
    planned: tuple[Path, Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    site, plan = planned
    document = as_saved(plan)
    document["features"] = document["features"][:3]
    shifted(document["features"][0], 0.25, 0.0)
    rafts = write(tmp_path, document)
    for name in ("one", "two"):
        code = run(monkeypatch, "audit", plan, "--rafts", rafts, "-o", tmp_path / name)
        said = capsys.readouterr().out
        assert code == 0, said
    assert digest(tmp_path / "one") == digest(tmp_path / "two")
    frame = gpd.read_file(tmp_path / "one" / "plan.gpkg", layer="rafts")
    assert len(frame) == 3
    assert frame.is_kept.all()
    wanted = [shapely.Polygon(f["geometry"]["coordinates"][0]) for f in document["features"]]
    wanted = gpd.GeoSeries(wanted, crs="EPSG:4326").to_crs(frame.crs)
    for outline in frame.geometry:
        off = min(shapely.hausdorff_distance(outline, other) for other in wanted)
        assert off < 3e-3
    assert len(gpd.read_file(tmp_path / "one" / "plan.gpkg", layer="moorings")) == 12
    assert set(digest(plan)) <= set(digest(tmp_path / "one"))  # every file that a plan has
    assert audit_folder(tmp_path / "one", site).passed
    record = json.loads((tmp_path / "one" / "plan.json").read_text("utf-8"))
    assert record["kept_from"]["path"] == "edited.geojson"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"raft_type": HOSTILE}, "raft type"),
        ({"geometry": {"type": "Point", "coordinates": [9.3, 56.1]}}, "no simple polygon"),
        ({"geometry": None}, "no simple polygon"),
        (
            {
                "geometry": {
                    "type": "Polygon",
                    "coordinates": [
                        [
                            [9.3002, 56.1002],
                            [9.30024, 56.10022],
                            [9.30024, 56.1002],
                            [9.3002, 56.10022],
                            [9.3002, 56.1002],
                        ]
                    ],
                }
            },
            "no simple polygon",
        ),
        (
            {"geometry": {"type": "Polygon", "coordinates": [[[float("nan"), 56.1]] * 5]}},
            "edited.geojson",
        ),
        (
            {"geometry": {"type": "Polygon", "coordinates": [[["9", {}], [1e300, 2], [], 4]]}},
            "edited.geojson",
        ),
    ],
)
def test_what_is_no_raft_is_refused_in_words(
    change: dict[str, Any],
    words: str,
    planned: tuple[Path, Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    _, plan = planned
    document = as_saved(plan)
    feature = document["features"][1]
    if "raft_type" in change:
        feature["properties"] |= change
    else:
        feature |= change
    rafts, out = write(tmp_path, document), tmp_path / "new"
    assert run(monkeypatch, "audit", plan, "--rafts", rafts, "-o", out) == 2
    told = capsys.readouterr()
    assert words in told.out
    assert "Traceback" not in told.out + told.err
    assert "\x1b" not in told.out
    assert not out.exists()


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"type":"FeatureCollection"}'])
def test_files_that_hold_no_rafts_are_refused_in_words(
    text: str,
    planned: tuple[Path, Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(monkeypatch, "audit", planned[1], "--rafts", write(tmp_path, text)) == 2
    assert "edited.geojson" in capsys.readouterr().out


def test_a_place_without_numbers_in_the_plan_is_no_place_to_compare_with(
    planned: tuple[Path, Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Someone broke the plan's own file: the rafts that were tried are judged all the same."""
    site, plan = planned
    rafts = write(tmp_path, as_saved(plan))
    broken = tmp_path / "plan"
    shutil.copytree(plan, broken)
    frame = gpd.read_file(broken / "plan.gpkg", layer="rafts")
    corners = shapely.get_coordinates(frame.geometry.iloc[0])
    corners[1] = (1e300, 1e300)
    frame.loc[0, "geometry"] = shapely.Polygon(corners)
    frame.to_file(broken / "plan.gpkg", layer="rafts")
    assert run(monkeypatch, "audit", broken, "--rafts", rafts, "--site", site) == 0
    said = capsys.readouterr().out
    assert "5 rafts; 4 lie where they were planned" in said
    assert "audit: passed" in said


def test_every_raft_may_not_be_taken_out_and_no_file_is_no_plan(
    planned: tuple[Path, Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    none = {"type": "FeatureCollection", "features": []}
    assert run(monkeypatch, "audit", planned[1], "--rafts", write(tmp_path, none)) == 2
    assert "no raft" in capsys.readouterr().out
    assert run(monkeypatch, "audit", planned[1], "-o", tmp_path / "new") == 2
    assert "--rafts" in capsys.readouterr().out
    assert run(monkeypatch, "audit", planned[1], "--rafts", tmp_path / "nothing.geojson") == 2
    assert "nothing.geojson" in capsys.readouterr().out
