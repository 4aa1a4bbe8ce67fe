"""
Which bank a raft is launched from: where people need not go deep, few are needed, and it is quick.

Rates and limits are those of the site's settings; that a vehicle gets there is the survey's word.
"""

from dataclasses import dataclass

from geoplan.launch.bank import WadingLeg
from geoplan.launch.handling import Handling, raft_handling
from geoplan.settings_works import LaunchSettings
from geoplan.site import LaunchPlace

#: Slope that is reckoned with where nobody has measured the bank; the steepest usual boat ramp is
#: 15 % (WAC 220-660-150) [%].
ASSUMED_SLOPE_PCT = 15.0
#: Words for a bank that nothing can drive to which would draw or lift a raft.
NO_VEHICLE = frozenset({"", "-", "no", "none", "nothing", "foot", "on foot", "cart", "hand cart"})


@dataclass(frozen=True, order=True)
class BankScore:
    """
    What speaks for a bank; the least is best.

    Attributes
    ----------
    is_deep : bool
        Whether people may have to walk in water deeper than they may.
    help_needed : int
        What the raft needs beyond the crew: 0 nothing; 1 a winch or vehicle, where one can get to
        the bank; 2 the same where none is known to.
    is_deep_to_plant : bool
        Whether the water beside the raft may be deeper than people may stand in to plant it.
    minutes : float
        Time to bring the raft into the water and to its place, and back [min].
    launch_id : str
        Name, which settles ties.
    """

    is_deep: bool
    help_needed: int
    is_deep_to_plant: bool
    minutes: float
    launch_id: str


def bank_handling(launch: LaunchPlace, mass_kg: float, given: LaunchSettings) -> Handling:
    """
    Return how a raft is brought into the water from a bank.

    Parameters
    ----------
    launch : LaunchPlace
        The bank; one whose slope was not measured counts as ``ASSUMED_SLOPE_PCT``.
    mass_kg : float
        Bare mass of the raft [kg].
    given : LaunchSettings
        Crew and limits.

    Returns
    -------
    Handling
        People, pull and means.
    """
    slope = ASSUMED_SLOPE_PCT if launch.slope_pct is None else launch.slope_pct
    return raft_handling(mass_kg, slope, given)


def bank_score(
    launch: LaunchPlace, leg: WadingLeg, way_m: float, handling: Handling, given: LaunchSettings
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
    handling : Handling
        How the raft is brought into the water there.
    given : LaunchSettings
        Crew, limits and rates.

    Returns
    -------
    BankScore
        The least of several is best.
    """
    is_beyond = handling.by == "winch or vehicle" or handling.people > given.crew
    can_drive = launch.vehicle.strip().casefold() not in NO_VEHICLE
    carry_s = 2.0 * (launch.carry_m or 0.0) / given.carry_m_s
    return BankScore(
        is_deep=leg.deepest_m > given.wading_m,
        help_needed=(1 if can_drive else 2) if is_beyond else 0,
        is_deep_to_plant=leg.afloat_depth_m > given.wading_m,
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
    >>> quick, slow = BankScore(False, 0, False, 4.0, "A"), BankScore(False, 0, False, 9.5, "B")
    >>> reason_for([slow, quick], 2)
    '6 min sooner than from B'
    >>> reason_for([slow, BankScore(True, 0, True, 1.0, "C")], 2)
    'people need not go as deep as at C'
    """
    best, *others = sorted(scores)
    if not others:
        return "the only launching place" if bank_count == 1 else "the only one with a way"
    return _compared(best, others[0])


def _compared(best: BankScore, other: BankScore) -> str:
    """Return in words what the best bank has over the next."""
    if best.is_deep != other.is_deep:
        words = "people need not go as deep as at"
    elif best.help_needed != other.help_needed and best.help_needed == 0:
        words = "the crew is enough, which it is not at"
    elif best.help_needed != other.help_needed:
        words = "something can drive there to draw it, which is not said of"
    elif best.is_deep_to_plant != other.is_deep_to_plant:
        words = "people can stand beside it to plant, which they cannot at"
    elif round(other.minutes - best.minutes) == 0:
        words = "as quick as from"
    else:
        words = f"{other.minutes - best.minutes:.0f} min sooner than from"
    return f"{words} {other.launch_id}"
