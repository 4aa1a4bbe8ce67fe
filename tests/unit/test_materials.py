"""Bills by hand count."""

from dataclasses import replace

import pytest

from geoplan.exports.material_sheet import write
from geoplan.materials import bill, fixing_count, raft_parts, stock_length_m
from geoplan.plan import Mooring
from geoplan.settings import Settings
from tests.unit.exports import small_plan as small

BUILD = {
    "poles": [
        {"count": 6, "diameter_m": 0.3, "wall_m": 0.02, "length_m": 4.0, "saturated_kg_m3": 500.0},
        {"count": 5, "diameter_m": 0.1, "wall_m": 0.01, "length_m": 2.0, "layer": 2}
        | {"lies": "across"},
    ],
    "slat_count": 10,
    "medium_depth_m": 0.05,
    "plant_spacing_m": 0.5,
    "liner_overlap_m": 0.25,
}


def settings(**materials: float) -> Settings:
    return Settings.model_validate(
        {
            "name": "Pond",
            "levels": {"low_m": 9.7, "normal_m": 10, "high_m": 10.4},
            "raft": [
                {"name": "a", "length_m": 4.0, "width_m": 2.0, "planted_share": 0.9}
                | {"build": BUILD}
            ],
            "materials": materials,
        }
    )


def test_parts_of_one_raft() -> None:
    kind = settings().raft[0]
    assert kind.build is not None
    parts = {key[0]: value for key, value in raft_parts(kind, kind.build).items()}
    assert parts["slat"] == 10
    assert parts["edge board"] == pytest.approx(12.0)
    assert parts["fixing"] == 6 * 5 + 2 * 10 + 8 == fixing_count(kind.build)
    assert parts["liner"] == pytest.approx(4.5 * 2.5)
    assert parts["medium"] == pytest.approx(8.0 * 0.05)
    assert parts["plant"] == 29  # 7.2 m² over 0.25 m² is 28.8
    poles = {k: v for k, v in raft_parts(kind, kind.build).items() if k[0] == "pole"}
    assert poles == {
        ("pole", "300 mm x 4.00 m", "pieces"): 6,
        ("pole", "100 mm x 2.00 m", "pieces"): 5,
    }


def test_posts_are_bought_in_the_next_stock_length() -> None:
    assert stock_length_m(3.01, settings()) == 4.0
    assert stock_length_m(3.0, settings()) == 3.0
    assert stock_length_m(6.42, settings()) == 6.5


def plan_of(count: int) -> object:
    """The small plan's water with rafts of type a, two posts of 3.4 m and one line of 7.2 m."""
    plan = small.plan()
    water = plan.waters[0]
    planned = next(raft for raft in water.rafts if raft.status == "planned")
    rafts = tuple(replace(planned, raft_id=f"R{k}", raft_type="a") for k in range(count))
    post = Mooring("P", "R0", "post", 0.0, 0.0, 1.9, 3.4, 1.0)
    line = Mooring("A", "R1", "anchor", 0.0, 0.0, 1.9, 7.2, 0.0, block_kg=120.0)
    return replace(plan, waters=(replace(water, rafts=rafts, moorings=(post, post, line)),))


def test_whole_plan_adds_waste_and_takes_whole_pieces() -> None:
    lines = bill(plan_of(3), settings(waste_share=0.1, post_price=40.0))  # type: ignore[arg-type]
    whole = {(line.item, line.size): line for line in lines if line.scope == "whole plan"}
    assert whole["pole", "300 mm x 4.00 m"].quantity == 18
    assert whole["pole", "300 mm x 4.00 m"].ordered == 20  # 19.8
    post = whole["post", "steel pipe 88.9x5 x 4.00 m"]
    assert (post.quantity, post.ordered, post.cost) == (2, 3, 120.0)
    assert whole["line", "one rope from raft to anchor, knots included"].ordered == pytest.approx(
        9.02
    )
    assert whole["anchor", "dead weight 120 kg"].ordered == 2
    one = [line for line in lines if line.scope == "a" and line.item == "slat"]
    assert [(line.quantity, line.ordered) for line in one] == [(10, 11)]


def test_sheet_says_what_has_no_price(tmp_path: object) -> None:
    site = replace(small.site(), settings=settings(post_price=40.0))
    write(plan_of(2), site, tmp_path, None)  # type: ignore[arg-type]
    text = (tmp_path / "materials.csv").read_text(encoding="utf-8-sig")  # type: ignore[operator]
    last = text.strip().splitlines()[-1]
    assert "lines without a price" in last
    assert last.endswith("120.00")
