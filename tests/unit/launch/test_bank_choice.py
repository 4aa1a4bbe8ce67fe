"""Which bank: what people can do goes before minutes, and the words say which of them decided."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely.geometry import Point

from geoplan.launch.bank import WadingLeg
from geoplan.launch.bank_choice import bank_score, reason_for
from geoplan.launch.handling import raft_handling
from geoplan.launch.routes import tow_routes
from geoplan.site import LaunchPlace
from tests.unit.launch.lakes import body, fields, raft, settings

POND = shapely.box(0, 0, 40, 30)


def bank_of(places: tuple[LaunchPlace, ...], depth: object = 0.6) -> tuple[str, str]:
    water = replace(body(POND, []), launches=places)
    (route,), _, _ = tow_routes(
        water,
        fields(POND, depth),  # type: ignore[arg-type]
        shapely.MultiPolygon([POND]),
        [raft("R1", 20, 8)],
        settings(),
    )
    return route.launch_id, route.bank_reason


def test_one_bank_needs_no_reason() -> None:
    assert bank_of((LaunchPlace("A", Point(20, 0)),)) == ("A", "the only launching place")


def test_the_sooner_of_two_is_taken_and_the_minutes_said() -> None:
    """22 m against 8 m of way at 0.3 m/s there and back: 14 · 2 / 0.3 / 60 = 1.6 min."""
    near, far = LaunchPlace("far", Point(20, 30)), LaunchPlace("near", Point(20, 0))
    assert bank_of((near, far)) == ("near", "2 min sooner than from far")


def test_a_long_carry_outweighs_a_short_tow() -> None:
    """100 m of carrying at 0.2 m/s there and back: 16.7 min; less the 1.6 min of towing."""
    near = LaunchPlace("near", Point(20, 0), carry_m=100.0)
    assert bank_of((near, LaunchPlace("far", Point(20, 30)))) == (
        "far",
        "15 min sooner than from near",
    )


def test_a_bank_too_steep_for_the_crew_is_left() -> None:
    """576 kg on skids, friction 0.4: 60 % slope wants 5 kN, flat 2.3 kN; four pull 275 N."""
    near = LaunchPlace("near", Point(20, 0), slope_pct=60.0)
    far = LaunchPlace("far", Point(20, 30), slope_pct=2.0)
    light = settings()
    light = light.model_copy(update={"launch": light.launch.model_copy(update={"bare_kg_m2": 5.0})})
    water = replace(body(POND, []), launches=(near, far))
    (route,), _, _ = tow_routes(
        water, fields(POND, 0.6), shapely.MultiPolygon([POND]), [raft("R1", 20, 8)], light
    )
    # 48 kg: 471 N · (0.4 cos + sin) = 404 N at 60 %, six people; 198 N at 2 %, three.
    assert (route.launch_id, route.bank_reason) == (
        "far",
        "the crew is enough, which it is not at near",
    )


def test_where_people_would_go_too_deep_is_left() -> None:
    given = settings().launch
    line = shapely.LineString([(0, 0), (0, 6)])
    most = given.wading_m
    deep, dry = WadingLeg(line, most + 0.01, most + 0.01), WadingLeg(line, most, most + 0.01)
    light = raft_handling(20.0, 15.0, given)
    near = bank_score(LaunchPlace("near", Point(0, 0)), deep, 8.0, light, given)
    far = bank_score(LaunchPlace("far", Point(0, 0)), dry, 80.0, light, given)
    assert min(near, far) == far
    assert reason_for([near, far], 2) == "people need not go as deep as at near"


def test_of_two_banks_for_a_heavy_raft_that_is_taken_where_something_can_drive() -> None:
    """576 kg are beyond a crew of four; a hand cart does not draw them."""
    near = LaunchPlace("near", Point(20, 0), vehicle=" Hand cart ")
    assert bank_of((near, LaunchPlace("far", Point(20, 30), vehicle="tractor"))) == (
        "far",
        "something can drive there to draw it, which is not said of near",
    )


def test_a_bank_where_people_can_stand_to_plant_outweighs_minutes() -> None:
    """The near bank falls off steeply: 0.9 m where the raft floats, the far one shelves."""
    steep = lambda e, n: np.where(n < 15, 0.95, 0.6)  # noqa: E731
    near, far = LaunchPlace("near", Point(20, 0)), LaunchPlace("far", Point(20, 30))
    assert bank_of((near, far), steep) == (
        "far",
        "people can stand beside it to plant, which they cannot at near",
    )


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_a_tie_is_settled_by_name(order: tuple[int, int]) -> None:
    both = (LaunchPlace("A", Point(15, 0)), LaunchPlace("B", Point(25, 0)))
    assert bank_of(tuple(both[k] for k in order))[0] == "A"
