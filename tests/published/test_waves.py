"""Fetch, waves and set-up against published formulas, tables and closed forms."""

import math

import numpy as np
import pytest

from geoplan.water.waves import (
    cem_waves,
    fetch_m,
    saville_fetch_m,
    setup_m,
    spm_fetch_m,
    spm_waves,
)

HERE = np.zeros(1)


def ring(corners: np.ndarray) -> np.ndarray:
    return np.hstack([corners, np.roll(corners, -1, axis=0)])


def rectangle(length: float, width: float) -> np.ndarray:
    """A basin seen from the middle of its short side, looking north along its length."""
    half = width / 2
    return ring(np.array([[-half, 0.0], [half, 0.0], [half, length], [-half, length]]))


def circle(radius: float, sides: int = 4096) -> np.ndarray:
    angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    return ring(radius * np.column_stack([np.sin(angle), np.cos(angle)]))


@pytest.mark.published(
    "SPM 1984 and CEM 2002, equations as transcribed by third parties; table recomputed by hand"
)
@pytest.mark.parametrize(
    ("wind", "fetch", "spm_h", "spm_t", "spm_s", "cem_h", "cem_t", "cem_s"),
    [
        (10, 200, 0.0871, 0.836, 479, 0.0710, 0.602, 578),
        (15, 300, 0.1757, 1.130, 532, 0.1381, 0.804, 661),
        (20, 500, 0.3231, 1.508, 665, 0.2502, 1.067, 844),
        (20, 1000, 0.4569, 1.900, 1055, 0.3538, 1.345, 1343),
        (25, 2000, 0.8502, 2.622, 1528, 0.6552, 1.854, 1981),
        (30, 500, 0.5320, 1.780, 563, 0.4101, 1.259, 736),
    ],
)
def test_fetch_limited_waves(
    wind: float,
    fetch: float,
    spm_h: float,
    spm_t: float,
    spm_s: float,
    cem_h: float,
    cem_t: float,
    cem_s: float,
) -> None:
    spm, cem = spm_waves(wind, fetch), cem_waves(wind, fetch)
    assert spm.height_m == pytest.approx(spm_h, abs=6e-5)
    assert spm.period_s == pytest.approx(spm_t, abs=6e-4)
    assert spm.duration_s == pytest.approx(spm_s, abs=0.6)
    assert cem.height_m == pytest.approx(cem_h, abs=6e-5)
    assert cem.period_s == pytest.approx(cem_t, abs=6e-4)
    assert cem.duration_s == pytest.approx(cem_s, abs=1.0)


@pytest.mark.published("SPM 1984, eqs 3-39 and 3-40 (transcribed by third parties), shallow water")
@pytest.mark.parametrize(
    ("wind", "fetch", "depth", "height", "period"),
    [
        (20, 500, 1.5, 0.2958, 1.440),
        (20, 500, 1.0, 0.2770, 1.419),
        (20, 500, 50, 0.3227, 1.501),
        (15, 300, 1.2, 0.1665, 1.089),
    ],
)
def test_shallow_water_waves(
    wind: float, fetch: float, depth: float, height: float, period: float
) -> None:
    found = spm_waves(wind, fetch, depth)
    assert found.height_m == pytest.approx(height, abs=6e-5)
    assert found.period_s == pytest.approx(period, abs=6e-4)


@pytest.mark.published("Saville et al. 1962, as quoted by Fell et al.; closed forms on basins")
@pytest.mark.parametrize(
    ("shore", "saville", "spm"),
    [
        (rectangle(300, 100), 162.733, 288.06),
        (rectangle(400, 100), 184.856, 347.30),
        (rectangle(200, 200), 179.313, 201.85),
    ],
)
def test_effective_fetch_of_a_rectangle(shore: np.ndarray, saville: float, spm: float) -> None:
    north = np.full(1, 1e-9)
    assert saville_fetch_m(HERE, north, shore, 0.0)[0] == pytest.approx(saville, abs=6e-4)
    assert spm_fetch_m(HERE, north, shore, 0.0)[0] == pytest.approx(spm, abs=6e-3)


@pytest.mark.published("Saville 1962 with 15 radials to 42°: sum cos² 12.2834 over sum cos 13.5109")
@pytest.mark.parametrize("from_deg", [0.0, 73.0])
def test_effective_fetch_where_all_radials_are_alike(from_deg: float) -> None:
    """From the middle of a circle: 0.90915 of its radius, half a unit of the last decimal."""
    found = saville_fetch_m(HERE, HERE, circle(1000.0, 100_000), from_deg)[0]
    assert found / 1000.0 == pytest.approx(12.2834 / 13.5109, abs=6e-6)
    assert found / 1000.0 == pytest.approx(0.90915, abs=6e-6)


@pytest.mark.published("SPM 1984: over deep water the shallow form is the deep one, to 0.2 %")
@pytest.mark.parametrize(("wind", "fetch"), [(15, 300), (20, 500), (30, 500)])
def test_shallow_form_in_deep_water(wind: float, fetch: float) -> None:
    deep, shallow = spm_waves(wind, fetch), spm_waves(wind, fetch, 500.0)
    assert shallow.height_m == pytest.approx(deep.height_m, rel=2e-3)
    assert shallow.period_s != deep.period_s  # its own constants, 7.54 x 0.0379 against 0.2857
    assert shallow.period_s == pytest.approx(deep.period_s, rel=2e-3)


@pytest.mark.published("Closed form: chords of a circle of 100 m from centre and shore")
def test_fetch_on_a_circle() -> None:
    shore = circle(100.0)
    rays = fetch_m(HERE, HERE, shore, np.arange(0, 360, 7.0))
    np.testing.assert_allclose(rays, 100.0, atol=1e-2)
    from_shore = fetch_m(HERE, np.full(1, -99.999), shore, [0.0, 30.0, -60.0])[0]
    np.testing.assert_allclose(from_shore, [200.0, 200 * math.cos(math.pi / 6), 100.0], atol=1e-2)
    assert saville_fetch_m(HERE, np.full(1, -99.9999), shore, 0.0)[0] == pytest.approx(
        166.728, abs=2e-2
    )


@pytest.mark.published("Novak et al., Hydraulic Structures, eq. 4.9: the Zuider Zee formula (read)")
@pytest.mark.parametrize(
    ("wind", "fetch", "depth", "rise"),
    [
        (80 / 3.6, 1000, 2, 0.05161),
        (15, 300, 1.5, 0.0094),
        (20, 500, 1.5, 0.0279),
        (20, 1000, 2, 0.0418),
    ],
)
def test_set_up(wind: float, fetch: float, depth: float, rise: float) -> None:
    assert setup_m(wind, fetch, depth) == pytest.approx(rise, abs=6e-5)
