"""What a ``plan.gpkg`` says, row by row, as it stands there: nothing is believed of it."""

from dataclasses import dataclass

from shapely.geometry import LineString, MultiPolygon, Polygon

from geoplan.written_tapes import WrittenMark, WrittenTape


@dataclass(frozen=True)
class WrittenRaft:
    """
    A row of the layer ``rafts``, as it stands in the file.

    Attributes
    ----------
    raft_id, water_id, raft_type, status : str
        Identity and state.
    outline : Polygon
        Water it covers, CRS of the file [m].
    length_m, width_m : float
        Size that the row states [m].
    depth_low_m : float or None
        Depth that the row states [m].
    draft_m, freeboard_m, wave_height_m : float or None
        What the row states [m].
    removal_g_d : float or None
        Load that the row says it takes out, in the unit of its water's row of loads [g/d].
    """

    raft_id: str
    water_id: str
    raft_type: str
    status: str
    outline: Polygon
    length_m: float
    width_m: float
    depth_low_m: float | None
    draft_m: float | None = None
    freeboard_m: float | None = None
    wave_height_m: float | None = None
    removal_g_d: float | None = None


@dataclass(frozen=True)
class WrittenMooring:
    """
    A row of the layer ``moorings``, as it stands in the file.

    Attributes
    ----------
    mooring_id, raft_id, kind : str
        Identity and kind.
    easting_m, northing_m : float
        Where, CRS of the file [m].
    depth_high_m, length_m, embedment_m : float
        What the row states [m].
    load_n, capacity_n : float or None
        What the row states [N].
    block_kg : float or None
        Dead weight that the row states [kg].
    """

    mooring_id: str
    raft_id: str
    kind: str
    easting_m: float
    northing_m: float
    depth_high_m: float
    length_m: float
    embedment_m: float
    load_n: float | None = None
    capacity_n: float | None = None
    block_kg: float | None = None


@dataclass(frozen=True)
class WrittenRoute:
    """
    A row of the layer ``routes``, as it stands in the file.

    Attributes
    ----------
    raft_id, launch_id : str
        Which raft, from which bank.
    sequence : int
        Place in the order.
    path : LineString
        CRS of the file [m].
    length_m, clearance_m, turn_before_m : float
        Length, least distance from what bars the way, and where the raft takes its last heading
        before the end, as the row states them [m].
    has_room : bool
        Whether the row states that the raft can be towed, turned and hauled along it.
    least_depth_m, width_m, turning_m : float
        Least depth along it, width towed and diameter of turning that the row states [m].
    mass_kg : float
        Bare mass of the raft that the row states [kg].
    people : float
        People on the bank that the row states [1].
    brought_by : str
        How they bring the raft in, as the row says.
    haul_n : float
        Pull up the bank that the row states [N].
    """

    raft_id: str
    launch_id: str
    sequence: int
    path: LineString
    length_m: float
    clearance_m: float
    turn_before_m: float
    has_room: bool
    least_depth_m: float
    width_m: float
    turning_m: float
    mass_kg: float
    people: float
    brought_by: str
    haul_n: float


@dataclass(frozen=True)
class WrittenEdge:
    """
    A row of the layer ``water_edges``, as it stands in the file.

    Attributes
    ----------
    water_id, level_name : str
        Which water body, at which level.
    level_m : float
        Height above the vertical datum [m].
    outline : MultiPolygon
        CRS of the file [m].
    area_m2, volume_m3, cover_pct : float
        What the row states [m², m³, %].
    """

    water_id: str
    level_name: str
    level_m: float
    outline: MultiPolygon
    area_m2: float
    volume_m3: float
    cover_pct: float


@dataclass(frozen=True)
class WrittenMaterial:
    """
    A row of the layer ``materials``, as it stands in the file; the whole plan.

    Attributes
    ----------
    item, size, unit : str
        What, in which size, and the unit of what is ordered.
    ordered : float
        Quantity with waste (unit of the row).
    """

    item: str
    size: str
    unit: str
    ordered: float


@dataclass(frozen=True)
class WrittenWhyNot:
    """
    A row of the layer ``why_not``, as it stands in the file.

    Attributes
    ----------
    water_id, rule : str
        Which water body, and the rule that governs there.
    area : MultiPolygon
        CRS of the file [m].
    area_m2 : float
        What the row states [m²].
    """

    water_id: str
    rule: str
    area: MultiPolygon
    area_m2: float


@dataclass(frozen=True)
class WrittenLoads:
    """
    A row of the layer ``loads``, as it stands in the file.

    Attributes
    ----------
    water_id, constituent : str
        What of which water body.
    is_chosen, is_relative : bool
        Whether rafts are placed for it; whether its figures are shares of what flows in.
    load_in, load_out_without_rafts, load_out, removed, removed_lowest, removed_highest : float
        Loads that the row states [g/d, million/d, or shares].
    """

    water_id: str
    constituent: str
    is_chosen: bool
    is_relative: bool
    load_in: float
    load_out_without_rafts: float
    load_out: float
    removed: float
    removed_lowest: float
    removed_highest: float


@dataclass(frozen=True)
class WrittenPlan:
    """
    What a ``plan.gpkg`` says, read back.

    Attributes
    ----------
    crs : str
        CRS of every coordinate, as WKT.
    rafts : tuple of WrittenRaft
        Layer ``rafts``.
    moorings : tuple of WrittenMooring
        Layer ``moorings``.
    routes : tuple of WrittenRoute
        Layer ``routes``.
    edges : tuple of WrittenEdge
        Layer ``water_edges``.
    materials : tuple of WrittenMaterial
        Layer ``materials``.
    marks : tuple of WrittenMark
        Layer ``marks``.
    tapes : tuple of WrittenTape
        Layer ``setting_out``.
    why_not : tuple of WrittenWhyNot
        Layer ``why_not``.
    loads : tuple of WrittenLoads
        Layer ``loads``.
    """

    crs: str
    rafts: tuple[WrittenRaft, ...]
    moorings: tuple[WrittenMooring, ...]
    routes: tuple[WrittenRoute, ...]
    edges: tuple[WrittenEdge, ...]
    materials: tuple[WrittenMaterial, ...] = ()
    why_not: tuple[WrittenWhyNot, ...] = ()
    marks: tuple[WrittenMark, ...] = ()
    tapes: tuple[WrittenTape, ...] = ()
    loads: tuple[WrittenLoads, ...] = ()
