"""
The as-built report: ``asbuilt.pdf`` and ``asbuilt.html`` from one content, as the plan's report.

It says where the rafts lie and how sure that is, what the surface cover is now, which rules hold,
and what a survey as accurate as this one cannot tell.
"""

import math
from collections.abc import Iterator
from importlib.metadata import version

from geoplan.asbuilt.drawing import survey_drawing
from geoplan.asbuilt.record import AsBuilt, SurveyedRaft, SurveyFinding
from geoplan.exports.cover_sheet import is_within, rounded_up_pct
from geoplan.exports.csv_text import Fixed
from geoplan.exports.report.content import (
    Blanks,
    Block,
    Bullets,
    Heading,
    Report,
    Text,
    Value,
    grid,
)
from geoplan.written import WrittenPlan

#: Rows of a table that are printed; asbuilt.csv and asbuilt.json hold all.
_ROWS = 400
#: Water bodies that are drawn; the as-built map shows the rest.
_DRAWN = 24


def survey_report(
    found: AsBuilt, written: WrittenPlan, limits_pct: dict[str, float], fixes_sha256: str
) -> Report:
    """
    Return the content of the as-built report.

    Parameters
    ----------
    found : AsBuilt
        The survey.
    written : WrittenPlan
        The plan, for edges, planned outlines and cover.
    limits_pct : dict of str to float
        Largest cover of each water body [%].
    fixes_sha256 : str
        Hash of the file of fixes.

    Returns
    -------
    Report
        Every section, in order.
    """
    return Report(
        f"{found.site_name}: rafts as built",
        (
            *_summary(found),
            *_cover(found, written, limits_pct),
            *_rules(found),
            *_drawings(found, written),
            *_schedule(found),
            *_since(found),
            *_seen(found),
            *_record(found, fixes_sha256),
        ),
    )


def summary(found: AsBuilt) -> list[str]:
    """
    Return what was found, in lines for a person.

    Parameters
    ----------
    found : AsBuilt
        The survey.

    Returns
    -------
    list of str
        Rafts by state, missing ones, level, cover and verdicts.
    """
    states: dict[str, int] = {}
    for raft in found.rafts:
        states[raft.state] = states.get(raft.state, 0) + 1
    counts = ", ".join(f"{count} {state}" for state, count in sorted(states.items()))
    lines = [f"{_count(len(found.rafts), 'raft')} fixed{f': {counts}' if counts else ''}."]
    if found.missing:
        some = ", ".join(found.missing[:12]) + (" and more" if len(found.missing) > 12 else "")
        lines.append(f"{_count(len(found.missing), 'planned raft')} without a fix: {some}.")
    if found.level_m is not None:
        change = (
            f", {found.level_change_m:+.2f} m since the last survey"
            if found.level_change_m is not None
            else ""
        )
        lines.append(f"Water level {found.level_m:.2f} m{change}.")
    verdicts = [finding.verdict for finding in found.findings]
    lines.append(
        f"Rules: {verdicts.count('holds')} hold, {verdicts.count('fails')} fail,"
        f" {verdicts.count('cannot be told')} cannot be told with fixes as accurate as these."
    )
    return lines


def _count(number: int, noun: str) -> str:
    """Return a number with its noun."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _summary(found: AsBuilt) -> Iterator[Block]:
    """Yield what a lay reader needs."""
    yield Heading("Summary")
    on = f" on {found.surveyed_on}" if found.surveyed_on else ", on a day that the fixes do not say"
    yield Text(f"Rafts were surveyed{on}. This report replaces planned positions with those found.")
    yield Bullets(tuple(summary(found)))
    yield Text(
        "Go out on the water only as local rules allow, never alone and with buoyancy aids. A raft"
        " that has moved may pull on its posts: keep out of reach of its lines.",
        is_caution=True,
    )
    yield Text(
        "A survey says where rafts lie, not whether their moorings are sound: an engineer judges"
        " posts, lines and anchors. Local codes and licensed practice prevail.",
        is_caution=True,
    )


def _cover(found: AsBuilt, written: WrittenPlan, limits_pct: dict[str, float]) -> Iterator[Block]:
    """Yield the cover as built beside that of the plan."""
    yield Heading("Surface cover as built")
    yield Text(
        "Plan area of the rafts that were found, overlaps counted once, over the open water at each"
        " level; rafts without a fix are not counted. Percents are rounded up to a tenth and judged"
        " before rounding."
    )
    planned = {(edge.water_id, edge.level_name): edge.cover_pct for edge in written.edges}
    rows: list[tuple[Value, ...]] = []
    for water_id, covers in found.covers:
        for cover in covers:
            limit = limits_pct.get(water_id) if cover.level_name == "normal" else None
            was = planned.get((water_id, cover.level_name), math.nan)
            rows.append(
                (
                    water_id,
                    cover.level_name,
                    Fixed(cover.level_m, 2),
                    Fixed(cover.raft_area_m2, 2),
                    Fixed(cover.water_area_m2, 2),
                    Fixed(rounded_up_pct(was), 1) if math.isfinite(was) else None,
                    Fixed(rounded_up_pct(cover.cover_pct), 1),
                    Fixed(1.96 * cover.sigma_pct, 2),
                    limit,
                    "" if limit is None else "yes" if is_within(cover.cover_pct, limit) else "NO",
                )
            )
    yield grid(
        "Cover by water body and level",
        ("water body", "level", "height [m]", "rafts [m²]", "open water [m²]", "planned [%]",
         "as built [%]", "± at 95 % [%]", "limit [%]", "within"),
        rows[:_ROWS],
    )  # fmt: skip


def _rules(found: AsBuilt) -> Iterator[Block]:
    """Yield the rules that fail or cannot be told, failures first, and a count of all."""
    yield Heading("Rules")
    amiss = [one for one in found.findings if one.verdict != "holds"]
    amiss.sort(key=lambda one: one.verdict != "fails")
    if not amiss:
        yield Text("Every rule holds for every raft, errors of the survey allowed for.")
    else:
        yield grid(
            "Rules that fail, or that this survey cannot tell",
            ("raft", "rule", "verdict", "measured", "at worst", "limit", "unit", "in words"),
            [_finding(one) for one in amiss[:_ROWS]],
        )
    if len(amiss) > _ROWS:
        yield Text(f"{len(amiss) - _ROWS} more stand in asbuilt.json.")
    counts: dict[str, list[int]] = {}
    for one in found.findings:
        count = counts.setdefault(one.check, [0, 0, 0])
        count[("holds", "fails", "cannot be told").index(one.verdict)] += 1
    yield grid(
        "By rule",
        ("rule", "hold", "fail", "cannot be told"),
        [(name.replace("_", " "), *count) for name, count in counts.items()],
    )


def _finding(one: SurveyFinding) -> tuple[Value, ...]:
    """Return the line of one finding."""
    return (
        one.raft_id or one.water_id, one.check.replace("_", " "), one.verdict,
        _number(one.measured), _number(one.measured_at_worst), _number(one.limit), one.unit,
        one.detail,
    )  # fmt: skip


def _number(value: float) -> Value:
    """Return a number to a millimetre, or a blank where there is none."""
    return Fixed(value, 3) if math.isfinite(value) else None


def _drawings(found: AsBuilt, written: WrittenPlan) -> Iterator[Block]:
    """Yield each water body with its rafts as planned and as they lie."""
    yield Heading("Drawings")
    waters = list(dict.fromkeys(raft.water_id for raft in found.rafts if raft.water_id))
    for water_id in waters[:_DRAWN]:
        rafts = [raft for raft in found.rafts if raft.water_id == water_id]
        drawing = survey_drawing(water_id, rafts, written)
        if drawing is not None:
            yield drawing
    if len(waters) > _DRAWN:
        yield Text(f"{len(waters) - _DRAWN} more water bodies are drawn on the as-built map.")


def _schedule(found: AsBuilt) -> Iterator[Block]:
    """Yield each raft with what became of it."""
    yield Heading("Rafts as they lie")
    yield grid(
        "Departure from the plan, and how well the place is known",
        ("raft", "water body", "surveyed as", "state", "easting [m]", "northing [m]",
         "heading [°]", "moved [m]", "turned [°]", "known to [m], 95 %"),
        [_raft(raft) for raft in found.rafts[:_ROWS]],
    )  # fmt: skip
    if len(found.rafts) > _ROWS:
        yield Text(f"{len(found.rafts) - _ROWS} more rafts stand in asbuilt.csv.")
    if found.missing:
        yield Heading("Planned rafts without a fix", 2)
        yield Bullets(found.missing[:_ROWS])


def _raft(raft: SurveyedRaft) -> tuple[Value, ...]:
    """Return the line of one raft."""
    doubt = "" if raft.is_identity_sure else " (may be a neighbour)"
    turned = (
        "not measured" if raft.turned_deg is None else f"{round(raft.turned_deg, 1) + 0.0:+.1f}"
    )
    return (
        raft.raft_id + doubt, raft.water_id, raft.surveyed_name or "no name", raft.state,
        Fixed(raft.easting_m, 2), Fixed(raft.northing_m, 2), Fixed(raft.heading_deg, 1),
        None if raft.moved_m is None else Fixed(raft.moved_m, 2), turned,
        Fixed(raft.half_axis_major_m, 2),
    )  # fmt: skip


def _since(found: AsBuilt) -> Iterator[Block]:
    """Yield what changed since the last survey."""
    if not found.since:
        return
    yield Heading("Since the last survey")
    yield grid(
        "Drift by raft; the doubt is that of both surveys",
        ("raft", "what", "drift [m]", "doubt [m]"),
        [
            (
                one.raft_id,
                one.words,
                None if one.drift_m is None else Fixed(one.drift_m, 2),
                Fixed(one.doubt_m, 2),
            )
            for one in found.since[:_ROWS]
        ],
    )


def _seen(found: AsBuilt) -> Iterator[Block]:
    """Yield what inspectors wrote down."""
    if not found.seen:
        return
    yield Heading("Inspected")
    yield grid(
        "As written down on the visit",
        ("raft", "freeboard [m]", "condition and remarks"),
        [
            (
                one.raft_name,
                None if one.freeboard_m is None else Fixed(one.freeboard_m, 2),
                one.remarks,
            )
            for one in found.seen[:_ROWS]
        ],
    )


def _record(found: AsBuilt, fixes_sha256: str) -> Iterator[Block]:
    """Yield notes, what it was made from, and who answers for it."""
    if found.notes:
        yield Heading("Notes on the survey")
        yield Bullets(tuple(str(note) for note in found.notes[:_ROWS]))
    yield Heading("Provenance")
    yield Text(
        f"Made by geoplan {version('geoplan')}. File of fixes, SHA-256 {fixes_sha256}. The plan and"
        " its inputs are those of the folder that this survey lies in. The same input gives this"
        " report byte for byte; it carries no date of its own."
    )
    yield Heading("Surveyed and accepted")
    yield Blanks(("Consent number", "Surveyed by, with what", "Date", "Name", "Signature"))
