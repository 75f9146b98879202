"""How long the whole command takes: ``run`` of ninety days with causes, cures and report.

    python benchmarks/run_command.py [--times 5]

Goals on two cores, warm: 5 s for ``run``; half a second for ``check``, ``new`` and ``--help``. Each
is a fresh process, as a user starts it, after one that is not counted: machine code, bytecode and
the zones of the places are then on disk. On a busy machine the wall clock tells of its other work
as well; the processor's seconds (all threads) move less, and the least of several tells most.
At the end one more process takes a run apart. Bytecode goes to a folder of this benchmark, so that
a checkout which may not hold any is not compiled anew each time.
"""

from __future__ import annotations

import argparse
import gc
import importlib
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

TRIP = Path(__file__).parents[1] / "configs" / "trips" / "pyrenees_winter.toml"
COMMAND = (sys.executable, "-c", "from offgrid_sim.cli.main import main; main()")
IMPORTS = (
    ("numpy and pandas", ("numpy", "pandas")),
    ("pvlib with scipy", ("pvlib",)),
    ("numba", ("numba",)),
    ("own modules with pydantic", ("offgrid_sim.cli.main", "offgrid_sim.studies.run")),
    ("command and report", ("offgrid_sim.cli.run",)),
)


def main() -> None:
    """Time the commands from outside, then one run from inside."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--times", type=int, default=5, help="counted processes of each command")
    asked.add_argument("--parts", metavar="REPORT", type=Path, help=argparse.SUPPRESS)
    given = asked.parse_args()
    if given.parts is not None:
        take_apart(given.parts)
        return
    with tempfile.TemporaryDirectory() as folder:
        env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
        env["PYTHONPYCACHEPREFIX"] = str(Path(folder) / "bytecode")
        report = str(Path(folder) / "report.html")
        run = ["run", str(TRIP), "--out", report]
        commands: dict[str, Callable[[int], list[str]]] = {
            "run": lambda k: run,
            "run --no-why --no-cures": lambda k: [*run, "--no-why", "--no-cures"],
            "check": lambda k: ["check", str(TRIP)],
            "new": lambda k: ["new", str(Path(folder) / f"new-{k}")],
            "--help": lambda k: ["--help"],
        }
        for name, words in commands.items():
            tell(name, [timed([*COMMAND, *words(k)], env) for k in range(given.times + 1)][1:])
        own = (sys.executable, __file__, "--parts", report)
        subprocess.run(own, env=env, check=True)


def tell(name: str, spent: list[tuple[float, float]]) -> None:
    """Print least and median of the seconds of some processes."""
    seconds = zip(*spent, strict=True)
    wall, processor = (f"{min(s):5.2f} s (median {statistics.median(s):.2f})" for s in seconds)
    print(f"{name:24s}{wall}, processor {processor}")


def timed(words: list[str], env: dict[str, str]) -> tuple[float, float]:
    """Seconds by the wall clock and by the processor of one process."""
    before, begin = os.times(), time.perf_counter()
    subprocess.run(words, env=env, check=True, stdout=subprocess.DEVNULL)
    wall, after = time.perf_counter() - begin, os.times()
    processor = (after.children_user + after.children_system) - (
        before.children_user + before.children_system
    )
    return wall, processor


def take_apart(report: Path) -> None:
    """One run in the command's own order, each part with its seconds."""
    from offgrid_sim.cli.main import SELDOM

    gc.set_threshold(*SELDOM)  # as the command does
    print("one run taken apart:              wall  processor")
    for name, modules in IMPORTS:
        part(f"import {name}", lambda: [importlib.import_module(one) for one in modules])  # noqa: B023
    from offgrid_sim.cli.output import write_text
    from offgrid_sim.plan.load import load_trip
    from offgrid_sim.report.run_page import run_page
    from offgrid_sim.studies.causes import find_causes
    from offgrid_sim.studies.cures import find_cures, usual_cures
    from offgrid_sim.studies.run import simulate
    from offgrid_sim.studies.variants import AS_PLANNED, Bench

    loaded = part("plan", lambda: load_trip(TRIP))
    bench = Bench(loaded)
    part("weather and sun", lambda: bench.prepared(AS_PLANNED, 0, len(bench.years)))
    outcome = part("simulation, machine code", lambda: simulate(loaded, bench=bench))
    causes = part("causes", lambda: find_causes(loaded, outcome, bench))
    cures = part("cures", lambda: find_cures(loaded, usual_cures(), bench))
    page = part("report", lambda: run_page(loaded, outcome, causes=causes, cures=cures))
    part("writing it", lambda: write_text(report, page))


def part(name: str, work: Callable[[], Any]) -> Any:
    """Do ``work``, print its seconds and hand on its result."""
    wall, processor = time.perf_counter(), time.process_time()
    result = work()
    wall, processor = time.perf_counter() - wall, time.process_time() - processor
    print(f"  {name:32s}{wall:6.2f} {processor:6.2f}")
    return result


if __name__ == "__main__":
    main()
