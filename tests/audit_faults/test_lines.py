"""Lines of a raft on the honest pond, by hand, and each fault that the audit finds in them."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from geoplan.audit import audit_plan
from geoplan.plan import Finding
from geoplan.settings import Settings
from geoplan.site import Site
from geoplan.written import WrittenMaterial, WrittenMooring, WrittenPlan
from tests.audit_faults.pond import TABLES, honest_plan, honest_site, retaped

#: One raft in the open half of the pond, its anchors 3 m off, 2.45 m of water over them at high.
PLACE = (2.0, -2.0)
REACH_M, DEPTH_M = 3.0, 2.45
LENGTH_M = 1.02 * float(np.hypot(REACH_M, DEPTH_M))


def settings(**mooring: object) -> Settings:
    """The pond's settings with rafts on lines."""
    kind = {**TABLES["raft"][0], "mooring": "lines"}  # type: ignore[index, dict-item]
    return Settings.model_validate(
        TABLES | {"raft": [kind], "mooring": {"anchor_proof_n": 8000.0} | mooring}
    )


def lines(**parts: object) -> tuple[WrittenMooring, ...]:
    """Four lines from the corners, 30° from square across; what the first has is changed."""
    out = []
    for k, (ahead, across) in enumerate([(1, 1), (-1, 1), (-1, -1), (1, -1)], 1):
        # The long axis lies east: ahead is east, to starboard is south.
        easting = PLACE[0] + ahead * (2.0 + REACH_M * 0.5)
        northing = PLACE[1] - across * (1.2 + REACH_M * np.sqrt(0.75))
        out.append(
            WrittenMooring(
                f"R1-A{k}",
                "R1",
                "anchor",
                easting,
                northing,
                DEPTH_M,
                LENGTH_M,
                0.0,
                2600.0,
                4000.0,
            )
        )
    out[0] = replace(out[0], **parts)  # type: ignore[arg-type]
    return tuple(out)


def plan(moorings: tuple[WrittenMooring, ...] | None = None) -> WrittenPlan:
    """One raft on lines, with what is bought for it."""
    base = honest_plan({"R1": PLACE})
    rope = WrittenMaterial("line", "any", "m", 4 * (LENGTH_M + 1) * 1.1)
    anchors = WrittenMaterial("anchor", "any", "pieces", 5.0)
    held = replace(
        base,
        moorings=lines() if moorings is None else moorings,
        materials=(*base.materials[:2], rope, anchors),
    )
    return retaped(held)


def site(**mooring: object) -> Site:
    return honest_site(settings=settings(**mooring))


def failed(written: WrittenPlan, where: Site | None = None) -> list[Finding]:
    report = audit_plan(written, where or site())
    return [finding for finding in report.findings if not finding.passed]


def test_honest_lines_pass() -> None:
    assert failed(plan()) == []


FAULTS: list[tuple[str, str, set[str], Callable[[], WrittenPlan]]] = [
    ("short", "long, 3.87 m wanted", {"mooring"}, lambda: plan(lines(length_m=3.8))),
    ("missing", "3 lines", {"mooring", "materials"}, lambda: plan(lines()[1:])),
    (
        "far out",
        "outside low water",
        # So far out that no two tapes of 50 m fix it, and the rope is not on the bill.
        {"mooring", "materials", "tape"},
        lambda: plan(lines(easting_m=32.0, length_m=40.0)),
    ),
    ("overstated", "bears less", {"capacity"}, lambda: plan(lines(capacity_n=5000.0))),
    ("understated", "states less", {"load"}, lambda: plan(lines(load_n=1200.0))),
]


@pytest.mark.parametrize(
    ("words", "wanted", "made"), [f[1:] for f in FAULTS], ids=[f[0] for f in FAULTS]
)
def test_fault_in_a_line_is_found(
    words: str, wanted: set[str], made: Callable[[], WrittenPlan]
) -> None:
    found = failed(made())
    assert {finding.check for finding in found} == wanted
    assert any(words in finding.detail for finding in found)


def test_lines_so_long_that_the_raft_sweeps_to_the_main_are_found() -> None:
    """Lines of 14 m let the raft swing over what is kept clear, 8.8 m to the south."""
    loose = tuple(replace(line, length_m=14.0) for line in lines())
    (found,) = (f for f in failed(plan(loose)) if f.check == "mooring")
    assert "main" in found.detail


def test_capacity_without_a_test_pull_is_found() -> None:
    kind = settings().mooring.model_copy(update={"anchor_proof_n": None})
    bare = honest_site(settings=settings().model_copy(update={"mooring": kind}))
    assert {finding.check for finding in failed(plan(), bare)} == {"capacity"}
    none = tuple(replace(line, capacity_n=None) for line in lines())
    assert failed(plan(none), bare) == []


def test_block_too_light_for_its_capacity_is_found() -> None:
    """1 kN with 0.75 kN of lift on friction 0.4, twice: 5.5 kN under water, 990 kg of concrete."""
    at = site(anchor="dead_weight")
    heavy = tuple(replace(line, capacity_n=1000.0, block_kg=1100.0) for line in lines())
    assert failed(plan(heavy), at) == []
    light = tuple(replace(line, block_kg=600.0) for line in heavy)
    assert {finding.check for finding in failed(plan(light), at)} == {"capacity"}
