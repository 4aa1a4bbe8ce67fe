"""Exact cell coverage against shapely's polygon intersection, a second method."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from geoplan.cut_cells import cell_coverage, face_shares


def star(seed: int) -> shapely.Geometry:
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.random(25) * 2 * np.pi)
    radius = 3 + 5 * rng.random(25)
    blob = shapely.Polygon(
        np.column_stack([10 + radius * np.cos(angle), 10 + radius * np.sin(angle)])
    ).buffer(0)
    holes = shapely.union(shapely.Point(10, 10).buffer(1.3), shapely.box(8.1, 8.2, 9.3, 12.1))
    return shapely.difference(blob, holes)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_share_of_each_cell_equals_the_intersection_area(seed: int) -> None:
    region = star(seed)
    share = cell_coverage(region, 0.0, 0.0, 0.5, (40, 40))
    cols, rows = np.meshgrid(np.arange(40) * 0.5, np.arange(40) * 0.5)
    cells = shapely.box(cols, rows, cols + 0.5, rows + 0.5)
    expected = shapely.area(shapely.intersection(cells, region)) / 0.25
    np.testing.assert_allclose(share, expected, atol=1e-9)


def test_a_region_beyond_the_cells_is_refused() -> None:
    with pytest.raises(ValueError, match="beyond"):
        cell_coverage(shapely.box(-1, 0, 1, 1), 0.0, 0.0, 1.0, (2, 2))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_share_of_each_face_equals_the_length_inside(seed: int) -> None:
    region = star(seed)
    east, north = face_shares(region, 0.0, 0.0, 0.5, (40, 40))
    rows, cols = np.indices((40, 39))
    upright = shapely.linestrings(
        np.stack(
            [
                np.stack([(cols + 1) * 0.5, rows * 0.5], axis=-1),
                np.stack([(cols + 1) * 0.5, (rows + 1) * 0.5], axis=-1),
            ],
            axis=2,
        )
    )
    expected = shapely.length(shapely.intersection(upright, region)) / 0.5
    np.testing.assert_allclose(east, expected, atol=1e-9)
    rows, cols = np.indices((39, 40))
    level = shapely.linestrings(
        np.stack(
            [
                np.stack([cols * 0.5, (rows + 1) * 0.5], axis=-1),
                np.stack([(cols + 1) * 0.5, (rows + 1) * 0.5], axis=-1),
            ],
            axis=2,
        )
    )
    expected = shapely.length(shapely.intersection(level, region)) / 0.5
    np.testing.assert_allclose(north, expected, atol=1e-9)
