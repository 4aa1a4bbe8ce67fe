"""Factors and iteration give the same answer, also with more on the diagonal and transposed."""

import numpy as np
import pytest

from geoplan.water.flow import close_balance, face_matrix, numbered, steady_flow, whole_faces
from geoplan.water.sparse_system import SparseSystem
from geoplan.water.transport import Basin, Carrier, transport
from tests.laws.test_transport import DAY, pond, solve


def matrix_of(seed: int, *, is_symmetric: bool) -> tuple[object, np.ndarray]:
    """A balance on random water with an island, and a right side."""
    rng = np.random.default_rng(seed)
    water = rng.random((40, 50)) > 0.05
    faces = whole_faces(water)
    out = [faces.east * rng.random(faces.east.shape), faces.north * rng.random(faces.north.shape)]
    back = out if is_symmetric else [0.4 * part for part in out]
    matrix = face_matrix(numbered(water), out[0], back[0], out[1], back[1])
    matrix.setdiag(matrix.diagonal() + 0.01 + 0.01 * rng.random(matrix.shape[0]))
    return matrix, rng.random(matrix.shape[0])


@pytest.mark.parametrize("most_factored", [0, 10**6])
@pytest.mark.parametrize("is_symmetric", [True, False])
@pytest.mark.parametrize("is_adjoint", [True, False])
@pytest.mark.parametrize("more", [0.0, 0.05])
def test_every_way_solves_the_system(
    most_factored: int, is_symmetric: bool, is_adjoint: bool, more: float
) -> None:
    matrix, right = matrix_of(3, is_symmetric=is_symmetric)
    rng = np.random.default_rng(5)
    added = more * rng.random(len(right))
    system = SparseSystem(matrix, is_symmetric=is_symmetric, most_factored=most_factored)
    found = system.solve(right, added, is_adjoint=is_adjoint)
    dense = matrix.toarray() + np.diag(added)
    expected = np.linalg.solve(dense.T if is_adjoint else dense, right)
    assert found == pytest.approx(expected, rel=1e-9)


def test_where_the_iteration_fails_the_factors_are_made(monkeypatch: pytest.MonkeyPatch) -> None:
    matrix, right = matrix_of(4, is_symmetric=False)
    monkeypatch.setattr("geoplan.water.sparse_system._MOST_STEPS", 1)
    found = SparseSystem(matrix, most_factored=0).solve(right)
    assert matrix @ found == pytest.approx(right, rel=1e-9)


def test_a_row_of_the_matrix_of_faces_sums_what_a_cell_gives_and_takes() -> None:
    """Four cells in a square, one of them land: by hand."""
    water = np.array([[True, True], [True, False]])
    east = np.array([[2.0], [0.0]])
    north = np.array([[3.0, 0.0]])
    found = face_matrix(numbered(water), east, east / 2, north, north / 3).toarray()
    assert found.tolist() == [[5.0, -1.0, -1.0], [-2.0, 1.0, 0.0], [-3.0, 0.0, 1.0]]


def test_a_balance_that_is_off_is_closed_to_rounding() -> None:
    water = np.ones((12, 15), bool)
    water[4:8, 6] = False
    source = np.zeros(water.shape)
    source[1, 1], source[10, 13] = 0.02, -0.02
    faces = whole_faces(water)
    flow = steady_flow(np.where(water, 1.0, 0.0), faces, source)
    exact = flow.east_m3_s.copy()
    flow.east_m3_s[:] *= 1 + 1e-6 * np.random.default_rng(0).random(exact.shape)
    joined = face_matrix(numbered(water), faces.east, faces.east, faces.north, faces.north)
    assert np.abs(flow.net_outflow_m3_s() - source).max() > 1e-9
    close_balance(flow, source, joined, np.array([0]))
    assert np.abs(flow.net_outflow_m3_s() - source).max() < 1e-16
    assert flow.east_m3_s == pytest.approx(exact, abs=1e-7)


@pytest.mark.parametrize("most", [0, 10**6])
def test_mass_is_balanced_whichever_way_is_taken(
    most: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What comes in leaves, settles or is taken out, to 1e-9; and the flow closes."""
    monkeypatch.setattr("geoplan.water.sparse_system.MOST_FACTORED", most)
    monkeypatch.setattr("geoplan.water.flow.MOST_FACTORED", most)
    monkeypatch.setattr(SparseSystem.__init__, "__kwdefaults__",
                        {"is_symmetric": False, "most_factored": most})  # fmt: skip
    case, water, load = pond(1)
    rafts = np.where(water, 1e-6, 0.0)
    found = solve(case, load, rafts)
    total = found.load_out_g_s + found.settled_g_s + found.removed_g_s
    assert total == pytest.approx(0.012, rel=1e-9)
    source = np.where(load > 0, 0.004, 0.0) - case.outflow_m3_s
    assert np.abs(case.flow.net_outflow_m3_s() - source).max() < 4e-12


def test_one_carrier_gives_what_single_solves_give() -> None:
    case, water, load = pond(6)
    carrier = Carrier(case, 5.0 / 365 / DAY)
    rng = np.random.default_rng(0)
    for share in (0.0, 0.1, 1.0):
        rafts = np.where(water & (rng.random(water.shape) < share), 2e-6, 0.0)
        once = transport(case, load, 5.0 / 365 / DAY, rafts)
        again = carrier.solved(load, rafts)
        assert again.load_out_g_s == pytest.approx(once.load_out_g_s, rel=1e-12)
        assert carrier.load_out_g_s(load, rafts) == again.load_out_g_s
        assert again.escape_share[water] == pytest.approx(once.escape_share[water], rel=1e-9)


@pytest.mark.parametrize(("first", "then"), [(5.0, 100.0), (100.0, 5.0), (83.0, 0.0)])
def test_factors_of_another_rate_carry_the_load_as_well(first: float, then: float) -> None:
    case, water, load = pond(6)
    near = Carrier(case, first / 365 / DAY)
    carrier = Carrier(case, then / 365 / DAY, near)
    for rafts in (0.0, np.where(water, 2e-6, 0.0)):
        own = transport(case, load, then / 365 / DAY, rafts)
        found = carrier.solved(load, rafts)
        for name in ("load_out_g_s", "settled_g_s", "removed_g_s"):
            assert getattr(found, name) == pytest.approx(getattr(own, name), rel=1e-9, abs=1e-15)
        assert found.escape_share[water] == pytest.approx(own.escape_share[water], rel=1e-8)


def test_a_carrier_refuses_what_makes_no_sense() -> None:
    case, _, load = pond(1)
    with pytest.raises(ValueError, match="settling"):
        Carrier(case, -1.0)
    with pytest.raises(ValueError, match="rafts"):
        Carrier(case, 0.0).solved(load, -1.0)
    assert isinstance(case, Basin)
