"""
Invented ponds: their outline, their bed and a survey of it.

A pond is drawn in metres about its middle. Its bed is a formula: banks, a shelf, silt where water
comes in, deeper towards the outlet.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

FloatArray = NDArray[np.float64]

#: Bank 1:4 to 0.6 m, a shelf for plants, then 1:3.5 down: depth by distance from the bank [m].
_BANK_M = (0.0, 2.4, 5.0, 12.0, 40.0)
_BANK_DEPTH_M = (0.0, 0.6, 0.8, 2.8, 9.0)


@dataclass(frozen=True)
class Pond:
    """
    An invented pond, drawn in metres about its middle.

    Attributes
    ----------
    outline : Polygon
        Water's edge [m].
    inflows : tuple of tuple of float
        Easting and northing of each inflow, and reach of the silt before it [m].
    outlet : tuple of float
        Easting and northing [m].
    floor_m : tuple of float
        Depth of the floor at the far end from the outlet, and at the outlet [m].
    sills : tuple of tuple
        Lines under water with the depth of their crest: berms and narrows [m].
    """

    outline: Polygon
    inflows: tuple[tuple[float, float, float], ...]
    outlet: tuple[float, float]
    floor_m: tuple[float, float]
    sills: tuple[tuple[LineString, float], ...] = ()

    def depth_m(self, easting_m: FloatArray, northing_m: FloatArray) -> FloatArray:
        """
        Return the depth of the invented bed below the outline's level.

        Parameters
        ----------
        easting_m, northing_m : ndarray of float, shape (n,)
            Where [m].

        Returns
        -------
        ndarray of float, shape (n,)
            Depth; zero on the bank [m].
        """
        points = shapely.points(easting_m, northing_m)
        from_bank = shapely.distance(points, self.outline.boundary)
        to_outlet = np.hypot(easting_m - self.outlet[0], northing_m - self.outlet[1])
        farthest = shapely.hausdorff_distance(self.outline, Point(self.outlet))
        floor = self.floor_m[1] + (self.floor_m[0] - self.floor_m[1]) * to_outlet / farthest
        floor = floor + 0.05 * np.sin(easting_m / 7.0) * np.cos(northing_m / 9.0)
        depth = np.minimum(np.interp(from_bank, _BANK_M, _BANK_DEPTH_M), floor)
        for line, crest_m in self.sills:
            depth = np.minimum(depth, crest_m + shapely.distance(points, line) / 3.0)
        for easting, northing, reach_m in self.inflows:
            away = np.hypot(easting_m - easting, northing_m - northing) / reach_m
            depth = depth * (1.0 - 0.65 * np.exp(-(away**2)))
        return np.where(shapely.contains(self.outline, points), depth, 0.0)


def closed_curve(corners: Sequence[tuple[float, float]], step_m: float) -> Polygon:
    """
    Return a smooth outline through corners, with vertices at even steps.

    Parameters
    ----------
    corners : sequence of tuple of float
        Easting and northing, counter-clockwise [m].
    step_m : float
        Distance between vertices [m].

    Returns
    -------
    Polygon
        Catmull-Rom curve through the corners [m].
    """
    here = np.array(corners, float)[:, None, :]
    before, after, beyond = (np.roll(here, shift, axis=0) for shift in (1, -1, -2))
    t = np.linspace(0.0, 1.0, 24, endpoint=False)[None, :, None]
    curve = 0.5 * (
        2 * here
        + (after - before) * t
        + (2 * before - 5 * here + 4 * after - beyond) * t**2
        + (3 * here - before - 3 * after + beyond) * t**3
    ).reshape(-1, 2)
    return even_polygon(curve, step_m)


def even_polygon(curve: FloatArray, step_m: float) -> Polygon:
    """
    Return a closed curve with vertices at even steps.

    Parameters
    ----------
    curve : ndarray of float, shape (n, 2)
        Points of it, the first not repeated [m].
    step_m : float
        Distance between vertices [m].

    Returns
    -------
    Polygon
        The same outline [m].
    """
    closed = np.vstack([curve, curve[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    count = round(along[-1] / step_m)
    wanted = np.arange(count) * along[-1] / count
    return Polygon(np.column_stack([np.interp(wanted, along, part) for part in closed.T]))


def sounded(
    pond: Pond,
    line_m: float,
    step_m: float,
    sigma_m: float,
    rng: np.random.Generator,
    where: BaseGeometry | None = None,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """
    Return soundings along lines across a pond.

    Parameters
    ----------
    pond : Pond
        The pond.
    line_m, step_m : float
        Distance between lines, and between soundings of a line [m].
    sigma_m : float
        One standard deviation of a sounding [m].
    rng : numpy.random.Generator
        Source of the noise.
    where : BaseGeometry or None
        Part of the pond to sound; ``None``: all of it [m].

    Returns
    -------
    easting_m, northing_m : ndarray of float, shape (n,)
        Where [m].
    depth_m : ndarray of float, shape (n,)
        Depth below the outline's level, to the centimetre [m].
    """
    afloat_in = pond.outline if where is None else pond.outline.intersection(where)
    west, south, east, north = afloat_in.bounds
    grid = np.meshgrid(
        np.arange(west + line_m / 2, east, line_m), np.arange(south + 1.0, north, step_m)
    )
    slip_m = min(0.25, step_m / 8)  # a boat is never quite where it should be
    easting, northing = (part.ravel() + rng.normal(0.0, slip_m, part.size) for part in grid)
    points = shapely.points(easting, northing)
    afloat = shapely.contains(afloat_in, points) & (
        shapely.distance(points, pond.outline.boundary) > 1.0
    )
    easting, northing = easting[afloat], northing[afloat]
    depth = pond.depth_m(easting, northing) + rng.normal(0.0, sigma_m, easting.size)
    return easting, northing, np.round(np.maximum(depth, 0.05), 2)


def surveyed(
    pond: Pond,
    steps_m: tuple[float, float, float],
    sigma_m: float,
    launches: Sequence[BaseGeometry],
    seed: int,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """
    Return soundings across a pond, and closer ones where people will wade.

    Parameters
    ----------
    pond : Pond
        The pond.
    steps_m : tuple of float
        Distance between lines, between soundings of a line, and where people will wade [m].
    sigma_m : float
        One standard deviation of a sounding [m].
    launches : sequence of BaseGeometry
        Stretches of bank from which rafts are launched [m].
    seed : int
        Seed of the noise.

    Returns
    -------
    easting_m, northing_m : ndarray of float, shape (n,)
        Where [m].
    depth_m : ndarray of float, shape (n,)
        Depth below the outline's level, to the centimetre [m].
    """
    rng = np.random.default_rng(seed)
    line_m, step_m, close_m = steps_m
    surveys = [sounded(pond, line_m, step_m, sigma_m, rng)]
    for place in launches:
        wading = place.buffer(4.0 * close_m)
        surveys.append(sounded(pond, close_m, close_m, sigma_m, rng, wading))
    easting, northing, depth = (np.concatenate(part) for part in zip(*surveys, strict=True))
    return easting, northing, depth


def bank_point(outline: Polygon, near: tuple[float, float], outward_m: float = 0.0) -> Point:
    """
    Return a point on the bank, or behind it.

    Parameters
    ----------
    outline : Polygon
        Water's edge [m].
    near : tuple of float
        Easting and northing of a place near it [m].
    outward_m : float
        Distance from the water's edge, away from the middle [m].

    Returns
    -------
    Point
        The point [m].
    """
    ring = outline.exterior
    at = ring.project(Point(near))
    here, ahead = ring.interpolate(at), ring.interpolate((at + 0.5) % ring.length)
    along = np.array([ahead.x - here.x, ahead.y - here.y])
    across = np.array([along[1], -along[0]]) / np.hypot(*along)  # right of a ring drawn leftwards
    return Point(here.x + outward_m * across[0], here.y + outward_m * across[1])


def bank_line(outline: Polygon, near: tuple[float, float], length_m: float) -> LineString:
    """
    Return a stretch of the bank.

    Parameters
    ----------
    outline : Polygon
        Water's edge [m].
    near : tuple of float
        Easting and northing of its middle [m].
    length_m : float
        Length of it [m].

    Returns
    -------
    LineString
        The stretch [m].
    """
    ring = outline.exterior
    at = min(max(ring.project(Point(near)), length_m / 2), ring.length - length_m / 2)
    return substring(ring, at - length_m / 2, at + length_m / 2)
