"""
The load that rafts keep from the outlets: grams a day, for a plan and for each of its rafts.

Rafts are sinks in the steady balance of a load. Two solves, the concentration and its adjoint,
give the load that leaves and what one more square metre would keep from it anywhere; the load
kept is concave in the rafts, so that tangent bounds every plan. A screening, not a prediction: no
jets beyond the stand-off, no wind, no stratification, steady flow, and rates known to a factor
of two.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from scipy.ndimage import distance_transform_edt, uniform_filter

from geoplan.errors import Fault
from geoplan.fields import sun_share
from geoplan.grid import BoolArray, SiteFields
from geoplan.hydraulics import CONCENTRATIONS, SECONDS_PER_YEAR, Hydraulics, hydraulics
from geoplan.placement.benefit import Tangent
from geoplan.placement.place import Placement
from geoplan.placement.search import Poses
from geoplan.placement.worth import WorthSurface
from geoplan.plan import PlacedRaft
from geoplan.raft import RaftType
from geoplan.settings import Settings
from geoplan.site import FloatArray, WaterBody
from geoplan.water.jets import jet_reach_m
from geoplan.water.transport import SECONDS_PER_DAY, BareWater, Carrier, Transport

#: Share of the water column that roots reach for full worth: best about half, by laboratory ponds
#: (Khan et al. 2019, abstract read) [1].
_BEST_ROOT_SHARE = 0.5


@dataclass(frozen=True, eq=False)
class Loads:
    """
    What becomes of the load, with and without rafts.

    Attributes
    ----------
    in_g_d : float
        Load that flows in [g/d].
    out_g_d : float
        Load that leaves with all rafts [g/d].
    out_without_rafts_g_d : float
        Load that leaves without any [g/d].
    removed_g_d : float
        The difference [g/d].
    removed_range_g_d : tuple of float
        The same at the ends of the range of rates [g/d].
    """

    in_g_d: float
    out_g_d: float
    out_without_rafts_g_d: float
    removed_g_d: float
    removed_range_g_d: tuple[float, float]


def root_share(depth_m: FloatArray, raft_type: RaftType) -> FloatArray:
    """
    Return what share of its worth a raft has over water of a depth.

    Parameters
    ----------
    depth_m : ndarray of float
        Depth at normal level [m].
    raft_type : RaftType
        Draft and roots.

    Returns
    -------
    ndarray of float
        1 where draft and roots reach half the depth, less in proportion where water passes
        below them [1].

    Examples
    --------
    >>> kind = RaftType(name="a", length_m=4, width_m=2, draft_m=0.2, root_depth_m=0.6)
    >>> root_share(np.array([1.0, 1.6, 3.2]), kind).tolist()
    [1.0, 1.0, 0.5]
    """
    reach = raft_type.draft_m + raft_type.root_depth_m
    share: FloatArray = np.minimum(
        1.0, reach / np.maximum(_BEST_ROOT_SHARE * np.asarray(depth_m, float), 1e-9)
    )
    return share


@dataclass(frozen=True, eq=False)
class LoadBenefit:
    """
    The load that planned rafts keep from the outlets.

    Attributes
    ----------
    body : WaterBody
        The water body, with rafts that are there already.
    settings : Settings
        Raft types, rates, sun.
    fields : SiteFields
        Depth and sun.
    hydraulics : Hydraulics
        Flow and load.
    rate_m_yr : float
        Areal rate of planted raft [m/yr].
    known : BareWater or None
        The balance without planned rafts, where it was found before at this very flow and rate.
    """

    body: WaterBody
    settings: Settings
    fields: SiteFields
    hydraulics: Hydraulics
    rate_m_yr: float
    known: BareWater | None = None

    @property
    def unit(self) -> str:
        """Return the unit of the worth of a plan."""
        kind = {"ecoli": "million E. coli"}.get(self.settings.treatment.constituent, "g")
        name = self.settings.treatment.constituent.upper() if kind == "g" else ""
        relative = " (relative: flows or loads assumed)" if self.hydraulics.is_relative else ""
        return f"{kind}{' ' if name else ''}{name} a day kept from the outlet{relative}"

    @property
    def is_linear(self) -> bool:
        """Tell that each raft makes the next one worth less."""
        return False

    @cached_property
    def _nearest(self) -> tuple[Any, Any]:
        """Return, for each node, the cell of water whose values it has."""
        row, col = distance_transform_edt(
            ~self.fields.grid.water, return_distances=False, return_indices=True
        )
        return row, col

    def _efficiency(self, kind: RaftType) -> FloatArray:
        """Return the share of the full rate that a raft of a type has at each cell."""
        depth = np.where(self.hydraulics.basin.depth_m > 0, self.hydraulics.basin.depth_m, 1.0)
        share = root_share(depth, kind)
        if self.fields.sun_h is not None:
            share = share * sun_share(self.fields.sun_h, self.settings.sun)
        # A raft averages over its own width; a field rougher than that is noise of the survey.
        water = self.fields.grid.water
        size = 2 * int(kind.width_m / self.fields.grid.cell_size_m / 2) + 1
        weight = uniform_filter(water.astype(float), size)
        smooth = uniform_filter(np.where(water, share, 0.0), size)
        return np.where(water & ~self._is_in_jet, smooth / np.maximum(weight, 1e-9), 0.0)

    @cached_property
    def _is_in_jet(self) -> BoolArray:
        """Tell where the jet of an inflow at peak flow is too fast for plants to work."""
        grid, depth = self.fields.grid, self.hydraulics.basin.depth_m
        mean_m = float(depth[depth > 0].mean())
        speed = self.settings.clearances.jet_speed_m_s
        inside = np.zeros(grid.shape, bool)
        for inflow in self.body.inflows:
            flow_l_s = inflow.peak_flow_l_s or inflow.flow_l_s or 0.0
            reach = jet_reach_m(inflow.pipe_diameter_m, flow_l_s / 1000.0, mean_m, speed)
            away = np.hypot(
                grid.easting_m[None, :] - inflow.point.x, grid.northing_m[:, None] - inflow.point.y
            )
            inside |= away < reach
        return inside

    @cached_property
    def _efficiencies(self) -> tuple[FloatArray, ...]:
        """Return the efficiencies of all types."""
        return tuple(self._efficiency(kind) for kind in self.settings.raft)

    @cached_property
    def _existing_m2(self) -> FloatArray:
        """Return the planted area of rafts that are there already, at the nearest cells."""
        out = np.zeros(self.fields.grid.shape)
        grid = self.fields.grid
        for raft in self.body.rafts:
            centre = raft.outline.centroid
            row = int((centre.y - grid.south_m) / grid.cell_size_m)
            col = int((centre.x - grid.west_m) / grid.cell_size_m)
            if 0 <= row < grid.shape[0] and 0 <= col < grid.shape[1]:
                out[row, col] += raft.outline.area
        return self._gathered(out)

    def _gathered(self, area_m2: FloatArray) -> FloatArray:
        """Return area at nodes moved to the cells of water whose values they have."""
        shape = area_m2.shape
        if not area_m2.any():
            return np.zeros(shape)
        at = np.ravel_multi_index(self._nearest, shape).ravel()
        gathered = np.bincount(at, area_m2.ravel(), area_m2.size)
        return np.asarray(gathered, float).reshape(shape)

    def sinks_m2(self, poses: Sequence[Poses]) -> tuple[FloatArray, ...]:
        """
        Return the planted area of each type at each cell of water.

        Parameters
        ----------
        poses : sequence of Poses
            Rafts by type.

        Returns
        -------
        tuple of ndarray of float, shape (rows, cols)
            Planted area, in the order of the types [m²].
        """
        names = [kind.name for kind in self.settings.raft]
        area = [np.zeros(self.fields.grid.shape) for _ in names]
        surface = WorthSurface.on(self.fields.grid, area[0])
        for part in poses:
            if len(part):
                kind = part.raft_type
                area[names.index(kind.name)] += surface.deposit_m2(
                    kind, part.easting_m, part.northing_m, part.heading_deg
                )
        return tuple(self._gathered(one) for one in area)

    def effective_m2(self, poses: Sequence[Poses]) -> FloatArray:
        """
        Return the planted area at each cell of water, as far as sun and roots let it work.

        Parameters
        ----------
        poses : sequence of Poses
            Planned rafts by type; those that are there already are added.

        Returns
        -------
        ndarray of float, shape (rows, cols)
            Area that takes out at the full rate [m²].
        """
        return self._effective_m2(self.sinks_m2(poses))

    def _effective_m2(self, sinks_m2: Sequence[FloatArray]) -> FloatArray:
        """Return the area that works at the full rate, of planted area of each type."""
        total = self._existing_m2 * self._efficiencies[0]
        for area, share in zip(sinks_m2, self._efficiencies, strict=True):
            total = total + area * share
        return total

    def carrier(self, constituent: str | None = None) -> Carrier:
        """
        Return the water as it carries a constituent, ready to be solved.

        Parameters
        ----------
        constituent : str or None
            Which; ``None``: the one that the plan takes out.

        Returns
        -------
        Carrier
            The same one for constituents that settle alike.
        """
        settling_m_yr = self.settings.treatment.open_water_m_yr(constituent)
        return self.hydraulics.carrier(settling_m_yr / SECONDS_PER_YEAR)

    def solved(self, poses: Sequence[Poses], rate_m_yr: float | None = None) -> Transport:
        """
        Solve the balance with rafts as sinks.

        Parameters
        ----------
        poses : sequence of Poses
            Planned rafts by type.
        rate_m_yr : float or None
            Areal rate; ``None``: that of the benefit [m/yr].

        Returns
        -------
        Transport
            Concentration, adjoint and balance.
        """
        return self._solved(
            self.sinks_m2(poses), self.rate_m_yr if rate_m_yr is None else rate_m_yr
        )

    def _solved(self, sinks_m2: Sequence[FloatArray], rate_m_yr: float) -> Transport:
        """Solve the balance with planted area of each type."""
        sinks = rate_m_yr / SECONDS_PER_YEAR * self._effective_m2(sinks_m2)
        return self.carrier().solved(self.hydraulics.load_g_s, sinks)

    @cached_property
    def _without(self) -> Transport:
        """Return the balance with the rafts that are there already, and no others."""
        return self.known.transport if self.known else self.solved(())

    def bare(self) -> BareWater:
        """
        Return what is known of the water without planned rafts.

        Returns
        -------
        BareWater
            For a benefit of the same water that is made later.
        """
        out_g_s = {name: self._bare_out_g_s(name) for name in CONCENTRATIONS}
        return BareWater(self.hydraulics.basin.flow.potential, self._without, out_g_s)

    def _load_g_s(self, constituent: str) -> FloatArray:
        """Return the load of a constituent that is put into each cell."""
        if constituent == self.settings.treatment.constituent:
            return self.hydraulics.load_g_s
        return self.hydraulics.load_of_g_s(constituent)[0]

    def _bare_out_g_s(self, constituent: str) -> float:
        """Return the load of a constituent that leaves where there is no raft at all."""
        if self.known:
            return self.known.out_g_s[constituent]
        return self.carrier(constituent).load_out_g_s(self._load_g_s(constituent))

    def tangent(self, poses: Sequence[Poses]) -> Tangent:
        """
        Return the load that planned rafts keep from the outlets, and the tangent there.

        Parameters
        ----------
        poses : sequence of Poses
            Rafts by type.

        Returns
        -------
        Tangent
            Load kept [g/d], and worth of a square metre of each type [g/(m² d)].
        """
        sinks_m2 = self.sinks_m2(poses)
        is_bare = not any(len(part) for part in poses)
        here = self._without if is_bare else self._solved(sinks_m2, self.rate_m_yr)
        value = (self._without.load_out_g_s - here.load_out_g_s) * SECONDS_PER_DAY
        base = np.nan_to_num(here.worth_g_m2_d(self.rate_m_yr))
        worths = [base * share for share in self._efficiencies]
        touched = sum(
            float((area * worth).sum()) for area, worth in zip(sinks_m2, worths, strict=True)
        )
        surfaces = tuple(
            WorthSurface.on(self.fields.grid, worth[self._nearest]) for worth in worths
        )
        return Tangent(value, value - touched, surfaces)

    def kept_g_d(self, poses: Sequence[Poses]) -> float:
        """
        Return the load that planned rafts keep from the outlets.

        Parameters
        ----------
        poses : sequence of Poses
            Rafts by type.

        Returns
        -------
        float
            Difference of the loads that leave without and with them [g/d].
        """
        sinks = self.rate_m_yr / SECONDS_PER_YEAR * self.effective_m2(poses)
        out_g_s = self.carrier().load_out_g_s(self.hydraulics.load_g_s, sinks)
        return (self._without.load_out_g_s - out_g_s) * SECONDS_PER_DAY

    def loads(self, poses: Sequence[Poses], constituent: str | None = None) -> Loads:
        """
        Return what becomes of a load with all rafts and without any.

        Parameters
        ----------
        poses : sequence of Poses
            Planned rafts by type.
        constituent : str or None
            Which; ``None``: the one that the plan takes out.

        Returns
        -------
        Loads
            Loads in and out, and what rafts keep back, with its range.
        """
        treatment = self.settings.treatment
        name = constituent or treatment.constituent
        rates = treatment.rates_m_yr(name)
        if name == treatment.constituent:
            rates = (self.rate_m_yr, *rates[1:])
        load_g_s, area_m2 = self._load_g_s(name), self.effective_m2(poses)

        def out_g_d(rate_m_yr: float) -> float:
            sinks = rate_m_yr / SECONDS_PER_YEAR * area_m2
            return self.carrier(name).load_out_g_s(load_g_s, sinks) * SECONDS_PER_DAY

        bare = self._bare_out_g_s(name) * SECONDS_PER_DAY
        out = {rate: out_g_d(rate) if area_m2.any() else bare for rate in dict.fromkeys(rates)}
        rate, low, high = rates
        return Loads(
            float(load_g_s.sum()) * SECONDS_PER_DAY,
            out[rate],
            bare,
            bare - out[rate],
            (bare - out[low], bare - out[high]),
        )


def load_benefit(
    body: WaterBody,
    settings: Settings,
    fields: SiteFields,
    known: BareWater | None = None,
) -> tuple[LoadBenefit | None, tuple[Fault, ...]]:
    """
    Return the load that rafts keep back, where it is known how water flows.

    Parameters
    ----------
    body : WaterBody
        The water body.
    settings : Settings
        Settings of the site.
    fields : SiteFields
        Depth and sun.
    known : BareWater or None
        The water without planned rafts, where it was found before for the same settings.

    Returns
    -------
    LoadBenefit or None
        ``None`` where no inflow reaches an outlet.
    tuple of Fault
        What a reader must know of it.
    """
    potential = known.potential if known else None
    flow, notes = hydraulics(body, settings, fields, potential=potential)
    if flow is None:
        return None, notes
    rate_m_yr = settings.treatment.rates_m_yr()[0]
    return LoadBenefit(body, settings, fields, flow, rate_m_yr, known), notes


def with_removal(placement: Placement, benefit: LoadBenefit | None) -> tuple[PlacedRaft, ...]:
    """
    Return the rafts of a placement with what each takes out.

    Parameters
    ----------
    placement : Placement
        A placement, its value a load where there is a benefit.
    benefit : LoadBenefit or None
        The load that rafts keep back; ``None`` where it is not known.

    Returns
    -------
    tuple of PlacedRaft
        The load kept by the plan, shared over its rafts by what their places are worth with all
        of them in the water [g/d].
    """
    if benefit is None:
        return placement.rafts
    planned = [raft for raft in placement.rafts if raft.status == "planned"]
    total = sum(raft.worth * raft.planted_area_m2 for raft in planned)
    share = placement.report.value / total if total > 0 else 0.0
    return tuple(
        replace(raft, removal_g_d=raft.worth * raft.planted_area_m2 * share)
        if raft.status == "planned"
        else raft
        for raft in placement.rafts
    )
