"""
A raft as built, weighed and floated: bare, at launch, planted, and after two seasons.

For screening. Someone qualified must check stability before people stand on a raft, and local
rules prevail.
"""

import math
from dataclasses import dataclass
from itertools import groupby

from geoplan.buoyancy import (
    WATER_KG_M3,
    Body,
    FloatingPole,
    FloatingSlab,
    draft_of_m,
    immersed,
)
from geoplan.raft_build import PoleGroup, RaftBuild

GRAVITY_M_S2 = 9.80665
#: Share of the poles that may flood before a raft must have failed [1].
FLOODED_SHARE = 0.25
#: Planting surface above the water that is wanted; judgement [m].
LEAST_FREEBOARD_M = 0.05
#: A person stands this far inside the edge; judgement [m].
_STAND_M = 0.2
#: Height of the middle of a person above the deck; judgement [m].
_PERSON_MIDDLE_M = 1.0
#: Height of the middle of grown plants above the medium; judgement [m].
_PLANT_MIDDLE_M = 0.5
#: Most poles that are tried for a raft that sinks.
_MOST_POLES = 400


@dataclass(frozen=True)
class RaftState:
    """
    A raft afloat at one stage of its life.

    Attributes
    ----------
    stage : str
        ``bare``, ``launch``, ``planted`` or ``two_seasons``.
    mass_kg : float
        All of it, water in walls and medium included, nobody on it [kg].
    displaced_m3 : float
        Water that it displaces [m³].
    draft_m : float
        Underside of the lowest pole below the water; infinite where it sinks [m].
    freeboard_m : float
        Planting surface above the water; before planting, the deck [m].
    gm_m : float
        Metacentric height, for rolling; nothing stands on the raft [m].
    heel_deg, trim_deg : float
        Turn about the long and the short axis with the people at the edge; infinite where it is
        not stable; small angles, hardly right above 10° [°].
    used_share : float
        Displacement over the volume of all poles that water does not get into [1].
    """

    stage: str
    mass_kg: float
    displaced_m3: float
    draft_m: float
    freeboard_m: float
    gm_m: float
    heel_deg: float
    trim_deg: float
    used_share: float


@dataclass(frozen=True)
class _Cargo:
    """Masses with the height of their middles."""

    mass_kg: float
    moment_kg_m: float

    def with_part(self, mass_kg: float, height_m: float) -> "_Cargo":
        """Return it with one thing more."""
        return _Cargo(self.mass_kg + mass_kg, self.moment_kg_m + mass_kg * height_m)


def sealed_share(group: PoleGroup, seasons: int, loss_share: float) -> float:
    """
    Return the share of the hollow of poles that still keeps water out.

    Parameters
    ----------
    group : PoleGroup
        The poles.
    seasons : int
        Seasons afloat.
    loss_share : float
        Share lost in each [1].

    Returns
    -------
    float
        Drilled chambers are lost from the first day [1].

    Examples
    --------
    >>> poles = PoleGroup(count=4, diameter_m=0.1, wall_m=0.01, length_m=2.0, sealed_share=1.0,
    ...                   drilled_count=2, chamber_m=0.4)
    >>> round(sealed_share(poles, 0, 0.05), 6)
    0.9
    """
    drilled = group.drilled_count * group.chamber_m / (group.count * group.length_m)
    return max(0.0, group.sealed_share * (1.0 - loss_share) ** seasons - drilled)


def floating_poles(
    build: RaftBuild, length_m: float, width_m: float, seasons: int, flooded_share: float = 0.0
) -> list[FloatingPole]:
    """
    Return every pole of a raft in its place, the largest of a layer outside.

    Parameters
    ----------
    build : RaftBuild
        What it is built of.
    length_m, width_m : float
        Outside size of the raft [m].
    seasons : int
        Seasons afloat.
    flooded_share : float
        Share of the poles that have flooded besides [1].

    Returns
    -------
    list of FloatingPole
        Layer by layer from below, each with even clear gaps.
    """
    poles = []
    bottom = 0.0
    groups = sorted(build.poles, key=lambda group: group.layer)
    for _, layer in groupby(groups, key=lambda group: group.layer):
        members = [group for group in layer for _ in range(group.count)]
        for group, offset in zip(*_arranged(members, length_m, width_m), strict=True):
            kept = sealed_share(group, seasons, build.season_loss_share) * (1 - flooded_share)
            poles.append(
                FloatingPole(
                    bottom,
                    group.diameter_m,
                    group.diameter_m - 2 * group.wall_m,
                    group.length_m,
                    kept,
                    offset,
                    group.lies == "along",
                )
            )
        bottom += max(group.diameter_m for group in members)
    return poles


def clear_gaps_m(build: RaftBuild, length_m: float, width_m: float) -> list[float]:
    """
    Return the clear gap between poles, for each layer from below.

    Parameters
    ----------
    build : RaftBuild
        What the raft is built of.
    length_m, width_m : float
        Outside size of the raft [m].

    Returns
    -------
    list of float
        Negative where the poles do not fit side by side [m].
    """
    groups = sorted(build.poles, key=lambda group: group.layer)
    gaps = []
    for _, layer in groupby(groups, key=lambda group: group.layer):
        members = [group for group in layer for _ in range(group.count)]
        gaps.append(_gap_m(members, length_m, width_m))
    return gaps


def raft_states(build: RaftBuild, length_m: float, width_m: float) -> tuple[RaftState, ...]:
    """
    Return a raft at the stages of its life.

    Parameters
    ----------
    build : RaftBuild
        What it is built of.
    length_m, width_m : float
        Outside size [m].

    Returns
    -------
    tuple of RaftState
        Bare (walls dry), at launch (the same with walls full of water), planted (medium full of
        water), and after two seasons (plants grown, more hollow lost).

    Notes
    -----
    Draft from the immersed volume of the layers; GM = KB + I/V − KG; heel from the moment of the
    people at the edge over mass and GM. KB = T/2 and BM = B²/(12 T) are its limits for a box.
    """
    return tuple(
        _state(build, length_m, width_m, stage)
        for stage in ("bare", "launch", "planted", "two_seasons")
    )


def survives_flooding(build: RaftBuild, length_m: float, width_m: float) -> bool:
    """
    Tell whether a raft in its second season floats with a quarter of its poles flooded.

    Parameters
    ----------
    build : RaftBuild
        What it is built of.
    length_m, width_m : float
        Outside size [m].

    Returns
    -------
    bool
        True where poles and slats still carry everything, medium and plants included.
    """
    poles: list[Body] = [*floating_poles(build, length_m, width_m, 2, FLOODED_SHARE)]
    poles += _slats(build, length_m, width_m, _top_m(poles))
    mass = _cargo(build, length_m, width_m, "two_seasons").mass_kg
    return immersed(poles, _top_m(poles)).volume_m3 * WATER_KG_M3 >= mass


def sinking_fault(build: RaftBuild, length_m: float, width_m: float) -> str:
    """
    Return why a raft must not be built so, in words, with the pole count that would do.

    Parameters
    ----------
    build : RaftBuild
        What it is built of.
    length_m, width_m : float
        Outside size [m].

    Returns
    -------
    str
        Empty where it floats as it should.
    """
    layers = clear_gaps_m(build, length_m, width_m)
    if min(layers) < 0:
        at = layers.index(min(layers)) + 1
        return f"the poles of layer {at} are wider together than the raft"
    fault = _float_fault(build, length_m, width_m)
    if not fault:
        return ""
    largest = max(range(len(build.poles)), key=lambda at: build.poles[at].diameter_m)
    group = build.poles[largest]
    for count in range(group.count + 1, _MOST_POLES):
        tried = _with_count(build, largest, count)
        if min(clear_gaps_m(tried, length_m, width_m)) < 0:
            break
        if not _float_fault(tried, length_m, width_m):
            total = sum(part.count for part in tried.poles)
            return (
                f"{fault}; {count} poles of {group.diameter_m:g} m in place of {group.count} would"
                f" do ({total} poles in all)"
            )
    return (
        f"{fault}; no number of poles of {group.diameter_m:g} m that fits would do:"
        " take thicker poles, another layer, or less medium"
    )


def _float_fault(build: RaftBuild, length_m: float, width_m: float) -> str:
    """Return in words why a raft floats too deep, or nothing."""
    poles = floating_poles(build, length_m, width_m, 2)
    mass = _cargo(build, length_m, width_m, "two_seasons").mass_kg
    share = mass / (WATER_KG_M3 * max(immersed(poles, _top_m(poles)).volume_m3, 1e-9))
    used = 100 * share
    if share >= 1:
        return f"it sinks: {mass:.0f} kg after two seasons are {used:.0f} % of what floats"
    if share > build.most_used_share:
        most = 100 * build.most_used_share
        return f"it uses {used:.0f} % of its buoyancy after two seasons, at most {most:.0f} %"
    if not survives_flooding(build, length_m, width_m):
        return "it sinks when a quarter of its poles flood"
    return ""


def _with_count(build: RaftBuild, at: int, count: int) -> RaftBuild:
    """Return a build with another number of poles in one group."""
    groups = list(build.poles)
    groups[at] = groups[at].model_copy(update={"count": count})
    return build.model_copy(update={"poles": tuple(groups)})


def _state(build: RaftBuild, length_m: float, width_m: float, stage: str) -> RaftState:
    """Return a raft at one stage."""
    seasons = 2 if stage == "two_seasons" else 0
    is_planted = stage in {"planted", "two_seasons"}
    poles = floating_poles(build, length_m, width_m, seasons)
    deck = _top_m(poles) + (build.slat_thickness_m if build.slat_count else 0.0)
    bodies: list[Body] = [*poles, *_slats(build, length_m, width_m, _top_m(poles))]
    surface = deck
    if is_planted and build.medium_depth_m > 0:
        # Full of water it displaces all that it takes up: what is in its pores weighs in its mass.
        bodies.append(FloatingSlab(deck, build.medium_depth_m, length_m, width_m, 1.0))
        surface += build.medium_depth_m
    cargo = _cargo(build, length_m, width_m, stage)
    displaced = cargo.mass_kg / WATER_KG_M3
    draft = draft_of_m(bodies, displaced)
    reserve = immersed(poles, _top_m(poles)).volume_m3
    used = displaced / reserve if reserve > 0 else math.inf
    if not math.isfinite(draft):
        return RaftState(
            stage, cargo.mass_kg, displaced, draft, -math.inf, -math.inf, math.inf, math.inf, used
        )
    gm, heel, trim = _stability(build, length_m, width_m, bodies, cargo, deck)
    return RaftState(stage, cargo.mass_kg, displaced, draft, surface - draft, gm, heel, trim, used)


def _stability(
    build: RaftBuild,
    length_m: float,
    width_m: float,
    bodies: list[Body],
    cargo: _Cargo,
    deck_m: float,
) -> tuple[float, float, float]:
    """Return GM with nobody aboard, and heel and trim with the people at the edge."""
    alone = _gm_m(bodies, cargo)[0]
    people = build.people_count * build.person_kg
    loaded = cargo.with_part(people, deck_m + _PERSON_MIDDLE_M)
    roll, pitch = _gm_m(bodies, loaded)
    turns = []
    for gm, side in ((roll, width_m), (pitch, length_m)):
        arm = max(side / 2 - _STAND_M, 0.0)
        moment = people * arm
        if moment == 0:
            turns.append(0.0)
        elif gm <= 0:
            turns.append(math.inf)
        else:
            turns.append(math.degrees(math.atan(moment / (loaded.mass_kg * gm))))
    return alone, turns[0], turns[1]


def _gm_m(bodies: list[Body], cargo: _Cargo) -> tuple[float, float]:
    """Return the metacentric heights for rolling and pitching [m]."""
    displaced = cargo.mass_kg / WATER_KG_M3
    draft = draft_of_m(bodies, displaced)
    if not math.isfinite(draft) or displaced <= 0:
        return -math.inf, -math.inf
    cut = immersed(bodies, draft)
    above = cut.moment_m4 / cut.volume_m3 - cargo.moment_kg_m / cargo.mass_kg
    return above + cut.roll_m4 / cut.volume_m3, above + cut.pitch_m4 / cut.volume_m3


def _cargo(build: RaftBuild, length_m: float, width_m: float, stage: str) -> _Cargo:
    """Return all masses of a raft at a stage."""
    area = length_m * width_m
    cargo = _Cargo(0.0, 0.0)
    poles = floating_poles(build, length_m, width_m, 0)
    by_layer = sorted(build.poles, key=lambda group: group.layer)
    heights = {pole.bottom_m for pole in poles}
    bottoms = dict(zip(dict.fromkeys(g.layer for g in by_layer), sorted(heights), strict=True))
    for group in build.poles:
        ring = math.pi * group.wall_m * (group.diameter_m - group.wall_m)
        density = group.dry_kg_m3 if stage == "bare" else group.saturated_kg_m3
        mass = group.count * ring * group.length_m * density
        cargo = cargo.with_part(mass, bottoms[group.layer] + group.diameter_m / 2)
    top = _top_m(poles)
    slat = build.slat_width_m * build.slat_thickness_m * (build.slat_length_m or width_m)
    cargo = cargo.with_part(build.slat_count * slat * build.wood_kg_m3, top)
    deck = top + (build.slat_thickness_m if build.slat_count else 0.0)
    edge = 2 * (length_m + width_m) * build.edge_height_m * build.edge_thickness_m
    cargo = cargo.with_part(edge * build.wood_kg_m3, deck + build.edge_height_m / 2)
    cargo = cargo.with_part(build.fittings_kg, deck)
    cargo = cargo.with_part(area * build.liner_kg_m2, deck)
    if stage in {"planted", "two_seasons"}:
        depth = build.medium_depth_m
        cargo = cargo.with_part(area * depth * build.medium_saturated_kg_m3, deck + depth / 2)
        plants = build.grown_kg_m2 if stage == "two_seasons" else build.plant_kg_m2
        cargo = cargo.with_part(area * plants, deck + depth + _PLANT_MIDDLE_M)
    return cargo


def _slats(build: RaftBuild, length_m: float, width_m: float, top_m: float) -> list[Body]:
    """Return the deck as a slab, its solid share that of the slats."""
    if not build.slat_count or build.slat_thickness_m <= 0:
        return []
    solid = build.slat_count * build.slat_width_m * (build.slat_length_m or width_m)
    share = solid / (length_m * width_m)
    return [FloatingSlab(top_m, build.slat_thickness_m, length_m, width_m, share)]


def _arranged(
    members: list[PoleGroup], length_m: float, width_m: float
) -> tuple[list[PoleGroup], list[float]]:
    """Return the poles of a layer from one side to the other, with their offsets."""
    by_size = sorted(members, key=lambda group: -group.diameter_m)
    order = by_size[::2] + by_size[1::2][::-1]
    gap = _gap_m(members, length_m, width_m)
    side = width_m if members[0].lies == "along" else length_m
    offsets = []
    at = -side / 2 if len(order) > 1 else -order[0].diameter_m / 2
    for group in order:
        offsets.append(at + group.diameter_m / 2)
        at += group.diameter_m + gap
    return order, offsets


def _gap_m(members: list[PoleGroup], length_m: float, width_m: float) -> float:
    """Return the clear gap between the poles of a layer [m]."""
    side = width_m if members[0].lies == "along" else length_m
    free = side - sum(group.diameter_m for group in members)
    return free / max(len(members) - 1, 1)


def _top_m(bodies: list[Body] | list[FloatingPole]) -> float:
    """Return the height of the top of all bodies [m]."""
    return max(body.top_m for body in bodies)
