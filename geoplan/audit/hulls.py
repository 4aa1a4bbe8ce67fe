"""
Checks of how deep each raft floats, from what the site says it is built of.

The audit weighs each raft part by part, and finds its draft by cutting it into thin level slices,
whose chords it measures, until the slices hold the water that it displaces.
"""

import math
from collections.abc import Iterator

import numpy as np

from geoplan.audit.evidence import Case, JudgedRaft, number
from geoplan.audit.frame import FloatArray
from geoplan.plan import Finding
from geoplan.raft import RaftType
from geoplan.raft_build import PoleGroup, RaftBuild

#: Thickness of a slice [m].
SLICE_M = 2e-5
#: What rounding and slicing may take [m].
TOLERANCE_M = 1e-3
#: Fresh water in summer [kg/m³].
WATER_KG_M3 = 997.0
_SEASONS = 2


def check_draft(case: Case) -> Iterator[Finding]:
    """
    Hold the draft that the plan states against the raft's own weight, or the draft the site gives.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Draft after two seasons, limit the stated one [m], for each raft of a known type.
    """
    known: dict[str, tuple[float, float]] = {}
    for raft, kind in _typed(case):
        if kind.name not in known:
            known[kind.name] = sliced_draft(kind)
        need = known[kind.name][0]
        stated = number(raft.row.draft_m)
        good = bool(stated >= need - TOLERANCE_M)
        words = "floats no deeper" if good else "it floats deeper than stated; correct draft_m"
        yield _finding("draft", raft, need, stated, good, words)


def check_freeboard(case: Case) -> Iterator[Finding]:
    """
    Hold the freeboard that the plan states against what is built, and that it is above the water.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Planting surface above the water after two seasons, limit the stated one [m], for each
        raft of a type that the site says the build of.
    """
    known: dict[str, tuple[float, float]] = {}
    for raft, kind in _typed(case):
        if kind.build is None:
            continue
        if kind.name not in known:
            known[kind.name] = sliced_draft(kind)
        there = known[kind.name][1]
        stated = number(raft.row.freeboard_m)
        good = bool(stated <= there + TOLERANCE_M and there > 0)
        words = "stands no lower" if good else "it stands lower than stated; correct freeboard_m"
        yield _finding("freeboard", raft, there, stated, good, words)


def sliced_draft(kind: RaftType) -> tuple[float, float]:
    """
    Return draft and freeboard of a raft after two seasons, by level slices.

    Parameters
    ----------
    kind : RaftType
        The type; without a build its own draft counts.

    Returns
    -------
    tuple of float
        Draft, and planting surface above the water; the draft is infinite for a raft that
        sinks [m].
    """
    build = kind.build
    if build is None:
        return kind.draft_m, math.nan
    area = kind.length_m * kind.width_m
    deck = _layer_bottoms(build)[-1]
    slat_m2 = build.slat_count * build.slat_width_m * (build.slat_length_m or kind.width_m)
    slat_m = build.slat_thickness_m if build.slat_count else 0.0
    surface = deck + slat_m + build.medium_depth_m
    heights = np.arange(SLICE_M / 2, surface, SLICE_M)
    plane = np.zeros(len(heights))
    order = sorted({group.layer for group in build.poles})
    for group in build.poles:
        bottom = _layer_bottoms(build)[order.index(group.layer)]
        plane += _chords(group, heights - bottom, _kept(build, group))
    plane[(heights >= deck) & (heights < deck + slat_m)] += slat_m2
    plane[heights >= deck + slat_m] += area
    filled = np.cumsum(plane) * SLICE_M
    mass = _mass_kg(build, kind.length_m, kind.width_m, slat_m2 * slat_m)
    above = int(np.searchsorted(filled, mass / WATER_KG_M3))
    if above >= len(heights):
        return math.inf, -math.inf
    draft = float(heights[above]) + SLICE_M / 2
    return draft, surface - draft


def _chords(group: PoleGroup, above_m: FloatArray, kept: float) -> FloatArray:
    """Return the dry plane of poles at heights above their undersides [m²]."""
    radius = group.diameter_m / 2
    outer = np.sqrt(np.maximum(radius**2 - (above_m - radius) ** 2, 0.0))
    inner = np.sqrt(np.maximum((radius - group.wall_m) ** 2 - (above_m - radius) ** 2, 0.0))
    planes: FloatArray = 2 * group.count * group.length_m * (outer - (1 - kept) * inner)
    return planes


def _kept(build: RaftBuild, group: PoleGroup) -> float:
    """Return the share of the hollow that is still dry."""
    left = group.sealed_share * (1 - build.season_loss_share) ** _SEASONS
    return max(0.0, left - group.drilled_count * group.chamber_m / group.count / group.length_m)


def _layer_bottoms(build: RaftBuild) -> list[float]:
    """Return the underside of each layer, and last the top of the highest [m]."""
    bottoms = [0.0]
    for layer in sorted({group.layer for group in build.poles}):
        bottoms.append(bottoms[-1] + max(g.diameter_m for g in build.poles if g.layer == layer))
    return bottoms


def _mass_kg(build: RaftBuild, length_m: float, width_m: float, slats_m3: float) -> float:
    """Return everything that a raft carries after two seasons, itself included [kg]."""
    area = length_m * width_m
    walls = 0.0
    for group in build.poles:
        inside = group.diameter_m - 2 * group.wall_m
        tube = math.pi / 4 * (group.diameter_m**2 - inside**2) * group.length_m
        walls += group.count * tube * group.saturated_kg_m3
    edge_m3 = (2 * length_m + 2 * width_m) * build.edge_height_m * build.edge_thickness_m
    on_deck = build.liner_kg_m2 + build.grown_kg_m2
    on_deck += build.medium_depth_m * build.medium_saturated_kg_m3
    return walls + (slats_m3 + edge_m3) * build.wood_kg_m3 + build.fittings_kg + area * on_deck


def _typed(case: Case) -> Iterator[tuple[JudgedRaft, RaftType]]:
    """Yield the rafts whose type the site knows, with it."""
    for evidence in case.waters:
        for raft in evidence.rafts:
            if raft.raft_type is not None:
                yield raft, raft.raft_type


def _finding(
    check: str, raft: JudgedRaft, measured: float, limit: float, good: bool, words: str
) -> Finding:
    """Return one finding on a raft."""
    row = raft.row
    return Finding(check, row.water_id, row.raft_id, measured, limit, "m", good, words)
