"""Findings of a large district, on disk in the order of the checks: some fifty of each pond."""

import os
import pickle
import tempfile
import weakref
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from itertools import accumulate, islice
from pathlib import Path
from types import TracebackType
from typing import Self, overload

from geoplan.errors import ExportError, PlanFileError
from geoplan.plan import Finding

#: Findings that lie together in a file: where they begin, and how many they are [1].
_Batch = tuple[int, int]


class Filed(Sequence[Finding]):
    """
    Findings that are read from a file when they are asked for.

    Parameters
    ----------
    path : Path
        Where they lie.
    batches : sequence of (int, int)
        Where some of them begin in it, and how many those are, in order [1].
    """

    def __init__(self, path: Path, batches: Sequence[_Batch]) -> None:
        self._path, self._batches = path, tuple(batches)
        self._begins = [0, *accumulate(count for _, count in batches)]

    def __len__(self) -> int:
        """Return how many there are."""
        return self._begins[-1]

    def __iter__(self) -> Iterator[Finding]:
        """Yield each, some being read at a time."""
        return self._from(0)

    @overload
    def __getitem__(self, index: int) -> Finding: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[Finding, ...]: ...
    def __getitem__(self, index: int | slice) -> "Finding | tuple[Finding, ...]":
        """Return one, or some of them."""
        at = range(len(self))[index]
        if isinstance(at, int):
            return next(self._from(at))
        if at.step == 1:
            return tuple(islice(self._from(at.start), len(at)))
        return tuple(self[one] for one in at)

    def _from(self, first: int) -> Iterator[Finding]:
        """Yield those from one on."""
        batch = bisect_right(self._begins, first) - 1
        skipped = first - self._begins[batch]
        try:
            with self._path.open("rb") as file:
                for begin, _ in self._batches[batch:]:
                    file.seek(begin)
                    some: list[Finding] = pickle.load(file)  # noqa: S301 - written by Filing
                    yield from some[skipped:]
                    skipped = 0
        except FileNotFoundError:
            raise PlanFileError(
                f"{self._path.parent}: findings of the audit were removed while they were of use;"
                " run the same command again"
            ) from None


class Filing:
    """
    Findings while a plan is judged piece by piece.

    Parameters
    ----------
    folder : Path or None
        Where the file of them lies as long as anyone in this process holds them; ``None``: with
        other temporary files.

    Raises
    ------
    ExportError
        If no file can be made there.
    """

    def __init__(self, folder: Path | None) -> None:
        self._batches: dict[str, list[_Batch]] = {}
        where = Path(tempfile.gettempdir()) if folder is None else folder
        try:
            where.mkdir(mode=0o700, parents=True, exist_ok=True)
            number, name = tempfile.mkstemp(prefix="findings_", dir=where)
        except OSError as error:
            raise _full(where, error) from error
        self._path, self._file = Path(name), os.fdopen(number, "wb")
        self._is_filed = False

    def __enter__(self) -> Self:
        """Return the same."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        """Remove the file if nothing came of it."""
        with suppress(OSError):  # a full disk has been told
            self._file.close()
        if not self._is_filed:
            _remove(self._path)

    def add(self, found: Mapping[str, Sequence[Finding]]) -> None:
        """
        File the findings of a piece.

        Parameters
        ----------
        found : mapping of str to sequence of Finding
            By the name of the check.

        Raises
        ------
        ExportError
            If the disk is full.
        """
        try:
            for name, findings in found.items():
                if findings:
                    batch = (self._file.tell(), len(findings))
                    self._batches.setdefault(name, []).append(batch)
                    pickle.dump(list(findings), self._file, protocol=5)
            self._file.flush()
        except OSError as error:
            raise _full(self._path.parent, error) from error

    def filed(self, checks: Sequence[str]) -> Filed:
        """
        Return all of them, once none is added any more.

        Parameters
        ----------
        checks : sequence of str
            Names of the checks in the order wanted; those of one stand in the order of the pieces.

        Returns
        -------
        Filed
            The findings.
        """
        self._file.close()
        self._is_filed = True
        batches = [batch for name in checks for batch in self._batches.get(name, ())]
        out = Filed(self._path, batches)
        weakref.finalize(out, _remove, self._path)
        return out


def _remove(path: Path) -> None:
    """Remove a file that nobody needs any longer."""
    with suppress(OSError):
        path.unlink(missing_ok=True)


def _full(folder: Path, error: OSError) -> ExportError:
    """Return what to say of a folder that takes no more."""
    return ExportError(
        f"{folder} takes no findings of the audit: {error}. Make room there and run the same"
        " command again"
    )
