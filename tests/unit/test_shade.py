"""Two ways to count the sun, the planner's and the audit's, agree on gardens of random trees."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from geoplan.audit import sun as audit_sun
from geoplan.audit.evidence import case_of
from geoplan.grid import water_grid
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
def test_planner_and_audit_count_the_same_sun(seed: int) -> None:
    site = honest_site()
    body = replace(site.water_bodies[0], shade=garden(seed))
    site = replace(site, water_bodies=(body,))
    grid = water_grid(body.outline, 0.5)
    field = sun_field(body, site.settings, grid)
    raft = footprints([0.0], [0.0], [90.0], [4.0], [2.4])[0]
    row = WrittenRaft("R1", body.water_id, site.settings.raft[0].name, "planned", raft, 4, 2.4, 1)
    written = WrittenPlan(body.crs, (row,), (), (), ())
    finding = next(iter(audit_sun.check_sun(case_of(written, site))))
    corners = shapely.get_coordinates(raft)
    cols = np.floor((corners[:, 0] - grid.west_m) / 0.5).astype(int)
    rows = np.floor((corners[:, 1] - grid.south_m) / 0.5).astype(int)
    assert finding.measured == pytest.approx(field[rows, cols].min(), abs=0.2)
    assert 2.0 < finding.measured < 13.0


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
