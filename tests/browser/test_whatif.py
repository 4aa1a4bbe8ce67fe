"""Trying changes in ``map.html``: keys move a raft, undo puts it back, figures as shapely's."""

import numpy as np
import pytest
import shapely
import shapely.affinity

from tests.browser.test_map_page import Opened, browser, file, opened, pytestmark  # noqa: F401


def test_keys_move_a_raft_and_undo_puts_it_back(opened: Opened) -> None:  # noqa: F811
    page = opened.page
    page.evaluate(
        "GEOPLAN.page.choose(GEOPLAN.page.things.rafts.find(t=>t.raft.status!=='existing'))"
    )
    before = page.inner_text("#try-says")
    page.focus("#try-left")
    page.keyboard.press("ArrowUp")
    assert page.inner_text("#try-says") != before
    assert (
        sum(
            f["properties"]["edited"]
            for f in page.evaluate("GEOPLAN.page.whatIf.features().features")
        )
        == 1
    )
    page.click("#try-undo")
    assert page.inner_text("#try-says") == before


def test_distance_between_rings_is_that_of_shapely(opened: Opened) -> None:  # noqa: F811
    random = np.random.default_rng(1)
    for _ in range(200):
        rings = []
        for _ in range(2):
            box = shapely.affinity.rotate(shapely.box(0, 0, 6, 2.5), random.uniform(0, 180))
            rings.append(shapely.affinity.translate(box, *random.uniform(0, 12, 2)))
        lines = [ring.exterior for ring in rings]
        got = opened.page.evaluate(
            "a => GEOPLAN.between(a[0], a[1])", [[list(p) for p in line.coords] for line in lines]
        )
        assert got == pytest.approx(lines[0].distance(lines[1]), abs=1e-3)
