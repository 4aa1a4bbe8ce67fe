"""Bowls with a known bed, sounded as a crew would."""

import numpy as np

from geoplan.water import BoolArray, FloatArray
from geoplan.water.bathymetry import BedPoints

RADIUS_M = 30.0


def points(
    place_m: FloatArray, bed_m: FloatArray, sigma_m: float = 0.05, is_contour: bool = False
) -> BedPoints:
    """Points of one kind."""
    count = len(bed_m)
    return BedPoints(
        place_m[:, 0],
        place_m[:, 1],
        bed_m,
        np.full(count, sigma_m),
        np.full(count, is_contour),
    )


def no_points() -> BedPoints:
    """No survey."""
    return points(np.zeros((0, 2)), np.zeros(0))


def circle(radius_m: float, count: int) -> FloatArray:
    """Points round a circle."""
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return radius_m * np.column_stack([np.cos(angle), np.sin(angle)])


def shore(level_m: float = 0.0) -> BedPoints:
    """The edge of the bowl, a metre apart."""
    return points(circle(RADIUS_M, 190), np.full(190, level_m), 0.03)


def grid(cell_m: float = 1.0) -> tuple[FloatArray, BoolArray, FloatArray, FloatArray]:
    """Cell centres of both axes, water of the bowl, and the two coordinates of each cell."""
    centre = np.arange(-RADIUS_M - 2 * cell_m, RADIUS_M + 2 * cell_m, cell_m) + cell_m / 2
    east, north = np.meshgrid(centre, centre)
    return centre, np.hypot(east, north) < RADIUS_M, east, north


def paraboloid(east_m: FloatArray, north_m: FloatArray, depth_m: float = 3.0) -> FloatArray:
    """Bed of the bowl, its edge at zero."""
    return -depth_m * (1 - (east_m**2 + north_m**2) / RADIUS_M**2)


def lines(spacing_m: float = 6.0, along_m: float = 2.0) -> FloatArray:
    """Places along parallel sounding lines."""
    east, north = np.meshgrid(
        np.arange(-RADIUS_M + 1.3, RADIUS_M, spacing_m), np.arange(-RADIUS_M, RADIUS_M, along_m)
    )
    inside = np.hypot(east, north) < RADIUS_M - 0.5
    return np.column_stack([east[inside], north[inside]])
