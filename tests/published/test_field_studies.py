"""Figures of field studies of floating rafts, held against what the product computes."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from geoplan.cover import surface_cover
from geoplan.exports.report.field_limits import MOST_RATIO, catchment_ratio
from geoplan.plan import WaterEdge
from geoplan.raft import footprints
from geoplan.settings import TreatmentSettings
from geoplan.site import Inflow
from tests.unit.launch.lakes import body

CRS = "+proj=tmerc +lat_0=28 +lon_0=-82 +k=1 +x_0=0 +y_0=0 +ellps=WGS84 +units=m +no_defs"


@pytest.mark.published(
    "Meta-analysis of eight field studies of floating rafts (2022, abstract): little effect above"
    " 200:1; by arithmetic a catchment of 7.46 ha wants 373 m² of pond"
)
def test_loading_ratio_of_a_catchment() -> None:
    pond = shapely.box(0, 0, 37.3, 10)
    inflow = Inflow("pipe", shapely.Point(0, 5), catchment_ha=7.46)
    water = replace(body(pond, []), inflows=(inflow,))
    assert catchment_ratio(water, 373.0) == pytest.approx(MOST_RATIO)
    two = replace(water, inflows=(inflow, replace(inflow, inflow_id="other", catchment_ha=None)))
    assert catchment_ratio(two, 373.0) is None


@pytest.mark.published(
    "Floating wetland of 900 m² at 5 % of a eutrophic pond in Florida, 2016-2020 (White 2021,"
    " abstract): the pond is 1.80 ha"
)
def test_cover_of_the_pond_in_florida() -> None:
    """150 rafts of 6 m² in 18,000 m²: 5 %."""
    pond = shapely.box(0, 0, 180, 100)
    edge = WaterEdge("normal", 0.0, shapely.MultiPolygon([pond]), 18_000.0, 0.0)
    east, north = (a.ravel() for a in np.meshgrid(np.arange(5, 125, 8.0), np.arange(5, 95, 9.0)))
    rafts = list(footprints(east, north, np.zeros(150), 3.0, 2.0))
    (cover,) = surface_cover([edge], rafts, CRS)
    assert cover.raft_area_m2 == pytest.approx(900.0, rel=1e-6)
    assert cover.cover_pct == pytest.approx(5.0, rel=1e-6)


@pytest.mark.published(
    "Floating wetland of 50 m² in Virginia, 137 days: 191 g of nitrogen in plants and 3100 g of"
    " sediment (McAndrew 2016, abstract): 27.88 mg N/m² a day; and in clean water 34.8 to 35.2 mg"
    " NO3-N/m² a day, up to 312 g N/m² a year in rich water (2024, abstract)"
)
def test_default_rate_lies_between_clean_and_rich_water() -> None:
    """
    At 1 mg/L, an ordinary pond, the rate gives 12.6 g/m² a year: as clean water, far below rich.
    """
    tissue_g_m2_yr = 191.0 / 50.0 / 137.0 * 365.0
    assert tissue_g_m2_yr / 365.0 * 1000.0 == pytest.approx(27.88, abs=0.01)
    clean_g_m2_yr = 34.8e-3 * 365.0
    rate, low, high = TreatmentSettings().rates_m_yr("tn")
    for g_m2_yr in (tissue_g_m2_yr, clean_g_m2_yr):
        assert low <= g_m2_yr <= 1.05 * high
    assert rate < 312.0
