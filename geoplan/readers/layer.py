"""A layer as it stands in a file: geometries and columns, not yet understood."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from geoplan.readers.fault_log import Place
from geoplan.readers.points import Geometries, Points, joined_geometries


@dataclass(frozen=True, eq=False)
class Layer:
    """
    Rows of one layer of a site.

    Attributes
    ----------
    name : str
        Layer of the site, such as ``water``.
    file : str
        File name relative to the site.
    crs : str or None
        CRS that the file states.
    geometries : ndarray of BaseGeometry, shape (n,), or Points
        In ``crs``; ``None`` where there is none.
    columns : dict of str to list
        Values by column, as the file has them; ``None`` where there is none.
    rows : ndarray of int, shape (n,)
        Number by which the file's own program shows each row.
    row_word : str
        ``feature``, or ``row`` for a table.
    file_format : str
        Ending of the file name, such as ``.csv``.
    """

    name: str
    file: str
    crs: str | None
    geometries: Geometries
    columns: dict[str, list[Any]]
    rows: NDArray[np.int64]
    row_word: str = "feature"
    file_format: str = ""

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.rows)

    def place(self, index: int | None = None) -> Place:
        """
        Return where a row is, for a fault.

        Parameters
        ----------
        index : int or None
            Position of the row; ``None`` for the layer as a whole.

        Returns
        -------
        Place
            With the first coordinate of the row's geometry.
        """
        if index is None:
            return Place(self.file, self.name)
        feature = f"{self.row_word} {self.rows[index]}"
        return Place(self.file, self.name, feature, first_coordinate(self.geometries[index]))

    def vertices(self) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
        """
        Return the coordinates of all vertices.

        Returns
        -------
        ndarray of float, shape (m, 2)
            Easting and northing, or longitude and latitude [m or °].
        ndarray of int, shape (m,)
            Position of the row to which each belongs.
        """
        if isinstance(self.geometries, Points):
            whole = np.flatnonzero(~self.geometries.is_missing)
            return self.geometries.coordinates[whole], whole
        coordinates, owners = shapely.get_coordinates(self.geometries, return_index=True)
        return coordinates, owners

    def taken(self, indices: NDArray[np.int64], geometries: Geometries) -> "Layer":
        """
        Return some rows with new geometries.

        Parameters
        ----------
        indices : ndarray of int, shape (m,)
            Positions of the rows; one may be taken several times.
        geometries : ndarray of BaseGeometry, shape (m,), or Points
            Their geometries.

        Returns
        -------
        Layer
            The rows.
        """
        columns = {
            name: [values[index] for index in indices] for name, values in self.columns.items()
        }
        return replace(self, geometries=geometries, columns=columns, rows=self.rows[indices])

    def picked(self, indices: NDArray[np.int64]) -> "Layer":
        """
        Return some rows as they are.

        Parameters
        ----------
        indices : ndarray of int, shape (m,)
            Positions of the rows.

        Returns
        -------
        Layer
            The rows.
        """
        own = self.geometries
        return self.taken(indices, own.taken(indices) if isinstance(own, Points) else own[indices])

    def with_columns(self, columns: dict[str, list[Any]]) -> "Layer":
        """
        Return the same rows with other columns.

        Parameters
        ----------
        columns : dict of str to list
            Values by column.

        Returns
        -------
        Layer
            The rows.
        """
        return replace(self, columns=columns)


def joined(parts: Sequence[Layer]) -> Layer:
    """
    Return pieces of a layer as one.

    Parameters
    ----------
    parts : sequence of Layer
        One or more, of the same file and CRS; a column that one of them lacks is empty there.

    Returns
    -------
    Layer
        Their rows, one piece after the other.
    """
    if len(parts) == 1:
        return parts[0]
    names = dict.fromkeys(name for part in parts for name in part.columns)
    columns: dict[str, list[Any]] = {name: [] for name in names}
    for part in parts:
        for name in names:
            columns[name] += part.columns.get(name, [None] * len(part))
    rows = np.concatenate([part.rows for part in parts])
    geometries = joined_geometries([part.geometries for part in parts])
    return replace(parts[0], geometries=geometries, columns=columns, rows=rows)


def object_array(values: list[Any]) -> NDArray[Any]:
    """
    Return a list as an array of objects, whatever the objects are.

    Parameters
    ----------
    values : list
        Geometries or ``None``.

    Returns
    -------
    ndarray of object, shape (n,)
        The same.
    """
    out = np.empty(len(values), dtype=object)
    out[:] = values
    return out


def first_coordinate(geometry: Any) -> tuple[float, float] | None:
    """
    Return the first vertex of a geometry.

    Parameters
    ----------
    geometry : BaseGeometry or None
        Any geometry.

    Returns
    -------
    tuple of float or None
        Easting and northing, or longitude and latitude [m or °]; ``None`` where it has none.

    Examples
    --------
    >>> first_coordinate(shapely.Point(1, 2))
    (1.0, 2.0)
    """
    if geometry is None or geometry.is_empty:
        return None
    first = shapely.get_coordinates(geometry)[0]
    return float(first[0]), float(first[1])
