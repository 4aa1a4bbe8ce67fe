"""What a third party needs to prove a plan's bound again, without trusting the planner."""

from dataclasses import dataclass, fields
from typing import Any

from shapely.geometry.base import BaseGeometry

from geoplan.site import FloatArray, lock_arrays


@dataclass(frozen=True)
class TangentShare:
    """
    A tangent of the worth, and its share in the average that is bounded.

    Attributes
    ----------
    tangent_at : str
        Where it touches the worth, in words.
    share : float
        Its share [1].
    constant : float
        Its worth without rafts [unit of the bound].
    """

    tangent_at: str
    share: float
    constant: float


@dataclass(frozen=True)
class PricedLimit:
    """
    A sum over rafts that must not pass a limit, and the price of a unit of it.

    Attributes
    ----------
    limit : str
        What is limited, in words.
    per_raft : tuple of float
        What one raft of each type adds, in the order of the types [unit of the limit].
    most : float
        Limit of the sum [unit of the limit].
    price : float
        Price of a unit of it [unit of the bound a unit of the limit].
    """

    limit: str
    per_raft: tuple[float, ...]
    most: float
    price: float


@dataclass(frozen=True)
class PricedRoom:
    """
    A part of the water that no grown raft leaves, with a price of its own.

    Attributes
    ----------
    price : float
        What a raft there pays more [unit of the bound].
    most_rafts : int
        No legal plan holds more rafts there.
    """

    price: float
    most_rafts: int


@dataclass(frozen=True, eq=False)
class Certificate:
    """
    A field and prices that every legal raft pays its worth to.

    Attributes
    ----------
    basis : str
        ``area bound`` or ``price field``.
    proven : float
        No legal plan is worth more, by this field and these prices [unit of the plan's worth].
    constant : float
        Part of it that needs no raft: the average of the tangents' constants [the same unit].
    field_integral : float
        Part of it that the field makes, from above where the water's edge cuts it [the same unit].
    tangents : tuple of TangentShare
        The tangents whose average ``worth`` is.
    raft_types : tuple of str
        Names of the types, in the order of ``worth``, ``per_raft`` and ``raft_prices``.
    raft_prices : tuple of float
        What a raft of each type pays for the limits that it uses [the same unit].
    limits : tuple of PricedLimit
        Sums that are bounded, with their prices.
    rooms : tuple of PricedRoom
        Rooms with a price of their own; number k of ``room_at`` is the k-th.
    margin : float
        What a raft may lack; each of ``most_rafts`` adds it to the bound [the same unit].
    most_rafts : int
        No legal plan holds more rafts.
    gap_m : float
        Distance between rafts; each is grown by half of it [m].
    west_m, south_m : float
        Node (0, 0), working CRS [m].
    cell_size_m : float
        Distance between nodes [m].
    field : ndarray of float32, shape (rows, cols)
        Price of water at the nodes, bilinear between them [the same unit a m²].
    worth : ndarray of float32, shape (types, rows, cols)
        Worth of planted area at the nodes, bilinear between them [the same unit a m²].
    room_at : ndarray of float32, shape (rows, cols)
        Number of the priced room at the nodes, 0 for none [1].
    regions : tuple of BaseGeometry
        Where rafts of each type may lie, working CRS [m].
    """

    basis: str
    proven: float
    constant: float
    field_integral: float
    tangents: tuple[TangentShare, ...]
    raft_types: tuple[str, ...]
    raft_prices: tuple[float, ...]
    limits: tuple[PricedLimit, ...]
    rooms: tuple[PricedRoom, ...]
    margin: float
    most_rafts: int
    gap_m: float
    west_m: float
    south_m: float
    cell_size_m: float
    field: FloatArray
    worth: FloatArray
    room_at: FloatArray
    regions: tuple[BaseGeometry, ...]

    def __post_init__(self) -> None:
        """Lock the arrays."""
        lock_arrays(self)

    def __reduce__(self) -> tuple[Any, ...]:
        """Rebuild through the constructor, so that arrays stay locked after pickling."""
        return (Certificate, tuple(getattr(self, part.name) for part in fields(self)))
