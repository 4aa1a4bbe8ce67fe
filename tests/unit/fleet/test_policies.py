"""Simple ways to share out: they keep the limits, and the allocation is never worth less."""

from itertools import product

import numpy as np
import pytest

from geoplan.fleet.allocation import Choices, Limits, Selection, selected
from geoplan.fleet.policies import at_least_as_good, equal_cover, inflow_order
from geoplan.fleet.sharing import shared_out
from tests.unit.fleet.test_allocation import INF, concave_district
from tests.unit.fleet.test_sharing import body, settings, water

#: Two ponds: the large one of 100 m² takes 4 rafts of 5 m², the small one of 50 m² takes 2.
TWO = Choices(
    np.array([0, 0, 0, 0, 0, 1, 1, 1]),
    np.array([0.0, 1.0, 2.0, 3.0, 4.0, 0.0, 5.0, 6.0]),
    np.array([[0.0], [1.0], [2.0], [3.0], [4.0], [0.0], [1.0], [2.0]]),
)
COVER = np.array([0.0, 5.0, 10.0, 15.0, 20.0, 0.0, 10.0, 20.0])


def test_the_same_cover_by_hand() -> None:
    # 10 % of each is 2 rafts and 1 raft: a stock of 3 and of 4; 15 % and 20 % need 4 and 6.
    for stock, chosen in ((3.0, [2, 6]), (4.0, [3, 6]), (6.0, [4, 7]), (0.0, [0, 5])):
        found = equal_cover(TWO, COVER, Limits(np.array([-INF]), np.array([stock])))
        assert found is not None
        assert found.tolist() == chosen


def test_the_order_of_inflow_by_hand() -> None:
    limits = Limits(np.array([-INF]), np.array([5.0]))
    first = inflow_order(TWO, COVER, np.array([9.0, 1.0]), limits)
    second = inflow_order(TWO, COVER, np.array([1.0, 9.0]), limits)
    assert first is not None
    assert second is not None
    assert first.tolist() == [4, 6]  # four in the first, one is left
    assert second.tolist() == [3, 7]


def test_what_cannot_be_kept_is_none() -> None:
    limits = Limits(np.array([7.0]), np.array([9.0]))
    assert equal_cover(TWO, COVER, limits) is None
    assert inflow_order(TWO, COVER, np.array([1.0, 2.0]), limits) is None


@pytest.mark.parametrize("seed", range(6))
def test_none_is_worth_more_than_the_allocation(seed: int) -> None:
    choices, limits = concave_district(60, 3, seed)
    rafts = choices.use[:, :3]
    cover = rafts @ np.array([9.6, 9.0, 12.0])
    load = np.random.default_rng(seed).lognormal(0, 1, 60)
    found = selected(choices, limits)
    others = [equal_cover(choices, cover, limits), inflow_order(choices, cover, load, limits)]
    for other in others:
        assert other is not None
        used = choices.use[other].sum(axis=0)
        assert (used <= limits.most + 1e-6).all()
        assert np.unique(choices.water[other]).size == 60
        assert choices.value[other].sum() <= found.value * (1 + 1e-12)


def test_a_better_one_takes_the_place_of_a_selection() -> None:
    best = max(product(range(5), range(5, 8)), key=lambda pair: TWO.value[list(pair)].sum())
    poor = Selection(np.array([0, 5]), 0.0, 3.0, np.zeros(1))
    found = at_least_as_good(poor, TWO, iter([None, np.array(best), np.array([0, 6])]))
    assert found.chosen.tolist() == [4, 7]
    assert found.value == found.bound == 10.0


def test_the_allocation_says_what_they_are_worth() -> None:
    waters = [water("p", [0.9, 0.2, 0.1], flow=1.0), water("q", [0.8, 0.7, 0.1], flow=1.0)]
    found = shared_out([body("p"), body("q")], waters, settings())
    names = {policy.name: policy for policy in found.policies}
    assert len(names) == 2
    for policy in names.values():
        assert 0 < policy.value <= found.value
        assert policy.raft_count <= 3
        assert policy.cost == 10.0 * policy.raft_count
    # Nothing flows in: they are filled in their order, three of the first.
    assert names["most load flowing in first"].value == pytest.approx(1.2)
    assert found.value == pytest.approx(2.4)
