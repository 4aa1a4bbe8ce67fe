"""Fetch and waves: what must always hold."""

import numpy as np
import pytest

from geoplan.water.waves import fetch_m, spm_waves
from tests.published.test_waves import HERE, circle


def test_an_island_shortens_the_fetch() -> None:
    shore = np.vstack([circle(100.0), circle(5.0, 64) + np.array([0, 40, 0, 40])])
    assert fetch_m(HERE, HERE, shore, [0.0])[0, 0] == pytest.approx(35.0, abs=0.02)


@pytest.mark.parametrize("bad", [(0.0, 100.0, 1.0), (10.0, -1.0, 1.0), (10.0, 100.0, 0.0)])
def test_what_no_formula_is_made_for_is_refused(bad: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="must be positive"):
        spm_waves(*bad)
