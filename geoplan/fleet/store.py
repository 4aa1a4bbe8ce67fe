"""
Finished parts of a run, on disk as soon as each is finished.

A part is a file named by the hash of all that it depends on. It is written beside, flushed to the
disk and renamed, and carries the hash of its own bytes: a run killed at any moment leaves whole
parts and perhaps a scrap that no one reads.
"""

import hashlib
import os
import pickle
import shutil
import stat
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from geoplan.errors import ExportError, PlanFileError

_MAGIC = b"geoplan part 1\n"
_DIGEST_BYTES = 32
#: Ending of what lies in a store between two pieces of work, and is lost without harm.
WORK_ENDING = ".work"


@dataclass(frozen=True)
class PartStore:
    """
    A folder of finished parts.

    Attributes
    ----------
    folder : Path
        Where they lie; made when the first is kept.
    """

    folder: Path

    def open(self) -> None:
        """
        Make the folder, for its owner alone.

        Raises
        ------
        PlanFileError
            If others may write there: what lies there is run by Python when it is read.
        ExportError
            If it cannot be made.
        """
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            state = self.folder.stat()
        except OSError as error:
            raise ExportError(f"{self.folder} could not be made: {error}") from error
        if os.name != "posix":
            return
        if state.st_uid != os.getuid() or state.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
            raise PlanFileError(
                f"{self.folder} belongs to someone else, or others may write to it; remove it, or"
                " name another plan folder"
            )

    @property
    def is_empty(self) -> bool:
        """Tell whether no part is kept."""
        return not any(self.folder.glob("*/*"))

    def path_of(self, key: str) -> Path:
        """
        Return where a part lies.

        Parameters
        ----------
        key : str
            Hash of all that it depends on.

        Returns
        -------
        Path
            Its file.
        """
        return self.folder / key[:2] / key

    def keep(self, key: str, data: bytes, *, is_lasting: bool = True) -> None:
        """
        Keep a part: whole on the disk when this returns, if it is to last.

        Parameters
        ----------
        key : str
            Hash of all that it depends on.
        data : bytes
            The part, as ``packed`` makes it.
        is_lasting : bool
            Whether it must outlive a machine that is switched off; what is made anew in no time
            is left to the system to write when it likes.

        Raises
        ------
        ExportError
            If the disk takes no more; what was kept before stays.
        """
        path = self.path_of(key)
        # What is lost without harm need not be waited for; a torn one is told by its hash.
        is_lasting = is_lasting and not key.endswith(WORK_ENDING)
        scrap = path.with_name(f".{key}.{os.getpid()}")
        try:
            path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            with scrap.open("wb") as file:
                file.write(_MAGIC + hashlib.sha256(data).digest() + data)
                if is_lasting:
                    file.flush()
                    os.fsync(file.fileno())
            scrap.replace(path)
            if is_lasting:
                _flush_folder(path.parent)
        except OSError as error:
            scrap.unlink(missing_ok=True)
            raise ExportError(
                f"{path} could not be written: {error}. What is finished is kept in"
                f" {self.folder}, and an earlier plan is untouched: make room and run the same"
                " command again"
            ) from error

    def data_of(self, key: str) -> bytes | None:
        """
        Return a part as it was kept.

        Parameters
        ----------
        key : str
            Hash of all that it depends on.

        Returns
        -------
        bytes or None
            ``None`` where there is none, or where its bytes are not those that were kept.
        """
        try:
            raw = self.path_of(key).read_bytes()
        except OSError:
            return None
        head = len(_MAGIC) + _DIGEST_BYTES
        data = raw[head:]
        is_whole = raw[:head] == _MAGIC + hashlib.sha256(data).digest()
        return data if is_whole else None

    def load(self, key: str) -> Any:
        """
        Return what a part holds.

        Parameters
        ----------
        key : str
            Hash of all that it depends on.

        Returns
        -------
        Any
            The part; ``None`` where there is no whole one.
        """
        data = self.data_of(key)
        return None if data is None else unpacked(data)

    def forget_all_but(self, keys: Iterable[str]) -> None:
        """
        Remove every file that is not one of these parts.

        Parameters
        ----------
        keys : iterable of str
            Parts to keep.
        """
        wanted = set(keys)  # their paths would be a kilobyte each
        for path in self.folder.glob("*/*"):
            if path.name not in wanted:
                path.unlink(missing_ok=True)

    def remove(self) -> None:
        """Remove the whole folder."""
        shutil.rmtree(self.folder, ignore_errors=True)


def packed(value: Any) -> bytes:
    """
    Return a value as bytes to be kept.

    Parameters
    ----------
    value : Any
        What a piece of work made.

    Returns
    -------
    bytes
        As they stand; to compress them would halve the room and take a fortieth of the run.
    """
    return pickle.dumps(value, protocol=5)


def unpacked(data: bytes) -> Any:
    """
    Return a value from its bytes.

    Parameters
    ----------
    data : bytes
        As ``packed`` made them, from a folder that only its owner may write to.

    Returns
    -------
    Any
        The value.
    """
    return pickle.loads(data)  # noqa: S301 - our own bytes, see PartStore.open


def _flush_folder(folder: Path) -> None:
    """Flush a folder's list of names to the disk, where the system can."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
