"""Two ways to count the sun, the planner's and the audit's, agree on gardens of random trees."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from scipy import ndimage

from geoplan.audit import sun as audit_sun
from geoplan.audit.evidence import case_of
from geoplan.grid import water_grid
from geoplan.placement.rules import SUN_ROOM_H
from geoplan.raft import footprints
from geoplan.shade import sun_field
from geoplan.site import ShadeObject
from geoplan.written import WrittenPlan, WrittenRaft
from tests.audit_faults.pond import honest_site


def garden(seed: int) -> tuple[ShadeObject, ...]:
    rng = np.random.default_rng(seed)
    trees = tuple(
        ShadeObject(
            shapely.Point(*(rng.uniform(12, 30) * np.array([np.sin(a), np.cos(a)]))),
            float(rng.uniform(5, 14)),
            float(rng.uniform(1.5, 4)),
            bool(rng.random() < 0.5),
            float(rng.uniform(0, 2.5)),
        )
        for a in rng.uniform(0, 2 * np.pi, 14)
    )
    house = ShadeObject(shapely.box(-6, -24, 6, -18), float(rng.uniform(5, 12)))
    return (*trees, house)


@pytest.mark.parametrize("seed", range(4))
def test_audit_finds_no_less_sun_anywhere_in_a_cell(seed: int) -> None:
    """Nor more than in the cells round it: the second count is the audit's, at points."""
    site = honest_site()
    body = replace(site.water_bodies[0], shade=garden(seed))
    site = replace(site, water_bodies=(body,))
    grid = water_grid(body.outline, 0.5)
    field = sun_field(body, site.settings, grid)
    most = ndimage.maximum_filter(field, size=7)
    rng = np.random.default_rng(seed)
    away, bearing, heading = rng.uniform([[0.0], [0.0], [0.0]], [[12.0], [360.0], [360.0]], (3, 12))
    east, north = away * np.sin(np.radians(bearing)), away * np.cos(np.radians(bearing))
    rafts = footprints(east, north, heading, [4.0] * 12, [2.4] * 12)
    row = WrittenRaft("R1", body.water_id, "", "planned", rafts[0], 4, 2.4, 1)
    written = WrittenPlan(body.crs, (row,), (), (), ())
    (evidence,) = case_of(written, site).waters
    for raft in rafts:
        row, col = grid.cells_of(*shapely.get_coordinates(raft)[:-1].T)
        hours = audit_sun.sun_hours(evidence, raft)[:-1]
        assert (hours > 1.0).any()
        assert (hours >= field[row, col] - SUN_ROOM_H).all()
        assert (hours <= most[row, col] + SUN_ROOM_H).all()


@pytest.mark.parametrize("cell_m", [0.25, 0.5, 2.0])
def test_no_sun_is_promised_under_the_rim_of_a_crown(cell_m: float) -> None:
    """Evergreen, so a place under it has none at all; every cell that it reaches into is dark."""
    site = honest_site()
    body = site.water_bodies[0]
    crown = shapely.Point(3.3, 4.1).buffer(3.7, quad_segs=64)
    tree = ShadeObject(shapely.Point(3.3, 4.1), 12.0, 3.7, deciduous=False)
    grid = water_grid(body.outline, cell_m)
    field = sun_field(replace(body, shade=(tree,)), site.settings, grid)
    east, north = np.meshgrid(grid.easting_m, grid.northing_m)
    half_m = cell_m / 2
    cells = shapely.box(east - half_m, north - half_m, east + half_m, north + half_m)
    touched = shapely.intersects(cells, crown)
    assert touched.any()
    assert field[touched].max() == pytest.approx(0.0, abs=1e-6)
    assert field.max() > 10.0


def test_leaves_shade_more_than_bare_crowns() -> None:
    site = honest_site()
    body = site.water_bodies[0]
    grid = water_grid(body.outline, 2.0)
    tree = ShadeObject(shapely.Point(0, -21), 14.0, 4.0, deciduous=True)
    body = replace(body, shade=(tree,))
    fields = []
    for leaf in (("01-01", "12-31"), ("06-01", "06-02")):
        sun = site.settings.sun.model_copy(update={"leaf": leaf})
        settings = site.settings.model_copy(update={"sun": sun})
        fields.append(sun_field(body, settings, grid))
    assert (fields[1] >= fields[0] - 1e-9).all()
    assert fields[1].sum() > fields[0].sum()
