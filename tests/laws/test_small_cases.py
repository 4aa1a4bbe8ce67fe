"""No plan of brute force on a fine lattice in a tiny pond beats what is proven, nor ours."""

import pytest

from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.bound import Limit, area_bound
from geoplan.placement.place import best_plan
from geoplan.placement.price_field import price_field
from tests.laws.brute_force import GAP_M, RAFT, best_by_brute_force, tiny_pond


@pytest.mark.parametrize("seed", range(8))
def test_no_brute_force_plan_beats_either_bound_or_ours(seed: int) -> None:
    region, surface, count = tiny_pond(seed)
    limits = [Limit("stock", "", (1.0,), float(count))]
    regions = [AllowedRegion(RAFT, region, ())]
    brute = best_by_brute_force(region, surface, count)
    proof = price_field([surface], regions, GAP_M, limits)
    assert brute > 0
    assert proof is not None
    assert brute <= proof.value
    assert brute <= area_bound([surface], regions, GAP_M, limits).value
    ours = sum(
        float(part.value.sum()) for part in best_plan([surface], regions, limits, GAP_M, 0)[0]
    )
    assert brute <= ours <= proof.value
