"""How long a fetched place-year takes to read, with its quick copy and without.

    python benchmarks/archive_reading.py [PLACES] [YEARS]

Fetches from a local server that speaks the archives' formats (tests/conftest.py) into a cache
folder of its own, then reads winters over the new year as a run does. Goal: 50 ms for each
place-year from its copy. Exit code 1 if it is missed.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import pandas as pd

from offgrid_sim.weather.archive import SERVICES, ArchiveWeather
from offgrid_sim.weather.archive.fetch import fetch, wanted_years
from offgrid_sim.weather.archive.store import ArchiveCache
from offgrid_sim.weather.archive.web import Web
from offgrid_sim.weather.table import Place

GOAL_MS = 50.0
WINTER = pd.date_range("2025-12-01", periods=90 * 24, freq="h", tz="UTC")


def read_ms(places: list[Place], folder: Path) -> tuple[float, float]:
    """Wall-clock and processor milliseconds for each place-year of one run's weather."""
    wall_s, cpu_s = time.perf_counter(), time.process_time()
    weather = ArchiveWeather(places, ArchiveCache(folder))
    labels = weather.years(places[0], WINTER)
    for place in places:
        weather.block(place, WINTER, weather.years(place, WINTER))
    count = len(places) * (len(labels) + 1)
    wall_s, cpu_s = time.perf_counter() - wall_s, time.process_time() - cpu_s
    return 1000 * wall_s / count, 1000 * cpu_s / count


def measure(name: str, places: list[Place], years: int, url: str, folder: Path) -> float:
    """Print the figures of one archive; the milliseconds from copies."""
    service = SERVICES[name]
    wanted = wanted_years(service, places, range(2010, 2010 + years), (0, 1))
    cache = ArchiveCache(folder)
    start_s = time.perf_counter()
    with Web(cache, sleep=lambda seconds: None) as web:
        assert fetch(service, wanted, cache, web, url).here == len(wanted)
    fetched_ms = 1000 * (time.perf_counter() - start_s) / len(wanted)
    quick = read_ms(places, folder)
    sizes = [sum(p.stat().st_size for p in folder.glob(end)) for end in ("*.json.gz", "*.npz")]
    for copy in folder.glob("*.npz"):
        copy.unlink()
    slow = read_ms(places, folder)
    print(f"{service.title}: {len(wanted)} place-years of {len(places)} stops")
    print(f"  fetched, checked and kept     {fetched_ms:7.1f} ms each, local server included")
    print(f"  read from answers alone       {slow[0]:7.1f} ms each ({slow[1]:.1f} ms of processor)")
    print(
        f"  read from their copies        {quick[0]:7.1f} ms each ({quick[1]:.1f} ms of processor)"
    )
    print(f"  ratio {slow[1] / quick[1]:.0f}; answers {sizes[0] / len(wanted) / 1000:.0f} kB, "
          f"copies {sizes[1] / len(wanted) / 1000:.0f} kB each")  # fmt: skip
    return quick[0]


def main() -> int:
    """Measure both archives; 0 if the goal is met."""
    stops, years = (int(word) for word in (sys.argv[1:] + ["10", "10"][len(sys.argv) - 1 :]))
    sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
    from conftest import ArchiveServer

    server = ArchiveServer()
    places = [Place(f"stop {k}", 36.0 + k, -5.0 + k, 100.0) for k in range(stops)]
    slowest = 0.0
    for name in SERVICES:
        with tempfile.TemporaryDirectory() as folder:
            slowest = max(slowest, measure(name, places, years, server.url, Path(folder)))
    server.stop()
    print(f"goal {GOAL_MS:g} ms: {'met' if slowest <= GOAL_MS else 'missed'}")
    return 0 if slowest <= GOAL_MS else 1


if __name__ == "__main__":
    sys.exit(main())
