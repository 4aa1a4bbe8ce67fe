"""Tow routes on ponds known by hand, and what must hold on any lake."""

import itertools
import math

import numpy as np
import pytest
import shapely
from shapely.geometry import Point

from geoplan.launch.free_water import cell_squares
from geoplan.launch.routes import DRAFT_MARGIN_M, tow_routes
from geoplan.plan import PlacedRaft, Route
from geoplan.raft import footprints
from geoplan.site import WaterBody
from tests.unit.launch.lakes import DRAFT_M, LENGTH_M, WIDTH_M, body, fields, raft, settings

POND = shapely.box(0, 0, 40, 30)


def footprint(placed: PlacedRaft) -> shapely.Polygon:
    return footprints(
        placed.easting_m,
        placed.northing_m,
        placed.heading_deg,
        placed.length_m,
        placed.width_m,
    )[0]


def routes_on(
    water: WaterBody,
    rafts: list[PlacedRaft],
    depth: object = 1.0,
    wading_m: float = 0.7,
    cell_m: float = 0.5,
) -> tuple[dict[str, Route], list[str]]:
    """Route of each raft and the warnings as text; the low-level edge is the outline."""
    routes, _, notes = tow_routes(
        water,
        fields(water.outline, depth, cell_m),  # type: ignore[arg-type]
        shapely.MultiPolygon([water.outline]),
        rafts,
        settings(wading_m),
    )
    assert [route.sequence for route in routes] == list(range(1, len(routes) + 1))
    assert {note.severity for note in notes} <= {"warning"}
    return {route.raft_id: route for route in routes}, [str(note) for note in notes]


def test_straight_from_the_bank_to_the_centre() -> None:
    found, notes = routes_on(body(POND, [Point(20, 0)]), [raft("R1", 20, 20)])
    route = found["R1"]
    assert notes == []
    assert route.launch_id == "L1"
    assert route.path.coords[0] == (20.0, 0.0)
    assert route.path.coords[-1] == (20.0, 20.0)
    assert route.length_m == route.path.length == pytest.approx(20.0, abs=1e-9)
    assert route.least_depth_m == pytest.approx(1.0)


def test_round_an_island_at_half_the_width() -> None:
    """A taut string round two quarter circles, in closed form."""
    water = POND.difference(shapely.box(15, 10, 25, 14))
    found, _ = routes_on(body(water, [Point(20, 0)]), [raft("R1", 20, 22)])
    route = found["R1"]
    assert shapely.distance(route.path, shapely.box(15, 10, 25, 14)) >= WIDTH_M / 2
    wade_m = route.path.coords[1][1]

    def round_a_corner_m(along_m: float, radius_m: float) -> float:
        """From a point beside the island's middle to where the string runs along its side."""
        away_m = math.hypot(5, along_m)
        turn = math.atan2(5, along_m) + math.asin(radius_m / away_m)
        return math.sqrt(away_m**2 - radius_m**2) + radius_m * turn

    def whole_m(radius_m: float) -> float:
        to, beyond = round_a_corner_m(10 - wade_m, radius_m), round_a_corner_m(8, radius_m)
        return wade_m + to + 4 + beyond

    # Arcs are drawn outside the true ones by up to 1.6 % of the radius.
    assert whole_m(WIDTH_M / 2) < route.length_m < whole_m(1.016 * WIDTH_M / 2)


def test_the_wading_leg_ends_half_the_width_into_deep_water() -> None:
    shelf = lambda e, n: np.where(n > 5, 1.0, 0.25)  # noqa: E731
    found, notes = routes_on(body(POND, [Point(20, 0)]), [raft("R1", 20, 20)], shelf)
    start = found["R1"].path.coords[1]
    assert start[1] == pytest.approx(5 + WIDTH_M / 2, rel=0.016)
    assert start[1] >= 5 + WIDTH_M / 2
    # The least depth leaves the wading leg out.
    assert found["R1"].least_depth_m == pytest.approx(1.0)
    assert notes == []


def test_depth_needed_is_the_draft_and_a_margin() -> None:
    need = DRAFT_M + DRAFT_MARGIN_M
    water = body(POND, [Point(20, 0)])
    found, _ = routes_on(water, [raft("R1", 20, 20)], need + 1e-6)
    assert set(found) == {"R1"}
    found, notes = routes_on(water, [raft("R1", 20, 20)], need - 1e-6)
    assert found == {}
    assert "'R1'" in notes[0]
    assert "sound the way" in notes[0]


def test_a_bar_too_shallow_cuts_a_raft_off() -> None:
    bar = lambda e, n: np.where((n > 12) & (n < 14), 0.1, 1.5)  # noqa: E731
    rafts = [raft("near", 20, 7), raft("far", 20, 22)]
    found, notes = routes_on(body(POND, [Point(20, 0)]), rafts, bar)
    assert set(found) == {"near"}
    assert "'far'" in notes[0]
    assert "'near'" not in notes[0]
    both, none = routes_on(body(POND, [Point(20, 0), Point(20, 30)]), rafts, bar)
    assert {raft_id: route.launch_id for raft_id, route in both.items()} == {
        "near": "L1",
        "far": "L2",
    }
    assert none == []


@pytest.mark.parametrize(("gap_m", "reached"), [(2.3, False), (2.5, True)])
def test_a_gate_must_be_as_wide_as_the_raft(gap_m: float, reached: bool) -> None:
    gate = POND.difference(
        shapely.union(
            shapely.box(-1, 12, 20 - gap_m / 2, 14), shapely.box(20 + gap_m / 2, 12, 41, 14)
        )
    )
    rafts = [raft("R1", 20, 22), raft("S1", 20, 20, raft_type="small")]
    found, _ = routes_on(body(gate, [Point(20, 0)]), rafts, cell_m=0.05)
    assert ("R1" in found) == reached
    assert "S1" in found


def test_the_nearer_bank_is_taken() -> None:
    water = body(POND, [Point(0, 15), shapely.LineString([(30, 0), (35, 0)])])
    found, _ = routes_on(water, [raft("west", 8, 15), raft("south", 32, 8)])
    assert found["west"].launch_id == "L1"
    assert found["south"].launch_id == "L2"
    assert 8.0 <= found["south"].length_m < 8.0 + 0.5


def test_the_farthest_goes_first_unless_it_would_block() -> None:
    open_water = [raft("near", 10, 8), raft("far", 30, 25)]
    found, _ = routes_on(body(POND, [Point(20, 0)]), open_water)
    assert found["far"].sequence == 1
    # B lies behind A as seen from the bank; nearer or not, B goes before A.
    in_line = [raft("A", 20, 10, 90.0), raft("B", 20, 20, 90.0), raft("C", 35, 25)]
    found, _ = routes_on(body(POND, [Point(20, 0)]), in_line)
    assert found["B"].sequence < found["A"].sequence
    assert found["C"].sequence == 1


def test_a_nearer_raft_goes_first_where_the_farther_bars_its_way() -> None:
    """A long raft lies across the way to a place behind one end of it."""
    long_raft = PlacedRaft(**{**vars(raft("long", 31, 10, 90.0)), "length_m": 24.0})
    behind = raft("behind", 22, 14, 90.0)
    water = body(POND, [Point(20, 0)])
    found, _ = routes_on(water, [long_raft, behind])
    assert found["long"].length_m > found["behind"].length_m
    assert found["behind"].sequence == 1
    assert shapely.distance(found["behind"].path, footprint(long_raft)) < WIDTH_M / 2


def test_a_raft_in_the_water_already_is_never_towed_through() -> None:
    old = shapely.box(15, 9, 25, 11)
    rafts = [raft("R1", 20, 20), raft("old 1", 20, 10, status="existing")]
    found, _ = routes_on(body(POND, [Point(20, 0)], [old]), rafts)
    assert set(found) == {"R1"}
    assert shapely.distance(found["R1"].path, old) >= WIDTH_M / 2
    as_built = [raft("R1", 20, 20), raft("R0", 20, 10, 90.0, status="as_built")]
    found, _ = routes_on(body(POND, [Point(20, 0)]), as_built)
    assert shapely.distance(found["R1"].path, footprint(as_built[1])) >= WIDTH_M / 2


def test_rafts_that_block_each_other_are_led_round() -> None:
    """Side by side and end-on to the bank, each lies in the straight way to the other."""
    apart = WIDTH_M / 2 + 0.05
    rafts = [raft("A", 20 - apart, 10), raft("B", 20 + apart, 10)]
    found, notes = routes_on(body(POND, [Point(20, 0)]), rafts)
    assert set(found) == {"A", "B"}
    assert notes == []
    first, second = sorted(rafts, key=lambda placed: found[placed.raft_id].sequence)
    later = found[second.raft_id]
    assert shapely.distance(later.path, footprint(first)) >= WIDTH_M / 2 - 1e-6
    assert found[first.raft_id].length_m < later.length_m < found[first.raft_id].length_m + 0.5


def test_rafts_that_block_each_other_for_good_are_named() -> None:
    """They fill a channel, so whichever goes second has no room beside the first."""
    side = WIDTH_M + 0.05
    channel = shapely.union(shapely.box(10, 0, 30, 6), shapely.box(20 - side, 5, 20 + side, 20))
    apart = WIDTH_M / 2 + 0.025
    rafts = [raft("A", 20 - apart, 10), raft("B", 20 + apart, 10)]
    routes, lost, notes = tow_routes(
        body(channel, [Point(20, 0)]),
        fields(channel, 1.0, 0.1),
        shapely.MultiPolygon([channel]),
        rafts,
        settings(),
    )
    assert [route.raft_id for route in routes] == ["B"]
    assert [one.raft_id for one in lost] == ["A"]
    assert "no way is as wide as it" in lost[0].why_no_way
    tight, barred = [str(note) for note in notes]
    assert not routes[0].has_room
    assert "no room to turn rafts 'B'" in tight
    assert "no order of launching that has room for rafts 'A'" in barred


def test_rafts_that_cannot_turn_beside_each_other_have_an_order_without_room() -> None:
    """End to end, each at the head of a channel of its own, too narrow to turn in before.

    Each sweeps the other's place as it turns, but its line stays half a length away, which is
    more than half a width.
    """
    apart = LENGTH_M / 2 + 0.025
    heads = shapely.box(20 - LENGTH_M - 0.1, 8.7, 20 + LENGTH_M + 0.1, 11.3)
    channels = [
        shapely.box(20 + side * apart - 1.3, 3, 20 + side * apart + 1.3, 11) for side in (-1, 1)
    ]
    water = shapely.union_all([shapely.box(10, 0, 30, 4), heads, *channels])
    rafts = [raft("A", 20 - apart, 10, 90.0), raft("B", 20 + apart, 10, 90.0)]
    routes, lost, notes = tow_routes(
        body(water, [Point(20, 0)]),
        fields(water, 1.0, 0.1),
        shapely.MultiPolygon([water]),
        rafts,
        settings(),
    )
    assert lost == ()
    assert [(route.raft_id, route.has_room) for route in routes] == [("A", False), ("B", False)]
    assert [route.clearance_m >= WIDTH_M / 2 for route in routes] == [True, True]
    (tight,) = [str(note) for note in notes]
    assert "no room to turn rafts 'A', 'B'" in tight


def test_a_corner_too_tight_for_turning_is_gone_round_where_there_is_room() -> None:
    """A dogleg as wide as the raft bars it; a wider way of twice the length lets it turn."""
    tight = shapely.union_all(
        [shapely.box(0, 0, 40, 8), shapely.box(18.7, 7, 21.3, 16), shapely.box(18.7, 13.4, 40, 16)]
    )
    only, notes = routes_on(body(tight, [Point(20, 0)]), [raft("R1", 34, 14.7, 90.0)], cell_m=0.1)
    assert not only["R1"].has_room
    assert "no room to turn rafts 'R1'" in notes[0]
    wide = shapely.union_all([tight, shapely.box(34, 0, 40, 16), shapely.box(28, 8, 40, 14)])
    found, _ = routes_on(body(wide, [Point(20, 0)]), [raft("R1", 34, 14.7, 90.0)], cell_m=0.1)
    assert found["R1"].has_room


def test_stated_clearance_is_the_distance_to_what_bars_the_way() -> None:
    island = shapely.box(15, 10, 25, 14)
    water = POND.difference(island)
    found, _ = routes_on(body(water, [Point(20, 0)]), [raft("R1", 20, 22), raft("R2", 6, 15)])
    for name, route in found.items():
        width = WIDTH_M
        assert route.clearance_m >= width / 2 - 1e-6
        tow = shapely.LineString(route.path.coords[1:])
        part = shapely.ops.substring(tow, 0.0, tow.length - route.turn_before_m)
        earlier = [footprint(raft("R2", 6, 15))] if name == "R1" and route.sequence == 2 else []
        near = [shapely.boundary(water), *earlier]
        assert route.clearance_m == pytest.approx(
            min(shapely.distance(part, one) for one in near), abs=0.01
        )


def test_without_a_launch_place_a_warning_names_the_rafts() -> None:
    found, notes = routes_on(body(POND, []), [raft("R1", 20, 20), raft("R2", 10, 10)])
    assert found == {}
    assert "'R1', 'R2'" in notes[0]
    assert "launches" in notes[0]


def test_a_long_list_of_names_is_cut() -> None:
    rafts = [raft(f"R{k:02d}", 20, 20) for k in range(26)]
    _, notes = routes_on(body(POND, []), rafts)
    assert "'R19' and 6 more" in notes[0]


def test_nothing_planned_needs_no_launch_place() -> None:
    old = raft("old", 20, 20, status="existing")
    assert tow_routes(body(POND, []), fields(POND, 1.0), POND, [old], settings()) == ((), (), ())


def test_a_long_wade_and_a_deep_one_are_remarked_on() -> None:
    flat = lambda e, n: np.where(n > 15, 1.0, 0.25)  # noqa: E731
    found, notes = routes_on(body(POND, [Point(20, 0)]), [raft("R1", 20, 24)], flat)
    assert set(found) == {"R1"}
    assert "16.2 m from launch place 'L1'" in notes[0]
    # Likely 0.30 m deep and so waded; but it may be 0.34 m.
    shelf = lambda e, n: np.where(n > 5, 1.0, 0.25)  # noqa: E731
    _, notes = routes_on(body(POND, [Point(20, 0)]), [raft("R1", 20, 24)], shelf, wading_m=0.31)
    assert "0.34 m deep" in notes[0]


def test_a_raft_of_an_unknown_type_is_refused() -> None:
    stranger = PlacedRaft(**{**vars(raft("R1", 20, 20)), "raft_type": "barge"})
    with pytest.raises(ValueError, match="'barge'"):
        tow_routes(body(POND, [Point(20, 0)]), fields(POND, 1.0), POND, [stranger], settings())


def random_lake(seed: int) -> tuple[shapely.Polygon, list[PlacedRaft], list[Point]]:
    """A lake of lobes with islands, rafts in rows and two banks."""
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    bumps = sum(rng.normal(0, 0.2 / k) * np.cos(k * angle + rng.uniform(0, 6)) for k in range(2, 6))
    radius = 38 * np.clip(1 + bumps, 0.5, 1.5)
    lake = shapely.Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))
    for _ in range(3):
        lake = lake.difference(Point(*rng.uniform(-20, 20, 2)).buffer(rng.uniform(1, 3)))
    lake = max(shapely.get_parts(lake), key=lambda part: part.area)
    inner = lake.buffer(-7)
    rafts: list[PlacedRaft] = []
    heading = rng.uniform(0, 180)
    ahead = np.array([np.sin(np.radians(heading)), np.cos(np.radians(heading))])
    for i, j in itertools.product(range(-6, 7), range(-10, 11)):
        east, north = 5.0 * i * ahead + 3.4 * j * np.array([ahead[1], -ahead[0]])
        placed = raft(f"R{len(rafts) + 1:03d}", float(east), float(north), heading)
        if inner.covers(footprint(placed)) and rng.random() < 0.5:
            rafts.append(placed)
    bank = shapely.get_coordinates(lake.exterior)
    return lake, rafts, [Point(bank[k]) for k in rng.integers(0, len(bank), 2)]


@pytest.mark.parametrize("seed", range(5))
def test_what_must_hold_on_any_lake(seed: int) -> None:
    lake, rafts, banks = random_lake(seed)
    away = lambda e, n: 0.25 * shapely.distance(shapely.points(e, n), lake.boundary)  # noqa: E731
    water = body(lake, banks)
    known = fields(lake, away)
    routes, _, _ = tow_routes(water, known, shapely.MultiPolygon([lake]), rafts, settings())
    assert len(rafts) > 20
    assert len(routes) == len(rafts)
    need = DRAFT_M + DRAFT_MARGIN_M
    shallow = cell_squares(known.grid, known.reliable_depth_m(9.7) < need)
    by_id = {placed.raft_id: placed for placed in rafts}
    placed: list[shapely.Polygon] = []
    for route in routes:
        own = by_id[route.raft_id]
        bank = {"L1": banks[0], "L2": banks[1]}[route.launch_id]
        assert route.path.coords[0] == (bank.x, bank.y)
        assert route.path.coords[-1] == (own.easting_m, own.northing_m)
        assert route.length_m == route.path.length
        tow = shapely.LineString(route.path.coords[1:])
        assert shapely.distance(tow, shallow) >= WIDTH_M / 2 - 1e-6
        assert shapely.distance(tow, lake.boundary) >= WIDTH_M / 2 - 1e-6
        assert route.least_depth_m >= need
        if placed:
            assert shapely.distance(route.path, placed).min() >= WIDTH_M / 2 - 2e-6
        placed.append(footprint(own))
    # The same in any order of the rafts, to the last bit.
    again, _, _ = tow_routes(water, known, shapely.MultiPolygon([lake]), rafts[::-1], settings())
    assert [(r.raft_id, r.sequence, r.path.wkb) for r in again] == [
        (r.raft_id, r.sequence, r.path.wkb) for r in routes
    ]
