"""
The settings of a site: ``site.toml`` as typed, frozen tables.

Every key but ``name``, ``levels`` and one ``[[raft]]`` has a default; each default carries its
source, or says *judgement*, and every default that was used is listed in the plan.
"""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import BaseModel, Field, model_validator

from geoplan.raft import NotNegative, Positive, RaftType
from geoplan.settings_district import BudgetSettings, DistrictSettings, YardSettings
from geoplan.settings_report import CreditRow as CreditRow  # noqa: PLC0414 - imported from here
from geoplan.settings_report import ReportSettings
from geoplan.settings_table import Finite, Percent, Table, default
from geoplan.settings_works import (
    BedSettings,
    LaunchSettings,
    MaterialSettings,
    MooringSettings,
    SettingOutSettings,
)


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
    low_percentile: Percent = default(5.0, "judgement: one day in twenty is lower")
    high_percentile: Percent = default(95.0, "judgement: one day in twenty is higher")

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
    method: str = default("not stated", "none given")
    sigma_m: Positive = default(0.10, "judgement: pole or line from a boat")
    reach_m: Positive | None = default(None, "judgement: three times the typical spacing")


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

    max_pct: Percent = default(20.0, "reviews; the credit table stops at 50 %")
    min_pct: Percent = default(0.0, "none given")
    allow_over_50: bool = default(False, "more than half stops re-aeration: never by default")
    also_at_m: tuple[Finite, ...] = default((), "none asked")

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

    root_m: NotNegative = default(0.3, "Queensland guidance: roots must not attach; judgement")
    sediment_m: NotNegative = default(0.05, "judgement")
    bank_m: NotNegative = default(2.0, "judgement")
    gap_m: NotNegative = default(1.0, "judgement; no published standard")
    outlet_m: NotNegative = default(5.0, "judgement")
    inflow_m: NotNegative = default(0.0, "none: the jet decides")
    jet_speed_m_s: Positive = default(0.3, "Albertson et al. 1950 for the jet; judgement")


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

    constituent: Literal["tn", "tp", "tss", "ecoli"] = default("tn", "none given")
    rate_m_yr: Positive | None = default(
        None,
        "by constituent: TN 12.6, TP 10, E. coli 83 (medians of free-water-surface wetlands as an"
        " analogue; Kadlec and Wallace 2009, recalled), TSS 30 (judgement)",
    )
    rate_range_m_yr: tuple[Positive, Positive] | None = default(
        None, "half to all of the rate; judgement"
    )
    settling_m_yr: NotNegative | None = default(
        None,
        "by constituent: TN and TP 5 (judgement), TSS 100 (silt of 2 µm by Stokes' law), E. coli 83"
        " (free-water-surface wetlands; Kadlec and Wallace 2009, recalled)",
    )
    dispersion_m2_s: Positive | None = default(None, "Okubo 1971 by the size of the water")
    reach_m: Positive | None = default(None, "judgement: a quarter of the root of the area")

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

    annual_mm: Positive = default(700.0, "judgement: temperate lowland")

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

    season: tuple[str, str] = default(("04-15", "10-01"), "temperate growing season; judgement")
    leaf: tuple[str, str] = default(("04-20", "11-01"), "temperate woods; judgement")
    least_h: Annotated[float, Field(ge=0, le=24)] = default(4.0, "horticultural classes")
    full_h: Annotated[float, Field(ge=0, le=24)] = default(6.0, "horticultural classes")

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
    Wind that moorings must bear, and that rafts may lie along.

    Attributes
    ----------
    design_m_s : float
        Speed at 10 m height [m/s].
    from_deg : float or None
        Where strong wind mostly comes from, clockwise from north [°].
    """

    design_m_s: NotNegative = default(25.0, "judgement where no local value is known")
    from_deg: Annotated[float, Field(ge=0, le=360)] | None = default(None, "none given")


class HeadingSettings(Table):
    """
    Which way rafts lie.

    Attributes
    ----------
    along : {"free", "flow", "wind", "bank"}
        What their long axes follow.
    tolerance_deg : float
        How far a raft may turn from it [°].
    """

    along: Literal["free", "flow", "wind", "bank"] = default("free", "none asked")
    tolerance_deg: Annotated[float, Field(ge=2, le=90)] = default(
        15.0, "judgement: what the eye takes for along"
    )


class GridSettings(Table):
    """
    Grid on which fields are computed.

    Attributes
    ----------
    cell_m : float or None
        Cell size; ``None``: by the size of the water body, 0.5 m or more [m].
    """

    cell_m: Annotated[float, Field(gt=0.05, le=20)] | None = default(
        None, "judgement: about 300,000 cells at most, 0.5 m at least"
    )


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
    levels, survey, raft, cover, clearances, heading, treatment, rain, sun : tables
        What the rules and the worth are made from.
    wind, launch, setting_out, budget, bed, mooring, materials, grid, report : tables
        What the rest is made from.
    district, yard : tables
        How rafts are shared between water bodies, and brought to them.
    """

    name: str = Field(min_length=1, max_length=120)
    crs: str | None = None
    vertical_datum: str = default("not stated", "none given")
    bank_slope: NotNegative = default(3.0, "judgement: banks rise one in three above the outline")
    levels: LevelSettings
    survey: SurveySettings = SurveySettings()
    raft: tuple[RaftType, ...] = Field(min_length=1)
    cover: CoverSettings = CoverSettings()
    clearances: Clearances = Clearances()
    heading: HeadingSettings = HeadingSettings()
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
    def _wind_is_known(self) -> "Settings":
        """Refuse rafts that lie along a wind whose direction is not given."""
        if self.heading.along == "wind" and self.wind.from_deg is None:
            raise ValueError(
                'heading.along = "wind" needs from_deg in [wind]: where strong wind mostly comes'
                " from, in degrees clockwise from north"
            )
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
