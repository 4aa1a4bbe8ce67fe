"""Sharing one stock, and plan folders that appear whole or not at all."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from geoplan.errors import InfeasibleError, PlanFileError
from geoplan.fleet import refuse_foreign_folder, whole_or_nothing
from geoplan.fleet.curves import RemovalCurve
from geoplan.fleet.sharing import allotments, ceiling_of, shared_out
from geoplan.settings import Settings
from geoplan.site import Levels, ShareTerms, Soundings, WaterBody

Allotments = dict[str, dict[str, int]]


def water(water_id: str, worths: list[float], kind: int = 0, flow: float = 0.0) -> RemovalCurve:
    """A curve of rafts of one type, each worth what is said."""
    ranked = sorted(worths, reverse=True)
    counts = np.zeros((len(worths) + 1, 1))
    counts[:, kind] = np.arange(len(worths) + 1)
    kept = np.append(0.0, np.cumsum(ranked))
    cuts = [(kept[k] - k * w, [w]) for k, w in enumerate(ranked)]
    return RemovalCurve(
        water_id, "g", False, counts, kept, np.array([c for c, _ in cuts]),
        np.array([s for _, s in cuts]).reshape(-1, 1), 8.0 * len(worths), 1000.0, flow,
    )  # fmt: skip


def body(water_id: str, **terms: object) -> WaterBody:
    none = np.empty(0)
    return WaterBody(
        water_id, "", "EPSG:32632", shapely.box(5e5, 6.2e6, 5e5 + 50, 6.2e6 + 20), 1.0,
        Levels(0, 1, 2), 50.0, Soundings(none, none, none, none),
        terms=ShareTerms(**terms),  # type: ignore[arg-type]
    )  # fmt: skip


def shares(waters: list[RemovalCurve], rules: Settings, **terms: dict[str, object]) -> Allotments:
    bodies = [body(curve.water_id, **terms.get(curve.water_id, {})) for curve in waters]
    found = shared_out(bodies, waters, rules)
    assert found.gap_pct == pytest.approx(0.0, abs=1e-6)
    assert found.bound >= found.value
    names = [share.water_id for share in found.shares]
    return dict(zip(names, allotments(found, rules), strict=True))


def settings(**parts: object) -> Settings:
    raft = {"name": "a", "length_m": 4, "width_m": 2, "draft_m": 0.2, "stock": 3, "cost": 10.0}
    levels = {"low_m": 0, "normal_m": 1, "high_m": 2}
    return Settings.model_validate(
        {"name": "s", "levels": levels, "raft": [raft | parts.pop("raft", {})]} | parts
    )  # type: ignore[operator]


def test_the_rafts_worth_most_keep_their_place() -> None:
    waters = [water("p", [0.9, 0.2]), water("q", [0.8, 0.7, 0.1])]
    assert shares(waters, settings()) == {"p": {"a": 1}, "q": {"a": 2}}


def test_a_pond_with_more_inflow_comes_first() -> None:
    waters = [water("p", [0.9, 0.9, 0.9]), water("q", [0.2, 0.2], flow=10.0)]
    assert shares(waters, settings()) == {"p": {"a": 1}, "q": {"a": 2}}


def test_nothing_changes_where_the_stock_suffices() -> None:
    waters = [water("p", [0.9]), water("q", [0.8])]
    assert shares(waters, settings()) == {"p": {"a": 1}, "q": {"a": 1}}


def test_a_water_left_without_is_told_so() -> None:
    waters = [water("p", [0.9, 0.9, 0.9]), water("q", [0.1])]
    assert shares(waters, settings())["q"] == {"a": 0}
    found = shared_out([body("p"), body("q")], waters, settings())
    assert "a raft here would bring 0.0001" in found.shares[1].why


def test_budget_limits_across_waters() -> None:
    waters = [water("p", [0.9, 0.2]), water("q", [0.8])]
    rules = settings(raft={"stock": None}, budget={"limit": 25.0})
    assert shares(waters, rules) == {"p": {"a": 1}, "q": {"a": 1}}


def test_setting_up_counts_against_the_budget() -> None:
    # Three rafts in p cost 30 and 5 to set up; two there and one in q would cost 40.
    waters = [water("p", [0.9, 0.8, 0.2]), water("q", [0.5])]
    rules = settings(raft={"stock": None}, budget={"limit": 38.0})
    terms = {"mobilisation_cost": 5.0}
    assert shares(waters, rules, p=terms, q=terms) == {"p": {"a": 3}, "q": {"a": 0}}
    assert shares(waters, rules) == {"p": {"a": 2}, "q": {"a": 1}}


def test_must_and_never_come_before_worth() -> None:
    waters = [water("p", [0.9, 0.9, 0.9]), water("q", [0.1]), water("r", [0.8])]
    found = shares(waters, settings(), q={"wanted": "must"}, r={"wanted": "never"})
    assert found == {"p": {"a": 2}, "q": {"a": 1}, "r": {"a": 0}}


def test_least_cover_is_kept_or_nothing_placed() -> None:
    # A raft covers 8 of 1000 m²: two reach 1.6 %, one does not.
    waters = [water("p", [0.9, 0.1]), water("q", [0.5, 0.45])]
    rules = settings(raft={"stock": 2})
    assert shares(waters, rules) == {"p": {"a": 1}, "q": {"a": 1}}
    both = {"min_cover_pct": 1.5}
    assert shares(waters, rules, p=both, q=both) == {"p": {"a": 2}, "q": {"a": 0}}
    assert shares(waters, rules, p={"min_cover_pct": 2.0}, q=both)["p"] == {"a": 0}


def test_wards_get_their_least_and_no_more_than_their_most() -> None:
    waters = [water("p", [0.9, 0.9, 0.9]), water("q", [0.1, 0.1])]
    north, south = {"ward": "N"}, {"ward": "S"}
    least = settings(district={"ward": [{"name": "S", "least_rafts": 2}]})
    assert shares(waters, least, p=north, q=south) == {"p": {"a": 1}, "q": {"a": 2}}
    most = settings(district={"ward": [{"name": "N", "most_rafts": 1}]})
    assert shares(waters, most, p=north, q=south) == {"p": {"a": 1}, "q": {"a": 2}}
    beyond = settings(district={"ward": [{"name": "S", "least_rafts": 3}]})
    with pytest.raises(InfeasibleError, match="have room for 2"):
        shares(waters, beyond, p=north, q=south)


def test_what_must_be_and_cannot_is_told() -> None:
    waters = [water("p", [0.9]), water("q", [0.1])]
    rules = settings(raft={"stock": 1})
    with pytest.raises(InfeasibleError, match="need 2 at least"):
        shares(waters, rules, p={"wanted": "must"}, q={"wanted": "must"})


def test_known_loads_come_before_worth_of_places() -> None:
    waters = [water("p", [90.0, 90.0, 90.0], flow=50.0), replace(water("q", [0.2]), is_load=True)]
    assert shares(waters, settings()) == {"p": {"a": 2}, "q": {"a": 1}}


def test_a_type_that_nothing_limits_is_left_to_the_water_itself() -> None:
    assert shares([water("p", [0.9]), water("q", [])], settings(raft={"stock": None})) == {
        "p": {},
        "q": {"a": 0},
    }


def test_the_price_of_a_raft_is_what_one_more_brings() -> None:
    waters = [water("p", [0.9, 0.4]), water("q", [0.8, 0.7])]
    bodies = [body("p"), body("q")]
    values = [shared_out(bodies, waters, settings(raft={"stock": stock})).value for stock in (3, 4)]
    found = shared_out(bodies, waters, settings(raft={"stock": 3}))
    assert found.limits[0].used == 3
    assert found.limits[0].price >= values[1] - values[0] - 1e-12


def test_a_failed_run_leaves_the_earlier_plan_whole(tmp_path: Path) -> None:
    out = tmp_path / "plan"
    out.mkdir()
    (out / "plan.json").write_text("earlier")
    with pytest.raises(RuntimeError), whole_or_nothing(out) as part:
        (part / "plan.json").write_text("half")
        raise RuntimeError
    assert (out / "plan.json").read_text() == "earlier"
    assert [path.name for path in tmp_path.iterdir()] == ["plan"]


def test_a_run_killed_between_renames_is_mended(tmp_path: Path) -> None:
    earlier = tmp_path / ".plan.earlier"
    earlier.mkdir()
    (earlier / "plan.json").write_text("earlier")
    out = tmp_path / "plan"
    with pytest.raises(RuntimeError), whole_or_nothing(out):
        raise RuntimeError
    assert (out / "plan.json").read_text() == "earlier"


def test_a_new_plan_takes_the_place_of_the_earlier(tmp_path: Path) -> None:
    out = tmp_path / "plan"
    for text in ("one", "two"):
        with whole_or_nothing(out) as part:
            (part / "plan.json").write_text(text)
    assert (out / "plan.json").read_text() == "two"
    assert [path.name for path in tmp_path.iterdir()] == ["plan"]


def test_a_folder_that_is_not_a_plan_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "holiday.jpg").write_text("x")
    with pytest.raises(PlanFileError, match="no plan"):
        refuse_foreign_folder(tmp_path)
    with pytest.raises(PlanFileError, match="is a file"):
        refuse_foreign_folder(tmp_path / "holiday.jpg")


def test_worth_without_measured_flows_is_marked_relative() -> None:
    known = replace(water("p", [0.9]), is_load=True, unit="g TN a day kept from the outlet")
    assumed = replace(known, water_id="q", unit=f"{known.unit} (relative: flows or loads assumed)")
    waters = [known, assumed, water("r", [0.5])]
    found = shared_out([body(curve.water_id) for curve in waters], waters, settings())
    assert [share.is_relative for share in found.shares] == [False, True, True]
    assert [found.unit_of(share) for share in found.shares] == [known.unit, "relative", "relative"]
    assert found.shown_unit == "relative"
    alone = shared_out([body("p")], [known], settings())
    assert alone.shown_unit == known.unit


def test_a_district_is_bounded_at_the_price_of_its_last_raft() -> None:
    """
    Five alike rafts of forty that there is room for, and a second pond worth less.

    Any price from the second's worth to the first's shares them out alike. By hand, at a price p
    the surplus of the first's forty places is 40 (1 - p), and the bound 5 p more.
    """
    curves = [water("good", [1.0] * 40, flow=1.0), water("poor", [0.7] * 40, flow=1.0)]
    bodies = [body("good"), body("poor")]
    kinds = settings(raft={"stock": 5})
    ceiling = ceiling_of(bodies, curves, kinds)
    price = np.array([0.75, 0.0])
    assert ceiling.surplus(price) == pytest.approx([40 * 0.25, 0.0])
    assert ceiling.bound(ceiling.surplus(price), price) == pytest.approx(40 * 0.25 + 5 * 0.75)
    highest = ceiling.highest(np.array([0.7, 0.0]))
    # Five rafts at the price and no surplus: 1 % may be given away.
    assert 1.0 <= highest[0] <= 1.01 + 1e-9
    assert ceiling.bound(ceiling.surplus(highest), highest) == pytest.approx(5 * highest[0])
    # Without a stock nothing has a price.
    assert not ceiling_of(bodies, curves, settings(raft={"stock": None})).highest(price).any()


def test_setting_up_is_paid_once_by_a_water_body_with_rafts() -> None:
    """By hand: 3 rafts worth 10 each at 4 each and 5 for setting up leave 3 (10 - 4) - 5."""
    curves = [water("one", [10.0] * 3, flow=1.0)]
    kinds = settings(raft={"stock": None, "cost": 4.0}, budget={"limit": 17.0})
    ceiling = ceiling_of([body("one", mobilisation_cost=5.0)], curves, kinds)
    paid = np.array([0.0, 1.0])
    assert ceiling.bound(ceiling.surplus(paid), paid) == pytest.approx(3 * 6 - 5 + 17)
