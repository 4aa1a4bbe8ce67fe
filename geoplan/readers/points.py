"""Points of a large layer as their coordinates, made into geometries when they are asked for."""

from collections.abc import Iterator, Sequence
from typing import Any, overload

import numpy as np
import shapely
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Picked = slice | NDArray[np.int64] | NDArray[np.bool_]

#: Points that are geometries at a time.
AT_A_TIME = 20_000


class Points:
    """
    Points in a plane, or on the globe, that take the room of their two numbers.

    As an object each takes about 320 bytes, twenty times as much. An array or a slice of
    positions gives the points themselves, one position a point; numpy and shapely take all of
    them as an array of geometries.

    Parameters
    ----------
    coordinates : ndarray of float, shape (n, 2)
        Easting and northing [m], or longitude and latitude [°]; NaN where there is no point.

    Attributes
    ----------
    coordinates : ndarray of float, shape (n, 2)
        The same [m or °].

    Examples
    --------
    >>> some = Points(np.array([[1.0, 2.0], [np.nan, 2.0], [5.0, 6.0]]))
    >>> some[0], some[1], some[1:]
    (<POINT (1 2)>, None, array([None, <POINT (5 6)>], dtype=object))
    >>> some.taken(np.array([2, 0])).coordinates.tolist()
    [[5.0, 6.0], [1.0, 2.0]]
    """

    def __init__(self, coordinates: FloatArray) -> None:
        self.coordinates = coordinates

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.coordinates)

    @overload
    def __getitem__(self, index: int) -> Any: ...
    @overload
    def __getitem__(self, index: Picked) -> NDArray[Any]: ...
    def __getitem__(self, index: int | Picked) -> Any:
        """Return one point, or an array of some; ``None`` where there is none."""
        picked = self.coordinates[index]
        is_whole = ~np.isnan(picked).any(axis=-1)
        if picked.ndim == 1:
            return shapely.Point(picked) if is_whole else None
        out = np.full(len(picked), None, dtype=object)
        out[is_whole] = shapely.points(picked[is_whole])
        return out

    def __iter__(self) -> Iterator[Any]:
        """Yield each point, some of them being made at a time."""
        for begin in range(0, len(self), AT_A_TIME):
            yield from self[begin : begin + AT_A_TIME]

    def __array__(self, dtype: Any = None, copy: bool | None = None) -> NDArray[Any]:
        """Return all of them as geometries."""
        return self[:]

    @property
    def is_missing(self) -> NDArray[np.bool_]:
        """Return where there is no point."""
        return np.asarray(np.isnan(self.coordinates).any(axis=1))

    def taken(self, indices: NDArray[np.int64]) -> "Points":
        """
        Return some of them, still as their coordinates.

        Parameters
        ----------
        indices : ndarray of int, shape (m,)
            Their positions.

        Returns
        -------
        Points
            In that order.
        """
        return Points(self.coordinates[indices])


#: Geometries of a layer: made already, or points to be made.
Geometries = NDArray[Any] | Points


def joined_geometries(parts: Sequence[Geometries]) -> Geometries:
    """
    Return the geometries of pieces of a layer together.

    Parameters
    ----------
    parts : sequence of ndarray of BaseGeometry or Points
        One or more.

    Returns
    -------
    ndarray of BaseGeometry, shape (n,), or Points
        Points where all of them are.

    Examples
    --------
    >>> some = Points(np.array([[1.0, 2.0]]))
    >>> joined_geometries([some, some]).coordinates.tolist()
    [[1.0, 2.0], [1.0, 2.0]]
    >>> joined_geometries([some, np.array([shapely.Point(3, 4)])])
    array([<POINT (1 2)>, <POINT (3 4)>], dtype=object)
    """
    points = [part for part in parts if isinstance(part, Points)]
    if len(points) == len(parts):
        return Points(np.concatenate([part.coordinates for part in points]))
    return np.concatenate([np.asarray(part) for part in parts])
