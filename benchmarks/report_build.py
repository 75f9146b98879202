"""How long the report of ninety days takes to build and to open, and how large it is.

    python benchmarks/report_build.py

Goals: 1.5 s for a first build in a fresh process (plotly's import included), 6.5 MB; on a
processor slowed down four times in headless Chromium, 3 s until the timeline answers to zoom and
pointer (the page's mark "interactive"; a test of the report holds it to that). Without Playwright
and Chromium the last is left out. The browser's figures are of the machine it runs on and of what
else runs there; the slowing holds for the page's own thread, not for reading plotly's script
beside it. The loop before each opening tells how quick the machine is at that moment.
"""

from __future__ import annotations

import shutil
import tempfile
import time
from pathlib import Path

from offgrid_sim.plan.load import load_trip
from offgrid_sim.studies.run import simulate

TRIP = Path(__file__).parents[1] / "configs" / "trips" / "pyrenees_winter.toml"
SLOWER = 4
READY = "#plot[data-ready=yes]"
LOOP = """() => { const begin = performance.now(); let sum = 0;
  for (let k = 0; k < 1e7; k += 1) sum = (sum * 31 + k) | 0;
  return performance.now() - begin + (sum && 0); }"""
WEEK = """() => new Promise((told) => { const begin = performance.now();
  document.querySelector('[data-days="7"]').click();
  requestAnimationFrame(() => setTimeout(() => told(performance.now() - begin))); })"""


def main() -> None:
    """Build twice, open three times, and print seconds and megabytes."""
    loaded = load_trip(TRIP)
    outcome = simulate(loaded)
    for name in ("first", "again"):
        begin = time.perf_counter()
        from offgrid_sim.report.run_page import run_page

        text = run_page(loaded, outcome)
        spent = time.perf_counter() - begin
        print(f"{name}: {spent:.2f} s, {len(text.encode('utf-8')) / 1e6:.2f} MB")
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "report.html"
        page.write_text(text, encoding="utf-8")
        opened(page)


def opened(path: Path) -> None:
    """Seconds from asking for the page until it can be read and until its timeline answers."""
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        chromium = None
    if chromium is None:
        print("opening: not measured, no Playwright or no Chromium")
        return
    with sync_playwright() as tool:
        browser = tool.chromium.launch(
            executable_path=chromium, args=["--no-sandbox", "--disable-gpu"]
        )
        for slower in (1, SLOWER, SLOWER):
            page = browser.new_page(viewport={"width": 390, "height": 844})
            wire = page.context.new_cdp_session(page)
            wire.send("Emulation.setCPUThrottlingRate", {"rate": slower})
            loop_ms = page.evaluate(LOOP)
            page.goto(path.as_uri())
            page.wait_for_selector(READY)
            told = page.evaluate(
                "[performance.getEntriesByName('first-contentful-paint')[0]?.startTime,"
                " performance.getEntriesByName('interactive')[0]?.startTime]"
            )
            words = [f"{value / 1e3:.2f} s" if value else "not told" for value in told]
            week = page.evaluate(WEEK) / 1e3
            print(
                f"opened, {slower} times slower: readable {words[0]}, interactive {words[1]}, "
                f"then a week drawn in {week:.2f} s (loop: {loop_ms:.0f} ms)"
            )
            page.close()
        browser.close()


if __name__ == "__main__":
    main()
