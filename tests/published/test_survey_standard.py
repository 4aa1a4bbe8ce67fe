"""Vertical uncertainty of survey orders."""

import pytest

from geoplan.water.bathymetry import s44_tvu_m

TABLE = [
    (1.0, (0.1502, 0.2501, 0.5002, 0.5002, 1.0003)),
    (2.0, (0.1507, 0.2504, 0.5007, 0.5007, 1.0011)),
    (5.0, (0.1546, 0.2528, 0.5042, 0.5042, 1.0066)),
    (10.0, (0.1677, 0.2610, 0.5166, 0.5166, 1.0261)),
    (30.0, (0.2704, 0.3363, 0.6341, 0.6341, 1.2149)),
]


@pytest.mark.published(
    "IHO S-44 edition 6.0.0 (2020), section 3.2.3 and table 1: a and b of each order, read;"
    " the values follow by arithmetic"
)
@pytest.mark.parametrize(("depth_m", "allowed_m"), TABLE)
def test_total_vertical_uncertainty_of_each_order(
    depth_m: float, allowed_m: tuple[float, ...]
) -> None:
    orders = ("exclusive", "special", "1a", "1b", "2")
    found = [s44_tvu_m(depth_m, order) for order in orders]
    assert found == pytest.approx(allowed_m, abs=5e-5)
