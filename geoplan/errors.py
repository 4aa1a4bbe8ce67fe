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

from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

#: Faults of one kind that are told one by one.
_ONE_BY_ONE = 3


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


def said_by_kind(faults: Iterable[Fault]) -> tuple[str, ...]:
    """
    Return faults in lines, those of one kind together where there are more than three.

    Parameters
    ----------
    faults : iterable of Fault
        Each is looked at once: of a kind no more than three are held.

    Returns
    -------
    tuple of str
        In the order in which the kinds appear. Of one kind are faults of one file and layer that
        expect the same and are mended in the same way; what was found is told of the first.

    Examples
    --------
    >>> dry = [
    ...     Fault("warning", "plan", f"{n} m", "1 m", "Dig.", feature=f"pond {n}")
    ...     for n in range(5)
    ... ]
    >>> said_by_kind(dry)
    ('plan, pond 0, pond 1, pond 2 and 2 more: found 0 m (the first of them); expected 1 m. Dig.',)
    >>> said_by_kind(dry[:1])
    ('plan, pond 0: found 0 m; expected 1 m. Dig.',)
    """
    first: dict[tuple[str, ...], list[Fault]] = {}
    count: Counter[tuple[str, ...]] = Counter()
    for fault in faults:
        kind: tuple[str, ...] = (
            fault.severity, fault.file, fault.layer, fault.expected, fault.remedy,
        )  # fmt: skip
        count[kind] += 1
        if count[kind] <= _ONE_BY_ONE:
            first.setdefault(kind, []).append(fault)
    lines: list[str] = []
    for kind, some in first.items():
        more = count[kind] - len(some)
        lines += [_together(some, more)] if more else map(str, some)
    return tuple(lines)


def _together(some: list[Fault], more: int) -> str:
    """Return in one line the first faults of a kind and how many more there are."""
    where = ", ".join(fault.feature or "a feature" for fault in some)
    return str(
        replace(
            some[0],
            feature=f"{where} and {more} more",
            coordinate=None,
            found=f"{some[0].found} (the first of them)",
        )
    )


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
