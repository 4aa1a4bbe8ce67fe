"""A large district is judged in pieces, and its files are written side by side: nothing changes."""

from dataclasses import replace
from pathlib import Path

import pytest

from geoplan.audit import CHECKS, audit_plan
from geoplan.audit.pieces import audit_of_pieces, judged_piece, pieces
from geoplan.exports import gis_files
from geoplan.fleet import plan_folder, writing
from geoplan.fleet.writing import judged
from geoplan.readers import read_site
from geoplan.site import Site
from geoplan.written import WrittenPlan
from tests.sites.test_whole_runs import digest, two_ponds


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A site of two ponds and its plan."""
    folder = tmp_path_factory.mktemp("written")
    path = two_ponds(folder)
    plan_folder(path, folder / "plan", workers=2)
    return path, folder / "plan"


@pytest.fixture(scope="module")
def case(plan: tuple[Path, Path]) -> tuple[WrittenPlan, Site]:
    """What the plan's file says, and the site."""
    return gis_files.read_plan(plan[1] / gis_files.FILE_NAME), read_site(plan[0])


def same(written: WrittenPlan, site: Site, size: int) -> bool:
    """Whether pieces of a size find what the audit of the whole finds, not numbers alike."""
    found = [judged_piece(*piece) for piece in pieces(written, site, size)]
    one = audit_of_pieces(written, site, found).findings
    return [str(f) for f in one] == [str(f) for f in audit_plan(written, site).findings]


@pytest.mark.parametrize("size", [1, 2, 5])
def test_pieces_find_what_the_whole_finds(case: tuple[WrittenPlan, Site], size: int) -> None:
    written, site = case
    assert len({finding.check for finding in audit_plan(written, site).findings}) > 20
    assert same(written, site, size)


def test_pieces_find_the_faults_that_the_whole_finds(case: tuple[WrittenPlan, Site]) -> None:
    written, site = case
    first, second = written.rafts[:2]
    faulty = replace(
        written,
        rafts=(
            replace(first, water_id="nowhere"),
            replace(second, raft_type="unknown"),
            *written.rafts[2:],
            written.rafts[-1],
        ),
        moorings=(*written.moorings, replace(written.moorings[0], raft_id="none")),
        routes=tuple(replace(route, raft_id="gone") for route in written.routes[:1]),
        edges=(*written.edges[1:], replace(written.edges[0], water_id="moon")),
        loads=written.loads[1:],
    )
    assert len([f for f in audit_plan(faulty, site).findings if not f.passed]) > 5
    assert same(faulty, site, 1)
    assert same(replace(written, crs="no such"), site, 1)


def test_files_written_side_by_side_are_the_same_files(
    plan: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site, whole = plan
    monkeypatch.setattr(writing, "_WHOLE_UP_TO", 1)
    monkeypatch.setattr(writing, "_PIECE", 1)
    out = tmp_path.parent / "side" / "plan"
    plan_folder(site, out, workers=2)
    ours, theirs = digest(out), digest(whole)
    ours.pop("plan.json")
    theirs.pop("plan.json")
    assert ours == theirs
    assert not list((out.parent / ".plan.parts").glob("*/*.work"))
    # The command that audits a folder works through pieces without anyone's help.
    assert judged(out / gis_files.FILE_NAME, read_site(site)).passed


def test_rows_of_a_part_are_the_rows_of_the_whole(
    plan: tuple[Path, Path], case: tuple[WrittenPlan, Site]
) -> None:
    """Read by their numbers, a piece of the file is the piece of what was read whole."""
    written, site = case
    path = plan[1] / gis_files.FILE_NAME
    keys = gis_files.row_keys(path)
    for (some, _), (part, _) in zip(pieces(keys, site, 1), pieces(written, site, 1), strict=True):
        assert str(gis_files.read_plan(path, writing._rows(some))) == str(part)


def test_every_check_is_of_a_piece_or_of_the_whole(case: tuple[WrittenPlan, Site]) -> None:
    found = judged_piece(*next(iter(pieces(*case, 2))))
    from geoplan.audit.pieces import WHOLE_CHECKS

    assert {*found, *WHOLE_CHECKS} == set(CHECKS)
    assert not set(found) & set(WHOLE_CHECKS)
