"""
Geometry as whole millimetres from the centre of a water body, short enough for a page.

Each line is a flat list, first point and then steps: ``[e0, n0, de1, dn1, ...]``.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from geoplan.exports.degree_fit import DegreeFit


@dataclass(frozen=True)
class Millimetres:
    """
    Millimetres from a centre.

    Attributes
    ----------
    east_m, north_m : float
        The centre, working CRS [m].
    """

    east_m: float
    north_m: float

    def line(self, geometry: BaseGeometry, step_mm: int = 1) -> list[int]:
        """
        Return the vertices of a point, a line or a ring.

        Parameters
        ----------
        geometry : BaseGeometry
            Point, line or ring, working CRS [m].
        step_mm : int
            Millimetres to which vertices are rounded; 1 for what is built or measured from [mm].

        Returns
        -------
        list of int
            First vertex and steps [mm].

        Examples
        --------
        >>> Millimetres(0.0, 0.0).line(shapely.LineString([(1, 2), (1.5, 2), (1.5, 1)]))
        [1000, 2000, 500, 0, 0, -1000]
        """
        metres = shapely.get_coordinates(geometry) - (self.east_m, self.north_m)
        whole = step_mm * np.rint(metres * 1000 / step_mm).astype(np.int64)
        steps: list[int] = np.diff(whole, axis=0, prepend=0).ravel().tolist()
        return steps

    def shape(self, geometry: BaseGeometry, step_mm: int = 1) -> dict[str, Any]:
        """
        Return any geometry by its parts.

        Parameters
        ----------
        geometry : BaseGeometry
            Working CRS [m].
        step_mm : int
            Millimetres to which vertices are rounded [mm].

        Returns
        -------
        dict of str to list
            ``points``, ``lines`` and ``areas`` (rings of each polygon), those that there are.
        """
        out: dict[str, Any] = {}
        for part in _single_parts(geometry):
            if isinstance(part, Polygon):
                rings = [self.line(ring, step_mm) for ring in (part.exterior, *part.interiors)]
                out.setdefault("areas", []).append(rings)
            elif part.geom_type == "Point":
                out.setdefault("points", []).append(self.line(part, step_mm))
            else:
                out.setdefault("lines", []).append(self.line(part, step_mm))
        return out


def _single_parts(geometry: BaseGeometry) -> list[BaseGeometry]:
    """Return points, lines and polygons of a geometry, however deep they are nested."""
    parts = [part for part in shapely.get_parts(geometry) if not part.is_empty]
    if any(hasattr(part, "geoms") for part in parts):
        return [single for part in parts for single in _single_parts(part)]
    return parts


def fit_record(fit: DegreeFit) -> dict[str, Any]:
    """
    Return the polynomials of a water body as the page reads them.

    Parameters
    ----------
    fit : DegreeFit
        The polynomials.

    Returns
    -------
    dict of str to Any
        Coefficients by axis, centre, units and the largest error.
    """
    return {
        "degree": fit.degree,
        "to_degrees": fit.to_degrees.T.tolist(),
        "to_metres": fit.to_metres.T.tolist(),
        "centre_deg": fit.centre_deg.tolist(),
        "reach_m": fit.reach_m,
        "reach_deg": fit.reach_deg,
        "half_m": [(fit.east_m - fit.west_m) / 2, (fit.north_m - fit.south_m) / 2],
        "residual_m": fit.residual_m,
    }
