"""
Screening beside the transport model: credit by cover, oxygen under rafts, areal first-order decay.

Each is what an authority's own tables ask for. None of it moves a raft; all of it is shown with its
source, and what was recalled says so.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from geoplan.settings import CreditRow

#: Days of a year in areal rates; the medians in use were published with 365 [d].
YEAR_D = 365.0


@dataclass(frozen=True)
class Credit:
    """
    Removal that a table grants for a cover.

    Attributes
    ----------
    tn_pct, tp_pct, tss_pct : float
        Share of the load into the water body [%].
    words : str
        How it was read from the table.
    """

    tn_pct: float
    tp_pct: float
    tss_pct: float
    words: str


def credit_for(cover_pct: float, table: Sequence[CreditRow]) -> Credit:
    """
    Read a table of credit by cover, never beyond its rows.

    Parameters
    ----------
    cover_pct : float
        Cover of the normal pool [%].
    table : sequence of CreditRow
        Rows in rising cover.

    Returns
    -------
    Credit
        Interpolated between rows; nothing below the first one, the last one above it.

    Raises
    ------
    ValueError
        If the table is empty.

    Examples
    --------
    >>> rows = [CreditRow(cover_pct=10, tn_pct=1, tp_pct=2, tss_pct=3),
    ...         CreditRow(cover_pct=20, tn_pct=2, tp_pct=4, tss_pct=5)]
    >>> credit_for(15, rows).tp_pct, credit_for(9.9, rows).tp_pct
    (3.0, 0.0)
    """
    if not table:
        raise ValueError("the table of credit has no row")
    first, last = table[0], table[-1]
    if cover_pct < first.cover_pct:
        words = f"none: the table begins at {first.cover_pct:g} %"
        return Credit(0.0, 0.0, 0.0, words)
    if cover_pct >= last.cover_pct:
        words = f"the last row, {last.cover_pct:g} %"
        if cover_pct > last.cover_pct:
            words += "; the table grants no more above it"
        return Credit(last.tn_pct, last.tp_pct, last.tss_pct, words)
    low, high = next(
        (one, two)
        for one, two in itertools.pairwise(table)
        if one.cover_pct <= cover_pct < two.cover_pct
    )
    share = (cover_pct - low.cover_pct) / (high.cover_pct - low.cover_pct)
    words = f"linear between {low.cover_pct:g} and {high.cover_pct:g} %"
    return Credit(
        low.tn_pct + share * (high.tn_pct - low.tn_pct),
        low.tp_pct + share * (high.tp_pct - low.tp_pct),
        low.tss_pct + share * (high.tss_pct - low.tss_pct),
        words,
    )


def oxygen_saturation_g_m3(temperature_c: float) -> float:
    r"""
    Return the oxygen that fresh water holds against air at one atmosphere.

    Parameters
    ----------
    temperature_c : float
        Water temperature, 0 to 40 [°C].

    Returns
    -------
    float
        Concentration at saturation [g/m³].

    Raises
    ------
    ValueError
        If the temperature is outside the range of the fit.

    Notes
    -----
    Benson and Krause [1]_, T in kelvin:

    .. math::

        \ln c = -139.34411 + \frac{1.575701 \cdot 10^5}{T} - \frac{6.642308 \cdot 10^7}{T^2}
        + \frac{1.243800 \cdot 10^{10}}{T^3} - \frac{8.621949 \cdot 10^{11}}{T^4}

    References
    ----------
    .. [1] B. B. Benson and D. Krause, "The concentration and isotopic fractionation of oxygen
       dissolved in freshwater and seawater in equilibrium with the atmosphere", Limnology and
       Oceanography 29, 620-632, 1984 (recalled).

    Examples
    --------
    >>> round(oxygen_saturation_g_m3(20.0), 3)
    9.092
    """
    if not 0.0 <= temperature_c <= 40.0:
        raise ValueError(f"water temperature {temperature_c:g} °C; the fit holds from 0 to 40 °C")
    kelvin = temperature_c + 273.15
    return math.exp(
        -139.34411
        + 1.575701e5 / kelvin
        - 6.642308e7 / kelvin**2
        + 1.243800e10 / kelvin**3
        - 8.621949e11 / kelvin**4
    )


def oxygen_g_m3(
    cover_share: float,
    *,
    saturation_g_m3: float,
    respiration_g_m3_d: float,
    depth_m: float,
    reaeration_m_d: float,
) -> float:
    r"""
    Return oxygen in mixed water that breathes only through its open surface.

    Parameters
    ----------
    cover_share : float
        Share of the surface that is covered, 0 to 1 [1].
    saturation_g_m3 : float
        Oxygen at saturation [g/m³].
    respiration_g_m3_d : float
        What the water and its bed use up [g/(m³ d)].
    depth_m : float
        Mean depth [m].
    reaeration_m_d : float
        Transfer velocity of the open surface [m/d].

    Returns
    -------
    float
        Oxygen at balance, never below zero [g/m³].

    Notes
    -----
    :math:`c = c_s - R h / (k_L (1 - f))`: a screening balance without plants, layers or light.

    Examples
    --------
    >>> round(oxygen_g_m3(0.3, saturation_g_m3=8.263, respiration_g_m3_d=0.8, depth_m=1.5,
    ...                   reaeration_m_d=0.5), 3)
    4.834
    """
    is_open = 1.0 - cover_share
    if is_open <= 0.0:
        return 0.0
    deficit = respiration_g_m3_d * depth_m / (reaeration_m_d * is_open)
    return max(0.0, saturation_g_m3 - deficit)


def rate_at(rate_20_m_yr: float, theta: float, temperature_c: float) -> float:
    r"""
    Return an areal rate at a temperature, :math:`k_T = k_{20} \theta^{T - 20}`.

    Parameters
    ----------
    rate_20_m_yr : float
        Rate at 20 °C [m/yr].
    theta : float
        Temperature factor [1].
    temperature_c : float
        Water temperature [°C].

    Returns
    -------
    float
        Rate [m/yr].

    Examples
    --------
    >>> round(rate_at(12.6, 1.056, 10.0), 3)
    7.307
    """
    return float(rate_20_m_yr * theta ** (temperature_c - 20.0))


def outflow_g_m3(
    inflow_g_m3: float,
    background_g_m3: float,
    rate_m_yr: float,
    loading_m_yr: float,
    tanks: float,
) -> float:
    r"""
    Return the concentration that leaves an area by the tanks-in-series model with a background.

    Parameters
    ----------
    inflow_g_m3 : float
        Concentration in [g/m³].
    background_g_m3 : float
        Concentration below which the water does not fall, C* [g/m³].
    rate_m_yr : float
        Areal rate k [m/yr].
    loading_m_yr : float
        Flow over area q [m/yr].
    tanks : float
        Apparent number of tanks P; infinite for plug flow [1].

    Returns
    -------
    float
        Concentration out [g/m³].

    Raises
    ------
    ValueError
        If the loading or the number of tanks is not above zero.

    Notes
    -----
    Kadlec and Wallace [1]_:
    :math:`(C_e - C^*) / (C_i - C^*) = (1 + k / (P q))^{-P}`.

    References
    ----------
    .. [1] R. H. Kadlec and S. D. Wallace, "Treatment Wetlands", 2nd ed., CRC Press, 2009
       (recalled).

    Examples
    --------
    >>> round(outflow_g_m3(10.0, 1.5, 12.6, 18.25, 3.0), 3)
    6.066
    """
    if loading_m_yr <= 0 or tanks <= 0:
        raise ValueError("flow over area and the number of tanks must be above zero")
    if math.isinf(tanks):
        left = math.exp(-rate_m_yr / loading_m_yr)
    else:
        left = (1.0 + rate_m_yr / (tanks * loading_m_yr)) ** -tanks
    return background_g_m3 + (inflow_g_m3 - background_g_m3) * left
