"""
Which bank a raft is launched from: where people need not go deep, few are needed, and it is quick.

Rates and limits are those of the site's settings; whether a vehicle can get there is not known.
"""

from dataclasses import dataclass

from geoplan.launch.bank import WadingLeg
from geoplan.launch.handling import raft_handling
from geoplan.settings_works import LaunchSettings
from geoplan.site import LaunchPlace

#: Slope that is reckoned with where nobody has measured the bank; the steepest usual boat ramp is
#: 15 % (WAC 220-660-150) [%].
ASSUMED_SLOPE_PCT = 15.0


@dataclass(frozen=True, order=True)
class BankScore:
    """
    What speaks for a bank; the least is best.

    Attributes
    ----------
    is_deep : bool
        Whether people may have to walk in water deeper than they may.
    is_beyond_crew : bool
        Whether the raft needs more than the crew: a winch, a vehicle or more people.
    minutes : float
        Time to bring the raft into the water and to its place, and back [min].
    launch_id : str
        Name, which settles ties.
    """

    is_deep: bool
    is_beyond_crew: bool
    minutes: float
    launch_id: str


def bank_score(
    launch: LaunchPlace, leg: WadingLeg, way_m: float, mass_kg: float, given: LaunchSettings
) -> BankScore:
    """
    Return what speaks for a bank.

    Parameters
    ----------
    launch : LaunchPlace
        The bank.
    leg : WadingLeg
        Its wading leg.
    way_m : float
        Length of the raft's way from it [m].
    mass_kg : float
        Bare mass of the raft [kg].
    given : LaunchSettings
        Crew, limits and rates.

    Returns
    -------
    BankScore
        The least of several is best.
    """
    slope = ASSUMED_SLOPE_PCT if launch.slope_pct is None else launch.slope_pct
    handling = raft_handling(mass_kg, slope, given)
    carry_s = 2.0 * (launch.carry_m or 0.0) / given.carry_m_s
    return BankScore(
        is_deep=leg.deepest_m > given.wading_m,
        is_beyond_crew=handling.by == "winch or vehicle" or handling.people > given.crew,
        minutes=(carry_s + 2.0 * way_m / given.tow_m_s) / 60.0,
        launch_id=launch.launch_id,
    )


def reason_for(scores: list[BankScore], bank_count: int) -> str:
    """
    Return in words why the best of several banks was taken.

    Parameters
    ----------
    scores : list of BankScore
        Of every bank that a way leads from.
    bank_count : int
        Banks that the site gives.

    Returns
    -------
    str
        Words for the crew.

    Examples
    --------
    >>> quick, slow = BankScore(False, False, 4.0, "A"), BankScore(False, False, 9.5, "B")
    >>> reason_for([slow, quick], 2)
    '6 min sooner than from B'
    >>> reason_for([slow, BankScore(True, False, 1.0, "C")], 2)
    'people need not go as deep as at C'
    """
    best, *others = sorted(scores)
    if not others:
        return "the only launching place" if bank_count == 1 else "the only one with a way"
    other = others[0]
    if best.is_deep != other.is_deep:
        return f"people need not go as deep as at {other.launch_id}"
    if best.is_beyond_crew != other.is_beyond_crew:
        return f"the crew is enough, which it is not at {other.launch_id}"
    if round(other.minutes - best.minutes) == 0:
        return f"as quick as from {other.launch_id}"
    return f"{other.minutes - best.minutes:.0f} min sooner than from {other.launch_id}"
