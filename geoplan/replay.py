"""
A plan at levels other than its three: area and volume by level, and the levels of a record.

The record is replayed on the plan as it stands: what each raft would have met, and how much of
the water's surface all of them would have covered.
"""

from collections.abc import Sequence

import numpy as np

from geoplan.cover import stage_curve
from geoplan.errors import Fault
from geoplan.grid import SiteFields
from geoplan.plan import Mooring, PlacedRaft, RaftReplay, RecordReplay, StageCurve, WaterEdge
from geoplan.settings import Settings
from geoplan.site import FloatArray, LevelRecord, Levels, WaterBody
from geoplan.water.record import known_time_s, share_below

#: Steps of the table of levels; the first that gives no more than ``_MOST_ROWS`` rows [m].
_STEPS_M = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0)
_MOST_ROWS = 150
_MOST_NAMED = 20


def at_other_levels(
    body: WaterBody,
    fields: SiteFields,
    edges: Sequence[WaterEdge],
    rafts: Sequence[PlacedRaft],
    moorings: Sequence[Mooring],
    raft_area_m2: float,
    settings: Settings,
) -> tuple[StageCurve | None, RecordReplay | None, tuple[Fault, ...]]:
    """
    Return area and volume by level, the plan at the levels of the record, and what to know of it.

    Parameters
    ----------
    body : WaterBody
        The water body, its levels and its record.
    fields : SiteFields
        The bed on its grid.
    edges : sequence of WaterEdge
        Water's edge at low, normal and high level.
    rafts : sequence of PlacedRaft
        Planned and existing rafts.
    moorings : sequence of Mooring
        Posts of the planned ones.
    raft_area_m2 : float
        Water that all rafts cover [m²].
    settings : Settings
        Clearance of roots, and margin of posts.

    Returns
    -------
    StageCurve or None
        From ``stage_table``.
    RecordReplay or None
        From ``replayed``.
    tuple of Fault
        From ``record_notes``.
    """
    stage = stage_table(body, fields, edges)
    record = replayed(body, rafts, moorings, edges, raft_area_m2, stage, settings)
    return stage, record, record_notes(body, record)


def stage_table(
    body: WaterBody, fields: SiteFields, edges: Sequence[WaterEdge]
) -> StageCurve | None:
    r"""
    Return area and volume by level, from the lowest bed to the high level.

    Parameters
    ----------
    body : WaterBody
        The water body: its levels, and the level of its outline.
    fields : SiteFields
        The bed on its grid.
    edges : sequence of WaterEdge
        Water's edge at low, normal and high level.

    Returns
    -------
    StageCurve or None
        At even steps, and at the outline's and the three named levels; ``None`` where nothing is
        known of the bed.

    Notes
    -----
    Up to the outline's level the cells of the mean bed are counted (``cover.stage_curve``). Above
    it the area goes in a straight line to that of the high level's edge,

    .. math:: A = A_0 + (A_1 - A_0) h / H, \qquad V = V_0 + A_0 h + (A_1 - A_0) h^2 / 2H

    which for plane banks is too large by less than a quarter of the square of the run H·slope
    times π: 1 m² where the level rises by 0.4 m on banks of one in three.
    """
    wet = fields.grid.water
    if not np.isfinite(fields.sigma_m[wet]).any():
        return None
    drawn_m, high_m = body.outline_level_m, body.levels.high_m
    lowest_m = float(np.nanmin(fields.bed_m))
    named = [level for _, level in body.levels.named()]
    level_m = _even_levels(lowest_m, max(high_m, drawn_m), [*named, drawn_m])
    area_m2, volume_m3 = stage_curve(body, fields, np.minimum(level_m, drawn_m))
    if high_m > drawn_m:
        rise_m = np.clip(level_m - drawn_m, 0.0, None)
        full_m2 = float(area_m2[-1])
        growth_m = (edges[-1].area_m2 - full_m2) / (high_m - drawn_m)
        area_m2 = area_m2 + growth_m * rise_m
        volume_m3 = volume_m3 + full_m2 * rise_m + growth_m * rise_m**2 / 2.0
    return StageCurve(level_m, area_m2, volume_m3)


def _even_levels(lowest_m: float, highest_m: float, named_m: Sequence[float]) -> FloatArray:
    """Return round levels between two, both and the named ones among them."""
    span_m = highest_m - lowest_m
    step_m = next((step for step in _STEPS_M if span_m / step <= _MOST_ROWS), _STEPS_M[-1])
    first, last = np.ceil(lowest_m / step_m), np.floor(highest_m / step_m)
    even = np.arange(first, last + 1) * step_m
    every = np.concatenate([[lowest_m], even, [at for at in named_m if at > lowest_m]])
    return np.unique(np.round(every, 6))


def replayed(
    body: WaterBody,
    rafts: Sequence[PlacedRaft],
    moorings: Sequence[Mooring],
    edges: Sequence[WaterEdge],
    raft_area_m2: float,
    stage: StageCurve | None,
    settings: Settings,
) -> RecordReplay | None:
    """
    Return what a plan would have met at the levels of the record.

    Parameters
    ----------
    body : WaterBody
        The water body and its record.
    rafts : sequence of PlacedRaft
        Planned and existing rafts.
    moorings : sequence of Mooring
        Posts of the planned ones.
    edges : sequence of WaterEdge
        Water's edge at low, normal and high level.
    raft_area_m2 : float
        Water that all rafts cover [m²].
    stage : StageCurve or None
        Area by level; ``None``: only the three edges are known.
    settings : Settings
        Clearance of roots, and margin of posts.

    Returns
    -------
    RecordReplay or None
        ``None`` without a record.

    Notes
    -----
    The bed under a raft is the one relied on, so times on the bed are longer rather than shorter
    than they will be; sediment is allowed for. Above the table of levels the area stays that of
    its last row, which makes the cover larger; where rafts cover more than there is water, it is
    100 %.
    """
    record = body.record
    if record is None:
        return None
    low_share, high_share = share_below(
        record.time_s,
        record.level_m,
        np.array([body.levels.low_m, np.nextafter(body.levels.high_m, np.inf)]),
    )
    area_m2 = _area_at(record.level_m, stage, edges)
    covered = np.minimum(raft_area_m2, area_m2) if raft_area_m2 > 0 else np.zeros(len(record))
    dry = 100.0 if raft_area_m2 > 0 else 0.0
    cover_pct = np.full(len(record), dry)
    np.divide(100.0 * covered, area_m2, out=cover_pct, where=area_m2 > 0)
    planned = [raft for raft in rafts if raft.status == "planned"]
    return RecordReplay(
        time_s=record.time_s,
        level_m=record.level_m,
        water_area_m2=area_m2,
        cover_pct=cover_pct,
        known_d=known_time_s(record.time_s) / 86400.0,
        below_low_pct=100.0 * float(low_share),
        above_high_pct=100.0 * (1.0 - float(high_share)),
        rafts=_raft_replays(record, body.levels, planned, moorings, settings),
    )


def record_notes(body: WaterBody, record: RecordReplay | None) -> tuple[Fault, ...]:
    """
    Return warnings of what planned rafts would have met at the levels of the record.

    Parameters
    ----------
    body : WaterBody
        The water body.
    record : RecordReplay or None
        The replay; ``None`` without a record.

    Returns
    -------
    tuple of Fault
        One that names rafts whose roots would have reached the bed, and one that names those
        that would have run off their posts.
    """
    if record is None:
        return ()
    cases = (
        (
            {raft.raft_id: raft.on_bed_pct for raft in record.rafts},
            "roots on the bed",
            "roots that hang free at every level of the record",
            "Lower low_m in [levels], or cut the roots before the dry season.",
        ),
        (
            {raft.raft_id: raft.beyond_posts_pct or 0.0 for raft in record.rafts},
            "levels beyond the travel of the posts",
            "posts that let the raft follow every level of the record",
            "Widen low_m and high_m in [levels], or travel_margin_m in [mooring].",
        ),
    )
    notes = []
    for shares, found, expected, remedy in cases:
        named = [raft_id for raft_id, share in shares.items() if share > 0]
        if named:
            some = ", ".join(f"'{raft_id}'" for raft_id in named[:_MOST_NAMED])
            more = f" and {len(named) - _MOST_NAMED} more" if len(named) > _MOST_NAMED else ""
            words = f"{found} for up to {max(shares.values()):.2g} % of the record: rafts {some}"
            feature = f"water '{body.water_id}'"
            notes.append(Fault("warning", "plan", words + more, expected, remedy, feature=feature))
    return tuple(notes)


def _area_at(
    level_m: FloatArray, stage: StageCurve | None, edges: Sequence[WaterEdge]
) -> FloatArray:
    """Return the open water at levels; nothing below the lowest bed [m²]."""
    if stage is not None:
        area: FloatArray = np.interp(level_m, stage.level_m, stage.area_m2, left=0.0)
        return area
    by_edge: FloatArray = np.interp(
        level_m, [edge.level_m for edge in edges], [edge.area_m2 for edge in edges]
    )
    return by_edge


def _raft_replays(
    record: LevelRecord,
    levels: Levels,
    rafts: Sequence[PlacedRaft],
    moorings: Sequence[Mooring],
    settings: Settings,
) -> tuple[RaftReplay, ...]:
    """Return the shares of time of each raft."""
    keep_m, margin_m = settings.clearances.root_m, settings.mooring.travel_margin_m
    tops = _post_tops_m(levels, moorings)
    out = []
    for raft in rafts:
        on_bed_m = levels.low_m - raft.root_clearance_m
        top_m = tops.get(raft.raft_id)
        highest_m = levels.high_m + margin_m if top_m is None else top_m
        within, on_bed, below_posts, within_posts = share_below(
            record.time_s,
            record.level_m,
            np.array(
                [
                    # A clearance met to the last digit is met.
                    on_bed_m + keep_m - 1e-9,
                    np.nextafter(on_bed_m, np.inf),
                    levels.low_m - margin_m,
                    np.nextafter(highest_m, np.inf),
                ]
            ),
        )
        beyond = None if top_m is None else 100.0 * float(below_posts + 1.0 - within_posts)
        out.append(RaftReplay(raft.raft_id, 100.0 * float(within), 100.0 * float(on_bed), beyond))
    return tuple(out)


def _post_tops_m(levels: Levels, moorings: Sequence[Mooring]) -> dict[str, float]:
    """Return the lowest top of the posts of each raft that has posts [m]."""
    tops: dict[str, float] = {}
    for post in moorings:
        if post.kind == "post":
            top_m = levels.high_m - post.depth_high_m + post.length_m - post.embedment_m
            tops[post.raft_id] = min(top_m, tops.get(post.raft_id, top_m))
    return tops
