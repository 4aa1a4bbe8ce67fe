"""Names and places as evidence: swapped labels, drifted, missing and extra rafts."""

from itertools import permutations

import numpy as np
import pytest

from geoplan.asbuilt.matching import MISNAMED, UNPAIRED, _cost, match_rafts

LATTICE = np.array([[5.0 * col, 3.4 * row] for row in range(3) for col in range(4)])


def named(order: np.ndarray, count: int) -> np.ndarray:
    out = np.zeros((len(order), count), bool)
    for row, name in enumerate(order):
        if name >= 0:
            out[row, name] = True
    return out


def matched(seen: np.ndarray, sigma: float, names: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    nothing = np.zeros((len(seen), len(LATTICE)))
    found = match_rafts(
        seen, np.full(len(seen), sigma), LATTICE, named(names, len(LATTICE)), nothing
    )
    return found.planned, found.is_sure


def test_any_exchange_of_labels_is_undone_by_good_fixes() -> None:
    random = np.random.default_rng(5)
    for _ in range(50):
        names = random.permutation(len(LATTICE))
        seen = LATTICE + random.normal(scale=0.3, size=LATTICE.shape)
        planned, sure = matched(seen, 0.03, names)
        assert planned.tolist() == list(range(len(LATTICE)))
        assert sure.all()


def test_poor_fixes_among_close_rafts_leave_swapped_names_in_doubt() -> None:
    random = np.random.default_rng(6)
    names = np.arange(len(LATTICE))
    names[[5, 6]] = names[[6, 5]]
    wrong_and_sure = unsaid = 0
    for _ in range(300):
        seen = LATTICE + random.normal(scale=2.0, size=LATTICE.shape)
        planned, sure = matched(seen, 2.0, names)
        wrong = planned != np.arange(len(LATTICE))
        wrong_and_sure += int((sure & wrong).sum())
        unsaid += bool((sure & wrong)[[5, 6]].any())
    # Twenty to one is what 'sure' claims of a raft; the exchanged pair is the worst case for it.
    assert wrong_and_sure <= 300 * len(LATTICE) / 20
    assert unsaid <= 300 / 4


def test_a_drifted_raft_keeps_its_name_and_a_stranger_is_extra() -> None:
    seen = LATTICE.copy()
    seen[3] += (40.0, 10.0)
    names = np.arange(len(LATTICE))
    names[7] = -1
    seen = np.vstack([seen, [[-30.0, -30.0]]])
    planned, sure = matched(seen, 0.03, np.append(names, -1))
    assert planned.tolist() == [*range(len(LATTICE)), -1]
    assert sure.all()


def test_missing_rafts_stay_without_a_partner() -> None:
    planned, _ = matched(LATTICE[2:], 0.03, np.full(len(LATTICE) - 2, -1))
    assert planned.tolist() == list(range(2, len(LATTICE)))
    assert matched(LATTICE[:0], 0.03, np.empty(0, int))[0].tolist() == []


def test_size_tells_rafts_apart_that_lie_close() -> None:
    misfit = np.zeros((2, 2))
    misfit[0, 0] = misfit[1, 1] = 300.0
    place = np.array([[0.0, 0.0], [1.0, 0.0]])
    found = match_rafts(place, np.full(2, 0.03), place, np.zeros((2, 2), bool), misfit)
    assert found.planned.tolist() == [1, 0]


@pytest.mark.parametrize("seed", range(20))
def test_it_is_the_best_of_every_assignment(seed: int) -> None:
    """Brute force over all assignments of four rafts, with any left out."""
    random = np.random.default_rng(seed)
    planned = random.uniform(0, 4, (4, 2))
    seen = random.uniform(0, 4, (4, 2))
    names = named(random.permutation(4), 4)
    sigma = np.full(4, 0.5)
    cost = _cost(seen, sigma, planned, names, np.zeros((4, 4)))

    def total(choice: tuple[int, ...]) -> float:
        pairs = [(row, col) for row, col in enumerate(choice) if col < 4]
        return float(sum(cost[pair] for pair in pairs)) + 2 * UNPAIRED * (4 - len(pairs))

    best = min(total(choice) for choice in permutations(range(8), 4))
    found = match_rafts(seen, sigma, planned, names, np.zeros((4, 4))).planned
    assert total(tuple(np.where(found < 0, 4 + np.arange(4), found))) == pytest.approx(best)
    assert MISNAMED > 0
