"""
Lake 227, Ontario: a sonar survey of 1,039 fixes, six of them strays four kilometres away.

The file has latitude, longitude and height (negative depth). It has no outline, so one is drawn
round the fixes that belong together.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely

from geoplan.crs import transformed, transformed_points, working_crs
from geoplan.readers import check_site, stray_fixes
from tests.unit.readers.sites import SETTINGS, features

pytestmark = pytest.mark.real_data

#: Rows of the file, as a spreadsheet numbers them, whose fixes lie four kilometres away.
STRAY_COUNT = 6


@pytest.fixture(name="survey")
def _survey(real_data: Path) -> pd.DataFrame:
    """The fixes, under the names that a site uses."""
    raw = pd.read_csv(real_data / "lake227" / "227_LA.csv")
    return pd.DataFrame({"longitude_deg": raw.x, "latitude_deg": raw.y, "depth_m": -raw.z})


def planar(survey: pd.DataFrame) -> tuple[str, np.ndarray, np.ndarray]:
    """Working CRS of the median fix, and the fixes in it."""
    crs = working_crs(float(survey.longitude_deg.median()), float(survey.latitude_deg.median()))
    east, north = transformed_points(
        survey.longitude_deg.to_numpy(), survey.latitude_deg.to_numpy(), "EPSG:4326", crs
    )
    return crs, east, north


def test_six_strays_are_found_and_no_other(survey: pd.DataFrame) -> None:
    _, east, north = planar(survey)
    is_stray = stray_fixes(east, north)
    away_m = np.hypot(east - np.median(east), north - np.median(north))
    assert len(survey) == 1039
    assert np.flatnonzero(is_stray).tolist() == np.flatnonzero(away_m > 3000).tolist()
    assert is_stray.sum() == STRAY_COUNT


def test_hull_of_the_others_has_the_size_of_the_lake(survey: pd.DataFrame) -> None:
    _, east, north = planar(survey)
    good = ~stray_fixes(east, north)
    hull = shapely.convex_hull(shapely.multipoints(np.column_stack([east[good], north[good]])))
    assert hull.area / 1e4 == pytest.approx(4.80, abs=0.005)


def test_a_site_with_these_soundings_is_refused_and_the_six_rows_named(
    survey: pd.DataFrame, tmp_path: Path
) -> None:
    crs, east, north = planar(survey)
    good = ~stray_fixes(east, north)
    hull = shapely.convex_hull(shapely.multipoints(np.column_stack([east[good], north[good]])))
    degrees = transformed(hull, crs, "EPSG:4326")
    (tmp_path / "site.toml").write_text(SETTINGS.replace('crs = "EPSG:25832"', ""))
    (tmp_path / "water.geojson").write_text(features([(degrees, {"water_id": "227"})], None))
    survey.to_csv(tmp_path / "soundings.csv", index=False)
    result = check_site(tmp_path)
    named = [fault.feature for fault in result.faults if "far from all others" in fault.found]
    assert result.site is None
    # The header is row 1 of a spreadsheet.
    assert named == [f"row {index + 2}" for index in np.flatnonzero(~good)]
    assert [fault for fault in result.faults if fault.severity == "error"] == list(
        result.faults[:STRAY_COUNT]
    )
    survey[good].to_csv(tmp_path / "soundings.csv", index=False)
    site = check_site(tmp_path).site
    assert site is not None
    assert len(site.water_bodies[0].soundings) == 1039 - STRAY_COUNT
