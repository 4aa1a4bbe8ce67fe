"""The command line: start, check, plan, audit and asbuilt."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from geoplan.errors import Fault
    from geoplan.plan import AuditReport, Plan, WaterPlan

DONE, FAILED, UNUSABLE = 0, 1, 2
#: Above so many water bodies the terminal has the sums, and files what each gets.
MOST_SAID = 100

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Plan where floating planted rafts go on ponds and lakes.",
)

SitePath = Annotated[Path, typer.Argument(help="Site folder, GeoPackage or GeoJSON.")]
PlanPath = Annotated[Path, typer.Argument(help="Plan folder.")]


@app.command()
def start(
    folder: Annotated[Path, typer.Argument(help="New folder to make.")],
    at: Annotated[
        str | None, typer.Option(help="Middle of the site: longitude,latitude in degrees.")
    ] = None,
    image: Annotated[
        Path | None, typer.Option(help="Georeferenced photo (GeoTIFF) to draw on.")
    ] = None,
) -> None:
    """Make a new site folder: a commented site.toml, and a page to draw the site on."""
    from geoplan.exports import drawing_page
    from geoplan.readers.template import write_template

    place = None if at is None else drawing_page.place_of(at)
    page = drawing_page.drawing_page(folder.name, place, image)
    _say(str(write_template(folder)))
    _say(f"or open {drawing_page.write_page(folder, page)}, draw the site and save one file")


@app.command()
def check(
    site: SitePath,
    out: Annotated[
        Path | None,
        typer.Option("-o", "--out", help="Folder for check.html and sound_next.geojson."),
    ] = None,
) -> None:
    """Read a site, say what is there, where to sound next, and every fault at once."""
    from geoplan.readers import check_site

    result = check_site(site, sound_all=out is not None)
    for line in result.summary:
        _say(line)
    _say_faults(result.faults)
    if result.site is None:
        raise typer.Exit(UNUSABLE)
    if out is not None:
        from geoplan.exports.check_page import write
        from geoplan.exports.sounding_file import write_places

        _say(f"written: {write_places(result.sound_next, result.site, out)}")
        page = write(result.site, result.summary, result.faults, result.sound_next, out)
        _say(f"written: {page}")


@app.command()
def plan(
    site: SitePath,
    out: Annotated[Path, typer.Option("-o", "--out", help="Plan folder to write.")],
    workers: Annotated[int | None, typer.Option(min=1, help="Processes; default: cores.")] = None,
    scheduler: Annotated[
        str | None, typer.Option(help="Address of a dask scheduler whose workers are used.")
    ] = None,
    seed: Annotated[int, typer.Option(help="Seed of the searches.")] = 0,
    keep: Annotated[
        Path | None,
        typer.Option(help="Rafts fixed by a person, GeoJSON or GeoPackage; the rest goes round."),
    ] = None,
    time_limit: Annotated[
        float | None,
        typer.Option(min=0.0, help="Seconds for the searches; the best plan by then is written."),
    ] = None,
) -> None:
    """Plan every water body of a site and write the plan folder."""
    import time

    from geoplan.fleet import Crew, plan_folder, unmet_limits
    from geoplan.fleet.memory import share_one_heap
    from geoplan.fleet.progress import ShownProgress

    begun_s = time.monotonic()
    share_one_heap()  # files are written meanwhile by threads that take turns
    outcome = plan_folder(
        site,
        out,
        seed=seed,
        keep=keep,
        time_limit_s=time_limit,
        progress=ShownProgress(sys.stderr),
        crew=Crew(workers, scheduler),
    )
    _say_plan(outcome.plan)
    _say_audit(outcome.audit)
    _say(f"written to {outcome.folder}: open map.html; the plan of record is plan.gpkg")
    _say(f"done in {time.monotonic() - begun_s:.1f} s")
    unmet = unmet_limits(outcome.plan, outcome.min_cover_pct)
    for words in unmet:
        _say(f"limit not met: {words}")
    if unmet or outcome.plan.failures or not outcome.audit.passed:
        raise typer.Exit(FAILED)


@app.command()
def audit(
    folder: PlanPath,
    site: Annotated[
        Path | None, typer.Option(help="The site, where it has moved since the plan.")
    ] = None,
    rafts: Annotated[
        Path | None,
        typer.Option(help="Judge these rafts instead, such as the map saves: GeoJSON, GeoPackage."),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("-o", "--out", help="With --rafts: new plan folder of exactly these rafts."),
    ] = None,
) -> None:
    """Judge a written plan, or rafts tried elsewhere, from scratch against the site's own files."""
    from geoplan.fleet import audit_folder

    if rafts is not None:
        _audit_rafts(folder, rafts, site, out)
        return
    if out is not None:
        _say("geoplan: -o writes a plan from rafts; name their file with --rafts")
        raise typer.Exit(UNUSABLE)
    report = audit_folder(folder, site)
    _say_audit(report)
    if not report.passed:
        raise typer.Exit(FAILED)


def _audit_rafts(folder: Path, rafts: Path, site: Path | None, out: Path | None) -> None:
    """Say what was changed and whether it may be; where it may, write a plan from it."""
    from geoplan.fleet import audit_edited, plan_edited, unmet_limits
    from geoplan.fleet.progress import ShownProgress

    edited = audit_edited(folder, rafts, site)
    _say(f"{len(edited.held)} rafts; {edited.unchanged_count} lie where they were planned")
    for change in edited.changes:
        _say(f"  {change.kind} {change.raft_id} ({change.water_id}): {change.words}")
    _say_audit(edited.report)
    if not edited.report.passed:
        if out is not None:
            _say(f"nothing was written to {out}: put right what fails, and run it again")
        raise typer.Exit(FAILED)
    if out is None:
        _say("posts or lines, routes and loads are not judged yet: -o writes a plan with them")
        return
    outcome = plan_edited(edited, out, progress=ShownProgress(sys.stderr))
    _say_plan(outcome.plan)
    _say_audit(outcome.audit)
    _say(f"written to {outcome.folder}: exactly these rafts, none added; open map.html")
    unmet = unmet_limits(outcome.plan, outcome.min_cover_pct)
    for words in unmet:
        _say(f"limit not met: {words}")
    if unmet or outcome.plan.failures or not outcome.audit.passed:
        raise typer.Exit(FAILED)


@app.command()
def asbuilt(
    folder: PlanPath,
    fixes: Annotated[
        Path, typer.Argument(help="Corner or centre fixes: CSV, GPX, GeoJSON or GeoPackage.")
    ],
    sigma: Annotated[
        float | None,
        typer.Option(min=0.001, help="Standard deviation of fixes that state none, metres."),
    ] = None,
    site: Annotated[
        Path | None, typer.Option(help="The site, where it has moved since the plan.")
    ] = None,
) -> None:
    """Take surveyed positions of rafts: as-built cover, departures and findings."""
    from geoplan.asbuilt.report import summary
    from geoplan.asbuilt.survey import asbuilt_folder

    found, written = asbuilt_folder(folder, fixes, sigma_m=sigma, site_path=site)
    for line in summary(found):
        _say(line)
    for finding in found.findings:
        if finding.verdict == "fails":
            _say(f"  {finding.check} {finding.raft_id or finding.water_id}: {finding.detail}")
    _say_faults(found.notes)
    _say(f"written to {written}: open asbuilt.pdf and map.html")
    if any(finding.verdict == "fails" for finding in found.findings):
        raise typer.Exit(FAILED)


def _say(line: str) -> None:
    """Write one line for a person, control characters shown and not obeyed."""
    text = "".join(c if c.isprintable() or c == "\n" else repr(c)[1:-1] for c in line)
    typer.echo(text)


def _say_faults(faults: "tuple[Fault, ...]") -> None:
    """Write faults, errors first."""
    for severity in ("error", "warning"):
        some = [fault for fault in faults if fault.severity == severity]
        if some:
            _say(f"{len(some)} {severity}{'s' if len(some) > 1 else ''}:")
        for fault in some:
            _say(f"  {fault}")


def _say_plan(made: "Plan") -> None:
    """Write what was planned, with what its reader must know."""
    from geoplan.errors import said_by_kind

    if len(made.waters) > MOST_SAID:
        _say_sums(made)
    for water in made.waters if len(made.waters) <= MOST_SAID else ():
        planned = _planned(water)
        cover = ", ".join(f"{part.level_name} {part.cover_pct:.2f} %" for part in water.cover)
        _say(
            f"{water.water_id}{f' ({water.name})' if water.name else ''}: {planned}"
            f" raft{'s' if planned > 1 else ''};"
            f" cover {cover}; {_kept(water)}"
            f"at most {water.report.gap_pct:.1f} % below the best possible{_held(water)}"
            if planned
            else f"{water.water_id}: no raft; {water.why_none or 'none allotted'}"
        )
    notes = said_by_kind(note for water in made.waters for note in water.notes)
    if notes:
        _say("what its reader must know (map.html and plan.json tell it of each water body):")
    for words in notes:
        _say(f"  {words}")
    if made.failures:
        _say(f"{len(made.failures)} water bodies could not be planned:")
    for failure in made.failures:
        _say(f"  {failure.water_id}: {failure.reason}")


def _planned(water: "WaterPlan") -> int:
    """Return how many rafts are planned in a water body."""
    return sum(raft.status == "planned" for raft in water.rafts)


def _say_sums(made: "Plan") -> None:
    """Write in one line what a large district gets."""
    counts = [_planned(water) for water in made.waters]
    _say(
        f"{len(counts)} water bodies: {sum(counts)} rafts in {sum(map(bool, counts))} of them;"
        " district.html and allocation.csv tell which, and why"
    )


def _held(water: "WaterPlan") -> str:
    """Return in words against what a plan is held, where a person has fixed some of its rafts."""
    held = sum(raft.is_kept for raft in water.rafts)
    return f" with the {held} held rafts where they lie" if held else ""


def _kept(water: "WaterPlan") -> str:
    """Return in words what rafts keep back, where flows and loads are known."""
    effect = water.effect
    if effect is None or effect.is_relative:
        return ""
    low, high = effect.removed_range_g_d
    unit = "million E. coli" if effect.constituent == "ecoli" else f"g {effect.constituent.upper()}"
    return f"keeps back {low:.3g} to {high:.3g} {unit} a day; "


def _say_audit(report: "AuditReport") -> None:
    """Write the verdict, and every check that failed."""
    failed = report.failed
    _say(
        f"audit: {'passed' if report.passed else 'FAILED'},"
        f" {len(report.findings) - len(failed)} of {len(report.findings)} checks hold"
    )
    for finding in failed:
        subject = finding.raft_id or finding.water_id
        _say(
            f"  {finding.check} {subject}: measured {finding.measured:.4g}, limit"
            f" {finding.limit:.4g} {finding.unit}. {finding.detail}"
        )


def main() -> None:
    """Run the command line; a fault of the user's files is a message, never a traceback."""
    try:
        app(standalone_mode=True)
    except Exception as error:
        from geoplan.errors import GeoplanError, SiteDataError

        if not isinstance(error, GeoplanError):
            raise
        if isinstance(error, SiteDataError):
            _say_faults(error.faults)
        else:
            _say(f"geoplan: {error}")
        raise SystemExit(UNUSABLE) from None


if __name__ == "__main__":
    main()
