"""
Rows of a site's layers, laid by for groups of water bodies until each group is put together.

Of a site of many water bodies no layer is held whole: each piece that is read is divided among the
groups to which its rows belong, and lies on disk until their turn.
"""

import os
import pickle
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from tempfile import TemporaryFile, gettempdir
from types import TracebackType
from typing import IO, Self

import numpy as np

from geoplan.errors import ExportError
from geoplan.readers.belonging import Reach
from geoplan.readers.layer import Layer, joined

#: Water bodies that are put together at a time.
IN_GROUP = 256


@dataclass(frozen=True, eq=False)
class Rows:
    """
    Rows of a layer, and the water bodies to which they belong.

    Attributes
    ----------
    layer : Layer
        The rows, in the order of the file.
    crs : str
        CRS of their coordinates.
    reach : Reach
        Pairs of a row and a water body.
    """

    layer: Layer
    crs: str
    reach: Reach


class Shelf:
    """
    Rows by layer and group of water bodies: of one group in memory, of several on disk.

    Parameters
    ----------
    waters : int
        Water bodies of the site [1].
    in_group : int
        Those of a group, which lie one after the other in the order of the site [1].
    """

    def __init__(self, waters: int, in_group: int = IN_GROUP) -> None:
        self._in_group, self._waters = in_group, waters
        self._held: dict[str, list[Rows]] = {}
        self._begins: dict[tuple[str, int], list[int]] = {}
        self._in_reach: Counter[str] = Counter()
        # It has no name where the system allows, so that a killed run leaves nothing behind.
        self._file = TemporaryFile() if waters > in_group else None  # noqa: SIM115 - see __exit__

    def __enter__(self) -> Self:
        """Return the shelf."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        """Remove what lies on disk."""
        if self._file is not None:
            self._file.close()

    def groups(self) -> Iterator[range]:
        """
        Yield the groups.

        Yields
        ------
        range
            Positions of the water bodies of each.
        """
        for begin in range(0, self._waters, self._in_group):
            yield range(begin, min(begin + self._in_group, self._waters))

    def lay(self, rows: Rows, in_reach: int) -> None:
        """
        Lay rows by, each for every group that has a water body to which it belongs.

        Parameters
        ----------
        rows : Rows
            A piece of a layer.
        in_reach : int
            Rows of it that lie in or beside water [1].

        Raises
        ------
        ExportError
            If the disk is full.
        """
        name = rows.layer.name
        self._in_reach[name] += in_reach
        if self._file is None:
            self._held.setdefault(name, []).append(rows)
            return
        group = rows.reach.water // self._in_group
        try:
            for one in np.unique(group).tolist():
                begin = self._file.seek(0, os.SEEK_END)
                self._begins.setdefault((name, one), []).append(begin)
                pickle.dump(_picked(rows, np.flatnonzero(group == one)), self._file, protocol=5)
            self._file.flush()
        except OSError as error:
            raise ExportError(
                f"the folder for temporary files, {gettempdir()}, takes no more of the layer"
                f" {name!r}: {error}. Make room there, or name another in TMPDIR"
            ) from error

    def taken(self, name: str, group: range) -> Rows | None:
        """
        Return the rows of a layer for a group; they are not kept.

        Parameters
        ----------
        name : str
            Layer of the site.
        group : range
            The group, as ``groups`` has it.

        Returns
        -------
        Rows or None
            ``None`` where it has none.
        """
        if self._file is None:
            parts = self._held.pop(name, [])
        else:
            begins = self._begins.pop((name, group.start // self._in_group), [])
            parts = [_read(self._file, begin) for begin in begins]
        return _together(parts) if parts else None

    def is_any_in_reach(self, name: str) -> bool:
        """
        Tell whether any row of a layer lies in or beside water.

        Parameters
        ----------
        name : str
            Layer of the site, laid by whole.

        Returns
        -------
        bool
            False too where it has no row.
        """
        return self._in_reach[name] > 0


def _picked(rows: Rows, pairs: np.ndarray) -> Rows:
    """Return some pairs of rows and water bodies, with those rows alone."""
    reach = rows.reach
    kept, feature = np.unique(reach.feature[pairs], return_inverse=True)
    some = Reach(feature, reach.water[pairs], reach.distance_m[pairs])
    return Rows(rows.layer.picked(kept), rows.crs, some)


def _read(file: IO[bytes], begin: int) -> Rows:
    """Return what was laid by at a place of a file."""
    file.seek(begin)
    rows: Rows = pickle.load(file)  # noqa: S301 - our own bytes, in a file that only we have open
    return rows


def _together(parts: list[Rows]) -> Rows:
    """Return pieces of a layer as one."""
    begins = np.cumsum([0, *(len(part.layer) for part in parts)])
    reach = Reach(
        np.concatenate(
            [part.reach.feature + begin for part, begin in zip(parts, begins, strict=False)]
        ),
        np.concatenate([part.reach.water for part in parts]),
        np.concatenate([part.reach.distance_m for part in parts]),
    )
    return Rows(joined([part.layer for part in parts]), parts[0].crs, reach)
