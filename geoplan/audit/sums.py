"""
Checks of sums: surface cover, stock and budget.

Cover is judged on the ellipsoid at each level; stock and budget over the whole site.
"""

from collections import Counter
from collections.abc import Iterator

import numpy as np
import shapely

from geoplan.audit.edges import SAME_LEVEL_M
from geoplan.audit.evidence import Case, Evidence, number
from geoplan.plan import Finding
from geoplan.written import WrittenEdge

#: Share by which a stated area may differ at the level of the outline [1].
AREA_TOLERANCE = 0.001
#: The same at other levels, where two honest interpolations differ [1].
CUT_AREA_TOLERANCE = 0.01
#: How far apart two honest ways may draw a contour of the bed, all along it; it outweighs the share
#: in ponds of some hundred square metres, where 1 % is a strip of a few centimetres [m].
CONTOUR_M = 0.03
#: Percent points by which stated cover may differ by rounding [%].
_ROUNDING_PCT = 0.01
_ROUNDING_M2 = 0.01


def check_cover(case: Case) -> Iterator[Finding]:
    """
    Hold the cover of the normal pool against the limit, and the stated areas against own ones.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        For each water body the cover at normal level [%], and for each level the departure of
        the stated area and cover from the audit's [%].
    """
    for evidence in case.waters:
        rafts_m2 = _raft_area_m2(evidence)
        yield _cap(evidence, rafts_m2)
        yield from _levels_present(evidence)
        for edge in evidence.written_edges:
            yield _claim(evidence, edge, rafts_m2)


def check_cap(case: Case) -> Iterator[Finding]:
    """
    Hold the cover of the normal pool against the limit, whatever the file states.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        For each water body the cover at normal level [%].
    """
    for evidence in case.waters:
        yield _cap(evidence, _raft_area_m2(evidence))


def _raft_area_m2(evidence: Evidence) -> float:
    """Return the area that planned and existing rafts cover together [m²]."""
    outlines = [raft.outline for raft in evidence.rafts]
    outlines += [outline for _, outline in evidence.existing]
    return evidence.frame.area_m2(shapely.union_all(outlines))


def _cover_pct(rafts_m2: float, water_m2: float) -> float:
    """Return the share of the water that is covered; all of it where there is none [%]."""
    if rafts_m2 <= 0:
        return 0.0
    return 100.0 * rafts_m2 / water_m2 if water_m2 > 0 else 100.0


def _cap(evidence: Evidence, rafts_m2: float) -> Finding:
    """Return the finding on cover at normal level; rafts already there alone are no fault."""
    limit = evidence.body.max_cover_pct
    cover = _cover_pct(rafts_m2, evidence.frame.area_m2(evidence.edges["normal"]))
    passed = cover <= limit * (1 + 1e-9) or not evidence.rafts
    words = (
        f"{cover:.2f} % of the normal pool is covered"
        if passed
        else f"{cover:.2f} % of the normal pool is covered, {limit:g} % allowed;"
        " take rafts out, or raise the limit where the authority allows it"
    )
    return Finding("cover", evidence.body.water_id, "", cover, limit, "%", bool(passed), words)


def _levels_present(evidence: Evidence) -> Iterator[Finding]:
    """Yield a failed finding for each level of which not exactly one edge is written."""
    counted = Counter(edge.level_name for edge in evidence.written_edges)
    known = dict(evidence.body.levels.named())
    for name in dict.fromkeys([*known, *counted]):
        count = counted[name]
        if count != (1 if name in known else 0):
            words = (
                f"water_edges: {count} rows for level {name!r}, one wanted for each of low,"
                " normal and high; write the plan again"
            )
            water_id = evidence.body.water_id
            yield Finding("cover", water_id, "", float(count), 1.0, "rows", False, words)


def _claim(evidence: Evidence, edge: WrittenEdge, rafts_m2: float) -> Finding:
    """Return the finding on what the row of one level states."""
    water_id = evidence.body.water_id
    level = dict(evidence.body.levels.named()).get(edge.level_name)
    if level is None:
        words = f"water_edges: level {edge.level_name!r} is not low, normal or high"
        return Finding("cover", water_id, "", 1.0, 0.0, "faults", False, words)
    same = abs(level - evidence.body.outline_level_m) <= SAME_LEVEL_M
    own_edge = evidence.edges[edge.level_name]
    own_m2 = evidence.frame.area_m2(own_edge)
    strip_m2 = CONTOUR_M * float(shapely.length(own_edge))
    tolerance = AREA_TOLERANCE if same else max(CUT_AREA_TOLERANCE, strip_m2 / max(own_m2, 1e-9))
    own_pct = _cover_pct(rafts_m2, own_m2)
    stated_m2, stated_pct = number(edge.area_m2), number(edge.cover_pct)
    faults = []
    if not abs(number(edge.level_m) - level) <= SAME_LEVEL_M:
        faults.append(f"level {edge.level_m} m is stated, the site has {level:g} m")
    if not abs(stated_m2 - own_m2) <= tolerance * own_m2 + _ROUNDING_M2:
        faults.append(f"{stated_m2} m² of water is stated, {own_m2:.2f} m² found")
    if own_m2 > 0 and not abs(stated_pct - own_pct) <= tolerance * own_pct + _ROUNDING_PCT:
        faults.append(f"{stated_pct} % cover is stated, {own_pct:.3f} % found")
    drawn = _drawn_m2(evidence, edge)
    if not abs(drawn - stated_m2) <= AREA_TOLERANCE * abs(stated_m2) + _ROUNDING_M2:
        faults.append(f"the outline drawn holds {drawn:.2f} m², {stated_m2} m² is stated")
    departure = abs(stated_m2 / own_m2 - 1.0) * 100.0 if own_m2 > 0 else 0.0
    words = (
        f"level {edge.level_name}: {'; '.join(faults)}; write the plan again"
        if faults
        else f"level {edge.level_name}: area and cover are as stated"
    )
    return Finding("cover", water_id, "", departure, 100 * tolerance, "%", not faults, words)


def _drawn_m2(evidence: Evidence, edge: WrittenEdge) -> float:
    """Return the area of the outline that a row draws; not a number where it draws none."""
    outline: object = edge.outline
    if not isinstance(outline, shapely.Polygon | shapely.MultiPolygon):
        return float("nan")
    if outline.is_empty:
        return 0.0
    moved = evidence.frame.of_file(outline)
    if not np.isfinite(shapely.get_coordinates(moved)).all() or not moved.is_valid:
        return float("nan")
    return evidence.frame.area_m2(moved)


def check_stock(case: Case) -> Iterator[Finding]:
    """
    Hold the rafts of each type against the stock, over the whole site.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Rafts of each type that is counted.
    """
    counted = _planned_types(case)
    for kind in case.settings.raft:
        if kind.stock is None:
            continue
        count = counted[kind.name]
        passed = count <= kind.stock
        words = f"{count} of '{kind.name}' are placed, {kind.stock} are in stock"
        if not passed:
            words += "; take some out or build more"
        yield Finding("stock", "", "", float(count), float(kind.stock), "rafts", passed, words)


def check_budget(case: Case) -> Iterator[Finding]:
    """
    Hold the cost of all rafts, and of setting up for them, against the budget.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Cost of all, where a limit is set.
    """
    limit = case.settings.budget.limit
    if limit is None:
        return
    counted = _planned_types(case)
    cost = sum(kind.cost * counted[kind.name] for kind in case.settings.raft)
    cost += sum(ev.body.terms.mobilisation_cost for ev in case.waters if ev.rafts)
    passed = cost <= limit * (1 + 1e-12)
    words = f"rafts and setting up cost {cost:g}, {limit:g} may be spent"
    if not passed:
        words += "; take some out or raise the limit"
    yield Finding("budget", "", "", float(cost), limit, "currency", passed, words)


def _planned_types(case: Case) -> Counter[str]:
    """Count the rafts of each type that the plan adds; rafts known to exist are not among them."""
    known = {(ev.body.water_id, name) for ev in case.waters for name, _ in ev.existing}
    judged = {id(raft.row) for ev in case.waters for raft in ev.rafts}
    return Counter(
        row.raft_type
        for row in case.written.rafts
        if id(row) in judged
        or not (row.status == "existing" and (row.water_id, row.raft_id) in known)
    )
