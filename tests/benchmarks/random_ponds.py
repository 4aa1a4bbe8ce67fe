"""
The audit against the planner on many random ponds: every finding is printed.

Run by hand: ``python -m tests.benchmarks.random_ponds 300``. The suite runs a few of the same.
"""

import sys
import tempfile
from pathlib import Path

from geoplan.audit import audit_plan
from geoplan.exports import gis_files
from geoplan.plan import Plan
from geoplan.planner import plan_water
from tests.laws.ponds import random_site


def main(count: int) -> None:
    """Plan, write, read back and audit ponds 0 to ``count``."""
    rejected = rafts = empty = 0
    gaps = []
    for seed in range(count):
        site = random_site(seed)
        water = plan_water(site.water_bodies[0], site.settings, detail=False)
        with tempfile.TemporaryDirectory() as folder:
            plan = Plan(site.settings.name, site.client_crs, (water,))
            gis_files.write(plan, site, Path(folder), None)
            report = audit_plan(gis_files.read_plan(Path(folder) / gis_files.FILE_NAME), site)
        planned = sum(raft.status == "planned" for raft in water.rafts)
        rafts += planned
        empty += planned == 0
        if planned:
            gaps.append(water.report.gap_pct)
        for finding in report.findings:
            if not finding.passed:
                print(seed, finding)
        rejected += not report.passed
    gaps.sort()
    print(
        f"{count} ponds, {rafts} rafts, {empty} without any; {rejected} rejected by the audit;"
        f" median gap {gaps[len(gaps) // 2]:.2f} %, largest {gaps[-1]:.2f} %"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 300)
