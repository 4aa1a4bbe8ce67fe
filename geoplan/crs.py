"""
The working CRS of a water body, and the way to other CRSs and back.

Planar work is done in a transverse Mercator centred on the water body, scale 1: on a pond its
area error is below 1e-8, where a UTM zone is 0.04 to 0.2 % off, and its grid north is true north
at the centre. One of two modules that use pyproj; the other is the audit, on purpose apart.
"""

import re
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Geod, Transformer, proj_version_str
from pyproj.exceptions import CRSError
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

WGS84 = "EPSG:4326"
_GEOD = Geod(ellps="WGS84")
#: Up to this extent, and this latitude, areas are taken on a projection [°].
_NEAR_DEG, _POLE_DEG = 0.1, 89.0


def working_crs(longitude_deg: float, latitude_deg: float) -> str:
    """
    Return the transverse Mercator centred on a place, as a PROJ string.

    Parameters
    ----------
    longitude_deg, latitude_deg : float
        Centre of the water body, WGS 84 [°].

    Returns
    -------
    str
        Definition with scale 1, no false origin, metres.

    Notes
    -----
    The centre is rounded to 1e-5° so that the same pond read from two files gets the same CRS.
    Scale error grows as x²/2R²: 3e-9 at 0.5 km, 1e-6 at 9 km from the centre.

    Examples
    --------
    >>> working_crs(9.5, 56.1)
    '+proj=tmerc +lat_0=56.10000 +lon_0=9.50000 +k=1 +x_0=0 +y_0=0 +datum=WGS84 +units=m +no_defs'
    """
    return (
        f"+proj=tmerc +lat_0={latitude_deg:.5f} +lon_0={longitude_deg:.5f} +k=1 +x_0=0 +y_0=0"
        " +datum=WGS84 +units=m +no_defs"
    )


def utm_crs(longitude_deg: float, latitude_deg: float) -> str:
    """
    Return the UTM zone of a place, for files of a client who named no CRS.

    Parameters
    ----------
    longitude_deg, latitude_deg : float
        Place, WGS 84 [°].

    Returns
    -------
    str
        ``EPSG:326xx`` north of the equator, ``EPSG:327xx`` south of it.

    Examples
    --------
    >>> utm_crs(9.5, 56.1)
    'EPSG:32632'
    """
    zone = int((longitude_deg + 180) // 6) % 60 + 1
    return f"EPSG:{32600 + zone if latitude_deg >= 0 else 32700 + zone}"


#: Places of working CRSs from whose operations those of all others are made.
_SOME, _OTHER = (11.11111, 22.22222), (33.33333, 44.44444)
_WORKING = re.compile(
    r"\+proj=tmerc (\+lat_0=\S+ \+lon_0=\S+) \+k=1 \+x_0=0 \+y_0=0"
    r" \+datum=WGS84 \+units=m \+no_defs"
)


@lru_cache(maxsize=256)
def _transformers(source: str, target: str) -> tuple[Transformer, ...]:
    """
    Return the transformers from one CRS to another, one after the other.

    Looking up how to get to a working CRS takes PROJ 7 to 50 ms and some ten kilobytes that it does
    not give back, for each water body anew, though only the middle of the projection differs.
    """
    ends = [_WORKING.fullmatch(text) for text in (source, target)]
    if not any(ends):
        return (Transformer.from_crs(_crs(source), _crs(target), always_xy=True),)
    places = [_SOME, _OTHER]
    like = [
        working_crs(*place) if end else text
        for end, place, text in zip(ends, places, (source, target), strict=True)
    ]
    steps = _operation(*like)
    middles = [_centre(*place) for end, place in zip(ends, places, strict=True) if end]
    if steps is not None and all(steps.count(middle) == 1 for middle in middles):
        for middle, end in zip(middles, filter(None, ends), strict=True):
            steps = steps.replace(middle, end[1].replace("+", ""))
        return (Transformer.from_pipeline(steps),)
    if WGS84 in {source, target}:  # PROJ writes its steps otherwise than is known here
        return (Transformer.from_crs(_crs(source), _crs(target), always_xy=True),)
    # PROJ chooses among several ways by place.
    return (*_transformers(source, WGS84), *_transformers(WGS84, target))


def forget_ways() -> None:
    """
    Forget the ways from one CRS to another, which are found anew when they are asked for.

    Each takes some 17 kB in pieces. The last few hundred of a large district lie all over what it
    was read in, and none of that could be given back to the system.

    Examples
    --------
    >>> forget_ways()
    """
    _transformers.cache_clear()


@lru_cache(maxsize=64)
def _operation(source: str, target: str) -> str | None:
    """Return the steps from one CRS to another as PROJ writes them, where it knows but one way."""
    made = Transformer.from_crs(_crs(source), _crs(target), always_xy=True)
    return made.definition if made.definition.startswith("proj=") else None


def _centre(longitude_deg: float, latitude_deg: float) -> str:
    """Return how PROJ writes the middle of a working CRS."""
    return f"lat_0={latitude_deg} lon_0={longitude_deg}"


@lru_cache(maxsize=64)
def _crs(text: str) -> CRS:
    """Return the CRS a text names; a working CRS is understood as lying on WGS 84."""
    return CRS.from_user_input(text)


def is_known(text: str) -> bool:
    """
    Tell whether a text names a CRS.

    Parameters
    ----------
    text : str
        EPSG code, WKT or PROJ string.

    Returns
    -------
    bool
        True where PROJ understands it.
    """
    try:
        _crs(text)
    except CRSError:
        return False
    return True


def is_geographic(text: str) -> bool:
    """
    Tell whether a CRS counts in degrees.

    Parameters
    ----------
    text : str
        EPSG code, WKT or PROJ string of a known CRS.

    Returns
    -------
    bool
        True for longitude and latitude.
    """
    return bool(_crs(text).is_geographic)


def same_crs(one: str, other: str) -> bool:
    """
    Tell whether two texts name the same CRS, axis order aside.

    Parameters
    ----------
    one, other : str
        EPSG code, WKT or PROJ string of known CRSs.

    Returns
    -------
    bool
        True where PROJ holds them equal.
    """
    return bool(_crs(one).equals(_crs(other), ignore_axis_order=True))


def crs_name(text: str) -> str:
    """
    Return what a person calls a CRS: its authority code and its name.

    Parameters
    ----------
    text : str
        EPSG code, WKT or PROJ string of a known CRS.

    Returns
    -------
    str
        Such as ``EPSG:25832 (ETRS89 / UTM zone 32N)``.
    """
    crs = _crs(text)
    authority = crs.to_authority(min_confidence=70)
    return f"{':'.join(authority)} ({crs.name})" if authority else str(crs.name)


def transformed_points(
    first: NDArray[np.float64], second: NDArray[np.float64], source: str, target: str
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """
    Return coordinates in another CRS.

    Parameters
    ----------
    first, second : ndarray of float, shape (n,)
        Easting and northing [m], or longitude and latitude [°], in ``source``.
    source, target : str
        CRSs.

    Returns
    -------
    ndarray of float, shape (n,)
        Easting [m] or longitude [°] in ``target``; infinite where PROJ has no answer.
    ndarray of float, shape (n,)
        Northing [m] or latitude [°] in ``target``; infinite where PROJ has no answer.
    """
    if source == target:
        return np.asarray(first, float), np.asarray(second, float)
    for step in _transformers(source, target):
        first, second = step.transform(np.asarray(first), np.asarray(second))
    return np.asarray(first, float), np.asarray(second, float)


def transformed(geometry: Any, source: str, target: str) -> Any:
    """
    Return a geometry, or an array of them, in another CRS.

    Parameters
    ----------
    geometry : BaseGeometry or ndarray of BaseGeometry
        Geometry in ``source``.
    source, target : str
        CRSs.

    Returns
    -------
    BaseGeometry or ndarray of BaseGeometry
        The same in ``target``, vertex by vertex; heights are dropped.
    """
    if source == target:
        return shapely.force_2d(geometry)

    def turn(coordinates: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(
            transformed_points(coordinates[:, 0], coordinates[:, 1], source, target)
        )

    return shapely.transform(geometry, turn)


@lru_cache(maxsize=64)
def _equal_area(longitude_deg: float, latitude_deg: float) -> Transformer:
    """Return the way from WGS 84 to an equal-area projection about a place."""
    return Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad"
        f" +step +proj=laea +lat_0={latitude_deg} +lon_0={longitude_deg} +ellps=WGS84"
    )


def geodesic_area_m2(geometry: BaseGeometry, crs: str) -> float:
    """
    Return the area of polygons on the WGS 84 ellipsoid.

    Parameters
    ----------
    geometry : Polygon or MultiPolygon
        Polygons in ``crs``; holes count as land.
    crs : str
        Its CRS.

    Returns
    -------
    float
        Area, never negative [m²].

    Notes
    -----
    Edges are geodesics between vertices [1]_. Published check F1: the 18-point polygon of the
    GeographicLib documentation. That algorithm rounds to some 1e-5 m² a ring, a millionth of a
    raft; what lies within 0.1 degrees is measured on Lambert's azimuthal equal-area projection [2]_
    about a point near it instead, where straight sides and geodesics differ by less than 1e-9.

    References
    ----------
    .. [1] C. F. F. Karney, "Algorithms for geodesics", J. Geodesy 87, 43-55, 2013.
       :doi:`10.1007/s00190-012-0578-z`
    .. [2] J. P. Snyder, "Map projections: a working manual", USGS Professional Paper 1395, 1987,
       section 24.
    """
    geographic = transformed(geometry, crs, WGS84)
    if geographic.is_empty:
        return 0.0
    west, south, east, north = geographic.bounds
    if max(east - west, north - south) < _NEAR_DEG and max(-south, north) < _POLE_DEG:
        near = _equal_area(round((west + east) / 2, 1), round((south + north) / 2, 1))
        return float(shapely.area(shapely.transform(geographic, near.transform, interleaved=False)))
    total = 0.0
    for part in shapely.get_parts(geographic):
        if not isinstance(part, Polygon | MultiPolygon) or part.is_empty:
            continue
        area, _ = _GEOD.geometry_area_perimeter(shapely.orient_polygons(part))
        total += abs(float(area))
    return total


def proj_version() -> str:
    """
    Return the version of PROJ, which a plan records.

    Returns
    -------
    str
        Such as ``9.5.1``.
    """
    return str(proj_version_str)
