"""The straight line for one water body: from its raw data to its plan."""

from collections.abc import Mapping

import numpy as np

from geoplan.cover import surface_cover, water_edges
from geoplan.effect import shown_effect
from geoplan.errors import Fault
from geoplan.fields import site_fields
from geoplan.grid import SiteFields
from geoplan.hulls import floated, hull_notes
from geoplan.hydraulics import inflow_l_s
from geoplan.launch.routes import tow_routes
from geoplan.low_water import low_water_notes
from geoplan.mooring.design import design_moorings, mooring_notes
from geoplan.placement.allowed import Surroundings
from geoplan.placement.place import place_rafts
from geoplan.plan import DepthGrid, Mooring, PlacedRaft, Route, WaterPlan
from geoplan.raft import footprints
from geoplan.replay import at_other_levels
from geoplan.settings import Settings
from geoplan.site import WaterBody
from geoplan.treatment import load_benefit, with_removal
from geoplan.wind import design_waves


def plan_water(
    body: WaterBody,
    settings: Settings,
    allotment: Mapping[str, int] | None = None,
    seed: int = 0,
    *,
    detail: bool = True,
    sensitivity: bool = True,
    fields: SiteFields | None = None,
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
    detail : bool
        Whether effect, sensitivity and the map of worth are made; a first pass that only shares
        out a stock needs none of them.
    sensitivity : bool
        Whether the effect is judged under other assumptions and for other counts too, which takes
        a third of the time; large districts do without.
    fields : SiteFields or None
        Fields of the water body where they were made before; ``None``: they are made.

    Returns
    -------
    WaterPlan
        Rafts, moorings, routes, edges and cover, with value and bound.
    """
    fields = fields or site_fields(body, settings)
    edges = water_edges(body, fields, settings.bank_slope)
    around = Surroundings(body, fields, edges, settings)
    benefit, flow_notes = load_benefit(body, settings, fields)
    placement = place_rafts(around, benefit, allotment, seed)
    placed = floated(with_removal(placement, benefit), settings)
    rafts, waves, wave_notes = design_waves(fields, edges, placed, settings, body.water_id)
    moorings, routes, held_notes = _held_and_towed(around, rafts)
    cover = surface_cover(edges, raft_outlines(body, rafts), body.crs)
    at = at_other_levels(body, fields, edges, rafts, moorings, cover[1].raft_area_m2, settings)
    effect, worth = shown_effect(around, benefit if detail else None, placement, sensitivity)
    unsurveyed = _unsurveyed_pct(fields)
    notes = (*_notes(body, cover[1].cover_pct, settings, unsurveyed), *fields.notes)
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
        inflow_l_s=inflow_l_s(body, settings),
        notes=notes + held_notes + at[2] + wave_notes + flow_notes,
        why_none=placement.why_none,
        depth_grid=_depth_grid(fields, body.levels.low_m),
        stage=at[0],
        record=at[1],
        waves=waves,
        effect=effect,
        worth_map=worth,
    )


def _held_and_towed(
    around: Surroundings, rafts: tuple[PlacedRaft, ...]
) -> tuple[tuple[Mooring, ...], tuple[Route, ...], tuple[Fault, ...]]:
    """Return the moorings and tow routes of rafts, and what a reader must know of them."""
    body, fields, edges, settings = around.body, around.fields, around.edges, around.settings
    moorings = design_moorings(body, fields, rafts, settings)
    routes, route_notes = tow_routes(body, fields, edges[0].outline, rafts, settings)
    notes = hull_notes(body.water_id, rafts, settings)
    notes += mooring_notes(body, fields, rafts, settings) + route_notes
    return moorings, routes, notes + low_water_notes(body, edges, rafts, routes)


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


def _unsurveyed_pct(fields: SiteFields) -> float:
    """Return the share of the water that is too far from any sounding [%]."""
    wet = fields.grid.water
    return 100.0 * float(fields.is_unsurveyed[wet].mean()) if wet.any() else 100.0


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
