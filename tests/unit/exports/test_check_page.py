"""The page of a check: places where they are, and nothing of a site that could act."""

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
import shapely

from geoplan.crs import WGS84, transformed_points
from geoplan.errors import Fault
from geoplan.exports.check_page import write
from geoplan.site import Site
from geoplan.sounding_plan import unsurveyed_water
from tests.unit.test_sounding_plan import BODY, PLACES, SETTINGS

HOSTILE = '"><script>alert(1)</script><img src=x onerror="a()">{{ 7*7 }}'


class Page(HTMLParser):
    """Tags with their attributes, and the text between them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def page(folder: Path, body: object = BODY, **parts: object) -> Page:
    site = Site(SETTINGS, "EPSG:25832", (body,))  # type: ignore[arg-type]
    lines = parts.get("summary", ("one line",))
    path = write(site, lines, parts.get("faults", ()), parts.get("places", PLACES), folder)  # type: ignore[arg-type]
    return Page(path.read_text(encoding="utf-8"))


def test_each_place_stands_in_the_chart_and_in_the_table(tmp_path: Path) -> None:
    read = page(tmp_path / "new")
    rings = [attrs for tag, attrs in read.tags if tag == "circle"]
    assert len(rings) == len(PLACES) >= 1
    # Drawn true to scale: 80 m of water on 720 units, north up, 40 units of room.
    for ring, place in zip(rings, PLACES, strict=True):
        assert float(ring["cx"]) == pytest.approx(40 + 9 * (place.easting_m + 40), abs=0.06)
        assert float(ring["cy"]) == pytest.approx(40 + 9 * (40 - place.northing_m), abs=0.06)
    links = [attrs["href"] for tag, attrs in read.tags if tag == "a"]
    assert len(links) == len(PLACES)
    for link, place in zip(links, PLACES, strict=True):
        at = np.array([place.easting_m]), np.array([place.northing_m])
        longitude, latitude = transformed_points(*at, BODY.crs, WGS84)
        north, east = map(float, str(link).removeprefix("geo:").split(","))
        assert (east, north) == pytest.approx((longitude[0], latitude[0]), abs=1e-6)
    text = " ".join(read.words)
    assert f"{PLACES[0].gain_m2:.0f}" in text
    assert "one line" in text


def test_unsurveyed_water_is_hatched_and_stated(tmp_path: Path) -> None:
    unknown = unsurveyed_water(BODY, SETTINGS)
    assert 0 < unknown.area < 0.3 * BODY.outline.area
    soundings = shapely.points(BODY.soundings.easting_m, BODY.soundings.northing_m)
    assert not shapely.intersects(unknown, soundings).any()
    read = page(tmp_path)
    hatched = [attrs["d"] for tag, attrs in read.tags if attrs.get("fill") == "url(#none)"]
    drawn = [
        np.array([pair.split(",") for pair in ring.split()], float)
        for ring in re.split("M", str(hatched[0]))[1:]
    ]
    signed = [shapely.LinearRing(ring) for ring in drawn]
    area = sum(shapely.Polygon(ring).area * (1 if ring.is_ccw else -1) for ring in signed)
    assert abs(area) / 81 == pytest.approx(unknown.area, rel=0.02)
    assert f"{100 * unknown.area / BODY.outline.area:.0f} % of the water" in " ".join(read.words)


def test_nothing_of_a_site_acts_and_nothing_is_fetched(tmp_path: Path) -> None:
    body = replace(BODY, water_id=HOSTILE, name=HOSTILE)
    fault = Fault("warning", HOSTILE, HOSTILE, HOSTILE, HOSTILE)
    places = tuple(replace(place, water_id=HOSTILE) for place in PLACES)
    read = page(tmp_path, body, faults=(fault,), summary=(HOSTILE,), places=places)
    names = {tag for tag, _ in read.tags}
    assert not names & {"script", "img", "iframe", "link", "object", "form"}
    assert not [key for _, attrs in read.tags for key in attrs if key.startswith("on")]
    policy = [attrs for _, attrs in read.tags if attrs.get("http-equiv")]
    assert policy[0]["content"] == "default-src 'none'; style-src 'unsafe-inline'"
    text = (tmp_path / "check.html").read_text(encoding="utf-8")
    assert not re.search(r"https?://|url\((?!#none)", text)
    assert text.count("{{ 7*7 }}") >= 4


def test_without_places_that_is_said_and_bytes_are_the_same(tmp_path: Path) -> None:
    read = page(tmp_path, places=())
    assert "No single sounding would open room" in " ".join(read.words)
    before = (tmp_path / "check.html").read_bytes()
    page(tmp_path, places=())
    assert (tmp_path / "check.html").read_bytes() == before
