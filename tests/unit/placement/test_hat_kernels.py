"""Integrals of hats over polygons, against closed forms and sums over points."""

import numpy as np
import pytest
import shapely

from geoplan.placement.hat_kernels import hat_sums

WIDE = 100


def hats_over(ring: np.ndarray, scale: float = 1.0) -> dict[tuple[int, int], float]:
    steps, weights = np.empty(400, np.int64), np.empty(400)
    count = hat_sums(np.ascontiguousarray(ring, float), scale, WIDE, steps, weights)
    rows = np.rint(steps[:count] / WIDE).astype(int)
    cols = steps[:count] - rows * WIDE
    return dict(zip(zip(rows.tolist(), cols.tolist(), strict=True), weights[:count], strict=True))


def test_a_square_between_nodes_shares_itself_evenly() -> None:
    found = hats_over(np.array([(0, 0), (1, 0), (1, 1), (0, 1)]), 4.0)
    assert found == pytest.approx({(0, 0): 1.0, (0, 1): 1.0, (1, 0): 1.0, (1, 1): 1.0})


def test_the_whole_support_of_a_hat_gives_it_its_volume() -> None:
    found = hats_over(np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]))
    assert found[0, 0] == pytest.approx(1.0)
    assert found[0, 1] == pytest.approx(0.5)
    assert found[1, 1] == pytest.approx(0.25)


@pytest.mark.parametrize("turn_deg", [0.0, 17.0, 45.0, 80.0])
def test_turned_shapes_keep_area_centroid_and_product(turn_deg: float) -> None:
    """Hats add up to one and to the coordinates; their products to xy, summed over points."""
    shape = shapely.buffer(shapely.box(-4, -2.4, 4, 2.4), 1.0, quad_segs=16)
    shape = shapely.affinity.translate(shapely.affinity.rotate(shape, turn_deg), 0.31, -0.77)
    found = hats_over(shapely.get_coordinates(shapely.geometry.polygon.orient(shape))[:-1])
    area = sum(found.values())
    assert area == pytest.approx(shape.area, rel=1e-12)
    assert sum(w * col for (_, col), w in found.items()) / area == pytest.approx(0.31, abs=1e-12)
    assert sum(w * row for (row, _), w in found.items()) / area == pytest.approx(-0.77, abs=1e-12)
    at = np.arange(-7, 7, 0.02) + 0.01
    x, y = np.meshgrid(at, at)
    inside = shapely.contains_xy(shape, x, y)
    by_points = float((x * y)[inside].sum()) * 0.02**2
    product = sum(w * row * col for (row, col), w in found.items())
    assert product == pytest.approx(by_points, abs=0.02 * shape.area)
