"""How long a stress matrix takes: 4 fridges x 4 batteries x 14 cases, goal 10 s on two cores.

Run it from the project's folder: ``python benchmarks/stress_matrix.py``. The time is wall clock,
warm (compiled code on disk, one case run before), for the demo trip and as many weather years as
``stress`` takes by itself; other work on the machine counts against it.
"""

from __future__ import annotations

import json
import time
from pathlib import Path

from offgrid_sim.plan.load import load_trip
from offgrid_sim.plan.van import Battery, Fridge
from offgrid_sim.studies.causes import find_causes
from offgrid_sim.studies.cures import find_cures, usual_cures
from offgrid_sim.studies.run import simulate
from offgrid_sim.studies.stress import USUAL_YEARS, Pair, stress, usual_cases

TRIP = Path(__file__).parents[1] / "configs" / "trips" / "pyrenees_winter.toml"
MATRIX_GOAL_S = 10.0
WHY_GOAL_S = 15.0
THREE_WEEKS = (
    "route.stops=none", "route.stops.0.place=Jaca", "route.stops.0.latitude_deg=42.57",
    "route.stops.0.longitude_deg=-0.55", "route.stops.0.altitude_m=820",
    "route.stops.0.nights=11", "route.stops.1.place=Canfranc", "route.stops.1.latitude_deg=42.75",
    "route.stops.1.longitude_deg=-0.52", "route.stops.1.altitude_m=1040",
    "route.stops.1.nights=10", "weather.years=100", "van.solar.0.panel_w=200",
    "van.battery.capacity_ah=150",
)  # fmt: skip


def matrix_s() -> tuple[float, int]:
    """Seconds for the matrix, and how many case results it gave."""
    loaded = load_trip(TRIP, (f"weather.years={USUAL_YEARS}",))
    fridges = [Fridge(shape=shape, volume_l=litres)
               for shape in ("upright", "chest") for litres in (40, 65)]  # fmt: skip
    batteries = [Battery(chemistry=kind, capacity_ah=ah)
                 for kind in ("lfp", "agm") for ah in (100, 280)]  # fmt: skip
    pairs = [Pair(f"{f.shape} {f.volume_l}", f"{b.chemistry} {b.capacity_ah}", f, b)
             for f in fridges for b in batteries]  # fmt: skip
    cases = usual_cases()
    stress(loaded, cases[:1])
    start = time.perf_counter()
    found = stress(loaded, cases, pairs)
    return time.perf_counter() - start, len(found.results)


def why_s() -> tuple[float, float]:
    """Seconds for the causes, and for the cures, of 21 days over 100 weather years."""
    loaded = load_trip(TRIP, THREE_WEEKS)
    outcome = simulate(loaded)
    start = time.perf_counter()
    find_causes(loaded, outcome)
    middle = time.perf_counter()
    find_cures(loaded, usual_cures())
    return middle - start, time.perf_counter() - middle


def main() -> None:
    """Print the measured seconds beside their goals."""
    matrix, results = matrix_s()
    causes, cures = why_s()
    print(json.dumps({
        "stress_matrix_s": round(matrix, 2), "goal_s": MATRIX_GOAL_S, "case_results": results,
        "causes_s": round(causes, 2), "cures_s": round(cures, 2), "why_goal_s": WHY_GOAL_S,
    }))  # fmt: skip


if __name__ == "__main__":
    main()
