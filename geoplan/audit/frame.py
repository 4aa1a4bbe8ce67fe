"""
The audit's own frame: where a thing of the file and a thing of the site meet.

An azimuthal equidistant projection centred on each water body, on the WGS 84 datum, with its own
use of pyproj. The planner works in another projection, so a fault of either shows. Areas and
lengths that are reported are taken on the ellipsoid, not in the frame.
"""

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import Geod, Proj, Transformer
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

FloatArray = NDArray[np.float64]
_GEOD = Geod(ellps="WGS84")


@dataclass(frozen=True, eq=False)
class Frame:
    """
    Azimuthal equidistant frame of one water body.

    Attributes
    ----------
    definition : str
        PROJ string of the frame.
    site : Proj or Transformer
        Between the CRS of the water body and longitude and latitude.
    file : Proj or Transformer
        Between the CRS of the written plan and longitude and latitude.
    plane : Proj
        Between the frame and longitude and latitude.
    """

    definition: str
    site: Proj | Transformer
    file: Proj | Transformer
    plane: Proj

    @property
    def latitude_deg(self) -> float:
        """Return the latitude of the centre, WGS 84 [°]."""
        return float(self.plane(0.0, 0.0, inverse=True)[1])

    def of_site(self, geometry: Any) -> Any:
        """
        Bring geometry of the raw site into the frame.

        Parameters
        ----------
        geometry : BaseGeometry or ndarray of BaseGeometry
            In the CRS of the water body.

        Returns
        -------
        BaseGeometry or ndarray of BaseGeometry
            In the frame, vertex by vertex [m].
        """
        return self._moved(geometry, self.site)

    def of_file(self, geometry: Any) -> Any:
        """
        Bring geometry of the written plan into the frame.

        Parameters
        ----------
        geometry : BaseGeometry or ndarray of BaseGeometry
            In the CRS of the file.

        Returns
        -------
        BaseGeometry or ndarray of BaseGeometry
            In the frame, vertex by vertex; infinite where PROJ has no answer [m].
        """
        return self._moved(geometry, self.file)

    def place_of(self, easting_m: float, northing_m: float) -> FloatArray | None:
        """
        Bring a place of the written plan into the frame.

        Parameters
        ----------
        easting_m, northing_m : float
            Place in the CRS of the file, degrees where it counts in them [m].

        Returns
        -------
        ndarray of float, shape (2,), or None
            The place; ``None`` where it is none [m]. It is asked for many times, and kept.
        """
        key = (easting_m, northing_m)
        if key not in self._known:
            written = np.array([key])
            place: FloatArray = np.array(self.plane(*_degrees(self.file, written)))[:, 0]
            is_place = bool(np.isfinite(written).all() and np.isfinite(place).all())
            self._known[key] = place if is_place else None
        return self._known[key]

    @cached_property
    def _known(self) -> dict[tuple[float, float], FloatArray | None]:
        """Return the places of the file that were asked for."""
        return {}

    def site_places(self, places_m: FloatArray) -> FloatArray:
        """
        Bring points of the raw site into the frame.

        Parameters
        ----------
        places_m : ndarray of float, shape (n, 2)
            Easting and northing in the CRS of the water body [m].

        Returns
        -------
        ndarray of float, shape (n, 2)
            Easting and northing in the frame [m].
        """
        return np.column_stack(self.plane(*_degrees(self.site, places_m)))

    def back_to_site(self, places_m: FloatArray) -> FloatArray:
        """
        Take points of the frame back to the CRS of the water body.

        Parameters
        ----------
        places_m : ndarray of float, shape (n, 2)
            Easting and northing in the frame [m].

        Returns
        -------
        ndarray of float, shape (n, 2)
            Easting and northing in the CRS of the water body [m].
        """
        degrees = _degrees(self.plane, places_m)
        if isinstance(self.site, Proj):
            return np.column_stack(self.site(*degrees))
        return np.column_stack(self.site.transform(*degrees, direction="INVERSE"))

    def area_m2(self, geometry: BaseGeometry) -> float:
        """
        Return the area of polygons on the ellipsoid.

        Parameters
        ----------
        geometry : BaseGeometry
            Polygons in the frame; holes count as land, lines and points as nothing [m].

        Returns
        -------
        float
            Area by geodesics between vertices, WGS 84 [m²].
        """
        total = 0.0
        for part in shapely.get_parts(geometry):
            if isinstance(part, Polygon) and not part.is_empty:
                total += self._ring_area_m2(part.exterior)
                total -= sum(self._ring_area_m2(ring) for ring in part.interiors)
        return total

    def steps_m(self, line: BaseGeometry) -> FloatArray:
        """
        Return the lengths between successive vertices on the ellipsoid.

        Parameters
        ----------
        line : LineString or LinearRing
            In the frame [m].

        Returns
        -------
        ndarray of float, shape (vertices - 1,)
            Geodesic lengths, WGS 84 [m].
        """
        degrees = _degrees(self.plane, shapely.get_coordinates(line))
        return np.asarray(_GEOD.line_lengths(*degrees), float)

    def _ring_area_m2(self, ring: BaseGeometry) -> float:
        """Return the area within a ring on the ellipsoid."""
        area, _ = _GEOD.polygon_area_perimeter(*_degrees(self.plane, shapely.get_coordinates(ring)))
        return abs(float(area))

    def _moved(self, geometry: Any, way: Proj | Transformer) -> Any:
        """Return geometry vertex by vertex in the frame, heights dropped."""

        def move(places: FloatArray) -> FloatArray:
            return np.column_stack(self.plane(*_degrees(way, places)))

        return shapely.transform(geometry, move)


def frame_of(outline: BaseGeometry, site_crs: str, file_crs: str) -> Frame:
    """
    Return the frame centred on a water body.

    Parameters
    ----------
    outline : BaseGeometry
        Outline of the water body, in ``site_crs``.
    site_crs, file_crs : str
        CRS of the water body, and of the written plan.

    Returns
    -------
    Frame
        The frame with the ways into it.

    Raises
    ------
    pyproj.exceptions.CRSError
        If PROJ does not know one of the CRSs.

    Notes
    -----
    Distances from the centre are true; across, the scale is 1 + r²/6R², with R the radius of the
    Earth: 1e-9 at 0.5 km from the centre, 4e-7 at 10 km. A CRS without a datum is understood to
    lie on WGS 84.

    Examples
    --------
    >>> pond = shapely.box(-1, -1, 1, 1)
    >>> frame_of(pond, "+proj=tmerc +lat_0=56 +lon_0=9", "EPSG:25832").definition
    '+proj=aeqd +lat_0=56.000000 +lon_0=9.000000 +datum=WGS84 +units=m +no_defs'
    """
    west, south, east, north = outline.bounds
    site = _way(site_crs)
    middle = np.array([[(west + east) / 2, (south + north) / 2]])
    longitude, latitude = (float(value[0]) for value in _degrees(site, middle))
    definition = (
        f"+proj=aeqd +lat_0={latitude:.6f} +lon_0={longitude:.6f} +datum=WGS84 +units=m +no_defs"
    )
    return Frame(definition, site, _way(file_crs), Proj(definition))


def _way(crs: str) -> Proj | Transformer:
    """
    Return the way between a CRS and longitude and latitude on WGS 84.

    A transverse Mercator that names this ellipsoid alone is a plane on WGS 84: no shift is to be
    searched for, which matters where each of a thousand water bodies has its own.
    """
    if crs.startswith("+proj=tmerc") and ("+ellps=WGS84" in crs or "+datum=WGS84" in crs):
        return Proj(crs)
    return _shift(crs)


@lru_cache(maxsize=16)
def _shift(crs: str) -> Transformer:
    """Return the transformer from a CRS to longitude and latitude on WGS 84."""
    return Transformer.from_crs(crs, "EPSG:4326", always_xy=True)


def _degrees(way: Proj | Transformer, places: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return longitude and latitude of places [°]."""
    if isinstance(way, Proj):
        longitude, latitude = way(places[:, 0], places[:, 1], inverse=True)
    else:
        longitude, latitude = way.transform(places[:, 0], places[:, 1])
    return longitude, latitude
