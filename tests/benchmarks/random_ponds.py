"""
The audit against the planner on many random ponds, rules and stocks: every finding is printed.

Run by hand: ``python -m tests.benchmarks.random_ponds 300 [FIRST]``. Each pond is planned for rules
that people use, for rules drawn far beyond use, and for these again with some of its rafts held
where they came to lie. The suite runs a few of the same.
"""

import statistics
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from geoplan.audit import audit_plan
from geoplan.errors import SiteDataError
from geoplan.exports import gis_files
from geoplan.plan import Finding, Plan, WaterPlan
from geoplan.planner import plan_water
from geoplan.site import Site
from tests.laws.ponds import held_of, random_site, varied_site


def failed(site: Site, water: WaterPlan) -> list[Finding]:
    """Write a plan, read it back, audit it; return what does not hold."""
    with tempfile.TemporaryDirectory() as folder:
        plan = Plan(site.settings.name, site.client_crs, (water,))
        gis_files.write(plan, site, Path(folder), None)
        report = audit_plan(gis_files.read_plan(Path(folder) / gis_files.FILE_NAME), site)
    return [finding for finding in report.findings if not finding.passed]


def plans_of(seed: int) -> list[tuple[str, Site, WaterPlan]]:
    """The plans of one seed: in use, varied, and varied with rafts held."""
    used, varied = random_site(seed), varied_site(seed)
    out = [("used", used, plan_water(used.water_bodies[0], used.settings, detail="brief"))]
    water = plan_water(varied.water_bodies[0], varied.settings)
    out.append(("varied", varied, water))
    held = held_of(water, np.random.default_rng([seed, 3]))
    if held:
        again = plan_water(varied.water_bodies[0], varied.settings, detail="brief", held=held)
        out.append(("held", varied, again))
    return out


def gaps_in_words(gaps: list[float]) -> str:
    """The median and the largest gap; there is none where no plan placed a raft."""
    if not gaps:
        return "no gap, since no raft was placed"
    return f"median gap {statistics.median(gaps):.2f} %, largest {max(gaps):.2f} %"


def main(count: int, first: int = 0) -> None:
    """Plan, write, read back and audit the ponds of ``count`` seeds."""
    begun_s = time.process_time()
    plans = rafts = empty = rejected = beyond = 0
    gaps = []
    for seed in range(first, first + count):
        print(f"seed {seed}", end="\r", file=sys.stderr, flush=True)
        try:
            made = plans_of(seed)
        except SiteDataError as error:  # a plan's own raft may not be refused where it lies
            print(seed, "held raft refused:", error)
            rejected += 1
            continue
        for kind, site, water in made:
            plans += 1
            planned = sum(raft.status == "planned" for raft in water.rafts)
            rafts += planned
            empty += planned == 0
            beyond += water.report.value > water.report.bound + 1e-9
            if planned:
                gaps.append(water.report.gap_pct)
            findings = failed(site, water)
            for finding in findings:
                print(seed, kind, finding)
            rejected += bool(findings)
    print(
        f"{plans} plans, {rafts} rafts, {empty} plans without any; {rejected} rejected by the"
        f" audit; {beyond} beyond their bound; {gaps_in_words(gaps)};"
        f" {time.process_time() - begun_s:.0f} s of CPU"
    )


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:] or ["300"]))
