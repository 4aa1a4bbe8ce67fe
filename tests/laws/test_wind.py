"""Waves in the plan: what must always hold of them."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from geoplan.cover import water_edges
from geoplan.fields import site_fields
from geoplan.plan import PlacedRaft, WaterEdge
from geoplan.settings import Settings
from geoplan.site import WaterBody
from geoplan.water.waves import (
    ROSE_COUNT,
    cem_waves,
    depth_along_m,
    fetch_m,
    fetch_rose_m,
    setup_m,
    spm_fetch_m,
    spm_waves,
    wave_rose,
)
from geoplan.wind import design_waves
from tests.laws.ponds import random_site
from tests.published.test_waves import circle


def raft_at(east: float, north: float, heading: float = 0.0) -> PlacedRaft:
    return PlacedRaft(
        "R1", "pond", "a", east, north, heading, 4.0, 2.0, 8.0, 8.0, 1.0, 0.1, 5.0, None, None,
        1.0, None,
    )  # fmt: skip


def disc_edge(radius: float, name: str = "normal") -> WaterEdge:
    outline = shapely.MultiPolygon([shapely.Point(0, 0).buffer(radius, quad_segs=256)])
    return WaterEdge(name, 10.0, outline, outline.area, 1.0)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10**6), east=st.floats(-20, 20), north=st.floats(-20, 20))
def test_a_rose_is_the_fetch_ray_by_ray(seed: int, east: float, north: float) -> None:
    """The rays of the rose against the same places asked for one direction at a time."""
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0, 2 * np.pi, 24))
    away = rng.uniform(30, 80, 24)
    corners = np.column_stack([away * np.sin(angle), away * np.cos(angle)])
    shore = np.hstack([corners, np.roll(corners, -1, axis=0)])
    place = np.array([east]), np.array([north])
    one_by_one = fetch_m(*place, shore, np.arange(ROSE_COUNT) * 360.0 / ROSE_COUNT)
    np.testing.assert_allclose(fetch_rose_m(*place, shore), one_by_one, rtol=1e-9)


@settings(max_examples=25, deadline=None)
@given(east=st.floats(-60, 60), north=st.floats(-60, 60))
def test_fetch_on_a_circle_within_a_centimetre(east: float, north: float) -> None:
    angle = np.radians(np.arange(ROSE_COUNT) * 360.0 / ROSE_COUNT)
    along = east * np.sin(angle) + north * np.cos(angle)
    exact = -along + np.sqrt(along**2 + 100.0**2 - east**2 - north**2)
    rose = fetch_rose_m(np.array([east]), np.array([north]), circle(100.0))[0]
    np.testing.assert_allclose(rose, exact, atol=0.01)


def test_a_rose_holds_both_methods_with_their_own_fetch() -> None:
    shore, wind = circle(150.0), 22.0
    east, north = np.array([40.0]), np.array([-90.0])
    fetch = fetch_rose_m(east, north, shore)
    rose = wave_rose(wind, fetch, np.full(fetch.shape, 1.7))
    for ray in (0, 17, 119):
        mean = spm_fetch_m(east, north, shore, 3.0 * ray)[0]
        spm, cem = spm_waves(wind, mean, 1.7), cem_waves(wind, fetch[0, ray])
        assert rose.spm_fetch_m[0, ray] == pytest.approx(mean, rel=1e-12)
        assert rose.spm_height_m[0, ray] == pytest.approx(spm.height_m, rel=1e-12)
        assert rose.spm_period_s[0, ray] == pytest.approx(spm.period_s, rel=1e-12)
        assert rose.cem_height_m[0, ray] == pytest.approx(cem.height_m, rel=1e-12)
        assert rose.cem_period_s[0, ray] == pytest.approx(cem.period_s, rel=1e-12)
        assert rose.setup_m[0, ray] == pytest.approx(setup_m(wind, fetch[0, ray], 1.7), rel=1e-12)


def test_mean_depth_along_a_ray_over_a_slope() -> None:
    """Depth is a tenth of the northing: the mean of a ray is that at its middle."""
    cell = 0.5
    depth = np.repeat(0.1 * (np.arange(200) + 0.5)[:, None] * cell, 40, axis=1)
    fetch = np.full((1, 4), 50.0)
    fetch[0, 1] = 5.0
    found = depth_along_m(np.array([10.0]), np.array([20.0]), fetch, depth, (0.0, 0.0, cell))[0]
    np.testing.assert_allclose(found[:3], [4.5, 2.0, 1.0], atol=0.05)


def test_land_and_the_unknown_do_not_count_as_depth() -> None:
    depth = np.full((40, 40), 2.0)
    depth[20:] = np.nan
    fetch = np.full((1, 4), 15.0)
    found = depth_along_m(np.array([5.0]), np.array([5.0]), fetch, depth, (0.0, 0.0, 0.5))[0]
    assert found[0] == pytest.approx(2.0)
    lost = depth_along_m(np.array([5.0]), np.array([15.0]), fetch[:, :1], depth, (0.0, 0.0, 0.5))
    assert np.isnan(lost).all()


@pytest.mark.parametrize("bad", [(0.0, 100.0, 1.0), (10.0, 0.0, 1.0), (10.0, 100.0, 0.0)])
def test_a_rose_refuses_what_no_formula_is_made_for(bad: tuple[float, float, float]) -> None:
    full = np.ones((1, ROSE_COUNT))
    with pytest.raises(ValueError, match="must be positive"):
        wave_rose(bad[0], bad[1] * full, bad[2] * full)
    with pytest.raises(ValueError, match="a rose has 120 rays"):
        wave_rose(10.0, full[:, :36], full[:, :36])


def planned(seed: int) -> tuple[WaterBody, Settings]:
    site = random_site(seed)
    return site.water_bodies[0], site.settings


@pytest.mark.parametrize("seed", [1, 4, 9])
def test_no_raft_has_larger_waves_than_its_water(seed: int) -> None:
    body, rules = planned(seed)
    fields = site_fields(body, rules)
    edges = water_edges(body, fields, rules.bank_slope)
    inside = body.outline.buffer(-4.0)
    places = [part.representative_point() for part in shapely.get_parts(inside)]
    rafts = [raft_at(place.x, place.y) for place in places if not place.is_empty]
    found, waves, _ = design_waves(fields, edges, rafts, rules, body.water_id)
    assert [part.level_name for part in waves] == ["normal", "high"]
    assert len(found) == len(rafts)
    largest = max(part.wave_height_m for part in waves)
    for raft in found:
        assert raft.wave_height_m is not None
        assert 0 < raft.wave_height_m <= largest * 1.02
    for part in waves:
        assert part.wave_height_m == max(part.spm_height_m, part.cem_height_m)


def flat_fields(radius: float) -> tuple[object, Settings]:
    body, rules = planned(1)
    outline = shapely.Point(0, 0).buffer(radius, quad_segs=64)
    disc = replace(body, outline=outline, inflows=(), outlets=(), rafts=(), keep_clear=())
    return site_fields(disc, rules), rules


def test_waves_come_from_the_far_bank_and_grow_with_the_wind() -> None:
    fields, rules = flat_fields(60.0)
    edges = [disc_edge(60.0)]
    east = raft_at(50.0, 0.0)
    heights = []
    for wind in (10.0, 20.0, 30.0):
        windy = rules.model_copy(
            update={"wind": rules.wind.model_copy(update={"design_m_s": wind})}
        )
        (raft,), (waves,), _ = design_waves(fields, edges, [east], windy, "pond")
        assert raft.wave_from_deg == pytest.approx(270.0, abs=12.0)
        assert raft.fetch_m == pytest.approx(110.0, rel=0.05)
        assert waves.wind_m_s == wind
        heights.append(raft.wave_height_m)
    assert heights == sorted(heights)
    assert heights[0] < heights[-1]


def test_short_fetch_is_said_and_no_wind_gives_no_waves() -> None:
    fields, rules = flat_fields(30.0)
    edges = [disc_edge(30.0)]
    _, waves, notes = design_waves(fields, edges, [], rules, "pond")
    assert len(waves) == 1
    assert "calibrated" in notes[0].remedy
    assert not design_waves(fields, [disc_edge(80.0)], [], rules, "pond")[2]
    calm = rules.model_copy(update={"wind": rules.wind.model_copy(update={"design_m_s": 0.0})})
    (raft,), none, said = design_waves(fields, edges, [raft_at(0.0, 0.0)], calm, "pond")
    assert (raft.wave_height_m, none, said) == (None, (), ())
