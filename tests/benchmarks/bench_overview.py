"""
Size of ``district.html``, how soon it is ready, and what a keystroke and a sort cost.

Invented districts of a hundred and of a thousand water bodies, every third without rafts, every
fiftieth with a failed check. The processor is also slowed down four times, in the place of a phone.
A time is that of the main thread until the change is drawn. Run it as
``python -m tests.benchmarks.bench_overview [COUNT ...]``.
"""

import shutil
import statistics
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import sync_playwright

from geoplan.district import Allocation, LimitUse, Logistics, Visit, WaterShare
from geoplan.exports import district_page
from geoplan.plan import AuditReport, Finding, Plan
from geoplan.site import Site
from tests.browser.test_map_page import ARGUMENTS
from tests.unit.exports import small_plan as small

COUNTS = (100, 1000)
RUNS = 3
UNIT = "g TN a day kept from the outlet"

#: Runs a change and returns how long the main thread takes until it is laid out and drawn [ms].
_TIMED = """(change) => new Promise((done) => {
  const begun = performance.now();
  change();
  document.body.getBoundingClientRect();
  requestAnimationFrame(() => {
    const channel = new MessageChannel();
    channel.port1.onmessage = () => done(performance.now() - begun);
    channel.port2.postMessage(0);
  });
})"""
_TYPE = """() => { const box = document.getElementById('search'); box.value = VALUE;
  box.dispatchEvent(new Event('input', { bubbles: true })); }"""
_SORT = "() => document.querySelectorAll('#waters th button')[3].click()"


def district(count: int) -> tuple[Plan, Site, AuditReport]:
    """A district of so many water bodies, on a shaken lattice."""
    rng = np.random.default_rng(3)
    side = int(np.ceil(np.sqrt(count)))
    words = ("Alder", "Birch", "Clay", "Dyer's", "Elm", "Far", "Grange", "Heron")
    shares, bodies, findings, visits = [], [], [], []
    template, planned = small.site().water_bodies[1], small.plan()
    for number in range(count):
        name = f"{words[number % 8]} water {number:04d}"
        rafts = 0 if number % 3 == 0 else int(rng.integers(1, 9))
        most = float(rng.lognormal(1.0, 1.2))
        worth = most * rafts / 10.0
        east, north = (np.array([number % side, number // side]) + rng.uniform(0, 0.7, 2)) * 0.004
        why = "no room for one more within the cover limit" if rafts else "worth more elsewhere"
        shares.append(
            WaterShare(
                name, f"ward {number % 7}", "may", (("four by two", rafts),) if rafts else (),
                9.6 * rafts, float(rng.uniform(0, 20)) if rafts else 0.0, 450.0 * rafts, worth,
                worth * 1.1, most, most / 10, why, 9.0 + float(east), 56.0 + float(north),
                number % 11 == 0,
            )
        )  # fmt: skip
        bodies.append(replace(template, water_id=name, name="", max_cover_pct=20.0))
        is_within = number % 50 != 7
        cover_pct = 3.0 if is_within else 23.0
        findings.append(Finding("cover", name, "", cover_pct, 20.0, "%", is_within))
        if rafts:
            visit = Visit(1, 1, 0.1, len(visits) + 1, name, (("four by two", rafts),), 400, 0.1, 2)
            visits.append(visit)
    limits = (LimitUse("four by two", "stock", None, 9e3, 4e3, 0.4),)
    plan = replace(
        planned,
        site_name="Invented district",
        waters=tuple(replace(planned.waters[1], water_id=one.water_id) for one in shares),
        allocation=Allocation(UNIT, 100.0, 101.0, 120.0, tuple(shares), limits),
        logistics=Logistics(tuple(visits), 2e5, 1.9e5, 40),
    )
    return plan, replace(small.site(), water_bodies=tuple(bodies)), AuditReport(tuple(findings))


def times_ms(browser: Any, path: Path, slowed: int) -> list[float | None]:
    """Median time until ready, of a keystroke and of a sort; None where the page has none [ms]."""
    ready, types, sorts = [], [], []
    for _ in range(RUNS):
        page = browser.new_page(viewport={"width": 360, "height": 740})
        tools = page.context.new_cdp_session(page)
        tools.send("Emulation.setCPUThrottlingRate", {"rate": slowed})
        page.goto(path.as_uri())
        ready.append(
            page.evaluate(
                "() => { document.body.getBoundingClientRect();"
                " const t = performance.getEntriesByType('navigation')[0];"
                " const p = performance.getEntriesByName('first-contentful-paint')[0];"
                " return Math.max(t.loadEventEnd, p ? p.startTime : 0); }"
            )
        )
        if page.locator("#search").count():
            for text in ("e", "el", "elm", ""):
                change = _TYPE.replace("VALUE", repr(text))
                types.append(page.evaluate(f"({_TIMED})({change})"))
            sorts += [page.evaluate(f"({_TIMED})({_SORT})") for _ in range(2)]
        page.close()
    return [statistics.median(one) if one else None for one in (ready, types, sorts)]


def main(counts: tuple[int, ...]) -> None:
    """Print a row for each number of water bodies."""
    print("waters  written s  size KiB   ready, keystroke, sort [ms]; the same 4 times slower")
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=shutil.which("chromium"), args=ARGUMENTS)
        for count in counts:
            plan, site, audit = district(count)
            with tempfile.TemporaryDirectory() as folder:
                begun = time.process_time()
                district_page.write(plan, site, Path(folder), audit)
                written = time.process_time() - begun
                path = Path(folder) / district_page.FILE_NAME
                size = path.stat().st_size / 1024
                found = [*times_ms(browser, path, 1), *times_ms(browser, path, 4)]
            shown = "  ".join("    none" if one is None else f"{one:8.1f}" for one in found)
            print(f"{count:6d}  {written:9.2f}  {size:8.0f}  {shown}")
        browser.close()


if __name__ == "__main__":
    main(tuple(map(int, sys.argv[1:])) or COUNTS)
