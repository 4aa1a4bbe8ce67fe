"""The open tow: what is left of a way before the raft takes the heading of its place."""

import numpy as np
import pytest
from shapely.geometry import LineString

from geoplan.launch.bank import WadingLeg
from geoplan.launch.handling import Handling
from geoplan.launch.manoeuvre import Manoeuvre
from geoplan.launch.ways import Way
from geoplan.site import FloatArray


def way(tow_m: FloatArray, turn_before_m: float) -> Way:
    leg = WadingLeg(LineString([tow_m[0] - 1.0, tow_m[0]]), 0.0, 0.0)
    turned = Manoeuvre(turn_before_m, np.zeros(0, object), is_clear=False)
    return Way("L1", leg, tow_m, turned, Handling(100.0, 4, 50.0, 1, 4, "carried"))


@pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
def test_the_open_tow_is_as_long_as_what_the_turn_leaves(share: float) -> None:
    """Whichever way the last digit of the two lengths is rounded."""
    random = np.random.default_rng(3)
    left_m = []
    for _ in range(200):
        tow_m = random.uniform(-20.0, 20.0, (2, 2))
        length_m = float(np.hypot(*(tow_m[1] - tow_m[0])))
        one = way(tow_m, share * length_m)
        assert one.open_tow.length == pytest.approx((1.0 - share) * length_m, abs=1e-9)
        assert one.open_tow.coords[0] == pytest.approx(tuple(tow_m[0]), abs=1e-12)
        left_m.append(one.tow.length - share * length_m)
    if share == 1.0:
        assert min(left_m) < 0.0 < max(left_m)
