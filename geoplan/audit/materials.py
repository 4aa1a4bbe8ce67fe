"""
Check of the bill of materials: the audit counts rafts and moorings of the file, and adds up.

Only the whole plan is judged; it is what is bought.
"""

import math
from collections.abc import Iterator

from geoplan.audit.evidence import Case, number
from geoplan.plan import Finding
from geoplan.raft import RaftType

#: What rounding of a line may take, over its quantity [1].
_AGREE = 1e-6
#: What is ordered at most, over what is needed with waste; judgement [1].
_TOO_MUCH = 1.25


def check_materials(case: Case) -> Iterator[Finding]:
    """
    Hold the bill of the whole plan against the rafts and moorings that the file holds.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        For each item, what is needed, limit what is ordered, which must be at least that and its
        waste, and no more than a quarter beyond. A plan with rafts as built, or of a type that the
        site does not have, is not judged: its bill is history, or cannot be known.
    """
    kinds = {kind.name for kind in case.settings.raft}
    rows = [row for row in case.written.rafts if row.status != "existing"]
    if any(row.status == "as_built" or row.raft_type not in kinds for row in rows):
        return
    needed = _needed(case)
    ordered: dict[str, float] = {}
    units: dict[str, str] = {}
    for row in case.written.materials:
        ordered[row.item] = ordered.get(row.item, 0.0) + number(row.ordered)
        units[row.item] = row.unit
    waste = 1.0 + case.settings.materials.waste_share
    for item in sorted(needed.keys() | ordered.keys()):
        need, given = needed.get(item, 0.0) * waste, ordered.get(item, 0.0)
        # Whole pieces of each size: one more at most for every line.
        lines = sum(row.item == item for row in case.written.materials)
        good = bool(need * (1 - _AGREE) <= given <= need * _TOO_MUCH + lines)
        words = (
            "as much as is needed"
            if good
            else f"{item}: {given:g} ordered, {need:.2f} needed with waste; make the bill again"
        )
        yield Finding("materials", "", "", need, given, units.get(item, "of it"), good, words)


def _needed(case: Case) -> dict[str, float]:
    """Return what rafts and moorings of the file come to, by item."""
    kinds = {kind.name: kind for kind in case.settings.raft}
    need: dict[str, float] = {}

    def add(item: str, quantity: float) -> None:
        if quantity > 0:
            need[item] = need.get(item, 0.0) + quantity

    planned = {row.raft_id for row in case.written.rafts if row.status == "planned"}
    for row in case.written.rafts:
        kind = kinds.get(row.raft_type)
        if row.raft_id in planned and kind is not None and kind.build is not None:
            for item, quantity in _one_raft(kind):
                add(item, quantity)
    posted = {part.raft_id for part in case.written.moorings if part.kind == "post"}
    for part in case.written.moorings:
        if part.raft_id not in planned:
            continue
        if part.raft_id in posted:
            # One kind for a raft: anything else is a fault of its posts, judged elsewhere.
            add("post", 1.0)
        else:
            add("anchor", 1.0)
            add("line", number(part.length_m) + 1.0)
    return need


def _one_raft(kind: RaftType) -> Iterator[tuple[str, float]]:
    """Yield what one raft of a type takes."""
    build = kind.build
    if build is None:
        return
    layers: dict[int, int] = {}
    for group in build.poles:
        yield "pole", float(group.count)
        layers[group.layer] = layers.get(group.layer, 0) + group.count
    yield "slat", float(build.slat_count)
    has_edge = build.edge_height_m > 0
    yield "edge board", 2 * kind.length_m + 2 * kind.width_m if has_edge else 0.0
    order = [layers[at] for at in sorted(layers)]
    crossings = sum(order[at] * order[at + 1] for at in range(len(order) - 1))
    counted = crossings + build.slat_count * 2 + (8 if has_edge else 0)
    yield "fixing", float(counted if build.fixing_count is None else build.fixing_count)
    if build.liner_kg_m2 > 0:
        over = build.liner_overlap_m
        yield "liner", (kind.length_m + over + over) * (kind.width_m + over + over)
    yield "medium", kind.length_m * kind.width_m * build.medium_depth_m
    planted = kind.length_m * kind.width_m * kind.planted_share
    yield "plant", float(math.ceil(planted / build.plant_spacing_m**2 - 1e-9))
