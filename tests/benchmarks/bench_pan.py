"""
Frames a second while the map is pushed by mouse or swiped by finger, as a person would.

``python tests/benchmarks/bench_pan.py OUT/map.html``. Pointer events come from the browser's own
input, so that the page decides what a frame holds; an empty map is measured beside it, as the
floor of a machine that has no graphics processor.
"""

import shutil
import sys
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

#: Name, width and height [px], pixels of the screen to one of the page, by finger.
_SCREENS = (
    ("desk", 1280, 800, 1, False),
    ("phone", 360, 740, 1, True),
    ("phone, fine", 360, 740, 2, True),
)
_WATCH = """() => {
  window.frames_ms = [];
  let last = null;
  const tick = now => { if (last !== null) window.frames_ms.push(now - last); last = now;
    window.watching = requestAnimationFrame(tick); };
  window.watching = requestAnimationFrame(tick);
}"""
_READ = "() => { cancelAnimationFrame(window.watching); return window.frames_ms }"
_EMPTY = """() => { const map = GEOPLAN.page.map;
  const all = []; map.eachLayer(one => all.push(one));
  all.forEach(one => map.removeLayer(one)); }"""
_STEPS = 90
_EVERY_S = 1 / 90


def _pushed(page: Any, tools: Any, by_finger: bool) -> None:
    """Move the pointer to and fro over the map, quicker than frames follow."""
    box = page.locator(".folium-map").bounding_box()
    east, north = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2

    def send(kind: str, x: float, y: float) -> None:
        if by_finger:
            points = [] if kind == "End" else [{"x": x, "y": y}]
            tools.send("Input.dispatchTouchEvent", {"type": f"touch{kind}", "touchPoints": points})
            return
        name = {"Start": "Pressed", "Move": "Moved", "End": "Released"}[kind]
        tools.send(
            "Input.dispatchMouseEvent",
            {
                "type": f"mouse{name}",
                "x": x,
                "y": y,
                "button": "left",
                "buttons": 1,
                "clickCount": 1,
            },
        )

    reach = min(box["width"], box["height"]) / 3
    send("Start", east, north)
    begun = time.perf_counter()
    for step in range(1, _STEPS + 1):
        share = 2 * abs((step / 60.0) % 1.0 - 0.5)
        send("Move", east + reach * (1 - share), north + 0.4 * reach * (1 - share))
        time.sleep(max(0.0, begun + step * _EVERY_S - time.perf_counter()))
    send("End", east, north)


def frames(page: Any, slowed: int, by_finger: bool) -> tuple[float, float, float]:
    """Frames a second, the longest frame, and work of the main thread a frame [ms]."""
    tools = page.context.new_cdp_session(page)
    tools.send("Emulation.setCPUThrottlingRate", {"rate": slowed})
    tools.send("Performance.enable", {"timeDomain": "threadTicks"})

    def work() -> float:
        rows = tools.send("Performance.getMetrics")["metrics"]
        return next(row["value"] for row in rows if row["name"] == "TaskDuration")

    _pushed(page, tools, by_finger)
    page.wait_for_timeout(600)
    page.evaluate(_WATCH)
    before = work()
    _pushed(page, tools, by_finger)
    after = work()
    times = page.evaluate(_READ)
    return 1000 * len(times) / sum(times), max(times), 1000 * (after - before) / len(times)


def main(file: Path) -> None:
    """Print a line for each screen and speed, with the empty map beside it."""
    with sync_playwright() as started:
        browser = started.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        for name, width, height, ratio, by_finger in _SCREENS:
            for slowed in (1, 4):
                context = browser.new_context(
                    viewport={"width": width, "height": height},
                    device_scale_factor=ratio,
                    has_touch=by_finger,
                )
                page = context.new_page()
                page.goto(file.as_uri())
                page.wait_for_selector("html[data-ready]")
                rafts = page.evaluate("GEOPLAN.page.things.rafts.length")
                full = frames(page, slowed, by_finger)
                page.evaluate(_EMPTY)
                empty = frames(page, slowed, by_finger)
                said = "; ".join(
                    f"{what} {a:.0f} a second, longest {b:.0f} ms, work {c:.1f} ms a frame"
                    for what, (a, b, c) in (("plan", full), ("empty", empty))
                )
                print(f"{rafts} rafts, {name}, 1/{slowed} speed: {said}", flush=True)
                context.close()
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve())
