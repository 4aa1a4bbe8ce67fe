"""Ranges of bent gradients: never less than sampled ones, and next to nothing for a quadratic."""

import numpy as np
import pytest

from geoplan.placement.bend_kernels import _bends, bent_ranges

RADIUS, H = 5, 0.5


def sampled(nodes: np.ndarray, row: int, col: int, bends: tuple[float, ...]) -> float:
    """Half ranges of the gradient less the linear field, at points inside the cells in reach."""
    east, north, mixed = bends
    rng = np.random.default_rng(row * 100 + col)
    y = rng.uniform(row - RADIUS, row + RADIUS, 4000)
    x = rng.uniform(col - RADIUS, col + RADIUS, 4000)
    i, j = np.floor(y).astype(int), np.floor(x).astype(int)
    up, right = y - i, x - j
    low, high = nodes[i, j + 1] - nodes[i, j], nodes[i + 1, j + 1] - nodes[i + 1, j]
    left, far = nodes[i + 1, j] - nodes[i, j], nodes[i + 1, j + 1] - nodes[i, j + 1]
    along = ((1 - up) * low + up * high) / H - (east * x + mixed * y) * H
    across = ((1 - right) * left + right * far) / H - (north * y + mixed * x) * H
    return float(np.hypot(np.ptp(along) / 2, np.ptp(across) / 2))


@pytest.mark.parametrize("kind", ["noise", "cone", "waves"])
def test_ranges_are_never_less_than_sampled_ones(kind: str) -> None:
    y, x = np.mgrid[0:26, 0:30]
    nodes = {
        "noise": np.random.default_rng(1).random((26, 30)),
        "cone": np.exp(-np.hypot(x - 14.3, y - 12.2) / 9),
        "waves": np.sin(x / 4) * np.cos(y / 5),
    }[kind]
    half, spread = bent_ranges(nodes, H, RADIUS)
    rows, cols = half.shape
    assert (rows, cols) == (16, 20)
    for i in range(rows):
        for j in range(cols):
            # Blocks of four share the field of their middle.
            middle = [
                min(4 * (k // 4) + 1, (4 * (k // 4) + n - 1) // 2) + RADIUS
                for k, n in ((i, rows), (j, cols))
            ]
            bends = _bends(nodes, middle[0], middle[1], RADIUS // 2, H)
            assert half[i, j] >= sampled(nodes, i + RADIUS, j + RADIUS, bends) - 1e-12
            east, north, mixed = bends
            main = np.linalg.eigvalsh(np.array([[east, mixed], [mixed, north]]))
            assert spread[i, j] == pytest.approx(main[1] - main[0])


def test_a_quadratic_leaves_but_the_jumps_from_cell_to_cell() -> None:
    y, x = np.mgrid[0:26, 0:30] * H
    half, spread = bent_ranges(0.01 * x**2 - 0.03 * x * y + 0.02 * y**2, H, RADIUS)
    assert half == pytest.approx(np.hypot(0.02 * H / 2, 0.04 * H / 2))
    assert spread == pytest.approx(np.hypot(0.02 - 0.04, 2 * 0.03))
