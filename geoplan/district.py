"""
What is decided for a district as a whole: who gets what, at what price, and in which order.

A worth here is a load kept back [g/d] where flows are known for every water body that it is about,
else relative; ``unit`` says which.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class WaterShare:
    """
    What one water body is allotted, and why.

    Attributes
    ----------
    water_id, ward : str
        Which, and where it is counted; the ward may be empty.
    wanted : str
        ``may``, ``must`` or ``never`` have rafts.
    counts : tuple of (str, int)
        Rafts of each type, those without any left out.
    raft_area_m2 : float
        Area of them [m²].
    cover_pct : float
        Share of the normal pool that they and those already there cover [%].
    cost : float
        Price of them, setting up included, in the client's currency.
    worth, worth_bound : float
        What they are worth at least, and what no plan with as many exceeds [unit of the
        allocation].
    most_worth : float
        Worth of the best plan that the water body has room for [unit of the allocation].
    next_worth : float
        What one more raft of the best type would be worth there; zero without room [unit of the
        allocation].
    why : str
        In words, why so many.
    longitude_deg, latitude_deg : float
        Where it lies [°].
    is_relative : bool
        Whether its flows or loads were assumed, or no load is known: its worth then ranks it and
        is no load in grams.
    """

    water_id: str
    ward: str
    wanted: str
    counts: tuple[tuple[str, int], ...]
    raft_area_m2: float
    cover_pct: float
    cost: float
    worth: float
    worth_bound: float
    most_worth: float
    next_worth: float
    why: str
    longitude_deg: float
    latitude_deg: float
    is_relative: bool = False

    @property
    def raft_count(self) -> int:
        """Return how many rafts it gets."""
        return sum(count for _, count in self.counts)


@dataclass(frozen=True)
class LimitUse:
    """
    A limit that all water bodies share.

    Attributes
    ----------
    name : str
        Name of the raft type, ``budget``, or the ward.
    kind : str
        ``stock``, ``budget`` or ``ward``.
    least, most : float or None
        What must and may be used; ``None`` where there is no limit [rafts, or the client's
        currency].
    used : float
        What is used [rafts, or the client's currency].
    price : float
        What one more would bring at most; negative where the limit forces rafts to where they are
        worth less [unit of the allocation].
    """

    name: str
    kind: str
    least: float | None
    most: float | None
    used: float
    price: float


@dataclass(frozen=True)
class PolicyWorth:
    """
    What a simple way to share out the same stock and budget is worth.

    Attributes
    ----------
    name : str
        How the rafts are shared out, for a person.
    value : float
        What they are worth, from the same curves [unit of the allocation].
    cost : float
        What rafts and setting up cost [currency].
    raft_count : int
        Rafts.
    """

    name: str
    value: float
    cost: float
    raft_count: int


@dataclass(frozen=True)
class Allocation:
    """
    Who gets what.

    Attributes
    ----------
    unit : str
        Unit of every worth.
    value : float
        What the rafts are worth at least, all water bodies together [unit].
    choice_bound : float
        No other selection from the counts looked at is worth more [unit].
    bound : float
        No legal plan of the district is worth more, whatever its counts and places [unit].
    shares : tuple of WaterShare
        In the order of ``water_id``.
    limits : tuple of LimitUse
        Stock, budget and wards.
    policies : tuple of PolicyWorth
        Simple ways to share out; none is worth more than ``value``.
    """

    unit: str
    value: float
    choice_bound: float
    bound: float
    shares: tuple[WaterShare, ...]
    limits: tuple[LimitUse, ...]
    policies: tuple[PolicyWorth, ...] = ()

    @property
    def shown_unit(self) -> str:
        """Return the unit for people: no grams where some water body's flows were not measured."""
        return "relative" if any(share.is_relative for share in self.shares) else self.unit

    def unit_of(self, share: WaterShare) -> str:
        """
        Return the unit of what rafts are worth in one water body, for people.

        Parameters
        ----------
        share : WaterShare
            One of the shares.

        Returns
        -------
        str
            No grams where its flows or loads were not measured.
        """
        return "relative" if share.is_relative else self.unit.split(" (relative")[0]

    @property
    def gap_pct(self) -> float:
        """Return by how much a better selection of counts could beat this one at most [%]."""
        return _gap_pct(self.value, self.choice_bound)

    @property
    def district_gap_pct(self) -> float:
        """Return by how much any legal plan could beat this one at most [%]."""
        return _gap_pct(self.value, self.bound)


@dataclass(frozen=True)
class Visit:
    """
    A stop of the crew.

    Attributes
    ----------
    trip : int
        Which trip from the yard, from 1.
    day : int
        Which day of work, from 1.
    begins_h : float
        When the crew is there, from the beginning of that day's work [h].
    sequence : int
        Which stop of all, from 1.
    water_id : str
        Where.
    counts : tuple of (str, int)
        Rafts of each type carried there on this trip.
    drive_m : float
        Way from the stop before, or from the yard [m].
    drive_h, work_h : float
        Time on that way, and at the water [h].
    """

    trip: int
    day: int
    begins_h: float
    sequence: int
    water_id: str
    counts: tuple[tuple[str, int], ...]
    drive_m: float
    drive_h: float
    work_h: float


@dataclass(frozen=True)
class Logistics:
    """
    The order in which a crew brings rafts to the water bodies.

    Attributes
    ----------
    visits : tuple of Visit
        In order.
    total_m : float
        Way of all trips, back to the yard each time [m].
    least_total_m : float
        No order with these loads is shorter than this [m].
    work_days : int
        Days of work.
    """

    visits: tuple[Visit, ...]
    total_m: float
    least_total_m: float
    work_days: int


def _gap_pct(value: float, bound: float) -> float:
    """Return the share of a bound that a value falls short of [%]."""
    return 100.0 * max(0.0, 1.0 - value / bound) if bound > 0 else 0.0
