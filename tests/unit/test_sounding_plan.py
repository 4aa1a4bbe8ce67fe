"""Where to sound next, on a pond of known bed: a sounding there opens more than one elsewhere."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from geoplan.crs import WGS84, transformed_points, working_crs
from geoplan.exports.sounding_file import write_places
from geoplan.fields import bed_surface
from geoplan.grid import water_grid
from geoplan.settings import Settings
from geoplan.site import BedRaster, Contour, Levels, Site, Soundings, WaterBody
from geoplan.sounding_plan import SoundingPlace, unsurveyed_water, where_to_sound

OUTLINE = shapely.Point(0, 0).buffer(40.0, quad_segs=16)
HOLE_M = np.array([8.0, -6.0])
_ANGLE = np.linspace(0, 2 * np.pi, 257)
CIRCLE = np.column_stack([np.cos(_ANGLE), np.sin(_ANGLE)])
SETTINGS = Settings.model_validate(
    {
        "name": "Pond",
        "crs": "EPSG:25832",
        "levels": {"low_m": 9.7, "normal_m": 10.0, "high_m": 10.4},
        "survey": {"sigma_m": 0.05},
        "raft": [
            {"name": "a", "length_m": 4.0, "width_m": 2.4, "draft_m": 0.2, "root_depth_m": 0.6}
        ],
    }
)


def true_bed_m(place_m: np.ndarray) -> np.ndarray:
    """A bowl of three metres with gentle waves on its floor."""
    east, north = place_m.T
    away = np.hypot(east, north) / 40.0
    return 10.0 - 3.0 * (1.0 - away**2) + 0.15 * np.sin(east / 5.0) * np.cos(north / 6.0)


def sounded(place_m: np.ndarray, noise_m: float = 0.05, seed: int = 3) -> Soundings:
    noise = np.random.default_rng(seed).normal(0.0, noise_m, len(place_m))
    return Soundings(
        place_m[:, 0], place_m[:, 1], true_bed_m(place_m) + noise, np.full(len(place_m), 0.05)
    )


def pond() -> WaterBody:
    """Sounded every six metres, but for a disc of 14 m."""
    lattice = np.stack(np.meshgrid(np.arange(-39, 40, 6.0), np.arange(-39, 40, 6.0)), axis=-1)
    place = lattice.reshape(-1, 2)
    place = place[np.hypot(*place.T) < 38.0]
    place = place[np.hypot(*(place - HOLE_M).T) > 14.0]
    return WaterBody(
        water_id="w",
        name="Pond",
        crs=working_crs(9.5, 56.1),
        outline=OUTLINE,
        outline_level_m=10.0,
        levels=Levels(9.7, 10.0, 10.4),
        max_cover_pct=20.0,
        soundings=sounded(place),
    )


BODY = pond()
PLACES = where_to_sound(BODY, SETTINGS)


def room_m2(body: WaterBody) -> float:
    """Area that is deep enough by the bed relied on, found anew."""
    grid = water_grid(OUTLINE, 0.8)
    bed = bed_surface(body, grid, SETTINGS)
    limit_m = 9.7 - 0.2 - 0.6 - 0.05 - 0.3
    inside = shapely.buffer(OUTLINE, -2.0)
    away = shapely.contains_xy(inside, *np.meshgrid(grid.easting_m, grid.northing_m))
    return float(((bed.reliable_bed_m <= limit_m) & away).sum()) * 0.8**2


def with_sounding(place_m: np.ndarray) -> WaterBody:
    """The pond with one more sounding, of the true bed."""
    old, new = BODY.soundings, sounded(place_m[None, :], 0.0)
    parts = (
        np.append(getattr(old, name), getattr(new, name))
        for name in ("easting_m", "northing_m", "bed_m", "sigma_m")
    )
    return replace(BODY, soundings=Soundings(*parts))


def test_the_first_place_opens_more_than_places_at_random() -> None:
    before = room_m2(BODY)
    first = np.array([PLACES[0].easting_m, PLACES[0].northing_m])
    gained = room_m2(with_sounding(first)) - before
    rng = np.random.default_rng(8)
    angle, away = rng.uniform(0, 2 * np.pi, 12), 36.0 * np.sqrt(rng.uniform(0, 1, 12))
    by_chance = [
        room_m2(with_sounding(place)) - before
        for place in np.column_stack([away * np.cos(angle), away * np.sin(angle)])
    ]
    assert gained > 20.0
    assert gained > 3.0 * np.mean(by_chance)
    assert gained >= np.quantile(by_chance, 0.9)


def test_places_lie_where_nothing_was_sounded_and_the_best_comes_first() -> None:
    assert 1 <= len(PLACES) <= 5
    assert all(place.gain_m2 >= 9.6 for place in PLACES)  # room for a raft
    first = np.array([PLACES[0].easting_m, PLACES[0].northing_m])
    assert np.hypot(*(first - HOLE_M)) < 14.0
    assert [place.rank for place in PLACES] == list(range(1, len(PLACES) + 1))
    gains = [place.gain_m2 for place in PLACES]
    assert gains == sorted(gains, reverse=True)
    for place in PLACES:
        assert OUTLINE.contains(shapely.Point(place.easting_m, place.northing_m))
        assert place.depth_low_m > 1.15


def test_places_are_the_same_each_time_and_no_more_than_asked() -> None:
    assert where_to_sound(BODY, SETTINGS) == PLACES
    assert where_to_sound(BODY, SETTINGS, 1) == PLACES[:1]
    assert where_to_sound(BODY, SETTINGS, 0) == ()


NONE = np.empty(0)
UNSOUNDED = replace(BODY, soundings=Soundings(NONE, NONE, NONE, NONE))


def test_without_any_survey_there_is_nothing_to_judge_by() -> None:
    assert where_to_sound(UNSOUNDED, SETTINGS) == ()


def true_raster(**parts: bool) -> BedRaster:
    """The bed on cells of a metre, without the disc that was not sounded."""
    axis = np.arange(-42.0, 43.0)
    east, north = np.meshgrid(axis, axis)
    place = np.column_stack([east.ravel(), north.ravel()])
    bed = true_bed_m(place).reshape(east.shape)
    if parts.get("holed", True):
        bed[np.hypot(east - HOLE_M[0], north - HOLE_M[1]) < 14.0] = np.nan
    return BedRaster(bed, np.array([[1.0, 0.0, -42.0], [0.0, 1.0, -42.0]]))


def test_a_hole_in_a_raster_is_unsurveyed_and_a_whole_raster_leaves_nothing_to_sound() -> None:
    unknown = unsurveyed_water(replace(UNSOUNDED, bed_raster=true_raster()), SETTINGS)
    # The raster is believed two cells into the hole.
    assert unknown.area == pytest.approx(np.pi * 12.0**2, rel=0.1)
    assert shapely.distance(unknown.centroid, shapely.Point(HOLE_M)) < 0.5
    whole = replace(UNSOUNDED, bed_raster=true_raster(holed=False))
    assert unsurveyed_water(whole, SETTINGS).is_empty
    assert where_to_sound(whole, SETTINGS) == ()


def test_over_a_raster_doubt_grows_from_the_soundings() -> None:
    body = replace(BODY, bed_raster=true_raster(holed=False))
    assert unsurveyed_water(body, SETTINGS).is_empty
    assert room_m2(body) > room_m2(BODY)


def sounded_at(body: WaterBody, place: SoundingPlace) -> WaterBody:
    """A sounding there that finds the likely bed."""
    bed = np.array([body.levels.low_m - place.depth_low_m])
    one = Soundings(
        np.array([place.easting_m]), np.array([place.northing_m]), bed, np.array([0.05])
    )
    return replace(body, soundings=one)


def test_among_contours_the_part_without_any_is_to_be_sounded() -> None:
    lines = [
        shapely.LineString(40.0 * np.sqrt(1 - depth / 3.0) * CIRCLE[32:225])
        for depth in np.arange(0.25, 2.9, 0.25)
    ]
    body = replace(
        UNSOUNDED,
        contours=tuple(
            Contour(line, 10.0 - depth)
            for line, depth in zip(lines, np.arange(0.25, 2.9, 0.25), strict=True)
        ),
    )
    places = where_to_sound(body, SETTINGS)
    assert places
    for place in places:
        assert place.is_unsurveyed
        assert place.easting_m > 0  # contours are drawn but for an eighth on either side of east
    # The room stated is there when the bed is made anew on the finer cells of a plan.
    gained = room_m2(sounded_at(body, places[0])) - room_m2(body)
    assert gained >= 0.75 * places[0].gain_m2


def test_places_are_written_for_a_plotter(tmp_path: Path) -> None:
    site = Site(SETTINGS, "EPSG:25832", (BODY,))
    path = write_places(PLACES, site, tmp_path / "new" / "folder")
    record = json.loads(path.read_text(encoding="utf-8"))
    assert record["type"] == "FeatureCollection"
    assert len(record["features"]) == len(PLACES)
    for place, feature in zip(PLACES, record["features"], strict=True):
        at = np.array([place.easting_m]), np.array([place.northing_m])
        longitude, latitude = transformed_points(*at, BODY.crs, WGS84)
        assert feature["geometry"]["coordinates"] == pytest.approx([longitude[0], latitude[0]])
        easting, northing = transformed_points(*at, BODY.crs, "EPSG:25832")
        assert feature["properties"]["easting_m"] == pytest.approx(easting[0], abs=0.006)
        assert feature["properties"]["northing_m"] == pytest.approx(northing[0], abs=0.006)
    before = path.read_bytes()
    write_places(PLACES, site, tmp_path / "new" / "folder")
    assert path.read_bytes() == before
