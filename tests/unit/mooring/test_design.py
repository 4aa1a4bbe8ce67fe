"""Posts of planned rafts on beds known by hand."""

import numpy as np
import pytest
import shapely

from geoplan.grid import SiteFields, water_grid
from geoplan.mooring.design import design_moorings
from geoplan.mooring.notes import mooring_notes
from geoplan.plan import PlacedRaft
from geoplan.settings import Settings
from geoplan.site import ExistingRaft, FloatArray, Levels, Soundings, WaterBody

POND = shapely.box(0, 0, 40, 30)
SIGMA = 0.1


def settings(mooring: str = "auto") -> Settings:
    kind = {"name": "a", "length_m": 6.0, "width_m": 2.0, "draft_m": 0.2, "mooring": mooring}
    return Settings.model_validate(
        {
            "name": "Pond",
            "levels": {"low_m": 9.7, "normal_m": 10, "high_m": 10.4},
            "raft": [kind],
            "mooring": {"travel_margin_m": 0.6, "embedment_m": 1.2},
        }
    )


def body(rafts: tuple[ExistingRaft, ...] = ()) -> WaterBody:
    none = np.zeros(0)
    return WaterBody(
        water_id="pond",
        name="",
        crs="EPSG:25832",
        outline=POND,
        outline_level_m=10.0,
        levels=Levels(9.7, 10.0, 10.4),
        max_cover_pct=20.0,
        soundings=Soundings(none, none, none, none),
        rafts=rafts,
    )


def fields(bed_of_easting: object = None) -> SiteFields:
    grid = water_grid(POND, 0.5)
    easting = np.broadcast_to(grid.easting_m, grid.shape)
    bed: FloatArray = (
        np.full(grid.shape, 8.0) if bed_of_easting is None else bed_of_easting(easting)
    )  # type: ignore[operator]
    bed = np.where(grid.water, bed, np.nan)
    sigma = np.where(grid.water, SIGMA, np.nan)
    no = np.zeros(grid.shape, bool)
    return SiteFields(grid, bed, sigma, bed + 2.33 * sigma, no, np.ones(grid.shape))


def raft(
    raft_id: str, easting_m: float, northing_m: float, heading_deg: float = 0.0, **more: str
) -> PlacedRaft:
    return PlacedRaft(
        raft_id=raft_id,
        water_id="pond",
        raft_type="a",
        easting_m=easting_m,
        northing_m=northing_m,
        heading_deg=heading_deg,
        length_m=6.0,
        width_m=2.0,
        area_m2=12.0,
        planted_area_m2=10.8,
        depth_low_m=1.5,
        root_clearance_m=0.4,
        bank_clearance_m=3.0,
        gap_m=None,
        sun_h=None,
        worth=1.0,
        removal_g_d=None,
        **more,
    )


def test_a_flat_bed_gives_four_equal_posts() -> None:
    posts = design_moorings(body(), fields(), [raft("R1", 20, 15)], settings())
    assert [post.mooring_id for post in posts] == ["R1-P1", "R1-P2", "R1-P3", "R1-P4"]
    assert {post.raft_id for post in posts} == {"R1"}
    assert {post.kind for post in posts} == {"post"}
    for post in posts:
        assert post.depth_high_m == pytest.approx(10.4 - (8.0 - 2.33 * SIGMA), abs=1e-9)
        assert post.length_m == pytest.approx(post.depth_high_m + 0.6 + 1.2, abs=1e-9)
        assert post.embedment_m == 1.2
        assert post.load_n is None
        assert post.capacity_n is None
    places = [(post.easting_m, post.northing_m) for post in posts]
    expected = [(21.1, 16.0), (21.1, 14.0), (18.9, 14.0), (18.9, 16.0)]
    np.testing.assert_allclose(places, expected, atol=1e-9)


def test_a_sloping_bed_is_taken_from_the_deepest_of_nine_cells() -> None:
    slope = 0.1
    sloping = fields(lambda easting: 9.0 - slope * easting)
    posts = design_moorings(body(), sloping, [raft("R1", 20, 15)], settings())
    for post in posts:
        # Centre of the cell one to the east of the post's own, by hand.
        deepest_m = (np.floor(post.easting_m / 0.5) + 1.5) * 0.5
        bed_m = 9.0 - slope * deepest_m - 2.33 * SIGMA
        assert post.depth_high_m == pytest.approx(10.4 - bed_m, abs=1e-9)
        assert post.depth_high_m > 10.4 - (9.0 - slope * post.easting_m)


def test_a_post_beyond_the_water_has_the_bed_of_the_water_beside_it() -> None:
    posts = design_moorings(body(), fields(), [raft("R1", 1.0, 15.0)], settings())
    assert min(post.easting_m for post in posts) < 0
    assert {round(post.depth_high_m, 9) for post in posts} == {round(10.4 - 8.0 + 2.33 * SIGMA, 9)}


def test_a_hole_in_the_bed_beside_the_post_lengthens_it() -> None:
    flat = fields()
    bed = flat.bed_m.copy()
    row, col = int((16.0 - flat.grid.south_m) / 0.5), int((21.1 - flat.grid.west_m) / 0.5)
    bed[row + 1, col - 1] = 6.0
    holed = SiteFields(
        flat.grid, bed, flat.sigma_m, flat.reliable_bed_m, flat.is_unsurveyed, flat.worth
    )
    first, second, *_ = design_moorings(body(), holed, [raft("R1", 20, 15)], settings())
    assert first.depth_high_m == pytest.approx(10.4 - 6.0 + 2.33 * SIGMA)
    assert second.depth_high_m == pytest.approx(10.4 - 8.0 + 2.33 * SIGMA)


def test_only_planned_rafts_get_posts() -> None:
    rafts = [raft("R1", 20, 15), raft("old", 30, 15, status="existing")]
    posts = design_moorings(body(), fields(), rafts, settings())
    assert {post.raft_id for post in posts} == {"R1"}
    assert design_moorings(body(), fields(), [], settings()) == ()
    assert mooring_notes(body(), fields(), [], settings()) == ()
    assert mooring_notes(body(), fields(), rafts[1:], settings()) == ()


def test_a_raft_off_the_grid_is_refused() -> None:
    with pytest.raises(ValueError, match="off the grid"):
        design_moorings(body(), fields(), [raft("R1", 200, 15)], settings())


def test_a_water_without_a_bed_is_refused() -> None:
    unknown = fields(lambda easting: np.full(easting.shape, np.nan))
    with pytest.raises(ValueError, match="bed"):
        design_moorings(body(), unknown, [raft("R1", 20, 15)], settings())


def test_no_notes_where_posts_are_short_and_stand_free() -> None:
    rafts = [raft("R1", 20, 15), raft("R2", 23, 15)]
    assert mooring_notes(body(), fields(), rafts, settings()) == ()


def test_posts_longer_than_stock_are_named() -> None:
    deep = fields(lambda easting: np.where(easting < 20, 8.0, 4.0))
    rafts = [raft("shallow", 8, 15), raft("deep", 30, 15)]
    (note,) = mooring_notes(body(), deep, rafts, settings("posts"))
    assert note.severity == "warning"
    assert "'deep'" in note.found
    assert "shallow" not in note.found
    assert f"{10.4 - 4.0 + 2.33 * SIGMA + 1.8:.2f} m" in note.found
    assert f"{settings().mooring.longest_post_m:g} m" in note.expected


def test_rafts_that_ask_for_lines_get_them_and_a_word_on_their_anchors() -> None:
    (note,) = mooring_notes(body(), fields(), [raft("R1", 20, 15)], settings("lines"))
    assert "lines" in note.found
    assert "'R1'" in note.found
    lines = design_moorings(body(), fields(), [raft("R1", 20, 15)], settings("lines"))
    assert [line.kind for line in lines] == ["anchor"] * 4


def test_a_post_inside_a_neighbour_is_named() -> None:
    rafts = [raft("R1", 20, 15), raft("R2", 22.05, 15)]
    (note,) = mooring_notes(body(), fields(), rafts, settings())
    assert "'R1', 'R2'" in note.found
    old = ExistingRaft("old", shapely.box(21.05, 10, 23, 20))
    (note,) = mooring_notes(body((old,)), fields(), rafts[:1], settings())
    assert "'R1'" in note.found


def test_a_long_list_of_names_is_cut() -> None:
    rafts = [raft(f"R{k}", 4 + 2.5 * (k % 13), 6 + 8.0 * (k // 13)) for k in range(26)]
    (note,) = mooring_notes(body(), fields(), rafts, settings("lines"))
    assert "'R19' and 6 more" in note.found
    assert "'R20'" not in note.found
