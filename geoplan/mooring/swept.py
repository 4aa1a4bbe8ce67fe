"""The water that each raft on lines may sweep at low, normal and high level."""

from collections.abc import Sequence

import numpy as np
import shapely

from geoplan.grid import SiteFields
from geoplan.mooring.envelope import swept_envelope
from geoplan.mooring.holding import least_depths_m, stretched_m
from geoplan.mooring.lines import line_places, placed, watch_radius_m
from geoplan.plan import Mooring, PlacedRaft, SweptArea
from geoplan.settings import Settings
from geoplan.site import FloatArray, WaterBody


def swept_areas(
    body: WaterBody,
    fields: SiteFields,
    rafts: Sequence[PlacedRaft],
    moorings: Sequence[Mooring],
    settings: Settings,
) -> tuple[SweptArea, ...]:
    """
    Return what rafts on lines may sweep, at each level.

    Parameters
    ----------
    body : WaterBody
        The water body and its levels.
    fields : SiteFields
        Its bed.
    rafts : sequence of PlacedRaft
        Rafts of the plan.
    moorings : sequence of Mooring
        Their moorings; posts sweep nothing.
    settings : Settings
        Stretch and splay of lines.

    Returns
    -------
    tuple of SweptArea
        Low, normal and high for each raft, in the order of the rafts; the bed as shallow as it may
        be, which gives the widest sweep.
    """
    anchors: dict[str, list[Mooring]] = {}
    for part in moorings:
        if part.kind == "anchor":
            anchors.setdefault(part.raft_id, []).append(part)
    if not anchors:
        return ()
    shallow = [
        (name, level, least_depths_m(body, fields, level)) for name, level in body.levels.named()
    ]
    out = []
    for raft in rafts:
        own = anchors.get(raft.raft_id)
        if not own or raft.status != "planned":
            continue
        cells = fields.grid.cells_of(
            np.array([part.easting_m for part in own]), np.array([part.northing_m for part in own])
        )
        for name, level, depth in shallow:
            area = _swept(raft, own, depth[cells], settings)
            out.append(SweptArea(raft.raft_id, name, level, area))
    return tuple(out)


def _swept(
    raft: PlacedRaft, anchors: Sequence[Mooring], depth_m: FloatArray, settings: Settings
) -> shapely.MultiPolygon:
    """Return the envelope of one raft at one level, on the plan."""
    length = stretched_m(np.array([part.length_m for part in anchors]), settings)
    first = anchors[0]
    reach = float(
        np.hypot(
            first.easting_m - (first.fairlead_easting_m or 0.0),
            first.northing_m - (first.fairlead_northing_m or 0.0),
        )
    )
    fairleads, places = line_places(
        raft.length_m, raft.width_m, reach, settings.mooring.line_splay_deg
    )
    envelope = swept_envelope(
        raft.length_m, raft.width_m, fairleads, places, watch_radius_m(length, depth_m)
    )
    on_plan = shapely.transform(
        envelope, lambda at: placed(at, raft.easting_m, raft.northing_m, raft.heading_deg)
    )
    return shapely.multipolygons(shapely.get_parts(shapely.normalize(on_plan)))
