"""Large sites are read piece by piece and group by group: the same site comes of it."""

from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

from geoplan.errors import ExportError
from geoplan.fleet.fingerprint import fingerprint
from geoplan.readers import belonging, check_site, shelf, tables, vector
from geoplan.readers.belonging import Reach
from geoplan.readers.layer import Layer, object_array
from geoplan.readers.points import Points
from geoplan.readers.shelf import Rows, Shelf
from tests.benchmarks.districts import Recipe, write_district
from tests.unit.readers.sites import CRS


def as_tables(folder: Path) -> None:
    """Leave a district as its generator writes it: GeoJSON, and soundings as a table."""


def as_geopackage(folder: Path) -> None:
    """Put all layers of a district into one GeoPackage."""
    for path in folder.glob("*.geojson"):
        gpd.read_file(path).to_file(folder / "site.gpkg", layer=path.stem)
        path.unlink()
    rows = np.genfromtxt(folder / "soundings.csv", delimiter=",", names=True)
    points = gpd.points_from_xy(rows["easting_m"], rows["northing_m"], crs=CRS)
    frame = gpd.GeoDataFrame({"depth_m": rows["depth_m"]}, geometry=points)
    frame.to_file(folder / "site.gpkg", layer="soundings")
    (folder / "soundings.csv").unlink()


@pytest.mark.parametrize("form", [as_tables, as_geopackage])
def test_pieces_and_groups_give_the_site_that_is_read_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, form: Callable[[Path], None]
) -> None:
    folder = write_district(Recipe(14, seed=5), tmp_path / "site")
    form(folder)
    whole = check_site(folder)
    for module in (tables, vector, belonging):
        monkeypatch.setattr(module, "AT_A_TIME", 7)
    monkeypatch.setattr(shelf.Shelf.__init__, "__defaults__", (3,))
    parts = check_site(folder)
    assert whole.site is not None
    assert parts.site is not None
    pairs = zip(whole.site.water_bodies, parts.site.water_bodies, strict=True)
    assert all(fingerprint(one) == fingerprint(other) for one, other in pairs)
    assert len(whole.site.water_bodies) == 14
    assert parts.summary == whole.summary
    assert parts.site.sources == whole.site.sources


def test_every_fault_is_found_once_however_it_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = write_district(Recipe(8, seed=2, unsounded=0.0, no_inflow=0.0), tmp_path / "site")
    rows = (folder / "soundings.csv").read_text().splitlines()
    rows[5] = rows[5].rsplit(",", 1)[0] + ",1 5"  # a depth that is none
    rows[40] += ",9"  # a cell too many
    rows.append("1,2,1.0")  # far from everything
    (folder / "soundings.csv").write_text("\n".join(rows))
    inflows = gpd.read_file(folder / "inflows.geojson")
    inflows.loc[len(inflows) - 1, "inflow_id"] = inflows.loc[0, "inflow_id"]
    inflows.to_file(folder / "inflows.gpkg")
    (folder / "inflows.geojson").unlink()
    whole = {str(fault) for fault in check_site(folder).faults}
    for module in (tables, vector, belonging):
        monkeypatch.setattr(module, "AT_A_TIME", 5)
    monkeypatch.setattr(shelf.Shelf.__init__, "__defaults__", (3,))
    parts = [str(fault) for fault in check_site(folder).faults]
    assert set(parts) == whole
    assert len(parts) == len(whole)
    for words in ("'1 5'", "4 cells", "far from all others", "has too"):
        assert sum(words in text for text in whole) == 1, words


def piece(first: int) -> Layer:
    """Two points of a layer."""
    points = Points(np.array([[first, 0.0], [first + 1.0, 0.0]]))
    rows = np.array([first + 1, first + 2])
    return Layer("soundings", "soundings.csv", None, points, {"depth_m": [1.0, 2.0]}, rows)


def test_a_row_lies_with_every_group_that_it_belongs_to_and_no_other() -> None:
    with Shelf(6, in_group=2) as rows:
        # Row 1 belongs to the first group, row 2 to the first and the third.
        reach = Reach(np.array([0, 1, 1]), np.array([1, 0, 5]), np.zeros(3))
        rows.lay(Rows(piece(0), CRS, reach), 2)
        rows.lay(Rows(piece(2), CRS, Reach(np.array([1]), np.array([4]), np.ones(1))), 0)
        first, second, third = (rows.taken("soundings", group) for group in rows.groups())
        assert first is not None
        assert third is not None
        assert first.layer.rows.tolist() == [1, 2]
        assert first.reach.water.tolist() == [1, 0]
        assert second is None
        assert third.layer.rows.tolist() == [2, 4]
        assert third.reach.feature.tolist() == [0, 1]
        assert third.reach.distance_m.tolist() == [0.0, 1.0]
        assert shapely.get_x(np.asarray(third.layer.geometries)).tolist() == [1.0, 3.0]
        assert rows.is_any_in_reach("soundings")
        assert rows.taken("soundings", next(rows.groups())) is None


def test_a_full_disk_is_told_with_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    lines = Layer("contours", "a", CRS, object_array([shapely.box(0, 0, 1, 1)]), {}, np.array([1]))
    monkeypatch.setattr(shelf.pickle, "dump", full)
    with Shelf(6, in_group=2) as rows, pytest.raises(ExportError, match="TMPDIR"):
        rows.lay(Rows(lines, CRS, Reach(np.array([0]), np.array([0]), np.zeros(1))), 1)
