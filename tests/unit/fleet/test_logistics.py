"""Trips against every way to make them, and against what must hold for any."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from geoplan.fleet.logistics import logistics
from geoplan.fleet.trips import Stops, least_length_m, trips
from geoplan.plan import PlacedRaft, Plan, SolveReport, WaterPlan
from geoplan.settings import Settings
from tests.laws.ponds import random_site


def stops(seed: int, count: int, most: int = 4, day_h: float = 8.0) -> Stops:
    rng = np.random.default_rng(seed)
    return Stops(
        rng.uniform(-8000, 8000, (count, 2)),
        tuple(int(k) for k in rng.integers(0, 7, count)),
        most,
        (1.0, 1.0),
        30000.0,
        day_h,
    )


def total(made: list[list[tuple[int, int]]], where: Stops) -> float:
    return sum(where.length_m([k for k, _ in trip]) for trip in made)


def brought(made: list[list[tuple[int, int]]], count: int) -> list[int]:
    out = [0] * count
    for trip in made:
        for k, rafts in trip:
            out[k] += rafts
    return out


@pytest.mark.parametrize(("seed", "count"), [(1, 6), (2, 40), (3, 250)])
def test_every_raft_is_brought_and_no_trip_too_full(seed: int, count: int) -> None:
    where = stops(seed, count)
    made = trips(where)
    assert brought(made, count) == list(where.load)
    for trip in made:
        assert 0 < sum(rafts for _, rafts in trip) <= where.most
        assert where.fits([k for k, _ in trip], [rafts for _, rafts in trip])
    assert total(made, where) >= least_length_m(where) - 1e-6


@pytest.mark.parametrize("seed", range(6))
def test_few_stops_have_the_shortest_trips(seed: int) -> None:
    where = replace(stops(seed, 5), load=(1, 2, 3, 1, 2))

    def partitions(left: tuple[int, ...]) -> list[list[tuple[int, ...]]]:
        if not left:
            return [[]]
        first, rest = left[0], left[1:]
        out = []
        for size in range(len(rest) + 1):
            for others in itertools.combinations(rest, size):
                remaining = tuple(k for k in rest if k not in others)
                out += [[(first, *others), *more] for more in partitions(remaining)]
        return out

    best = np.inf
    for groups in partitions((0, 1, 2, 3, 4)):
        length = 0.0
        for group in groups:
            tries = [
                where.length_m(order)
                for order in itertools.permutations(group)
                if where.fits(order, [where.load[k] for k in order])
            ]
            length += min(tries, default=np.inf)
        best = min(best, length)
    assert total(trips(where), where) == pytest.approx(best)


def test_joined_trips_are_shorter_than_one_for_each() -> None:
    where = replace(stops(5, 60, day_h=24.0), load=(1,) * 60)
    made = trips(where)
    assert total(made, where) < 0.7 * sum(where.length_m([k]) for k in range(60))
    assert total(made, where) < 1.6 * least_length_m(where)


def plan_of(counts: list[int]) -> tuple[Plan, list[str]]:
    report = SolveReport("", "", 0, 0, "", 0, 0)
    waters = []
    for k, count in enumerate(counts):
        raft = PlacedRaft(
            "r", f"w{k}", "four by two", 0, 0, 0, 4, 2, 8, 8, 2, 1, 2, None, None, 1, None
        )
        rafts = tuple(replace(raft, raft_id=f"r{i}") for i in range(count))
        waters.append(WaterPlan(f"w{k}", "", "", rafts, (), (), (), (), report, 0.0, 0.0))
    return Plan("s", "EPSG:25832", tuple(waters)), [water.water_id for water in waters]


def test_days_and_loads_of_a_crew() -> None:
    base = random_site(1)
    plan, names = plan_of([5, 2, 0])
    bodies = tuple(replace(base.water_bodies[0], water_id=name, launches=()) for name in names)
    tables = base.settings.model_dump() | {
        "yard": {"longitude_deg": 9.2, "latitude_deg": 56.2, "rafts_per_trip": 4}
    }
    site = replace(base, water_bodies=bodies, settings=Settings.model_validate(tables))
    made = logistics(plan, site)
    assert made is not None
    # Four and one for the first, two for the second; the last two share a trailer and a day:
    # 2 × 1 h + 3 × 1.5 h, beside 1 h + 4 × 1.5 h on another.
    assert sorted(sum(n for _, n in visit.counts) for visit in made.visits) == [1, 2, 4]
    assert len({visit.trip for visit in made.visits}) == 2
    assert made.work_days == 2
    assert [visit.sequence for visit in made.visits] == [1, 2, 3]
    assert made.least_total_m <= made.total_m + 1e-9
    assert {visit.water_id for visit in made.visits} == {"w0", "w1"}


def test_no_yard_no_trips() -> None:
    plan, _ = plan_of([1])
    assert logistics(plan, random_site(1)) is None


def test_a_raft_that_takes_longer_than_a_day_is_still_brought() -> None:
    where = replace(stops(1, 9, day_h=1.5), load=(1,) * 9)
    assert brought(trips(where), 9) == [1] * 9
    assert all(len(trip) == 1 for trip in trips(where))
