"""Which way rafts may lie in a water body, by its settings: free, or along flow, wind or bank."""

import math
from dataclasses import replace

import numpy as np

from geoplan.errors import Fault
from geoplan.grid import SiteFields
from geoplan.hydraulics import Hydraulics, hydraulics
from geoplan.placement.allowed import Surroundings
from geoplan.placement.headings import Headings, along_bank, along_flow, along_wind
from geoplan.settings import Settings
from geoplan.site import FloatArray, WaterBody

#: Rafts are held to the flow where a unit width carries at least this share of what it would if
#: the flow were spread over the root of the area. *Judgement*: elsewhere the water stands [1].
FLOWING_SHARE = 0.1
#: Two honest models of a flow see its strength apart: near that edge one had 0.41 of the other's in
#: 117 places of random ponds. Rafts are held from this share of it on [1].
_ROOM_SHARE = 0.4


def headings_of(
    body: WaterBody, settings: Settings, fields: SiteFields
) -> tuple[Headings | None, tuple[Fault, ...]]:
    """
    Return the headings that are allowed in each cell of a water body.

    Parameters
    ----------
    body : WaterBody
        The water body.
    settings : Settings
        What rafts lie along, and how closely.
    fields : SiteFields
        Its cells and bed.

    Returns
    -------
    Headings or None
        ``None`` where rafts may lie any way.
    tuple of Fault
        What a reader must know: that nothing flows which they could lie along.
    """
    held = settings.heading
    if held.along == "wind":
        return along_wind(fields.grid, settings.wind.from_deg or 0.0, held.tolerance_deg), ()
    if held.along == "bank":
        return along_bank(fields.grid, body.outline, held.tolerance_deg), ()
    if held.along == "free":
        return None, ()
    flow, _ = hydraulics(body, settings, fields)
    if flow is None:
        return None, (_no_flow(body),)
    flows = [flow]
    if fields.edge_bed_m is not None:
        # Between few soundings a fitted bed and straight lines lead the flow different ways.
        linear_m = np.where(np.isnan(fields.bed_m), np.nan, fields.edge_bed_m)
        other, _ = hydraulics(body, settings, replace(fields, bed_m=linear_m))
        flows += [other] if other else []
    through = [_through_m2_s(one, fields.grid.cell_size_m) for one in flows]
    total = sum(one.flow_m3_s for one in flow.flows)
    least = _ROOM_SHARE * FLOWING_SHARE * total / math.sqrt(body.outline.area)
    longest = max(kind.length_m for kind in settings.raft)
    return along_flow(fields.grid, through, least, held.tolerance_deg, longest), ()


def with_headings(around: Surroundings) -> tuple[Surroundings, tuple[Fault, ...]]:
    """
    Return a water body's surroundings with the headings that its settings allow.

    Parameters
    ----------
    around : Surroundings
        The water body.

    Returns
    -------
    Surroundings
        The same with headings.
    tuple of Fault
        What a reader must know.
    """
    headings, notes = headings_of(around.body, around.settings, around.fields)
    return replace(around, headings=headings), notes


def _through_m2_s(flow: Hydraulics, cell_m: float) -> tuple[FloatArray, FloatArray]:
    """Return the flow over a unit width of each cell, the mean of its opposite faces."""
    field = flow.basin.flow
    east = np.zeros(field.potential.shape)
    north = np.zeros(field.potential.shape)
    east[:, :-1] += field.east_m3_s
    east[:, 1:] += field.east_m3_s
    north[:-1] += field.north_m3_s
    north[1:] += field.north_m3_s
    return east / (2.0 * cell_m), north / (2.0 * cell_m)


def _no_flow(body: WaterBody) -> Fault:
    """Return the note that rafts cannot be held to a flow that is not known."""
    return Fault(
        "warning",
        "plan",
        'heading.along = "flow" in water that is not known to flow',
        "an inflow and an outlet that it reaches",
        'Rafts lie any way there; add the layers, or set along = "bank".',
        feature=f"water '{body.water_id}'",
    )
