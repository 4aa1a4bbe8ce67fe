"""The way to and from working CRSs, against PROJ asked for each pair by itself."""

import numpy as np
import pytest
from pyproj import Transformer

from geoplan.crs import _transformers, transformed_points, working_crs

_HERE, _SOUTH = working_crs(9.51234, 56.1), working_crs(9.5, -0.00001)


def _asked(first, second, source, target):
    return Transformer.from_crs(source, target, always_xy=True).transform(first, second)


def _places(crs):
    shift = np.random.default_rng(0).uniform(-0.05, 0.05, (2, 500))
    return np.array(_asked(9.51234 + shift[0], 56.1 + shift[1], "EPSG:4326", crs))


@pytest.mark.parametrize(
    "crs", ["EPSG:4326", "EPSG:25832", "EPSG:32632", "EPSG:3857", "EPSG:2263", _SOUTH]
)
def test_to_the_last_bit_where_proj_knows_one_way(crs):
    here = _places(crs)
    there = np.array(_asked(*here, crs, _HERE))
    assert np.array_equal(transformed_points(*here, crs, _HERE), there)
    assert np.array_equal(transformed_points(*there, _HERE, crs), _asked(*there, _HERE, crs))


@pytest.mark.parametrize("crs", ["EPSG:27700", "EPSG:31467"])
def test_within_rounding_where_proj_chooses_by_place(crs):
    here = _places(crs)
    there = np.array(_asked(*here, crs, _HERE))
    assert np.abs(np.array(transformed_points(*here, crs, _HERE)) - there).max() < 1e-8
    back = transformed_points(*there, _HERE, crs)
    assert np.abs(np.array(back) - np.array(_asked(*there, _HERE, crs))).max() < 1e-8


def test_steps_that_are_written_otherwise_are_asked_for(monkeypatch):
    here = _places("EPSG:25832")
    expected = np.array(_asked(*here, "EPSG:25832", _HERE))
    monkeypatch.setattr("geoplan.crs._centre", lambda *_: "as nobody writes it")
    _transformers.cache_clear()
    try:
        assert (
            np.abs(np.array(transformed_points(*here, "EPSG:25832", _HERE)) - expected).max() < 1e-8
        )
    finally:
        _transformers.cache_clear()
