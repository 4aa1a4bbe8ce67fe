"""
Loads on a raft from wind, current and waves, by the direction they come from.

Arrays only. A screening: ice, boats and debris are left out, and an engineer settles every load.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

AIR_KG_M3 = 1.225
WATER_KG_M3 = 1000.0
GRAVITY_M_S2 = 9.80665
#: Drag of a blunt low body, in air and in water; recalled, upper part of 1.0 to 1.3 [1].
BLUNT_DRAG = 1.2
#: Drag of the root curtain, taken as solid [1].
ROOT_DRAG = 1.0


@dataclass(frozen=True)
class Exposure:
    """
    What of a raft wind and water act on.

    Attributes
    ----------
    length_m, width_m : float
        Sides [m].
    hull_above_m : float
        Hull and edge above the water [m].
    plant_height_m : float
        Plants above that [m].
    plant_solidity : float
        Share of their silhouette that stops the wind [1].
    draft_m, root_depth_m : float
        Hull below the water, and roots below that [m].
    """

    length_m: float
    width_m: float
    hull_above_m: float
    plant_height_m: float
    plant_solidity: float
    draft_m: float
    root_depth_m: float


@dataclass(frozen=True)
class LoadCase:
    """
    The greatest load on a raft, and where it comes from.

    Attributes
    ----------
    from_deg : float
        Direction it comes from, clockwise from grid north [°].
    wind_n, current_n, wave_n : float
        Its parts [N].
    """

    from_deg: float
    wind_n: float
    current_n: float
    wave_n: float

    @property
    def load_n(self) -> float:
        """Return all parts together, as if they came at once from one side [N]."""
        return self.wind_n + self.current_n + self.wave_n

    @property
    def words(self) -> str:
        """Return the case in words, the largest part named first."""
        parts = {"wind": self.wind_n, "current": self.current_n, "waves": self.wave_n}
        ranked = sorted(parts.items(), key=lambda part: -part[1])
        named = ", ".join(f"{name} {value:.0f} N" for name, value in ranked if value > 0)
        return f"{named or 'nothing'} from {self.from_deg:.0f}°"


def wind_n(exposed_m2: FloatArray | float, speed_m_s: float) -> FloatArray:
    """
    Return the load of wind on an area.

    Parameters
    ----------
    exposed_m2 : ndarray of float or float
        Area across the wind that stops it [m²].
    speed_m_s : float
        Wind [m/s].

    Returns
    -------
    ndarray of float
        ½ ρ Cd A U² [N].
    """
    load: FloatArray = 0.5 * AIR_KG_M3 * BLUNT_DRAG * speed_m_s**2 * np.asarray(exposed_m2)
    return load


def drift_n_m(height_m: FloatArray | float) -> FloatArray:
    """
    Return the mean drift of waves that are thrown back whole.

    Parameters
    ----------
    height_m : ndarray of float or float
        Significant height [m].

    Returns
    -------
    ndarray of float
        Drift ρ g Hs² / 16 for each metre of raft across the waves; Longuet-Higgins 1977,
        recalled [N/m].
    """
    drift: FloatArray = WATER_KG_M3 * GRAVITY_M_S2 * np.asarray(height_m) ** 2 / 16.0
    return drift


def projected_m(exposure: Exposure, relative_deg: FloatArray) -> FloatArray:
    """
    Return the width that a raft shows.

    Parameters
    ----------
    exposure : Exposure
        The raft.
    relative_deg : ndarray of float
        Directions, from its long axis [°].

    Returns
    -------
    ndarray of float
        Extent across each direction [m].
    """
    angle = np.radians(relative_deg)
    width: FloatArray = exposure.length_m * np.abs(np.sin(angle)) + exposure.width_m * np.abs(
        np.cos(angle)
    )
    return width


def governing_case(
    exposure: Exposure,
    heading_deg: float,
    from_deg: FloatArray,
    wind_m_s: float,
    current_m_s: float,
    wave_height_m: FloatArray,
) -> LoadCase:
    """
    Return the direction in which wind, current and waves together load a raft most.

    Parameters
    ----------
    exposure : Exposure
        The raft.
    heading_deg : float
        Its long axis [°].
    from_deg : ndarray of float, shape (n,)
        Directions looked at [°].
    wind_m_s, current_m_s : float
        Design wind, and the speed of the water [m/s].
    wave_height_m : ndarray of float, shape (n,)
        Significant height from each direction [m].

    Returns
    -------
    LoadCase
        Wind at 10 m acts unreduced at plant height; the current may come from anywhere, so it
        comes with the wind.
    """
    width = projected_m(exposure, from_deg - heading_deg)
    above = exposure.hull_above_m + exposure.plant_solidity * exposure.plant_height_m
    wind = wind_n(width * above, wind_m_s)
    under = BLUNT_DRAG * exposure.draft_m + ROOT_DRAG * exposure.root_depth_m
    current = 0.5 * WATER_KG_M3 * current_m_s**2 * under * width
    waves = drift_n_m(wave_height_m) * width
    worst = int(np.argmax(wind + current + waves))
    return LoadCase(
        float(from_deg[worst]), float(wind[worst]), float(current[worst]), float(waves[worst])
    )
