"""
Unit factors and physical constants, each with its source.

Everything inside geoplan is in SI; this module serves the door, where a column named
``depth_ft`` becomes ``depth_m``.
"""

#: International foot [m]. Exact: NIST SP 811 (2008), appendix B.
FOOT_M = 0.3048
#: International inch [m]. Exact: NIST SP 811 (2008), appendix B.
INCH_M = 0.0254
#: International acre, 43,560 square international feet [ha]. Exact by that definition.
ACRE_HA = 43560 * FOOT_M**2 / 1e4
#: Cubic foot a second [L/s]. Exact: the cube of the international foot.
CFS_L_S = FOOT_M**3 * 1e3

#: Suffix of a column or key -> (suffix in SI, factor). The longest suffix is tried first.
SUFFIXES: dict[str, tuple[str, float]] = {
    "_ft_s": ("_m_s", FOOT_M),
    "_cfs": ("_l_s", CFS_L_S),
    "_ft": ("_m", FOOT_M),
    "_in": ("_m", INCH_M),
    "_ac": ("_ha", ACRE_HA),
}


def si_name(name: str) -> tuple[str, float]:
    """
    Return the SI name of a column or key, and the factor from its values to SI.

    Parameters
    ----------
    name : str
        Name whose last part is its unit, such as ``depth_ft``.

    Returns
    -------
    str
        The name with an SI unit; the name itself where its unit needs no conversion.
    float
        Factor by which values are multiplied; 1 where none is needed.

    Examples
    --------
    >>> si_name("depth_ft")
    ('depth_m', 0.3048)
    >>> si_name("flow_l_s")
    ('flow_l_s', 1.0)
    """
    for suffix, (si_suffix, factor) in SUFFIXES.items():
        if name.endswith(suffix):
            return name.removesuffix(suffix) + si_suffix, factor
    return name, 1.0
