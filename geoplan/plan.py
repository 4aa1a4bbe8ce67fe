"""
A plan: where each raft goes, how it is held, how it gets there, and how good the plan is.

Coordinates of a ``WaterPlan`` are in the working CRS of its water body.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from typing import Any

from shapely.geometry import LineString, MultiPolygon

from geoplan.certificate import Certificate
from geoplan.district import Allocation, Logistics
from geoplan.errors import Fault
from geoplan.moored import Mooring as Mooring  # noqa: PLC0414 - plans are imported from here
from geoplan.moored import SweptArea as SweptArea  # noqa: PLC0414
from geoplan.reasons import Reasons
from geoplan.site import FloatArray, Mark, SourceFile, lock_arrays
from geoplan.tried import TrialRules


@dataclass(frozen=True)
class PlacedRaft:
    """
    One raft in its place.

    Attributes
    ----------
    raft_id, water_id, raft_type : str
        Identity; name of the raft type.
    easting_m, northing_m : float
        Centre [m].
    heading_deg : float
        Long axis, clockwise from grid north, 0 to 180 [°].
    length_m, width_m : float
        Outside size [m].
    area_m2, planted_area_m2 : float
        Water covered, and planted [m²].
    depth_low_m : float
        Least reliable depth under it at low level [m].
    root_clearance_m : float
        Room between roots and bed at low level, sediment allowed for [m].
    bank_clearance_m : float
        Least distance to the water's edge at low level [m].
    gap_m : float or None
        Distance to the nearest raft; ``None`` where it is the only one [m].
    sun_h : float or None
        Mean hours of direct sun a day in the season; ``None`` where not assessed [h].
    worth : float
        Worth of a square metre of raft here, 0 to 1 of the best (relative).
    removal_g_d : float or None
        What it takes out; ``None`` where flows are assumed [g/d].
    status : str
        ``planned``, ``existing`` or ``as_built``.
    fetch_m : float or None
        Open water upwind in the direction that gives the largest wave at the design wind, as the
        method that governs counts it; ``None``: not assessed, as for the next three [m].
    wave_height_m : float or None
        Significant height of that wave [m].
    wave_period_s : float or None
        Its peak period [s].
    wave_from_deg : float or None
        Where it comes from, clockwise from true north [°].
    is_kept : bool
        True where a person has fixed its place.
    draft_m : float or None
        Underside of the hull below the water after two seasons; ``None`` for existing ones [m].
    freeboard_m : float or None
        Planting surface above the water after two seasons; ``None``: not assessed [m].
    """

    raft_id: str
    water_id: str
    raft_type: str
    easting_m: float
    northing_m: float
    heading_deg: float
    length_m: float
    width_m: float
    area_m2: float
    planted_area_m2: float
    depth_low_m: float
    root_clearance_m: float
    bank_clearance_m: float
    gap_m: float | None
    sun_h: float | None
    worth: float
    removal_g_d: float | None
    status: str = "planned"
    fetch_m: float | None = None
    wave_height_m: float | None = None
    wave_period_s: float | None = None
    wave_from_deg: float | None = None
    is_kept: bool = False
    draft_m: float | None = None
    freeboard_m: float | None = None


@dataclass(frozen=True)
class Route:
    """
    The way of one raft from the bank to its place.

    Attributes
    ----------
    raft_id, launch_id : str
        Which raft, from which bank.
    sequence : int
        Place in the order of launching, from 1.
    path : LineString
        Working CRS [m].
    length_m : float
        Length of it [m].
    least_depth_m : float
        Least reliable depth along it at low level [m].
    clearance_m : float
        Least distance of its line from shoals, land and rafts in place, up to the last turn [m].
    turn_before_m : float
        Where the raft takes the heading of its place, before the end [m].
    has_room : bool
        Whether it can be towed, turned and hauled in water it may cross.
    bank_reason : str
        Why that bank, in words.
    need_m, width_m, turning_m : float
        Reliable depth that the raft needs in tow, draft and margin; width towed end-on; and
        diameter of the circle in which it turns [m].
    wade_m, wade_depth_m, plant_depth_m : float
        Length of the first leg; deepest that the water may be at low level where people walk, and
        beside the raft where it is planted [m].
    mass_kg : float
        Mass of the bare raft, as it is launched [kg].
    people : int
        People on the bank at least.
    brought_by : str
        How it is brought into the water.
    haul_n : float
        Pull that draws it up the bank on skids [N].
    """

    raft_id: str
    launch_id: str
    sequence: int
    path: LineString
    length_m: float
    least_depth_m: float
    clearance_m: float
    turn_before_m: float
    has_room: bool
    bank_reason: str
    need_m: float
    width_m: float
    turning_m: float
    wade_m: float
    wade_depth_m: float
    plant_depth_m: float
    mass_kg: float
    people: int
    brought_by: str
    haul_n: float


@dataclass(frozen=True)
class NoRoute:
    """
    A planned raft to which no way leads.

    Attributes
    ----------
    raft_id : str
        Which raft.
    why_no_way : str
        What bars every way, in words.
    """

    raft_id: str
    why_no_way: str


@dataclass(frozen=True)
class WaterEdge:
    """
    The water's edge at one level.

    Attributes
    ----------
    level_name : str
        ``low``, ``normal`` or ``high``.
    level_m : float
        Height above the vertical datum [m].
    outline : MultiPolygon
        Open water, working CRS [m].
    area_m2 : float
        Its area on the ellipsoid [m²].
    volume_m3 : float
        Water below the level [m³].
    is_assumed : bool
        True where the level lies above the survey and the bank slope was assumed.
    """

    level_name: str
    level_m: float
    outline: MultiPolygon
    area_m2: float
    volume_m3: float
    is_assumed: bool = False


@dataclass(frozen=True)
class Cover:
    """
    Share of the water's surface that rafts cover at one level.

    Attributes
    ----------
    level_name : str
        ``low``, ``normal`` or ``high``.
    level_m : float
        Height above the vertical datum [m].
    raft_area_m2 : float
        Water covered by rafts, planned and existing, on the ellipsoid [m²].
    water_area_m2 : float
        Open water, islands left out, on the ellipsoid [m²].
    cover_pct : float
        The first over the second [%].
    sigma_pct : float
        One standard deviation of it [%].
    """

    level_name: str
    level_m: float
    raft_area_m2: float
    water_area_m2: float
    cover_pct: float
    sigma_pct: float


@dataclass(frozen=True)
class DesignWaves:
    """
    The largest waves on a water body at the design wind and one level, by two methods.

    Attributes
    ----------
    level_name : str
        ``normal`` or ``high``.
    level_m : float
        Height above the vertical datum [m].
    wind_m_s : float
        Design wind at 10 m [m/s].
    wave_from_deg : float
        Direction that gives the largest wave, clockwise from true north [°].
    along_depth_m : float or None
        Mean depth along the straight fetch; ``None`` where nothing is known [m].
    spm_fetch_m, cem_fetch_m : float
        Mean of nine radials, and straight upwind [m].
    spm_height_m, cem_height_m : float
        Significant height by the Shore Protection Manual and the Coastal Engineering Manual [m].
    spm_period_s, cem_period_s : float
        Peak period by both [s].
    wave_height_m, wave_period_s : float
        Height and period of the larger wave [m, s].
    setup_m : float or None
        Rise of the water at the lee end of that fetch; ``None`` where no depth is known [m].
    """

    level_name: str
    level_m: float
    wind_m_s: float
    wave_from_deg: float
    along_depth_m: float | None
    spm_fetch_m: float
    cem_fetch_m: float
    spm_height_m: float
    cem_height_m: float
    spm_period_s: float
    cem_period_s: float
    wave_height_m: float
    wave_period_s: float
    setup_m: float | None


@dataclass(frozen=True, eq=False)
class StageCurve:
    """
    Area and volume of the water by level.

    Attributes
    ----------
    level_m : ndarray of float, shape (n,)
        Heights above the vertical datum, rising [m].
    area_m2 : ndarray of float, shape (n,)
        Water surface [m²].
    volume_m3 : ndarray of float, shape (n,)
        Water below the level [m³].
    """

    level_m: FloatArray
    area_m2: FloatArray
    volume_m3: FloatArray

    def __post_init__(self) -> None:
        """Lock the arrays."""
        lock_arrays(self)

    def __reduce__(self) -> tuple[Any, ...]:
        """Rebuild through the constructor, so that arrays stay locked after pickling."""
        return (StageCurve, (self.level_m, self.area_m2, self.volume_m3))


@dataclass(frozen=True)
class RaftReplay:
    """
    What a planned raft would have met at the levels of the record.

    Attributes
    ----------
    raft_id : str
        Which raft.
    within_clearance_pct : float
        Time with roots nearer to the bed than the clearance, time on the bed included [%].
    on_bed_pct : float
        Time with roots on the bed [%].
    beyond_posts_pct : float or None
        Time with the level above or below what its posts let it follow; ``None`` where it has no
        posts [%].
    """

    raft_id: str
    within_clearance_pct: float
    on_bed_pct: float
    beyond_posts_pct: float | None


@dataclass(frozen=True, eq=False)
class RecordReplay:
    """
    What the plan would have met at the levels of the record; gaps count for nothing.

    Attributes
    ----------
    time_s : ndarray of float, shape (n,)
        Seconds since 1970 of each reading [s].
    level_m : ndarray of float, shape (n,)
        Heights above the vertical datum [m].
    water_area_m2 : ndarray of float, shape (n,)
        Open water at each reading [m²].
    cover_pct : ndarray of float, shape (n,)
        Share of it that rafts cover [%].
    known_d : float
        Time of the record, gaps left out [d].
    below_low_pct, above_high_pct : float
        Time below the low level and above the high one [%].
    rafts : tuple of RaftReplay
        The planned rafts, in the order of the plan.
    """

    time_s: FloatArray
    level_m: FloatArray
    water_area_m2: FloatArray
    cover_pct: FloatArray
    known_d: float
    below_low_pct: float
    above_high_pct: float
    rafts: tuple[RaftReplay, ...]

    def __post_init__(self) -> None:
        """Lock the arrays."""
        lock_arrays(self)

    def __reduce__(self) -> tuple[Any, ...]:
        """Rebuild through the constructor, so that arrays stay locked after pickling."""
        return (RecordReplay, tuple(getattr(self, part.name) for part in fields(self)))


@dataclass(frozen=True)
class SolveReport:
    """
    How good the placement is, and what says so.

    Attributes
    ----------
    method : str
        How the plan was found.
    status : str
        What stopped the search.
    value : float
        Worth of the plan.
    bound : float
        No legal plan with these limits is worth more.
    unit : str
        Unit of both.
    frames_tried : int
        Rotated frames that were packed.
    seed : int
        Seed of the search.
    bound_basis : str
        What kind of bound it is, in words.
    rounds : int
        Plans made, each for the worth of places that the one before leaves.
    is_stopped_by_time : bool
        True where a time limit ended the search: another run may then find another plan.
    """

    method: str
    status: str
    value: float
    bound: float
    unit: str
    frames_tried: int
    seed: int
    bound_basis: str = "area bound, for every position and heading"
    rounds: int = 0
    is_stopped_by_time: bool = False

    @property
    def gap_pct(self) -> float:
        """Return by how much a better plan could beat this one at most [%]."""
        return 100.0 * (1.0 - self.value / self.bound) if self.bound > 0 else 0.0


@dataclass(frozen=True)
class InflowBasis:
    """
    What an inflow was taken to bring.

    Attributes
    ----------
    inflow_id : str
        Which inflow.
    flow_l_s : float
        Mean flow [L/s].
    concentration_g_m3 : float
        Load in it; for E. coli millions per cubic metre [g/m³].
    basis : str
        Where both come from, in words.
    """

    inflow_id: str
    flow_l_s: float
    concentration_g_m3: float
    basis: str


@dataclass(frozen=True)
class SensitivityCase:
    """
    The plan as it is, judged with another assumption.

    Attributes
    ----------
    name : str
        The assumption, in words.
    kept_g_d : float
        Load that the planned rafts keep from the outlets in that case [g/d].
    bound_g_d : float
        What no plan with the same limits can exceed in that case [g/d].
    """

    name: str
    kept_g_d: float
    bound_g_d: float

    @property
    def loss_pct(self) -> float:
        """Return by how much the best plan of the case could beat this one at most [%]."""
        return 100.0 * (1.0 - self.kept_g_d / self.bound_g_d) if self.bound_g_d > 0 else 0.0


@dataclass(frozen=True)
class CurvePoint:
    """
    What a number of rafts is worth.

    Attributes
    ----------
    raft_count : int
        Planned rafts.
    cover_pct : float
        Share of the normal pool that all rafts cover then [%].
    cost : float
        Price of the planned ones, in the client's currency.
    kept_g_d : float
        Load that they keep from the outlets [g/d].
    bound_g_d : float
        What no plan with that many can exceed [g/d].
    is_chosen : bool
        True for the plan itself.
    """

    raft_count: int
    cover_pct: float
    cost: float
    kept_g_d: float
    bound_g_d: float
    is_chosen: bool


@dataclass(frozen=True)
class ConstituentLoads:
    """
    What becomes of one constituent, with and without rafts.

    Attributes
    ----------
    constituent : str
        ``tn``, ``tp``, ``tss`` or ``ecoli``; for the last a gram stands for a million bacteria.
    is_chosen : bool
        True for the one that rafts are placed for.
    is_relative : bool
        True where a flow or a concentration was assumed: no figure is then grams.
    rate_m_yr, settling_m_yr : float
        Areal rates of planted raft and of open water [m/yr].
    rate_range_m_yr : tuple of float
        Range in which the rate of rafts is believed to lie [m/yr].
    load_in_g_d, load_out_g_d, load_out_without_rafts_g_d : float
        Loads in, and out with and without rafts [g/d].
    removed_g_d : float
        Difference of the last two [g/d].
    removed_range_g_d : tuple of float
        The same at the ends of the range of rates [g/d].
    """

    constituent: str
    is_chosen: bool
    is_relative: bool
    rate_m_yr: float
    settling_m_yr: float
    rate_range_m_yr: tuple[float, float]
    load_in_g_d: float
    load_out_g_d: float
    load_out_without_rafts_g_d: float
    removed_g_d: float
    removed_range_g_d: tuple[float, float]


@dataclass(frozen=True)
class Effect:
    """
    What becomes of the load of a water body, with and without rafts.

    Attributes
    ----------
    constituent : str
        ``tn``, ``tp``, ``tss`` or ``ecoli``; for the last a gram stands for a million bacteria.
    is_relative : bool
        True where flows or concentrations were assumed: no figure is then grams.
    inflows : tuple of InflowBasis
        What flows in.
    residence_h : float
        Volume over flow [h].
    load_in_g_d, load_out_g_d, load_out_without_rafts_g_d : float
        Loads in, and out with and without rafts [g/d].
    removed_g_d : float
        Difference of the last two [g/d].
    removed_range_g_d : tuple of float
        The same at the ends of the range of rates [g/d].
    sensitivity : tuple of SensitivityCase
        The plan under other assumptions.
    curve : tuple of CurvePoint
        Load kept against rafts, up to the limit of cover.
    constituents : tuple of ConstituentLoads
        All four side by side, the chosen one among them.
    """

    constituent: str
    is_relative: bool
    inflows: tuple[InflowBasis, ...]
    residence_h: float
    load_in_g_d: float
    load_out_g_d: float
    load_out_without_rafts_g_d: float
    removed_g_d: float
    removed_range_g_d: tuple[float, float]
    sensitivity: tuple[SensitivityCase, ...] = ()
    curve: tuple[CurvePoint, ...] = ()
    constituents: tuple[ConstituentLoads, ...] = ()


@dataclass(frozen=True, eq=False)
class WorthMap:
    """
    Worth of raft area and the way of the water, for files and map.

    Attributes
    ----------
    unit : str
        Unit of the worth.
    steps : tuple of float
        Borders of the classes, rising [unit].
    areas : tuple of MultiPolygon
        Water of each class, working CRS [m].
    streamlines : tuple of LineString
        Ways from the inflows to the outlets, each of an equal share of the flow, working CRS [m].
    """

    unit: str
    steps: tuple[float, ...]
    areas: tuple[MultiPolygon, ...]
    streamlines: tuple[LineString, ...] = ()


@dataclass(frozen=True, eq=False)
class DepthGrid:
    """
    Reliable depth at low level, for the map.

    Attributes
    ----------
    west_m, south_m : float
        Lower left corner of cell (0, 0), working CRS [m].
    cell_size_m : float
        Side of a cell [m].
    depth_low_m : ndarray of float, shape (rows, cols)
        Depth that may be relied on anywhere in the cell at low level; zero where nothing is
        known, NaN off the water [m].
    """

    west_m: float
    south_m: float
    cell_size_m: float
    depth_low_m: FloatArray

    def __post_init__(self) -> None:
        """Lock the array."""
        lock_arrays(self)

    def __reduce__(self) -> tuple[Any, ...]:
        """Rebuild through the constructor, so that the array stays locked after pickling."""
        return (DepthGrid, (self.west_m, self.south_m, self.cell_size_m, self.depth_low_m))


@dataclass(frozen=True, eq=False)
class WaterPlan:
    """
    The plan of one water body.

    Attributes
    ----------
    water_id, name, crs : str
        Identity, and working CRS of every coordinate here.
    rafts : tuple of PlacedRaft
        Planned and existing ones.
    moorings : tuple of Mooring
        Posts of the planned ones.
    routes : tuple of Route
        Tow routes, in order of launching.
    edges : tuple of WaterEdge
        At low, normal and high level.
    cover : tuple of Cover
        At low, normal and high level.
    report : SolveReport
        Value, bound and how they were found.
    room_m2 : float
        Water in which a raft of some type may lie [m²].
    unsurveyed_pct : float
        Share of the water too far from any sounding [%].
    inflow_l_s : float
        Inflow by which worths of several water bodies are compared; assumed where not known [L/s].
    notes : tuple of Fault
        What a reader of this plan must know.
    why_none : str
        Where no raft was placed: the rule that took most away, in words; else empty.
    depth_grid : DepthGrid or None
        Reliable depth, for the map.
    stage : StageCurve or None
        Area and volume by level; ``None`` where no bed is known.
    record : RecordReplay or None
        The plan at the levels of the record; ``None`` without a record.
    waves : tuple of DesignWaves
        Largest waves at normal and high level; empty where not assessed.
    effect : Effect or None
        Loads with and without rafts; ``None`` where no inflow reaches an outlet.
    worth_map : WorthMap or None
        Worth of raft area and streamlines.
    asked_cover : tuple of Cover
        At further levels that the site asks for.
    swept : tuple of SweptArea
        What rafts on lines may sweep; empty where all stand on posts.
    suggested_marks : tuple of Mark
        Pegs to drive and survey on the bank, where the site has fewer than two.
    no_routes : tuple of NoRoute
        Planned rafts without a route; empty where the site names no launch place.
    reasons : Reasons
        What forbids more, what would open room, prices, and another plan; empty on a first pass.
    certificate : Certificate or None
        What proves the bound again; ``None`` on a first pass and where no raft has room.
    trial : TrialRules or None
        By what a page judges rafts that are tried elsewhere.
    """

    water_id: str
    name: str
    crs: str
    rafts: tuple[PlacedRaft, ...]
    moorings: tuple[Mooring, ...]
    routes: tuple[Route, ...]
    edges: tuple[WaterEdge, ...]
    cover: tuple[Cover, ...]
    report: SolveReport
    room_m2: float
    unsurveyed_pct: float
    inflow_l_s: float = 1.0
    notes: tuple[Fault, ...] = ()
    why_none: str = ""
    depth_grid: DepthGrid | None = None
    stage: StageCurve | None = None
    record: RecordReplay | None = None
    waves: tuple[DesignWaves, ...] = ()
    effect: Effect | None = None
    worth_map: WorthMap | None = None
    asked_cover: tuple[Cover, ...] = ()
    swept: tuple[SweptArea, ...] = ()
    suggested_marks: tuple[Mark, ...] = ()
    no_routes: tuple[NoRoute, ...] = ()
    reasons: Reasons = field(default_factory=Reasons)
    certificate: Certificate | None = None
    trial: TrialRules | None = None


@dataclass(frozen=True)
class WaterFailure:
    """
    A water body that could not be planned.

    Attributes
    ----------
    water_id : str
        Which.
    reason : str
        Why, in words.
    """

    water_id: str
    reason: str


@dataclass(frozen=True, eq=False)
class Plan:
    """
    The plan of a site.

    Attributes
    ----------
    site_name : str
        Name of the site.
    client_crs : str
        CRS in which it is written.
    waters : sequence of WaterPlan
        In the order of ``water_id``; of large districts each is read from disk when it is asked
        for.
    seed : int
        Seed of the searches.
    time_limit_s : float or None
        Time that the searches were given; ``None``: until they were done [s].
    kept_from : SourceFile or None
        File that names the rafts whose places a person has fixed.
    failures : tuple of WaterFailure
        Water bodies that could not be planned; the others are.
    allocation : Allocation or None
        Who gets what, where several water bodies share; ``None`` for one alone.
    logistics : Logistics or None
        In which order a crew goes to them; ``None`` where no yard is given.
    """

    site_name: str
    client_crs: str
    waters: Sequence[WaterPlan]
    seed: int = 0
    time_limit_s: float | None = None
    kept_from: SourceFile | None = None
    failures: tuple[WaterFailure, ...] = ()
    allocation: Allocation | None = None
    logistics: Logistics | None = None

    @property
    def water_ids(self) -> tuple[str, ...]:
        """Return the water bodies that are planned, in their order; no plan is read for it."""
        names: tuple[str, ...] | None = getattr(self.waters, "names", None)
        return tuple(water.water_id for water in self.waters) if names is None else names


@dataclass(frozen=True, slots=True)
class Finding:
    """
    One check of the audit on one thing.

    Attributes
    ----------
    check : str
        Name of the rule that was checked.
    water_id, raft_id : str
        What was judged; empty where it is the whole.
    measured, limit : float
        What was found, and what it is held against.
    unit : str
        Unit of both.
    passed : bool
        Whether it holds.
    detail : str
        Words for a person, with what to do where it fails.
    """

    check: str
    water_id: str
    raft_id: str
    measured: float
    limit: float
    unit: str
    passed: bool
    detail: str = ""


@dataclass(frozen=True)
class AuditReport:
    """
    The verdict on a written plan.

    Attributes
    ----------
    findings : sequence of Finding
        Every check, passed or not, in the order of the checks; of a large district read from disk
        when they are asked for.
    failed : tuple of Finding
        Those that do not hold.
    counts : dict of str to tuple of int
        By check how many hold, and how many do not [1].
    """

    findings: Sequence[Finding]
    failed: tuple[Finding, ...] = field(init=False)
    counts: dict[str, tuple[int, int]] = field(init=False)

    def __post_init__(self) -> None:
        """Count once what everyone asks for: there may be a million findings on disk."""
        counts: dict[str, list[int]] = {}
        failed = []
        for finding in self.findings:
            counts.setdefault(finding.check, [0, 0])[0 if finding.passed else 1] += 1
            if not finding.passed:
                failed.append(finding)
        object.__setattr__(self, "failed", tuple(failed))
        both = {check: (held, not_held) for check, (held, not_held) in counts.items()}
        object.__setattr__(self, "counts", both)

    @property
    def passed(self) -> bool:
        """Tell whether every check holds."""
        return not self.failed
