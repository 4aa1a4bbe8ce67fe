"""Rules for trying rafts on a page: never shallower nor shorter than what the plan would ask."""

import numpy as np
import pytest

from geoplan.cover import water_edges
from geoplan.fields import site_fields
from geoplan.mooring.design import design_moorings
from geoplan.mooring.loads import LoadCase
from geoplan.mooring.strength import post_strength
from geoplan.placement.allowed import Surroundings
from geoplan.placement.trial import post_lengths_m, trial_rules
from tests.laws.ponds import random_pond
from tests.unit.exports import small_plan as small


@pytest.mark.parametrize("load_n", [0.0, 50.0, 400.0, 3000.0, 1e6])
def test_no_load_asks_for_a_longer_post(load_n: float) -> None:
    settings = small.site().settings
    lengths = post_lengths_m(settings, 4.0)
    assert (np.diff(lengths) >= 0).all()
    for depth in np.random.default_rng(2).uniform(0.0, 4.0, 80):
        found = post_strength(settings, float(depth), load_n)
        length = depth + settings.mooring.travel_margin_m + found.embedment_m
        assert lengths[int(np.ceil(depth / 0.1))] >= length - 1e-9
