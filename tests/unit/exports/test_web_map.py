"""``map.html`` as text: nothing from the network, no user text compiled, the same bytes twice."""

import base64
import hashlib
import json
import re
import zlib
from dataclasses import replace
from pathlib import Path

import folium
import pytest

from geoplan.errors import ExportError
from geoplan.exports import EXPORTS, web_map, web_page
from geoplan.exports.map_data import map_record, verdict_of
from geoplan.exports.web_page import OfflineFigure
from tests.unit.exports import small_plan as small


@pytest.fixture(scope="module")
def page() -> str:
    return web_map.map_page(small.plan(), small.site(), small.audit())


def island(page: str) -> dict:
    """The record, unpacked by Python's own library."""
    return json.loads(
        raw(re.search(r'<script type="text/plain" id="plan">(.*?)</script>', page)[1])
    )


def raw(text: str) -> str:
    """A packed text, which says its size first."""
    data = base64.b64decode(text)
    out = zlib.decompress(data[4:], -15)
    assert int.from_bytes(data[:4], "little") == len(out)
    return out.decode()


def test_the_same_plan_gives_the_same_text(page: str) -> None:
    assert web_map.map_page(small.plan(), small.site(), small.audit()) == page


def test_no_address_is_fetched(page: str) -> None:
    assert not re.search(r"<(script|img|iframe|link|source)\b[^>]*\b(src|href)\s*=", page)
    assert not re.search(r"url\((?!data:|#default|#why-)", page)
    assert "sourceMappingURL" not in page


def test_user_text_is_in_the_island_and_the_title_alone(page: str) -> None:
    packed = re.findall(r'<script type="text/plain" class="packed">(.*?)</script>', page)
    outside = page.replace(
        re.search(r'<script type="text/plain" id="plan".*?</script>', page)[0], ""
    )
    outside += "".join(map(raw, packed))
    escaped = "&lt;img src=x onerror=&quot;window.ran=1&quot;&gt;"
    assert outside.count(escaped) == 2  # title and heading
    assert "window.ran" not in outside.replace(escaped, "")
    assert "7*7" not in outside
    assert "<img" not in re.sub(r"<script.*?</script>", "", page, flags=re.DOTALL)
    assert page.count("</script><script>") == 0


def test_hostile_names_come_through_unchanged(page: str) -> None:
    texts = json.dumps(island(page), ensure_ascii=False)
    for name in small.HOSTILE[:4]:
        assert json.dumps(name, ensure_ascii=False)[1:-1] in texts


def test_the_policy_knows_every_script_and_style_and_nothing_else(page: str) -> None:
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)[1]
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy
    inline = [text for _, text in re.findall(r"<(script|style)>(.*?)</\1>", page, re.DOTALL)]
    inline += map(raw, re.findall(r'<script type="text/plain" class="packed">(.*?)<', page))
    assert len(inline) == 5  # two styles, what unpacks, the map library, our own
    hashes = {base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in inline}
    assert set(re.findall(r"'sha256-([^']+)'", policy)) == hashes


def test_the_page_has_language_title_viewport_and_landmarks(page: str) -> None:
    assert '<html lang="en">' in page
    assert page.count("<title>") == page.count("<h1>") == page.count("<main>") == 1
    assert '<meta name="viewport" content="width=device-width, initial-scale=1">' in page


def test_tiles_are_refused() -> None:
    figure = OfflineFigure("t", {})
    folium.Map(location=[56, 9]).add_to(figure)
    with pytest.raises(ExportError, match="tiles"):
        figure.render()


def test_a_plugin_that_is_not_carried_is_refused() -> None:
    from folium.plugins import HeatMap

    figure = OfflineFigure("t", {})
    frame = folium.Map(location=[56, 9], tiles=None)
    HeatMap([[56, 9]]).add_to(frame)
    frame.add_to(figure)
    with pytest.raises(ExportError, match="does not carry"):
        figure.render()


def test_another_map_library_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(web_page._CARRIED, "leaflet", ("leaflet.js", "0" * 64))
    with pytest.raises(ExportError, match="not the file"):
        web_map.map_page(small.plan(), small.site(), None)


def test_depth_and_clearance_are_rounded_down_and_posts_up() -> None:
    record = map_record(small.plan(), small.site(), verdict_of(small.audit()))
    upper = record["waters"][1]
    assert upper["rafts"][0]["depth_low_m"] == 1.83
    assert upper["rafts"][0]["root_clearance_m"] == 0.78
    assert upper["posts"][0]["length_m"] == 4.22


def test_a_raft_that_fails_carries_the_words() -> None:
    record = map_record(small.plan(), small.site(), verdict_of(small.audit()))
    raft = record["waters"][0]["rafts"][0]
    assert raft["failures"] == [f"bank: 1.2 m, limit 2 m. Move it. {small.HOSTILE[1]}"]
    assert "failures" not in record["waters"][1]["rafts"][0]


def test_corners_are_kept_to_a_millimetre() -> None:
    water = map_record(small.plan(), small.site(), verdict_of(None))["waters"][1]
    fit = water["fit"]
    ring = water["rafts"][0]["shape"]["areas"][0][0]
    east = sum(ring[::2][:1])
    north = sum(ring[1::2][:1])
    raft = small.RAFTS[0]
    # ahead 2 m and to starboard 1.2 m on a heading of 30 degrees, from the raft's centre
    bounds = {"east": raft.easting_m + 2 * 0.5 + 1.2 * 3**0.5 / 2}
    bounds["north"] = raft.northing_m + 2 * 3**0.5 / 2 - 1.2 * 0.5
    centre = [value / 2 for value in _bounds_sum(water)]
    assert fit["residual_m"] < 0.001
    assert east / 1000 + centre[0] == pytest.approx(bounds["east"], abs=0.0006)
    assert north / 1000 + centre[1] == pytest.approx(bounds["north"], abs=0.0006)


def _bounds_sum(water: dict) -> tuple[float, float]:
    """West + east and south + north of what is shown, from the depth grid's known corner."""
    grid = small.plan().waters[1].depth_grid
    return (
        2 * (grid.west_m - water["depth"]["west_m"]),
        2 * (grid.south_m - water["depth"]["south_m"]),
    )


def test_a_large_plan_merges_cells(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("geoplan.exports.map_data.merged_cells", lambda count: 3)
    record = map_record(small.plan(), small.site(), verdict_of(None))
    assert record["waters"][0]["depth"]["cell_size_m"] == 1.5
    assert record["merged_cells"] == 3


def test_a_plan_with_nothing_in_it_is_a_page(tmp_path: Path) -> None:
    web_map.write(replace(small.plan(), waters=()), small.site(), tmp_path, None)
    assert "</html>" in (tmp_path / "map.html").read_text("utf-8")


def test_a_plan_without_depth_is_a_page() -> None:
    plan = small.plan()
    waters = tuple(replace(water, depth_grid=None) for water in plan.waters)
    record = island(web_map.map_page(replace(plan, waters=waters), small.site(), None))
    assert [water["depth"] for water in record["waters"]] == [None, None]


def test_the_page_is_small(page: str) -> None:
    assert len(page.encode()) < 300 * 1024


def test_every_export_writes_its_file(tmp_path: Path) -> None:
    from importlib import import_module

    for name, module in EXPORTS:
        import_module(module).write(small.plan(), small.site(), tmp_path, small.audit())
        if name != "certificate.tif":  # this plan was made by hand: nothing proves its bound
            assert (tmp_path / name).stat().st_size > 0
    names = sorted(name for name, _ in EXPORTS if name != "certificate.tif")
    assert sorted(path.name for path in tmp_path.iterdir()) == names
