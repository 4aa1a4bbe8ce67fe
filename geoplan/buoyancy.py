"""
What floats a raft: hollow poles and slabs, cut by a level water surface.

Every volume, moment and waterplane is in closed form; only the draft is solved for. Heights are
above the underside of the lowest pole.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.optimize import brentq

#: Density of fresh water, as light as it gets in summer [kg/m³].
WATER_KG_M3 = 997.0


@dataclass(frozen=True)
class Section:
    """
    What a level surface cuts off a body below it.

    Attributes
    ----------
    volume_m3 : float
        Immersed volume [m³].
    moment_m4 : float
        First moment of it about the underside of the raft [m⁴].
    roll_m4, pitch_m4 : float
        Second moment of the waterplane about the long and the short axis of the raft [m⁴].
    """

    volume_m3: float
    moment_m4: float
    roll_m4: float
    pitch_m4: float

    def __add__(self, other: "Section") -> "Section":
        """Return both together."""
        return Section(
            self.volume_m3 + other.volume_m3,
            self.moment_m4 + other.moment_m4,
            self.roll_m4 + other.roll_m4,
            self.pitch_m4 + other.pitch_m4,
        )


@dataclass(frozen=True)
class FloatingPole:
    """
    One hollow pole, lying level.

    Attributes
    ----------
    bottom_m : float
        Height of its underside [m].
    outer_m, inner_m : float
        Outside and inside diameter [m].
    length_m : float
        Length [m].
    sealed_share : float
        Share of its hollow that no water gets into [1].
    offset_m : float
        Distance from its middle to the raft's axis that it lies along [m].
    is_along : bool
        True where it lies along the raft.
    """

    bottom_m: float
    outer_m: float
    inner_m: float
    length_m: float
    sealed_share: float
    offset_m: float
    is_along: bool

    @property
    def top_m(self) -> float:
        """Return the height of its top [m]."""
        return self.bottom_m + self.outer_m

    def section(self, depth_m: float) -> Section:
        """
        Return what lies below the water's surface.

        Parameters
        ----------
        depth_m : float
            Height of the surface above the underside of the raft [m].

        Returns
        -------
        Section
            Water in the open part of the hollow stands as high as outside, and lifts nothing.
        """
        middle = self.bottom_m + self.outer_m / 2
        outer, inner = (
            _circle(depth_m - middle, diameter / 2) for diameter in (self.outer_m, self.inner_m)
        )
        flooded = 1.0 - self.sealed_share
        area = outer[0] - flooded * inner[0]
        moment = (outer[1] - flooded * inner[1]) + middle * area
        chord = outer[2] - flooded * inner[2]
        near = self.length_m * (outer[2] ** 3 - flooded * inner[2] ** 3) / 12
        across = near + self.length_m * chord * self.offset_m**2
        along = chord * self.length_m**3 / 12
        roll, pitch = (across, along) if self.is_along else (along, across)
        return Section(area * self.length_m, moment * self.length_m, roll, pitch)


@dataclass(frozen=True)
class FloatingSlab:
    """
    A layer over the whole raft, of which only a share is solid.

    Attributes
    ----------
    bottom_m, thickness_m : float
        Height of its underside, and its thickness [m].
    length_m, width_m : float
        Its sides [m].
    solid_share : float
        Share of it that displaces water [1].
    """

    bottom_m: float
    thickness_m: float
    length_m: float
    width_m: float
    solid_share: float

    @property
    def top_m(self) -> float:
        """Return the height of its top [m]."""
        return self.bottom_m + self.thickness_m

    def section(self, depth_m: float) -> Section:
        """
        Return what lies below the water's surface.

        Parameters
        ----------
        depth_m : float
            Height of the surface above the underside of the raft [m].

        Returns
        -------
        Section
            The waterplane is that of the slab while the surface cuts it.
        """
        wet = min(max(depth_m - self.bottom_m, 0.0), self.thickness_m)
        area = self.length_m * self.width_m * self.solid_share
        plane = area if 0 < wet < self.thickness_m else 0.0
        return Section(
            area * wet,
            area * wet * (self.bottom_m + wet / 2),
            plane * self.width_m**2 / 12,
            plane * self.length_m**2 / 12,
        )


Body = FloatingPole | FloatingSlab


def segment_share(height_share: float) -> float:
    """
    Return the share of a circle's area that lies below a chord.

    Parameters
    ----------
    height_share : float
        Height of the chord above the lowest point, over the diameter (relative, 0 to 1).

    Returns
    -------
    float
        Area below it over that of the circle (relative, 0 to 1).

    Examples
    --------
    >>> round(segment_share(0.25), 5)
    0.1955
    """
    return _circle(min(max(height_share, 0.0), 1.0) - 0.5, 0.5)[0] / (math.pi / 4)


def immersed(bodies: Sequence[Body], depth_m: float) -> Section:
    """
    Return what all bodies of a raft have below the water's surface.

    Parameters
    ----------
    bodies : sequence of FloatingPole or FloatingSlab
        Parts that displace water.
    depth_m : float
        Height of the surface above the underside of the raft [m].

    Returns
    -------
    Section
        The sum of all.
    """
    total = Section(0.0, 0.0, 0.0, 0.0)
    for body in bodies:
        total += body.section(depth_m)
    return total


def draft_of_m(bodies: Sequence[Body], displaced_m3: float) -> float:
    """
    Return how deep a raft floats.

    Parameters
    ----------
    bodies : sequence of FloatingPole or FloatingSlab
        Parts that displace water.
    displaced_m3 : float
        Mass over the density of the water [m³].

    Returns
    -------
    float
        Height of the water's surface above the underside of the lowest pole; infinite where the
        raft sinks [m].

    Raises
    ------
    ValueError
        If the displacement is negative.

    Notes
    -----
    The immersed volume is closed form and rises with the draft; its root is found by Brent's
    method to a nanometre.

    Examples
    --------
    A lone pole of 270 kg/m³ in water of 1000 floats at 0.315 of its diameter.

    >>> pole = FloatingPole(0.0, 0.1, 0.08, 3.0, 1.0, 0.0, True)
    >>> round(draft_of_m([pole], 0.27 * 0.0235619) / 0.1, 4)
    0.315
    """
    if displaced_m3 < 0:
        raise ValueError(f"displaced_m3 must not be negative, it is {displaced_m3!r}")
    top = max((body.top_m for body in bodies), default=0.0)
    if displaced_m3 == 0:
        return 0.0
    if immersed(bodies, top).volume_m3 <= displaced_m3:
        return math.inf
    return float(
        brentq(lambda depth: immersed(bodies, depth).volume_m3 - displaced_m3, 0.0, top, xtol=1e-9)
    )


def _circle(chord_m: float, radius_m: float) -> tuple[float, float, float]:
    """Return area, first moment about the centre, and chord, of a circle below a height."""
    cut = min(max(chord_m, -radius_m), radius_m)
    half = math.sqrt(max((radius_m - cut) * (radius_m + cut), 0.0))
    if radius_m <= 0:
        return 0.0, 0.0, 0.0
    area = max(radius_m**2 * math.atan2(half, -cut) + cut * half, 0.0)
    return area, -2.0 / 3.0 * half**3, 2.0 * half
