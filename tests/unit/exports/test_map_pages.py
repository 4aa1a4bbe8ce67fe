"""The map of a large district comes in pages, with links that lead to them."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from geoplan.exports import web_map
from tests.unit.exports import small_plan


def test_many_water_bodies_come_in_pages(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plan, site = small_plan.plan(), small_plan.site()
    names = ["a", "<script>b", "c"]
    waters = tuple(replace(plan.waters[0], water_id=name) for name in names)
    bodies = tuple(replace(site.water_bodies[0], water_id=name) for name in names)
    monkeypatch.setattr(web_map, "MOST_ON_A_PAGE", 2)
    what = replace(plan, waters=waters), replace(site, water_bodies=bodies)
    web_map.write(*what, tmp_path, None)
    side_by_side = tmp_path / "parts"
    side_by_side.mkdir()
    for number in range(3):  # more parts than pages: the last has nothing to write
        web_map.write_part(*what, side_by_side, None, (number, 3))
    for page in ("map.html", "maps/0001.html", "maps/0002.html"):
        assert (side_by_side / page).read_bytes() == (tmp_path / page).read_bytes()
    index = (tmp_path / "map.html").read_text(encoding="utf-8")
    links = re.findall(r'href="(maps/[^"]+)"', index)
    assert links == ["maps/0001.html", "maps/0002.html"]
    assert "<script" not in index
    assert all((tmp_path / link).stat().st_size > 10_000 for link in links)


def test_few_water_bodies_have_one_page(tmp_path: Path) -> None:
    web_map.write(small_plan.plan(), small_plan.site(), tmp_path, None)
    assert [path.name for path in tmp_path.iterdir()] == ["map.html"]
