"""Poles, media and stability against closed forms and published densities."""

import math

import pytest

from geoplan.buoyancy import FloatingPole, FloatingSlab, draft_of_m, immersed, segment_share
from geoplan.raft_build import PoleGroup, RaftBuild

POUND_YARD = 0.45359237 / 0.9144**3


@pytest.mark.published("Circular segment, closed form: (theta - sin theta)/2 pi (exact)")
@pytest.mark.parametrize(
    ("height", "share"),
    [(0.10, 0.05204), (0.25, 0.19550), (0.50, 0.5), (0.75, 0.80450), (0.90, 0.94796)],
)
def test_segment_of_a_circle(height: float, share: float) -> None:
    """Half a unit of the fifth decimal."""
    assert segment_share(height) == pytest.approx(share, abs=5e-6)


@pytest.mark.published("Lone sealed pole of effective density 270 kg/m³, closed form (exact)")
def test_lone_pole_floats_at_its_density() -> None:
    """A pole 0.1 m thick with a wall of 0.01 m and 750 kg/m³, in water of 1000 kg/m³."""
    pole = FloatingPole(0.0, 0.1, 0.08, 3.0, 1.0, 0.0, True)
    gross = immersed([pole], 0.1).volume_m3
    wall = math.pi * 0.01 * 0.09 * 3.0
    assert gross == pytest.approx(0.0235619, abs=5e-8)
    assert wall == pytest.approx(0.0084823, abs=5e-8)
    assert wall * 750 == pytest.approx(6.362, abs=5e-4)
    assert 1000 * gross - wall * 750 == pytest.approx(17.200, abs=5e-4)
    assert draft_of_m([pole], wall * 750 / 1000) / 0.1 == pytest.approx(0.31505, abs=2e-5)


@pytest.mark.published("The same pole flooded and with a saturated wall, closed form (exact)")
@pytest.mark.parametrize(
    ("sealed", "density", "net"),
    [(0.0, 750.0, 2.121), (0.0, 1150.0, -1.272), (1.0, 1150.0, 13.807)],
)
def test_flooded_pole_loses_its_buoyancy(sealed: float, density: float, net: float) -> None:
    """Net buoyancy [kg]; a flooded pole with a saturated wall sinks."""
    pole = FloatingPole(0.0, 0.1, 0.08, 3.0, sealed, 0.0, True)
    wall = math.pi * 0.01 * 0.09 * 3.0
    lift = 1000 * immersed([pole], 0.1).volume_m3 - wall * density
    assert lift == pytest.approx(net, abs=6e-4)
    assert math.isinf(draft_of_m([pole], wall * density / 1000)) == (net < 0)


@pytest.mark.published("Buoyancy used by a 2 x 1 m raft with 80 mm of medium, arithmetic (exact)")
@pytest.mark.parametrize(
    ("count", "medium", "used"),
    [
        (8, 600.0, 1.114), (8, 890.0, 1.483), (8, 1023.0, 1.652),
        (12, 600.0, 0.832), (12, 890.0, 1.079), (12, 1023.0, 1.191),
        (16, 600.0, 0.692), (16, 890.0, 0.876), (16, 1023.0, 0.961),
        (20, 600.0, 0.607), (20, 890.0, 0.755), (20, 1023.0, 0.823),
        (24, 600.0, 0.551), (24, 890.0, 0.674), (24, 1023.0, 0.731),
    ],
)  # fmt: skip
def test_share_of_buoyancy_used(count: int, medium: float, used: float) -> None:
    """Poles 0.1 m thick, 2 m long, of 4.24 kg; 0.16 m³ of medium, 10 kg of fittings."""
    poles = [FloatingPole(0.0, 0.1, 0.08, 2.0, 1.0, 0.0, True)] * count
    mass = count * 4.24 + 0.16 * medium + 10
    assert mass / (1000 * immersed(poles, 0.1).volume_m3) == pytest.approx(used, abs=1e-3)


@pytest.mark.published("Sixteen poles, a quarter flooded, walls saturated, arithmetic (exact)")
def test_quarter_of_the_poles_flooded() -> None:
    """256.4 kg against 211.1 kg of lift: the medium is awash."""
    poles = [FloatingPole(0.0, 0.1, 0.08, 2.0, 0.75, 0.0, True)] * 16
    wall = math.pi * 0.01 * 0.09 * 2.0
    assert 16 * wall * 1150 + 0.16 * 890 + 10 == pytest.approx(256.4, abs=0.06)
    assert 1000 * immersed(poles, 0.1).volume_m3 == pytest.approx(211.1, abs=0.06)


@pytest.mark.published("Box of 1 m beam: KB = T/2, BM = B²/12T, closed form (exact)")
def test_metacentre_of_a_box() -> None:
    """Draft 0.1 m: KB 0.05, BM 0.833, and GM 0.633 with KG 0.25."""
    box = FloatingSlab(0.0, 0.3, 2.0, 1.0, 1.0)
    cut = immersed([box], 0.10)
    centre = cut.moment_m4 / cut.volume_m3
    assert centre == pytest.approx(0.05, rel=1e-9)
    assert cut.roll_m4 / cut.volume_m3 == pytest.approx(1 / 1.2, rel=1e-9)
    assert centre + cut.roll_m4 / cut.volume_m3 - 0.25 == pytest.approx(0.633, abs=5e-4)


@pytest.mark.published("One person of 80 kg on 2 m², arithmetic (exact)")
def test_person_on_two_square_metres() -> None:
    """40 mm more draft."""
    box = FloatingSlab(0.0, 0.3, 2.0, 1.0, 1.0)
    assert draft_of_m([box], 0.28) - draft_of_m([box], 0.20) == pytest.approx(0.040, abs=1e-8)


@pytest.mark.published(
    "Saturated, compacted compost 1724 lb/yd³ as measured; Oregon State extension (read)"
)
def test_default_medium_is_the_measured_saturated_compost() -> None:
    """Pounds and yards to SI; the default is that figure, rounded to a kilogram."""
    build = RaftBuild(poles=(PoleGroup(count=1, diameter_m=0.1, wall_m=0.01, length_m=1.0),))
    assert pytest.approx(1022.8, abs=0.05) == 1724 * POUND_YARD
    assert build.medium_saturated_kg_m3 == pytest.approx(1724 * POUND_YARD, abs=0.5)


@pytest.mark.published(
    "Screened compost 1000 lb/yd³ at about half moisture; a State extension, as quoted"
)
def test_default_dry_medium_is_screened_compost() -> None:
    """593.3 kg/m³."""
    build = RaftBuild(poles=(PoleGroup(count=1, diameter_m=0.1, wall_m=0.01, length_m=1.0),))
    assert build.medium_dry_kg_m3 == pytest.approx(1000 * POUND_YARD, abs=0.5)


@pytest.mark.published(
    "Compost of 900 to 1200 lb/yd³ works at 35 to 55 % moisture, above 1500 it is very wet; State"
    " extension, as quoted"
)
def test_default_media_lie_in_the_published_ranges() -> None:
    """534 to 712 kg/m³ as it comes; full of water more than the 889.9 kg/m³ of very wet."""
    build = RaftBuild(poles=(PoleGroup(count=1, diameter_m=0.1, wall_m=0.01, length_m=1.0),))
    least, most, wet = (pounds * POUND_YARD for pounds in (900, 1200, 1500))
    assert (least, most, wet) == pytest.approx((534, 712, 889.9), abs=0.5)
    assert least <= build.medium_dry_kg_m3 <= most
    assert build.medium_saturated_kg_m3 > wet
