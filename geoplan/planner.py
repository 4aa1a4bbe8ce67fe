"""The straight line for one water body: from its raw data to its plan."""

from collections.abc import Mapping

import numpy as np

from geoplan.cover import surface_cover, water_edges
from geoplan.errors import Fault
from geoplan.fields import inflow_l_s, inflow_shares, site_fields
from geoplan.grid import SiteFields
from geoplan.launch.routes import tow_routes
from geoplan.mooring.design import design_moorings, mooring_notes
from geoplan.placement.allowed import Surroundings
from geoplan.placement.place import place_rafts
from geoplan.plan import DepthGrid, PlacedRaft, WaterPlan
from geoplan.raft import footprints
from geoplan.settings import Settings
from geoplan.site import WaterBody


def plan_water(
    body: WaterBody,
    settings: Settings,
    allotment: Mapping[str, int] | None = None,
    seed: int = 0,
) -> WaterPlan:
    """
    Plan one water body.

    Parameters
    ----------
    body : WaterBody
        The water body.
    settings : Settings
        Settings of the site.
    allotment : mapping of str to int or None
        Rafts of each type that this water body may have; ``None``: the whole stock.
    seed : int
        Seed of the search.

    Returns
    -------
    WaterPlan
        Rafts, moorings, routes, edges and cover, with value and bound.
    """
    fields = site_fields(body, settings)
    edges = water_edges(body, fields, settings.bank_slope)
    around = Surroundings(body, fields, edges, settings)
    placement = place_rafts(around, allotment, seed)
    rafts = placement.rafts
    moorings = design_moorings(body, fields, rafts, settings)
    routes, route_notes = tow_routes(body, fields, edges[0].outline, rafts, settings)
    cover = surface_cover(edges, raft_outlines(body, rafts), body.crs)
    wet = fields.grid.water
    unsurveyed = 100.0 * float(fields.is_unsurveyed[wet].mean()) if wet.any() else 100.0
    notes = (
        *_notes(body, cover[1].cover_pct, settings, unsurveyed),
        *mooring_notes(body, fields, rafts, settings),
        *route_notes,
    )
    return WaterPlan(
        water_id=body.water_id,
        name=body.name,
        crs=body.crs,
        rafts=rafts,
        moorings=moorings,
        routes=routes,
        edges=edges,
        cover=cover,
        report=placement.report,
        room_m2=placement.room_m2,
        unsurveyed_pct=unsurveyed,
        inflow_l_s=inflow_l_s(body),
        notes=notes,
        why_none=placement.why_none,
        depth_grid=_depth_grid(fields, body.levels.low_m),
    )


def raft_outlines(body: WaterBody, rafts: tuple[PlacedRaft, ...]) -> list[object]:
    """
    Return the water that each raft covers.

    Parameters
    ----------
    body : WaterBody
        The water body, for the outlines of rafts that are there already.
    rafts : tuple of PlacedRaft
        Planned and existing rafts.

    Returns
    -------
    list of Polygon
        Footprints, working CRS [m].
    """
    existing = {raft.raft_id: raft.outline for raft in body.rafts}
    return [
        existing[raft.raft_id]
        if raft.status == "existing"
        else footprints(
            raft.easting_m, raft.northing_m, raft.heading_deg, raft.length_m, raft.width_m
        )[0]
        for raft in rafts
    ]


def _depth_grid(fields: SiteFields, low_m: float) -> DepthGrid:
    """Return the reliable depth at low level, for the map."""
    grid = fields.grid
    depth = np.where(grid.water, fields.reliable_depth_m(low_m), np.nan)
    return DepthGrid(grid.west_m, grid.south_m, grid.cell_size_m, depth)


def _notes(
    body: WaterBody,
    cover_pct: float,
    settings: Settings,
    unsurveyed_pct: float,
) -> list[Fault]:
    """Return what a reader of the plan must know beyond its numbers."""
    notes = []

    def warn(found: str, expected: str, remedy: str) -> None:
        notes.append(
            Fault("warning", "plan", found, expected, remedy, feature=f"water '{body.water_id}'")
        )

    if not body.inflows:
        warn(
            "no inflow",
            "at least one, so that rafts lie where the load comes in",
            "Every place counts alike; add the layer 'inflows'.",
        )
    elif inflow_shares(body)[1]:
        warn(
            "inflows without flow_l_s",
            "the mean flow of each",
            "Equal shares are assumed and the worth is relative; measure or estimate the flows.",
        )
    if unsurveyed_pct >= 0.05:
        warn(
            f"{unsurveyed_pct:.1f} % of the water too far from any sounding",
            "soundings wherever rafts may lie",
            "No raft is placed there; sound it to open it.",
        )
    if cover_pct < settings.cover.min_pct:
        warn(
            f"{cover_pct:.1f} % of the normal pool covered",
            f"at least {settings.cover.min_pct:g} %",
            "There is no room or no stock for more; see the rule that takes most away.",
        )
    if cover_pct > 30.0:
        warn(
            f"{cover_pct:.1f} % of the normal pool covered",
            "30 % or less",
            "Watch dissolved oxygen at dawn; consider fewer rafts.",
        )
    return notes
