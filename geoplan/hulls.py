"""
How the rafts of a plan float, by what they are built of, and what their builder must know.

A screening: someone qualified checks stability before people stand on a raft; local rules prevail.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from geoplan.errors import Fault
from geoplan.plan import PlacedRaft
from geoplan.raft import RaftType
from geoplan.raft_build import RaftBuild
from geoplan.raft_states import LEAST_FREEBOARD_M, RaftState, clear_gaps_m, raft_states
from geoplan.settings import Settings
from geoplan.settings_works import LaunchSettings

#: Turn beyond which people slide and small-angle stability no longer holds; judgement [°].
MOST_TURN_DEG = 10.0


def floated(rafts: Sequence[PlacedRaft], settings: Settings) -> tuple[PlacedRaft, ...]:
    """
    Return rafts with the draft and freeboard of their type after two seasons.

    Parameters
    ----------
    rafts : sequence of PlacedRaft
        Rafts of the plan.
    settings : Settings
        Their types.

    Returns
    -------
    tuple of PlacedRaft
        The same; no freeboard where nothing is known of the build, and neither of existing ones.
    """
    kinds = {kind.name: kind for kind in settings.raft}
    found = {}
    for name, kind in kinds.items():
        last = states_of(kind)[-1:]
        found[name] = (kind.draft_m, last[0].freeboard_m if last else None)
    return tuple(
        replace(raft, draft_m=found[raft.raft_type][0], freeboard_m=found[raft.raft_type][1])
        if raft.status != "existing" and raft.raft_type in found
        else raft
        for raft in rafts
    )


def states_of(kind: RaftType) -> tuple[RaftState, ...]:
    """
    Return a raft type at the stages of its life.

    Parameters
    ----------
    kind : RaftType
        The type.

    Returns
    -------
    tuple of RaftState
        Empty where nothing is known of its build.
    """
    return raft_states(kind.build, kind.length_m, kind.width_m) if kind.build else ()


def hull_notes(water_id: str, rafts: Sequence[PlacedRaft], settings: Settings) -> tuple[Fault, ...]:
    """
    Return warnings about how the raft types of a water body are built.

    Parameters
    ----------
    water_id : str
        The water body.
    rafts : sequence of PlacedRaft
        Its rafts; types that are not planned there are left out.
    settings : Settings
        Raft types.

    Returns
    -------
    tuple of Fault
        Low freeboard, poor stability, gaps too narrow for roots; in the order of the types.
    """
    used = {raft.raft_type for raft in rafts if raft.status == "planned"}
    return tuple(
        Fault("warning", "plan", found, expected, remedy, feature=f"water '{water_id}'")
        for kind in settings.raft
        if kind.name in used and kind.build is not None
        for found, expected, remedy in _words(kind, kind.build)
    )


def _words(kind: RaftType, build: RaftBuild) -> Iterator[tuple[str, str, str]]:
    """Yield what is found, what is expected, and what to do."""
    states = states_of(kind)
    least = min(states[2:], key=lambda state: state.freeboard_m)
    if least.freeboard_m < LEAST_FREEBOARD_M:
        yield (
            (
                f"raft '{kind.name}': planting surface {1000 * least.freeboard_m:.0f} mm above the"
                f" water ({least.stage})"
            ),
            f"at least {1000 * LEAST_FREEBOARD_M:.0f} mm (judgement)",
            "Use more poles, or less or lighter medium.",
        )
    turns = [max(state.heel_deg, state.trim_deg) for state in states]
    if min(state.gm_m for state in states) <= 0 or max(turns) > MOST_TURN_DEG:
        worst = states[turns.index(max(turns))]
        turn = f"{max(turns):.0f}°" if math.isfinite(max(turns)) else "over"
        yield (
            f"raft '{kind.name}': {build.people_count} on its edge turn it {turn} ({worst.stage})",
            f"at most {MOST_TURN_DEG:g}° (judgement)",
            (
                "Keep people off it, or put the thickest poles outside and build it wider. Someone"
                " qualified checks stability; local rules prevail."
            ),
        )
    gaps = clear_gaps_m(build, kind.length_m, kind.width_m)
    if min(gaps) < build.root_gap_m:
        yield (
            (
                f"raft '{kind.name}': {1000 * min(gaps):.0f} mm between the poles of layer"
                f" {gaps.index(min(gaps)) + 1}"
            ),
            f"at least {1000 * build.root_gap_m:.0f} mm for roots to pass",
            "Use fewer, thicker poles, or set build.root_gap_m.",
        )


def bare_mass_kg(kind: RaftType, given: LaunchSettings) -> float:
    """
    Return what a raft weighs when it is launched, without medium and plants.

    Parameters
    ----------
    kind : RaftType
        The type.
    given : LaunchSettings
        Mass of a bare square metre, for types whose build is not known.

    Returns
    -------
    float
        Mass of its build at launching, else by the square metre [kg].
    """
    if kind.build is not None:
        return next(state.mass_kg for state in states_of(kind) if state.stage == "launch")
    return kind.area_m2 * given.bare_kg_m2
