"""Rows of both lays: as good as the best of all choices, legal, and no worse than either alone."""

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from geoplan.placement.mixed_rows import lays, pack_lays, packed_mixed
from geoplan.raft import footprints
from tests.unit.placement.test_rows import FLAT, RAFT, pond


def best_of_all(values: list[np.ndarray], price: float, apart: list[int], deep: list[int]) -> float:
    """Every set of places, rows apart by the depth of the lower one, by brute force."""
    rows = []
    for k, value in enumerate(values):
        for s, i in itertools.product(*map(range, value.shape)):
            rows.append((k, s, i, value[s, i] - price))
    best = 0.0
    for n in range(1, 5):
        for chosen in itertools.combinations(rows, n):
            fits = True
            for (k, s, i, _), (m, t, j, _) in itertools.combinations(chosen, 2):
                same_row = k == m and s == t
                apart_in_row = same_row and abs(i - j) >= apart[k]
                above = t - s >= deep[k] or s - t >= deep[m]
                fits &= apart_in_row or above
            if fits:
                best = max(best, sum(part[3] for part in chosen))
    return best


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.floats(0, 0.5))
def test_rows_of_both_lays_are_worth_as_much_as_the_best_choice(seed: int, price: float) -> None:
    rng = np.random.default_rng(seed)
    along, across = (
        np.where(rng.random(size) < 0.7, rng.random(size), -np.inf) for size in ((3, 3), (2, 4))
    )
    # At most four rafts fit: two rows, two rafts in each.
    kind, places = packed_mixed(along, across, price, np.array([2, 3]), np.array([2, 3]))
    value = sum(
        (along, across)[k][s, i] - price for k, (s, i) in zip(kind, places.tolist(), strict=True)
    )
    assert value == pytest.approx(best_of_all([along, across], price, [2, 3], [2, 3]))


@pytest.mark.parametrize("seed", range(4))
def test_rafts_of_both_lays_are_legal_and_no_fewer_than_of_one(seed: int) -> None:
    region = shapely.multipolygons(shapely.get_parts(pond(seed)))
    both = lays(region, FLAT, RAFT, 0.8, 30.0, 0.2, None)
    packed = pack_lays(both, 0.0)
    rafts = np.concatenate(
        [
            footprints(*one.positions(*places.T.astype(float)), one.heading_deg, 3.0, 1.6)
            for one, places in packed
        ]
    )
    assert shapely.covers(shapely.buffer(region, 1e-6), rafts).all()
    for one, other in itertools.combinations(rafts, 2):
        assert shapely.distance(one, other) >= 0.8 - 1e-9
    assert len(rafts) >= max(len(pack_lays((one,), 0.0)[0][1]) for one in both)
