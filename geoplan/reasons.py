"""
Why a plan is as it is: what forbids a raft where, what a limit is worth, and what else was near.

Coordinates are in the working CRS of the water body.
"""

from dataclasses import dataclass

from shapely.geometry import MultiPolygon, Polygon


@dataclass(frozen=True)
class HeldRaft:
    """
    A raft whose place a person has fixed; the rest of a plan goes round it.

    Attributes
    ----------
    where : str
        File and row that it comes from, for a person.
    water_id : str
        Water body that it lies in.
    raft_type : str
        Name of its raft type.
    easting_m, northing_m : float
        Centre [m].
    heading_deg : float
        Long axis, clockwise from grid north, 0 to 180 [°].
    outline : Polygon
        The rectangle of its type there [m].
    raft_id : str
        Name that the file gives it; empty where it gives none.
    """

    where: str
    water_id: str
    raft_type: str
    easting_m: float
    northing_m: float
    heading_deg: float
    outline: Polygon
    raft_id: str = ""


@dataclass(frozen=True, eq=False)
class WhyNot:
    """
    Water of one answer to the question whether a further raft may lie there.

    Attributes
    ----------
    rule : str
        The rule that governs: the first that forbids every type there. In the room that the rules
        of place leave: ``raft`` under a raft of the plan, ``gap`` too near to one, the name of a
        limit that is used up, or ``free``.
    words : str
        The answer, for a person.
    area : MultiPolygon
        The water, at normal level [m].
    area_m2 : float
        Its area on the ellipsoid [m²].
    alone_m2 : float
        Water at normal level that the rule forbids, whatever the others do [m²].
    only_m2 : float
        Part of it that no other rule of place forbids [m²].
    is_room : bool
        True where the rules of place forbid nothing.
    """

    rule: str
    words: str
    area: MultiPolygon
    area_m2: float
    alone_m2: float
    only_m2: float
    is_room: bool


@dataclass(frozen=True)
class RuleYield:
    """
    By how much one rule would have to yield for a raft to fit, the others kept.

    Attributes
    ----------
    rule : str
        The rule.
    raft_type : str
        The type that would fit first.
    amount : float
        By how much, rounded up [unit].
    unit : str
        ``m``, ``h``, ``deg``, ``m2``, ``%``, ``rafts`` or ``currency``.
    opens_m2 : float
        Room that the type would have then [m²].
    words : str
        The same for a person.
    """

    rule: str
    raft_type: str
    amount: float
    unit: str
    opens_m2: float
    words: str


@dataclass(frozen=True)
class LimitPrice:
    """
    What one more unit of a limit could bring at most.

    Attributes
    ----------
    limit : str
        What is limited, for a person.
    step : str
        The unit that is added, such as ``one more raft``.
    most : float
        What no plan with one more can gain over the bound, in the unit of the plan's value.
    """

    limit: str
    step: str
    most: float


@dataclass(frozen=True)
class AlternativeRaft:
    """
    A raft of a plan that was not chosen.

    Attributes
    ----------
    raft_type : str
        Name of its type.
    easting_m, northing_m : float
        Centre [m].
    heading_deg : float
        Long axis, clockwise from grid north, 0 to 180 [°].
    length_m, width_m : float
        Outside size [m].
    """

    raft_type: str
    easting_m: float
    northing_m: float
    heading_deg: float
    length_m: float
    width_m: float


@dataclass(frozen=True)
class Alternative:
    """
    A plan that looks different, with what choosing it would cost.

    Attributes
    ----------
    name : str
        In what it differs, for a person.
    rafts : tuple of AlternativeRaft
        All of its rafts.
    value : float
        Worth, in the unit of the plan's value.
    cost_pct : float
        Share of the plan's worth that is lost by choosing it [%].
    moved_pct : float
        Share of its raft area that lies where the plan has none [%].
    """

    name: str
    rafts: tuple[AlternativeRaft, ...]
    value: float
    cost_pct: float
    moved_pct: float


@dataclass(frozen=True, eq=False)
class Reasons:
    """
    Why a plan of a water body is as it is.

    Attributes
    ----------
    why_not : tuple of WhyNot
        Parts of the water at normal level by what keeps a further raft out; they do not overlap.
    yields : tuple of RuleYield
        Where no raft was placed, by how much a rule would have to yield; else empty.
    prices : tuple of LimitPrice
        What one more unit of each limit could bring.
    alternatives : tuple of Alternative
        A plan that looks different, where there is one.
    """

    why_not: tuple[WhyNot, ...] = ()
    yields: tuple[RuleYield, ...] = ()
    prices: tuple[LimitPrice, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
