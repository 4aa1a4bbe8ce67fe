"""What holds a planned raft, and the water that it may sweep on lines."""

from dataclasses import dataclass

from shapely.geometry import MultiPolygon


@dataclass(frozen=True)
class Mooring:
    """
    One post (or anchor) of a raft.

    Attributes
    ----------
    mooring_id, raft_id : str
        Identity.
    kind : str
        ``post`` or ``anchor``.
    easting_m, northing_m : float
        Where [m].
    depth_high_m : float
        Water there at high level, as deep as it may be [m].
    length_m : float
        Whole length of the post, or of the line to the anchor [m].
    embedment_m : float
        Part of a post in the bed; zero for an anchor [m].
    load_n, capacity_n : float or None
        Design load and what it bears, a screening that an engineer must sign; ``None`` where not
        assessed [N].
    load_case, governs : str
        What makes up the load of the whole raft; what limits the capacity.
    fairlead_easting_m, fairlead_northing_m : float or None
        Where a line leaves the raft; ``None`` for a post [m].
    watch_radius_low_m : float or None
        How far from above the anchor the fairlead may get at low level; ``None`` for a post [m].
    block_kg : float or None
        Mass of a dead weight in air; ``None`` for anything else [kg].
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
    load_case: str = ""
    governs: str = ""
    fairlead_easting_m: float | None = None
    fairlead_northing_m: float | None = None
    watch_radius_low_m: float | None = None
    block_kg: float | None = None


@dataclass(frozen=True)
class SweptArea:
    """
    The water that a raft on lines may sweep at one level.

    Attributes
    ----------
    raft_id : str
        Which raft.
    level_name : str
        ``low``, ``normal`` or ``high``.
    level_m : float
        Height above the vertical datum [m].
    outline : MultiPolygon
        Never less than what it can sweep, working CRS [m].
    """

    raft_id: str
    level_name: str
    level_m: float
    outline: MultiPolygon
