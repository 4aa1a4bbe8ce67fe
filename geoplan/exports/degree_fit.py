"""
Polynomials between the local metres of a water body and longitude and latitude.

A page in a browser has no projection library. On a pond six coefficients for each axis are true
to a thousandth of a millimetre; long lakes take more, and none is written that errs by 1 cm.
"""

from dataclasses import dataclass

import numpy as np

from geoplan.crs import WGS84, transformed_points
from geoplan.errors import ExportError
from geoplan.site import FloatArray, lock_arrays

#: Largest error that a page may make by its polynomials [m].
LARGEST_RESIDUAL_M = 0.01
_DEGREES = (2, 3, 4, 5)


@dataclass(frozen=True, eq=False)
class DegreeFit:
    """
    The way from local metres to degrees and back.

    Attributes
    ----------
    west_m, south_m, east_m, north_m : float
        Bounds within which it holds, working CRS [m].
    degree : int
        Degree of the polynomials.
    to_degrees : ndarray of float, shape (terms, 2)
        Longitude and latitude less those of the centre [°], by powers of the offsets from the
        centre in units of ``reach_m``.
    to_metres : ndarray of float, shape (terms, 2)
        Offsets from the centre [m], by powers of the differences in degrees in units of
        ``reach_deg``.
    centre_deg : ndarray of float, shape (2,)
        Longitude and latitude of the centre [°].
    reach_m : float
        Unit of the offsets [m].
    reach_deg : float
        Unit of the differences [°].
    residual_m : float
        Largest error found either way [m].
    """

    west_m: float
    south_m: float
    east_m: float
    north_m: float
    degree: int
    to_degrees: FloatArray
    to_metres: FloatArray
    centre_deg: FloatArray
    reach_m: float
    reach_deg: float
    residual_m: float

    def __post_init__(self) -> None:
        """Lock the arrays."""
        lock_arrays(self)

    @property
    def centre_m(self) -> tuple[float, float]:
        """Return easting and northing of the centre [m]."""
        return (self.west_m + self.east_m) / 2, (self.south_m + self.north_m) / 2


def fit_degrees(bounds_m: tuple[float, float, float, float], crs: str) -> DegreeFit:
    """
    Return the polynomials of the lowest degree that are true to a centimetre.

    Parameters
    ----------
    bounds_m : tuple of float
        West, south, east and north of everything that is shown, working CRS [m].
    crs : str
        The working CRS.

    Returns
    -------
    DegreeFit
        The polynomials and their largest error.

    Raises
    ------
    ExportError
        If the water body is too large even for the fifth degree.

    Notes
    -----
    Least squares on 12 × 12 Chebyshev points, judged on 25 × 25 others, edges included.

    Examples
    --------
    >>> from geoplan.crs import working_crs
    >>> fit = fit_degrees((-300.0, -300.0, 300.0, 300.0), working_crs(9.5, 56.1))
    >>> fit.degree, fit.residual_m < 1e-4
    (2, True)
    """
    for degree in _DEGREES:
        fit = _fit(bounds_m, crs, degree)
        if fit.residual_m <= LARGEST_RESIDUAL_M:
            return fit
    raise ExportError(
        f"the map cannot show a water body of {bounds_m[2] - bounds_m[0]:.0f} m by"
        f" {bounds_m[3] - bounds_m[1]:.0f} m to a centimetre; divide it in the layer 'water'"
    )


def terms(first: FloatArray, second: FloatArray, degree: int) -> FloatArray:
    """
    Return the powers that the coefficients belong to.

    Parameters
    ----------
    first, second : ndarray of float, shape (n,)
        Offsets from the centre in units of the reach.
    degree : int
        Degree of the polynomials.

    Returns
    -------
    ndarray of float, shape (n, terms)
        1, a, b, a², ab, b², ... row by row.

    Examples
    --------
    >>> terms(np.array([2.0]), np.array([3.0]), 2)
    array([[1., 2., 3., 4., 6., 9.]])
    """
    return np.column_stack(
        [first ** (total - k) * second**k for total in range(degree + 1) for k in range(total + 1)]
    )


def _fit(bounds_m: tuple[float, float, float, float], crs: str, degree: int) -> DegreeFit:
    """Return the polynomials of one degree."""
    west, south, east, north = bounds_m
    centre = np.array([(west + east) / 2, (south + north) / 2])
    half = np.array([max((east - west) / 2, 1.0), max((north - south) / 2, 1.0)])
    nodes = np.cos(np.pi * (np.arange(12) + 0.5) / 12)
    metres = _lattice(nodes) * half
    centre_deg = np.column_stack(_degrees(centre[None, :], crs))[0]
    degrees = np.column_stack(_degrees(metres + centre, crs)) - centre_deg
    reach_m, reach_deg = float(half.max()), float(np.abs(degrees).max())

    def powers(values: FloatArray, reach: float) -> FloatArray:
        return terms(values[:, 0] / reach, values[:, 1] / reach, degree)

    to_degrees = np.linalg.lstsq(powers(metres, reach_m), degrees, rcond=None)[0]
    to_metres = np.linalg.lstsq(powers(degrees, reach_deg), metres, rcond=None)[0]
    truth_m = _lattice(np.linspace(-1.0, 1.0, 25)) * half
    truth_deg = np.column_stack(_degrees(truth_m + centre, crs)) - centre_deg
    there_deg = powers(truth_m, reach_m) @ to_degrees + centre_deg
    there_m = np.column_stack(transformed_points(there_deg[:, 0], there_deg[:, 1], WGS84, crs))
    back_m = powers(truth_deg, reach_deg) @ to_metres
    residual = max(
        float(np.abs(there_m - centre - truth_m).max()), float(np.abs(back_m - truth_m).max())
    )
    return DegreeFit(
        *(west, south, east, north, degree, to_degrees, to_metres, centre_deg),
        *(reach_m, reach_deg, residual),
    )


def _lattice(nodes: FloatArray) -> FloatArray:
    """Return all pairs of nodes, shape (n², 2)."""
    return np.column_stack([grid.ravel() for grid in np.meshgrid(nodes, nodes)])


def _degrees(metres: FloatArray, crs: str) -> tuple[FloatArray, FloatArray]:
    """Return longitude and latitude of points in the working CRS [°]."""
    return transformed_points(metres[:, 0], metres[:, 1], crs, WGS84)
