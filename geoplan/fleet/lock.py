"""Two runs never write one plan folder at a time."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import IO

from geoplan.errors import PlanFileError, writing
from geoplan.fleet.store import PartStore

#: File that a run holds; it lies in the folder of finished parts and stays there.
FILE_NAME = "lock"


@contextmanager
def alone(store: PartStore, out_name: str) -> Iterator[None]:
    """
    Hold a plan folder for this run, or refuse where another run holds it.

    Parameters
    ----------
    store : PartStore
        Finished parts of that plan folder.
    out_name : str
        Plan folder, for the message.

    Yields
    ------
    None
        While nobody else may begin.

    Raises
    ------
    PlanFileError
        If another run is at work on it, or others may write to the store.
    ExportError
        If the disk takes no lock file.

    Notes
    -----
    The lock is the system's own on an open file. It ends with the process that holds it, however
    that ends, so that a killed run blocks nobody. File systems that know no locks, such as some
    network drives, are used without.
    """
    store.open()
    path = store.folder / FILE_NAME
    with writing(path):
        file = path.open("a+b")
    with file:
        if not _taken(file):
            raise PlanFileError(
                f"another run is writing {out_name} right now; wait until it has ended, or name"
                " another plan folder. Nothing was changed."
            )
        yield


def _taken(file: IO[bytes]) -> bool:
    """Take the system's lock on a file; tell whether nobody else holds it."""
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        else:
            import fcntl

            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    except OSError:  # a file system without locks
        return True
    return True
