"""Balances through faces: against dense factors of the same, a chain by hand, and none at all."""

import numpy as np
import pytest

from geoplan.water.face_solver import through_faces
from geoplan.water.flow import Faces, face_matrix, numbered, pools_of


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (7, 2), (23, 31)])
@pytest.mark.parametrize("seed", range(3))
def test_the_potential_is_that_of_dense_factors(shape: tuple[int, int], seed: int) -> None:
    """Ragged waters with islands and conductances over three orders, held in a few cells each."""
    rng = np.random.default_rng(seed)
    water = rng.random(shape) < 0.8
    water[0, 0] = True
    east = np.where(
        water[:, :-1] & water[:, 1:], 10 ** rng.uniform(-2, 1, (shape[0], shape[1] - 1)), 0
    )
    north = np.where(water[:-1] & water[1:], 10 ** rng.uniform(-2, 1, (shape[0] - 1, shape[1])), 0)
    held = np.where(water & (rng.random(shape) < 0.1), rng.uniform(0.1, 1, shape), 0.0)
    pools = pools_of(water, Faces(east, north))
    names, first = np.unique(pools, return_index=True)
    held.ravel()[first[names > 0]] = 1.0
    matrix = face_matrix(numbered(water), east, east, north, north).toarray()
    source = np.where(water, rng.normal(size=shape), 0.0)
    expected = np.linalg.solve(matrix + np.diag(held[water]), source[water])
    found = through_faces(east, north, held, source)
    assert found is not None
    assert found[~water].tolist() == [0.0] * int((~water).sum())
    assert found[water] == pytest.approx(expected, rel=1e-8, abs=1e-9 * np.abs(expected).max())


def test_a_chain_falls_by_what_passes() -> None:
    """Two units enter at the far end of 40 cells and leave at the near one through one."""
    beside, source = np.zeros((1, 40)), np.zeros((1, 40))
    beside[0, 0], source[0, -1] = 1.0, 2.0
    found = through_faces(np.full((1, 39), 0.5), np.zeros((0, 40)), beside, source)
    assert found is not None
    assert found[0] == pytest.approx(2.0 + 4.0 * np.arange(40))


def test_what_leads_nowhere_is_not_solved() -> None:
    source = np.array([[1.0, 1.0, 1.0, 1.0, 1.0, 1.0]])
    none = np.zeros((1, 6))
    assert through_faces(np.ones((1, 5)), np.zeros((0, 6)), none, source) is None
