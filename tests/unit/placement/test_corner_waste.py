"""Water that round corners leave: its constant, its place, and that no packing leaves less."""

import math

import numpy as np
import pytest
import shapely
from shapely.affinity import translate

from geoplan.placement.allowed import AllowedRegion
from geoplan.placement.bound import Charge, Limit, bounded_room
from geoplan.placement.corner_waste import CORNER_WASTE, corner_waste_m2
from geoplan.placement.search import best_rows
from geoplan.placement.worth import WorthSurface
from geoplan.raft import RaftType, footprints

RAFT = RaftType(name="a", length_m=4.0, width_m=2.4, draft_m=0.2, planted_share=1.0)
GAP_M = 1.0
R_M = GAP_M / 2
#: Three discs of one radius that touch have a circle of this radius through their centres.
CAP = 2 / math.sqrt(3)


def half_spike(width: float, count: int = 1000) -> float:
    """Least waste between a raft's nearest direction and where a third raft is as near."""
    away = (np.arange(count) + 0.5) * width / count
    flat = np.arccos(np.cos(away / 2) ** 2)
    rise = np.maximum(np.maximum(math.pi / 6 - (width - away), flat), 0.0)
    return float((np.tan(rise) ** 2).mean() / 2 * width)


def test_constant_is_no_more_than_the_cheapest_way_round_a_corner() -> None:
    """A quarter turn is made of half spikes and of directions without a near raft."""
    step, few = math.radians(0.05), 40
    widest = math.floor(2 * math.atan(math.sqrt(CAP - 1)) / step)
    cost = np.array([half_spike(k * step) for k in range(widest + 1)])
    assert np.all(np.diff(cost) >= 0)
    # Narrower than a few steps, a half spike costs at least this much a radian; so does open water.
    rate = math.tan(math.pi / 6 - few * step) ** 2 / 2
    least = np.zeros(round(math.pi / 2 / step) + 1)
    for turn in range(1, len(least)):
        least[turn] = least[turn - 1] + rate * step
        # One whose width is rounded up by a step costs what a narrower one does.
        wide = np.arange(few, min(widest, turn - 1) + 1)
        if len(wide):
            least[turn] = min(least[turn], (least[turn - wide - 1] + cost[wide]).min())
    found = float(least[-1])
    assert found >= CORNER_WASTE
    # A quarter of a disc's waste in its hexagon, from which the constant is rounded down.
    exact = math.sqrt(3) / 2 - math.pi / 4
    assert found <= exact
    assert exact * 0.99 < CORNER_WASTE


def waste_at(rafts: np.ndarray, index: int, corner: np.ndarray, step: float = 0.01) -> float:
    """Area near a corner that is nearer to its raft than to others, beyond r, by small squares."""
    at = np.arange(-0.75, 0.75, step) + step / 2
    x, y = (part.ravel() for part in np.meshgrid(corner[0] + at, corner[1] + at))
    points = shapely.points(x, y)
    own = shapely.distance(rafts[index], points)
    counted = (own > R_M) & (own < CAP * R_M)
    points, own = points[counted], own[counted]
    foot = shapely.get_point(shapely.shortest_line(rafts[index], points), 0)
    near = shapely.distance(foot, shapely.points(*corner)) < 0.82 * R_M
    points, own = points[near], own[near]
    others = np.delete(rafts, index)
    others = others[shapely.distance(others, rafts[index]) < 3 * GAP_M]
    mine = np.ones(len(points), bool)
    for other in others:
        mine &= shapely.distance(other, points) > own
    return float(mine.sum()) * step**2


def pushed(seed: int, count: int = 9) -> np.ndarray:
    """Rafts thrown down about the first and pushed towards it as far as they go."""
    rng = np.random.default_rng(seed)
    rafts = [footprints(0.0, 0.0, 0.0, 4.0, 2.4)[0]]
    for _ in range(count):
        turn = rng.choice([0.0, 90.0, 45.0, rng.uniform(0, 180)])
        way = rng.uniform(0, 2 * math.pi)
        aim = rng.uniform(-2, 2, 2)
        east, north = aim + 14 * np.array([math.cos(way), math.sin(way)])
        raft = footprints(east, north, turn, 4.0, 2.4)[0]
        if shapely.distance(rafts, raft).min() < GAP_M:
            continue
        for _ in range(400):  # inwards, then along what it has met
            middle = shapely.get_coordinates(raft.centroid)[0]
            inward = (aim - middle) / max(math.hypot(*(aim - middle)), 1e-9)
            room = float(shapely.distance(rafts, raft).min()) - GAP_M
            side = np.array([-inward[1], inward[0]])
            moves = [inward, inward + side, inward - side]
            tries = (translate(raft, *(max(room, 0.004) * move)) for move in moves)
            legal = [t for t in tries if shapely.distance(rafts, t).min() >= GAP_M]
            if not legal:
                break
            raft = min(legal, key=lambda t: math.hypot(*(shapely.get_coordinates(t.centroid)[0])))
        rafts.append(raft)
    return np.array(rafts)


def lay(shift: float, count: int = 3) -> np.ndarray:
    """Rows side by side, each moved along by a share of a place: a grid, bricks, and between."""
    rows, cols = np.meshgrid(np.arange(-count, count + 1), np.arange(-count, count + 1))
    east = 5.0 * (cols + (shift * rows) % 1.0).ravel()
    order = np.argsort(np.hypot(east, 3.4 * rows.ravel()))
    found: np.ndarray = footprints(east[order], 3.4 * rows.ravel()[order], 90.0, 4.0, 2.4)
    return found


def meeting_corners() -> np.ndarray:
    """Corners of three rafts a gap apart from one another, none of them facing a side."""
    half = math.sqrt(0.5)
    along, across = 4.0 * half * np.array([1, 1]), 2.4 * half * np.array([1, -1])
    corner = np.array([GAP_M * math.sqrt(3) / 2, GAP_M / 2])
    third = shapely.Polygon([corner, corner + along, corner + along + across, corner + across])
    return np.array([shapely.box(-2.4, -4.0, 0.0, 0.0), shapely.box(-2.4, 1.0, 0.0, 5.0), third])


@pytest.mark.parametrize("rafts", [
    *(lay(shift) for shift in (0.0, 0.1, 0.2, 0.5)), meeting_corners(),
    *(pushed(seed) for seed in range(12)),
])  # fmt: skip
def test_no_packing_leaves_less_at_a_corner(rafts: np.ndarray) -> None:
    assert min(shapely.distance(a, b) for k, a in enumerate(rafts) for b in rafts[:k]) >= GAP_M * (
        1 - 1e-9
    )
    for corner in shapely.get_coordinates(rafts[0])[:4]:
        # Squares along the edges of what is counted are half in and half out.
        assert waste_at(rafts, 0, corner) >= CORNER_WASTE * R_M**2 * 0.98


def with_corners(
    surface: WorthSurface, region: shapely.Geometry, count: float = 1e6
) -> tuple[Charge, float]:
    """The charge that counts what corners leave, and the bound by it alone."""
    allowed = AllowedRegion(RAFT, shapely.multipolygons([region]), ())
    room = bounded_room(surface, [allowed], GAP_M, [Limit("stock", "", (1.0,), count)])
    charge = room.close_charges([surface])[1]
    return charge, room.bound_with(charge, room.limits).value


def surface_of(reach_m: float) -> WorthSurface:
    """A worth that falls from a point."""
    at = np.arange(-25, 25.01, 0.5)
    east, north = np.meshgrid(at, at)
    return WorthSurface(-25.0, -25.0, 0.5, np.exp(-np.hypot(east - 3, north + 2) / reach_m))


@pytest.mark.parametrize("reach_m", [1e9, 25.0, 6.0])
@pytest.mark.parametrize("shape", ["whole", "round", "comb"])
def test_every_raft_is_charged_its_worth(reach_m: float, shape: str) -> None:
    """In the middle by its corners, near the shore by the raised field: both by small squares."""
    region = {
        "whole": shapely.box(-14, -11, 14, 11),
        "round": shapely.Point(1, 0).buffer(9.0),
        "comb": shapely.box(-12, -9, 12, 9).difference(
            shapely.union_all([shapely.box(x, -9, x + 0.02, 4) for x in (-8, -3, 2, 7)])
        ),
    }[shape]
    surface = surface_of(reach_m)
    charge, _ = with_corners(surface, region)
    rng = np.random.default_rng(5)
    step = 0.05
    at = np.arange(-4, 4, step) + step / 2
    tried = 0
    for _ in range(1500):
        east, north = rng.uniform(-14, 14, 2)
        turn = rng.choice([0.0, 90.0, rng.uniform(0, 180)])
        raft = footprints(east, north, turn, 4.0, 2.4)[0]
        # Pushed south until it meets the shore, two times in three.
        if rng.random() < 0.67 and region.covers(raft):
            while region.covers(translate(raft, 0.0, -0.05)):
                raft = translate(raft, 0.0, -0.05)
        if not region.covers(raft) or tried == 40:
            continue
        tried += 1
        middle = shapely.get_coordinates(raft.centroid)[0]
        x, y = (part.ravel() for part in np.meshgrid(middle[0] + at, middle[1] + at))
        far = shapely.distance(raft, shapely.points(x, y))
        row = np.floor((y - surface.south_m) / 0.5).astype(int)
        col = np.floor((x - surface.west_m) / 0.5).astype(int)
        field = (
            RAFT.planted_area_m2
            / charge.paid_m2[0]
            * WorthSurface(surface.west_m, surface.south_m, 0.5, charge.worth[0]).at(x, y)
        )
        wide = far <= R_M
        paid = float((field * charge.raised[row, col])[wide].mean())
        paid *= 4.0 * 2.4 + 6.4 * GAP_M + math.pi * R_M**2
        for corner in shapely.get_coordinates(raft)[:4]:
            if region.boundary.distance(shapely.Point(corner)) >= 0.8345 * R_M:
                near = np.hypot(x - corner[0], y - corner[1]) < 1.41 * R_M
                paid += CORNER_WASTE * R_M**2 * float(field[near].min())
        under = RAFT.planted_area_m2 * float(surface.at(x[far == 0], y[far == 0]).mean())
        assert paid >= under * (1 - 2e-3)
    assert tried == 40


@pytest.mark.parametrize("seed", range(6))
def test_no_rows_are_worth_more_than_the_charged_bound(seed: int) -> None:
    rng = np.random.default_rng(seed)
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    far = 11 * (1 + 0.15 * np.cos(2 * turn + rng.uniform(0, 6)) + 0.1 * np.cos(3 * turn))
    pond = shapely.Polygon(np.column_stack([far * np.cos(turn), far * np.sin(turn)]))
    surface = surface_of([1e9, 25.0, 6.0][seed % 3])
    rows = best_rows(shapely.multipolygons([pond]), surface, RAFT, GAP_M, 10**6).poses
    assert len(rows) > 8
    assert float(rows.value.sum()) <= with_corners(surface, pond)[1]


@pytest.mark.parametrize(("along", "across"), [(1, 1), (1, 4), (3, 5), (6, 8)])
def test_a_box_that_rafts_fill_whole_is_not_bounded_below_them(along: int, across: int) -> None:
    width, height = 5.0 * along - 1.0, 3.4 * across - 1.0
    box = shapely.box(-width / 2, -height / 2, width / 2, height / 2)
    assert with_corners(surface_of(1e9), box)[1] >= 9.6 * along * across


def test_narrow_rafts_are_charged_for_themselves_alone() -> None:
    narrow = RaftType(name="n", length_m=4.0, width_m=0.9, draft_m=0.2, planted_share=1.0)
    assert corner_waste_m2(narrow, GAP_M) == 0.0
    assert corner_waste_m2(RAFT, 0.0) == 0.0
