"""Inflows and outlets that cannot be right: each is a clear finding with what to change."""

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from geoplan.planner import plan_water
from geoplan.readers import check_site
from tests.sites.test_whole_runs import two_ponds

Document = dict[str, Any]


def layer(document: Document, name: str) -> list[Any]:
    return [one for one in document["features"] if one["properties"]["layer"] == name]


def on_land(document: Document) -> None:
    layer(document, "inflows")[0]["geometry"]["coordinates"] = [9.302, 56.0990]


def negative(document: Document) -> None:
    layer(document, "inflows")[0]["properties"]["flow_l_s"] = -3


def offshore(document: Document) -> None:
    layer(document, "inflows")[0]["geometry"]["coordinates"] = [9.30035, 56.1002]


def in_the_other_pond(document: Document) -> None:
    layer(document, "inflows")[0]["geometry"]["coordinates"] = [9.304, 56.1001]


def without_flow(document: Document) -> None:
    layer(document, "inflows")[0]["properties"].pop("flow_l_s")


def zero(document: Document) -> None:
    layer(document, "inflows")[0]["properties"]["flow_l_s"] = 0


def twice(document: Document) -> None:
    again = copy.deepcopy(layer(document, "inflows")[0])
    again["properties"]["inflow_id"] = "again"
    document["features"].append(again)


def no_outlet(document: Document) -> None:
    document["features"] = [
        one for one in document["features"] if one["properties"]["layer"] != "outlets"
    ]


def cut_off_at_low_level(document: Document) -> None:
    for one in layer(document, "soundings"):
        if 9.30028 < one["geometry"]["coordinates"][0] < 9.30042:
            one["properties"]["depth_m"] = 0.1


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (on_land, "m from the nearest water body"),
        (negative, "found flow_l_s -3; expected at least 0"),
        (offshore, "m from any bank"),
        (in_the_other_pond, "no inflow; expected at least one inflow"),
        (without_flow, "Worth and loads are relative"),
        (zero, "with flow_l_s 0"),
        (twice, "at the same place as another"),
        (no_outlet, "no outlet; expected at least one outlet"),
        (cut_off_at_low_level, "falls apart into 2 pools"),
    ],
)
def test_it_is_said(tmp_path: Path, spoil: Callable[[Document], None], words: str) -> None:
    path = two_ponds(tmp_path)
    document = json.loads(path.read_text(encoding="utf-8"))
    spoil(document)
    path.write_text(json.dumps(document), encoding="utf-8")
    result = check_site(path)
    said = [str(fault) for fault in result.faults]
    if result.site is not None:
        body = result.site.water_bodies[0]
        water = plan_water(body, result.site.settings, {"r": 1}, detail="brief")
        said += [str(note) for note in water.notes]
    assert any(words in line for line in said), said
