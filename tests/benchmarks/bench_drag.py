"""
Time of a frame while a raft is dragged on the map, at full and at a quarter of the speed.

``python tests/benchmarks/bench_drag.py OUT/map.html``: median and 95 % of 120 moves of the pointer,
figures, drawing and layout together [ms].
"""

import shutil
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

_DRAG = """async () => {
  const tried = GEOPLAN.page.whatIf, map = GEOPLAN.page.map, grip = tried.grip.getElement();
  const centre = GEOPLAN.middle(GEOPLAN.ringOf(tried.raft)), fit = tried.waterOf(tried.raft).fit;
  const box = map.getContainer().getBoundingClientRect(), times = [];
  const at = (east, north) => {
    const place = GEOPLAN.toLatLng(fit, centre[0] + east, centre[1] + north);
    const p = map.latLngToContainerPoint(place);
    return { clientX: p.x + box.left, clientY: p.y + box.top, pointerId: 1, isPrimary: true };
  };
  grip.setPointerCapture = () => {};
  grip.dispatchEvent(new PointerEvent("pointerdown", at(0, 0)));
  for (let k = 1; k <= 120; k += 1) {
    const begun = performance.now();
    grip.dispatchEvent(new PointerEvent("pointermove", at(k * 0.1, 2 * Math.sin(k))));
    document.body.offsetHeight;
    times.push(performance.now() - begun);
    await new Promise(requestAnimationFrame);
  }
  grip.dispatchEvent(new PointerEvent("pointerup", at(12, 0)));
  times.sort((a, b) => a - b);
  return [times[60], times[114]];
}"""


def main() -> None:
    """Print a line for each speed."""
    file = Path(sys.argv[1]).resolve()
    with sync_playwright() as started:
        browser = started.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        for throttle in (1, 4):
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            page.goto(file.as_uri())
            page.wait_for_selector("html[data-ready]")
            session = page.context.new_cdp_session(page)
            session.send("Emulation.setCPUThrottlingRate", {"rate": throttle})
            page.click("#try-on")
            page.locator("#rafts button").first.click()
            median, most = page.evaluate(_DRAG)
            rafts = page.evaluate("GEOPLAN.page.things.rafts.length")
            print(f"{rafts} rafts, 1/{throttle} speed: {median:.1f} ms, 95 % {most:.1f} ms")
        browser.close()


if __name__ == "__main__":
    main()
