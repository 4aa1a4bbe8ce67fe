"""
What people may lift, carry and pull, and how many a raft needs on the bank.

Guideline figures for checks, not a risk assessment: local rules and the people there prevail.
"""

import math
from dataclasses import dataclass

from geoplan.settings_works import LaunchSettings

GRAVITY_M_S2 = 9.81
#: Share of the sum of what each may lift that a team may: HSE guidance L23 (recalled). No factor
#: was found for four people and more, so none is used [1].
TEAM_SHARES = {1: 1.0, 2: 2.0 / 3.0, 3: 0.5}
#: Nobody works alone in or beside water.
LEAST_PEOPLE = 2
#: Hands ahead of the ankles when something is held by its edge, close to the body: from half a
#: raft's width on that its middle is farther ahead. Judgement [cm].
HAND_AHEAD_CM = 20.0


@dataclass(frozen=True)
class Handling:
    """
    How a raft gets from its vehicle into the water, and out again.

    Attributes
    ----------
    mass_kg : float
        Bare mass [kg].
    carriers : int or None
        People who may carry it; ``None`` where no team may.
    haul_n : float
        Pull that draws it up the bank on skids [N].
    pullers : int
        People for that pull.
    people : int
        People on the bank at least, two where fewer would do.
    by : str
        ``carried``, ``pulled on skids or rollers`` or ``winch or vehicle``.
    """

    mass_kg: float
    carriers: int | None
    haul_n: float
    pullers: int
    people: int
    by: str


def recommended_weight_kg(
    horizontal_cm: float,
    vertical_cm: float,
    travel_cm: float,
    asymmetry_deg: float = 0.0,
    frequency: float = 1.0,
    coupling: float = 1.0,
) -> float:
    """
    Return the recommended weight limit of the revised NIOSH lifting equation.

    Parameters
    ----------
    horizontal_cm, vertical_cm : float
        Hands ahead of the ankles, and above the floor [cm].
    travel_cm : float
        Height that the load is moved through [cm].
    asymmetry_deg : float
        Twist of the body [°].
    frequency, coupling : float
        Multipliers from the tables of the manual [1].

    Returns
    -------
    float
        Limit for one person; zero beyond the reach, height or twist of the equation [kg].

    Notes
    -----
    RWL = 23 kg · 25/H · (1 − 0.003 |V − 75|) · (0.82 + 4.5/D) · (1 − 0.0032 A) · FM · CM, each
    multiplier at most 1 (Waters, Putz-Anderson and Garg 1994, by a second source). It is for two
    hands and one person who stands: not for carrying, for teams or for loads that shift.

    Examples
    --------
    >>> round(recommended_weight_kg(40, 70, 40, frequency=0.94), 3)
    12.411
    >>> recommended_weight_kg(70, 75, 25)
    0.0
    """
    if horizontal_cm > 63 or not 0 <= vertical_cm <= 175 or travel_cm > 175 or asymmetry_deg > 135:
        return 0.0
    reach = min(1.0, 25.0 / max(horizontal_cm, 25.0))
    height = 1.0 - 0.003 * abs(vertical_cm - 75.0)
    travel = min(1.0, 0.82 + 4.5 / max(travel_cm, 25.0))
    twist = 1.0 - 0.0032 * asymmetry_deg
    return 23.0 * reach * height * travel * twist * frequency * coupling


def team_lift_kg(people: int, each_kg: float) -> float | None:
    """
    Return what a team may lift together.

    Parameters
    ----------
    people : int
        People who lift at once.
    each_kg : float
        What one of them may lift [kg].

    Returns
    -------
    float or None
        Two may lift two thirds, three a half of the sum; ``None`` for more, for whom no figure is
        known [kg].

    Examples
    --------
    >>> round(team_lift_kg(2, 25.0), 1), team_lift_kg(3, 25.0), team_lift_kg(4, 25.0)
    (33.3, 37.5, None)
    """
    share = TEAM_SHARES.get(people)
    return None if share is None else share * people * each_kg


def haul_force_n(mass_kg: float, slope_pct: float, friction: float) -> float:
    """
    Return the pull that draws a load up a bank.

    Parameters
    ----------
    mass_kg : float
        Mass [kg].
    slope_pct : float
        Rise over run of the bank [%].
    friction : float
        Coefficient of friction of skid on ground [1].

    Returns
    -------
    float
        Pull, m g (μ cos α + sin α) [N].

    Examples
    --------
    >>> round(haul_force_n(100.0, 15.0, 0.0), 1), round(haul_force_n(100.0, 0.0, 0.4), 1)
    (145.5, 392.4)
    """
    angle = math.atan(slope_pct / 100.0)
    return mass_kg * GRAVITY_M_S2 * (friction * math.cos(angle) + math.sin(angle))


def raft_handling(mass_kg: float, slope_pct: float, given: LaunchSettings) -> Handling:
    """
    Return how many people a raft needs on a bank, and by what means.

    Parameters
    ----------
    mass_kg : float
        Bare mass of the raft [kg].
    slope_pct : float
        Slope of the bank [%].
    given : LaunchSettings
        Crew, and what one person may lift and pull.

    Returns
    -------
    Handling
        Carried where up to three may; else pulled where the crew may; else by winch or vehicle.

    Notes
    -----
    The pull is that up the bank, since a raft that will not float must come out again; on the way
    down a rope holds it back.
    """
    carriers = next(
        (
            count
            for count in TEAM_SHARES
            if count <= given.crew and mass_kg <= (team_lift_kg(count, given.lift_kg) or 0.0)
        ),
        None,
    )
    haul_n = haul_force_n(mass_kg, slope_pct, given.friction)
    pullers = math.ceil(haul_n / (given.pull_kg * GRAVITY_M_S2) - 1e-9)
    if carriers is not None:
        need, means = carriers, "carried"
    elif pullers <= given.crew:
        need, means = pullers, "pulled on skids or rollers"
    else:
        need, means = LEAST_PEOPLE, "winch or vehicle"
    return Handling(mass_kg, carriers, haul_n, pullers, max(need, LEAST_PEOPLE), means)
