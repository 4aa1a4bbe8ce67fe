"""Packing by rows: legal places are exactly those that lie inside; rows are the best there are."""

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from geoplan.placement.mixed_rows import packed_mixed
from geoplan.placement.rows import frame, turned_edges
from geoplan.placement.search import best_rows
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType, footprints

RAFT = RaftType(name="a", length_m=3.0, width_m=1.6, draft_m=0.2, planted_share=1.0)
FLAT = WorthSurface(-30.0, -30.0, 1.0, np.ones((61, 61)))


def pond(seed: int) -> shapely.Geometry:
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    radius = 8 + 3 * np.cos(2 * angle + rng.random() * 6) + rng.normal(0, 0.7, 40)
    shore = shapely.Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))
    island = shapely.Point(*rng.uniform(-3, 3, 2)).buffer(rng.uniform(0.4, 1.5))
    return shapely.difference(shore.buffer(0), island)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.floats(0, 90), st.booleans())
def test_legal_places_are_those_whose_raft_lies_inside(
    seed: int, turn: float, is_across: bool
) -> None:
    region = shapely.multipolygons(shapely.get_parts(pond(seed)))
    turned = frame(turned_edges(region, turn), FLAT, RAFT, 0.8, turn, is_across=is_across)
    assert turned is not None
    strips, places = np.indices(turned.value.shape)
    east, north = turned.positions(strips.ravel().astype(float), places.ravel().astype(float))
    rafts = footprints(east, north, turned.heading_deg, 3.0, 1.6)
    legal = np.isfinite(turned.value).ravel()
    assert shapely.covers(shapely.buffer(region, 1e-6), rafts[legal]).all()
    assert not shapely.covers(shapely.buffer(region, -1e-6), rafts[~legal]).any()


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.floats(0, 0.6))
def test_rows_are_worth_as_much_as_the_best_of_all_choices(seed: int, price: float) -> None:
    rng = np.random.default_rng(seed)
    value = np.where(rng.random((3, 5)) < 0.8, rng.random((3, 5)), -np.inf)
    twos = np.array([2, 2])
    _, found = packed_mixed(value, np.full((1, 1), -np.inf), price, twos, twos)
    worth = sum(value[s, i] - price for s, i in found)
    best = 0.0
    for rows in ([0], [1], [2], [0, 2]):
        total = 0.0
        for s in rows:
            total += max(
                sum(value[s, i] - price for i in chosen)
                for n in range(4)
                for chosen in itertools.combinations(range(5), n)
                if all(b - a >= 2 for a, b in itertools.pairwise(chosen))
            )
        best = max(best, total)
    assert worth == pytest.approx(best, abs=1e-12)


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 30))
def test_every_raft_lies_inside_and_keeps_the_gap(seed: int, count: int) -> None:
    region = shapely.multipolygons(shapely.get_parts(pond(seed)))
    found = best_rows(region, FLAT, RAFT, 0.8, count).poses
    assert 0 < len(found) <= count
    outlines = found.outlines
    assert shapely.covers(shapely.buffer(region, 1e-6), outlines).all()
    apart = shapely.distance(outlines[:, None], outlines[None, :])
    np.fill_diagonal(apart, np.inf)
    assert apart.min() >= 0.8 - 1e-9
