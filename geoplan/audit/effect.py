"""
Loads with and without rafts, taken from the raw site and solved again by finite elements.

What must hold exactly (sums, order, what flows in) is held exactly; what two honest models of the
same water may see differently is held within stated shares. Rates are those of the settings: the
audit says that the plan follows from them, not that a pond will.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geoplan.audit.evidence import Case, Evidence, samples
from geoplan.audit.neighbours import jet_reach_m
from geoplan.audit.sun import sun_hours
from geoplan.audit.water_mesh import WaterMesh, water_mesh
from geoplan.plan import Finding
from geoplan.raft import RaftType
from geoplan.site import Inflow, WaterBody
from geoplan.written import WrittenLoads

FloatArray = NDArray[np.float64]

#: Share by which exact sums may differ by rounding [1].
_EXACT = 1e-4
#: Share of the inflowing load by which the load that leaves may differ between two models [1].
_OUT_SHARE = 0.05
#: Share by which what rafts keep back, together and each, may differ, and what is too little to
#: be judged, of the load that flows in [1].
_KEPT_SHARE = 0.25
_RAFT_SHARE = 0.5
_TOO_LITTLE = 1e-4
_YEAR_S = 365.0 * 86_400.0
_DAY_S = 86_400.0
#: What is assumed where a site says nothing: concentration [mg/L; 1/100 mL], runoff coefficient
#: [1], inflow of a hectare of water [L/s]. As documented for the site's files.
_ASSUMED = {"tn": 2.0, "tp": 0.3, "tss": 60.0, "ecoli": 5000.0}
_COLUMNS = {"tn": "tn_mg_l", "tp": "tp_mg_l", "tss": "tss_mg_l", "ecoli": "ecoli_per_100ml"}
_RUNOFF = 0.3
_L_S_HA = 1.0
#: What enters nearer to an outlet than this leaves at once: share of the size of the water [1], and
#: at least [m]. As documented for the flow.
_AT_ONCE_SHARE = 0.04
_AT_ONCE_M = 1.5


def check_effect(case: Case) -> Iterator[Finding]:
    """
    Hold the stated loads against their own sums, the raw inflows, and an own solution.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        For each water body with rafts, inflow and outlet, and each constituent: what is wrong
        with the row, and by how much the loads differ; for each raft what it is said to take out.
    """
    for evidence in case.waters:
        rows = [row for row in case.written.loads if row.water_id == evidence.body.water_id]
        flows = flows_of(evidence)
        if not (flows and evidence.body.outlets):
            if rows:
                words = "loads are stated, and no water flows from an inflow to an outlet"
                yield _finding(evidence, "", float(len(rows)), 0.0, "rows", words)
            continue
        if evidence.rafts:
            yield from _judged(evidence, flows, rows)


def _judged(
    evidence: Evidence, flows: tuple["OwnFlow", ...], rows: list[WrittenLoads]
) -> Iterator[Finding]:
    """Yield the findings on one water body."""
    names = sorted(row.constituent for row in rows)
    if names != sorted(_ASSUMED):
        words = (
            f"loads are stated for {names or 'nothing'}, one row each of {sorted(_ASSUMED)} wanted"
        )
        yield _finding(evidence, "", float(len(rows)), float(len(_ASSUMED)), "rows", words)
        return
    mesh = mesh_of(evidence, flows)
    if mesh is None:
        words = "inflows and outlets are not joined by water wide enough to be judged"
        yield _finding(evidence, "", math.nan, 0.0, "%", words)
        return
    sinks, existing = _sinks(evidence, mesh)
    for row in rows:
        own = _own_loads(evidence, flows, row.constituent, mesh, [*sinks, *existing])
        faults = [*_contradictions(row), *_departures(row, own)]
        departure = 100 * abs(row.removed / own.scale_of(row) - own.removed[0]) / own.load_in
        words = "; ".join(faults) + "; plan the site again" if faults else "loads are as stated"
        yield _finding(
            evidence, "", departure, 100 * _OUT_SHARE, "%", f"{row.constituent}: {words}",
            passed=not faults,
        )  # fmt: skip
        if row.is_chosen and not row.is_relative:
            yield from _each_raft(evidence, row, own, (mesh, sinks, existing))


@dataclass(frozen=True)
class OwnFlow:
    """
    Water of one inflow: where, how much, and whether that was assumed.

    Attributes
    ----------
    inflow : Inflow
        The inflow.
    flow_m3_s : float
        Its flow [m³/s].
    is_assumed : bool
        True where it was not measured.
    """

    inflow: Inflow
    flow_m3_s: float
    is_assumed: bool


@dataclass(frozen=True, eq=False)
class _Sink:
    """A raft as a sink: nodes, and the effective area at each [m²]."""

    nodes: NDArray[np.int64]
    area_m2: FloatArray


@dataclass(frozen=True, eq=False)
class _OwnLoads:
    """The audit's loads [g/d], kept back at the rate and at the ends of its range."""

    load_in: float
    out_bare: float
    removed: tuple[float, float, float]
    is_assumed: bool
    concentration: FloatArray
    escape: FloatArray

    def scale_of(self, row: WrittenLoads) -> float:
        """Return what one unit of the row stands for, so that a share becomes grams."""
        return 1.0 / self.load_in if row.is_relative else 1.0


def flows_of(evidence: Evidence) -> tuple[OwnFlow, ...]:
    """
    Return the flow of every inflow: measured, from its catchment, or assumed.

    Parameters
    ----------
    evidence : Evidence
        The water body.

    Returns
    -------
    tuple of OwnFlow
        Those above zero that do not leave at once by an outlet beside them, in the order of the
        site.
    """
    body, rain = evidence.body, evidence.settings.rain
    hectares = evidence.frame.area_m2(evidence.outline) / 1e4
    out = []
    for inflow in body.inflows:
        if inflow.flow_l_s is not None:
            flow, is_assumed = inflow.flow_l_s / 1000.0, False
        elif inflow.catchment_ha:
            runoff = inflow.runoff_coefficient or _RUNOFF
            flow = inflow.catchment_ha * 1e4 * rain.annual_mm / 1000.0 * runoff / _YEAR_S
            is_assumed = inflow.runoff_coefficient is None or not rain.is_given
        else:
            flow, is_assumed = hectares * _L_S_HA / 1000.0 / len(body.inflows), True
        if flow > 0 and not _leaves_at_once(inflow, body):
            out.append(OwnFlow(inflow, flow, is_assumed))
    return tuple(out)


def _leaves_at_once(inflow: Inflow, body: WaterBody) -> bool:
    """Tell whether an outlet is so near that what enters passes no raft, as the site has both."""
    least_m = max(_AT_ONCE_M, _AT_ONCE_SHARE * math.sqrt(body.outline.area))
    return any(inflow.point.distance(outlet.geometry) < least_m for outlet in body.outlets)


def mesh_of(evidence: Evidence, flows: tuple[OwnFlow, ...]) -> WaterMesh | None:
    """
    Return the water of a body with these flows.

    Parameters
    ----------
    evidence : Evidence
        The water body.
    flows : tuple of OwnFlow
        What flows in; outlets share it by their widths.

    Returns
    -------
    WaterMesh or None
        ``None`` where the triangles do not join inflows and outlets.
    """
    frame, body = evidence.frame, evidence.body
    places = frame.site_places(np.array([[f.inflow.point.x, f.inflow.point.y] for f in flows]))
    amounts = np.array([flow.flow_m3_s for flow in flows])
    ways, widths = [], []
    for outlet in body.outlets:
        line = shapely.segmentize(frame.of_site(outlet.geometry), 0.5)
        points = shapely.get_coordinates(line)
        ways.append(points)
        widths.append(np.full(len(points), (outlet.width_m or 1.0) / len(points)))
    share = np.concatenate(widths)
    share *= amounts.sum() / share.sum()
    size_cm = math.sqrt(frame.area_m2(evidence.outline)) * 100.0
    dispersion = evidence.settings.treatment.dispersion_m2_s or 0.0103e-4 * size_cm**1.15
    return water_mesh(
        evidence.outline, evidence.bed, body.levels.normal_m, (places, amounts),
        (np.concatenate(ways), share), dispersion,
    )  # fmt: skip


def _sinks(evidence: Evidence, mesh: WaterMesh) -> tuple[list[_Sink], list[_Sink]]:
    """Return planned and existing rafts as sinks."""
    first = evidence.settings.raft[0]
    rafts = [(raft.outline, raft.raft_type or first) for raft in evidence.rafts]
    areas = [kind.planted_area_m2 for _, kind in rafts]
    rafts += [(outline, first) for _, outline in evidence.existing]
    areas += [float(outline.area) for _, outline in evidence.existing]
    if not rafts:
        return [], []
    places = [samples(outline) for outline, _ in rafts]
    together = np.concatenate(places)
    depth = np.maximum(evidence.body.levels.normal_m - evidence.bed.at(together)[0], 0.05)
    nodes, shares = mesh.weights(together)
    ends = np.cumsum([len(part) for part in places])[:-1]
    parts = zip(*(np.split(values, ends) for values in (depth, nodes, shares)), strict=True)
    sinks = [
        _Sink(
            own_nodes.ravel(),
            own_shares.ravel()
            * (_working(evidence, outline, kind, own_depth) * area / len(own_depth)),
        )
        for (outline, kind), area, (own_depth, own_nodes, own_shares) in zip(
            rafts, areas, parts, strict=True
        )
    ]
    return sinks[: len(evidence.rafts)], sinks[len(evidence.rafts) :]


def _working(
    evidence: Evidence, outline: shapely.Polygon, kind: RaftType, depth_m: FloatArray
) -> float:
    """Return the share of a raft that works: roots may be short, shade long, a jet may pass."""
    keep = evidence.settings.clearances
    for inflow in evidence.body.inflows:
        jet = jet_reach_m(inflow, evidence.mean_depth_m, keep.jet_speed_m_s)
        away = shapely.distance(outline.centroid, evidence.frame.of_site(inflow.point))
        if away < jet:
            return 0.0
    reach = kind.draft_m + kind.root_depth_m
    rooted = float(np.minimum(1.0, 2.0 * reach / depth_m).mean())
    return rooted * _sun_share(evidence, outline)


def _sun_share(evidence: Evidence, outline: shapely.Polygon) -> float:
    """Return the share of full worth that the sun on a raft allows."""
    body, sun = evidence.body, evidence.settings.sun
    if not body.shade and body.surface_raster is None:
        return 1.0
    hours = float(np.mean(sun_hours(evidence, outline)))
    span = sun.full_h - sun.least_h
    return (
        min(1.0, max(0.0, (hours - sun.least_h) / span))
        if span > 0
        else float(hours >= sun.least_h)
    )


def _own_loads(
    evidence: Evidence,
    flows: tuple[OwnFlow, ...],
    constituent: str,
    mesh: WaterMesh,
    sinks: list[_Sink],
) -> _OwnLoads:
    """Return the audit's own loads of a constituent [g/d; million/d]."""
    treatment = evidence.settings.treatment
    column, unit = _COLUMNS[constituent], 0.01 if constituent == "ecoli" else 1.0
    given = [flow.inflow.concentrations.get(column) for flow in flows]
    amounts = np.array(
        [
            flow.flow_m3_s * unit * (_ASSUMED[constituent] if known is None else known)
            for flow, known in zip(flows, given, strict=True)
        ]
    )
    points = np.array([[flow.inflow.point.x, flow.inflow.point.y] for flow in flows])
    corners, shares = mesh.weights(evidence.frame.site_places(points))
    load = np.zeros(len(mesh.nodes_m))
    np.add.at(load, corners, shares * amounts[:, None])
    area = np.zeros(len(mesh.nodes_m))
    for sink in sinks:
        np.add.at(area, sink.nodes, sink.area_m2)
    settling = treatment.open_water_m_yr(constituent) / _YEAR_S
    rates = treatment.rates_m_yr(constituent)
    outs = {}
    for rate in dict.fromkeys((0.0, *rates)):
        c, escape = mesh.solved(load, settling, rate / _YEAR_S * area)
        outs[rate] = (float(mesh.outflow_m3_s @ c) * _DAY_S, c, escape)
    bare = outs[0.0][0]
    removed, lowest, highest = (bare - outs[rate][0] for rate in rates)
    return _OwnLoads(
        float(amounts.sum()) * _DAY_S,
        bare,
        (removed, lowest, highest),
        any(flow.is_assumed for flow in flows) or None in given,
        *outs[rates[0]][1:],
    )


def _contradictions(row: WrittenLoads) -> Iterator[str]:
    """Yield in words what a row says against itself."""
    small = _EXACT * abs(row.load_in)
    loads = (row.load_in, row.load_out_without_rafts, row.load_out, row.removed)
    if not all(math.isfinite(value) and value >= -small for value in loads):
        yield "a load is negative or no number"
    if row.load_out_without_rafts > row.load_in + small:
        yield "more leaves than flows in"
    if row.load_out > row.load_out_without_rafts + small:
        yield "more leaves with rafts than without"
    kept = row.load_out_without_rafts - row.load_out
    if not abs(kept - row.removed) <= _EXACT * abs(kept) + 1e-9 * abs(row.load_in):
        yield f"{row.removed:.6g} kept back is stated, the loads that leave differ by {kept:.6g}"
    if not row.removed_lowest * (1 - _EXACT) <= row.removed <= row.removed_highest * (1 + _EXACT):
        yield "what is kept back lies outside its own range"


def _departures(row: WrittenLoads, own: _OwnLoads) -> Iterator[str]:
    """Yield in words where a row departs from the audit's own loads."""
    scale = own.scale_of(row)
    if row.is_relative != own.is_assumed:
        yield (
            "a flow or concentration was assumed, and the loads are given as measured"
            if own.is_assumed
            else "flows and concentrations are given, and the loads are called relative"
        )
    if not abs(row.load_in - own.load_in * scale) <= _EXACT * own.load_in * scale:
        yield f"{row.load_in:.6g} is said to flow in, the inflows bring {own.load_in * scale:.6g}"
    bare = own.out_bare * scale
    if not abs(row.load_out_without_rafts - bare) <= _OUT_SHARE * own.load_in * scale:
        yield f"{row.load_out_without_rafts:.4g} leaves without rafts, {bare:.4g} found"
    stated = (row.removed, row.removed_lowest, row.removed_highest)
    for value, found in zip(stated, own.removed, strict=True):
        most = _KEPT_SHARE * found + _TOO_LITTLE * own.load_in
        if not abs(value - found * scale) <= most * scale:
            yield f"{value:.4g} kept back is stated, {found * scale:.4g} found"


def _each_raft(
    evidence: Evidence,
    row: WrittenLoads,
    own: _OwnLoads,
    water: tuple[WaterMesh, list[_Sink], list[_Sink]],
) -> Iterator[Finding]:
    """Yield the finding on the sum over rafts, and on what each is said to take out."""
    _, planned, existing = water
    worth = own.concentration * own.escape
    parts = [float((worth[sink.nodes] * sink.area_m2).sum()) for sink in [*planned, *existing]]
    share = np.array(parts) / max(sum(parts), 1e-300)
    stated = np.array([raft.row.removal_g_d or 0.0 for raft in evidence.rafts])
    total = float(stated.sum())
    theirs = row.removed * float(share[: len(planned)].sum())
    tolerance = (_KEPT_SHARE if existing else _EXACT) * theirs + 1e-9 * row.load_in
    passed = abs(total - theirs) <= tolerance
    words = (
        f"the rafts are said to take out {total:.4g} g/d together, {theirs:.4g} g/d are kept back"
    )
    yield _finding(evidence, "", total, theirs, "g/d", words, passed=passed)
    for raft, value, part in zip(evidence.rafts, stated, share, strict=False):
        wanted = row.removed * float(part)
        passed = abs(value - wanted) <= _RAFT_SHARE * wanted + _TOO_LITTLE * row.load_in
        words = (
            "it takes out what is stated"
            if passed
            else f"it is said to take out {value:.4g} g/d, {wanted:.4g} g/d found; plan again"
        )
        yield _finding(evidence, raft.row.raft_id, value, wanted, "g/d", words, passed=passed)


def _finding(
    evidence: Evidence,
    raft_id: str,
    measured: float,
    limit: float,
    unit: str,
    words: str,
    *,
    passed: bool = False,
) -> Finding:
    """Return a finding of this check."""
    water_id = evidence.body.water_id
    return Finding("effect", water_id, raft_id, measured, limit, unit, passed, words)
