"""Cover of a written plan, taken from its file by other libraries, on random plans."""

from dataclasses import replace
from pathlib import Path

import fiona
import numpy as np
import pytest
import shapely
from pyproj import Transformer
from shapely.geometry import shape

from geoplan.cover import surface_cover
from geoplan.exports import gis_files
from geoplan.exports.outlines import raft_outlines
from tests.unit.exports import small_plan as small

PLANS = 100


def equal_area_m2(geometry: shapely.Geometry, crs: str) -> float:
    """
    Area on the cylindrical equal-area projection of WGS 84, by PROJ: authalic latitudes.

    Sides are cut to a metre first, for straight lines are bent on it.
    """
    move = Transformer.from_crs(crs, "+proj=cea +lat_ts=45 +ellps=WGS84 +units=m", always_xy=True)
    fine = shapely.segmentize(geometry, 1.0)
    return float(shapely.area(shapely.transform(fine, move.transform, interleaved=False)))


@pytest.mark.parametrize("seed", range(PLANS))
def test_it_is_that_of_fiona_on_an_equal_area_projection(seed: int, tmp_path: Path) -> None:
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
        pct = 100 * equal_area_m2(own, crs) / equal_area_m2(edge, crs)
        assert row["cover_pct"] == pytest.approx(pct, rel=1e-6)
