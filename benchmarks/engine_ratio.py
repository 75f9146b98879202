"""What a change costs the engine: two checkouts of this project, turn by turn in one run.

    git worktree add ../before COMMIT
    python benchmarks/engine_ratio.py ../before [--after .] [--turns 5]

Each turn is a fresh process that lives the same batch on one core, warm; told is the ratio of the
least processor times. Turns alternate, so that a busy machine slows down both.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from pathlib import Path

TURN = """
import sys, time
sys.path.insert(0, sys.argv[1] + "/benchmarks")
from engine_speed import designs, ready
from offgrid_sim.engine.loop import run_many
prepared = ready(90)
vans, jobs = designs(prepared, 100)
taken = []
for _ in range(9):
    begin = time.process_time()
    run_many(vans, prepared.clock, prepared.skies, prepared.ask, jobs, workers=1)
    taken.append(time.process_time() - begin)
print(min(taken[1:]))
"""


def turn_s(checkout: Path) -> float:
    """Least processor seconds of the batch in one fresh process of a checkout."""
    done = subprocess.run(
        [sys.executable, "-c", TURN, str(checkout)],
        env={**os.environ, "PYTHONPATH": str(checkout)}, cwd=checkout,
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return float(done.stdout)


def main() -> None:
    """Alternate the two and print the ratio."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("before", type=Path)
    parser.add_argument("--after", type=Path, default=Path(__file__).parents[1])
    parser.add_argument("--turns", type=int, default=5)
    given = parser.parse_args()
    before, after = given.before.resolve(), given.after.resolve()
    pairs = [(turn_s(before), turn_s(after)) for _ in range(given.turns)]
    old_s, new_s = (min(column) for column in zip(*pairs, strict=True))
    print(f"before {old_s:.4f} s, after {new_s:.4f} s, ratio {new_s / old_s:.3f}")


if __name__ == "__main__":
    main()
