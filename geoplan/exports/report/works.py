"""Sections on the works: drawing, raft schedule, moorings, launching, upkeep, consents."""

import math
from collections.abc import Iterator

from geoplan.exports.csv_text import Fixed
from geoplan.exports.outlines import pose_in
from geoplan.exports.report.basis import MANY, named
from geoplan.exports.report.content import Blanks, Block, Bullets, Heading, Text, Value, grid
from geoplan.exports.report.drawing import plan_drawing
from geoplan.plan import Mooring, Plan, WaterPlan
from geoplan.site import Site

#: Water bodies that are drawn; a district's map shows the rest.
_DRAWN = 24
#: Rows of a schedule that are printed; the CSV beside the report holds all.
_ROWS = 600


def drawings(plan: Plan, site: Site) -> Iterator[Block]:
    """
    Yield the plan of each water body, to scale.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site.

    Yields
    ------
    Block
        One drawing for each water body with rafts.
    """
    yield Heading("Plan drawings")
    with_rafts = [water for water in plan.waters if water.rafts]
    for water in with_rafts[:_DRAWN]:
        yield plan_drawing(water, site, plan.client_crs)
    if len(with_rafts) > _DRAWN:
        yield Text(
            f"{len(with_rafts) - _DRAWN} more water bodies have rafts: see map.html and plan.gpkg."
        )
    if not with_rafts:
        yield Text("No raft is planned.")


def schedule(plan: Plan, site: Site) -> Iterator[Block]:
    """
    Yield the schedule of rafts.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site.

    Yields
    ------
    Block
        Types, then each raft.
    """
    yield Heading("Raft schedule")
    yield grid(
        "Raft types",
        ("type", "length [m]", "width [m]", "draft [m]", "roots [m]", "planted share", "held by",
         "in stock"),
        [
            (kind.name, kind.length_m, kind.width_m, kind.draft_m, kind.root_depth_m,
             Fixed(kind.planted_share, 2), kind.mooring,
             "no limit" if kind.stock is None else str(kind.stock))
            for kind in site.settings.raft
        ],
    )  # fmt: skip
    rows = [row for water in plan.waters for row in _raft_rows(water, plan.client_crs)]
    yield grid(
        "Rafts: centre and heading in the CRS of the plan; depth relied on and root clearance at"
        " low level",
        ("raft", "type", "status", "easting [m]", "northing [m]", "heading [°]", "area [m²]",
         "depth [m]", "roots to bed [m]", "bank [m]", "gap [m]", "sun [h]"),
        rows[:_ROWS],
    )  # fmt: skip
    yield from _rest(len(rows), "plan.gpkg")


def _rest(count: int, where: str) -> Iterator[Block]:
    """Yield where the rows are that are not printed."""
    if count > _ROWS:
        yield Text(f"{count - _ROWS} more rows stand in {where}.")


def _raft_rows(water: WaterPlan, crs: str) -> Iterator[tuple[Value, ...]]:
    """Yield a line for each raft."""
    for raft in water.rafts:
        easting, northing, heading = pose_in(raft, water.crs, crs)
        yield (
            raft.raft_id,
            raft.raft_type,
            raft.status,
            Fixed(easting, 2),
            Fixed(northing, 2),
            Fixed(heading, 1),
            Fixed(raft.area_m2, 2),
            _down(raft.depth_low_m),
            _down(raft.root_clearance_m),
            _down(raft.bank_clearance_m),
            None if raft.gap_m is None else _down(raft.gap_m),
            None if raft.sun_h is None else Fixed(raft.sun_h, 1),
        )


def _down(value: float) -> Fixed | None:
    """Return a clearance rounded down, as a careful reader wants it."""
    return Fixed(math.floor(value * 100 + 1e-9) / 100, 2) if math.isfinite(value) else None


def moorings(plan: Plan, site: Site) -> Iterator[Block]:
    """
    Yield moorings and loads for the engineer to check.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site.

    Yields
    ------
    Block
        Cautions, the basis, each mooring, and where to sign.
    """
    yield Heading("Moorings, for the engineer to check and sign")
    yield Text(
        "Screening figures. An engineer licensed for the place must check every load, capacity and"
        " length, look at the bed, and sign below before posts are driven or anchors laid. Ask for"
        " buried services first; never drive a post through a liner, a dam or its toe.",
        is_caution=True,
    )
    wind = site.settings.wind
    yield Text(
        f"Design wind {wind.design_m_s:g} m/s. Posts let a raft move from low to high level"
        f" with {site.settings.mooring.travel_margin_m:g} m to spare at either end."
    )
    rows = [
        (named(water) if len(plan.waters) > 1 else "", *_mooring_row(one))
        for water in plan.waters
        for one in water.moorings
    ]
    yield grid(
        "Moorings; every load and capacity is to be checked by an engineer",
        ("water body", "mooring", "raft", "kind", "depth at high [m]", "length [m]",
         "in the bed [m]", "load [N]", "capacity [N]"),
        rows[:_ROWS],
    )  # fmt: skip
    yield from _rest(len(rows), "moorings.csv")
    yield from _waves(plan)
    yield Blanks(("Checked by (name, licence)", "Date and signature"))


def _mooring_row(mooring: Mooring) -> tuple[Value, ...]:
    """Return the line of one mooring."""
    return (
        mooring.mooring_id,
        mooring.raft_id,
        mooring.kind,
        Fixed(mooring.depth_high_m, 2),
        Fixed(mooring.length_m, 2),
        Fixed(mooring.embedment_m, 2),
        None if mooring.load_n is None else Fixed(mooring.load_n, 0),
        None if mooring.capacity_n is None else Fixed(mooring.capacity_n, 0),
    )


def _waves(plan: Plan) -> Iterator[Block]:
    """Yield the design waves of each water body."""
    rows: list[tuple[Value, ...]] = [
        (named(water), wave.level_name, Fixed(wave.wind_m_s, 1), Fixed(wave.wave_from_deg, 0),
         Fixed(wave.wave_height_m, 2), Fixed(wave.wave_period_s, 2),
         None if wave.setup_m is None else Fixed(wave.setup_m, 3))
        for water in plan.waters[:MANY]
        for wave in water.waves
    ]  # fmt: skip
    if rows:
        yield grid(
            "Design waves: the larger of two methods, neither calibrated under 100 m of fetch",
            ("water body", "level", "wind [m/s]", "from [°]", "height [m]", "period [s]",
             "set-up [m]"),
            rows,
        )  # fmt: skip


def launching(plan: Plan, site: Site) -> Iterator[Block]:
    """
    Yield launching, towing and safety.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site.

    Yields
    ------
    Block
        Order of launching and what can hurt people.
    """
    yield Heading("Launching and safety")
    launch = site.settings.launch
    yield Text(
        "Rafts are built beside the water, launched bare, loaded with growing medium and plants"
        f" while afloat in water no deeper than {launch.wading_m:g} m, and towed in the order"
        f" below by a crew of {launch.crew}. In this order no raft in place blocks a later one."
    )
    rows: list[tuple[Value, ...]] = [
        (named(water) if len(plan.waters) > 1 else "", route.sequence, route.raft_id,
         route.launch_id, Fixed(route.length_m, 1), _down(route.least_depth_m))
        for water in plan.waters
        for route in sorted(water.routes, key=lambda one: one.sequence)
    ]  # fmt: skip
    yield grid(
        "Order of launching",
        ("water body", "order", "raft", "from", "tow [m]", "least depth [m]"),
        rows[:_ROWS],
    )
    yield from _rest(len(rows), "launch.csv")
    yield Heading("Cautions", 2)
    yield Bullets(CAUTIONS)


#: What can hurt someone. Each defers to local rules; none replaces them.
CAUTIONS = (
    (
        "Drowning and cold water: nobody works alone; buoyancy aids for all in or over the water; a"
        " throw line and a person ashore who does nothing else. Cold water disables within minutes."
    ),
    "Soft beds: probe before every step; mud that holds a leg is no place to wade.",
    (
        "Stormwater may be contaminated: gloves, covered cuts, clean hands to eat; stay out for"
        " two days after storms. Leptospirosis and algal blooms: follow local health advice."
    ),
    "Buried services: have pipes and cables located before any post is driven.",
    "Dams and outlets: keep off dams, spillways and racks; the pull of an outlet is not seen.",
    (
        "Lifting: a wet raft is far heavier than a dry one; share loads by local handling rules,"
        " stand clear of slings, never under a load."
    ),
    "Blades, saws and drills in building: guards, eye protection, never towards a person.",
    "Floods and ice: no work on rising water or on ice; inspect every raft after both.",
    "Biosecurity: check, clean and dry boats and gear between waters; local plants only.",
)


def upkeep(plan: Plan, site: Site) -> Iterator[Block]:
    """
    Yield monitoring, maintenance and consents.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site.

    Yields
    ------
    Block
        What to watch, and the fields that people fill in.
    """
    del plan, site  # sections are called alike
    yield Heading("Monitoring and upkeep")
    yield Bullets(
        (
            "Each visit by the checklist in inspection.html; findings go into inspection.csv.",
            (
                "As built: survey two opposite corners of each raft, state accuracy, run geoplan"
                " asbuilt; its figures then replace the planned ones."
            ),
            "Oxygen at dawn, under and outside rafts, in the warmest weeks.",
            "Plant cover, dead patches, roots clear of the bed; harvest by mass where it is done.",
            "Depth of sediment at the marks each year; photographs from fixed points.",
            "Missing or damaged rafts; posts, lines, sleeves; after every flood and every ice.",
        )
    )
    yield Blanks(("Who inspects, how often", "Credit renewed on"))
    yield Heading("Consents")
    yield Text("Whether each is needed is for local law to say. None is implied by this report.")
    yield Blanks(
        (
            "Consent number",
            "Land owner",
            "Drainage or flood authority",
            "Navigation and water users",
            "Nature conservation, species",
            "Biosecurity, origin of plants",
            "Outline drawn by, from, accuracy",
            "Site surveyed by",
            "Prepared by (name, signature)",
            "Date of issue",
        )
    )
