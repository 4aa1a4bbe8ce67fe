"""Why no way leads to a raft: ponds in which one thing alone bars it, and one where several do."""

import numpy as np
import pytest
import shapely
from shapely.geometry import Point

from geoplan.launch.routes import tow_routes
from geoplan.site import WaterBody
from tests.unit.launch.lakes import DRAFT_M, WIDTH_M, body, fields, raft, settings

POND = shapely.box(0, 0, 40, 30)
BANK = [Point(20, 0)]


def why(water: WaterBody, depth: object = 1.0, cell_m: float = 0.5) -> str:
    """What bars a raft 22 m from the southern bank."""
    routes, lost, notes = tow_routes(
        water,
        fields(water.outline, depth, cell_m),  # type: ignore[arg-type]
        shapely.MultiPolygon([water.outline]),
        [raft("R1", 20, 22)],
        settings(),
    )
    assert routes == ()
    (one,) = lost
    assert one.raft_id == "R1"
    assert one.why_no_way in str(notes[0])
    return one.why_no_way


@pytest.mark.parametrize(("south", "north"), [(12, 14), (18, 30)])
def test_too_shallow_on_the_way_or_in_the_place(south: float, north: float) -> None:
    shoal = lambda e, n: np.where((n > south) & (n < north), 0.1, 1.5)  # noqa: E731
    found = why(body(POND, BANK), shoal)
    assert f"less than {DRAFT_M + 0.1:.2f} m deep at low level" in found


def test_too_narrow() -> None:
    walls = shapely.union(shapely.box(-1, 12, 19, 14), shapely.box(21, 12, 41, 14))
    found = why(body(POND.difference(walls), BANK), cell_m=0.1)
    assert f"less than {WIDTH_M:.2f} m wide" in found


def test_barred_by_rafts_in_the_water() -> None:
    found = why(body(POND, BANK, [shapely.box(-1, 10, 41, 12)]))
    assert found == "rafts that lie there already bar it"


def test_a_shelf_too_wide_to_wade() -> None:
    """Reliably 0.25 m and likely 0.30 m deep for 12 m: too little to tow, too much to stand in."""
    shelf = lambda e, n: np.where(n < 12, 0.25, 1.0)  # noqa: E731
    parts = (
        body(POND, BANK),
        fields(POND, shelf),
        shapely.MultiPolygon([POND]),
        [raft("R1", 20, 22)],
    )
    routes, lost, _ = tow_routes(*parts, settings(wading_m=0.4))
    assert (len(routes), lost) == (1, ())
    _, (one,), _ = tow_routes(*parts, settings(wading_m=0.29))
    assert "beyond what people can wade" in one.why_no_way


def test_shallow_and_narrow_at_once() -> None:
    walls = shapely.union(shapely.box(-1, 12, 19, 14), shapely.box(21, 12, 41, 14))
    shoal = lambda e, n: np.where((n > 16) & (n < 18), 0.1, 1.5)  # noqa: E731
    found = why(body(POND.difference(walls), BANK), shoal, cell_m=0.1)
    assert "m deep or" in found
    assert "m wide" in found


def test_rafts_and_a_shoal_at_once() -> None:
    shoal = lambda e, n: np.where((n > 16) & (n < 18), 0.1, 1.5)  # noqa: E731
    water = body(POND, BANK, [shapely.box(-1, 10, 41, 12)])
    assert why(water, shoal).startswith("land, or several of rafts there, depth")


def test_without_a_launch_place_nothing_is_said_of_each_raft() -> None:
    rafts = [raft("R1", 20, 22)]
    _, lost, notes = tow_routes(body(POND, []), fields(POND, 1.0), POND, rafts, settings())
    assert lost == ()
    assert "no launch place" in str(notes[0])
