"""How far the weather years lie apart, hour by hour: the band in which 8 years in 10 lie."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from offgrid_sim.engine.loop import run_one
from offgrid_sim.engine.prepare import Prepared
from offgrid_sim.outcome.trace import STATES, absent_columns

SPREAD_FIELDS = ("soc", "fresh_c", "freezer_c")
SPREAD_SHARES = (0.1, 0.9)
FEWEST_YEARS = 3
MOST_YEARS = 200
"""Of more years, this many are taken, evenly spaced: a band moves little after that, and the
memory stays a few megabytes."""


@dataclass(frozen=True)
class Spread:
    """10 % and 90 % quantiles over ``years`` of ``of_years`` weather years.

    ``low`` and ``high`` map a column of the hourly trace to its value at the end of each hour,
    shape (H,). The quantile is taken hour by hour: no single year need follow an edge.
    """

    years: int
    of_years: int
    low: dict[str, np.ndarray]
    high: dict[str, np.ndarray]


def spread(ready: Prepared) -> Spread | None:
    """The band over all weather years; None with fewer than three years."""
    of_years = len(ready.years)
    if of_years < FEWEST_YEARS:
        return None
    taken = np.unique(np.linspace(0, of_years - 1, min(of_years, MOST_YEARS)).round().astype(int))
    absent = absent_columns(ready.van)
    fields = [name for name in SPREAD_FIELDS if STATES[name] not in absent]
    kept = {name: np.empty((len(taken), ready.line.hours), np.float32) for name in fields}
    for row, year in enumerate(taken.tolist()):
        trace, _ = run_one(
            ready.van, ready.clock, ready.skies[year], ready.ask, ready.steps_per_hour
        )
        for name, values in kept.items():
            values[row] = trace[name][ready.steps_per_hour - 1 :: ready.steps_per_hour]
    edges = {STATES[name]: np.quantile(values, SPREAD_SHARES, axis=0)
             for name, values in kept.items()}  # fmt: skip
    return Spread(
        years=len(taken),
        of_years=of_years,
        low={column: edge[0] for column, edge in edges.items()},
        high={column: edge[1] for column, edge in edges.items()},
    )
