"""What a survey of rafts found: typed data, in the CRS of the plan."""

from dataclasses import dataclass
from typing import Literal

from shapely.geometry import Polygon

from geoplan.errors import Fault
from geoplan.plan import Cover
from geoplan.readers.fixes import Inspection

#: What became of a raft.
State = Literal["in place", "moved", "turned", "moved and turned", "not planned"]
#: What a survey lets one say of a rule.
Verdict = Literal["holds", "fails", "cannot be told"]


@dataclass(frozen=True, eq=False)
class SurveyedRaft:
    """
    A raft where it lies.

    Attributes
    ----------
    raft_id : str
        Planned raft that it is; the surveyor's name where it was never planned.
    surveyed_name : str
        Name that the surveyor gave; empty where none.
    water_id, raft_type : str
        Water body and raft type; empty where unknown.
    easting_m, northing_m : float
        Centre, CRS of the plan [m].
    heading_deg : float
        Long axis, clockwise from grid north, 0 to 180 [°].
    length_m, width_m : float
        Size that was laid into the fixes [m].
    outline : Polygon
        Water it covers, CRS of the plan [m].
    half_axis_major_m, half_axis_minor_m, bearing_deg : float
        Half axes of the region that holds the centre 19 times in 20, and the bearing of the longer
        from grid north [m, m, °].
    moved_m, turned_deg : float or None
        Departure from the plan [m, °]; ``None`` where there is no plan, or no heading was measured.
    turned_doubt_deg : float or None
        What the turn may be wrong by, 19 times in 20 [°].
    worst_residual_m : float
        Largest distance of a fix from its corner [m].
    is_heading_measured : bool
        Whether the fixes settle the heading.
    is_identity_sure : bool
        Whether it can be told from its neighbours 20 to 1.
    state : {"in place", "moved", "turned", "moved and turned", "not planned"}
        What became of it.
    """

    raft_id: str
    surveyed_name: str
    water_id: str
    raft_type: str
    easting_m: float
    northing_m: float
    heading_deg: float
    length_m: float
    width_m: float
    outline: Polygon
    half_axis_major_m: float
    half_axis_minor_m: float
    bearing_deg: float
    moved_m: float | None
    turned_deg: float | None
    turned_doubt_deg: float | None
    worst_residual_m: float
    is_heading_measured: bool
    is_identity_sure: bool
    state: State


@dataclass(frozen=True)
class SurveyFinding:
    """
    A rule held against the rafts as they lie.

    Attributes
    ----------
    check : str
        Name of the rule.
    water_id, raft_id : str
        What was judged; empty where it is the whole.
    measured, measured_at_worst, limit : float
        At the fitted place; at the worst place within the survey's error; what both are held
        against [unit].
    unit : str
        Unit of the three.
    verdict : {"holds", "fails", "cannot be told"}
        ``cannot be told`` where the error of the survey decides.
    detail : str
        Words for a person.
    """

    check: str
    water_id: str
    raft_id: str
    measured: float
    measured_at_worst: float
    limit: float
    unit: str
    verdict: Verdict
    detail: str


@dataclass(frozen=True)
class SinceEarlier:
    """
    What changed since an earlier survey.

    Attributes
    ----------
    raft_id : str
        Which raft.
    drift_m : float or None
        How far it moved [m]; ``None`` where it is gone, or new.
    doubt_m : float
        What the drift may be wrong by, 19 times in 20 [m].
    words : str
        ``lost``, ``new``, ``drifted`` or ``no drift that the surveys can tell``.
    """

    raft_id: str
    drift_m: float | None
    doubt_m: float
    words: str


@dataclass(frozen=True, eq=False)
class AsBuilt:
    """
    A survey of the rafts of a plan.

    Attributes
    ----------
    site_name, crs : str
        The plan's.
    surveyed_on : str
        Date of the survey, as stated; empty where not.
    level_m : float or None
        Water level at the time [m].
    rafts : tuple of SurveyedRaft
        Every raft that was fixed.
    missing : tuple of str
        Planned rafts without a fix.
    covers : tuple of (str, tuple of Cover)
        For each water body, cover of the rafts as they lie, existing ones included.
    findings : tuple of SurveyFinding
        Rules held against them.
    since : tuple of SinceEarlier
        Against the last survey before; empty where there is none.
    level_change_m : float or None
        Change of the level since then [m].
    seen : tuple of Inspection
        What inspectors wrote down of each raft.
    notes : tuple of Fault
        What was assumed, and what a reader must know.
    """

    site_name: str
    crs: str
    surveyed_on: str
    level_m: float | None
    rafts: tuple[SurveyedRaft, ...]
    missing: tuple[str, ...]
    covers: tuple[tuple[str, tuple[Cover, ...]], ...]
    findings: tuple[SurveyFinding, ...]
    since: tuple[SinceEarlier, ...] = ()
    level_change_m: float | None = None
    seen: tuple[Inspection, ...] = ()
    notes: tuple[Fault, ...] = ()
