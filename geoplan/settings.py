"""
The settings of a site: ``site.toml`` as typed, frozen tables.

Every key but ``name``, ``levels`` and one ``[[raft]]`` has a default; each default carries its
source, or says *judgement*, and every default that was used is listed in the plan.
"""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

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
    """

    max_pct: Percent = _default(20.0, "reviews; the credit table stops at 50 %")
    min_pct: Percent = _default(0.0, "none given")
    allow_over_50: bool = _default(False, "more than half stops re-aeration: never by default")

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
    settling_m_yr : float
        Areal rate of open water [m/yr].
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
    settling_m_yr: NotNegative = _default(5.0, "judgement")
    dispersion_m2_s: Positive | None = _default(None, "Okubo 1971 by the size of the water")
    reach_m: Positive | None = _default(None, "judgement: a quarter of the root of the area")

    @model_validator(mode="after")
    def _range_is_ordered(self) -> "TreatmentSettings":
        """Refuse a range that the rate lies outside of."""
        rate, low, high = self.rates_m_yr()
        if not low <= rate <= high:
            raise ValueError(f"rate_m_yr {rate:g} lies outside rate_range_m_yr {low:g} to {high:g}")
        return self

    def rates_m_yr(self) -> tuple[float, float, float]:
        """
        Return the areal rate of planted raft, and the range it is believed to lie in.

        Returns
        -------
        tuple of float
            Rate, lowest and highest; where not given, those of the constituent [m/yr].
        """
        rate = self.rate_m_yr or _RATES_M_YR[self.constituent]
        low, high = self.rate_range_m_yr or (rate / 2.0, rate)
        return rate, low, high


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
    """

    wading_m: Positive = _default(0.7, "judgement; local rules prevail")
    crew: Annotated[int, Field(ge=1)] = _default(4, "judgement")


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


class MooringSettings(Table):
    """
    Posts that hold a raft.

    Attributes
    ----------
    travel_margin_m : float
        Post above high level, and sleeve below low level [m].
    embedment_m : float
        Post in the bed, before an engineer says otherwise [m].
    """

    travel_margin_m: NotNegative = _default(0.5, "common practice, no source")
    embedment_m: Positive = _default(1.0, "judgement; an engineer settles it")


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
    wind, launch, setting_out, budget, mooring, grid : tables
        What the rest is made from.
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
    mooring: MooringSettings = MooringSettings()
    grid: GridSettings = GridSettings()

    @model_validator(mode="after")
    def _raft_names_differ(self) -> "Settings":
        """Refuse two raft types of one name: the schedule could not tell them apart."""
        names = [raft.name for raft in self.raft]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"raft name {twice[0]!r} is given twice; each needs its own")
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
