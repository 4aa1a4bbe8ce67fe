"""The straight line for one water body: from its raw data to its plan."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

import numpy as np

from geoplan.cover import edge_at, surface_cover, water_edges
from geoplan.effect import shown_effect
from geoplan.errors import Fault, SiteDataError
from geoplan.fields import site_fields
from geoplan.grid import SiteFields
from geoplan.headings import with_headings
from geoplan.hulls import floated, hull_notes
from geoplan.hydraulics import inflow_l_s
from geoplan.launch.bank_marks import suggested_marks, taping_notes
from geoplan.launch.routes import tow_routes
from geoplan.low_water import low_water_notes
from geoplan.mooring.demand import raft_loads
from geoplan.mooring.design import design_moorings
from geoplan.mooring.notes import mooring_notes
from geoplan.mooring.swept import swept_areas
from geoplan.placement.allowed import Ground, Surroundings
from geoplan.placement.explain import reasons_of
from geoplan.placement.held import held_faults
from geoplan.placement.improve import DEFAULT_EFFORT, DISTRICT_EFFORT
from geoplan.placement.patience import Patience
from geoplan.placement.place import Placement, place_rafts
from geoplan.placement.proof import proven
from geoplan.placement.trial import trial_rules
from geoplan.placement.yielding import as_words
from geoplan.plan import (
    Cover,
    DepthGrid,
    DesignWaves,
    Mooring,
    NoRoute,
    PlacedRaft,
    Route,
    WaterPlan,
)
from geoplan.raft import footprints
from geoplan.reasons import HeldRaft
from geoplan.replay import at_other_levels
from geoplan.settings import Settings
from geoplan.site import Mark, WaterBody
from geoplan.treatment import LoadBenefit, load_benefit, with_removal
from geoplan.wind import design_waves

#: How much of what is known of a plan is found: see `plan_water`.
Detail = bool | Literal["proven", "brief"]


def plan_water(
    body: WaterBody,
    settings: Settings,
    allotment: Mapping[str, int] | None = None,
    seed: int = 0,
    *,
    detail: Detail = True,
    ground: Ground | None = None,
    held: tuple[HeldRaft, ...] = (),
    time_limit_s: float | None = None,
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
    detail : bool, "proven" or "brief"
        Whether effect, sensitivity and the map of worth are made; a first pass that only shares
        out a stock needs none of them. Proven, as in districts, the effect is judged under one
        assumption and for one count alone, and there is no second plan; the rafts are the same.
        Brief, as in large districts, the bound is the area bound without a certificate besides,
        and the search ends as soon as it finds the same again.
    ground : Ground or None
        What was found of the water body before; ``None``: it is found here.
    held : tuple of HeldRaft
        Rafts of the site whose places a person has fixed; those of other waters are left out.
    time_limit_s : float or None
        How long the search may go on once there is a plan; ``None``: until it is done [s].

    Returns
    -------
    WaterPlan
        Rafts, moorings, routes, edges and cover, with value and bound.

    Raises
    ------
    SiteDataError
        If a held raft may not lie where it lies; the message says by how much.
    """
    patience = Patience.of(time_limit_s)
    around, head_notes = surroundings_of(body, settings, held, ground)
    if faults := held_faults(around):
        raise SiteDataError(faults)
    bare = ground.bare if ground else None
    benefit, flow_notes = load_benefit(body, settings, around.fields, bare)
    placement = place_rafts(
        around, benefit, allotment, seed, patience, is_brief=isinstance(detail, str),
        effort=DISTRICT_EFFORT if detail == "brief" else DEFAULT_EFFORT,
    )  # fmt: skip
    certificate = None
    if detail in {True, "proven"}:
        placement, certificate = proven(around, benefit, placement, patience=patience)
    plan = _made(around, benefit, placement)
    notes = plan.notes + flow_notes + head_notes
    plan = replace(plan, notes=notes, certificate=certificate)
    return _explained(plan, around, benefit, placement, detail is True) if detail else plan


def _made(around: Surroundings, benefit: LoadBenefit | None, placement: Placement) -> WaterPlan:
    """Return the plan of rafts that are placed: afloat, held, towed and at every level."""
    body, settings, fields, edges = around.body, around.settings, around.fields, around.edges
    rafts, waves, wave_notes = _afloat(around, with_removal(placement, benefit))
    moorings, (routes, no_routes), marks, held_notes = _held_and_towed(around, rafts)
    cover = surface_cover(edges, raft_outlines(body, rafts), body.crs)
    stage, record, level_notes = at_other_levels(
        body, fields, edges, rafts, moorings, cover[1].raft_area_m2, settings
    )
    notes = _notes(body, cover[1].cover_pct, settings, fields) + fields.notes
    return WaterPlan(
        water_id=body.water_id,
        name=body.name,
        crs=body.crs,
        rafts=rafts,
        moorings=moorings,
        routes=routes,
        no_routes=no_routes,
        edges=edges,
        cover=cover,
        asked_cover=_asked_cover(body, fields, rafts, settings),
        report=placement.report,
        room_m2=placement.room_m2,
        unsurveyed_pct=_unsurveyed_pct(fields),
        inflow_l_s=inflow_l_s(body, settings),
        notes=notes + held_notes + level_notes + wave_notes,
        why_none=placement.why_none,
        depth_grid=_depth_grid(fields, body.levels.low_m),
        stage=stage,
        record=record,
        waves=waves,
        swept=swept_areas(body, fields, rafts, moorings, settings),
        suggested_marks=marks,
        trial=trial_rules(around),
    )


def _afloat(
    around: Surroundings, rafts: tuple[PlacedRaft, ...]
) -> tuple[tuple[PlacedRaft, ...], tuple[DesignWaves, ...], tuple[Fault, ...]]:
    """Return rafts with their draft and waves, the largest waves, and what is to be known."""
    body, settings = around.body, around.settings
    deep = floated(rafts, settings)
    return design_waves(around.fields, around.edges, deep, settings, body.water_id)


def _explained(
    plan: WaterPlan,
    around: Surroundings,
    benefit: LoadBenefit | None,
    placement: Placement,
    sensitivity: bool,
) -> WaterPlan:
    """Return a plan with its effect, the map of worth, and why it is as it is."""
    reasons = reasons_of(around, benefit, placement, is_brief=not sensitivity)
    effect, worth = shown_effect(around, benefit, placement, sensitivity)
    why_none = plan.why_none
    # In brief nobody looks for what would open room where there is some.
    is_asked = sensitivity or placement.room_m2 == 0.0
    if why_none and is_asked and not placement.is_worthless:
        why_none += as_words(reasons.yields)
    return replace(plan, effect=effect, worth_map=worth, reasons=reasons, why_none=why_none)


def held_problems(
    body: WaterBody, settings: Settings, held: tuple[HeldRaft, ...]
) -> tuple[Fault, ...]:
    """
    Return which held rafts of a water body may not lie where they lie.

    Parameters
    ----------
    body : WaterBody
        The water body.
    settings : Settings
        Settings of the site.
    held : tuple of HeldRaft
        Rafts of it whose places a person has fixed.

    Returns
    -------
    tuple of Fault
        One for each raft and rule; empty where all may stay.
    """
    return held_faults(surroundings_of(body, settings, held)[0])


def surroundings_of(
    body: WaterBody,
    settings: Settings,
    held: tuple[HeldRaft, ...] = (),
    ground: Ground | None = None,
) -> tuple[Surroundings, tuple[Fault, ...]]:
    """
    Return what the rules look at, with held rafts and headings.

    Parameters
    ----------
    body : WaterBody
        The water body.
    settings : Settings
        Settings of the site.
    held : tuple of HeldRaft
        Rafts of the site whose places a person has fixed; those of other waters are left out.
    ground : Ground or None
        What was found of the water body before; ``None``: it is found here.

    Returns
    -------
    Surroundings
        Fields, edges, and the regions where they are known.
    tuple of Fault
        What a reader must know of the headings.
    """
    mine = tuple(raft for raft in held if raft.water_id == body.water_id)
    fields = ground.fields if ground else site_fields(body, settings)
    edges = ground.edges if ground else water_edges(body, fields, settings.bank_slope)
    regions = ground.regions if ground and not mine else ()
    around = Surroundings(body, fields, edges, settings, mine, known_regions=regions)
    return with_headings(around)


def _held_and_towed(
    around: Surroundings, rafts: tuple[PlacedRaft, ...]
) -> tuple[
    tuple[Mooring, ...],
    tuple[tuple[Route, ...], tuple[NoRoute, ...]],
    tuple[Mark, ...],
    tuple[Fault, ...],
]:
    """Return moorings, tow routes and pegs to drive, and what a reader must know of them."""
    body, fields, edges, settings = around.body, around.fields, around.edges, around.settings
    loads = raft_loads(edges[2], rafts, settings)
    moorings = design_moorings(body, fields, rafts, settings, loads)
    routes, no_routes, route_notes = tow_routes(body, fields, edges[0].outline, rafts, settings)
    notes = hull_notes(body.water_id, rafts, settings)
    notes += mooring_notes(body, fields, rafts, settings, moorings) + route_notes
    marks = suggested_marks(body, edges[2].outline, rafts, moorings, settings)
    notes += taping_notes(body, rafts, moorings, marks, settings)
    return moorings, (routes, no_routes), marks, notes + low_water_notes(body, edges, rafts, routes)


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


def _asked_cover(
    body: WaterBody, fields: SiteFields, rafts: tuple[PlacedRaft, ...], settings: Settings
) -> tuple[Cover, ...]:
    """Return cover at the further levels that the site asks for."""
    edges = [
        edge_at(body, fields, "asked", level_m, settings.bank_slope)
        for level_m in settings.cover.also_at_m
    ]
    return surface_cover(edges, raft_outlines(body, rafts), body.crs)


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
    fields: SiteFields,
) -> tuple[Fault, ...]:
    """Return what a reader of the plan must know beyond its numbers."""
    notes = []

    def warn(found: str, expected: str, remedy: str) -> None:
        notes.append(
            Fault("warning", "plan", found, expected, remedy, feature=f"water '{body.water_id}'")
        )

    unsurveyed_pct = _unsurveyed_pct(fields)
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
    return tuple(notes)
