"""
What flows through a water body, and with what load: from inflows and outlets to cells.

Flows are measured, or follow from catchment and rain, or are assumed; so are concentrations. What
was assumed makes every worth relative, and is named.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely

from geoplan.cut_cells import face_shares
from geoplan.errors import Fault
from geoplan.grid import SiteFields, WaterGrid
from geoplan.settings import Settings
from geoplan.site import FloatArray, Inflow, Outlet, WaterBody
from geoplan.water.flow import DEPTH_EXPONENT, Faces, pools_of, steady_flow
from geoplan.water.transport import Basin, Carrier, okubo_dispersion_m2_s

SECONDS_PER_YEAR = 365.0 * 86_400.0
#: Least depth of a cell of water; shallower ones would stop the flow along the shore [m].
_LEAST_DEPTH_M = 0.05
#: Runoff coefficient of a catchment that states none. Judgement: suburban [1].
_RUNOFF = 0.3
#: Inflow assumed where neither flow nor catchment is known [L/s for each ha of water]. Judgement.
_ASSUMED_L_S_HA = 1.0
#: Column of the concentration of each constituent, and what is assumed without one: stormwater
#: of suburbs, recalled, no source read [mg/L; 1/100 mL].
CONCENTRATIONS = {
    "tn": ("tn_mg_l", 2.0),
    "tp": ("tp_mg_l", 0.3),
    "tss": ("tss_mg_l", 60.0),
    "ecoli": ("ecoli_per_100ml", 5000.0),
}
#: Bacteria in 100 mL to bacteria in a cubic metre, in units of a million, so that a "gram" of
#: E. coli stands for a million of them [1].
_ECOLI_FACTOR = 0.01


#: An inflow farther from every bank than this is remarked on [m]. *Judgement*.
_OFFSHORE_M = 5.0
#: What enters nearer to an outlet than this share of the size of the water, or than this, is taken
#: to leave at once. *Judgement*: nearer by, the flow through cells mixes too much of it into the
#: water, and rafts would be said to keep back up to twice what finer triangles show.
_AT_ONCE_SHARE, _AT_ONCE_M = 0.04, 1.5


@dataclass(frozen=True)
class KnownFlow:
    """
    One inflow's flow and concentration, and where they come from.

    Attributes
    ----------
    inflow : Inflow
        The inflow.
    flow_m3_s : float
        Mean flow [m³/s].
    concentration_g_m3 : float
        Load in it; for E. coli millions per cubic metre [g/m³].
    is_flow_assumed, is_assumed : bool
        True where the flow was not given; where flow or concentration was not.
    basis : str
        Words for the report.
    """

    inflow: Inflow
    flow_m3_s: float
    concentration_g_m3: float
    is_flow_assumed: bool
    is_assumed: bool
    basis: str


@dataclass(frozen=True, eq=False)
class Hydraulics:
    """
    Flow and load of a water body at normal level.

    Attributes
    ----------
    basin : Basin
        Depths, flow and dispersion on the grid.
    flows : tuple of KnownFlow
        Inflows that reach an outlet through the water.
    cells : tuple of (int, int)
        Row and column at which each of them enters.
    load_g_s : ndarray of float, shape (rows, cols)
        Load put into each cell [g/s].
    is_relative : bool
        True where a flow or a concentration was assumed.
    """

    basin: Basin
    flows: tuple[KnownFlow, ...]
    cells: tuple[tuple[int, int], ...]
    load_g_s: FloatArray
    is_relative: bool

    def load_of_g_s(self, constituent: str) -> tuple[FloatArray, bool]:
        """
        Return the load of any constituent that is put into each cell.

        Parameters
        ----------
        constituent : str
            ``tn``, ``tp``, ``tss`` or ``ecoli``.

        Returns
        -------
        ndarray of float, shape (rows, cols)
            Load [g/s]; for E. coli millions a second.
        bool
            True where a flow or a concentration was assumed.
        """
        load = np.zeros(self.load_g_s.shape)
        for flow, cell in zip(self.flows, self.cells, strict=True):
            load[cell] += flow.flow_m3_s * _concentration_g_m3(flow.inflow, constituent)[0]
        is_assumed = any(
            flow.is_flow_assumed or not _concentration_g_m3(flow.inflow, constituent)[1]
            for flow in self.flows
        )
        return load, is_assumed

    @cached_property
    def _carriers(self) -> dict[float, Carrier]:
        """Return the balances made so far, by their rate of settling."""
        return {}

    def carrier(self, settling_m_s: float) -> Carrier:
        """
        Return the water as it carries a load, made once for each rate of settling.

        Parameters
        ----------
        settling_m_s : float
            Areal rate of open water [m/s].

        Returns
        -------
        Carrier
            Ready to be solved, by the factors of the first that was made: water mixes so fast
            that another rate brings the iteration home in a few steps.
        """
        made = self._carriers
        if settling_m_s not in made:
            made[settling_m_s] = Carrier(self.basin, settling_m_s, next(iter(made.values()), None))
        return made[settling_m_s]

    def dispersed(self, factor: float) -> "Hydraulics":
        """
        Return the same flow with another dispersion.

        Parameters
        ----------
        factor : float
            By which the dispersion is multiplied [1].

        Returns
        -------
        Hydraulics
            All else is the same.
        """
        dispersion = self.basin.dispersion_m2_s * factor
        return replace(self, basin=replace(self.basin, dispersion_m2_s=dispersion))


def _concentration_g_m3(inflow: Inflow, constituent: str) -> tuple[float, bool]:
    """Return the concentration of an inflow, and whether it was given."""
    column, assumed = CONCENTRATIONS[constituent]
    given = inflow.concentrations.get(column)
    factor = _ECOLI_FACTOR if constituent == "ecoli" else 1.0
    return (assumed if given is None else given) * factor, given is not None


def known_flows(body: WaterBody, settings: Settings) -> tuple[KnownFlow, ...]:
    """
    Return flow and concentration of every inflow.

    Parameters
    ----------
    body : WaterBody
        The water body.
    settings : Settings
        Rain and constituent.

    Returns
    -------
    tuple of KnownFlow
        From ``flow_l_s``; else annual rain on the catchment times its runoff coefficient; else
        equal shares of an assumed inflow.
    """
    column, assumed = CONCENTRATIONS[settings.treatment.constituent]
    share_l_s = _ASSUMED_L_S_HA * body.outline.area / 1e4 / max(len(body.inflows), 1)
    out = []
    for inflow in body.inflows:
        if inflow.flow_l_s is not None:
            flow_l_s, basis, guessed = inflow.flow_l_s, "measured mean flow", False
        elif inflow.catchment_ha:
            runoff = inflow.runoff_coefficient or _RUNOFF
            yearly_m3 = inflow.catchment_ha * 10.0 * settings.rain.annual_mm * runoff
            flow_l_s = yearly_m3 * 1000.0 / SECONDS_PER_YEAR
            basis = f"{settings.rain.annual_mm:g} mm of rain a year, runoff {runoff:g}"
            guessed = inflow.runoff_coefficient is None or not settings.rain.is_given
        else:
            flow_l_s, basis, guessed = share_l_s, "assumed", True
        concentration, is_given = _concentration_g_m3(inflow, settings.treatment.constituent)
        out.append(
            KnownFlow(
                inflow,
                flow_l_s / 1000.0,
                concentration,
                guessed,
                guessed or not is_given,
                basis + ("" if is_given else f"; {column} assumed {assumed:g}"),
            )
        )
    return tuple(out)


def inflow_l_s(body: WaterBody, settings: Settings) -> float:
    """
    Return the inflow of a water body, which makes worths of several comparable.

    Parameters
    ----------
    body : WaterBody
        The water body.
    settings : Settings
        Rain and constituent.

    Returns
    -------
    float
        Sum of the mean flows; without any inflow a tenth of what would be assumed (judgement)
        [L/s].
    """
    if not body.inflows:
        return 0.1 * _ASSUMED_L_S_HA * float(body.outline.area) / 1e4
    return 1000.0 * sum(flow.flow_m3_s for flow in known_flows(body, settings))


def inflow_load_g_d(body: WaterBody, settings: Settings) -> float:
    """
    Return the load of the planned constituent that flows into a water body.

    Parameters
    ----------
    body : WaterBody
        The water body.
    settings : Settings
        Rain and constituent.

    Returns
    -------
    float
        Sum over the inflows, nothing without any [g/d]; of E. coli millions a day.
    """
    if not body.inflows:
        return 0.0
    flows = known_flows(body, settings)
    return 86400.0 * sum(flow.flow_m3_s * flow.concentration_g_m3 for flow in flows)


def hydraulics(
    body: WaterBody,
    settings: Settings,
    fields: SiteFields,
    exponent: float = DEPTH_EXPONENT,
    potential: FloatArray | None = None,
) -> tuple[Hydraulics | None, tuple[Fault, ...]]:
    """
    Return the flow and load of a water body, or why there is none.

    Parameters
    ----------
    body : WaterBody
        The water body, its inflows and outlets.
    settings : Settings
        Rain, constituent, dispersion.
    fields : SiteFields
        Bed on its grid.
    exponent : float
        Power of the depth in the conductance [1].
    potential : ndarray of float, shape (rows, cols), or None
        Potential of the flow, where it was found before [arbitrary].

    Returns
    -------
    Hydraulics or None
        ``None`` where no inflow reaches an outlet through the water.
    tuple of Fault
        What a reader must know of it.
    """
    if not body.inflows or not body.outlets:
        missing = "inflow" if not body.inflows else "outlet"
        return None, (_missing(body, missing),)
    grid = fields.grid
    depth = np.where(
        grid.water, np.maximum(body.levels.normal_m - fields.bed_m, _LEAST_DEPTH_M), 0.0
    )
    east, north = face_shares(body.outline, grid.west_m, grid.south_m, grid.cell_size_m, grid.shape)
    faces = Faces(
        np.where(grid.water[:, :-1] & grid.water[:, 1:], east, 0.0),
        np.where(grid.water[:-1] & grid.water[1:], north, 0.0),
    )
    pools = pools_of(grid.water, faces)
    sinks = _outlet_shares(body.outlets, grid, pools)
    flows, cells, load, notes = _placed_inflows(body, settings, grid, pools, sinks)
    source = np.zeros(grid.shape)
    for flow, cell in zip(flows, cells, strict=True):
        source[cell] += flow.flow_m3_s
    if not flows:
        return None, notes
    depth = np.where(np.isin(pools, np.unique(pools[source > 0])), depth, 0.0)
    outflow = np.zeros(grid.shape)
    for pool in np.unique(pools[source > 0]):
        inside = pools == pool
        outflow += np.where(inside, sinks, 0.0) * (source[inside].sum() / sinks[inside].sum())
    dispersion = settings.treatment.dispersion_m2_s or okubo_dispersion_m2_s(
        float(np.sqrt(body.outline.area))
    )
    basin = Basin(
        steady_flow(depth, faces, source - outflow, exponent, potential),
        faces,
        depth,
        np.where(depth > 0, grid.cell_size_m**2, 0.0),
        outflow,
        dispersion,
    )
    return Hydraulics(basin, flows, cells, load, any(flow.is_assumed for flow in flows)), notes


def _cell(grid: WaterGrid, point: shapely.Point) -> tuple[int, int]:
    """Return the cell of water nearest to a point."""
    rows, cols = np.nonzero(grid.water)
    away = np.hypot(grid.easting_m[cols] - point.x, grid.northing_m[rows] - point.y)
    nearest = int(np.argmin(away))
    return int(rows[nearest]), int(cols[nearest])


def _outlet_shares(outlets: tuple[Outlet, ...], grid: WaterGrid, pools: FloatArray) -> FloatArray:
    """Return how the outflow is shared over cells, by the widths of the outlets."""
    out = np.zeros(pools.shape)
    for outlet in outlets:
        width = outlet.width_m or 1.0
        line = outlet.geometry
        if line.geom_type == "Point":
            out[_cell(grid, line)] += width
            continue
        steps = max(2, int(line.length / grid.cell_size_m) + 1)
        for share in np.linspace(0.0, 1.0, steps):
            out[_cell(grid, line.interpolate(share, normalized=True))] += width / steps
    return out


def _placed_inflows(
    body: WaterBody,
    settings: Settings,
    grid: WaterGrid,
    pools: FloatArray,
    sinks: FloatArray,
) -> tuple[tuple[KnownFlow, ...], tuple[tuple[int, int], ...], FloatArray, tuple[Fault, ...]]:
    """Return the inflows that reach an outlet, their cells, their load by cell, and notes."""
    load = np.zeros(grid.shape)
    cells: list[tuple[int, int]] = []
    drained = set(np.unique(pools[sinks > 0]).tolist())
    flows: list[KnownFlow] = []
    notes: list[Fault] = []
    for flow in known_flows(body, settings):
        cell = _cell(grid, flow.inflow.point)
        left_out = _left_out(body, flow, is_drained=pools[cell] in drained)
        notes += [left_out] if left_out else _doubts(body, flow, is_taken=cell in cells)
        if left_out is None:
            cells.append(cell)
            load[cell] += flow.flow_m3_s * flow.concentration_g_m3
            flows.append(flow)
    return tuple(flows), tuple(cells), load, tuple(notes)


def _left_out(body: WaterBody, flow: KnownFlow, *, is_drained: bool) -> Fault | None:
    """Return why the load of an inflow is left out, or nothing."""
    name = f"inflow '{flow.inflow.inflow_id}'"
    if flow.flow_m3_s <= 0:
        return _note(
            body,
            f"{name} with flow_l_s 0",
            "its mean flow, above zero",
            "Nothing is taken to flow in there; correct the flow, or leave it blank.",
        )
    if not is_drained:
        return _note(
            body,
            f"{name} in a pool that no outlet drains",
            "an outlet in the same pool",
            "Its load is left out; add the outlet, or correct the outline.",
        )
    least_m = max(_AT_ONCE_M, _AT_ONCE_SHARE * float(np.sqrt(body.outline.area)))
    point = flow.inflow.point
    away_m, outlet_id = min(
        (float(shapely.distance(point, one.geometry)), one.outlet_id) for one in body.outlets
    )
    if away_m >= least_m:
        return None
    return _note(
        body,
        f"{name} {away_m:.1f} m from outlet '{outlet_id}'",
        f"{least_m:.1f} m between them, so that water passes the rafts",
        "What enters there is taken to leave at once, and its load is left out; check both places.",
    )


def _doubts(body: WaterBody, flow: KnownFlow, *, is_taken: bool) -> Iterator[Fault]:
    """Yield what a reader must know of an inflow whose load is counted."""
    name = f"inflow '{flow.inflow.inflow_id}'"
    away = float(body.outline.boundary.distance(flow.inflow.point))
    if away > _OFFSHORE_M:
        yield _note(
            body,
            f"{name} {away:.0f} m from any bank",
            f"the mouth of a pipe or stream, within {_OFFSHORE_M:g} m of the bank",
            "A pipe may end under water: if this one does not, correct its place.",
        )
    if is_taken:
        yield _note(
            body,
            f"{name} at the same place as another",
            "one inflow at each place",
            "Their flows are added up; remove one if it is there twice.",
        )
    if flow.is_assumed:
        yield _note(
            body,
            f"{name}: {flow.basis}",
            "measured mean flow and concentration",
            "Worth and loads are relative; measure them to have grams a day.",
        )


def _missing(body: WaterBody, what: str) -> Fault:
    """Return the note on a water body without inflow or outlet."""
    return _note(
        body,
        f"no {what}",
        f"at least one {what}, so that the load's way through the water is known",
        f"Places are ranked by distance alone; add the layer '{what}s'.",
    )


def _note(body: WaterBody, found: str, expected: str, remedy: str) -> Fault:
    """Return a warning on a water body."""
    return Fault("warning", "plan", found, expected, remedy, feature=f"water '{body.water_id}'")
