"""Where faults are gathered while a site is read, so that all are shown at once."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from geoplan.errors import Fault

#: Rows of one kind of fault that are named one by one; a last fault counts the rest.
NAMED_ROWS = 20
#: Longest text of a file that is repeated in a fault.
SHOWN_LENGTH = 60


@dataclass(frozen=True)
class Place:
    """
    Where a fault is.

    Attributes
    ----------
    file : str
        File name relative to the site.
    layer : str
        Layer, empty for settings.
    feature : str
        Feature or row, empty for the layer as a whole.
    coordinate : tuple of float or None
        In the file's own coordinates.
    """

    file: str
    layer: str = ""
    feature: str = ""
    coordinate: tuple[float, float] | None = None


@dataclass
class FaultLog:
    """
    Faults found so far, in the order in which they were found.

    Attributes
    ----------
    found_so_far : list of Fault
        Errors and warnings.

    Examples
    --------
    >>> log = FaultLog()
    >>> log.refuse(Place("site.toml"), "no levels", "three levels", "Give them.")
    >>> log.has_errors
    True
    """

    found_so_far: list[Fault] = field(default_factory=list)

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Return the faults, each once; of many of one kind the first, and how many more."""
        counts: Counter[tuple[str, ...]] = Counter()
        last: dict[tuple[str, ...], int] = {}
        out: list[Fault] = []
        for fault in dict.fromkeys(self.found_so_far):
            kind: tuple[str, ...] = (
                fault.severity,
                fault.file,
                fault.layer,
                fault.expected,
                fault.remedy,
            )
            counts[kind] += 1
            if counts[kind] <= NAMED_ROWS:
                last[kind] = len(out)
                out.append(fault)
        for many, count in counts.items():
            if count > NAMED_ROWS:
                words = f"{count - NAMED_ROWS} more of the same kind"
                out.append(replace(out[last[many]], found=words, feature="", coordinate=None))
        return tuple(out)

    @property
    def has_errors(self) -> bool:
        """Tell whether any fault stops the plan."""
        return any(fault.severity == "error" for fault in self.found_so_far)

    def refuse(self, place: Place, found: str, expected: str, remedy: str) -> None:
        """
        Note a fault that stops the plan.

        Parameters
        ----------
        place : Place
            Where.
        found, expected, remedy : str
            What stands there, what should, and what to do.
        """
        self._note("error", place, found, expected, remedy)

    def remark(self, place: Place, found: str, expected: str, remedy: str) -> None:
        """
        Note something repaired, ignored or assumed.

        Parameters
        ----------
        place : Place
            Where.
        found, expected, remedy : str
            What stands there, what should, and what was done or is to be done.
        """
        self._note("warning", place, found, expected, remedy)

    def refuse_rows(
        self,
        places: Sequence[Place],
        found: Callable[[int], str],
        expected: str,
        remedy: str,
    ) -> None:
        """
        Note the same error in many rows.

        Parameters
        ----------
        places : sequence of Place
            One for each row.
        found : callable
            What stands at a place, by its position in ``places``.
        expected, remedy : str
            What should stand there, and what to do.
        """
        for index, place in enumerate(places):
            self.refuse(place, found(index), expected, remedy)

    def _note(
        self,
        severity: Literal["error", "warning"],
        place: Place,
        found: str,
        expected: str,
        remedy: str,
    ) -> None:
        """Keep a fault."""
        self.found_so_far.append(
            Fault(
                severity,
                place.file,
                found,
                expected,
                remedy,
                place.layer,
                place.feature,
                place.coordinate,
            )
        )


def shown(value: object) -> str:
    """
    Return a value from a file as it may be repeated to a person: quoted and short.

    Parameters
    ----------
    value : object
        Anything.

    Returns
    -------
    str
        Control characters are escaped; long text is cut.

    Examples
    --------
    >>> shown("4,5"), shown(4.5)
    ("'4,5'", '4.5')
    """
    if isinstance(value, str):
        value = value[: SHOWN_LENGTH + 1]
    text = repr(value)
    return text if len(text) <= SHOWN_LENGTH + 3 else text[:SHOWN_LENGTH] + "..."
