"""Cover of a written plan, taken from its file by other libraries, on random plans."""

from dataclasses import replace
from pathlib import Path

import fiona
import numpy as np
import pytest
import shapely
from pyproj import Geod, Transformer
from shapely.geometry import shape

from geoplan.cover import surface_cover
from geoplan.exports import gis_files
from geoplan.exports.outlines import raft_outlines
from tests.unit.exports import small_plan as small

PLANS = 25


def geodesic_m2(geometry: shapely.Geometry, crs: str) -> float:
    """GeographicLib's area of a geometry, each vertex brought to WGS 84."""
    move = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    total = 0.0
    for part in shapely.get_parts(geometry):
        for ring, sign in ((part.exterior, 1), *((hole, -1) for hole in part.interiors)):
            longitude, latitude = move.transform(*np.array(ring.coords)[:, :2].T)
            area, _ = Geod(ellps="WGS84").polygon_area_perimeter(longitude, latitude)
            total += sign * abs(area)
    return total


@pytest.mark.parametrize("seed", range(PLANS))
def test_it_is_that_of_fiona_and_geographiclib(seed: int, tmp_path: Path) -> None:
    random = np.random.default_rng(seed)
    plan, site = small.plan(), small.site()
    waters = []
    for water in plan.waters:
        rafts = tuple(
            raft
            if raft.status == "existing"
            else replace(
                raft,
                easting_m=raft.easting_m + random.uniform(-3, 3),
                northing_m=raft.northing_m + random.uniform(-3, 3),
                heading_deg=random.uniform(0, 180),
            )
            for raft in water.rafts
        )
        moved = replace(water, rafts=rafts)
        outlines = raft_outlines(moved, site)
        waters.append(replace(moved, cover=surface_cover(moved.edges, outlines, moved.crs)))
    gis_files.write(replace(plan, waters=tuple(waters)), site, tmp_path, None)
    with fiona.open(tmp_path / "plan.gpkg", layer="rafts") as source:
        crs = source.crs.to_wkt()
        outlines = [(row.properties["water_id"], shape(row.geometry)) for row in source]
    with fiona.open(tmp_path / "plan.gpkg", layer="water_edges") as source:
        edges = [(dict(row.properties), shape(row.geometry)) for row in source]
    assert len(edges) == 6
    for row, edge in edges:
        own = shapely.union_all([one for name, one in outlines if name == row["water_id"]])
        pct = 100 * geodesic_m2(own, crs) / geodesic_m2(edge, crs)
        # Rounding of the algorithm itself is some 1e-5 m² of a ring, here of ten square metres.
        assert row["cover_pct"] == pytest.approx(pct, rel=5e-6)
