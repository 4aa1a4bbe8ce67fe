"""Polynomials to degrees: true to a centimetre at any place they are used, or refused."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geoplan.crs import WGS84, transformed_points, working_crs
from geoplan.errors import ExportError
from geoplan.exports.degree_fit import fit_degrees, terms


@settings(max_examples=15, deadline=None)
@given(st.floats(-179, 179), st.floats(-70, 70), st.floats(20, 6000))
def test_random_places_are_true_to_a_centimetre(
    longitude_deg: float, latitude_deg: float, half_m: float
) -> None:
    crs = working_crs(longitude_deg, latitude_deg)
    fit = fit_degrees((-half_m, -half_m, half_m, half_m), crs)
    rng = np.random.default_rng(1)
    metres = rng.uniform(-half_m, half_m, (200, 2))
    u, v = metres.T / fit.reach_m
    degrees = terms(u, v, fit.degree) @ fit.to_degrees + fit.centre_deg
    east, north = transformed_points(degrees[:, 0], degrees[:, 1], WGS84, crs)
    assert np.abs(east - metres[:, 0]).max() <= 0.0101
    assert np.abs(north - metres[:, 1]).max() <= 0.0101
    p, q = (degrees - fit.centre_deg).T / fit.reach_deg
    back = terms(p, q, fit.degree) @ fit.to_metres
    assert np.abs(back - metres).max() <= 0.0201


def test_a_pond_needs_six_coefficients() -> None:
    fit = fit_degrees((-1000.0, -1000.0, 1000.0, 1000.0), working_crs(9.5, 56.1))
    assert fit.to_degrees.shape == (6, 2)
    assert fit.residual_m < 1e-3


def test_a_long_lake_takes_more() -> None:
    fit = fit_degrees((-10_000.0, -30_000.0, 10_000.0, 30_000.0), working_crs(9.5, 56.1))
    assert fit.degree > 2
    assert fit.residual_m <= 0.01


def test_a_continent_is_refused() -> None:
    with pytest.raises(ExportError, match="to a centimetre"):
        fit_degrees((-2e6, -2e6, 2e6, 2e6), working_crs(9.5, 45.0))
