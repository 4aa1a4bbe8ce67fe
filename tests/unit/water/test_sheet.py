"""Nodes on the water: planes between them, and land that keeps them apart."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geoplan.water.sheet import water_sheet


def random_water(seed: int):
    """Blobs of water with holes and channels of one cell."""
    rng = np.random.default_rng(seed)
    water = rng.random((23, 31)) < 0.75
    water[5:12, 4:22] = True
    return water


@given(st.integers(0, 10_000), st.integers(1, 6))
def test_every_piece_of_water_in_a_square_has_one_node(seed: int, span: int) -> None:
    water = random_water(seed)
    node = water_sheet(water, span).node_of_cell
    for axis in range(2):
        ahead = (slice(1, None), slice(None)) if axis == 0 else (slice(None), slice(1, None))
        behind = (slice(-1), slice(None)) if axis == 0 else (slice(None), slice(-1))
        square = np.indices(water.shape)[axis] // span
        joined = water[ahead] & water[behind] & (square[ahead] == square[behind])
        assert (node[ahead][joined] == node[behind][joined]).all()


@given(st.integers(0, 10_000), st.integers(1, 6))
def test_neighbours_are_mutual_and_ghosts_belong_to_one_node(seed: int, span: int) -> None:
    sheet = water_sheet(random_water(seed), span)
    count = len(sheet)
    for side, back in ((0, 2), (1, 3), (2, 0), (3, 1)):
        own = np.flatnonzero(sheet.beside[:, side] < count)
        assert (sheet.beside[sheet.beside[own, side], back] == own).all()
    ghosts = sheet.beside[sheet.beside >= count]
    assert sorted(ghosts.tolist()) == list(range(count, sheet.size))


@given(st.integers(0, 10_000), st.integers(1, 6))
def test_a_plane_is_interpolated_exactly_and_does_not_bend(seed: int, span: int) -> None:
    water = random_water(seed)
    sheet = water_sheet(water, span)
    height = np.full(sheet.size, np.nan)
    height[: len(sheet)] = 2.0 + 0.3 * sheet.row - 0.7 * sheet.col
    for side, (north, east) in enumerate(((0, 1), (1, 0), (0, -1), (-1, 0))):
        beside = sheet.beside[:, side]
        height[beside] = 2.0 + 0.3 * (sheet.row + north * span) - 0.7 * (sheet.col + east * span)
    row, col = (index.astype(float) for index in np.nonzero(water))
    weights = sheet.weights(row, col)
    np.testing.assert_allclose(weights @ height, 2.0 + 0.3 * row - 0.7 * col, atol=1e-9)
    np.testing.assert_allclose(weights.sum(axis=1), 1.0, atol=1e-12)
    np.testing.assert_allclose(sheet.bending() @ height, 0.0, atol=1e-9)


def test_a_dyke_of_one_cell_parts_the_nodes_on_its_two_sides() -> None:
    water = np.ones((12, 24), bool)
    water[:, 13] = False
    sheet = water_sheet(water, 4)
    reached = {int(sheet.node_of_cell[6, 0])}
    while True:
        more = {int(n) for k in reached for n in sheet.beside[k] if n < len(sheet)} | reached
        if more == reached:
            break
        reached = more
    assert not reached & set(sheet.node_of_cell[:, 14:].ravel().tolist())
    assert reached >= set(sheet.node_of_cell[:, :13].ravel().tolist())


def test_bending_of_a_parabola_is_its_integral() -> None:
    """z = c²/2 bends by 1 everywhere: the integral is the area but for the free edge."""
    sheet = water_sheet(np.ones((40, 40), bool), 2)
    height = np.zeros(sheet.size)
    height[: len(sheet)] = sheet.col**2 / 2.0
    for side, shift in ((0, 2.0), (1, 0.0), (2, -2.0), (3, 0.0)):
        height[sheet.beside[:, side]] = (sheet.col + shift) ** 2 / 2.0
    assert float(((sheet.bending() @ height) ** 2).sum()) == pytest.approx(1600.0)


def test_land_alone_has_no_sheet() -> None:
    with pytest.raises(ValueError, match="needs water"):
        water_sheet(np.zeros((3, 3), bool), 1)
