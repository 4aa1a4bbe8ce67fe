"""The straight line for one water body: from its raw data to its plan."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from geoplan.cover import surface_cover, water_edges
from geoplan.effect import effect_of, worth_map
from geoplan.errors import Fault
from geoplan.fields import inflow_l_s, site_fields
from geoplan.grid import SiteFields
from geoplan.hydraulics import Hydraulics, hydraulics
from geoplan.launch.routes import tow_routes
from geoplan.mooring.design import design_moorings, mooring_notes
from geoplan.placement.allowed import Surroundings
from geoplan.placement.place import Placement, place_rafts
from geoplan.plan import DepthGrid, PlacedRaft, WaterPlan
from geoplan.raft import footprints
from geoplan.settings import Settings
from geoplan.site import WaterBody
from geoplan.treatment import LoadBenefit


def plan_water(
    body: WaterBody,
    settings: Settings,
    allotment: Mapping[str, int] | None = None,
    seed: int = 0,
    *,
    detail: bool = True,
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

    Returns
    -------
    WaterPlan
        Rafts, moorings, routes, edges and cover, with value and bound.
    """
    fields = site_fields(body, settings)
    edges = water_edges(body, fields, settings.bank_slope)
    around = Surroundings(body, fields, edges, settings)
    flow, flow_notes = hydraulics(body, settings, fields)
    benefit = _benefit(body, settings, fields, flow)
    placement = place_rafts(around, benefit, allotment, seed)
    rafts = with_removal(placement) if benefit else placement.rafts
    moorings = design_moorings(body, fields, rafts, settings)
    routes, route_notes = tow_routes(body, fields, edges[0].outline, rafts, settings)
    cover = surface_cover(edges, raft_outlines(body, rafts), body.crs)
    wet = fields.grid.water
    unsurveyed = 100.0 * float(fields.is_unsurveyed[wet].mean()) if wet.any() else 100.0
    notes = (
        *_notes(body, cover[1].cover_pct, settings, unsurveyed),
        *mooring_notes(body, fields, rafts, settings),
        *route_notes,
        *flow_notes,
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
        effect=effect_of(around, benefit, placement) if benefit and detail else None,
        worth_map=worth_map(around, benefit) if benefit and detail else None,
    )


def _benefit(
    body: WaterBody, settings: Settings, fields: SiteFields, flow: Hydraulics | None
) -> LoadBenefit | None:
    """Return the load that rafts keep back, where it is known how water flows."""
    if flow is None:
        return None
    return LoadBenefit(body, settings, fields, flow, settings.treatment.rates_m_yr()[0])


def with_removal(placement: Placement) -> tuple[PlacedRaft, ...]:
    """
    Return the rafts of a placement with what each takes out.

    Parameters
    ----------
    placement : Placement
        A placement whose value is a load.

    Returns
    -------
    tuple of PlacedRaft
        The load kept by the plan, shared over its rafts by what their places are worth with all
        of them in the water [g/d].
    """
    planned = [raft for raft in placement.rafts if raft.status == "planned"]
    total = sum(raft.worth * raft.planted_area_m2 for raft in planned)
    share = placement.report.value / total if total > 0 else 0.0
    return tuple(
        replace(raft, removal_g_d=raft.worth * raft.planted_area_m2 * share)
        if raft.status == "planned"
        else raft
        for raft in placement.rafts
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
