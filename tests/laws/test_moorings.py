"""Envelopes hold every legal pose; posts and loads agree with methods written apart."""

import math

import numpy as np
import pytest
import shapely

from geoplan.audit.strength import bed_load_n, bending_n_m
from geoplan.mooring.envelope import excursion_m, swept_envelope
from geoplan.mooring.lines import line_places, placed, watch_radius_m
from geoplan.mooring.loads import Exposure, governing_case, projected_m
from geoplan.mooring.strength import bed_of, post_strength
from geoplan.post_sections import POST_SECTIONS
from geoplan.settings import Settings
from tests.benchmarks.bench_moorings import legal_corners, rig


@pytest.mark.parametrize("depth_m", [3.0, 2.3, 1.5])
@pytest.mark.parametrize(("length_m", "width_m"), [(6.0, 3.0), (4.0, 2.4), (3.0, 3.0)])
def test_no_legal_pose_leaves_the_envelope(length_m: float, width_m: float, depth_m: float) -> None:
    """Three levels of water over lines cut for 3 m; poses by rejection."""
    fairleads, anchors, radius = rig(length_m, width_m, depth_m)
    envelope = swept_envelope(length_m, width_m, fairleads, anchors, radius)
    corners = legal_corners(length_m, width_m, fairleads, anchors, radius, 2000, seed=7)
    assert len(corners) >= 4 * 2000
    shapely.prepare(envelope)
    assert shapely.covers(envelope, shapely.points(corners)).all()


def test_envelope_is_no_larger_than_it_must_be() -> None:
    """Poses reach to within a quarter of a metre of the excursion that is given."""
    fairleads, anchors, radius = rig(6.0, 3.0, 1.5)
    envelope = swept_envelope(6.0, 3.0, fairleads, anchors, radius)
    corners = legal_corners(6.0, 3.0, fairleads, anchors, radius, 20_000, seed=8)
    box = shapely.box(-3, -1.5, 3, 1.5)
    reached = shapely.distance(shapely.points(corners), box).max()
    assert excursion_m(envelope, 6.0, 3.0) - 0.25 < reached <= excursion_m(envelope, 6.0, 3.0)


def test_envelope_grows_when_the_water_falls() -> None:
    areas = [swept_envelope(6.0, 3.0, *rig(6.0, 3.0, depth_m)).area for depth_m in (3.0, 2.3, 1.5)]
    assert areas == sorted(areas)
    assert areas[0] > 18.0


def test_single_line_sweeps_a_disc_with_the_raft_beyond_it() -> None:
    """Tethered at the middle of a short side: the disc and the farthest corner, 3 % beyond."""
    fairlead, anchor = np.array([[1.0, 0.0]]), np.array([[1.0, 0.0]])
    envelope = swept_envelope(2.0, 1.0, fairlead, anchor, np.array([2.0]))
    far = shapely.hausdorff_distance(envelope, shapely.Point(1.0, 0.0))
    assert 2.0 + math.hypot(2.0, 0.5) <= far <= (2.0 + math.hypot(2.0, 0.5)) * 1.03


def test_lines_that_cannot_meet_sweep_nothing() -> None:
    fairleads, anchors = line_places(4.0, 2.0, 5.0, 30.0)
    assert swept_envelope(4.0, 2.0, fairleads, anchors, np.full(4, 1.0)).is_empty


def test_places_turn_with_the_heading() -> None:
    fairleads, _ = line_places(4.0, 2.0, 5.0, 30.0)
    np.testing.assert_allclose(placed(fairleads, 10, 20, 0.0)[0], [11.0, 22.0])
    np.testing.assert_allclose(placed(fairleads, 10, 20, 90.0)[0], [12.0, 19.0])


def test_four_lines_hold_against_turning_for_every_raft() -> None:
    """The pull of each line has an arm about the centre, whatever the sides."""
    for length_m, width_m in ((3.0, 3.0), (6.0, 2.0), (12.0, 1.5)):
        fairleads, anchors = line_places(length_m, width_m, 4.0, 30.0)
        ways = (anchors - fairleads) / 4.0
        arms = fairleads[:, 0] * ways[:, 1] - fairleads[:, 1] * ways[:, 0]
        assert np.abs(arms).min() > 0.15 * width_m


def bed_settings(soil: str, post: str = "steel pipe 88.9x5", **bed: float) -> Settings:
    return Settings.model_validate(
        {
            "name": "Pond",
            "levels": {"low_m": 9.7, "normal_m": 10, "high_m": 10.4},
            "raft": [{"name": "a", "length_m": 6.0, "width_m": 2.0, "draft_m": 0.2}],
            "bed": {"soil": soil} | bed,
            "mooring": {"post": post},
        }
    )


@pytest.mark.parametrize("soil", ["cohesive", "granular"])
@pytest.mark.parametrize("seed", range(8))
def test_posts_bear_what_the_audit_finds(soil: str, seed: int) -> None:
    """Broms' closed forms against the turning point and pressure added up: 1 %."""
    rng = np.random.default_rng(seed)
    settings = bed_settings(soil, mud_m=float(rng.uniform(0, 0.4)))
    depth, embedment = float(rng.uniform(0.5, 3.0)), float(rng.uniform(0.9, 2.5))
    section, bed = POST_SECTIONS[settings.mooring.post], bed_of(settings)
    arm, firm = depth + settings.bed.mud_m, embedment - settings.bed.mud_m
    ours = bed.ultimate_n(section.width_m, firm, arm)
    assert ours == pytest.approx(bed_load_n(settings, embedment, depth), rel=1e-3)
    moment = bed.moment_n_m(section.width_m, ours, arm)
    assert moment == pytest.approx(bending_n_m(settings, ours, depth), rel=1e-2)
    back = bed.bending_n(section.width_m, moment, arm)
    assert back == pytest.approx(ours, rel=1e-6)


def test_posts_go_no_deeper_than_the_load_asks() -> None:
    settings = bed_settings("cohesive", shear_strength_pa=20_000.0)
    found = post_strength(settings, 1.5, 900.0)
    assert found.capacity_n >= 900.0
    assert 1.0 < found.embedment_m < 3.0
    shorter = post_strength(settings, 1.5, 900.0, found.embedment_m - 0.05)
    assert shorter.capacity_n < 900.0


def test_post_that_would_bend_first_goes_no_deeper() -> None:
    settings = bed_settings("granular", "steel Y 28", friction_deg=40.0, mud_m=0.0)
    found = post_strength(settings, 3.5, 1e6)
    assert found.governs == "bending"
    assert found.embedment_m < settings.mooring.most_embedment_m


def test_raft_shows_most_across_its_diagonal() -> None:
    raft = Exposure(4.0, 3.0, 0.2, 1.0, 0.5, 0.2, 0.8)
    width = projected_m(raft, np.arange(0.0, 360.0, 0.1))
    assert width.max() == pytest.approx(5.0, abs=1e-4)
    assert width.min() == pytest.approx(3.0)


def test_governing_case_turns_with_the_raft_and_names_the_largest_part() -> None:
    raft = Exposure(6.0, 2.0, 0.2, 1.0, 0.5, 0.2, 0.8)
    directions = np.arange(0.0, 360.0, 5.0)
    none = np.zeros(len(directions))
    first = governing_case(raft, 0.0, directions, 20.0, 0.1, none)
    turned = governing_case(raft, 30.0, directions, 20.0, 0.1, none)
    assert first.load_n == pytest.approx(turned.load_n)
    assert (turned.from_deg - first.from_deg) % 180.0 == pytest.approx(30.0)
    assert first.words.startswith("wind")
    waves = np.where(directions == 200.0, 3.0, 0.0)
    assert governing_case(raft, 0.0, directions, 20.0, 0.1, waves).from_deg == 200.0


def test_radius_is_real_only_for_lines_long_enough() -> None:
    assert float(watch_radius_m(2.0, 2.0)) == 0.0
