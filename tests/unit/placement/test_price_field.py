"""The price field: closed forms, its law, and a judge that knows nothing of its lattice."""

import itertools

import numpy as np
import pytest
import shapely

from geoplan.placement import pose_judge, price_problem
from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.bound import Limit, area_bound
from geoplan.placement.patience import Patience
from geoplan.placement.pose_lattice import lattice_boxes
from geoplan.placement.price_field import FieldProof, price_field
from geoplan.placement.price_problem import posed
from geoplan.placement.price_programme import Programme, first_poses
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType, footprints
from tests.unit.placement.test_bound import RAFT, SMALL, surface_of

GAP = 1.0


def stock(*most: float) -> list[Limit]:
    return [
        Limit("stock", "", tuple(float(k == t) for k in range(len(most))), value)
        for t, value in enumerate(most)
    ]


def proof_in(
    basin: shapely.Geometry, surface: WorthSurface, most: float, kind: RaftType = RAFT
) -> FieldProof:
    found = price_field([surface], [AllowedRegion(kind, basin, ())], GAP, stock(most))
    assert found is not None
    return found


def judged(
    proof: FieldProof,
    surface: WorthSurface,
    basin: shapely.Geometry,
    share: float,
    rent: float = 0.0,
) -> float:
    """The most that a legal pose, drawn at random, is worth beyond a share of what it pays."""
    rng = np.random.default_rng(11)
    west, south, east, north = basin.bounds
    x, y = rng.uniform(west, east, 6000), rng.uniform(south, north, 6000)
    heading = rng.uniform(0, 180, 6000)
    rafts = footprints(x, y, heading, RAFT.length_m, RAFT.width_m)
    legal = shapely.covers(basin, rafts)
    x, y, heading, rafts = x[legal][:50], y[legal][:50], heading[legal][:50], rafts[legal][:50]
    assert len(x)
    worth = RAFT.planted_area_m2 * surface.mean_under(RAFT, x, y, heading)
    priced = WorthSurface(surface.west_m, surface.south_m, surface.cell_size_m, proof.field)
    step = 0.05
    most = -np.inf
    for k, raft in enumerate(rafts):
        wide = shapely.buffer(raft, GAP / 2, quad_segs=32)
        a, b, c, d = wide.bounds
        px, py = np.meshgrid(np.arange(a, c, step), np.arange(b, d, step))
        inside = shapely.contains_xy(wide, px, py)
        paid = float(priced.at(px[inside], py[inside]).mean()) * wide.area
        room = sum(
            price
            for room, price in zip(proof.rooms, proof.room_prices, strict=True)
            if room.outline.covers(shapely.Point(x[k], y[k]))
        )
        pays = paid + sum(proof.prices) + room + proof.margin + rent
        most = max(most, float(worth[k]) - share * pays)
    return most


@pytest.mark.parametrize("kind", ["cone", "ridge", "valley"])
def test_every_legal_pose_pays_its_worth(kind: str) -> None:
    surface = surface_of(kind)
    basin = shapely.Point(0, 0).buffer(6.0)
    proof = proof_in(basin, surface, 3.0)
    assert judged(proof, surface, basin, 1.0) < 2e-3 * RAFT.planted_area_m2
    assert judged(proof, surface, basin, 0.9) > 2e-2 * RAFT.planted_area_m2


@pytest.mark.parametrize("kind", ["cone", "ridge"])
def test_of_large_water_only_the_part_that_can_pay_is_looked_at(
    kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Poses that no row speaks of pay by the rent alone; the judge draws them all the same."""
    surface = surface_of(kind)
    basin = shapely.Point(0, 0).buffer(8.0)
    region, wanted = [AllowedRegion(RAFT, basin, ())], stock(3.0)
    whole = proof_in(basin, surface, 3.0)
    known = area_bound([surface], region, GAP, wanted)
    monkeypatch.setattr(price_problem, "_is_too_large", lambda *_: True)
    assert price_field([surface], region, GAP, wanted) is None
    part = price_field([surface], region, GAP, wanted, np.inf, known.prices)
    assert part is not None
    assert part.prices[0] >= 0.8 * known.prices[0] > 0
    assert judged(part, surface, basin, 1.0) < 2e-3 * RAFT.planted_area_m2
    assert best_pair(basin, surface) <= part.value
    # A second method: the whole water by the simplex, to what five rounds leave.
    assert part.value == pytest.approx(whole.value, rel=0.03)


def test_the_larger_the_water_the_fewer_poses_are_looked_at(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A plan of few rafts is proven however large the water: poses worth less need no field."""
    surface, basin = surface_of("cone"), shapely.Point(0, 0).buffer(8.0)
    region, wanted = [AllowedRegion(RAFT, basin, ())], stock(1.0)
    known = area_bound([surface], region, GAP, wanted)
    counts = {
        share: sum(
            len(kind.held.poses)
            for kind in posed([surface], region, GAP, wanted, [share * known.prices[0]]).types
        )
        for share in (0.8, 0.9)
    }
    assert counts[0.9] < counts[0.8]
    monkeypatch.setattr(price_problem, "_is_too_large", lambda *_: True)
    monkeypatch.setattr(price_problem, "_MOST_POSES", counts[0.9])
    part = price_field([surface], region, GAP, wanted, np.inf, known.prices)
    assert part is not None
    assert part.prices[0] >= 0.9 * known.prices[0] > 0
    assert judged(part, surface, basin, 1.0) < 2e-3 * RAFT.planted_area_m2
    assert part.value < known.value


@pytest.mark.parametrize("kind", ["cone", "ridge"])
def test_what_plans_are_worth_beyond_a_rent_is_bounded_for_any_number(kind: str) -> None:
    """With the rents of its rafts added again it bounds plans of every number of them."""
    surface, basin = surface_of(kind), shapely.Point(0, 0).buffer(6.0)
    region = [AllowedRegion(RAFT, basin, ())]
    bounds = [proof_in(basin, surface, count).value for count in (1.0, 2.0, 4.0)]
    best = best_pair(basin, surface)
    for rent in (0.5 * bounds[0], 0.9 * bounds[0], 0.99 * bounds[0]):
        proof = price_field([surface], region, GAP, stock(100.0), paid_before=[rent])
        assert proof is not None
        assert best <= proof.value + 2 * rent
        assert judged(proof, surface, basin, 1.0, rent) < 2e-3 * RAFT.planted_area_m2
    # At a rent that no raft is worth there is no surplus.
    proof = price_field([surface], region, GAP, stock(100.0), paid_before=[1.001 * bounds[0]])
    assert proof is not None
    assert proof.value <= 2e-3 * bounds[0]


class Asked(Patience):
    """Time that is up once it has been asked for so many times."""

    left = 0

    def is_over(self) -> bool:
        type(self).left -= 1
        return self.left < 0


def test_what_is_proven_when_time_is_up_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """Time is up at every look at the clock in turn, most of them within a round."""
    basin, surface = shapely.Point(0, 0).buffer(5.0), surface_of("ridge")
    region, wanted = [AllowedRegion(RAFT, basin, ())], stock(3.0)
    whole = price_field([surface], region, GAP, wanted)
    monkeypatch.setattr(pose_judge, "_AT_ONCE", 4000)
    found, asked = [], 0
    while not found or Asked.left < 0:
        monkeypatch.setattr(Asked, "left", asked)
        found.append(price_field([surface], region, GAP, wanted, patience=Asked()))
        asked += 1
    assert found[0] is None
    values = [each.value for each in found if each is not None]
    # Before a round of the field each raft pays the price of the limit alone, its greatest worth.
    top = 3 * RAFT.planted_area_m2 * float(surface.nodes.max())
    assert top >= values[0]
    assert all(later <= sooner for sooner, later in itertools.pairwise(values))
    assert best_pair(basin, surface) <= values[-1] < values[0]
    # A round that is broken off leaves what was proven before it; in parts, all is the same.
    assert len(values) > 3 * len(set(values)) > 3
    assert whole is not None
    assert found[-1] is not None
    assert values[-1] == whole.value
    assert np.array_equal(found[-1].field, whole.field)


def test_the_solver_breaks_off_when_time_is_up() -> None:
    basin, surface = shapely.Point(0, 0).buffer(5.0), surface_of("ridge")
    problem = posed([surface], [AllowedRegion(RAFT, basin, ())], GAP, stock(3.0))
    assert problem is not None
    programme = Programme(problem)
    programme.take(
        [first_poses(problem.types[0])],
        [problem.types[0].asked(np.zeros(surface.nodes.shape))],
        problem,
    )
    assert programme.solved(Late()) is None
    assert programme.solved() is not None


class Late(Patience):
    """Time that runs out in the midst of what was begun."""

    @property
    def left_s(self) -> float:
        return 0.0


def test_room_for_one_raft_is_worth_one_raft() -> None:
    """4.4 x 2.8 m: by area the grown basin holds 1.2 rafts; on flat worth one is worth its area."""
    proof = proof_in(shapely.box(-2.2, -1.4, 2.2, 1.4), surface_of("flat"), 5.0)
    assert RAFT.planted_area_m2 <= proof.value <= RAFT.planted_area_m2 * 1.001
    assert proof.most_rafts == 1


def test_two_rooms_hold_one_raft_each() -> None:
    rooms = shapely.union_all([shapely.box(-8, -1.4, -3.6, 1.4), shapely.box(3.6, -1.4, 8, 1.4)])
    proof = proof_in(rooms, surface_of("flat"), 5.0)
    assert 2 * RAFT.planted_area_m2 <= proof.value <= 2 * RAFT.planted_area_m2 * 1.001


def test_where_no_raft_fits_nothing_is_worth_anything() -> None:
    """A basin wider than the raft on every side but shorter than it on every heading."""
    proof = proof_in(shapely.box(-1.8, -1.8, 1.8, 1.8), surface_of("flat"), 5.0)
    assert proof.value == 0.0


def test_lattice_surrounds_every_legal_pose() -> None:
    surface = surface_of("flat")
    basin = shapely.Point(0, 0).buffer(3.0).union(shapely.box(0, -1.3, 7, 1.3))
    found = lattice_boxes(surface, basin, RAFT)
    boxes = {tuple(box[:3]): k for k, box in enumerate(found.boxes.tolist())}
    rng = np.random.default_rng(5)
    x, y, heading = (
        rng.uniform(-3, 7, 30_000),
        rng.uniform(-3, 3, 30_000),
        rng.uniform(0, 180, 30_000),
    )
    legal = shapely.covers(basin, footprints(x, y, heading, RAFT.length_m, RAFT.width_m))
    assert legal.sum() > 50
    for east, north, turn in zip(x[legal], y[legal], heading[legal], strict=True):
        row = int((north - surface.south_m) / 0.25)
        col = int((east - surface.west_m) / 0.25)
        step = int(turn / 7.5)
        corners = [
            [(step + a) % 24, row + b, col + c] for a in (0, 1) for b in (0, 1) for c in (0, 1)
        ]
        assert found.poses[found.corners[boxes[step, row, col]]].tolist() == corners


def test_all_poses_of_boxes_far_from_the_shore_are_legal() -> None:
    surface, basin = surface_of("flat"), shapely.Point(0, 0).buffer(6.0)
    found = lattice_boxes(surface, basin, RAFT)
    far = found.boxes[found.boxes[:, 3] == 0, :3]
    turn, row, col = (far + np.random.default_rng(6).random((len(far), 3))).T
    assert len(turn) > 100
    east, north = surface.west_m + 0.25 * col, surface.south_m + 0.25 * row
    rafts = footprints(east, north, 7.5 * turn, RAFT.length_m, RAFT.width_m)
    assert shapely.covers(basin, rafts).all()


def test_lattice_poses_are_worth_what_another_sum_over_their_rafts_says() -> None:
    surface, basin = surface_of("ridge"), shapely.Point(0, 0).buffer(4.0)
    problem = posed([surface], [AllowedRegion(RAFT, basin, ())], GAP, stock(2.0))
    assert problem is not None
    (kind,) = problem.types
    turn, row, col = kind.held.poses.T
    east, north = surface.west_m + 0.25 * col, surface.south_m + 0.25 * row
    exact = RAFT.planted_area_m2 * surface.mean_under(RAFT, east, north, 7.5 * turn)
    np.testing.assert_allclose(kind.worth, exact, rtol=5e-4)  # its points weigh a thousandth


@pytest.mark.parametrize("seed", range(3))
def test_bound_falls_as_rules_tighten_and_no_brute_force_beats_it(seed: int) -> None:
    rng = np.random.default_rng(seed)
    surface = surface_of("cone" if seed % 2 else "ridge")
    basin = shapely.Point(0, 0).buffer(5.5)
    basin = basin.difference(shapely.Point(*rng.uniform(-5, 5, 2)).buffer(1.5))
    basin = shapely.multipolygons([p for p in shapely.get_parts(basin) if p.area > RAFT.area_m2])
    three, two = proof_in(basin, surface, 3.0), proof_in(basin, surface, 2.0)
    narrow = proof_in(basin.buffer(-0.4), surface, 2.0)
    region = [AllowedRegion(RAFT, basin, ())]
    assert two.value <= area_bound([surface], region, GAP, stock(2.0)).value
    assert narrow.value <= two.value * 1.01  # what finite rounds leave
    assert two.value <= three.value * 1.01
    assert 0 < best_pair(basin, surface) <= two.value


def best_pair(basin: shapely.Geometry, surface: WorthSurface) -> float:
    east, north, heading = (
        axis.ravel()
        for axis in np.meshgrid(
            np.arange(-4, 4.01, 0.4), np.arange(-4, 4.01, 0.4), np.arange(0, 180, 15.0)
        )
    )
    poses = footprints(east, north, heading, RAFT.length_m, RAFT.width_m)
    legal = shapely.covers(basin, poses)
    poses = poses[legal]
    value = RAFT.planted_area_m2 * surface.mean_under(
        RAFT, east[legal], north[legal], heading[legal]
    )
    tree = shapely.STRtree(poses)
    best = float(value.max(initial=0.0))
    for k, pose in enumerate(poses):
        far = np.ones(len(poses), bool)
        far[tree.query(pose, predicate="dwithin", distance=GAP - 1e-9)] = False
        if far.any():
            best = max(best, float(value[k] + value[far].max()))
    return best


def test_two_types_keep_their_own_stock() -> None:
    surface = surface_of("flat")
    box = shapely.box(-9, -9, 9, 9)
    regions = [AllowedRegion(RAFT, box, ()), AllowedRegion(SMALL, box, ())]
    proof = price_field([surface, surface], regions, GAP, stock(2.0, 3.0))
    assert proof is not None
    exact = 2 * RAFT.planted_area_m2 + 3 * SMALL.planted_area_m2
    assert exact <= proof.value <= exact * 1.001
