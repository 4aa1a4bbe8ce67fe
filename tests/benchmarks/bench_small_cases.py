"""
Small cases: no plan found by brute force beats the bound, and whether it beats ours.

Run by hand: ``python -m tests.benchmarks.bench_small_cases 50``; also the cuts of the load removed
against many pairs of plans. A second pair of numbers makes the lattice finer, as in
``50 0.25 12``: minutes for a pond of four rafts.
"""

import sys

from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.bound import Limit, area_bound
from geoplan.placement.place import best_plan
from geoplan.placement.price_field import price_field
from tests.laws.brute_force import GAP_M, RAFT, best_by_brute_force, tiny_pond
from tests.laws.test_load_benefit import benefit, least_room_above


def main(ponds: int, step_m: float, turns: int, plans: int) -> None:
    """Print every pond where brute force finds more, and a summary."""
    shares, behind, above = [], 0, 0
    for seed in range(ponds):
        region, surface, count = tiny_pond(seed)
        limits = [Limit("stock", "", (1.0,), float(count))]
        regions = [AllowedRegion(RAFT, region, ())]
        bound = area_bound([surface], regions, GAP_M, limits).value
        proof = price_field([surface], regions, GAP_M, limits)
        bound = min(bound, proof.value) if proof else bound
        brute = best_by_brute_force(region, surface, count, step_m, turns)
        found = best_plan([surface], regions, limits, GAP_M, seed=0)[0][0]
        mean = surface.mean_under(RAFT, found.easting_m, found.northing_m, found.heading_deg)
        ours = float((RAFT.planted_area_m2 * mean).sum())
        above += brute > bound
        behind += ours < brute
        shares.append(ours / brute if brute else 1.0)
        if ours < brute or brute > bound:
            print(f"pond {seed}: {count} rafts, ours/brute {ours / brute:.4f},"
                  f" brute/bound {brute / bound:.4f}", flush=True)  # fmt: skip
    shares.sort()
    print(f"{ponds} ponds: brute force beats the bound on {above}, ours on {behind}")
    print(f"ours/brute force: least {shares[0]:.4f}, median {shares[len(shares) // 2]:.4f}")
    room = least_room_above(benefit(), plans)
    print(
        f"{plans**2} pairs of plans: a cut lies above the load removed by {room:.3g} at the least"
    )


if __name__ == "__main__":
    words = sys.argv[1:]
    main(
        int(words[0]) if words else 50,
        float(words[1]) if len(words) > 1 else 0.4,
        int(words[2]) if len(words) > 2 else 8,
        32,
    )
