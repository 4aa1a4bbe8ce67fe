"""
The settings of a site: ``site.toml`` as typed, frozen tables.

Every key but ``name``, ``levels`` and one ``[[raft]]`` has a default; each default carries its
source, or says *judgement*, and every default that was used is listed in the plan.
"""

import datetime as dt
import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from geoplan.post_sections import POST_SECTIONS
from geoplan.raft import NotNegative, Positive, RaftType

Percent = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]


def _default(value: Any, source: str, **limits: Any) -> Any:
    """Return a field with a default and the source that the plan prints beside it."""
    return Field(default=value, json_schema_extra={"source": source}, **limits)


class Table(BaseModel):
    """One table of ``site.toml``; unknown keys are refused, so that no typing error is lost."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class LevelSettings(Table):
    """
    Water levels, heights above the vertical datum.

    Attributes
    ----------
    low_m, normal_m, high_m : float or None
        Levels [m]; all three, or a record to take them from.
    record : str or None
        File with columns ``time`` and ``level_m``.
    low_percentile, high_percentile : float
        Percentiles of the record that stand for low and high [%]; normal is its median.
    """

    low_m: Finite | None = None
    normal_m: Finite | None = None
    high_m: Finite | None = None
    record: str | None = None
    low_percentile: Percent = _default(5.0, "judgement: one day in twenty is lower")
    high_percentile: Percent = _default(95.0, "judgement: one day in twenty is higher")

    @model_validator(mode="after")
    def _complete_and_ordered(self) -> "LevelSettings":
        """Refuse levels that are neither given nor to be taken from a record."""
        given = (self.low_m, self.normal_m, self.high_m)
        if self.record is None and None in given:
            raise ValueError('give low_m, normal_m and high_m, or record = "levels.csv"')
        low, normal, high = (value for value in given)
        if low is not None and normal is not None and low > normal:
            raise ValueError(f"low_m {low:g} is above normal_m {normal:g}")
        if normal is not None and high is not None and normal > high:
            raise ValueError(f"normal_m {normal:g} is above high_m {high:g}")
        return self


class SurveySettings(Table):
    """
    How depths were measured.

    Attributes
    ----------
    date : date or None
        Day of the survey.
    method : str
        Words for the report.
    sigma_m : float
        One standard deviation of a sounding, or of the bed raster [m].
    reach_m : float or None
        Farthest from a sounding that a depth is believed; ``None``: from the soundings'
        spacing [m].
    """

    date: dt.date | None = None
    method: str = _default("not stated", "none given")
    sigma_m: Positive = _default(0.10, "judgement: pole or line from a boat")
    reach_m: Positive | None = _default(None, "judgement: three times the typical spacing")


class CoverSettings(Table):
    """
    Share of the normal pool that rafts may cover.

    Attributes
    ----------
    max_pct, min_pct : float
        Most and least cover wanted [%].
    allow_over_50 : bool
        Explicit word that more than half may be covered.
    also_at_m : tuple of float
        More levels at which cover is stated, above the vertical datum [m].
    """

    max_pct: Percent = _default(20.0, "reviews; the credit table stops at 50 %")
    min_pct: Percent = _default(0.0, "none given")
    allow_over_50: bool = _default(False, "more than half stops re-aeration: never by default")
    also_at_m: tuple[Finite, ...] = _default((), "none asked")

    @model_validator(mode="after")
    def _ordered_and_bounded(self) -> "CoverSettings":
        """Refuse cover that contradicts itself, or over half without an explicit word."""
        if self.min_pct > self.max_pct:
            raise ValueError(f"min_pct {self.min_pct:g} is above max_pct {self.max_pct:g}")
        if self.max_pct > 50 and not self.allow_over_50:
            raise ValueError(
                f"max_pct {self.max_pct:g} is over half of the water, which starves it of air;"
                " lower it, or set allow_over_50 = true"
            )
        return self


class Clearances(Table):
    """
    Distances that are kept.

    Attributes
    ----------
    root_m : float
        Between roots and bed at low level [m].
    sediment_m : float
        Allowance for settling until the next dredging [m].
    bank_m : float
        Open water between raft and bank at low level [m].
    gap_m : float
        Between rafts [m].
    outlet_m : float
        From the outlet; never less than three outlet widths [m].
    inflow_m : float
        From an inflow, even where its jet would allow less [m].
    jet_speed_m_s : float
        Speed of an inflow's jet that a raft may lie in [m/s].
    """

    root_m: NotNegative = _default(0.3, "Queensland guidance: roots must not attach; judgement")
    sediment_m: NotNegative = _default(0.05, "judgement")
    bank_m: NotNegative = _default(2.0, "judgement")
    gap_m: NotNegative = _default(1.0, "judgement; no published standard")
    outlet_m: NotNegative = _default(5.0, "judgement")
    inflow_m: NotNegative = _default(0.0, "none: the jet decides")
    jet_speed_m_s: Positive = _default(0.3, "Albertson et al. 1950 for the jet; judgement")


#: Areal rates of free-water-surface wetlands, an analogue for rafts: TN, TP and coliforms recalled
#: from Kadlec and Wallace (2009), medians; suspended solids by judgement [m/yr].
_RATES_M_YR = {"tn": 12.6, "tp": 10.0, "tss": 30.0, "ecoli": 83.0}
#: Areal rates of open water: nutrients by judgement; suspended solids as silt of 2 µm falls by
#: Stokes' law (113 m/yr), rounded down; coliforms as in wetlands, recalled from the same book. Too
#: high a rate leaves less for rafts to take out [m/yr].
_SETTLING_M_YR = {"tn": 5.0, "tp": 5.0, "tss": 100.0, "ecoli": 83.0}


class TreatmentSettings(Table):
    """
    What rafts and the water itself take out.

    Attributes
    ----------
    constituent : {"tn", "tp", "tss", "ecoli"}
        What the plan takes out.
    rate_m_yr : float or None
        Areal rate of planted raft; ``None``: that of the constituent [m/yr].
    rate_range_m_yr : tuple of float or None
        Range in which it is believed to lie; ``None``: half of it to all [m/yr].
    settling_m_yr : float or None
        Areal rate of open water; ``None``: that of the constituent [m/yr].
    dispersion_m2_s : float or None
        Horizontal dispersion [m²/s].
    reach_m : float or None
        Distance over which the worth of a raft falls to 1/e away from an inflow [m].
    """

    constituent: Literal["tn", "tp", "tss", "ecoli"] = _default("tn", "none given")
    rate_m_yr: Positive | None = _default(
        None,
        "by constituent: TN 12.6, TP 10, E. coli 83 (medians of free-water-surface wetlands as an"
        " analogue; Kadlec and Wallace 2009, recalled), TSS 30 (judgement)",
    )
    rate_range_m_yr: tuple[Positive, Positive] | None = _default(
        None, "half to all of the rate; judgement"
    )
    settling_m_yr: NotNegative | None = _default(
        None,
        "by constituent: TN and TP 5 (judgement), TSS 100 (silt of 2 µm by Stokes' law), E. coli 83"
        " (free-water-surface wetlands; Kadlec and Wallace 2009, recalled)",
    )
    dispersion_m2_s: Positive | None = _default(None, "Okubo 1971 by the size of the water")
    reach_m: Positive | None = _default(None, "judgement: a quarter of the root of the area")

    @model_validator(mode="after")
    def _range_is_ordered(self) -> "TreatmentSettings":
        """Refuse a range that the rate lies outside of."""
        rate, low, high = self.rates_m_yr()
        if not low <= rate <= high:
            raise ValueError(f"rate_m_yr {rate:g} lies outside rate_range_m_yr {low:g} to {high:g}")
        return self

    def rates_m_yr(self, constituent: str | None = None) -> tuple[float, float, float]:
        """
        Return the areal rate of planted raft, and the range it is believed to lie in.

        Parameters
        ----------
        constituent : str or None
            Which; ``None``: the one that the plan takes out, the only one whose rates are set.

        Returns
        -------
        tuple of float
            Rate, lowest and highest; where not given, those of the constituent [m/yr].
        """
        if constituent not in {None, self.constituent}:
            usual = _RATES_M_YR[str(constituent)]
            return usual, usual / 2.0, usual
        rate = self.rate_m_yr or _RATES_M_YR[self.constituent]
        low, high = self.rate_range_m_yr or (rate / 2.0, rate)
        return rate, low, high

    def open_water_m_yr(self, constituent: str | None = None) -> float:
        """
        Return the areal rate of open water.

        Parameters
        ----------
        constituent : str or None
            Which; ``None``: the one that the plan takes out, the only one whose rate is set.

        Returns
        -------
        float
            As set; where not given, that of the constituent [m/yr].
        """
        if constituent in {None, self.constituent} and self.settling_m_yr is not None:
            return self.settling_m_yr
        return _SETTLING_M_YR[constituent or self.constituent]


class RainSettings(Table):
    """
    Rain on the catchments of inflows without a measured flow.

    Attributes
    ----------
    annual_mm : float
        Mean rain of a year [mm].
    """

    annual_mm: Positive = _default(700.0, "judgement: temperate lowland")

    @property
    def is_given(self) -> bool:
        """Tell whether the site states its rain."""
        return "annual_mm" in self.model_fields_set


class SunSettings(Table):
    """
    Sun that the plants need.

    Attributes
    ----------
    season : tuple of str
        First and last day of growth, ``MM-DD``.
    leaf : tuple of str
        First and last day on which deciduous trees are in leaf, ``MM-DD``.
    least_h, full_h : float
        Mean hours of direct sun a day for any and for full worth [h].
    """

    season: tuple[str, str] = _default(("04-15", "10-01"), "temperate growing season; judgement")
    leaf: tuple[str, str] = _default(("04-20", "11-01"), "temperate woods; judgement")
    least_h: Annotated[float, Field(ge=0, le=24)] = _default(4.0, "horticultural classes")
    full_h: Annotated[float, Field(ge=0, le=24)] = _default(6.0, "horticultural classes")

    @model_validator(mode="after")
    def _days_are_dates(self) -> "SunSettings":
        """Refuse days that no year has, and hours out of order."""
        for day in (*self.season, *self.leaf):
            try:
                dt.datetime.strptime(f"2025-{day}", "%Y-%m-%d")  # noqa: DTZ007 - a day, no time
            except ValueError:
                raise ValueError(f"'{day}' is no day of the year; write MM-DD") from None
        if self.least_h > self.full_h:
            raise ValueError(f"least_h {self.least_h:g} is above full_h {self.full_h:g}")
        return self


class WindSettings(Table):
    """
    Wind that moorings must bear.

    Attributes
    ----------
    design_m_s : float
        Speed at 10 m height [m/s].
    """

    design_m_s: NotNegative = _default(25.0, "judgement where no local value is known")


class LaunchSettings(Table):
    """
    How rafts get into the water.

    Attributes
    ----------
    wading_m : float
        Depth in which people may work [m].
    crew : int
        People there on the day.
    lift_kg : float
        What one person may lift close to the body [kg].
    pull_kg : float
        Pull that one person may keep up, as the weight of a mass [kg].
    friction : float
        Coefficient of friction of a raft drawn up a bank [1].
    """

    wading_m: Positive = _default(0.7, "judgement; local rules prevail")
    crew: Annotated[int, Field(ge=1)] = _default(4, "judgement")
    lift_kg: Positive = _default(
        16.0, "HSE lifting filter: women, close to the body, elbow to knuckle; recalled"
    )
    pull_kg: Positive = _default(7.0, "HSE push and pull filter: women, to keep moving; recalled")
    friction: NotNegative = _default(0.4, "judgement: wooden skids on ground, no rollers")


class SettingOutSettings(Table):
    """
    How points are set out by tapes from marks on the bank.

    Attributes
    ----------
    tape_sigma_m : float
        One standard deviation of a tape stretched over water [m].
    mark_sigma_m : float
        One standard deviation of a mark's place, in the direction of the tape [m].
    longest_tape_m : float
        Longest tape that is stretched over water [m].
    """

    tape_sigma_m: Positive = _default(0.05, "judgement: sag and wind on a tape over water")
    mark_sigma_m: NotNegative = _default(0.02, "judgement: marks surveyed to a few centimetres")
    longest_tape_m: Positive = _default(50.0, "judgement: the usual long tape")


class BudgetSettings(Table):
    """
    Money that may be spent.

    Attributes
    ----------
    limit : float or None
        Most that all rafts together may cost; ``None``: no limit.
    """

    limit: NotNegative | None = _default(None, "none given: no limit")


class BedSettings(Table):
    """
    What posts and anchors stand in.

    Attributes
    ----------
    soil : {"cohesive", "granular"}
        Clay and silt, or sand and gravel.
    shear_strength_pa : float
        Undrained shear strength of a cohesive bed [Pa].
    friction_deg : float
        Internal friction of a granular bed [°].
    unit_weight_n_m3 : float
        Weight of a granular bed under water [N/m³].
    mud_m : float
        Soft mud on top, which bears nothing [m].
    lined : bool
        Lies on a liner, which nothing may pierce.
    """

    soil: Literal["cohesive", "granular"] = _default("cohesive", "judgement: most ponds silt up")
    shear_strength_pa: Positive = _default(
        10_000.0, "judgement: soft clay; measure it with a hand vane"
    )
    friction_deg: Annotated[float, Field(gt=10, lt=50)] = _default(28.0, "judgement: loose sand")
    unit_weight_n_m3: Positive = _default(8_000.0, "judgement: loose sand under water")
    mud_m: NotNegative = _default(0.3, "judgement; probe it with a rod")
    lined: bool = _default(False, "none given")


class WardSettings(Table):
    """
    A part of the district, and how many rafts it gets.

    Attributes
    ----------
    name : str
        As in the column ``ward`` of ``water``.
    least_rafts, most_rafts : int or None
        Fewest and most rafts of all types that its water bodies get together.
    """

    name: str = Field(min_length=1, max_length=80)
    least_rafts: Annotated[int, Field(ge=0)] | None = _default(None, "none given: no limit")
    most_rafts: Annotated[int, Field(ge=0)] | None = _default(None, "none given: no limit")

    @model_validator(mode="after")
    def _ordered(self) -> "WardSettings":
        """Refuse limits that contradict each other."""
        least, most = self.least_rafts, self.most_rafts
        if least is not None and most is not None and least > most:
            raise ValueError(f"ward '{self.name}': least_rafts {least} is above most_rafts {most}")
        return self


class DistrictSettings(Table):
    """
    How the rafts of a district are shared out.

    Attributes
    ----------
    mobilisation_cost : float
        Price of setting up at a water body at all, where its row states none, in the client's
        currency; it counts against the budget.
    ward : tuple of WardSettings
        Limits by ward.
    """

    mobilisation_cost: NotNegative = _default(0.0, "none given: setting up costs nothing")
    ward: tuple[WardSettings, ...] = ()

    @model_validator(mode="after")
    def _ward_names_differ(self) -> "DistrictSettings":
        """Refuse two limits for one ward."""
        names = [ward.name for ward in self.ward]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"ward {twice[0]!r} is given twice")
        return self


class YardSettings(Table):
    """
    Where rafts stand, and how a crew brings them out.

    Attributes
    ----------
    easting_m, northing_m : float or None
        The yard in the CRS of the site [m]; or
    longitude_deg, latitude_deg : float or None
        the yard in WGS 84 [°]. Without either no order of trips is made.
    rafts_per_trip : int
        Most rafts on vehicle and trailer.
    speed_km_h : float
        Mean speed on the road [km/h].
    detour : float
        Road over straight line [1].
    set_up_h, raft_h : float
        Work of the crew at each water body, and for each raft there [h].
    day_h : float
        Work and driving of a day [h].
    """

    easting_m: Finite | None = None
    northing_m: Finite | None = None
    longitude_deg: Annotated[float, Field(ge=-180, le=180)] | None = None
    latitude_deg: Annotated[float, Field(ge=-90, le=90)] | None = None
    rafts_per_trip: Annotated[int, Field(ge=1)] = _default(4, "judgement: one trailer")
    speed_km_h: Positive = _default(40.0, "judgement: local roads with a trailer")
    detour: Annotated[float, Field(ge=1, le=10)] = _default(1.4, "judgement: roads of a district")
    set_up_h: NotNegative = _default(1.0, "judgement")
    raft_h: NotNegative = _default(1.5, "judgement: launch, tow and moor with the crew")
    day_h: Annotated[float, Field(gt=0, le=24)] = _default(8.0, "judgement")

    @model_validator(mode="after")
    def _place_is_whole(self) -> "YardSettings":
        """Refuse half a place, or two."""
        plane = (self.easting_m is not None, self.northing_m is not None)
        globe = (self.longitude_deg is not None, self.latitude_deg is not None)
        if any(plane) != all(plane) or any(globe) != all(globe) or (any(plane) and any(globe)):
            raise ValueError(
                "give the yard as easting_m and northing_m, or as longitude_deg and latitude_deg"
            )
        return self

    @property
    def is_given(self) -> bool:
        """Tell whether the yard has a place."""
        return self.easting_m is not None or self.longitude_deg is not None


class MooringSettings(Table):
    """
    Posts and lines that hold a raft.

    Attributes
    ----------
    travel_margin_m : float
        Post above high level, and sleeve below low level [m].
    embedment_m, most_embedment_m : float
        Least and most of a post in the bed, before an engineer says otherwise [m].
    post : str
        Section of the posts, a name of ``geoplan.post_sections``.
    post_safety : float
        Factor on what the bed bears [1].
    sleeve_slack_m : float
        Play of a post in its sleeve [m].
    longest_post_m : float
        Longest post to be had [m].
    stock_lengths_m : tuple of float
        Lengths that posts are sold in, rising [m].
    current_m_s : float or None
        Speed of the water that moorings must bear [m/s].
    line_spread : float
        From fairlead to above the anchor, over the greatest depth at high level [1].
    line_splay_deg : float
        Turn of lines from square across the raft towards its nearer end [°].
    line_slack, line_stretch : float
        Line beyond the straight distance at high level; stretch under load [1].
    line_safety : float
        Factor on the pull of a line [1].
    anchor : {"screw", "embedded", "dead_weight"}
        Kind of anchor.
    anchor_proof_n : float or None
        Pull that a screw or embedded anchor has borne in a test on this bed [N].
    block_friction, block_kg_m3 : float
        Between a block and the bed [1]; density of the block [kg/m³].
    """

    travel_margin_m: NotNegative = _default(0.5, "common practice, no source")
    embedment_m: Positive = _default(1.0, "judgement; an engineer settles it")
    most_embedment_m: Positive = _default(3.0, "judgement: what a small crew can drive")
    post: str = _default("steel pipe 88.9x5", "judgement")
    post_safety: Annotated[float, Field(ge=1)] = _default(2.5, "Broms 1964 as screening; judgement")
    sleeve_slack_m: NotNegative = _default(0.05, "common practice, no source")
    longest_post_m: Positive = _default(6.0, "judgement: a usual stock length")
    stock_lengths_m: tuple[Positive, ...] = _default((2.0, 3.0, 4.0, 5.0, 6.0), "judgement")
    current_m_s: NotNegative | None = _default(
        None, "clearances.jet_speed_m_s: no raft is placed in faster water"
    )
    line_spread: Annotated[float, Field(ge=0.5, le=7)] = _default(
        1.0, "judgement: steep, so that lines dive under what floats beside"
    )
    line_splay_deg: Annotated[float, Field(ge=0, le=60)] = _default(
        30.0, "judgement: holds against turning and along"
    )
    line_slack: Annotated[float, Field(ge=0, le=0.5)] = _default(0.02, "judgement")
    line_stretch: Annotated[float, Field(ge=0, le=0.3)] = _default(
        0.03, "judgement: polyester at a working load"
    )
    line_safety: Annotated[float, Field(ge=1)] = _default(2.0, "judgement")
    anchor: Literal["screw", "embedded", "dead_weight"] = _default("screw", "judgement")
    anchor_proof_n: Positive | None = _default(None, "none given: test each anchor by pulling it")
    block_friction: Annotated[float, Field(gt=0, le=1)] = _default(0.4, "judgement: soft bed")
    block_kg_m3: Annotated[float, Field(gt=1100, le=12000)] = _default(2300.0, "concrete")

    @model_validator(mode="after")
    def _can_be_had(self) -> "MooringSettings":
        """Refuse a section that no table knows, and stock lengths out of order."""
        if self.post not in POST_SECTIONS:
            raise ValueError(f"post {self.post!r} is none of: {', '.join(POST_SECTIONS)}")
        if list(self.stock_lengths_m) != sorted(set(self.stock_lengths_m)):
            raise ValueError("stock_lengths_m must rise")
        return self


class MaterialSettings(Table):
    """
    Waste and prices of what is bought, in the client's currency.

    Attributes
    ----------
    waste_share : float
        What is ordered beyond what is built in [1].
    pole_price, slat_price, fixing_price, plant_price, post_price, anchor_price : float or None
        Of a piece, in the client's currency; ``None`` where not known (units of money).
    edge_board_price, line_price : float or None
        Of a metre (units of money).
    liner_price : float or None
        Of a square metre (units of money).
    medium_price : float or None
        Of a cubic metre (units of money).
    """

    waste_share: Annotated[float, Field(ge=0, le=1)] = _default(0.10, "judgement")
    pole_price: NotNegative | None = _default(None, "none given")
    slat_price: NotNegative | None = _default(None, "none given")
    edge_board_price: NotNegative | None = _default(None, "none given")
    fixing_price: NotNegative | None = _default(None, "none given")
    liner_price: NotNegative | None = _default(None, "none given")
    medium_price: NotNegative | None = _default(None, "none given")
    plant_price: NotNegative | None = _default(None, "none given")
    post_price: NotNegative | None = _default(None, "none given")
    line_price: NotNegative | None = _default(None, "none given")
    anchor_price: NotNegative | None = _default(None, "none given")


class GridSettings(Table):
    """
    Grid on which fields are computed.

    Attributes
    ----------
    cell_m : float or None
        Cell size; ``None``: by the size of the water body, 0.5 m or more [m].
    """

    cell_m: Annotated[float, Field(gt=0.05, le=20)] | None = _default(
        None, "judgement: about 300,000 cells at most, 0.5 m at least"
    )


class CreditRow(Table):
    """
    One row of a table of credit by cover.

    Attributes
    ----------
    cover_pct : float
        Cover of the normal pool [%].
    tn_pct, tp_pct, tss_pct : float
        Share of the load that is credited [%].
    """

    cover_pct: Percent
    tn_pct: Percent
    tp_pct: Percent
    tss_pct: Percent


#: Incremental removal for rafts on existing wet ponds, by cover, of an expert panel of a bay
#: programme in the United States. Recalled, not read: replace it by the authority's own.
_RECALLED_CREDIT = tuple(
    CreditRow(cover_pct=cover, tn_pct=tn, tp_pct=tp, tss_pct=tss)
    for cover, tn, tp, tss in (
        (10, 0.8, 1.6, 2.3),
        (20, 1.7, 3.3, 4.7),
        (30, 2.5, 4.9, 7.0),
        (40, 3.3, 6.5, 9.2),
        (50, 4.1, 8.0, 11.5),
    )
)


class ReportSettings(Table):
    """
    What the report screens beside the plan.

    Attributes
    ----------
    credit : tuple of CreditRow
        The authority's table of credit by cover; empty for none.
    water_temperature_c : float
        Warmest water for which oxygen is screened [°C].
    respiration_g_m3_d : float
        Oxygen that water and bed use up [g/(m³ d)].
    reaeration_m_d : float
        Transfer velocity of oxygen through the open surface [m/d].
    oxygen_warning_g_m3 : float
        Oxygen below which the report warns [g/m³].
    """

    credit: tuple[CreditRow, ...] = _default(
        _RECALLED_CREDIT, "an expert panel's table for wet ponds, recalled and not read"
    )
    water_temperature_c: Annotated[float, Field(ge=0, le=40)] = _default(
        25.0, "judgement: a warm summer's day"
    )
    respiration_g_m3_d: NotNegative = _default(0.8, "judgement: a fertile pond at night")
    reaeration_m_d: Positive = _default(0.5, "judgement: sheltered water")
    oxygen_warning_g_m3: NotNegative = _default(5.0, "warm-water fish, recalled")

    @model_validator(mode="after")
    def _cover_rises(self) -> "ReportSettings":
        """Refuse a table whose rows do not rise: nothing could be read between them."""
        covers = [row.cover_pct for row in self.credit]
        if any(two <= one for one, two in itertools.pairwise(covers)):
            raise ValueError("rows of report.credit must rise in cover_pct; sort them")
        return self


class Settings(Table):
    """
    All of ``site.toml``.

    Attributes
    ----------
    name : str
        Name of the site.
    crs : str or None
        CRS of layers that state none, and of ``plan.gpkg``.
    vertical_datum : str
        Name of the vertical datum of every level and bed elevation.
    bank_slope : float
        Run per rise of the bank above the outline, where no survey reaches [1].
    levels, survey, raft, cover, clearances, treatment, rain, sun : tables
        What the rules and the worth are made from.
    wind, launch, setting_out, budget, bed, mooring, materials, grid, report : tables
        What the rest is made from.
    district, yard : tables
        How rafts are shared between water bodies, and brought to them.
    """

    name: str = Field(min_length=1, max_length=120)
    crs: str | None = None
    vertical_datum: str = _default("not stated", "none given")
    bank_slope: NotNegative = _default(3.0, "judgement: banks rise one in three above the outline")
    levels: LevelSettings
    survey: SurveySettings = SurveySettings()
    raft: tuple[RaftType, ...] = Field(min_length=1)
    cover: CoverSettings = CoverSettings()
    clearances: Clearances = Clearances()
    treatment: TreatmentSettings = TreatmentSettings()
    rain: RainSettings = RainSettings()
    sun: SunSettings = SunSettings()
    wind: WindSettings = WindSettings()
    launch: LaunchSettings = LaunchSettings()
    setting_out: SettingOutSettings = SettingOutSettings()
    budget: BudgetSettings = BudgetSettings()
    bed: BedSettings = BedSettings()
    mooring: MooringSettings = MooringSettings()
    materials: MaterialSettings = MaterialSettings()
    grid: GridSettings = GridSettings()
    report: ReportSettings = ReportSettings()
    district: DistrictSettings = DistrictSettings()
    yard: YardSettings = YardSettings()

    @model_validator(mode="after")
    def _raft_names_differ(self) -> "Settings":
        """Refuse two raft types of one name: the schedule could not tell them apart."""
        names = [raft.name for raft in self.raft]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"raft name {twice[0]!r} is given twice; each needs its own")
        return self

    @model_validator(mode="after")
    def _liner_stays_whole(self) -> "Settings":
        """Refuse anything that would pierce a liner."""
        posted = [raft.name for raft in self.raft if raft.mooring == "posts"]
        if self.bed.lined and posted:
            raise ValueError(
                f"bed.lined is true, and raft {posted[0]!r} asks for posts, which would pierce the"
                ' liner; set mooring = "lines"'
            )
        if self.bed.lined and self.mooring.anchor != "dead_weight":
            raise ValueError(
                f'bed.lined is true, and mooring.anchor = "{self.mooring.anchor}" would pierce the'
                ' liner; set anchor = "dead_weight", on a mat'
            )
        return self


@dataclass(frozen=True)
class DefaultUsed:
    """
    A default that stood in for something the site does not say.

    Attributes
    ----------
    key : str
        Dotted key of ``site.toml``, such as ``clearances.gap_m``.
    value : str
        What was used.
    source : str
        Where it comes from, or *judgement*.
    """

    key: str
    value: str
    source: str


def defaults_used(settings: Settings) -> tuple[DefaultUsed, ...]:
    """
    List every default that a site's settings fell back on.

    Parameters
    ----------
    settings : Settings
        Settings as read.

    Returns
    -------
    tuple of DefaultUsed
        In the order of ``site.toml``.

    Examples
    --------
    >>> settings = Settings.model_validate({
    ...     "name": "Pond", "levels": {"low_m": 1, "normal_m": 2, "high_m": 3},
    ...     "raft": [{"name": "a", "length_m": 4, "width_m": 2, "draft_m": 0.2}]})
    >>> [used.key for used in defaults_used(settings)][:2]
    ['vertical_datum', 'bank_slope']
    """
    return tuple(_defaults(settings, ""))


def _defaults(table: BaseModel, prefix: str) -> Iterator[DefaultUsed]:
    """Walk the tables and yield the fields that were not set."""
    for key, field in type(table).model_fields.items():
        value = getattr(table, key)
        if isinstance(value, BaseModel):
            yield from _defaults(value, f"{prefix}{key}.")
        elif isinstance(value, tuple) and value and isinstance(value[0], BaseModel):
            for index, part in enumerate(value, 1):
                yield from _defaults(part, f"{prefix}{key}[{index}].")
        elif key not in table.model_fields_set:
            extra = field.json_schema_extra
            if isinstance(extra, dict) and "source" in extra:
                text = "none" if value is None else str(value)
                yield DefaultUsed(prefix + key, text, str(extra["source"]))
