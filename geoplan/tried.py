"""What a page needs to try rafts elsewhere: distances to keep, and how deep and long things get."""

from dataclasses import dataclass
from typing import Any, Literal

from geoplan.site import FloatArray, lock_arrays


@dataclass(frozen=True)
class TriedKind:
    """
    A raft type as it may be tried on a water body.

    Attributes
    ----------
    name : str
        Name of the type.
    length_m, width_m : float
        Outside size [m].
    need_m : float
        Reliable depth that it needs at low level [m].
    kind : {"posts", "lines"}
        By what it is held.
    reach_m : float
        From a fairlead to above its anchor; zero for posts [m].
    apart_m : float
        Distance to rafts that are there already [m].
    """

    name: str
    length_m: float
    width_m: float
    need_m: float
    kind: Literal["posts", "lines"]
    reach_m: float
    apart_m: float


@dataclass(frozen=True, eq=False)
class TriedHeading:
    """
    Which way rafts may lie, on the cells of the water or the same everywhere.

    Attributes
    ----------
    along : str
        What they follow, in words.
    west_m, south_m, cell_size_m : float
        Lower left corner and side of the cells, working CRS [m].
    middle_deg : ndarray of float, shape (rows, cols)
        Direction of the long axis, clockwise from grid north, 0 to 180; one cell where it is the
        same everywhere [°].
    half_deg : ndarray of float, shape (rows, cols)
        Half the width of the band about it, rounded down; 90: any heading, below 0: none [°].
    """

    along: str
    west_m: float
    south_m: float
    cell_size_m: float
    middle_deg: FloatArray
    half_deg: FloatArray

    def __post_init__(self) -> None:
        """Lock the arrays."""
        lock_arrays(self)

    def __reduce__(self) -> tuple[Any, ...]:
        """Rebuild through the constructor, so that arrays stay locked after pickling."""
        return (TriedHeading, tuple(getattr(self, name) for name in self.__dataclass_fields__))


@dataclass(frozen=True, eq=False)
class TrialRules:
    """
    Rules by which rafts are tried on a page.

    Attributes
    ----------
    gap_m : float
        Distance between rafts, with what they swing on lines [m].
    kinds : tuple of TriedKind
        Every raft type of the site.
    west_m, south_m, cell_size_m : float
        Lower left corner and side of the cells of ``depth_high_m``, working CRS [m].
    depth_high_m : ndarray of float, shape (rows, cols)
        Water at high level, as deep as it may be in each cell and beside it; NaN where no bed is
        known [m].
    post_length_m : ndarray of float, shape (n,)
        Longest post that any load asks for in water of 0, 0.1, 0.2 ... m at high level [m].
    line_stretch : float
        Length of a line over the straight way from its fairlead to its anchor [1].
    heading : TriedHeading or None
        Which way rafts may lie; ``None``: any.
    """

    gap_m: float
    kinds: tuple[TriedKind, ...]
    west_m: float
    south_m: float
    cell_size_m: float
    depth_high_m: FloatArray
    post_length_m: FloatArray
    line_stretch: float
    heading: TriedHeading | None = None

    def __post_init__(self) -> None:
        """Lock the arrays."""
        lock_arrays(self)

    def __reduce__(self) -> tuple[Any, ...]:
        """Rebuild through the constructor, so that arrays stay locked after pickling."""
        return (TrialRules, tuple(getattr(self, name) for name in self.__dataclass_fields__))
