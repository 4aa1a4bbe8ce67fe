"""Each check finds the fault planted for it, and only that check does."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import affinity

from geoplan.audit import CHECKS, audit_plan
from geoplan.audit.evidence import case_of
from geoplan.audit.headings import check_heading
from geoplan.placement.rules import RULES
from geoplan.plan import Finding
from geoplan.settings import Settings
from geoplan.site import ExistingRaft, Inflow, KeepClear, Outlet, ShadeObject, ShareTerms, Site
from geoplan.written import WrittenPlan, WrittenRoute, WrittenWhyNot
from geoplan.written_tapes import WrittenMark
from tests.audit_faults.pond import (
    HOLE,
    HONEST,
    SHOAL,
    honest_plan,
    honest_site,
    loads,
    raft,
    removal_g_d,
    retaped,
    settings,
)


def failed(plan: WrittenPlan, site: Site | None = None) -> list[Finding]:
    report = audit_plan(plan, site or honest_site())
    return [finding for finding in report.findings if not finding.passed]


def with_raft(plan: WrittenPlan, **parts: object) -> WrittenPlan:
    return retaped(replace(plan, rafts=(replace(plan.rafts[0], **parts), *plan.rafts[1:])))  # type: ignore[arg-type]


def with_post(plan: WrittenPlan, **parts: object) -> WrittenPlan:
    moorings = (replace(plan.moorings[0], **parts), *plan.moorings[1:])  # type: ignore[arg-type]
    return retaped(replace(plan, moorings=moorings))


def with_tape(plan: WrittenPlan, **parts: object) -> WrittenPlan:
    return replace(plan, tapes=(replace(plan.tapes[0], **parts), *plan.tapes[1:]))  # type: ignore[arg-type]


def through_the_first() -> tuple[WrittenRoute, ...]:
    """The second raft led through where the first lies by then."""
    first, second = honest_plan().routes
    path = shapely.LineString([(-30, 10), (-26, 10), (-20, 0), (6, 0)])
    length = 4.0 + float(np.hypot(6, 10)) + 26.0
    return first, replace(second, path=path, length_m=length, clearance_m=0.0, has_room=False)


def with_route(plan: WrittenPlan, **parts: object) -> WrittenPlan:
    return replace(plan, routes=(replace(plan.routes[0], **parts), *plan.routes[1:]))  # type: ignore[arg-type]


def with_edge(plan: WrittenPlan, **parts: object) -> WrittenPlan:
    return replace(plan, edges=(replace(plan.edges[0], **parts), *plan.edges[1:]))  # type: ignore[arg-type]


def with_answer(plan: WrittenPlan, **parts: object) -> WrittenPlan:
    return replace(plan, why_not=(*plan.why_not[:2], replace(plan.why_not[2], **parts)))  # type: ignore[arg-type]


def with_loads(**parts: object) -> WrittenPlan:
    first, *rest = honest_plan().loads
    return replace(honest_plan(), loads=(replace(first, **parts), *rest))  # type: ignore[arg-type]


def scaled(factor: float) -> WrittenPlan:
    """All that rafts take out of the nitrogen times a factor, every sum kept."""
    plan = honest_plan()
    first, *rest = plan.loads
    row = replace(
        first,
        load_out=first.load_out_without_rafts - factor * first.removed,
        removed=factor * first.removed,
        removed_lowest=factor * first.removed_lowest,
        removed_highest=factor * first.removed_highest,
    )
    each = factor * removal_g_d(2)
    rafts = tuple(replace(raft, removal_g_d=each) for raft in plan.rafts)
    return replace(plan, rafts=rafts, loads=(row, *rest))


def moved(easting: float, northing: float) -> WrittenPlan:
    """The second raft elsewhere, with its posts and route; it is launched before the first."""
    plan = honest_plan({"R1": HONEST["R1"], "R2": (easting, northing)})
    first, second = plan.routes
    return replace(plan, routes=(replace(first, sequence=2), replace(second, sequence=1)))


def test_honest_plan_passes_every_check() -> None:
    report = audit_plan(honest_plan(), honest_site())
    assert [finding for finding in report.findings if not finding.passed] == []
    assert {finding.check for finding in report.findings} == set(CHECKS)
    assert report.passed


def test_measures_are_those_of_hand_arithmetic() -> None:
    report = audit_plan(honest_plan(), honest_site())
    by = {(f.check, f.raft_id): f.measured for f in report.findings}
    assert by["depth", "R1"] == pytest.approx(9.5 - 8 - 1.645 * 0.05 - 1.05, abs=1e-6)
    assert by["bank", "R1"] == pytest.approx(19 - 1.2, abs=1e-4)
    assert by["gap", "R1"] == pytest.approx(np.hypot(2.0, 7.6), abs=1e-6)
    assert by["outlet", "R2"] == pytest.approx(22.0, abs=1e-6)
    assert by["inflow", "R1"] == pytest.approx(22.0, abs=1e-6)
    assert by["keep_clear", "R1"] == pytest.approx(10.8, abs=1e-6)
    assert by["depth_claim", "R1"] == pytest.approx(1.38 - 1.5, abs=1e-6)
    cap = next(f for f in report.findings if f.check == "cover")
    assert cap.measured == pytest.approx(100 * 28.8 / 2400, rel=1e-6)


# A raft out of the water lies on the bank and on ground too high for its roots as well: the three
# cannot be told apart, for the outline itself is part of the bed.
PLANS: list[tuple[str, set[str], Callable[[], WrittenPlan]]] = [
    (
        "on ground dry at low level",
        {"water", "bank", "depth", "towing"},
        lambda: replace(
            moved(6, 18.5),
            rafts=(raft("R1", *HONEST["R1"]), raft("R2", 6, 18.5, depth_low_m=None)),
        ),
    ),
    (
        "wider",
        {"size"},
        lambda: with_raft(honest_plan(), outline=shapely.box(-8, -1.2, -3.95, 1.2)),
    ),
    (
        "askew",
        {"size"},
        lambda: with_raft(
            honest_plan(),
            outline=shapely.Polygon([(-8.1, -1.2), (-4.1, -1.2), (-3.9, 1.2), (-7.9, 1.2)]),
        ),
    ),
    ("stated size", {"size"}, lambda: with_raft(honest_plan(), width_m=2.0)),
    ("near the bank", {"bank"}, lambda: moved(6, 13.8)),
    (
        "over a shoal",
        {"depth", "towing"},
        lambda: replace(
            moved(*SHOAL), rafts=(raft("R1", *HONEST["R1"]), raft("R2", *SHOAL, depth_low_m=1.1))
        ),
    ),
    ("deep on paper", {"depth_claim"}, lambda: with_raft(honest_plan(), depth_low_m=1.53)),
    ("not sounded", {"survey"}, lambda: moved(*HOLE)),
    ("too near each other", {"gap"}, lambda: moved(-1.5, 0)),
    ("too near an existing one", {"gap"}, lambda: moved(0, 6.7)),
    ("on the main", {"keep_clear"}, lambda: moved(6, -9.5)),
    ("at the outlet", {"outlet"}, lambda: moved(20, 0)),
    ("at the inflow", {"inflow"}, lambda: moved(-21, 0)),
    ("cover understated", {"cover"}, lambda: with_edge(honest_plan(), cover_pct=1.0)),
    ("area overstated", {"cover"}, lambda: with_edge(honest_plan(), area_m2=2250.0)),
    ("level misstated", {"cover"}, lambda: with_edge(honest_plan(), level_m=9.4)),
    (
        "another edge drawn",
        {"cover"},
        lambda: with_edge(honest_plan(), outline=shapely.MultiPolygon([shapely.box(0, 0, 9, 9)])),
    ),
    ("edge left out", {"cover"}, lambda: replace(honest_plan(), edges=honest_plan().edges[1:])),
    ("level unknown", {"cover"}, lambda: with_edge(honest_plan(), level_name="flood")),
    ("draft understated", {"draft"}, lambda: with_raft(honest_plan(), draft_m=0.148)),
    ("draft left out", {"draft"}, lambda: with_raft(honest_plan(), draft_m=None)),
    ("freeboard overstated", {"freeboard"}, lambda: with_raft(honest_plan(), freeboard_m=0.152)),
    ("wave understated", {"waves"}, lambda: with_raft(honest_plan(), wave_height_m=0.09)),
    ("wave overstated", {"waves"}, lambda: with_raft(honest_plan(), wave_height_m=0.19)),
    ("wave left out", {"waves"}, lambda: with_raft(honest_plan(), wave_height_m=None)),
    ("two posts", {"post"}, lambda: replace(honest_plan(), moorings=honest_plan().moorings[2:])),
    ("post off the third", {"post"}, lambda: with_post(honest_plan(), easting_m=-5.2)),
    ("post off the side", {"post"}, lambda: with_post(honest_plan(), northing_m=1.8)),
    ("post inside", {"post"}, lambda: with_post(honest_plan(), northing_m=1.1)),
    ("post short", {"post"}, lambda: with_post(honest_plan(), length_m=3.9)),
    ("post is an anchor", {"post"}, lambda: with_post(honest_plan(), kind="anchor")),
    ("load understated", {"load"}, lambda: with_post(honest_plan(), load_n=1400.0)),
    ("load left out", {"load"}, lambda: with_post(honest_plan(), load_n=None)),
    ("capacity overstated", {"capacity"}, lambda: with_post(honest_plan(), capacity_n=90.0)),
    (
        "a raft's poles not ordered",
        {"materials"},
        lambda: replace(
            honest_plan(),
            materials=(
                replace(honest_plan().materials[0], ordered=9.0),
                *honest_plan().materials[1:],
            ),
        ),
    ),
    (
        "posts not ordered at all",
        {"materials"},
        lambda: replace(honest_plan(), materials=honest_plan().materials[:2]),
    ),
    ("post of nobody", {"post"}, lambda: with_post(honest_plan(), raft_id="R9")),
    (
        "two posts in one place",
        {"post"},
        lambda: with_post(honest_plan(), easting_m=-6 - 4 / 6),
    ),
    ("tape too short", {"tape"}, lambda: with_tape(honest_plan(), tape_1_m=23.24)),
    ("marks exchanged", {"tape"}, lambda: with_tape(honest_plan(), mark_1="B", mark_2="A")),
    ("mark of nobody", {"tape"}, lambda: with_tape(honest_plan(), mark_2="Z")),
    ("one mark twice", {"tape"}, lambda: with_tape(honest_plan(), mark_2="A")),
    ("better on paper", {"tape"}, lambda: with_tape(honest_plan(), error_major_m=0.05)),
    ("crossing misstated", {"tape"}, lambda: with_tape(honest_plan(), crossing_deg=90.0)),
    ("set out elsewhere", {"tape"}, lambda: with_tape(honest_plan(), easting_m=-6.1)),
    (
        "not taped though it can be",
        {"tape"},
        lambda: with_tape(honest_plan(), mark_1="", mark_2="", tape_1_m=None, tape_2_m=None),
    ),
    (
        "corner not set out",
        {"tape"},
        lambda: replace(
            honest_plan(),
            tapes=tuple(
                t for t in honest_plan().tapes if (t.raft_id, t.item) != ("R1", "corner 3")
            ),
        ),
    ),
    (
        "set out for nobody",
        {"tape"},
        lambda: replace(
            honest_plan(),
            tapes=(*honest_plan().tapes, replace(honest_plan().tapes[0], raft_id="R9")),
        ),
    ),
    (
        "mark moved on paper",
        {"tape"},
        lambda: replace(
            honest_plan(),
            marks=(replace(honest_plan().marks[0], easting_m=-16.1), honest_plan().marks[1]),
        ),
    ),
    (
        "peg proposed in the water",
        {"tape"},
        lambda: replace(
            honest_plan(), marks=(*honest_plan().marks, WrittenMark("M1", "pond", 0.0, -19.0, True))
        ),
    ),
    ("starts elsewhere", {"route"}, lambda: with_route(honest_plan(), launch_id="ramp")),
    (
        "starts off the slip",
        {"route"},
        lambda: with_route(
            honest_plan(), path=shapely.LineString([(-26, 10), (-6, 0)]), length_m=500**0.5
        ),
    ),
    (
        "ends off the raft",
        {"route", "towing"},
        lambda: with_route(
            honest_plan(), path=shapely.LineString([(-30, 10), (-10, 10)]), length_m=20.0
        ),
    ),
    (
        "over land",
        {"route", "towing"},
        lambda: with_route(
            honest_plan(),
            path=shapely.LineString([(-30, 10), (-26, 10), (-26, 22), (-6, 22), (-6, 0)]),
            length_m=4.0 + 12 + 20 + 22,
        ),
    ),
    (
        "towed through a raft in place",
        {"towing"},
        lambda: replace(honest_plan(), routes=through_the_first()),
    ),
    ("more clearance on paper", {"towing"}, lambda: with_route(honest_plan(), clearance_m=9.5)),
    (
        "room to turn on paper",
        {"towing"},
        lambda: with_route(
            honest_plan(),
            path=shapely.LineString([(-30, 10), (-28, 10), (-28, -17), (-6, 0)]),
            length_m=2.0 + 27.0 + float(np.hypot(22, 17)),
            clearance_m=0.9,
        ),
    ),
    (
        "clearance below half the width",
        {"towing"},
        lambda: with_route(honest_plan(), clearance_m=1.19),
    ),
    ("narrower on paper", {"towing"}, lambda: with_route(honest_plan(), width_m=2.0)),
    ("turned in less room on paper", {"towing"}, lambda: with_route(honest_plan(), turning_m=4.0)),
    ("too shallow as stated", {"towing"}, lambda: with_route(honest_plan(), least_depth_m=0.1)),
    ("lighter on paper", {"handling"}, lambda: with_route(honest_plan(), mass_kg=400.0)),
    ("less pull on paper", {"handling"}, lambda: with_route(honest_plan(), haul_n=3000.0)),
    (
        "carried on paper",
        {"handling"},
        lambda: with_route(honest_plan(), brought_by="carried"),
    ),
    ("fewer people on paper", {"handling"}, lambda: with_route(honest_plan(), people=1.0)),
    ("length misstated", {"route"}, lambda: with_route(honest_plan(), length_m=20.0)),
    ("order twice", {"route"}, lambda: with_route(honest_plan(), sequence=2)),
    (
        "route of nobody",
        {"route"},
        lambda: with_route(honest_plan(), raft_id="R9"),
    ),
    (
        "water without an answer",
        {"why_not"},
        lambda: replace(honest_plan(), why_not=honest_plan().why_not[:2]),
    ),
    (
        "water with two answers",
        {"why_not"},
        lambda: with_answer(
            honest_plan(),
            area=shapely.MultiPolygon([shapely.box(-30, -20, 30, 20)]),
            area_m2=2400.0,
        ),
    ),
    (
        "answer beyond the water",
        {"why_not"},
        lambda: replace(
            honest_plan(),
            why_not=(
                *honest_plan().why_not,
                WrittenWhyNot("pond", "sun", shapely.MultiPolygon([shapely.box(0, 25, 9, 30)]), 45),
            ),
        ),
    ),
    (
        "answer of another area",
        {"why_not"},
        lambda: with_answer(honest_plan(), area_m2=honest_plan().why_not[2].area_m2 - 5.0),
    ),
    (
        "far from the outlet it names",
        {"why_not"},
        lambda: with_answer(honest_plan(), rule="outlet"),
    ),
    ("loads left out", {"effect"}, lambda: replace(honest_plan(), loads=())),
    ("a constituent twice", {"effect"}, lambda: with_loads(constituent="tp")),
    (
        "removal doubled",
        {"effect"},
        lambda: scaled(2.0),
    ),
    ("another rate", {"effect"}, lambda: scaled(0.5)),
    (
        "more leaves than flows in",
        {"effect"},
        lambda: with_loads(load_out_without_rafts=173.5, load_out=173.5 - loads(2)[0].removed),
    ),
    ("more leaves with rafts", {"effect"}, lambda: with_loads(load_out=150.0)),
    ("a sum that does not hold", {"effect"}, lambda: with_loads(load_out=100.0)),
    ("range that leaves it out", {"effect"}, lambda: with_loads(removed_lowest=2.0)),
    ("load in understated", {"effect"}, lambda: with_loads(load_in=150.0)),
    ("grams called shares", {"effect"}, lambda: with_loads(is_relative=True)),
    (
        "shares called grams",
        {"effect"},
        lambda: replace(
            honest_plan(),
            loads=(
                honest_plan().loads[0],
                replace(honest_plan().loads[1], is_relative=False),
                *honest_plan().loads[2:],
            ),
        ),
    ),
    ("one raft's removal doubled", {"effect"}, lambda: with_raft(honest_plan(), removal_g_d=9.0)),
    (
        "removal moved to another raft",
        {"effect"},
        lambda: replace(
            honest_plan(),
            rafts=(
                replace(honest_plan().rafts[0], removal_g_d=1.9 * removal_g_d(2)),
                replace(honest_plan().rafts[1], removal_g_d=0.1 * removal_g_d(2)),
                honest_plan().rafts[2],
            ),
        ),
    ),
    ("type unknown", {"record"}, lambda: with_raft(honest_plan(), raft_type="six by six")),
    (
        "water unknown",
        {"record"},
        lambda: replace(
            honest_plan(),
            edges=(*honest_plan().edges, replace(honest_plan().edges[0], water_id="lake")),
        ),
    ),
]


@pytest.mark.parametrize(("wanted", "plan"), [p[1:] for p in PLANS], ids=[p[0] for p in PLANS])
def test_fault_in_the_plan_is_found_and_only_it(
    wanted: set[str], plan: Callable[[], WrittenPlan]
) -> None:
    found = failed(plan())
    assert {finding.check for finding in found} == wanted
    assert all(finding.detail for finding in found)


@pytest.mark.parametrize("along", ["wind", "bank", "flow"])
def test_a_raft_turned_across_is_found(along: str) -> None:
    # The water runs from the western bank to the eastern, and both other banks run that way.
    site = honest_site(settings=settings(heading={"along": along}, wind={"from_deg": 270.0}))
    turned = affinity.rotate(honest_plan().rafts[0].outline, 60.0)
    for outline, off_deg in ((honest_plan().rafts[0].outline, 0.0), (turned, 60.0)):
        first, second = check_heading(case_of(with_raft(honest_plan(), outline=outline), site))
        assert first.measured == pytest.approx(off_deg, abs=5.0 if along == "flow" else 1e-3)
        assert first.passed == (off_deg == 0.0)
        assert second.passed


SITES: list[tuple[str, set[str], Callable[[], Site]]] = [
    ("cap", {"cover"}, lambda: honest_site(max_cover_pct=1.19)),
    (
        "stock",
        {"stock"},
        lambda: honest_site(
            settings=settings().model_copy(
                update={"raft": (settings().raft[0].model_copy(update={"stock": 1}),)}
            )
        ),
    ),
    (
        "across the wind",
        {"heading"},
        lambda: honest_site(settings=settings(heading={"along": "wind"}, wind={"from_deg": 0.0})),
    ),
    (
        "a liner under the posts",
        {"mooring"},
        lambda: honest_site(
            settings=settings(bed={"lined": True}, mooring={"anchor": "dead_weight"})
        ),
    ),
    (
        "posts that cannot be had so long",
        {"mooring"},
        lambda: honest_site(settings=settings(mooring={"longest_post_m": 3.8})),
    ),
    ("budget", {"budget"}, lambda: honest_site(settings=settings(budget={"limit": 899.0}))),
    # Two rafts at 450 leave 100 of the budget, and setting up takes more.
    (
        "setting up",
        {"budget"},
        lambda: honest_site(terms=ShareTerms(mobilisation_cost=101.0)),
    ),
    ("none wanted", {"share"}, lambda: honest_site(terms=ShareTerms(wanted="never"))),
    (
        "ward over its most",
        {"share"},
        lambda: honest_site(
            terms=ShareTerms(ward="N"),
            settings=settings(district={"ward": [{"name": "N", "most_rafts": 1}]}),
        ),
    ),
    (
        "ward under its least",
        {"share"},
        lambda: honest_site(
            settings=settings(district={"ward": [{"name": "N", "least_rafts": 1}]}),
        ),
    ),
    (
        "jet",
        # Nothing is taken out in a jet, so that the loads do not hold either.
        {"inflow", "effect"},
        # 1 m³/s from 0.7 m is 2.6 m/s, 8.66 times what may be met; half a slot of pi 0.7²/4h in
        # 1.7 m of water is 0.23 m: the plane jet reaches (2.28 x 8.66)² x 0.23 = 88 m.
        lambda: honest_site(inflows=(Inflow("main", shapely.Point(-30, 0), None, 1000.0, 0.7),)),
    ),
    (
        # 1.96 m is four hundredths of the size of 60 m by 40 m.
        "loads of what leaves at once",
        {"effect"},
        lambda: honest_site(
            outlets=(
                Outlet("weir", shapely.Point(30, 0), width_m=3.0),
                Outlet("pipe", shapely.Point(-30, 1.95), width_m=0.3),
            )
        ),
    ),
    (
        "kept clear without a distance",
        {"keep_clear"},
        lambda: honest_site(keep_clear=(KeepClear(shapely.Point(6, 0), 0.0, "anode"),)),
    ),
    (
        "a tower block round it",
        {"sun", "effect"},  # plants in the dark take nothing out
        lambda: honest_site(
            shade=(ShadeObject(shapely.Point(HONEST["R1"]).buffer(9).exterior.buffer(0.5), 30.0),)
        ),
    ),
    (
        "existing raft elsewhere",
        # Its row is then no existing raft: it is judged as planned, and has neither a type nor
        # posts; the two lie over each other, and cover less together than stated; one raft more
        # takes out more than stated.
        {"record", "post", "gap", "cover", "effect"},
        lambda: honest_site(rafts=(ExistingRaft("old", shapely.box(-1, 8.8, 3, 11.2)),)),
    ),
]


@pytest.mark.parametrize(("wanted", "site"), [s[1:] for s in SITES], ids=[s[0] for s in SITES])
def test_fault_against_the_site_is_found_and_only_it(
    wanted: set[str], site: Callable[[], Site]
) -> None:
    assert {finding.check for finding in failed(honest_plan(), site())} == wanted


def test_every_check_has_a_planted_fault() -> None:
    planted = set().union(*(wanted for _, wanted, _ in [*PLANS, *SITES]))
    assert planted == set(CHECKS)


def test_every_placement_rule_has_a_twin() -> None:
    assert {rule.name for rule in RULES} <= set(CHECKS)


def test_without_a_design_wind_no_wave_is_wanted() -> None:
    plan = with_raft(honest_plan(), wave_height_m=None)
    site = honest_site(settings=settings(wind={"design_m_s": 0.0}))
    found = audit_plan(plan, site).findings
    assert "waves" not in {finding.check for finding in found}


def test_waves_are_those_of_hand_arithmetic() -> None:
    found = audit_plan(with_raft(honest_plan(), wave_height_m=0.0), honest_site()).findings
    own = [f.measured for f in found if f.check == "waves"]
    assert own[0] == pytest.approx(0.1225, rel=0.03)


def test_three_good_posts_are_enough() -> None:
    plan = honest_plan()
    assert failed(replace(plan, moorings=plan.moorings[1:])) == []


def test_points_beyond_every_tape_are_rightly_left_without() -> None:
    """With tapes of 10 m nothing is taped from pegs 20 m away, and stated tapes are too long."""
    tables = {**settings().model_dump(), "setting_out": {"longest_tape_m": 10.0}}
    site = honest_site(settings=Settings.model_validate(tables))
    blank = {"mark_1": "", "mark_2": "", "tape_1_m": None, "tape_2_m": None}
    plan = honest_plan()
    untaped = replace(plan, tapes=tuple(replace(t, **blank) for t in plan.tapes))  # type: ignore[arg-type]
    assert failed(untaped, site) == []
    assert {f.check for f in failed(plan, site)} == {"tape"}


def test_square_rafts_may_have_posts_on_either_pair_of_sides() -> None:
    kind = settings().raft[0].model_copy(update={"length_m": 2.4})
    site = honest_site(settings=settings().model_copy(update={"raft": (kind,)}))
    outline = shapely.box(-7.2, -1.2, -4.8, 1.2)
    plan = honest_plan({"R1": HONEST["R1"]})
    row = replace(plan.rafts[0], outline=outline, length_m=2.4)
    square = replace(plan.routes[0], turning_m=2.4 * 2**0.5)
    for turned in (False, True):
        offsets = [(0.4, 1.3), (0.4, -1.3), (-0.4, -1.3), (-0.4, 1.3)]
        posts = tuple(
            replace(
                post,
                easting_m=-6 + (n if turned else e),
                northing_m=e if turned else n,
            )
            for post, (e, n) in zip(plan.moorings, offsets, strict=True)
        )
        changed = replace(plan, rafts=(row, *plan.rafts[1:]), moorings=posts, routes=(square,))
        found = failed(retaped(changed), site)
        # Smaller rafts than stated cover and take out less; shorter than their poles, and with
        # fewer plants than billed.
        assert {finding.check for finding in found} == {"cover", "effect", "materials"}


def test_as_built_rafts_need_no_posts() -> None:
    plan = honest_plan()
    rafts = tuple(replace(r, status="as_built") for r in plan.rafts[:2])
    assert failed(replace(plan, rafts=(*rafts, plan.rafts[2]), moorings=())) == []


def test_pairs_that_are_too_near_are_named() -> None:
    details = {f.raft_id: f.detail for f in failed(moved(-1.5, 0))}
    assert "R2" in details["R1"]
    assert "R1" in details["R2"]


def test_gap_at_its_limit_passes() -> None:
    assert failed(moved(-1.0 + 1e-7, 0)) == []
