"""
The errors a person can meet, each written so that they know what to change.

    GeoplanError
    ├── SiteDataError      the site's files cannot be used; carries every Fault found
    ├── RaftTypeError      a raft that cannot be, or a missing dimension
    ├── InfeasibleError    no raft fits anywhere; names the rule that took most away
    ├── PlanFileError      a plan folder that cannot be read
    └── ExportError        a file that cannot be written
    SiteDataWarning(UserWarning)   something was repaired or assumed: what, where, by how much

Numerics raise ``ValueError`` on bad arguments; these classes are for faults in a user's files
and choices.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Literal


class GeoplanError(Exception):
    """Something a person can put right; the message says what and how."""


@dataclass(frozen=True)
class Fault:
    """
    One thing wrong or doubtful in a site's files.

    Attributes
    ----------
    severity : {"error", "warning"}
        An error stops the plan; a warning is something repaired, ignored or assumed.
    file : str
        File name as the person knows it, relative to the site.
    found : str
        What stands there.
    expected : str
        What should stand there.
    remedy : str
        What the person can do about it.
    layer : str
        Layer of the site, such as ``water`` or ``soundings``; empty for settings.
    feature : str
        Identity of the feature or row, such as ``feature 3`` or ``inflow_id 'north'``.
    coordinate : tuple of float or None
        Where it is, in the file's own coordinates; ``None`` where there is no place.
    """

    severity: Literal["error", "warning"]
    file: str
    found: str
    expected: str
    remedy: str
    layer: str = ""
    feature: str = ""
    coordinate: tuple[float, float] | None = None

    def __str__(self) -> str:
        """Return the fault in one line: where, what was found, what was expected, what to do."""
        where = [self.file]
        if self.layer:
            where.append(f"layer '{self.layer}'")
        if self.feature:
            where.append(self.feature)
        if self.coordinate is not None:
            where.append(f"at {self.coordinate[0]:.7g}, {self.coordinate[1]:.7g}")
        return (
            f"{', '.join(where)}: found {self.found}; expected {self.expected}. {self.remedy}"
        ).rstrip()


class SiteDataError(GeoplanError):
    """
    The site's files cannot be used as they are.

    Parameters
    ----------
    faults : tuple of Fault
        Everything found, not the first alone; warnings included.
    """

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        self.faults = faults
        errors = [fault for fault in faults if fault.severity == "error"]
        super().__init__("\n".join(str(fault) for fault in errors or faults))

    def __reduce__(self) -> tuple[type["SiteDataError"], tuple[tuple[Fault, ...]]]:
        """Rebuild from the faults, so that the error crosses process borders whole."""
        return (SiteDataError, (self.faults,))


class RaftTypeError(GeoplanError):
    """A raft that cannot be: a missing dimension, or one that contradicts another."""


class InfeasibleError(GeoplanError):
    """No raft can be placed; the message names the rule that took most room away."""


class PlanFileError(GeoplanError):
    """A plan folder that is missing, half written, or from another program."""


class ExportError(GeoplanError):
    """A file that cannot be written or does not read back as it was written."""


@contextmanager
def writing(path: Path, *faults: type[Exception]) -> Iterator[None]:
    """
    Say of which file it is that it cannot be written.

    Parameters
    ----------
    path : Path
        The file.
    *faults : type
        What a library raises if it cannot, besides the system's own errors.

    Yields
    ------
    None
        The file is written meanwhile.

    Raises
    ------
    ExportError
        If it cannot be written.
    """
    caught: tuple[type[Exception], ...] = (OSError, *faults)
    try:
        yield
    except caught as error:
        raise ExportError(f"{path} could not be written: {error}") from error


class SiteDataWarning(UserWarning):
    """Something in the site was repaired or assumed: what, where and by how much."""
