"""Sections on what the plan stands on: summary, site, survey, datum, levels."""

from collections import Counter
from collections.abc import Iterator, Mapping

from geoplan.crs import crs_name
from geoplan.exports.cover_sheet import is_within, limits_pct, rounded_up_pct
from geoplan.exports.csv_text import Fixed
from geoplan.exports.report.content import Block, Bullets, Heading, Text, Value, grid
from geoplan.plan import AuditReport, Plan, WaterPlan
from geoplan.site import Site, WaterBody

#: Water bodies that the summary names one by one, and those of which all is printed: thousands of
#: rows are read by nobody, and setting a page of them takes ten megabytes.
_NAMED, IN_FULL = 400, 40


def named(water: WaterPlan | WaterBody) -> str:
    """
    Return a water body as people call it.

    Parameters
    ----------
    water : WaterPlan or WaterBody
        The water body.

    Returns
    -------
    str
        Its identity, and its name where it has one.
    """
    return f"{water.water_id} ({water.name})" if water.name else water.water_id


def summary(plan: Plan, site: Site, audit: AuditReport | None) -> Iterator[Block]:
    """
    Yield one page that a lay reader needs.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site.
    audit : AuditReport or None
        Verdict on the plan.

    Yields
    ------
    Block
        Words, a table by water body, and what the reader must not overlook.
    """
    status: Counter[str] = Counter()
    rows: list[tuple[Value, ...]] = []
    limits = limits_pct(site)
    for water in plan.waters:
        status.update(raft.status for raft in water.rafts)
        if len(rows) < _NAMED:
            rows.append(_summary_row(water, limits))
    yield Heading("Summary")
    there = f" {status['existing']} rafts lie there already." if status["existing"] else ""
    yield Text(
        f"{status['planned']} floating planted rafts are planned on {len(plan.waters)} water"
        f" bod{'y' if len(plan.waters) == 1 else 'ies'}.{there} This report states where they lie,"
        " what share of the surface they cover at each water level, what they are expected to keep"
        " back, how they are held and brought there, and how sure each of these is."
    )
    yield grid(
        "What is planned, by water body; cover is rounded up",
        ("water body", "rafts", "cover of the normal pool [%]", "± [%]", "limit [%]", "within",
         "kept back"),
        rows,
    )  # fmt: skip
    yield from _left_out(plan, len(rows))
    yield Text(_verdict(audit))
    yield Bullets(
        (
            "A screening, not a design: local codes, permits and licensed practice prevail.",
            "Moorings must be checked and signed by an engineer before anyone builds.",
            (
                "What rafts take out is uncertain by a factor of two; the range is given, and"
                " it is no promise."
            ),
            "Cover is stated for a level; at another level it is another figure (see below).",
            (
                "Nothing is built yet: surveyed positions replace the planned ones in the"
                " as-built survey."
            ),
        )
    )


def _left_out(plan: Plan, named_count: int) -> Iterator[Text]:
    """Yield which water bodies are not shown, and which are not planned."""
    if len(plan.waters) > IN_FULL:
        yield Text(
            f"Of {len(plan.waters)} water bodies the first {named_count} are named above; the"
            f" tables below show the first {IN_FULL}. Every other stands in the CSV files beside"
            " this report, in plan.gpkg and on map.html, with the same figures."
        )
    if plan.failures:
        yield Text(
            "NOT PLANNED, for the reasons given: "
            + "; ".join(f"{one.water_id}: {one.reason}" for one in plan.failures[:20]),
            is_caution=True,
        )


def _summary_row(water: WaterPlan, limits: Mapping[str, float]) -> tuple[Value, ...]:
    """Return the line of one water body."""
    normal = next((part for part in water.cover if part.level_name == "normal"), None)
    limit = limits.get(water.water_id)
    return (
        named(water),
        len(water.rafts),
        Fixed(rounded_up_pct(normal.cover_pct), 1) if normal else None,
        Fixed(1.96 * normal.sigma_pct, 1) if normal else None,
        limit,
        "yes" if normal and limit is not None and is_within(normal.cover_pct, limit) else "NO",
        _kept(water),
    )


def _kept(water: WaterPlan) -> str:
    """Return what rafts keep back, in words."""
    effect = water.effect
    if effect is None:
        return "not assessed"
    if effect.is_relative:
        return "relative only"
    low, high = effect.removed_range_g_d
    unit = "million/d" if effect.constituent == "ecoli" else "g/d"
    return f"{low:.3g} to {high:.3g} {unit} {effect.constituent.upper()}"


def _verdict(audit: AuditReport | None) -> str:
    """Return the verdict of the audit in words."""
    if audit is None:
        return "The plan has not been audited."
    if audit.passed:
        return (
            f"A separate audit, which shares no computation with the planner, derived every claim"
            f" again from the site's raw data: all {len(audit.findings)} checks hold."
        )
    return (
        f"A separate audit derived every claim again from the site's raw data:"
        f" {len(audit.failed)} of {len(audit.findings)} checks FAIL. Do not build from this plan"
        " before they are settled; they are listed in the section on the audit."
    )


def site_basis(plan: Plan, site: Site) -> Iterator[Block]:
    """
    Yield site, coordinate systems, levels and surveys.

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
    settings = site.settings
    yield Heading("Site, survey and datum")
    yield Text(
        f"Coordinates are in {crs_name(plan.client_crs)}. Areas are computed on the WGS 84"
        " ellipsoid (Karney 2013), never from grid or degrees. Headings are clockwise from grid"
        f" north. Heights are above {settings.vertical_datum}, positive up."
    )
    if settings.vertical_datum == "not stated":
        yield Text("The vertical datum is not stated: levels and depths cannot be checked on site"
                   " until it is.", is_caution=True)  # fmt: skip
    yield grid(
        "Water levels and surface; low is the lowest at which rafts must float free",
        ("water body", "level", "height [m]", "surface [m²]", "volume [m³]", "edge"),
        [row for water in plan.waters for row in _level_rows(water)],
    )
    yield Text(_survey_words(site))
    yield grid(
        "Survey of the bed",
        ("water body", "soundings", "per hectare", "contours", "raster", "outline at [m]",
         "not surveyed [%]"),
        [_survey_row(body, water) for body, water in _planned(plan, site)],
    )  # fmt: skip
    yield Text(
        "The depth that is relied on is the most likely bed less 2.33 standard deviations of"
        " survey and interpolation (one-sided 99 %), and never deeper than a sounding near it;"
        " water too far from any sounding counts as dry. The bed between soundings is a thin plate"
        " that never crosses land, with local kriging for its error, tested by leaving whole survey"
        " lines out."
    )


def _level_rows(water: WaterPlan) -> Iterator[tuple[Value, ...]]:
    """Yield a line for each level."""
    for edge in water.edges:
        yield (
            named(water),
            edge.level_name,
            Fixed(edge.level_m, 2),
            Fixed(edge.area_m2, 1),
            Fixed(edge.volume_m3, 0),
            "assumed bank slope" if edge.is_assumed else "surveyed",
        )


def _survey_words(site: Site) -> str:
    """Return how the bed was surveyed, in words."""
    survey = site.settings.survey
    day = survey.date.isoformat() if survey.date else "date not stated"
    return (
        f"Survey: {day}; method: {survey.method}; standard deviation of a sounding"
        f" {survey.sigma_m:g} m where none is stated (twice that, {1.96 * survey.sigma_m:.2f}"
        " m, at 95 %). The outline is as delivered; who drew it, from what and how accurately,"
        " belongs into the blank fields at the end."
    )


def _planned(plan: Plan, site: Site) -> list[tuple[WaterBody, WaterPlan]]:
    """Return the water bodies that have a plan, with it; one that failed has none."""
    plans = {water.water_id: water for water in plan.waters}
    return [(body, plans[body.water_id]) for body in site.water_bodies if body.water_id in plans]


def _survey_row(body: WaterBody, water: WaterPlan) -> tuple[Value, ...]:
    """Return what was surveyed of one water body."""
    count = len(body.soundings.bed_m)
    return (
        named(body),
        count,
        Fixed(count / (body.outline.area / 1e4), 0),
        len(body.contours),
        "yes" if body.bed_raster is not None else "no",
        Fixed(body.outline_level_m, 2),
        Fixed(water.unsurveyed_pct, 1),
    )
