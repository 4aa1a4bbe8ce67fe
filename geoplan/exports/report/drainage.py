"""Section on what a drainage or flood authority asks: storage, open width, loose rafts."""

import math
from collections.abc import Iterator, Mapping

from geoplan.crs import transformed
from geoplan.exports.csv_text import Fixed
from geoplan.exports.outlines import raft_outlines
from geoplan.exports.report.basis import named
from geoplan.exports.report.content import Block, Heading, Text, Value, grid
from geoplan.passage import WIDEST_M, passage_m
from geoplan.plan import Plan, WaterPlan
from geoplan.site import Site, WaterBody


def drainage(plan: Plan, site: Site) -> Iterator[Block]:
    """
    Yield what a drainage or flood authority asks.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site.

    Yields
    ------
    Block
        Storage, open width at inflows and outlets, and rafts that break loose.
    """
    yield Heading("Storage, conveyance and loose rafts")
    yield Text(
        "A floating raft rises with the water: between normal and high level it takes no storage."
        " The water that it displaces by its weight is counted below as a box of its draft, which"
        " is more than it can displace; posts stand in the water besides."
    )
    drafts = {kind.name: kind.draft_m for kind in site.settings.raft}
    yield grid(
        "Storage",
        ("water body", "displaced by rafts [m³]", "surface rises by [mm]",
         "storage normal to high [m³]", "displaced share of it [%]"),
        [_storage_row(water, drafts) for water in plan.waters],
    )  # fmt: skip
    bodies = site.by_id
    rows = [row for water in plan.waters for row in _passages(water, bodies[water.water_id], site)]
    if rows:
        yield grid(
            "Widest way from the middle of the water to inflows and outlets, at normal level",
            ("water body", "place", "without rafts [m]", "with rafts [m]", "a loose raft"),
            rows,
        )
    yield Text(
        "A raft that breaks loose drifts with wind and flow to the outlet. Where it fits through,"
        " it may lie across a weir or rack and raise the water above it: keep a boom, rack or cable"
        " in front of the outlet that holds the heaviest raft in flood flow, and name who is called"
        " and who may go out. An outlet is never cleared from the water side in flow.",
        is_caution=True,
    )


def _storage_row(water: WaterPlan, drafts: Mapping[str, float | None]) -> tuple[Value, ...]:
    """Return what rafts displace."""
    known = [value for value in drafts.values() if value is not None]
    deepest = max(known, default=math.nan)
    displaced = math.fsum(
        raft.area_m2 * (drafts.get(raft.raft_type) or deepest) for raft in water.rafts
    )
    edges = {edge.level_name: edge for edge in water.edges}
    storage = edges["high"].volume_m3 - edges["normal"].volume_m3
    area = edges["normal"].area_m2
    return (
        named(water),
        Fixed(displaced, 2),
        Fixed(1000.0 * displaced / area, 1) if area > 0 else None,
        Fixed(storage, 0),
        Fixed(100.0 * displaced / storage, 2) if storage > 0 else None,
    )


def _passages(water: WaterPlan, body: WaterBody, site: Site) -> Iterator[tuple[Value, ...]]:
    """Yield the open width at each inflow and outlet."""
    normal = next((edge.outline for edge in water.edges if edge.level_name == "normal"), None)
    if normal is None or normal.is_empty or not water.rafts:
        return
    outlines = [transformed(one, water.crs, body.crs) for one in raft_outlines(water, site)]
    open_water = transformed(normal, water.crs, body.crs)
    narrowest = min(min(raft.length_m, raft.width_m) for raft in water.rafts)
    places = [(f"inflow {one.inflow_id}", one.point, False) for one in body.inflows]
    places += [(f"outlet {one.outlet_id}", one.geometry, True) for one in body.outlets]
    for name, spot, is_outlet in places:
        before = passage_m(open_water, [], spot)
        after = passage_m(open_water, outlines, spot)
        loose = ""
        if is_outlet:
            loose = "can drift to it" if after >= narrowest else "is held back by the narrows"
        yield (named(water), name, _width(before), _width(after), loose)


def _width(value: float) -> str:
    """Return a width, or that it is wider than is measured."""
    return f"{value:.1f}" if value < WIDEST_M else f"{WIDEST_M:g} or more"
