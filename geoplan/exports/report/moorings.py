"""Section on moorings and loads, for the engineer who checks and signs them."""

from collections.abc import Iterator

from geoplan.exports.csv_text import Fixed
from geoplan.exports.report.basis import named
from geoplan.exports.report.content import Blanks, Block, Heading, Text, Value, grid
from geoplan.exports.report.works import ROWS, rest
from geoplan.hulls import states_of
from geoplan.plan import Mooring, Plan
from geoplan.site import Site


def moorings(plan: Plan, site: Site) -> Iterator[Block]:
    """
    Yield moorings and loads for the engineer to check.

    Parameters
    ----------
    plan : Plan
        The plan.
    site : Site
        The site.

    Yields
    ------
    Block
        Cautions, the basis, each mooring, and where to sign.
    """
    yield Heading("Moorings, for the engineer to check and sign")
    yield Text(
        "Screening figures. An engineer licensed for the place must check every load, capacity and"
        " length, look at the bed, and sign below before posts are driven or anchors laid. Ask for"
        " buried services first; never drive a post through a liner, a dam or its toe.",
        is_caution=True,
    )
    bed = site.settings.bed
    yield Text(
        f"Design wind {site.settings.wind.design_m_s:g} m/s. Posts let a raft move from low to high"
        f" level with {site.settings.mooring.travel_margin_m:g} m to spare at each end. The bed is"
        f" taken as {bed.soil}"
        + (
            f" with a shear strength of {bed.shear_strength_pa / 1000:g} kPa"
            if bed.soil == "cohesive"
            else f" with a friction of {bed.friction_deg:g}°"
        )
        + f" under {bed.mud_m:g} m of mud; posts by Broms (1964) with a factor of"
        f" {site.settings.mooring.post_safety:g}, lines with {site.settings.mooring.line_safety:g}."
    )
    yield from _afloat(site)
    yield from _loads(plan)
    many = len(plan.waters) > 1
    rows = [
        (*((named(water),) if many else ()), *_mooring_row(one))
        for water in plan.waters
        for one in water.moorings
    ]
    yield grid(
        "Moorings; every load and capacity is to be checked by an engineer",
        (*(("water body",) if many else ()),
         "mooring", "raft", "kind", "depth at high [m]", "length [m]", "in the bed [m]",
         "load [N]", "capacity [N]", "limited by"),
        rows[:ROWS],
    )  # fmt: skip
    yield from rest(len(rows), "moorings.csv")
    yield from _waves(plan)
    yield Blanks(("Checked by (name, licence)", "Date and signature"))


def _afloat(site: Site) -> Iterator[Block]:
    """Yield how each raft type floats whose build is stated."""
    rows: list[tuple[Value, ...]] = [
        (kind.name, state.stage.replace("_", " "), Fixed(state.mass_kg, 0), Fixed(state.draft_m, 3),
         Fixed(state.freeboard_m, 3), Fixed(state.gm_m, 2), Fixed(state.heel_deg, 1),
         Fixed(100 * state.used_share, 1))
        for kind in site.settings.raft
        if kind.build is not None
        for state in states_of(kind)
    ]  # fmt: skip
    if rows:
        yield grid(
            "Rafts afloat, from their build; heel is with a person at the side",
            ("type", "stage", "mass [kg]", "draft [m]", "freeboard [m]", "GM [m]", "heel [°]",
             "buoyancy used [%]"),
            rows,
        )  # fmt: skip


def _mooring_row(mooring: Mooring) -> tuple[Value, ...]:
    """Return the line of one mooring."""
    return (
        mooring.mooring_id,
        mooring.raft_id,
        mooring.kind,
        Fixed(mooring.depth_high_m, 2),
        Fixed(mooring.length_m, 2),
        Fixed(mooring.embedment_m, 2),
        None if mooring.load_n is None else Fixed(mooring.load_n, 0),
        None if mooring.capacity_n is None else Fixed(mooring.capacity_n, 0),
        mooring.governs,
    )


def _loads(plan: Plan) -> Iterator[Block]:
    """Yield what each raft must be held against, told once for all of its moorings."""
    rows: list[tuple[Value, ...]] = list(
        dict.fromkeys(
            (one.raft_id, one.load_case)
            for water in plan.waters
            for one in water.moorings
            if one.load_case
        )
    )
    if rows:
        yield grid("Governing load of each whole raft", ("raft", "load"), rows[:ROWS])
        yield from rest(len(rows), "moorings.csv")


def _waves(plan: Plan) -> Iterator[Block]:
    """Yield the design waves of each water body."""
    rows: list[tuple[Value, ...]] = [
        (named(water), wave.level_name, Fixed(wave.wind_m_s, 1), Fixed(wave.wave_from_deg, 0),
         Fixed(wave.wave_height_m, 2), Fixed(wave.wave_period_s, 2),
         None if wave.setup_m is None else Fixed(wave.setup_m, 3))
        for water in plan.waters
        for wave in water.waves
    ]  # fmt: skip
    if rows:
        yield grid(
            "Design waves: the larger of two methods, neither calibrated under 100 m of fetch",
            ("water body", "level", "wind [m/s]", "from [°]", "height [m]", "period [s]",
             "set-up [m]"),
            rows,
        )  # fmt: skip
