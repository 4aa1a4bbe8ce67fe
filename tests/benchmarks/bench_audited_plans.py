"""
Plans of random ponds, rules and stocks, each written, read back and judged by the audit.

Run by hand: ``python -m tests.benchmarks.bench_audited_plans COUNT [--start N]``; pieces with
other starts may run beside each other and are added up by hand. Shore, islands, bed, soundings,
trees, lanes, levels, distances, raft types, moorings, headings, stock, cover and budget are drawn
from the number of the pond. Most ponds are tiny, so that rules bind and a plan is cheap: every
fortieth is up to a hectare and searched to its end, with its effect judged; the rest stop after
one round of the search and leave the effect out. In every fourth, some rafts are held where they
lie and the rest is planned anew.

Printed are plans made, plans that the audit rejects with what it finds, and for each rule the
least room between what the audit measures and what the rule demands: below nothing, a rule would
be met only by the audit's tolerance.
"""

import argparse
import math
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from geoplan.audit import CHECKS, audit_plan
from geoplan.exports import gis_files
from geoplan.plan import Finding, Plan, WaterPlan
from geoplan.planner import plan_water
from geoplan.settings import Settings
from geoplan.site import Site
from tests.laws.ponds import held_of, varied_site

#: Rules that demand at least, and at most, what the audit measures.
AT_LEAST = ("bank", "depth", "gap", "keep_clear", "outlet", "inflow", "sun")
AT_MOST = ("survey", "stock", "budget", "cover", "capacity")
#: Every so many ponds one is larger and planned in full; and one is planned again with rafts held.
FULL_EVERY, HELD_EVERY = 40, 4
#: Radius of tiny ponds, and of the others [m].
TINY_M, LARGE_M = (10.0, 22.0), (15.0, 55.0)


def site_of(number: int) -> Site:
    """A site of one pond, its rafts held by posts, by lines or either, its headings free or not."""
    site = varied_site(number, LARGE_M if is_full(number) else TINY_M)
    rng = np.random.default_rng([number, 3])
    tables = site.settings.model_dump(mode="json", exclude_unset=True)
    for raft in tables["raft"]:
        raft["mooring"] = str(rng.choice(["posts", "lines", "auto"]))
    along = str(rng.choice(["free", "free", "free", "bank", "flow", "wind"]))
    if along != "free":
        tables["heading"] = {"along": along}
        tables["wind"] = {"from_deg": float(rng.uniform(0.0, 360.0))}
    return replace(site, settings=Settings.model_validate(tables))


def is_full(number: int) -> bool:
    """Whether a pond is planned in full."""
    return number % FULL_EVERY == 0


def plans_of(number: int) -> Iterator[tuple[Site, WaterPlan]]:
    """The plan of a pond, and now and then that around rafts that are held."""
    site = site_of(number)
    (body,) = site.water_bodies
    detail, limit_s = ("brief", None) if is_full(number) else (False, 0.0)
    water = plan_water(body, site.settings, detail=detail, time_limit_s=limit_s)
    yield site, water
    held = held_of(water, np.random.default_rng(number)) if number % HELD_EVERY == 0 else ()
    if held:
        yield (
            site,
            plan_water(body, site.settings, detail=detail, time_limit_s=limit_s, held=held),
        )


def room_of(finding: Finding) -> float:
    """Room between what is measured and what is demanded; endless where nothing is."""
    if finding.check == "cover" and not finding.detail.endswith("normal pool is covered"):
        return math.inf
    if finding.check in AT_LEAST:
        return finding.measured - finding.limit
    return finding.limit - finding.measured if finding.check in AT_MOST else math.inf


def judged(site: Site, water: WaterPlan) -> list[Finding]:
    """Findings of the audit on the plan as it is written."""
    with tempfile.TemporaryDirectory() as folder:
        plan = Plan("random", site.client_crs, (water,))
        gis_files.write(plan, site, Path(folder), None)
        report = audit_plan(gis_files.read_plan(Path(folder) / gis_files.FILE_NAME), site)
    findings = report.findings
    if water.effect is None:
        findings = tuple(each for each in findings if each.check != "effect")
    return list(findings)


def main(count: int, start: int) -> None:
    """Plan and judge; print what fails as it is found, and the sums now and then."""
    made: Counter[str] = Counter()
    least = dict.fromkeys((*AT_LEAST, *AT_MOST), math.inf)
    begin = time.process_time()
    for number in range(start, start + count):
        try:
            for site, water in plans_of(number):
                findings = judged(site, water)
                failed = [each for each in findings if not each.passed]
                above = water.report.value > water.report.bound + 1e-9
                made.update(plans=1, rafts=len(water.rafts), rejected=bool(failed), above=above)
                made["empty"] += not water.rafts
                made["findings"] += len(findings)
                # Of water with no raft of the plan's nothing is demanded: rafts that lie there
                # already may cover too much.
                is_planned = any(raft.status == "planned" for raft in water.rafts)
                for each in findings if is_planned else ():
                    if each.check in least:
                        least[each.check] = min(least[each.check], room_of(each))
                for each in failed:
                    print(f"pond {number}: {each.check}: {each.raft_id}: {each.detail}", flush=True)
                if above:
                    print(f"pond {number}: worth more than its bound", flush=True)
        except Exception:  # noqa: BLE001 - a pond that cannot be planned is a result, not the end
            made["raised"] += 1
            print(f"pond {number}:\n{traceback.format_exc()}", flush=True)
        done = number + 1 - start
        if done % 20 == 0 or done == count:
            _say(start, done, made, least, time.process_time() - begin)


def _say(start: int, ponds: int, made: Counter[str], least: dict[str, float], cpu_s: float) -> None:
    """Print sums: of plans, of what was rejected, and the least room by rule."""
    rooms = ", ".join(f"{name} {room:.3g}" for name, room in least.items() if math.isfinite(room))
    print(
        f"ponds {start} to {start + ponds - 1}: {made['plans']} plans, {made['empty']} of them"
        f" empty, {made['rafts']} rafts, {made['findings']} findings of {len(CHECKS)} checks;"
        f" {made['rejected']} rejected, {made['raised']} raised, {made['above']} above their"
        f" bound; {cpu_s:.0f} s of the processor\n  least room: {rooms}",
        flush=True,
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int)
    parser.add_argument("--start", type=int, default=0)
    chosen = parser.parse_args()
    main(chosen.count, chosen.start)
