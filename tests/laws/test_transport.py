"""Flow and transport: conservation, the adjoint, concavity, and the order of convergence."""

import gc
import weakref

import numpy as np
import pytest

from geoplan.water.flow import Faces, steady_flow, whole_faces
from geoplan.water.transport import Basin, Carrier, Transport, transport
from tests.published.test_transport import DAY, disc, tank, wehner_wilhelm


def test_every_cell_gives_what_it_takes() -> None:
    flow, water, _, _ = disc(1.0)
    net = flow.net_outflow_m3_s()
    source = np.where(np.abs(net) > 0.5, np.sign(net), 0.0)
    assert np.abs(net - source)[water].max() < 1e-9


def pond(seed: int, rows: int = 24, cols: int = 30) -> tuple[Basin, np.ndarray, np.ndarray]:
    """A pond of random depths with one inflow and one outlet; its water, and the load put in."""
    rng = np.random.default_rng(seed)
    water = np.zeros((rows, cols), bool)
    water[2:-2, 2:-2] = True
    water[10:14, 12:15] = False
    depth = np.where(water, 0.6 + rng.random(water.shape), 0.0)
    faces = whole_faces(water)
    source = np.zeros(water.shape)
    source[4, 3], source[19, 26] = 0.004, -0.004
    flow = steady_flow(depth, faces, source)
    area = np.where(water, 1.0, 0.0)
    basin = Basin(flow, faces, depth, area, np.maximum(-source, 0.0), 0.01)
    return basin, water, np.maximum(source, 0.0) * 3.0


def solve(basin: Basin, load: np.ndarray, rafts: np.ndarray | float = 0.0) -> Transport:
    return transport(basin, load, 5.0 / 365 / DAY, rafts)


def test_what_comes_in_leaves_settles_or_is_taken_out() -> None:
    case, water, load = pond(1)
    rafts = np.where(water, 1e-6, 0.0)
    found = solve(case, load, rafts)
    total = found.load_out_g_s + found.settled_g_s + found.removed_g_s
    assert total == pytest.approx(0.012, rel=1e-9)
    assert min(found.load_out_g_s, found.settled_g_s, found.removed_g_s) > 0


def test_adjoint_equals_finite_differences_of_the_load_that_leaves() -> None:
    case, water, load = pond(2)
    base = solve(case, load)
    rng = np.random.default_rng(0)
    cells = np.argwhere(water)
    for row, col in cells[rng.choice(len(cells), 100, replace=False)]:
        step = 1e-7
        both = []
        for sign in (0.0, 2.0):
            rafts = np.zeros(water.shape)
            rafts[row, col] = sign * step
            both.append(solve(case, load, rafts).load_out_g_s)
        centre = np.zeros(water.shape)
        centre[row, col] = step
        at = solve(case, load, centre)
        slope = (both[0] - both[1]) / (2 * step)
        expected = at.concentration_g_m3[row, col] * at.escape_share[row, col]
        assert slope == pytest.approx(expected, rel=1e-6)
    assert np.nanmax(base.escape_share) <= 1 + 1e-12


@pytest.mark.parametrize("seed", range(20))
def test_load_removed_is_concave_in_the_rafts(seed: int) -> None:
    """Every linearisation of the load kept from the outlet lies above it: the proof of the plan."""
    case, water, load = pond(3)
    rng = np.random.default_rng(seed)
    first, second = (
        np.where(water & (rng.random(water.shape) < 0.2), rng.random(water.shape) * 3e-6, 0.0)
        for _ in range(2)
    )
    at = solve(case, load, first)
    cut = at.load_out_g_s - np.nansum(at.concentration_g_m3 * at.escape_share * (second - first))
    assert solve(case, load, second).load_out_g_s >= cut - 1e-15


def test_a_pool_that_does_not_balance_is_refused() -> None:
    source = np.zeros((3, 3))
    source[1, 1] = 1.0
    with pytest.raises(ValueError, match="flow out of the same pool"):
        steady_flow(np.ones((3, 3)), whole_faces(np.ones((3, 3), bool)), source)


def test_flow_and_transport_converge_with_the_cell_size() -> None:
    """Observed order on three grids of a tank whose exact answer is known."""
    errors = [abs(tank(0.25, 5.42, cells=n) - wehner_wilhelm(0.25, 5.42)) for n in (50, 100, 200)]
    order = -np.polyfit(np.log([50, 100, 200]), np.log(errors), 1)[0]
    assert order >= 0.9


def test_faces_carry_nothing_between_land_and_water() -> None:
    faces = whole_faces(np.array([[True, False], [True, True]]))
    assert isinstance(faces, Faces)
    assert faces.east.tolist() == [[0.0], [1.0]]
    assert faces.north.tolist() == [[1.0, 0.0]]


def test_factors_are_let_go_at_once() -> None:
    """In a cycle they would wait for the collector: hundreds of megabytes in a long run."""
    basin, load, _ = pond(3)
    first = Carrier(basin, 1e-6)
    other = Carrier(basin, 2e-6, near=first)
    ends = [weakref.ref(one) for one in (first, other)]
    was_enabled = gc.isenabled()
    gc.disable()
    try:
        assert other.load_out_g_s(load) < first.load_out_g_s(load)
        del first, other
        assert [end() for end in ends] == [None, None]
    finally:
        if was_enabled:
            gc.enable()
