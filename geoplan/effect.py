"""
The effect of a plan: loads with and without rafts, how sure, and how many rafts are worth it.

The plan is judged again, not made again, under other assumptions; beside each stands what no plan
could exceed there, so that a person sees whether positions or assumptions matter more.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import shapely

from geoplan.hydraulics import CONCENTRATIONS, Hydraulics, hydraulics
from geoplan.placement.allowed import ROUNDING_ROOM_M, Surroundings
from geoplan.placement.bound import BoundedRoom, Limit
from geoplan.placement.improve import BRIEF_EFFORT
from geoplan.placement.place import Placement, best_plan
from geoplan.placement.search import Poses
from geoplan.plan import (
    ConstituentLoads,
    CurvePoint,
    Effect,
    InflowBasis,
    SensitivityCase,
    WorthMap,
)
from geoplan.site import FloatArray
from geoplan.treatment import LoadBenefit, Loads
from geoplan.water.levels import level_rings
from geoplan.water.streamlines import streamlines

#: Other assumptions: words, and the factor of the dispersion or the power of the depth.
_DISPERSIONS = (("dispersion a tenth", 0.1), ("dispersion ten times", 10.0))
_EXPONENTS = (
    ("flow less drawn to deep water (power 1)", 1.0),
    ("flow more drawn to deep water (power 3)", 3.0),
)
#: Above so many cells the other assumptions and the curve would take minutes.
_MOST_CELLS = 400_000
_CURVE_POINTS = 7
_CLASSES = 5
_STREAMLINES = 12


def shown_effect(
    around: Surroundings,
    benefit: LoadBenefit | None,
    placement: Placement,
    sensitivity: bool = True,
) -> tuple[Effect | None, WorthMap | None]:
    """
    Return the effect of a plan and the map of worth, where loads are known.

    Parameters
    ----------
    around : Surroundings
        The water body.
    benefit : LoadBenefit or None
        The load that rafts keep back; ``None`` where it is not known or not wanted.
    placement : Placement
        The plan.
    sensitivity : bool
        Whether other assumptions and counts are judged.

    Returns
    -------
    Effect or None
        Loads, sensitivity and curve.
    WorthMap or None
        Worth in classes, and streamlines.
    """
    if benefit is None:
        return None, None
    effect = effect_of(around, benefit, placement, sensitivity=sensitivity)
    return effect, worth_map(around, benefit)


def effect_of(
    around: Surroundings,
    benefit: LoadBenefit,
    placement: Placement,
    *,
    sensitivity: bool = True,
) -> Effect:
    """
    Return the effect of a plan.

    Parameters
    ----------
    around : Surroundings
        The water body.
    benefit : LoadBenefit
        The load that rafts keep back.
    placement : Placement
        The plan.
    sensitivity : bool
        Whether other assumptions and counts are judged.

    Returns
    -------
    Effect
        Loads, sensitivity and curve.
    """
    loads = benefit.loads(placement.poses)
    flow_m3_s = sum(flow.flow_m3_s for flow in benefit.hydraulics.flows)
    is_small = around.fields.grid.water.size <= _MOST_CELLS
    room = placement.room
    detail = (
        sensitivity and room is not None and is_small and any(len(part) for part in placement.poses)
    )
    return Effect(
        constituent=around.settings.treatment.constituent,
        is_relative=benefit.hydraulics.is_relative,
        inflows=tuple(
            InflowBasis(
                flow.inflow.inflow_id, flow.flow_m3_s * 1000.0, flow.concentration_g_m3, flow.basis
            )
            for flow in benefit.hydraulics.flows
        ),
        residence_h=around.edges[1].volume_m3 / max(flow_m3_s, 1e-12) / 3600.0,
        load_in_g_d=loads.in_g_d,
        load_out_g_d=loads.out_g_d,
        load_out_without_rafts_g_d=loads.out_without_rafts_g_d,
        removed_g_d=loads.removed_g_d,
        removed_range_g_d=loads.removed_range_g_d,
        sensitivity=_sensitivity(around, benefit, placement) if detail else (),
        curve=_curve(around, benefit, placement, room) if detail and room else (),
        constituents=tuple(
            _constituent(benefit, placement, name, loads) for name in CONCENTRATIONS
        ),
    )


def _constituent(
    benefit: LoadBenefit, placement: Placement, name: str, chosen: Loads
) -> ConstituentLoads:
    """Return what becomes of one constituent with the rafts where they are."""
    treatment = benefit.settings.treatment
    is_chosen = name == treatment.constituent
    loads = chosen if is_chosen else benefit.loads(placement.poses, name)
    rate, *ends = treatment.rates_m_yr(name)
    return ConstituentLoads(
        constituent=name,
        is_chosen=is_chosen,
        is_relative=benefit.hydraulics.load_of_g_s(name)[1],
        rate_m_yr=rate,
        settling_m_yr=treatment.open_water_m_yr(name),
        rate_range_m_yr=(ends[0], ends[1]),
        load_in_g_d=loads.in_g_d,
        load_out_g_d=loads.out_g_d,
        load_out_without_rafts_g_d=loads.out_without_rafts_g_d,
        removed_g_d=loads.removed_g_d,
        removed_range_g_d=loads.removed_range_g_d,
    )


def _bound(benefit: LoadBenefit, room: BoundedRoom, held: Sequence[Poses]) -> float:
    """Return what no plan in a room with the held rafts can exceed [g/d]."""
    tangent = benefit.tangent(held)
    surfaces = tangent.surfaces
    more = room.bound(room.corrected(surfaces), surfaces[0].cell_size_m).value
    return tangent.value + more


def _sensitivity(
    around: Surroundings, benefit: LoadBenefit, placement: Placement
) -> tuple[SensitivityCase, ...]:
    """Return the plan judged under other flows, dispersions and rates."""
    room = placement.room
    if room is None:
        return ()
    cases: list[tuple[str, LoadBenefit]] = []
    for name, factor in _DISPERSIONS:
        cases.append((name, _with(benefit, benefit.hydraulics.dispersed(factor))))
    for name, exponent in _EXPONENTS:
        other, _ = hydraulics(around.body, around.settings, around.fields, exponent)
        if other is not None:
            cases.append((name, _with(benefit, other)))
    _, low, high = around.settings.treatment.rates_m_yr()
    for name, rate in (("lowest rate", low), ("highest rate", high)):
        if rate != benefit.rate_m_yr:
            cases.append((name, replace(benefit, rate_m_yr=rate, known=None)))
    first = SensitivityCase("as assumed", placement.report.value, placement.report.bound)
    return (
        first,
        *(
            SensitivityCase(
                name, case.kept_g_d(placement.poses), _bound(case, room, placement.held)
            )
            for name, case in cases
        ),
    )


def _with(benefit: LoadBenefit, other: Hydraulics) -> LoadBenefit:
    """Return the benefit with another flow."""
    return replace(benefit, hydraulics=other, known=None)


def _curve(
    around: Surroundings, benefit: LoadBenefit, placement: Placement, room: BoundedRoom
) -> tuple[CurvePoint, ...]:
    """Return the load kept by more and more rafts of one plan that fills the cover allowed."""
    types = around.settings.raft
    held = placement.held
    tangent = benefit.tangent(held)
    surfaces = tangent.surfaces
    cover = tuple(limit for limit in room.limits if limit.name == "cover")
    gap_m, seed = room.gap_m + ROUNDING_ROOM_M, placement.report.seed
    full, _ = best_plan(surfaces, room.regions, cover, gap_m, seed, BRIEF_EFFORT)
    ranked = _ranked(full)
    corrected = room.corrected(surfaces)
    pool_m2 = around.edges[1].area_m2
    there_m2 = sum(float(raft.outline.area) for raft in around.body.rafts)
    areas = (there_m2, pool_m2)
    made = placement.report
    points = [_point(placement.poses, areas, made.value, made.bound, is_chosen=True)]
    for count in sorted({round(k) for k in np.linspace(0, len(ranked), _CURVE_POINTS)} - {0}):
        poses = [*held, *_first(full, ranked[:count])]
        limits = (*cover, Limit("count", "rafts", (1.0,) * len(types), float(count)))
        few = replace(room, limits=limits)
        bound = tangent.value + few.bound(corrected, surfaces[0].cell_size_m).value
        points.append(_point(poses, areas, benefit.kept_g_d(poses), bound, is_chosen=False))
    return tuple(sorted(points, key=lambda point: (point.raft_count, point.is_chosen)))


def _ranked(poses: Sequence[Poses]) -> list[tuple[int, int]]:
    """Return rafts as part and index, the most worth for its area first."""
    rows = [
        (-float(part.value[k]) / part.raft_type.area_m2, p, k)
        for p, part in enumerate(poses)
        for k in range(len(part))
    ]
    return [(p, k) for _, p, k in sorted(rows)]


def _first(poses: Sequence[Poses], chosen: Sequence[tuple[int, int]]) -> list[Poses]:
    """Return the chosen rafts only."""
    out = []
    for p, part in enumerate(poses):
        keep = np.array([k for q, k in chosen if q == p], int)
        out.append(
            Poses(
                part.raft_type,
                part.easting_m[keep],
                part.northing_m[keep],
                part.heading_deg[keep],
                part.value[keep],
            )
        )
    return out


def _point(
    poses: Sequence[Poses],
    area_m2: tuple[float, float],
    kept_g_d: float,
    bound_g_d: float,
    *,
    is_chosen: bool,
) -> CurvePoint:
    """Return a point of the curve."""
    there_m2, pool_m2 = area_m2
    area = there_m2 + sum(len(part) * part.raft_type.area_m2 for part in poses)
    return CurvePoint(
        raft_count=sum(len(part) for part in poses),
        cover_pct=100.0 * area / pool_m2,
        cost=sum(len(part) * part.raft_type.cost for part in poses),
        kept_g_d=kept_g_d,
        bound_g_d=max(bound_g_d, kept_g_d),
        is_chosen=is_chosen,
    )


def worth_map(around: Surroundings, benefit: LoadBenefit) -> WorthMap:
    """
    Return the worth of raft area in classes, and the ways of the water.

    Parameters
    ----------
    around : Surroundings
        The water body.
    benefit : LoadBenefit
        The load that rafts keep back.

    Returns
    -------
    WorthMap
        Worth of the first raft type before any planned raft lies there; classes of equal area.
    """
    grid = around.fields.grid
    worth = benefit.tangent(()).surfaces[0].nodes
    inside = np.where(grid.water, worth, np.nan)
    steps = np.unique(np.nanquantile(inside, np.linspace(0.0, 1.0, _CLASSES + 1)))
    if len(steps) == 1:  # one worth everywhere, such as none where what flows in is clean
        steps = np.repeat(steps, 2)
    below = [_below(around, worth, step) for step in steps[1:-1]]
    whole = shapely.multipolygons([around.body.outline])
    edges = [shapely.MultiPolygon(), *below, whole]
    areas = tuple(_polygons(shapely.difference(high, low)) for low, high in pairwise(edges))
    unit = "g/(m² d)" + (" (relative)" if benefit.hydraulics.is_relative else "")
    return WorthMap(unit, tuple(float(step) for step in steps), areas, _ways(around, benefit))


def _below(around: Surroundings, worth: FloatArray, step: float) -> shapely.Geometry:
    """Return the water whose worth is less than a step."""
    grid = around.fields.grid
    rings = level_rings(worth, grid.easting_m, grid.northing_m, step)
    parts = [shapely.make_valid(shapely.Polygon(part[0], part[1:])) for part in rings]
    return shapely.intersection(shapely.union_all(parts), around.body.outline)


def _polygons(geometry: shapely.Geometry) -> shapely.MultiPolygon:
    """Return the areas of a geometry."""
    parts = shapely.get_parts(shapely.get_parts(geometry))
    return shapely.MultiPolygon([p for p in parts if p.geom_type == "Polygon" and p.area > 0.05])


def _ways(around: Surroundings, benefit: LoadBenefit) -> tuple[shapely.LineString, ...]:
    """Return streamlines, shared over the inflows by their flow."""
    grid, flow = around.fields.grid, benefit.hydraulics.basin.flow
    net = flow.net_outflow_m3_s()
    flows_in = net > 1e-12
    total = net[flows_in].sum()
    if total <= 0.0:
        return ()  # all that flows in leaves by the same cell
    rows, cols = [], []
    for row, col in np.argwhere(flows_in):
        count = max(2, round(_STREAMLINES * net[row, col] / total))
        angle = (np.arange(count) + 0.5) * 2 * np.pi / count
        rows += (row + 0.5 + 0.45 * np.sin(angle)).tolist()
        cols += (col + 0.5 + 0.45 * np.cos(angle)).tolist()
    lines = streamlines(flow, benefit.hydraulics.basin.depth_m, np.array(rows), np.array(cols))
    h = grid.cell_size_m
    out = []
    for line in lines:
        if len(line) > 4:
            points = np.column_stack([grid.west_m + line[:, 0] * h, grid.south_m + line[:, 1] * h])
            out.append(shapely.simplify(shapely.linestrings(points), 0.1))
    return tuple(out)
