"""
A site: water bodies and what surrounds them, as frozen data in SI.

Each water body has its own working CRS, centred on it; every coordinate of it and of its parts
is in that CRS. Heights are above the site's vertical datum, up positive; no depth is kept.
Readers make these objects and have checked what lies between them; later code trusts them.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from geoplan.errors import Fault
from geoplan.settings import Settings

FloatArray = NDArray[np.float64]


def lock_arrays(instance: Any) -> None:
    """
    Copy the array fields of a frozen dataclass to float and lock them.

    Parameters
    ----------
    instance : Any
        Frozen dataclass, from its ``__post_init__``.
    """
    for part in fields(instance):
        value = getattr(instance, part.name)
        if isinstance(value, np.ndarray):
            kept = np.array(value, dtype=bool if value.dtype == bool else float)
            kept.setflags(write=False)
            object.__setattr__(instance, part.name, kept)


@dataclass(frozen=True)
class Levels:
    """
    The three water levels that a plan is judged at.

    Attributes
    ----------
    low_m, normal_m, high_m : float
        Heights above the vertical datum, in rising order [m].
    """

    low_m: float
    normal_m: float
    high_m: float

    def __post_init__(self) -> None:
        """Refuse levels out of order."""
        if not self.low_m <= self.normal_m <= self.high_m:
            raise ValueError(
                f"levels must rise: low {self.low_m:g}, normal {self.normal_m:g},"
                f" high {self.high_m:g} m"
            )

    def named(self) -> tuple[tuple[str, float], ...]:
        """
        Return the levels with the names that files use.

        Returns
        -------
        tuple of (str, float)
            ``low``, ``normal`` and ``high``, each with its height [m].
        """
        return (("low", self.low_m), ("normal", self.normal_m), ("high", self.high_m))


@dataclass(frozen=True, eq=False)
class LevelRecord:
    """
    Water levels in the order of time.

    Attributes
    ----------
    time_s : ndarray of float, shape (n,)
        Seconds since 1970, rising [s].
    level_m : ndarray of float, shape (n,)
        Heights above the vertical datum [m].
    """

    time_s: FloatArray
    level_m: FloatArray

    def __post_init__(self) -> None:
        """Lock the arrays."""
        lock_arrays(self)

    def __reduce__(self) -> tuple[Any, ...]:
        """Rebuild through the constructor, so that arrays stay locked after pickling."""
        return (LevelRecord, (self.time_s, self.level_m))

    def __len__(self) -> int:
        """Return the number of readings."""
        return len(self.level_m)

    def level_at(self, time_s: FloatArray) -> FloatArray:
        """
        Return the level at given times.

        Parameters
        ----------
        time_s : ndarray of float, shape (m,)
            Seconds since 1970 [s].

        Returns
        -------
        ndarray of float, shape (m,)
            Interpolated between readings, NaN outside the record [m].

        Examples
        --------
        >>> record = LevelRecord(np.array([0.0, 10.0]), np.array([1.0, 2.0]))
        >>> record.level_at(np.array([5.0, 11.0])).tolist()
        [1.5, nan]
        """
        inside: FloatArray = np.interp(
            time_s, self.time_s, self.level_m, left=math.nan, right=math.nan
        )
        return inside

    @property
    def days(self) -> float:
        """Return the time from the first to the last reading [d]."""
        return float(self.time_s[-1] - self.time_s[0]) / 86400.0


@dataclass(frozen=True, eq=False)
class Soundings:
    """
    Measured points of the bed.

    Attributes
    ----------
    easting_m, northing_m : ndarray of float, shape (n,)
        Where, working CRS [m].
    bed_m : ndarray of float, shape (n,)
        Bed elevation above the vertical datum [m].
    sigma_m : ndarray of float, shape (n,)
        One standard deviation of each [m].
    """

    easting_m: FloatArray
    northing_m: FloatArray
    bed_m: FloatArray
    sigma_m: FloatArray

    def __post_init__(self) -> None:
        """Lock the arrays."""
        lock_arrays(self)

    def __reduce__(self) -> tuple[Any, ...]:
        """Rebuild through the constructor, so that arrays stay locked after pickling."""
        return (Soundings, (self.easting_m, self.northing_m, self.bed_m, self.sigma_m))

    def __len__(self) -> int:
        """Return the number of soundings."""
        return len(self.bed_m)


@dataclass(frozen=True, eq=False)
class BedRaster:
    """
    A raster of bed elevation.

    Attributes
    ----------
    bed_m : ndarray of float, shape (rows, cols)
        Elevation at cell centres above the vertical datum, NaN where there is none [m].
    affine : ndarray of float, shape (2, 3)
        Working coordinates of the centre of cell (row, col):
        ``affine @ (col, row, 1)`` is (easting, northing) [m].
    """

    bed_m: FloatArray
    affine: FloatArray

    def __post_init__(self) -> None:
        """Lock the arrays."""
        lock_arrays(self)

    def __reduce__(self) -> tuple[Any, ...]:
        """Rebuild through the constructor, so that arrays stay locked after pickling."""
        return (BedRaster, (self.bed_m, self.affine))


@dataclass(frozen=True, eq=False)
class SurfaceRaster:
    """
    A raster of a surface model: ground with the trees and buildings on it.

    Attributes
    ----------
    surface_m : ndarray of float, shape (rows, cols)
        Elevation at cell centres above the vertical datum, NaN where there is none [m].
    affine : ndarray of float, shape (2, 3)
        Working coordinates of the centre of cell (row, col):
        ``affine @ (col, row, 1)`` is (easting, northing) [m].
    """

    surface_m: FloatArray
    affine: FloatArray

    def __post_init__(self) -> None:
        """Lock the arrays."""
        lock_arrays(self)

    def __reduce__(self) -> tuple[Any, ...]:
        """Rebuild through the constructor, so that arrays stay locked after pickling."""
        return (SurfaceRaster, (self.surface_m, self.affine))


@dataclass(frozen=True)
class Contour:
    """
    A line of equal bed elevation.

    Attributes
    ----------
    line : LineString
        Working CRS [m].
    bed_m : float
        Elevation above the vertical datum [m].
    """

    line: LineString
    bed_m: float


@dataclass(frozen=True)
class Inflow:
    """
    Where water comes in.

    Attributes
    ----------
    inflow_id : str
        Name on plan and map.
    point : Point
        Where it meets the water, working CRS [m].
    flow_l_s, peak_flow_l_s : float or None
        Mean and peak flow [L/s].
    pipe_diameter_m : float or None
        Inside diameter of a pipe [m].
    catchment_ha : float or None
        Area that drains to it [ha].
    runoff_coefficient : float or None
        Share of rain that runs off [1].
    concentrations : dict of str to float
        ``tn_mg_l``, ``tp_mg_l``, ``tss_mg_l`` [mg/L], ``ecoli_per_100ml`` [1/100 mL].
    """

    inflow_id: str
    point: Point
    flow_l_s: float | None = None
    peak_flow_l_s: float | None = None
    pipe_diameter_m: float | None = None
    catchment_ha: float | None = None
    runoff_coefficient: float | None = None
    concentrations: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Outlet:
    """
    Where water leaves.

    Attributes
    ----------
    outlet_id : str
        Name on plan and map.
    geometry : BaseGeometry
        Point or line, working CRS [m].
    width_m : float or None
        Clear width [m].
    sill_m : float or None
        Sill above the vertical datum [m].
    """

    outlet_id: str
    geometry: BaseGeometry
    width_m: float | None = None
    sill_m: float | None = None


@dataclass(frozen=True)
class ShadeObject:
    """
    A building or a tree.

    Attributes
    ----------
    geometry : BaseGeometry
        Outline, or the foot of a tree, working CRS [m].
    height_m : float
        Height of the top above the ground there [m].
    crown_radius_m : float or None
        Radius of a tree's crown [m].
    deciduous : bool
        Bare in winter.
    base_m : float
        Height of the underside of the crown [m].
    """

    geometry: BaseGeometry
    height_m: float
    crown_radius_m: float | None = None
    deciduous: bool = False
    base_m: float = 0.0


@dataclass(frozen=True)
class LaunchPlace:
    """
    A bank from which rafts can be launched.

    Attributes
    ----------
    launch_id : str
        Name on plan and map.
    geometry : BaseGeometry
        Point or line on the bank, working CRS [m].
    slope_pct : float or None
        Slope of the bank [%].
    carry_m : float or None
        Distance from the vehicle [m].
    surface, vehicle : str
        Words of the survey.
    """

    launch_id: str
    geometry: BaseGeometry
    slope_pct: float | None = None
    carry_m: float | None = None
    surface: str = ""
    vehicle: str = ""


@dataclass(frozen=True)
class KeepClear:
    """
    Something no raft may lie on or near.

    Attributes
    ----------
    geometry : BaseGeometry
        Any geometry, working CRS [m].
    buffer_m : float
        Distance to keep from it [m].
    reason : str
        Words for the plan.
    """

    geometry: BaseGeometry
    buffer_m: float
    reason: str


@dataclass(frozen=True)
class Mark:
    """
    A peg on the bank from which positions are taped.

    Attributes
    ----------
    mark_id : str
        What is written on it.
    point : Point
        Working CRS [m].
    """

    mark_id: str
    point: Point


@dataclass(frozen=True)
class ExistingRaft:
    """
    A raft that is in the water already.

    Attributes
    ----------
    raft_id : str
        Its name.
    outline : Polygon
        Water it covers, working CRS [m].
    """

    raft_id: str
    outline: Polygon


@dataclass(frozen=True)
class ShareTerms:
    """
    On what terms a water body shares in the rafts of its district.

    Attributes
    ----------
    ward : str
        Part of the district that it is counted in; may be empty.
    wanted : str
        ``may``, ``must`` or ``never`` have rafts.
    mobilisation_cost : float
        Price of setting up there at all, in the client's currency.
    min_cover_pct : float
        Least of the normal pool that must be covered where any raft is placed [%].
    """

    ward: str = ""
    wanted: str = "may"
    mobilisation_cost: float = 0.0
    min_cover_pct: float = 0.0


@dataclass(frozen=True, eq=False)
class WaterBody:
    """
    One pond or lake with what belongs to it.

    Attributes
    ----------
    water_id, name : str
        Identity, and what people call it.
    crs : str
        Working CRS of every coordinate here.
    outline : Polygon
        Water's edge with islands as holes [m].
    outline_level_m : float
        Water level at which it was drawn [m].
    levels : Levels
        Low, normal and high.
    max_cover_pct : float
        Most of the normal pool that rafts may cover [%].
    soundings : Soundings
        Points of the bed; may be empty.
    contours, inflows, outlets, shade, launches, keep_clear, marks, rafts : tuple
        Parts that touch this water body.
    bed_raster : BedRaster or None
        Raster of the bed.
    surface_raster : SurfaceRaster or None
        Raster of what may shade the water, over the water and its surroundings.
    record : LevelRecord or None
        Water levels that were read there; ``None`` where there is no record.
    terms : ShareTerms
        On what terms it shares in the rafts of the district.
    """

    water_id: str
    name: str
    crs: str
    outline: Polygon
    outline_level_m: float
    levels: Levels
    max_cover_pct: float
    soundings: Soundings
    contours: tuple[Contour, ...] = ()
    bed_raster: BedRaster | None = None
    inflows: tuple[Inflow, ...] = ()
    outlets: tuple[Outlet, ...] = ()
    shade: tuple[ShadeObject, ...] = ()
    launches: tuple[LaunchPlace, ...] = ()
    keep_clear: tuple[KeepClear, ...] = ()
    marks: tuple[Mark, ...] = ()
    rafts: tuple[ExistingRaft, ...] = ()
    surface_raster: SurfaceRaster | None = None
    record: LevelRecord | None = None
    terms: ShareTerms = ShareTerms()

    def __post_init__(self) -> None:
        """Refuse an outline that no area can be taken from."""
        if isinstance(self.outline, MultiPolygon) or self.outline.is_empty:
            raise ValueError(f"water body '{self.water_id}': the outline must be one polygon")


def names_of(bodies: Sequence[WaterBody]) -> Sequence[str]:
    """
    Return what water bodies are called, without reading those that lie on disk.

    Parameters
    ----------
    bodies : sequence of WaterBody
        Held in memory, or with an attribute ``names`` that tells their ``water_id`` unread.

    Returns
    -------
    sequence of str
        ``water_id`` of each, in their order.

    Examples
    --------
    >>> names_of(())
    []
    """
    told: Sequence[str] | None = getattr(bodies, "names", None)
    return [body.water_id for body in bodies] if told is None else told


class BodiesById(Mapping[str, WaterBody]):
    """
    Water bodies by their names, none of which is read before it is asked for.

    Parameters
    ----------
    bodies : sequence of WaterBody
        As ``names_of`` takes them.
    """

    def __init__(self, bodies: Sequence[WaterBody]) -> None:
        self._bodies = bodies
        self._at: dict[str, int] = {name: at for at, name in enumerate(names_of(bodies))}

    def __getitem__(self, water_id: str) -> WaterBody:
        """Return one."""
        return self._bodies[self._at[water_id]]

    def __iter__(self) -> Iterator[str]:
        """Yield the names."""
        return iter(self._at)

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self._at)


@dataclass(frozen=True)
class SourceFile:
    """
    A file that a site was read from.

    Attributes
    ----------
    path : str
        Relative to the site.
    sha256 : str
        Hash of its bytes, in hexadecimal.
    """

    path: str
    sha256: str


@dataclass(frozen=True, eq=False)
class Site:
    """
    Everything a plan is made from.

    Attributes
    ----------
    settings : Settings
        ``site.toml``.
    client_crs : str
        Projected CRS of ``plan.gpkg``, as EPSG code or WKT.
    water_bodies : sequence of WaterBody
        In the order of ``water_id``; of large districts each is read from disk when it is asked
        for.
    sources : tuple of SourceFile
        Files read.
    notes : tuple of Fault
        Everything repaired, ignored or assumed on reading.
    location : str
        Where the site lies, seen from the plan folder; empty where no plan is written.
    """

    settings: Settings
    client_crs: str
    water_bodies: Sequence[WaterBody]
    sources: tuple[SourceFile, ...] = ()
    notes: tuple[Fault, ...] = ()
    location: str = ""

    @property
    def by_id(self) -> Mapping[str, WaterBody]:
        """Return the water bodies by ``water_id``; one that lies on disk is read when asked for."""
        return BodiesById(self.water_bodies)
