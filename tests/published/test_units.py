"""Unit factors against the tables of NIST, and an example worked in both systems."""

import pytest

from geoplan.units import ACRE_HA, CFS_L_S, FOOT_M, INCH_M, si_name


@pytest.mark.published("NIST SP 811 (2008), appendix B.8: foot and inch, exact (recalled)")
def test_foot_and_inch() -> None:
    assert FOOT_M == 3.048e-1
    assert INCH_M == 2.54e-2


@pytest.mark.published(
    "NIST SP 811 (2008), appendix B.8: cubic foot per second 2.831 685 E-02 m3/s (recalled)"
)
def test_cubic_foot_a_second() -> None:
    assert pytest.approx(2.831685e-2, abs=5e-9) == CFS_L_S / 1e3


@pytest.mark.published(
    "NIST SP 811 (2008), appendix B.8: acre of US survey feet 4.046 873 E+03 m2 (recalled); the"
    " international acre is smaller by 4.0e-6 by the definition of the survey foot, 1200/3937 m"
)
def test_acre_differs_from_the_survey_acre_by_its_foot() -> None:
    survey_acre_m2 = 43560 * (1200 / 3937) ** 2
    assert survey_acre_m2 == pytest.approx(4.046873e3, abs=5e-4)
    assert ACRE_HA * 1e4 / survey_acre_m2 == pytest.approx((FOOT_M * 3937 / 1200) ** 2, rel=1e-12)


@pytest.mark.published(
    "Rational method, worked problem (page read): C 0.4, 2.87 in/h, 128 acres give 146.944 cfs"
    " where a cfs counts as an acre inch an hour"
)
def test_runoff_in_feet_and_in_metres_is_the_same() -> None:
    published_cfs = 0.4 * 2.87 * 128
    assert published_cfs == pytest.approx(146.944, abs=5e-4)
    # The exact ratio: 43,560 square feet by a twelfth of a foot in 3,600 seconds.
    exact_cfs = published_cfs * 43560 / 12 / 3600
    in_si_l_s = 0.4 * (2.87 * INCH_M / 3600) * (128 * ACRE_HA * 1e4) * 1e3
    assert exact_cfs * si_name("flow_cfs")[1] == pytest.approx(in_si_l_s, rel=1e-12)
