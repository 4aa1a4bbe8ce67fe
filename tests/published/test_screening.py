"""Credit by cover, oxygen and tanks in series against printed or derivable values."""

import math

import pytest

from geoplan.screening import (
    credit_for,
    outflow_g_m3,
    oxygen_g_m3,
    oxygen_saturation_g_m3,
    rate_at,
)
from geoplan.settings import TreatmentSettings
from geoplan.settings_report import ReportSettings

TABLE = ReportSettings().credit


@pytest.mark.published(
    "Expert panel on floating wetland retrofits of wet ponds, US bay programme, 2016, recalled"
)
@pytest.mark.parametrize(
    ("cover", "removal"),
    [
        (10, (0.8, 1.6, 2.3)),
        (20, (1.7, 3.3, 4.7)),
        (30, (2.5, 4.9, 7.0)),
        (40, (3.3, 6.5, 9.2)),
        (50, (4.1, 8.0, 11.5)),
        # Midway between rows: means of their figures.
        (15, (1.25, 2.45, 3.50)),
        (25, (2.10, 4.10, 5.85)),
        (45, (3.70, 7.25, 10.35)),
        # Beyond the rows nothing is invented.
        (5, (0.0, 0.0, 0.0)),
        (70, (4.1, 8.0, 11.5)),
    ],
)
def test_credit_is_read_between_rows_only(
    cover: float, removal: tuple[float, float, float]
) -> None:
    credit = credit_for(cover, TABLE)
    assert (credit.tn_pct, credit.tp_pct, credit.tss_pct) == pytest.approx(removal, abs=1e-9)


@pytest.mark.published("The same table applied to a load, derived by hand from its 30 % row")
def test_credit_of_a_load() -> None:
    credit = credit_for(30.0, TABLE)
    assert 100.0 * credit.tn_pct / 100 == pytest.approx(2.50)
    assert 12.0 * credit.tp_pct / 100 == pytest.approx(0.588)
    assert 4000.0 * credit.tss_pct / 100 == pytest.approx(280.0)


@pytest.mark.published(
    "Benson and Krause 1984, oxygen of fresh water at one atmosphere, table recalled"
)
@pytest.mark.parametrize(
    ("celsius", "oxygen"),
    [(0, 14.621), (5, 12.771), (10, 11.288), (15, 10.084), (20, 9.092), (25, 8.263), (30, 7.559)],
)
def test_oxygen_at_saturation(celsius: float, oxygen: float) -> None:
    assert oxygen_saturation_g_m3(celsius) == pytest.approx(oxygen, abs=5e-4)


@pytest.mark.published("Balance of respiration and re-aeration, solved by hand")
def test_oxygen_under_cover() -> None:
    """Cs − R h / (kL (1 − f)) with Cs 8.263, R 0.8, h 1.5, kL 0.5; 5 g/m³ at f = 0.2645."""
    for cover, oxygen in ((0.0, 5.863), (0.2, 5.263), (0.3, 4.835), (0.5, 3.463), (0.7, 0.263)):
        assert balanced(cover) == pytest.approx(oxygen, abs=1e-3)
    assert balanced(0.9) == balanced(1.0) == 0.0
    assert balanced(1 - 2.4 / 3.263) == pytest.approx(5.0, abs=1e-9)


def balanced(cover: float) -> float:
    return oxygen_g_m3(
        cover, saturation_g_m3=8.263, respiration_g_m3_d=0.8, depth_m=1.5, reaeration_m_d=0.5
    )


@pytest.mark.published("Kadlec and Wallace 2009, tanks in series with background, recalled")
def test_tanks_in_series() -> None:
    """10 in, 1.5 background, 12.6 m/yr on 18.25 m/yr: one, three and endless tanks."""
    for tanks, out in ((1.0, 6.528), (3.0, 6.066), (math.inf, 5.762)):
        assert outflow_g_m3(10.0, 1.5, 12.6, 18.25, tanks) == pytest.approx(out, abs=5e-4)
    assert outflow_g_m3(10.0, 1.5, 12.6, 18.25, 1e7) == pytest.approx(5.76164, abs=1e-5)
    for tanks, out in ((1.0, 0.2149), (3.0, 0.2067), (3.4, 0.2062), (12.0, 0.2031)):
        assert outflow_g_m3(0.300, 0.002, 10.0, 25.0, tanks) == pytest.approx(out, abs=6e-5)
    area = 3 * 500 * 365 / 12.6 * ((8.5 / 2.5) ** (1 / 3) - 1)
    loading = 365 * 500 / area
    assert area == pytest.approx(21886.7, abs=0.1)
    assert outflow_g_m3(10.0, 1.5, 12.6, loading, 3.0) == pytest.approx(4.0, abs=1e-9)


@pytest.mark.published("Temperature factor 1.056 on 12.6 m/yr, by arithmetic")
def test_rates_with_temperature() -> None:
    for celsius, rate in ((5, 5.564), (10, 7.307), (15, 9.595), (25, 16.546)):
        assert rate_at(12.6, 1.056, celsius) == pytest.approx(rate, abs=1e-3)
    outs = [outflow_g_m3(10, 1.5, rate_at(12.6, 1.056, t), 18.25, 3) for t in (5, 10, 15, 20, 25)]
    assert outs == pytest.approx([7.858, 7.337, 6.736, 6.066, 5.349], abs=1e-3)


@pytest.mark.published("Ranges of validity of the same sources")
def test_bad_arguments_are_refused() -> None:
    with pytest.raises(ValueError, match="no row"):
        credit_for(10.0, ())
    with pytest.raises(ValueError, match="0 to 40"):
        oxygen_saturation_g_m3(-1.0)
    with pytest.raises(ValueError, match="above zero"):
        outflow_g_m3(1.0, 0.0, 1.0, 0.0, 3.0)


@pytest.mark.published(
    "One tank against several of the same total, exact: n tanks keep (1 + 1/n)^-n"
)
def test_tanks_in_series_beat_one() -> None:
    for tanks, left in ((1.0, 0.5), (2.0, 0.4444), (4.0, 0.4096), (math.inf, 0.3679)):
        assert outflow_g_m3(1.0, 0.0, 1.0, 1.0, tanks) == pytest.approx(left, abs=5e-5)


@pytest.mark.published("Temperature multipliers of usual factors, by arithmetic")
def test_temperature_multipliers() -> None:
    for theta, cold, warm in (
        (1.056, 0.5799, 1.3132),
        (1.102, 0.3786, 1.6252),
        (1.19, 0.1756, 2.3864),
    ):
        assert rate_at(1.0, theta, 10.0) == pytest.approx(cold, abs=5e-5)
        assert rate_at(1.0, theta, 25.0) == pytest.approx(warm, abs=5e-5)


@pytest.mark.published(
    "Floating wetland at 5 % of a eutrophic pond in Florida, 2016-2020, 0.96 mg/L TN and 0.13 mg/L"
    " TP: tissue of the best three species fixed 12.1-13.5 g N and 1.41-3.77 g P/m² a year"
    " (White 2021, abstract); treatment wetlands above 40 ha: median k of TP 12.5 m/yr (2016,"
    " abstract)"
)
def test_default_rates_promise_no_more_than_was_measured() -> None:
    """Rate times the pond's concentration: below the most that was harvested, within a factor."""
    rates = TreatmentSettings()
    for constituent, at_g_m3, least_g_m2, most_g_m2 in (
        ("tn", 0.96, 12.1, 13.5),
        ("tp", 0.13, 1.41, 3.77),
    ):
        used, low, high = (rate * at_g_m3 for rate in rates.rates_m_yr(constituent))
        assert used <= most_g_m2
        assert high >= least_g_m2 / 1.5
        assert low >= least_g_m2 / 3.0
    assert rates.rates_m_yr("tp")[0] <= 12.5
