"""
Districts: what is measured, each by hand.

    python -m tests.benchmarks.bench_fleet allocation       10,000 water bodies, 5 raft types
    python -m tests.benchmarks.bench_fleet policies 40      against equal cover, and inflow order
    python -m tests.benchmarks.bench_fleet scaling 20 100   time and memory by ponds, both workers
    python -m tests.benchmarks.bench_fleet everywhere 100    the same with two rafts in each or more
    python -m tests.benchmarks.bench_fleet memory 100 300    the same for ponds of 150 m²
    python -m tests.benchmarks.bench_fleet mixed 60         a mixed district, with layers missing
    python -m tests.benchmarks.bench_fleet efficiency 24    two workers against two bare processes
    python -m tests.benchmarks.bench_fleet kills 100        runs killed at random moments
    python -m tests.benchmarks.bench_fleet cluster 8        a dask cluster, one worker killed
"""

import hashlib
import os
import random
import re
import resource
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np

from geoplan.district import PolicyWorth
from geoplan.fleet import Crew, plan_folder
from geoplan.fleet.allocation import selected
from geoplan.fleet.curves import RemovalCurve, removal_curve
from geoplan.fleet.kept import MOST_HELD
from geoplan.fleet.planning import own_settings
from geoplan.fleet.sharing import shared_out
from geoplan.readers import read_site
from geoplan.site import Site
from tests.benchmarks.districts import Recipe, complete, write_district
from tests.unit.fleet.test_allocation import concave_district


def allocation() -> None:
    """Time and gap of the largest allocation."""
    for waters, types in ((1000, 5), (10_000, 1), (10_000, 5)):
        choices, limits = concave_district(waters, types, 1)
        start = time.process_time()
        found = selected(choices, limits)
        print(
            f"{waters} water bodies, {types} types, {len(choices.value)} choices:"
            f" {time.process_time() - start:.2f} s, gap {found.gap_pct:.4f} %"
        )


def policies(ponds: int) -> None:
    """Load removed against other ways to spend the same stock, and the same money."""
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(3):
            recipe = replace(complete(ponds, seed), area_m2=None, stock_each=2.0)
            recipe = replace(recipe, mobilisation_cost=300.0)
            site = read_site(write_district(recipe, Path(folder) / str(seed)))
            own = own_settings(site.settings)
            curves = [removal_curve(body, own) for body in site.water_bodies]
            found = shared_out(site.water_bodies, curves, site.settings)
            stock = site.settings.raft[0].stock or 0
            equal, inflow = _equal_cover(curves, stock), _by_inflow(site, curves, stock)
            print(
                f"seed {seed}, {ponds} ponds, {stock} rafts: {found.value:.4g} g/d; over equal"
                f" cover {found.value / equal:.3f}, over inflow order {found.value / inflow:.3f}"
            )
            for policy in found.policies:
                print(f"  {policy.name} at its own cost {_at_cost(site, curves, policy):.3f}")


def _at_cost(site: Site, curves: list[RemovalCurve], policy: PolicyWorth) -> float:
    """The allocation for no more than a policy costs, over that policy."""
    budget = site.settings.budget.model_copy(update={"limit": policy.cost})
    settings = site.settings.model_copy(update={"budget": budget})
    return shared_out(site.water_bodies, curves, settings).value / policy.value


def _kept(curve: RemovalCurve, count: int) -> float:
    """What so many rafts keep back, between the counts of the curve by straight lines."""
    order = np.argsort(curve.counts[:, 0], kind="stable")
    return float(np.interp(count, curve.counts[order, 0], curve.kept[order]))


def _equal_cover(curves: list[RemovalCurve], stock: int) -> float:
    """The largest share of every pond that the stock allows, as rafts fit."""
    best = 0.0
    for cover in np.linspace(0.0005, 0.2, 400):
        counts = [
            min(int(cover * curve.pool_m2 / 9.6), int(curve.counts.max())) for curve in curves
        ]
        if sum(counts) <= stock:
            kept = sum(_kept(c, n) for c, n in zip(curves, counts, strict=True))
            best = max(best, kept)
    return best


def _by_inflow(site: Site, curves: list[RemovalCurve], stock: int) -> float:
    """Ponds filled one after the other, the largest load flowing in first."""
    loads = [
        sum(f.flow_l_s * f.concentrations.get("tn_mg_l", 0) for f in body.inflows if f.flow_l_s)
        for body in site.water_bodies
    ]
    total, left = 0.0, stock
    for k in np.argsort(-np.array(loads), kind="stable"):
        count = min(left, int(curves[k].counts.max()))
        total += _kept(curves[k], count)
        left -= count
    return total


def scaling(sizes: list[int], area_m2: float = 3000.0, least_cover_pct: float = 0.0) -> None:
    """Time and memory by the number of ponds, on two workers."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _run(write_district(complete(2, 9), folder / "warm"), folder / "warm_plan")
        rows = []
        for ponds in sizes:
            recipe = replace(complete(ponds, 1), area_m2=area_m2, least_cover_pct=least_cover_pct)
            if least_cover_pct:
                recipe = replace(recipe, stock_each=2.2)
            site = write_district(recipe, folder / f"s{ponds}")
            rows.append((ponds, *_run(site, folder / f"p{ponds}")))
        for ponds, wall, cpu, main_mb, worker_mb, kept_mb, all_mb in rows:
            print(
                f"{ponds} ponds of {area_m2:g} m²: {wall:.0f} s wall, {cpu:.0f} s of processors"
                f" ({cpu / ponds:.2f} a pond), memory {main_mb:.0f} MB and {worker_mb:.0f} MB a"
                f" worker, {all_mb:.0f} MB of all at one moment, kept parts {kept_mb:.1f} MB"
            )
        if len(rows) > 1:
            slope = np.polyfit(np.log([r[0] for r in rows]), np.log([r[2] for r in rows]), 1)[0]
            print(f"time of processors grows as ponds to the power {slope:.3f}")


def _run(site: Path, out: Path, workers: int = 2) -> tuple[float, ...]:
    """Return wall and processor time; memory of the command, a worker; parts; memory of all."""
    code = (
        "import resource,sys;from geoplan.__main__ import main\n"
        "if __name__ == '__main__':\n"
        "    try: main()\n"
        "    finally:\n"
        "        a, b = (resource.getrusage(w) for w in"
        " (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))\n"
        "        print('RUSAGE', a.ru_utime + a.ru_stime + b.ru_utime + b.ru_stime,"
        " a.ru_maxrss, b.ru_maxrss)\n"
    )
    script = out.parent / "run.py"
    script.write_text(code)
    start = time.monotonic()
    running = subprocess.Popen(
        [sys.executable, str(script), "plan", str(site), "-o", str(out), "--workers", str(workers)],
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip
    most_mb, ended = [0.0], threading.Event()

    def watch() -> None:
        while not ended.wait(0.5):
            most_mb[0] = max(most_mb[0], _held_mb(running.pid))

    watcher = threading.Thread(target=watch)
    watcher.start()
    said, _ = running.communicate()
    ended.set()
    watcher.join()
    wall = time.monotonic() - start
    line = [row for row in said.splitlines() if row.startswith("RUSAGE")]
    if not line or "audit: passed" not in said:
        print(said[-2000:])
    cpu, own, child = (float(v) for v in line[0].split()[1:])
    parts = sum(p.stat().st_size for p in (out.parent / f".{out.name}.parts").glob("*/*"))
    return wall, cpu, own / 1024, child / 1024, parts / 1e6, most_mb[0]


def _held_mb(pid: int) -> float:
    """Memory of a process and all below it: what each has for itself, and what they share once."""
    own, shared, waiting = 0, 0, [pid]
    while waiting:
        at = Path("/proc") / str(waiting.pop())
        try:
            rows = (at / "smaps_rollup").read_text().splitlines()[1:]
            for task in (at / "task").iterdir():
                waiting += map(int, (task / "children").read_text().split())
        except OSError:  # it has ended
            continue
        kb = {row.split(":")[0]: int(row.split()[1]) for row in rows}
        own += kb["Private_Clean"] + kb["Private_Dirty"]
        shared = max(shared, kb["Shared_Clean"] + kb["Shared_Dirty"])
    return (own + shared) / 1024


def mixed(ponds: int) -> None:
    """A mixed district of three types with setting up and missing layers."""
    with tempfile.TemporaryDirectory() as folder:
        recipe = Recipe(ponds, seed=3, types=3, mobilisation_cost=300.0)
        site = write_district(recipe, Path(folder) / "site")
        start = time.process_time()
        outcome = plan_folder(site, Path(folder) / "plan", workers=2)
        made = outcome.plan.allocation
        assert made is not None
        reasons = Counter(share.why.split(";")[0][:40] for share in made.shares if not share.counts)
        print(
            f"{ponds} mixed: audit {outcome.audit.passed}, failures {len(outcome.plan.failures)},"
            f" {sum(s.raft_count for s in made.shares)} rafts, gap {made.gap_pct:.3f} %, of the"
            f" district {made.district_gap_pct:.1f} %, main process"
            f" {time.process_time() - start:.1f} s"
        )
        for text, count in reasons.most_common():
            print(f"  {count} without: {text}")
        promised = {share.water_id: share.worth for share in made.shares}
        loads = [w for w in outcome.plan.waters if "kept from" in w.report.unit]
        planned = sum(w.report.value for w in loads)
        print(f"  promised {sum(promised[w.water_id] for w in loads):.4g}, planned {planned:.4g}")


def efficiency(ponds: int) -> None:
    """Processor time gained by two workers, as a share of what two bare processes gain."""
    spin = "import time\nt=time.time()\nn=0\nwhile time.time()-t<4: n+=1\nprint(n)"

    def counted(processes: int) -> int:
        runs = [
            subprocess.Popen([sys.executable, "-c", spin], stdout=subprocess.PIPE, text=True)
            for _ in range(processes)
        ]
        return sum(int(run.communicate()[0]) for run in runs)

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        site = write_district(complete(ponds, 1), folder / "site")
        _run(write_district(complete(2, 9), folder / "warm"), folder / "warm_plan")
        bare = counted(2) / counted(1)
        one = _run(site, folder / "one", 1)[0]
        two = _run(site, folder / "two", 2)[0]
        print(
            f"two bare processes do {bare:.2f} times the work of one; two workers {one / two:.2f}"
            f" ({one:.0f} s against {two:.0f} s): {100 * (one / two) / bare:.0f} %"
        )


#: Name of a finished part: the hash of all that it depends on.
_PART = re.compile("[0-9a-f]{64}")


def _digest(folder: Path) -> str:
    """The hash of all files of a plan."""
    return hashlib.sha256(
        b"".join(p.name.encode() + p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file())
    ).hexdigest()


def kills(count: int) -> None:
    """
    Kill runs at random moments: six ponds, held in memory and on disk, and so many that files are
    written while they are planned.
    """
    with tempfile.TemporaryDirectory() as name:
        for case, (recipe, most_held) in enumerate(
            (
                (complete(6, 4), MOST_HELD),
                (complete(6, 4), 0),
                (replace(complete(34, 4), area_m2=500.0), 0),
            )
        ):
            folder = Path(name) / str(case)
            site = write_district(recipe, folder / "site")
            plan_folder(site, folder / "whole", workers=2)
            wanted = _digest(folder / "whole")
            script = folder / "run.py"
            script.write_text(
                f"from geoplan.fleet import kept\nkept.MOST_HELD = {most_held}\n"
                "if __name__ == '__main__':\n    from geoplan.__main__ import main\n    main()\n"
            )
            command = [sys.executable, str(script), "plan", str(site), "-o", str(folder / "plan")]
            print(f"{recipe.ponds} ponds, {most_held} held in memory at most", flush=True)
            _killed(command, folder, count // 3, wanted)


def _killed(command: list[str], folder: Path, count: int, wanted: str) -> None:
    """Kill a command so often; each run that ends is compared, and begun again from nothing."""
    moments = random.Random(1)  # noqa: S311 - moments of a benchmark
    out, killed, ended, redone, kept = folder / "plan", 0, 0, 0, {}
    while killed < count:
        run = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            run.wait(moments.uniform(1.0, 18.0))
            ended += 1
            same = "equal" if _digest(out) == wanted else "DIFFER"
            print(f"{killed} killed so far, {redone} redone; a run ended, bytes {same}", flush=True)
            subprocess.run(["rm", "-r", str(out), str(folder / ".plan.parts")], check=True)
            kept = {}
        except subprocess.TimeoutExpired:
            run.send_signal(signal.SIGKILL)
            run.wait()
            killed += 1
            now = {p.name: p.stat().st_mtime_ns for p in (folder / ".plan.parts").glob("*/*")}
            redone += sum(now.get(n) != when for n, when in kept.items())
            # Findings of an audit under way are no parts: the next run throws them away.
            kept = {n: when for n, when in now.items() if _PART.fullmatch(n)}
    subprocess.run(command, stdout=subprocess.DEVNULL, check=True)
    print(
        f"{killed} killed, {ended} ended between; {redone} finished parts lost or done again;"
        f" at the end bytes {'equal' if _digest(out) == wanted else 'DIFFER'}"
    )
    subprocess.run(["rm", "-r", str(out), str(folder / ".plan.parts")], check=True)


def cluster(ponds: int) -> None:
    """The same plan from two dask workers, one of which is killed midway."""
    from distributed import LocalCluster

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        site = write_district(complete(ponds, 2), folder / "site")
        plan_folder(site, folder / "one", workers=1)
        with LocalCluster(
            2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None
        ) as made:
            victim = next(iter(made.workers.values())).pid

            def kill() -> None:
                while len(list((folder / ".two.parts").glob("*/*"))) < ponds // 2:
                    time.sleep(0.1)
                os.kill(victim, signal.SIGKILL)

            threading.Thread(target=kill, daemon=True).start()
            plan_folder(site, folder / "two", crew=Crew(scheduler=made.scheduler_address))
        same = _digest(folder / "one") == _digest(folder / "two")
        print(
            f"{ponds} ponds by two dask workers, one killed: bytes {'equal' if same else 'DIFFER'}"
        )


if __name__ == "__main__":
    what, numbers = sys.argv[1], [int(text) for text in sys.argv[2:]]
    job = {
        "policies": policies, "mixed": mixed, "efficiency": efficiency, "kills": kills,
        "cluster": cluster,
    }  # fmt: skip
    if what == "allocation":
        allocation()
    elif what == "scaling":
        scaling(numbers)
    elif what == "everywhere":
        scaling(numbers, least_cover_pct=0.5)
    elif what == "memory":
        scaling(numbers, area_m2=150.0)
    else:
        job[what](*numbers)
    print(f"memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
