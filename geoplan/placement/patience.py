"""
How long a search may go on: for ever, or until a time is up.

Without a limit no clock is read, so that the same input gives the same plan.
"""

import math
import time
from dataclasses import dataclass


@dataclass(frozen=True)
class Patience:
    """
    When a search that has a plan must stop.

    Attributes
    ----------
    until_s : float or None
        Reading of the monotonic clock at which time is up; ``None`` for never [s].
    """

    until_s: float | None = None

    @classmethod
    def of(cls, seconds: float | None) -> "Patience":
        """
        Return the patience of a time from now.

        Parameters
        ----------
        seconds : float or None
            How long; ``None`` for ever [s].

        Returns
        -------
        Patience
            It starts to run now.

        Examples
        --------
        >>> Patience.of(None).is_over(), Patience.of(0.0).is_over()
        (False, True)
        """
        return cls(None if seconds is None else time.monotonic() + seconds)

    @property
    def left_s(self) -> float:
        """Return the time that is left, infinite without a limit, when no clock is read [s]."""
        return math.inf if self.until_s is None else max(self.until_s - time.monotonic(), 0.0)

    @property
    def words(self) -> str:
        """Return what stopped a search that ran out of time."""
        return "stopped by the time limit: another run may find another plan"

    def is_over(self) -> bool:
        """
        Tell whether time is up.

        Returns
        -------
        bool
            Always false without a limit; the clock is not read then.
        """
        return self.until_s is not None and time.monotonic() >= self.until_s


ENDLESS = Patience()
