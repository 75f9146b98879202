"""Cost of a sizing study: 8 watts x 5 banks x 250 winters of 90 days, 10,000 design-winters.

Goals on two free cores, warm: at most 10 s and 1 GB; cost linear in designs x years.

    python benchmarks/size_study.py
"""

from __future__ import annotations

import os
import resource
import time
from pathlib import Path

from offgrid_sim.plan.load import load_trip
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.studies.size import Question, SizeStudy, size
from offgrid_sim.studies.size_grid import battery_axis, panel_axis

TRIP = Path(__file__).parent.parent / "configs" / "trips" / "pyrenees_winter.toml"
WATTS, BANKS, YEARS = "100:800:100", "100,150,200,300,400", 250
GOAL_S, GOAL_MB = 10.0, 1000.0


def study(loaded: LoadedTrip, watts: str, banks: str, years: int) -> SizeStudy:
    """A study with a fixed number of years and nothing but the grid."""
    axes = (panel_axis(loaded.trip, watts), battery_axis(banks))
    return size(loaded, Question(axes, 0.05, ("blackout",), years, years, False), resume=False)


def main() -> None:
    """Print what it takes, beside what it may take."""
    loaded = load_trip(TRIP)
    study(loaded, "400", "200", 2)
    print(f"cores {os.cpu_count()}, load before {os.getloadavg()[0]:.1f}")
    rates = []
    for watts, banks, years in ((WATTS, BANKS, YEARS // 5), (WATTS, "100,300", YEARS),
                                (WATTS, BANKS, YEARS)):  # fmt: skip
        used = time.process_time()
        found = study(loaded, watts, banks, years)
        used = time.process_time() - used
        runs = sum(c.risk.years for c in found.candidates)
        rates.append(1000 * used / runs)
        print(
            f"{runs:6d} design-winters: {found.seconds:6.2f} s, {used:6.2f} CPU s, "
            f"{found.simulated_hours / found.seconds / 1e6:5.2f} million van-hours/s, "
            f"{rates[-1]:.2f} CPU ms each"
        )
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    print(f"goal: {GOAL_S:.0f} s for 10000; ratio {found.seconds / GOAL_S:.2f}")
    print(f"peak memory {peak_mb:.0f} MB; goal {GOAL_MB:.0f} MB, ratio {peak_mb / GOAL_MB:.2f}")
    print(f"linear: dearest over cheapest design-winter {max(rates) / min(rates):.2f}")


if __name__ == "__main__":
    main()
