"""Depth in the page: unpacked by hand here, and never deeper than the plan."""

import base64
import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from geoplan.exports.depth_embedding import (
    MOST_CELLS,
    EmbeddedGrid,
    class_limits_cm,
    embedded,
    least_need_cm,
    merged_cells,
)
from geoplan.plan import DepthGrid
from tests.unit.exports import small_plan as small


def unpacked_cm(grid: EmbeddedGrid) -> np.ndarray:
    steps = np.frombuffer(zlib.decompress(base64.b64decode(grid.data)), "<i2")
    along = np.cumsum(steps.reshape(grid.rows, grid.cols), axis=0, dtype=np.int16)
    return np.cumsum(along, axis=1, dtype=np.int16).astype(int)


depths = hnp.arrays(
    float,
    hnp.array_shapes(min_dims=2, max_dims=2, max_side=9),
    elements=st.one_of(st.just(np.nan), st.floats(0, 400)),
)


@given(depths, st.integers(1, 4))
def test_no_cell_is_deeper_than_any_cell_under_it(depth: np.ndarray, merged: int) -> None:
    packed = embedded(DepthGrid(0.0, 0.0, 0.5, depth), merged)
    shown = unpacked_cm(packed)
    rows, cols = np.indices(depth.shape) // merged
    there = shown[rows, cols]
    wet = ~np.isnan(depth)
    assert (there[wet] / 100 <= depth[wet]).all()
    assert (there[wet] >= 0).all()
    assert packed.deepest_cm == max(shown.max(), 0)


@given(depths)
def test_unmerged_cells_lose_less_than_a_centimetre(depth: np.ndarray) -> None:
    shown = unpacked_cm(embedded(DepthGrid(0.0, 0.0, 0.5, depth)))
    wet = ~np.isnan(depth) & (depth < 327)
    assert (depth[wet] - shown[wet] / 100 < 0.0101).all()
    assert (shown[np.isnan(depth)] == -1).all()


def test_merging_keeps_the_page_within_its_cells() -> None:
    side = merged_cells(4_000_000)
    assert 4_000_000 / side**2 <= MOST_CELLS
    assert 4_000_000 / (side - 1) ** 2 > MOST_CELLS


def test_the_least_need_is_that_of_the_smallest_raft() -> None:
    # draft 0.2 + roots 0.8 + sediment 0.05 + clearance 0.3
    assert least_need_cm(small.settings()) == 135


@given(st.integers(1, 500), st.integers(0, 32766))
def test_classes_rise_from_the_need_and_are_five_at_most(need: int, deepest: int) -> None:
    limits = class_limits_cm(need, deepest)
    assert limits[0] == need
    assert limits == sorted(set(limits))
    assert len(limits) <= 5


def test_the_data_is_small() -> None:
    grid = small.depth_grid(small.UPPER_SHORE)
    packed = embedded(grid)
    assert len(packed.data) < 1.2 * grid.depth_low_m.size
    assert packed.west_m == pytest.approx(grid.west_m)
