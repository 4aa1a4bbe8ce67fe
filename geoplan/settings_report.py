"""Settings of the report: what it screens beside the plan."""

import itertools
from typing import Annotated

from pydantic import Field, model_validator

from geoplan.raft import NotNegative, Positive
from geoplan.settings_table import Percent, Table, default


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

    credit: tuple[CreditRow, ...] = default(
        _RECALLED_CREDIT, "an expert panel's table for wet ponds, recalled and not read"
    )
    water_temperature_c: Annotated[float, Field(ge=0, le=40)] = default(
        25.0, "judgement: a warm summer's day"
    )
    respiration_g_m3_d: NotNegative = default(0.8, "judgement: a fertile pond at night")
    reaeration_m_d: Positive = default(0.5, "judgement: sheltered water")
    oxygen_warning_g_m3: NotNegative = default(5.0, "warm-water fish, recalled")

    @model_validator(mode="after")
    def _cover_rises(self) -> "ReportSettings":
        """Refuse a table whose rows do not rise: nothing could be read between them."""
        covers = [row.cover_pct for row in self.credit]
        if any(two <= one for one, two in itertools.pairwise(covers)):
            raise ValueError("rows of report.credit must rise in cover_pct; sort them")
        return self
