"""What may count as a balance of a pool, and what may not."""

import numpy as np
import pytest

from geoplan.water.flow import Faces, steady_flow


def pool() -> tuple[np.ndarray, Faces]:
    return np.ones((3, 4)), Faces(np.ones((3, 3)), np.ones((2, 4)))


def test_a_remainder_of_rounding_is_no_flow() -> None:
    # An inflow at the very place of the outlet: 0.1 + 0.2 in, 0.3 out.
    depth, faces = pool()
    source = np.zeros((3, 4))
    source[1, 1] = 1e-3 * ((0.1 + 0.2) - 0.3)
    assert source[1, 1] != 0
    flow = steady_flow(depth, faces, source)
    assert np.abs(flow.east_m3_s).max() < 1e-15
    assert np.abs(flow.north_m3_s).max() < 1e-15


def test_what_flows_in_and_not_out_is_refused() -> None:
    depth, faces = pool()
    source = np.zeros((3, 4))
    source[0, 0], source[2, 3] = 1e-3, -0.999e-3
    with pytest.raises(ValueError, match="must flow out of the same pool"):
        steady_flow(depth, faces, source)
