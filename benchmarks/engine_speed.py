"""How fast the engine is, beside two yardsticks that run on the same machine.

    python benchmarks/engine_speed.py [--runs 1000] [--nights 90]

Prints van-hours a second of a study-style batch on all cores, the ratio to the very same functions
as plain Python, the time pvlib takes for one year's solar position and transposition, and the peak
memory as the number of runs grows. First use compiles; that time is told apart.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
from rich.console import Console
from rich.table import Table

from offgrid_sim.engine.loop import STEPS_PER_HOUR, run_many, run_one
from offgrid_sim.engine.prepare import Prepared, prepare
from offgrid_sim.plan.load import load_trip
from offgrid_sim.weather.sources import providers

TRIP = Path(__file__).parents[1] / "configs" / "trips" / "pyrenees_winter.toml"
YEARS = 10
GOAL_MILLION_VAN_HOURS_S = 3.0
PLAIN_HOURS = 48
HOURS_PER_YEAR = 8760


def ready(nights: int) -> Prepared:
    """The demo trip, cut to its first nights."""
    loaded = load_trip(TRIP)
    prepared = prepare(loaded.trip, providers(loaded), YEARS)
    if nights * 24 > prepared.line.hours:
        raise SystemExit(f"the demo has {prepared.line.hours // 24} nights; ask for fewer.")
    return prepared


def designs(prepared: Prepared, runs: int) -> tuple[np.ndarray, np.ndarray]:
    """Vans of a sizing grid, and the jobs of a study: every van through every year."""
    count = -(-runs // YEARS)
    vans = np.repeat(prepared.van, count)
    vans["array_w"][:, 0] = np.linspace(100, 600, count)
    vans["capacity_ah"] = np.linspace(80, 400, count)
    jobs = np.array([(v, y) for v in range(count) for y in range(YEARS)])[:runs]
    return vans, jobs


def batch_s(prepared: Prepared, runs: int, hours: int) -> tuple[float, float]:
    """Seconds of a batch on all cores, by the clock and of processors."""
    vans, jobs = designs(prepared, runs)
    ask = prepared.ask[: hours * STEPS_PER_HOUR]
    begin, begin_cpu = time.perf_counter(), time.process_time()
    run_many(vans, prepared.clock[:hours], prepared.skies[:, :hours], ask, jobs)
    return time.perf_counter() - begin, time.process_time() - begin_cpu


def single_s(prepared: Prepared, hours: int) -> float:
    """Seconds of one run with its trace, the least of a few."""
    ask = prepared.ask[: hours * STEPS_PER_HOUR]
    args = (prepared.van, prepared.clock[:hours], prepared.skies[0, :hours], ask)
    return least(lambda: run_one(*args), 3)


def least(work: Callable[[], object], times: int) -> float:
    """Least seconds of several turns."""
    taken = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begin)
    return min(taken)


def plain_s_per_van_hour() -> float:
    """Seconds a van-hour takes in plain Python, from a short run in another process."""
    code = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "from engine_speed import PLAIN_HOURS, ready, single_s\n"
        "print(single_s(ready(PLAIN_HOURS // 24), PLAIN_HOURS) / PLAIN_HOURS)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(Path(__file__).parent)],
        env=os.environ | {"NUMBA_DISABLE_JIT": "1"}, capture_output=True, text=True,
        encoding="utf-8", check=True,
    )  # fmt: skip
    return float(done.stdout)


def pvlib_year_s() -> float:
    """Seconds pvlib takes for the sun of a year and its light on a tilted plane."""
    times = pd.date_range("2025-01-01 00:30", periods=HOURS_PER_YEAR, freq="h", tz="UTC")
    light = np.full(HOURS_PER_YEAR, 300.0)

    def work() -> None:
        sun = pvlib.solarposition.get_solarposition(times, 42.5, 0.5)
        extra = pvlib.irradiance.get_extra_radiation(times)
        pvlib.irradiance.get_total_irradiance(
            20, 180, sun["apparent_zenith"], sun["azimuth"], light, light, light, dni_extra=extra,
            model="haydavies",
        )  # fmt: skip

    return least(work, 3)


def peak_mb() -> float:
    """Peak memory of this process so far, MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=1000)
    parser.add_argument("--nights", type=int, default=90)
    wanted = parser.parse_args()
    hours = wanted.nights * 24
    prepared = ready(wanted.nights)
    begin = time.perf_counter()
    batch_s(prepared, 1, hours)
    first_s = time.perf_counter() - begin
    memory = []
    for runs in (wanted.runs // 10, wanted.runs, 4 * wanted.runs):
        batch_s(prepared, runs, hours)
        memory.append((runs, peak_mb()))
    batch, cpu = np.min([batch_s(prepared, wanted.runs, hours) for _ in range(3)], axis=0)
    van_hours_s = wanted.runs * hours / batch
    unshared_s = wanted.runs * hours / cpu * (os.cpu_count() or 1)
    year_s = single_s(prepared, hours) / hours * HOURS_PER_YEAR
    plain = plain_s_per_van_hour()
    sun_s = pvlib_year_s()
    goal = GOAL_MILLION_VAN_HOURS_S
    table = Table(title=f"engine, {60 // STEPS_PER_HOUR}-minute steps, {os.cpu_count()} cores")
    table.add_column("what")
    table.add_column("measured", justify="right")
    rows = [
        (f"{wanted.runs} runs x {wanted.nights} days", f"{batch:.2f} s"),
        (f"van-hours a second (goal {goal:g} million)", f"{van_hours_s / 1e6:.2f} million"),
        ("the same if nothing else ran, from processor time", f"{unshared_s / 1e6:.2f} million"),
        ("first batch of this process, compiling or loading included", f"{first_s:.1f} s"),
        ("plain Python, van-hours a second on one core", f"{1 / plain:.0f}"),
        ("compiled on one core against plain Python", f"{plain * HOURS_PER_YEAR / year_s:.0f} x"),
        ("one van-year with its trace, one core", f"{1000 * year_s:.1f} ms"),
        ("pvlib: sun and transposition of one year", f"{1000 * sun_s:.1f} ms"),
        ("van-year against pvlib's year", f"{year_s / sun_s:.2f}"),
        *((f"peak memory up to {runs} runs", f"{mb:.0f} MB") for runs, mb in memory),
    ]
    for row in rows:
        table.add_row(*row)
    Console().print(table)


if __name__ == "__main__":
    main()
