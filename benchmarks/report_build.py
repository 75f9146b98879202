"""How long the report of ninety days takes to build, and how large it is.

    python benchmarks/report_build.py

Goals: 1.5 s for a first build in a fresh process (plotly's import included), 6.5 MB.
"""

from __future__ import annotations

import time
from pathlib import Path

from offgrid_sim.plan.load import load_trip
from offgrid_sim.studies.run import simulate

TRIP = Path(__file__).parents[1] / "configs" / "trips" / "pyrenees_winter.toml"


def main() -> None:
    """Build twice and print seconds and megabytes."""
    loaded = load_trip(TRIP)
    outcome = simulate(loaded)
    for name in ("first", "again"):
        begin = time.perf_counter()
        from offgrid_sim.report.run_page import run_page

        text = run_page(loaded, outcome)
        spent = time.perf_counter() - begin
        print(f"{name}: {spent:.2f} s, {len(text.encode('utf-8')) / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
