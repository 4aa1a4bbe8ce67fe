"""Rules for trying rafts on a page: never shallower nor shorter than what the plan would ask."""

from dataclasses import replace

import numpy as np
import pytest

from geoplan.mooring.design import design_moorings
from geoplan.mooring.strength import post_strength
from geoplan.placement.place import place_rafts
from geoplan.placement.trial import post_lengths_m, trial_rules
from tests.unit.exports import small_plan as small
from tests.unit.placement.test_rules import BASE, around


@pytest.mark.parametrize("load_n", [0.0, 50.0, 400.0, 3000.0, 1e6])
def test_no_load_asks_for_a_longer_post(load_n: float) -> None:
    settings = small.site().settings
    lengths = post_lengths_m(settings, 4.0)
    assert (np.diff(lengths) >= 0).all()
    for depth in np.random.default_rng(2).uniform(0.0, 4.0, 80):
        found = post_strength(settings, float(depth), load_n)
        length = depth + settings.mooring.travel_margin_m + found.embedment_m
        assert lengths[int(np.ceil(depth / 0.1))] >= length - 1e-9


@pytest.mark.parametrize("mooring", ["posts", "lines"])
def test_depths_at_high_level_are_those_of_the_moorings_or_greater(mooring: str) -> None:
    """A bed of random steps; the design of moorings is the second method."""
    raft = BASE["raft"][0] | {"mooring": mooring, "root_depth_m": 0.5}  # type: ignore[index]
    about = around(settings={"raft": [raft]})
    random = np.random.default_rng(8)
    fields = about.fields
    bed = fields.bed_m + random.uniform(-1.0, 1.0, fields.bed_m.shape)
    about = replace(about, fields=replace(fields, bed_m=bed))
    rules = trial_rules(about)
    rafts = place_rafts(about).rafts
    assert rafts
    poses = [
        replace(
            rafts[0],
            easting_m=random.uniform(14, 26),
            northing_m=random.uniform(14, 26),
            heading_deg=random.uniform(0, 180),
        )
        for _ in range(30)
    ]
    (kind,) = rules.kinds
    assert kind.kind == mooring
    for part in design_moorings(about.body, about.fields, poses, about.settings):
        row = int((part.northing_m - rules.south_m) / rules.cell_size_m)
        col = int((part.easting_m - rules.west_m) / rules.cell_size_m)
        deep = rules.depth_high_m[row, col]
        assert deep >= part.depth_high_m - 1e-9
        longest = (
            rules.post_length_m[int(np.ceil(deep / 0.1 - 1e-9))]
            if mooring == "posts"
            else np.hypot(kind.reach_m, deep) * rules.line_stretch
        )
        assert longest >= part.length_m - 1e-9
