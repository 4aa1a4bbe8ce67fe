"""
What a short post in the bed bears sideways, by Broms (1964), its head free to turn.

Arrays only. A screening: Broms himself advises caution, very soft organic mud lies outside his
tests, and an engineer settles every post.
"""

import math
from dataclasses import dataclass

from scipy.optimize import brentq

#: sqrt(2/3), printed as 0.82 by Broms: depth of greatest moment in sand.
_SAND_DEPTH = math.sqrt(2.0 / 3.0)


@dataclass(frozen=True)
class CohesiveBed:
    """
    A bed of clay or silt.

    Attributes
    ----------
    shear_strength_pa : float
        Undrained shear strength [Pa].
    """

    shear_strength_pa: float

    def ultimate_n(self, width_m: float, embedment_m: float, arm_m: float) -> float:
        """
        Return the load at which the bed gives way.

        Parameters
        ----------
        width_m : float
            Width of the post [m].
        embedment_m : float
            Post in firm bed [m].
        arm_m : float
            Height of the load above the firm bed [m].

        Returns
        -------
        float
            Ultimate load; zero where the post is shorter than what is ignored [N].

        Notes
        -----
        The top 1.5 widths are ignored, below them the bed presses with 9 times its strength.
        Equilibrium is a quadratic in f, the depth of the greatest moment below that.
        """
        firm = embedment_m - 1.5 * width_m
        if firm <= 0:
            return 0.0
        half = arm_m + 1.5 * width_m + 0.5 * firm
        depth = firm**2 / (math.hypot(2 * half, firm) + 2 * half)
        return self._line_n_m(width_m) * depth

    def moment_n_m(self, width_m: float, load_n: float, arm_m: float) -> float:
        """
        Return the greatest bending moment in the post.

        Parameters
        ----------
        width_m : float
            Width of the post [m].
        load_n : float
            Load on it [N].
        arm_m : float
            Height of the load above the firm bed [m].

        Returns
        -------
        float
            P (e + 1.5 b + f/2), f = P / 9 cu b [N·m].
        """
        depth = load_n / self._line_n_m(width_m)
        return load_n * (arm_m + 1.5 * width_m + 0.5 * depth)

    def bending_n(self, width_m: float, moment_n_m: float, arm_m: float) -> float:
        """
        Return the load that brings a bending moment.

        Parameters
        ----------
        width_m : float
            Width of the post [m].
        moment_n_m : float
            Moment [N·m].
        arm_m : float
            Height of the load above the firm bed [m].

        Returns
        -------
        float
            Load [N].
        """
        line = self._line_n_m(width_m)
        arm = arm_m + 1.5 * width_m
        return 2.0 * moment_n_m / (arm + math.sqrt(arm**2 + 2.0 * moment_n_m / line))

    def _line_n_m(self, width_m: float) -> float:
        """Return the resistance per metre of post [N/m]."""
        return 9.0 * self.shear_strength_pa * width_m


@dataclass(frozen=True)
class GranularBed:
    """
    A bed of sand or gravel.

    Attributes
    ----------
    friction_deg : float
        Angle of internal friction [°].
    unit_weight_n_m3 : float
        Weight under water [N/m³].
    """

    friction_deg: float
    unit_weight_n_m3: float

    @property
    def passive(self) -> float:
        """Return Rankine's coefficient of passive pressure."""
        sine = math.sin(math.radians(self.friction_deg))
        return (1.0 + sine) / (1.0 - sine)

    def ultimate_n(self, width_m: float, embedment_m: float, arm_m: float) -> float:
        """
        Return the load at which the bed gives way.

        Parameters
        ----------
        width_m : float
            Width of the post [m].
        embedment_m : float
            Post in firm bed [m].
        arm_m : float
            Height of the load above the firm bed [m].

        Returns
        -------
        float
            0.5 γ' b L³ Kp / (e + L) [N].
        """
        if embedment_m <= 0:
            return 0.0
        return self._line_n_m2(width_m) * embedment_m**3 / (2.0 * (arm_m + embedment_m))

    def moment_n_m(self, width_m: float, load_n: float, arm_m: float) -> float:
        """
        Return the greatest bending moment in the post.

        Parameters
        ----------
        width_m : float
            Width of the post [m].
        load_n : float
            Load on it [N].
        arm_m : float
            Height of the load above the firm bed [m].

        Returns
        -------
        float
            P (e + 2f/3), f = sqrt(2/3 · P / b Kp γ') [N·m].
        """
        depth = _SAND_DEPTH * math.sqrt(load_n / self._line_n_m2(width_m))
        return load_n * (arm_m + 2.0 * depth / 3.0)

    def bending_n(self, width_m: float, moment_n_m: float, arm_m: float) -> float:
        """
        Return the load that brings a bending moment.

        Parameters
        ----------
        width_m : float
            Width of the post [m].
        moment_n_m : float
            Moment [N·m].
        arm_m : float
            Height of the load above the firm bed [m].

        Returns
        -------
        float
            Load, to a millionth of a newton [N].
        """
        if moment_n_m <= 0:
            return 0.0
        most = moment_n_m / arm_m if arm_m > 0 else 1.0
        while self.moment_n_m(width_m, most, arm_m) < moment_n_m:
            most *= 2.0
        return float(
            brentq(
                lambda load: self.moment_n_m(width_m, load, arm_m) - moment_n_m,
                0.0,
                most * (1 + 1e-12),
                xtol=1e-6,
            )
        )

    def _line_n_m2(self, width_m: float) -> float:
        """Return the growth of the resistance per metre of post with depth [N/m²]."""
        return width_m * self.passive * self.unit_weight_n_m3


Bed = CohesiveBed | GranularBed
