"""Bridged rows: counts in closed form, legal, worth what they say and no less than rows."""

import itertools

import numpy as np
import pytest
import shapely

from geoplan.placement.bridged_rows import band_rows
from geoplan.placement.mixed_rows import lays, pack_bridged, pack_lays, worth_of
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType, footprints
from tests.unit.placement.test_rows import FLAT, RAFT, pond

FOUR = RaftType(name="four by two", length_m=4.0, width_m=2.4, draft_m=0.2, planted_share=1.0)


def count_in_box(length_m: float, height_m: float) -> tuple[int, int]:
    """Rafts of rows alone and of bridged rows in a box, a gap of a metre between them."""
    even = WorthSurface(-5.0, -5.0, 1.0, np.ones((60, 60)))
    both = lays(shapely.box(0, 0, length_m, height_m), even, FOUR, 1.0, 0.0, 0.2, None)
    rows, bridged = pack_lays(both, 0.0), pack_bridged(both, 0.0)
    return sum(len(p) for _, p in rows), sum(len(p) for _, p in bridged)


@pytest.mark.parametrize(
    ("along", "columns"), [(1, 1), (2, 1), (1, 2), (3, 2), (1, 4), (5, 3), (2, 4)]
)
def test_a_bridge_fills_what_whole_rows_leave(along: int, columns: int) -> None:
    # With its gap a raft is 5 by 3.4 m: three rows along are 10.2 m deep, two across 10 m.
    length_m = 5.0 * along + 3.4 * columns
    alone = max(3 * int(length_m / 5.0), 2 * int(length_m / 3.4))
    rows, bridged = count_in_box(length_m - 1.0, 10.2 - 1.0)
    assert rows == alone
    assert bridged == max(alone, 3 * along + 2 * columns)


def test_bands_are_about_as_deep_in_either_lay() -> None:
    for first, second in itertools.product(range(8, 40), repeat=2):
        found = band_rows((first, second))
        if found is not None:
            deep = sorted((found[0] * first, found[1] * second))
            assert deep[0] >= 0.95 * deep[1]
    assert band_rows((10, 100)) is None


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("price", [0.0, 3.0])
def test_bridged_rows_are_legal_and_worth_no_less_than_rows(seed: int, price: float) -> None:
    region = shapely.multipolygons(shapely.get_parts(pond(seed)))
    rng = np.random.default_rng(seed)
    worth = WorthSurface(FLAT.west_m, FLAT.south_m, FLAT.cell_size_m, rng.random(FLAT.nodes.shape))
    both = lays(region, worth, RAFT, 0.8, 17.0 * seed, 0.2, None)
    packed = pack_bridged(both, price)
    rafts = np.concatenate(
        [
            footprints(*one.positions(*places.T.astype(float)), one.heading_deg, 3.0, 1.6)
            for one, places in packed
        ]
    )
    assert shapely.covers(shapely.buffer(region, 1e-6), rafts).all()
    for one, other in itertools.combinations(rafts, 2):
        assert shapely.distance(one, other) >= 0.8 - 1e-9
    assert worth_of(packed, price) >= worth_of(pack_lays(both, price), price) - 1e-9
