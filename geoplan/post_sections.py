"""
Posts that are commonly to be had: width, section modulus and the stress that is allowed.

Section moduli are closed forms of the stated sizes. Stresses are recalled from common grades, with
judgement for wet use; the maker's data sheet and an engineer go before them.
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class PostSection:
    """
    The cross-section of a post.

    Attributes
    ----------
    name : str
        What ``mooring.post`` calls it.
    width_m : float
        Width that the bed presses on [m].
    modulus_m3 : float
        Section modulus, about the weakest axis [m³].
    allowed_pa : float
        Bending stress that may be used [Pa].
    source : str
        Where modulus and stress come from.
    """

    name: str
    width_m: float
    modulus_m3: float
    allowed_pa: float
    source: str

    @property
    def moment_n_m(self) -> float:
        """Return the bending moment that it may bear [N·m]."""
        return self.modulus_m3 * self.allowed_pa


def tube_modulus_m3(outer_m: float, inner_m: float) -> float:
    """
    Return the section modulus of a round tube.

    Parameters
    ----------
    outer_m, inner_m : float
        Outside and inside diameter [m].

    Returns
    -------
    float
        Modulus π (D⁴ − d⁴) / 32 D [m³].

    Examples
    --------
    >>> f"{tube_modulus_m3(0.100, 0.080):.4g}"
    '5.796e-05'
    """
    return math.pi * (outer_m**4 - inner_m**4) / (32.0 * outer_m)


def star_modulus_m3(leg_m: float, thickness_m: float) -> float:
    """
    Return the section modulus of three thin legs at 120°.

    Parameters
    ----------
    leg_m, thickness_m : float
        Leg from the middle, and its thickness [m].

    Returns
    -------
    float
        A section of three equal legs bends alike about every axis: I = t a³ / 2, taken over the
        whole leg [m³].

    Examples
    --------
    >>> f"{star_modulus_m3(0.028, 0.003):.4g}"
    '1.176e-06'
    """
    return thickness_m * leg_m**3 / 2.0 / leg_m


_STEEL_PA = 235e6 / 1.5
_STEEL = "closed form; steel of 235 MPa yield over 1.5, recalled"

POST_SECTIONS: dict[str, PostSection] = {
    section.name: section
    for section in (
        PostSection("steel Y 28", 0.048, star_modulus_m3(0.028, 0.003), _STEEL_PA, _STEEL),
        PostSection(
            "steel pipe 60.3x3.6", 0.0603, tube_modulus_m3(0.0603, 0.0531), _STEEL_PA, _STEEL
        ),
        PostSection(
            "steel pipe 88.9x5", 0.0889, tube_modulus_m3(0.0889, 0.0789), _STEEL_PA, _STEEL
        ),
        PostSection(
            "steel pipe 114.3x5", 0.1143, tube_modulus_m3(0.1143, 0.1043), _STEEL_PA, _STEEL
        ),
        PostSection(
            "hardwood 100",
            0.100,
            tube_modulus_m3(0.100, 0.0),
            10e6,
            "closed form; wet durable hardwood, recalled and rounded down",
        ),
        PostSection(
            "culm 100/80",
            0.100,
            tube_modulus_m3(0.100, 0.080),
            12e6,
            "closed form; wet culm, a quarter of usual bending strength, judgement",
        ),
    )
}
