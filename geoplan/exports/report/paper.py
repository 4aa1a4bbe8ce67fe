"""
Paper to scale: from metres of a CRS to millimetres, grid north up, and what every sheet carries.

The parts of a drawing are texts of SVG; names of a site are cut and escaped.
"""

import html
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

#: Paper left for the water between the margins of A4, beside its legend [mm].
ROOM_MM = (166.0, 178.0)
#: Margin round the water, where the numbers of the grid stand [mm].
FRAME_MM = 6.0
#: Ink of outlines and words.
INK = "#1d1d1d"
#: Scales of drawings in use [1].
_SCALES = (50, 100, 200, 250, 500, 1000, 1250, 2000, 2500, 5000, 10000, 20000, 25000, 50000, 100000)
_FONT = "font-family=\"'Libertinus Serif', serif\""
_THIN = f'stroke="{INK}" stroke-width=".3"'


@dataclass(frozen=True)
class Paper:
    """
    From metres of a CRS to millimetres on paper.

    Attributes
    ----------
    west_m, north_m : float
        Place of the upper left corner of the water [m].
    scale : int
        Metres on the ground for a metre on paper [1].
    width_mm, height_mm : float
        Room that the water takes [mm].
    """

    west_m: float
    north_m: float
    scale: int
    width_mm: float
    height_mm: float

    def at(self, easting_m: Any, northing_m: Any) -> tuple[Any, Any]:
        """
        Return places on paper.

        Parameters
        ----------
        easting_m, northing_m : array_like of float, shape (n,)
            Places in the CRS of the drawing [m].

        Returns
        -------
        tuple of (ndarray of float, ndarray of float)
            Across and down from the upper left [mm].
        """
        step = 1000.0 / self.scale
        return (
            FRAME_MM + (np.asarray(easting_m) - self.west_m) * step,
            FRAME_MM + (self.north_m - np.asarray(northing_m)) * step,
        )


def paper_for(bounds_m: tuple[float, float, float, float]) -> Paper:
    """
    Return the largest scale in use at which bounds fit on the paper.

    Parameters
    ----------
    bounds_m : tuple of float
        West, south, east and north [m].

    Returns
    -------
    Paper
        With the water's own width and height.

    Examples
    --------
    >>> paper_for((0.0, 0.0, 100.0, 50.0)).scale
    1000
    """
    west, south, east, north = bounds_m
    room = tuple(side - 2 * FRAME_MM for side in ROOM_MM)
    fits = [
        scale
        for scale in _SCALES
        if 1000 * (east - west) / scale <= room[0] and 1000 * (north - south) / scale <= room[1]
    ]
    scale = fits[0] if fits else _SCALES[-1]
    return Paper(west, north, scale, 1000 * (east - west) / scale, 1000 * (north - south) / scale)


def sheet(width_mm: float, height_mm: float, words: str, parts: Iterator[str]) -> str:
    """
    Return a whole drawing.

    Parameters
    ----------
    width_mm, height_mm : float
        Size of the sheet [mm].
    words : str
        What it shows, for who cannot see it.
    parts : iterator of str
        Its parts, in order of drawing.

    Returns
    -------
    str
        SVG whose unit is a millimetre.
    """
    said = html.escape(words)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width_mm:.2f} {height_mm:.2f}"'
        f' role="img" aria-label="{said}">'
    )
    return "\n".join([head, f"<title>{said}</title>", *parts, "</svg>"])


def grid_crosses(paper: Paper, bounds_m: tuple[float, float, float, float]) -> Iterator[str]:
    """
    Yield crosses at round coordinates, with their numbers at the frame.

    Parameters
    ----------
    paper : Paper
        The paper.
    bounds_m : tuple of float
        West, south, east and north of the drawing [m].

    Yields
    ------
    str
        Parts of the drawing.
    """
    west, south, east, north = bounds_m
    step = round_step(paper.scale * 0.04)
    eastings = np.arange(math.ceil(west / step) * step, east, step)
    northings = np.arange(math.ceil(south / step) * step, north, step)
    crosses = []
    for easting in eastings:
        for northing in northings:
            x, y = paper.at(easting, northing)
            crosses.append(f"M{x - 1:.2f} {y:.2f}h2M{x:.2f} {y - 1:.2f}v2")
    yield f'<path d="{"".join(crosses)}" stroke="#9a9a9a" stroke-width=".12" fill="none"/>'
    for easting in eastings:
        x, _ = paper.at(easting, north)
        yield label(x, 3.6, f"{easting:.0f}", 2.1, "middle")
    for northing in northings:
        _, y = paper.at(west, northing)
        yield (
            f'<text x="3" y="{y:.2f}" font-size="2.1" text-anchor="middle" {_FONT}'
            f' transform="rotate(-90 3 {y:.2f})">{northing:.0f}</text>'
        )


def scale_and_north(paper: Paper, width_mm: float, down_mm: float) -> Iterator[str]:
    """
    Yield a bar of a round length with the scale in words, and an arrow to grid north.

    Parameters
    ----------
    paper : Paper
        The paper.
    width_mm : float
        Width of the sheet [mm].
    down_mm : float
        How far down the bar lies [mm].

    Yields
    ------
    str
        Parts of the drawing.
    """
    length = round_step(paper.scale * 0.03)
    bar = 1000 * length / paper.scale
    yield f'<path d="M{FRAME_MM} {down_mm}h{bar:.2f}m0 -1v2m{-bar:.2f} -2v2" {_THIN}/>'
    yield label(FRAME_MM + bar + 1.5, down_mm + 0.8, f"{length:g} m    1:{paper.scale:,}", 2.6)
    x = width_mm - 8
    yield f'<path d="M{x} {down_mm + 4}v-7l-1.2 2.4m1.2 -2.4l1.2 2.4" fill="none" {_THIN}/>'
    yield label(x, down_mm + 7, "grid N", 2.2, "middle")


def signs(meanings: tuple[tuple[str, str], ...], width_mm: float, top_mm: float) -> Iterator[str]:
    """
    Yield a legend: each sign and what it means.

    Parameters
    ----------
    meanings : tuple of (str, str)
        Sign, 4 by 2.4 mm from the origin, and words.
    width_mm : float
        Width of the sheet [mm].
    top_mm : float
        How far down it begins [mm].

    Yields
    ------
    str
        Parts of the drawing.
    """
    columns = max(2, int((width_mm - 2 * FRAME_MM - 10) // 32))
    for number, (sign, words) in enumerate(meanings):
        across = FRAME_MM + 32 * (number % columns)
        down = top_mm + 4 * (number // columns)
        yield f'<g transform="translate({across:.1f} {down:.1f})">{sign}</g>'
        yield label(across + 5.2, down + 2, words, 2.3)


def round_step(about_m: float) -> float:
    """
    Return a round length not above one.

    Parameters
    ----------
    about_m : float
        A length [m].

    Returns
    -------
    float
        1, 2 or 5 times a power of ten [m].

    Examples
    --------
    >>> round_step(37.0)
    20.0
    """
    power = 10.0 ** math.floor(math.log10(about_m))
    return float(power * max(step for step in (1.0, 2.0, 5.0) if step * power <= about_m))


def outline_path(shape: BaseGeometry, paper: Paper, look: str) -> str:
    """
    Return polygons as a path.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        Areas in the CRS of the drawing [m].
    paper : Paper
        The paper.
    look : str
        Attributes of SVG, our own words.

    Returns
    -------
    str
        Part of the drawing.
    """
    steps = []
    for part in shapely.get_parts(shape):
        for ring in (part.exterior, *part.interiors):
            at = shapely.get_coordinates(ring)
            x, y = paper.at(at[:, 0], at[:, 1])
            pairs = " ".join(f"{one:.2f} {other:.2f}" for one, other in zip(x, y, strict=True))
            steps.append(f"M{pairs}Z")
    return f'<path fill-rule="evenodd" d="{"".join(steps)}" {look}/>'


def label(
    across_mm: float, down_mm: float, words: str, size_mm: float, anchor: str = "start"
) -> str:
    """
    Return words on the drawing, cut and escaped.

    Parameters
    ----------
    across_mm, down_mm : float
        Where their line begins [mm].
    words : str
        Any text.
    size_mm : float
        Height of the letters [mm].
    anchor : str
        ``start`` or ``middle``.

    Returns
    -------
    str
        Part of the drawing.
    """
    return (
        f'<text x="{float(across_mm):.2f}" y="{float(down_mm):.2f}" font-size="{size_mm:g}"'
        f' text-anchor="{anchor}" fill="{INK}" {_FONT}>{html.escape(words[:40])}</text>'
    )
