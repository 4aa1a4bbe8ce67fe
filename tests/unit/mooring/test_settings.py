"""What the tables of bed and moorings refuse."""

import pytest

from geoplan.settings import Settings


def made(**tables: object) -> Settings:
    base = {
        "name": "Pond",
        "levels": {"low_m": 9.7, "normal_m": 10, "high_m": 10.4},
        "raft": [{"name": "a", "length_m": 6.0, "width_m": 2.0, "draft_m": 0.2}],
    }
    return Settings.model_validate(base | tables)


def test_posts_through_a_liner_are_refused() -> None:
    kind = {"name": "a", "length_m": 6.0, "width_m": 2.0, "draft_m": 0.2, "mooring": "posts"}
    with pytest.raises(ValueError, match="pierce the liner"):
        made(bed={"lined": True}, raft=[kind], mooring={"anchor": "dead_weight"})


def test_anchors_through_a_liner_are_refused() -> None:
    with pytest.raises(ValueError, match="pierce the"):
        made(bed={"lined": True})
    assert made(bed={"lined": True}, mooring={"anchor": "dead_weight"}).bed.lined


def test_section_that_no_table_knows_is_refused() -> None:
    with pytest.raises(ValueError, match=r"steel pipe 60\.3x3\.6"):
        made(mooring={"post": "twig"})


def test_stock_lengths_out_of_order_are_refused() -> None:
    with pytest.raises(ValueError, match="must rise"):
        made(mooring={"stock_lengths_m": (3.0, 2.0)})
