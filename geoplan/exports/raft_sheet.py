"""``rafts_afloat.csv``: each raft type that is built as stated, at the stages of its life."""

from collections.abc import Iterator
from pathlib import Path

from geoplan.exports.csv_text import Cell, Fixed, write_table
from geoplan.exports.safe_rounding import rounded_down, rounded_up
from geoplan.hulls import states_of
from geoplan.plan import AuditReport, Plan
from geoplan.raft import RaftType
from geoplan.raft_states import clear_gaps_m, survives_flooding
from geoplan.site import Site

FILE_NAME = "rafts_afloat.csv"

#: What stands beside every number that somebody's safety may hang on.
ENGINEER = "screening only: someone qualified checks and signs it; local rules prevail"

_HEADER = (
    "raft_type",
    "stage",
    "mass_kg",
    "displaced_m3",
    "draft_m",
    "freeboard_m",
    "gm_m",
    "heel_deg",
    "trim_deg",
    "used_pct",
    "afloat_quarter_flooded",
    "least_pole_gap_m",
    "caution",
)


def write(
    plan: Plan,  # noqa: ARG001 - exports are called alike
    site: Site,
    folder: Path,
    audit: AuditReport | None,  # noqa: ARG001 - exports are called alike
) -> None:
    """
    Write ``rafts_afloat.csv``.

    Parameters
    ----------
    plan : Plan
        Not used: a raft floats alike wherever it lies.
    site : Site
        The site, for its raft types.
    folder : Path
        Folder to write into.
    audit : AuditReport or None
        Not used: the sheet states what the build comes to.

    Raises
    ------
    ExportError
        If the file cannot be written.
    """
    rows = (row for kind in site.settings.raft for row in _rows(kind))
    write_table(folder / FILE_NAME, _HEADER, rows)


def _rows(kind: RaftType) -> Iterator[tuple[Cell, ...]]:
    """Yield a row for each stage of a type whose build is known."""
    build = kind.build
    if build is None:
        return
    afloat = survives_flooding(build, kind.length_m, kind.width_m)
    gap = min(clear_gaps_m(build, kind.length_m, kind.width_m))
    for state in states_of(kind):
        yield (
            kind.name,
            state.stage,
            _up(state.mass_kg, 0),
            Fixed(state.displaced_m3, 3),
            _up(state.draft_m, 3),
            _down(state.freeboard_m, 3),
            _down(state.gm_m, 2),
            _up(state.heel_deg, 1),
            _up(state.trim_deg, 1),
            _up(100 * state.used_share, 1),
            afloat,
            _down(gap, 3),
            ENGINEER,
        )


def _up(value: float, decimals: int) -> Cell:
    """Return a number rounded up; nothing where it is not finite."""
    rounded = rounded_up(value, decimals)
    return None if rounded is None else Fixed(rounded, decimals)


def _down(value: float, decimals: int) -> Cell:
    """Return a number rounded down; nothing where it is not finite."""
    rounded = rounded_down(value, decimals)
    return None if rounded is None else Fixed(rounded, decimals)
