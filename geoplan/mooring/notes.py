"""What a reader must know of the moorings of a plan, in words."""

from collections.abc import Sequence

import shapely

from geoplan.errors import Fault
from geoplan.grid import SiteFields
from geoplan.mooring.design import design_moorings
from geoplan.plan import Mooring, PlacedRaft
from geoplan.raft import footprints
from geoplan.settings import Settings
from geoplan.site import WaterBody

#: Shear strength below which Broms' tests say nothing: organic mud; recalled [Pa].
SOFT_MUD_PA = 5_000.0
#: Block that people can no longer handle from a boat; judgement [kg].
HEAVY_BLOCK_KG = 50.0
_MOST_NAMED = 20
_SIGN = "An engineer must settle and sign it; local codes prevail."


def mooring_notes(
    body: WaterBody,
    fields: SiteFields,
    rafts: Sequence[PlacedRaft],
    settings: Settings,
    moorings: Sequence[Mooring] | None = None,
) -> tuple[Fault, ...]:
    """
    Return warnings about the moorings of planned rafts.

    Parameters
    ----------
    body : WaterBody
        The water body and its levels.
    fields : SiteFields
        Bed and its uncertainty.
    rafts : sequence of PlacedRaft
        Rafts of the plan.
    settings : Settings
        Raft types, posts, lines and bed.
    moorings : sequence of Mooring or None
        As designed; ``None``: designed here, without loads.

    Returns
    -------
    tuple of Fault
        Each names rafts: with posts longer than stock, a post inside another raft, moorings that
        bear less than their load, anchors that no test has proven, blocks that need a crane; and
        one where the bed is too soft to judge.

    Raises
    ------
    ValueError
        If a post stands off the grid.
    """
    if moorings is None:
        moorings = design_moorings(body, fields, rafts, settings)
    return tuple(
        _warning(body, found, raft_ids, expected, remedy)
        for raft_ids, found, expected, remedy in _cases(body, rafts, settings, moorings)
        if raft_ids
    )


_Case = tuple[list[str], str, str, str]


def _cases(
    body: WaterBody, rafts: Sequence[PlacedRaft], settings: Settings, moorings: Sequence[Mooring]
) -> list[_Case]:
    """Return rafts, what is found, what is expected, and what to do."""
    posts = [part for part in moorings if part.kind == "post"]
    anchors = [part for part in moorings if part.kind == "anchor"]
    inside = _posts_in_rafts(body, rafts, posts)
    return [
        _long_posts(posts, settings),
        (
            inside,
            "a post inside another raft",
            "room for posts between rafts",
            "Raise clearances.gap_m, or leave out or move that post on the day.",
        ),
        _weak(moorings),
        _soft_bed(posts, settings),
        _unproven(anchors, settings),
        _heavy(anchors),
    ]


def _long_posts(posts: Sequence[Mooring], settings: Settings) -> _Case:
    """Name rafts with posts that cannot be had so long."""
    most_m = settings.mooring.longest_post_m
    longest_m = max((part.length_m for part in posts), default=0.0)
    return (
        [part.raft_id for part in posts if part.length_m > most_m],
        f"posts up to {longest_m:.2f} m long",
        f"posts of at most {most_m:g} m, a stock length (judgement)",
        'Set mooring = "lines" for that raft type, or sound and probe the bed again.',
    )


def _weak(moorings: Sequence[Mooring]) -> _Case:
    """Name rafts whose moorings bear less than their load."""
    pairs = [
        (part.raft_id, part.load_n, part.capacity_n)
        for part in moorings
        if part.load_n is not None and part.capacity_n is not None
    ]
    weak = [pair for pair in pairs if pair[1] > pair[2]]
    least = min((capacity for _, _, capacity in weak), default=0.0)
    most = max((load for _, load, _ in weak), default=0.0)
    return (
        [raft_id for raft_id, _, _ in weak],
        f"moorings that bear less than their load, down to {least:.0f} N against {most:.0f} N",
        "a capacity of at least the load (screening)",
        f"Measure the bed, or use stronger or more posts, or lines. {_SIGN}",
    )


def _soft_bed(posts: Sequence[Mooring], settings: Settings) -> _Case:
    """Name rafts with posts in a bed too soft to judge."""
    bed = settings.bed
    is_soft = bed.soil == "cohesive" and bed.shear_strength_pa < SOFT_MUD_PA
    return (
        [part.raft_id for part in posts] if is_soft else [],
        f"a bed of {bed.shear_strength_pa:g} Pa under posts",
        f"at least {SOFT_MUD_PA:g} Pa: softer mud lies outside what the method was made for",
        f"Do not rely on the capacities. {_SIGN}",
    )


def _unproven(anchors: Sequence[Mooring], settings: Settings) -> _Case:
    """Name rafts whose anchors no test has proven."""
    return (
        [part.raft_id for part in anchors if part.capacity_n is None],
        f"lines to {settings.mooring.anchor} anchors that no test has proven",
        "mooring.anchor_proof_n, from pulling an anchor on this bed",
        f"Pull one of them and state what it bore. {_SIGN}",
    )


def _heavy(anchors: Sequence[Mooring]) -> _Case:
    """Name rafts with blocks that nobody can handle by hand."""
    masses = {part.raft_id: part.block_kg for part in anchors if part.block_kg is not None}
    heavy = {raft_id: mass for raft_id, mass in masses.items() if mass > HEAVY_BLOCK_KG}
    return (
        list(heavy),
        f"blocks up to {max(heavy.values(), default=0.0):.0f} kg",
        f"at most {HEAVY_BLOCK_KG:g} kg by hand",
        f"They need a crane and a barge, or another kind of anchor. {_SIGN}",
    )


def _posts_in_rafts(
    body: WaterBody, rafts: Sequence[PlacedRaft], posts: Sequence[Mooring]
) -> list[str]:
    """Return the rafts that have a post within the water another raft covers."""
    others = [raft for raft in rafts if raft.status != "existing"]
    outlines = [
        *footprints(
            [raft.easting_m for raft in others],
            [raft.northing_m for raft in others],
            [raft.heading_deg for raft in others],
            [raft.length_m for raft in others],
            [raft.width_m for raft in others],
        ),
        *(raft.outline for raft in body.rafts),
    ]
    if not posts:
        return []
    places = shapely.points([(post.easting_m, post.northing_m) for post in posts])
    found, _ = shapely.STRtree(outlines).query(places, predicate="within")
    return [posts[index].raft_id for index in found.tolist()]


def _warning(
    body: WaterBody, found: str, raft_ids: Sequence[str], expected: str, remedy: str
) -> Fault:
    """Return a warning that names rafts, each but once, and cut where there are many."""
    names = list(dict.fromkeys(raft_ids))
    named = ", ".join(f"'{name}'" for name in names[:_MOST_NAMED])
    if len(names) > _MOST_NAMED:
        named += f" and {len(names) - _MOST_NAMED} more"
    return Fault(
        "warning",
        "plan",
        f"{found}: rafts {named}",
        expected,
        remedy,
        feature=f"water '{body.water_id}'",
    )
