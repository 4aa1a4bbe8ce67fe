"""From fixes to surveyed rafts: group, lay in, match with the plan, tell what departed from it."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from geoplan.asbuilt.fit import RaftFit, fit_raft
from geoplan.asbuilt.matching import match_rafts
from geoplan.asbuilt.record import State, SurveyedRaft
from geoplan.crs import WGS84, transformed, transformed_points, working_crs
from geoplan.errors import Fault
from geoplan.raft import RaftType, footprints
from geoplan.readers.fixes import Fix
from geoplan.written import WrittenPlan, WrittenRaft

FloatArray = NDArray[np.float64]

#: A raft this near its plan is in place, whatever the survey can tell [m]. *Judgement*.
IN_PLACE_M = 0.5
#: The same for its heading [°]. *Judgement*.
IN_PLACE_DEG = 5.0
#: Two-sided 95 % of a normal distribution [1].
TWO_SIDED_95 = 1.96
#: Fixes whose misfit is rarer than this are told [1].
RARE_MISFIT = 0.001
#: A fix farther than this from every water body of the plan has gone astray [m].
ASTRAY_M = 100.0
#: No survey meets the plan to a millimetre; coordinates that do were copied [m].
_COPIED_M = 0.002


@dataclass(frozen=True, eq=False)
class LaidWater:
    """
    The rafts of one water body as surveyed.

    Attributes
    ----------
    rafts : tuple of SurveyedRaft
        In the order of the plan, then those that were not planned.
    missing : tuple of str
        Planned rafts without a fix.
    notes : tuple of Fault
        What a reader must know.
    """

    rafts: tuple[SurveyedRaft, ...]
    missing: tuple[str, ...]
    notes: tuple[Fault, ...]


def by_water(
    fixes: Sequence[Fix], written: WrittenPlan, file: str
) -> tuple[dict[str, list[Fix]], tuple[Fault, ...]]:
    """
    Sort fixes by the water body in which they lie.

    Parameters
    ----------
    fixes : sequence of Fix
        Every fix.
    written : WrittenPlan
        The plan as it stands in its file.
    file : str
        Name of the file of fixes.

    Returns
    -------
    dict of str to list of Fix
        By ``water_id``, each water body of the plan.
    tuple of Fault
        An error for each fix that lies far from all of them.
    """
    names = list(dict.fromkeys(edge.water_id for edge in written.edges))
    outlines = [
        shapely.union_all([one.outline for one in written.edges if one.water_id == name])
        for name in names
    ]
    sorted_out: dict[str, list[Fix]] = {name: [] for name in names}
    faults = []
    for fix in fixes:
        crs = working_crs(fix.longitude_deg, fix.latitude_deg)
        at = transformed(shapely.Point(fix.longitude_deg, fix.latitude_deg), WGS84, crs)
        away = [float(at.distance(transformed(one, written.crs, crs))) for one in outlines]
        nearest = int(np.argmin(away)) if away else -1
        if nearest < 0 or away[nearest] > ASTRAY_M:
            far = f"{away[nearest]:.0f} m from the nearest" if away else "in a plan without any"
            faults.append(
                Fault(
                    "error", file, f"a fix {far} water body", f"at most {ASTRAY_M:g} m",
                    "Check its coordinates and their CRS.", "fixes", f"row {fix.row}",
                    (fix.longitude_deg, fix.latitude_deg),
                )
            )  # fmt: skip
        else:
            sorted_out[names[nearest]].append(fix)
    return sorted_out, tuple(faults)


def lay_rafts(
    water_id: str,
    fixes: Sequence[Fix],
    written: WrittenPlan,
    kinds: Sequence[RaftType],
    file: str,
) -> LaidWater:
    """
    Lay the rafts of one water body into their fixes and tell which planned raft each is.

    Parameters
    ----------
    water_id : str
        The water body.
    fixes : sequence of Fix
        Fixes in it.
    written : WrittenPlan
        The plan as it stands in its file.
    kinds : sequence of RaftType
        Sizes that a raft may have.
    file : str
        Name of the file of fixes.

    Returns
    -------
    LaidWater
        Every surveyed raft with its departure from the plan.
    """
    planned = [raft for raft in written.rafts if raft.water_id == water_id]
    groups = _grouped(fixes)
    if not groups:
        return LaidWater((), tuple(raft.raft_id for raft in planned), ())
    first = fixes[0]
    ground = _Ground(written.crs, working_crs(first.longitude_deg, first.latitude_deg))
    poses = [ground.pose(raft) for raft in planned]
    sizes = _sizes(planned, kinds)
    fits = [[_fitted(ground, group, size, poses) for size in sizes] for group in groups]
    own = [sizes.index((raft.length_m, raft.width_m)) for raft in planned]
    pair, is_sure = _paired(groups, fits, planned, poses, own)
    rafts, notes = [], []
    for at, group in enumerate(groups):
        plan_at = int(pair[at])
        size_at = own[plan_at] if plan_at >= 0 else _best(fits[at])
        laid = _surveyed(
            ground, group, fits[at][size_at], sizes[size_at],
            (planned[plan_at], poses[plan_at]) if plan_at >= 0 else None,
            bool(is_sure[at]), water_id,
        )  # fmt: skip
        rafts.append((plan_at if plan_at >= 0 else len(planned) + at, laid))
        notes += _notes(laid, fits[at][size_at], group, file)
    rafts.sort(key=lambda one: one[0])
    found = set(pair.tolist())
    missing = tuple(one.raft_id for at, one in enumerate(planned) if at not in found)
    return LaidWater(tuple(one for _, one in rafts), missing, tuple(notes))


class _Ground:
    """Between degrees, the plan's CRS and metres on the ground."""

    def __init__(self, plan_crs: str, crs: str) -> None:
        self.plan_crs = plan_crs
        self.crs = crs

    def metres(self, fixes: Sequence[Fix]) -> FloatArray:
        """Return fixes on the ground."""
        longitude = np.array([fix.longitude_deg for fix in fixes])
        latitude = np.array([fix.latitude_deg for fix in fixes])
        return np.column_stack(transformed_points(longitude, latitude, WGS84, self.crs))

    def pose(self, raft: WrittenRaft) -> tuple[float, float, float]:
        """Return centre and heading of a planned raft on the ground."""
        outline = transformed(raft.outline, self.plan_crs, self.crs)
        return (outline.centroid.x, outline.centroid.y, heading_of(outline))

    def outline(self, fit: RaftFit, size: tuple[float, float]) -> Polygon:
        """Return a raft as it lies, in the plan's CRS."""
        rectangle = footprints(
            [fit.easting_m], [fit.northing_m], [fit.heading_deg], [size[0]], [size[1]]
        )[0]
        moved: Polygon = transformed(rectangle, self.crs, self.plan_crs)
        return moved


def heading_of(outline: Polygon) -> float:
    """
    Return the direction of the longer sides of an outline.

    Parameters
    ----------
    outline : Polygon
        Any outline; of one without four corners, its smallest rectangle counts [m].

    Returns
    -------
    float
        Clockwise from grid north, 0 to 180 [°].

    Examples
    --------
    >>> heading_of(shapely.box(0, 0, 4, 2))
    90.0
    """
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(outline))
    side = np.diff(corners[:3], axis=0)
    longest = side[int(np.argmax(np.hypot(side[:, 0], side[:, 1])))]
    return math.degrees(math.atan2(longest[0], longest[1])) % 180.0


def _grouped(fixes: Sequence[Fix]) -> list[list[Fix]]:
    """Return the fixes of each raft: those of one name, or of one row where nobody named it."""
    groups: dict[object, list[Fix]] = {}
    for fix in fixes:
        groups.setdefault(fix.raft_name or fix.row, []).append(fix)
    return list(groups.values())


def _sizes(planned: Iterable[WrittenRaft], kinds: Iterable[RaftType]) -> list[tuple[float, float]]:
    """Return every size that a raft may have."""
    sizes = [(raft.length_m, raft.width_m) for raft in planned]
    return list(dict.fromkeys(sizes + [(kind.length_m, kind.width_m) for kind in kinds]))


def _fitted(
    ground: _Ground,
    group: Sequence[Fix],
    size: tuple[float, float],
    poses: Sequence[tuple[float, float, float]],
) -> RaftFit:
    """Return a raft of one size laid into its fixes; the nearest plan gives a heading."""
    at = ground.metres(group)
    centre = at.mean(axis=0)
    near = min(poses, key=lambda pose: math.dist(pose[:2], centre), default=(0.0, 0.0, 0.0))
    sigma = np.array([fix.sigma_m for fix in group])
    return fit_raft(at, sigma, np.array([fix.item for fix in group]), size, near[2])


def _best(fits: Sequence[RaftFit]) -> int:
    """Return the size of least misfit."""
    return int(np.argmin([fit.misfit for fit in fits]))


def _paired(
    groups: Sequence[Sequence[Fix]],
    fits: Sequence[Sequence[RaftFit]],
    planned: Sequence[WrittenRaft],
    poses: Sequence[tuple[float, float, float]],
    own: Sequence[int],
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Return the planned raft of each group, and whether it is sure."""
    misfit = np.array([[fit.misfit for fit in row] for row in fits])
    best = [row[_best(row)] for row in fits]
    names = [raft.raft_id.casefold() for raft in planned]
    found = match_rafts(
        seen_m=np.array([(fit.easting_m, fit.northing_m) for fit in best]),
        sigma_m=np.sqrt([float(np.linalg.eigvalsh(fit.covariance_m2)[-1]) for fit in best]),
        planned_m=np.array([pose[:2] for pose in poses]).reshape(-1, 2),
        is_named=np.array(
            [[group[0].raft_name.casefold() == name for name in names] for group in groups]
        ).reshape(len(groups), len(names)),
        misfit=(misfit - misfit.min(axis=1, keepdims=True))[:, list(own)],
    )
    return found.planned, found.is_sure


def _surveyed(
    ground: _Ground,
    group: Sequence[Fix],
    fit: RaftFit,
    size: tuple[float, float],
    plan: tuple[WrittenRaft, tuple[float, float, float]] | None,
    is_sure: bool,
    water_id: str,
) -> SurveyedRaft:
    """Return a raft as it lies, with its departure from the plan."""
    outline = ground.outline(fit, size)
    major, minor, bearing = fit.ellipse_m
    moved = turned = doubt = None
    if plan is not None:
        moved = math.dist(plan[1][:2], (fit.easting_m, fit.northing_m))
        if fit.is_heading_measured:
            turned = (fit.heading_deg - plan[1][2] + 90.0) % 180.0 - 90.0
            doubt = TWO_SIDED_95 * fit.heading_sigma_deg
    return SurveyedRaft(
        raft_id=plan[0].raft_id if plan else group[0].raft_name or f"row {group[0].row}",
        surveyed_name=group[0].raft_name,
        water_id=water_id,
        raft_type=plan[0].raft_type if plan else "",
        easting_m=outline.centroid.x,
        northing_m=outline.centroid.y,
        heading_deg=heading_of(outline),
        length_m=size[0],
        width_m=size[1],
        outline=outline,
        half_axis_major_m=major,
        half_axis_minor_m=minor,
        bearing_deg=bearing,
        moved_m=moved,
        turned_deg=turned,
        turned_doubt_deg=doubt,
        worst_residual_m=float(fit.residual_m.max()),
        is_heading_measured=fit.is_heading_measured,
        is_identity_sure=is_sure,
        state=_state(moved, major, turned, doubt),
    )


def _state(
    moved: float | None, doubt_m: float, turned: float | None, doubt_deg: float | None
) -> State:
    """Return what became of a raft; what the survey cannot tell counts as in place."""
    if moved is None:
        return "not planned"
    has_moved = moved > max(IN_PLACE_M, doubt_m)
    has_turned = turned is not None and abs(turned) > max(IN_PLACE_DEG, doubt_deg or 0.0)
    if has_moved:
        return "moved and turned" if has_turned else "moved"
    return "turned" if has_turned else "in place"


def _notes(laid: SurveyedRaft, fit: RaftFit, group: Sequence[Fix], file: str) -> list[Fault]:
    """Return what a reader must know of how a raft was surveyed."""
    out = []

    def warn(found: str, expected: str, remedy: str) -> None:
        name = f"raft '{group[0].raft_name or laid.raft_id}'"
        out.append(Fault("warning", file, found, expected, remedy, "fixes", name))

    if laid.state == "not planned":
        warn("no planned raft at its place", "a raft of the plan", "It counts in cover and rules.")
    elif laid.surveyed_name and laid.surveyed_name.casefold() != laid.raft_id.casefold():
        warn(
            f"it lies where '{laid.raft_id}' was planned",
            "the name of the plan",
            f"It is taken for '{laid.raft_id}'; correct the label, or the survey.",
        )
    if not laid.is_identity_sure:
        warn(
            f"fixes of {max(fix.sigma_m for fix in group):g} m among rafts so close",
            "errors well below the distance between rafts",
            f"Which raft it is cannot be told; '{laid.raft_id}' is the likeliest.",
        )
    if fit.misfit_chance < RARE_MISFIT:
        warn(
            f"fixes up to {laid.worst_residual_m:.2f} m off a raft of"
            f" {laid.length_m:g} by {laid.width_m:g} m",
            "fixes that agree with its size within their stated error",
            "Survey it again: a fix, the raft's size or the stated error is wrong.",
        )
    off_m = max(laid.worst_residual_m, laid.moved_m if laid.moved_m is not None else math.inf)
    if off_m < _COPIED_M:
        warn(
            "fixes that meet the plan to the millimetre",
            "coordinates that were surveyed",
            "They look copied from the plan: survey the raft.",
        )
    return out
