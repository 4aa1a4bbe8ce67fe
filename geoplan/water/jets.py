"""
How far the jet of a pipe reaches into a pond.

Free and submerged, into still water of even depth; banks, bed and density do not bend it.
"""

import math

#: Centre-line decay of a round jet, Um/U0 = 6.2 D/x: Albertson, Dai, Jensen and Rouse (1950),
#: Trans. ASCE 115, 639-664 [1].
ROUND_JET = 6.2
#: Centre-line decay of a plane jet, Um/U0 = 2.28 (b0/x)^½: the same paper [1].
PLANE_JET = 2.28


def jet_standoff_m(
    pipe_diameter_m: float, flow_m3_s: float, water_depth_m: float, speed_m_s: float
) -> float:
    r"""
    Return the distance from a pipe beyond which its jet is slower than a given speed.

    Parameters
    ----------
    pipe_diameter_m : float
        Inside diameter of the pipe, running full [m].
    flow_m3_s : float
        Peak flow [m³/s].
    water_depth_m : float
        Depth of the water the jet enters [m].
    speed_m_s : float
        Speed that rafts may meet [m/s].

    Returns
    -------
    float
        Distance along the axis; zero where the jet leaves the pipe no faster than that [m].

    Raises
    ------
    ValueError
        If an argument is not positive and finite.

    Notes
    -----
    The larger of the reach of a round jet and that of a plane one [1]_: in shallow water a round
    jet soon fills the depth and then decays as slowly as a plane jet of the same flow of
    momentum.

    .. math:: x = \max\left(6.2 \, D \frac{U_0}{u}, \;
              \left(2.28 \frac{U_0}{u}\right)^2 \frac{\pi D^2}{4 h}\right),
              \qquad U_0 = \frac{4 Q}{\pi D^2}

    The first is never less than the core of 6.2 D in which the jet keeps its speed. In water
    much deeper than the pipe the second is on the safe side: such a jet stays round.

    References
    ----------
    .. [1] M. L. Albertson, Y. B. Dai, R. A. Jensen and H. Rouse, "Diffusion of submerged jets",
       Trans. ASCE 115, 639-664, 1950.

    Examples
    --------
    >>> round(jet_standoff_m(0.6, 2.0 * 0.2827433388, 1.2, 0.3), 1)
    54.4
    """
    for name, value in (
        ("pipe_diameter_m", pipe_diameter_m),
        ("flow_m3_s", flow_m3_s),
        ("water_depth_m", water_depth_m),
        ("speed_m_s", speed_m_s),
    ):
        if not 0 < value < math.inf:
            raise ValueError(f"{name} must be positive and finite, not {value:g}")
    pipe_area_m2 = math.pi * pipe_diameter_m**2 / 4
    ratio = flow_m3_s / pipe_area_m2 / speed_m_s
    if ratio <= 1.0:
        return 0.0
    return max(
        ROUND_JET * pipe_diameter_m * ratio,
        (PLANE_JET * ratio) ** 2 * pipe_area_m2 / water_depth_m,
    )


def jet_reach_m(
    pipe_diameter_m: float | None, flow_m3_s: float, mean_depth_m: float, speed_m_s: float
) -> float:
    """
    Return how far the jet of an inflow reaches, as far as it is known.

    Parameters
    ----------
    pipe_diameter_m : float or None
        Inside diameter of its pipe; ``None``: a ditch or unknown [m].
    flow_m3_s : float
        Peak flow, or the mean where no peak is known; zero where neither is [m³/s].
    mean_depth_m : float
        Mean depth of the water [m].
    speed_m_s : float
        Speed that rafts may meet [m/s].

    Returns
    -------
    float
        As `jet_standoff_m`, in water at least as deep as the pipe; zero without pipe or flow [m].

    Examples
    --------
    >>> jet_reach_m(None, 0.1, 1.5, 0.3)
    0.0
    """
    if not pipe_diameter_m or flow_m3_s <= 0:
        return 0.0
    depth_m = max(pipe_diameter_m, mean_depth_m)
    return jet_standoff_m(pipe_diameter_m, flow_m3_s, depth_m, speed_m_s)
