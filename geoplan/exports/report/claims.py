"""Sections on what is claimed: cover, effect, credit, oxygen."""

import math
from collections.abc import Iterator

from geoplan.cover import headroom
from geoplan.exports.cover_sheet import is_within, limits_pct, rounded_up_pct
from geoplan.exports.csv_text import Fixed
from geoplan.exports.report.basis import named
from geoplan.exports.report.content import Block, Bullets, Heading, Text, Value, grid
from geoplan.exports.report.field_limits import field_limits
from geoplan.plan import Plan, WaterPlan
from geoplan.screening import (
    YEAR_D,
    credit_for,
    outflow_g_m3,
    oxygen_g_m3,
    oxygen_saturation_g_m3,
    rate_at,
)
from geoplan.settings_report import ReportSettings
from geoplan.site import Site

#: Background, tanks and temperature factor by constituent: medians of free-water-surface wetlands
#: (Kadlec and Wallace 2009, recalled), an analogue for rafts.
_SERIES = {
    "tn": (1.5, 3.0, 1.056),
    "tp": (0.002, 3.4, 1.0),
    "ecoli": (0.4, 3.0, 1.0),
}
_LOW = "BELOW the warning"
_TEMPERATURES_C = (5.0, 10.0, 15.0, 20.0, 25.0)


def cover(plan: Plan, site: Site) -> Iterator[Block]:
    """
    Yield percent surface cover with its definition, doubt, limits and headroom.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site.

    Yields
    ------
    Block
        Words and tables.
    """
    yield Heading("Surface cover")
    yield Text(
        "Cover is the plan area of all rafts, planned and already there, overlaps counted once,"
        " over the open water at the stated level, islands left out. Plants that overhang a raft"
        " are not counted. Gross area is the raft's outside; the planted area is stated beside it."
        " Percents are rounded up to a tenth and judged before rounding: no limit is met by"
        " rounding."
    )
    limits = limits_pct(site)
    yield grid(
        "Cover by water body and level",
        ("water body", "level", "height [m]", "rafts [m²]", "open water [m²]", "cover [%]",
         "± at 95 % [%]", "limit [%]", "within"),
        [row for water in plan.waters for row in _cover_rows(water, limits)],
    )  # fmt: skip
    yield grid(
        "Before and after, and what is planted",
        ("water body", "cover before [%]", "cover after [%]", "rafts [m²]", "planted [m²]",
         *(f"room for more '{kind.name}'" for kind in site.settings.raft)),
        [_before_after(water, site, limits) for water in plan.waters],
    )  # fmt: skip
    yield Text(
        "Before: rafts that lie there now. Room for more: whole rafts that the limit of cover would"
        " still allow; whether they find water deep and sunny enough is another question. The doubt"
        " is that of the surveyed edge (0.5 m a vertex) and of the rafts' sides (0.02 m), by"
        " Chrisman and Yandell (1988); an error of the level or of the assumed bank slope comes on"
        " top, and shows in the difference between the levels."
    )


def _cover_rows(water: WaterPlan, limits: dict[str, float]) -> Iterator[tuple[Value, ...]]:
    """Yield a line for each level."""
    for part in (*water.cover, *water.asked_cover):
        limit = limits.get(water.water_id) if part.level_name == "normal" else None
        yield (
            named(water),
            part.level_name,
            Fixed(part.level_m, 2),
            Fixed(part.raft_area_m2, 2),
            Fixed(part.water_area_m2, 2),
            Fixed(rounded_up_pct(part.cover_pct), 1),
            Fixed(1.96 * part.sigma_pct, 2),
            limit,
            "" if limit is None else "yes" if is_within(part.cover_pct, limit) else "NO",
        )


def _before_after(water: WaterPlan, site: Site, limits: dict[str, float]) -> tuple[Value, ...]:
    """Return cover before and after, and what the limit leaves."""
    normal = next(part for part in water.cover if part.level_name == "normal")
    before_m2 = math.fsum(raft.area_m2 for raft in water.rafts if raft.status == "existing")
    before = 100.0 * before_m2 / normal.water_area_m2 if normal.water_area_m2 > 0 else math.nan
    limit = limits.get(water.water_id, 100.0)
    return (
        named(water),
        Fixed(rounded_up_pct(before), 1) if math.isfinite(before) else None,
        Fixed(rounded_up_pct(normal.cover_pct), 1),
        Fixed(normal.raft_area_m2, 1),
        Fixed(math.fsum(raft.planted_area_m2 for raft in water.rafts), 1),
        *(headroom(normal, limit, kind.area_m2) for kind in site.settings.raft),
    )


def effect(plan: Plan, site: Site) -> Iterator[Block]:
    """
    Yield loads with and without rafts, what is weak about them, credit and oxygen.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site.

    Yields
    ------
    Block
        Words and tables.
    """
    yield Heading("Effect on what flows through")
    yield Text(
        "Depth-averaged steady flow carries each inflow's load to the outlets, spreads it and lets"
        " some settle; a planted raft takes out at an areal rate. The loads below are differences"
        " between two such balances, with and without rafts, so that what the pond removes by"
        " itself is not counted twice."
    )
    known = [water for water in plan.waters if water.effect is not None]
    yield grid(
        "Loads of the constituent that the plan aims at; a range spans the range of rates",
        ("water body", "constituent", "in [g/d]", "out without [g/d]", "out with [g/d]",
         "kept back [g/d]", "range [g/d]", "residence [h]"),
        [_load_row(water) for water in known],
    )  # fmt: skip
    yield grid(
        "What flows in",
        ("water body", "inflow", "flow [L/s]", "concentration [g/m³]", "taken from"),
        [row for water in known for row in _inflow_rows(water)],
    )
    yield from _weak()
    yield from field_limits(plan, site)
    yield from _credit(plan, site)
    yield from _series(known, site)
    yield from _oxygen(plan, site)


def _weak() -> Iterator[Block]:
    """Yield what is weak about any such figure."""
    yield Heading("What is weak about it", 2)
    yield Bullets(
        (
            (
                "Rates are medians of planted surface-flow wetlands, an analogue: no consensus"
                " table for floating rafts was found. Field results differ by a factor of two."
            ),
            (
                "Plants themselves hold little: under 2 % of nitrogen in one study. Do not count"
                " harvest as removal."
            ),
            (
                "Total nitrogen changed clearly in few field studies; phosphorus and suspended"
                " solids are better supported (meta-analysis of eight field studies, 2022)."
            ),
            (
                "Bacteria ride on fine clay that ponds hardly keep. No E. coli credit should rest"
                " on this report."
            ),
            (
                "Steady flow: no storms, no wind-driven circulation, no layers. Where flows or"
                " concentrations were assumed, every figure is relative and no grams are claimed."
            ),
        )
    )


def _load_row(water: WaterPlan) -> tuple[Value, ...]:
    """Return the loads of one water body; relative ones are not grams."""
    effect = water.effect
    assert effect is not None  # noqa: S101 - chosen so by the caller
    if effect.is_relative:
        return (named(water), effect.constituent.upper(), None, None, None, None,
                "relative only: flows assumed", Fixed(effect.residence_h, 0))  # fmt: skip
    low, high = effect.removed_range_g_d
    return (
        named(water),
        effect.constituent.upper(),
        Fixed(effect.load_in_g_d, 2),
        Fixed(effect.load_out_without_rafts_g_d, 2),
        Fixed(effect.load_out_g_d, 2),
        Fixed(effect.removed_g_d, 2),
        f"{low:.3g} to {high:.3g}",
        Fixed(effect.residence_h, 0),
    )


def _inflow_rows(water: WaterPlan) -> Iterator[tuple[Value, ...]]:
    """Yield a line for each inflow."""
    for inflow in water.effect.inflows if water.effect else ():
        yield (
            named(water),
            inflow.inflow_id,
            Fixed(inflow.flow_l_s, 2),
            Fixed(inflow.concentration_g_m3, 2),
            inflow.basis,
        )


def _credit(plan: Plan, site: Site) -> Iterator[Block]:
    """Yield the credit that a table by cover would grant."""
    table = site.settings.report.credit
    if not table:
        return
    is_own = "credit" in site.settings.report.model_fields_set
    yield Heading("Credit by cover", 2)
    yield Text(
        "The table is the site's own."
        if is_own
        else "RECALLED, not read: an expert panel's incremental removal for rafts on existing wet"
        " ponds, on top of the pond's own credit. Replace it in site.toml by your authority's table"
        " ([[report.credit]]) before any figure is claimed; the pond's own credit, and that this"
        " one is not counted twice, is for the authority to settle."
    )
    rows: list[tuple[Value, ...]] = []
    for water in plan.waters:
        normal = next(part for part in water.cover if part.level_name == "normal")
        credit = credit_for(normal.cover_pct, table)
        rows.append(
            (named(water), Fixed(normal.cover_pct, 2), Fixed(credit.tn_pct, 2),
             Fixed(credit.tp_pct, 2), Fixed(credit.tss_pct, 2), credit.words)
        )  # fmt: skip
    yield grid(
        "Credit of the load into the water body",
        ("water body", "cover [%]", "TN [%]", "TP [%]", "TSS [%]", "row used"),
        rows,
    )


def _series(known: list[WaterPlan], site: Site) -> Iterator[Block]:
    """Yield a second opinion by tanks in series over the planted area, at several temperatures."""
    rate, _, _ = site.settings.treatment.rates_m_yr()
    rows: list[tuple[Value, ...]] = []
    for water in known:
        effect = water.effect
        if effect is None or effect.is_relative or effect.constituent not in _SERIES:
            continue
        background, tanks, theta = _SERIES[effect.constituent]
        planted = math.fsum(raft.planted_area_m2 for raft in water.rafts)
        flow_m3_d = 86.4 * math.fsum(one.flow_l_s for one in effect.inflows)
        if planted <= 0 or flow_m3_d <= 0:
            continue
        inflow = effect.load_in_g_d / flow_m3_d
        out = [
            outflow_g_m3(
                inflow,
                min(background, inflow),
                rate_at(rate, theta, celsius),
                YEAR_D * flow_m3_d / planted,
                tanks,
            )
            for celsius in _TEMPERATURES_C
        ]
        rows.append((named(water), Fixed(inflow, 3), *(Fixed(one, 3) for one in out)))
    if not rows:
        return
    yield Heading("A second opinion: tanks in series", 2)
    yield Text(
        "All of the inflow led under the planted area alone, by the model that is usual for"
        " wetlands (Kadlec and Wallace 2009, recalled), with its temperature factor. It knows"
        " nothing of where rafts lie, and stands here for comparison."
    )
    yield grid(
        "Concentration out [g/m³] by water temperature",
        ("water body", "in [g/m³]", *(f"{celsius:g} °C" for celsius in _TEMPERATURES_C)),
        rows,
    )


def _oxygen(plan: Plan, site: Site) -> Iterator[Block]:
    """Yield the screening of oxygen under rafts."""
    settings = site.settings.report
    saturation = oxygen_saturation_g_m3(settings.water_temperature_c)
    rows = [row for water in plan.waters if (row := _oxygen_row(water, settings))]
    yield Heading("Oxygen", 2)
    yield Text(
        f"A screening of mixed water at {settings.water_temperature_c:g} °C (saturation"
        f" {saturation:.2f} g/m³, Benson and Krause 1984, recalled) that uses up"
        f" {settings.respiration_g_m3_d:g} g/(m³ d) and takes up oxygen only through its open"
        f" surface at {settings.reaeration_m_d:g} m/d; warned below"
        f" {settings.oxygen_warning_g_m3:g} g/m³. Deep or layered water fares worse than this."
    )
    yield grid(
        "Oxygen at balance, without and with the planned rafts",
        ("water body", "mean depth [m]", "before [g/m³]", "after [g/m³]", "verdict"),
        rows,
    )
    if any(row[-1] == _LOW for row in rows):
        yield Text(
            "Measure oxygen at dawn, under and outside rafts, before and after they are placed;"
            " below 3 g/m³ under a raft take rafts out.",
            is_caution=True,
        )


def _oxygen_row(water: WaterPlan, settings: ReportSettings) -> tuple[Value, ...]:
    """Return oxygen before and after in one water body; empty where it has no surface."""
    normal = next((edge for edge in water.edges if edge.level_name == "normal"), None)
    part = next((one for one in water.cover if one.level_name == "normal"), None)
    if normal is None or part is None or normal.area_m2 <= 0:
        return ()
    before_m2 = math.fsum(raft.area_m2 for raft in water.rafts if raft.status == "existing")
    depth = normal.volume_m3 / normal.area_m2
    before, after = (
        oxygen_g_m3(
            share,
            saturation_g_m3=oxygen_saturation_g_m3(settings.water_temperature_c),
            respiration_g_m3_d=settings.respiration_g_m3_d,
            depth_m=depth,
            reaeration_m_d=settings.reaeration_m_d,
        )
        for share in (before_m2 / normal.area_m2, part.cover_pct / 100.0)
    )
    verdict = _LOW if after < settings.oxygen_warning_g_m3 else "above the warning"
    return (named(water), Fixed(depth, 2), Fixed(before, 1), Fixed(after, 1), verdict)
