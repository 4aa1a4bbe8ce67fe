"""Sections on the works: drawing, raft schedule, launching, upkeep, consents."""

import math
from collections.abc import Iterator

from geoplan.exports.csv_text import Fixed
from geoplan.exports.outlines import pose_in
from geoplan.exports.report.basis import named
from geoplan.exports.report.content import Blanks, Block, Bullets, Heading, Text, Value, grid
from geoplan.exports.report.drawing import plan_drawing
from geoplan.plan import Plan, WaterPlan
from geoplan.site import Site

#: Water bodies that are drawn; a district's map shows the rest.
_DRAWN = 24
#: Rows of a schedule that are printed; the CSV beside the report holds all.
ROWS = 600


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
    with_rafts = 0
    for water in plan.waters:
        with_rafts += bool(water.rafts)
        if water.rafts and with_rafts <= _DRAWN:
            yield plan_drawing(water, site, plan.client_crs)
    if with_rafts > _DRAWN:
        yield Text(
            f"{with_rafts - _DRAWN} more water bodies have rafts: see map.html and plan.gpkg."
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
        rows[:ROWS],
    )  # fmt: skip
    yield from rest(len(rows), "plan.gpkg")


def rest(count: int, where: str) -> Iterator[Block]:
    """
    Yield where the rows are that are not printed.

    Parameters
    ----------
    count : int
        All rows.
    where : str
        File that holds them.

    Yields
    ------
    Block
        Nothing where all are printed.
    """
    if count > ROWS:
        yield Text(f"{count - ROWS} more rows stand in {where}.")


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
        f" below by a crew of {launch.crew}. In this order no raft in place bars a later one, but"
        " where a warning says so."
    )
    many = len(plan.waters) > 1
    rows: list[tuple[Value, ...]] = [
        (*((named(water),) if many else ()), route.sequence, route.raft_id, route.launch_id,
         Fixed(route.length_m, 1), _down(route.least_depth_m), _down(route.clearance_m),
         "yes" if route.has_room else "NO")
        for water in plan.waters
        for route in sorted(water.routes, key=lambda one: one.sequence)
    ]  # fmt: skip
    yield grid(
        "Order of launching",
        (*(("water body",) if many else ()), "order", "raft", "from", "tow [m]",
         "least depth [m]", "clear of line [m]", "room to turn"),
        rows[:ROWS],
    )  # fmt: skip
    yield from rest(len(rows), "launch.csv")
    lost: list[tuple[Value, ...]] = [
        (*((named(water),) if many else ()), one.raft_id, one.why_no_way)
        for water in plan.waters
        for one in water.no_routes
    ]
    if lost:
        columns = (*(("water body",) if many else ()), "raft", "why")
        yield grid("Rafts that no way leads to", columns, lost[:ROWS])
        yield from rest(len(lost), "launch.csv")
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
