"""
The audit of a large district in pieces, a few water bodies each, with the same findings.

Most checks look at one water body with its own rows. Those that add up over the whole site need
neither bed nor edges, and see all rows at once. So no more than one piece is in memory at a time,
time grows with the number of water bodies and not with its square, and pieces can be judged side by
side.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from geoplan.audit import CHECKS
from geoplan.audit.evidence import case_of, counted_case
from geoplan.audit.filing import Filing
from geoplan.plan import AuditReport, Finding
from geoplan.site import Site, names_of
from geoplan.written import WrittenPlan

#: Checks over the whole site; they look at rows, types and terms alone.
WHOLE_CHECKS = ("record", "stock", "budget", "share", "materials")
#: Layers that those look at, beside whose edges there are; of the others they need nothing.
COUNTED_LAYERS = ("rafts", "moorings", "materials")
#: Layers whose rows name their water body, and those whose rows name their raft.
_BY_WATER = ("rafts", "edges", "marks", "tapes", "why_not", "loads")
_BY_RAFT = ("moorings", "routes")

#: Findings of a piece by the name of the check.
PieceFindings = Mapping[str, Sequence[Finding]]


def pieces(written: WrittenPlan, site: Site, size: int) -> Iterator[tuple[WrittenPlan, Site]]:
    """
    Part a plan and its site.

    Parameters
    ----------
    written : WrittenPlan
        What the plan's file says, or only which rows of it name what.
    site : Site
        The raw site.
    size : int
        Water bodies in a piece at most [1].

    Yields
    ------
    WrittenPlan
        First the rows that name no raft of the plan, then those of some water bodies at a time.
    Site
        The site with those water bodies alone, of which none is read for it.
    """
    rows: dict[str, dict[str, list[Any]]] = {}
    for layer in _BY_WATER:
        for row in getattr(written, layer):
            rows.setdefault(row.water_id, {}).setdefault(layer, []).append(row)
    rafts = [(row.raft_id, row.water_id) for row in written.rafts]
    waters: dict[str, list[str]] = {}
    for raft_id, water_id in dict.fromkeys(rafts):
        waters.setdefault(raft_id, []).append(water_id)
    strays: dict[str, list[Any]] = {}
    for layer in _BY_RAFT:
        for row in getattr(written, layer):
            for water_id in waters.get(row.raft_id, ()):
                rows[water_id].setdefault(layer, []).append(row)
            if row.raft_id not in waters:
                strays.setdefault(layer, []).append(row)
    yield _of_layers(written, [strays]), replace(site, water_bodies=())
    names = names_of(site.water_bodies)
    for begin in range(0, len(names), size):
        some = slice(begin, begin + size)
        layers = [rows.get(name, {}) for name in names[some]]
        # Those that lie on disk stay there until somebody judges them.
        yield _of_layers(written, layers), replace(site, water_bodies=site.water_bodies[some])


def _of_layers(written: WrittenPlan, parts: Sequence[Mapping[str, Sequence[Any]]]) -> WrittenPlan:
    """Return a plan of some rows; what is bought belongs to the whole."""
    names = (*_BY_WATER, *_BY_RAFT)
    layers: dict[str, Any] = {
        name: tuple(row for part in parts for row in part.get(name, ())) for name in names
    }
    return replace(written, materials=(), **layers)


def judged_piece(written: WrittenPlan, site: Site) -> dict[str, tuple[Finding, ...]]:
    """
    Judge a piece.

    Parameters
    ----------
    written : WrittenPlan
        Its rows.
    site : Site
        Its water bodies.

    Returns
    -------
    dict of str to tuple of Finding
        Findings of every check that looks at water bodies one by one.
    """
    case = case_of(written, site)
    return {name: tuple(check(case)) for name, check in CHECKS.items() if name not in WHOLE_CHECKS}


def audit_of_pieces(
    written: WrittenPlan,
    site: Site,
    found: Iterable[PieceFindings],
    folder: Path | None = None,
) -> AuditReport:
    """
    Judge a plan of which every piece has been judged.

    Parameters
    ----------
    written : WrittenPlan
        What the whole file says, of ``COUNTED_LAYERS`` at least; its edges need only name their
        water body.
    site : Site
        The raw site.
    found : iterable of mapping of str to sequence of Finding
        Findings of the pieces, in their order.
    folder : Path or None
        Where findings lie as long as the report is in use; ``None``: with other temporary files.

    Returns
    -------
    AuditReport
        What ``audit_plan`` finds, in its order; no more than one piece is held.

    Raises
    ------
    ExportError
        If the disk is full.
    """
    with Filing(folder) as filing:
        for piece in found:
            filing.add(piece)
        case = counted_case(written, site)
        filing.add({name: list(CHECKS[name](case)) for name in WHOLE_CHECKS})
        return AuditReport(filing.filed(list(CHECKS)))
