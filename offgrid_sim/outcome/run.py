"""The outcome of a trip: all weather years in totals, up to three of them hour by hour."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd

from offgrid_sim.engine.loop import run_many, run_one
from offgrid_sim.engine.prepare import Prepared
from offgrid_sim.outcome.balance import EnergyBalance, WaterBalance, energy_balance, water_balance
from offgrid_sim.outcome.events import Event, find_events
from offgrid_sim.outcome.food import FoodClock, food_clocks
from offgrid_sim.outcome.peaks import StartPeak, start_peak
from offgrid_sim.outcome.risk import Risk, risk
from offgrid_sim.outcome.spread import Spread, spread
from offgrid_sim.outcome.trace import hourly_trace
from offgrid_sim.physics.ageing import Ageing, ageing

Shown = Literal["worst", "median", "best"]
SHOWN: tuple[Shown, ...] = ("worst", "median", "best")

SUMMARY_KEYS = (
    "hours", "blackout_hours", "blackout_events", "longest_blackout_h", "unserved_wh",
    "fridge_cutout_hours", "thaw_hours", "lost_food", "meltwater_l", "floor_water_l",
    "food_above_5c_hours", "min_soc", "solar_wh", "alternator_wh", "shore_wh", "load_wh",
    "fridge_wh", "curtailed_wh", "battery_loss_wh", "cable_loss_wh", "energy_residual_wh",
    "fresh_used_l", "grey_l", "unmet_l", "dry_hours", "grey_full_hours", "cold_lockout_hours",
    "frozen_water_hours", "coldest_cell_c", "longest_without_full_h", "discharged_ah",
)  # fmt: skip
"""Keys of the machine-readable summary, straight from TOTALS."""


@dataclass(frozen=True)
class TracedYear:
    """A weather year hour by hour; ``index`` counts in the years that were run."""

    name: Shown
    index: int
    hourly: pd.DataFrame
    events: tuple[Event, ...]


@dataclass(frozen=True)
class RunOutcome:
    """What happened. ``totals`` is TOTALS (Y,); the trace, events and balances are of the shown
    year. ``hourly`` is described in :func:`offgrid_sim.outcome.trace.hourly_trace`.

    ``traced`` holds the worst, median and best year, or the shown one alone of one or two years;
    ``spread`` says how far all years lie apart, None with fewer than three."""

    ready: Prepared
    totals: np.ndarray
    risk: Risk
    shown: Shown
    shown_index: int
    hourly: pd.DataFrame
    events: tuple[Event, ...]
    energy: EnergyBalance
    water: WaterBalance
    food: tuple[FoodClock, ...]
    start: StartPeak | None
    battery_ageing: Ageing
    traced: tuple[TracedYear, ...]
    spread: Spread | None

    @property
    def shown_year(self) -> int:
        """Label of the weather year that is shown hour by hour."""
        return self.ready.years[self.shown_index]

    @property
    def summary(self) -> dict[str, Any]:
        """Numbers of the shown year under the names of the machine interface."""
        row = self.totals[self.shown_index]
        numbers: dict[str, Any] = {key: round(float(row[key]), 9) for key in SUMMARY_KEYS}
        numbers["blackout_events"] = int(numbers["blackout_events"])
        numbers["lost_food"] = bool(numbers["lost_food"])
        return numbers


def run_trip(ready: Prepared, shown: Shown = "worst") -> RunOutcome:
    """Live the trip through every weather year, and keep the shown one hour by hour."""
    jobs = np.stack([np.zeros(len(ready.years), int), np.arange(len(ready.years))], axis=1)
    totals = run_many(ready.van, ready.clock, ready.skies, ready.ask, jobs, ready.steps_per_hour)
    over_years = risk(ready.years, totals)
    index = year_index(over_years, shown)
    trace, own = _traced(ready, shown, index)
    names = SHOWN if len(ready.years) >= len(SHOWN) else (shown,)
    traced = tuple(
        own if name == shown else _traced(ready, name, year_index(over_years, name))[1]
        for name in names
    )
    return RunOutcome(
        ready=ready,
        totals=totals,
        risk=over_years,
        shown=shown,
        shown_index=index,
        hourly=own.hourly,
        events=own.events,
        energy=energy_balance(totals[index]),
        water=water_balance(totals[index]),
        food=_food(ready, trace),
        start=start_peak(ready.van, trace),
        battery_ageing=_ageing(ready, totals[index]),
        traced=traced,
        spread=spread(ready),
    )


def year_index(over_years: Risk, shown: Shown) -> int:
    """Index of the worst, median or best of the years that were run."""
    order = over_years.worst_first
    return order[{"worst": 0, "median": len(order) // 2, "best": len(order) - 1}[shown]]


def _traced(ready: Prepared, name: Shown, index: int) -> tuple[np.ndarray, TracedYear]:
    """The step-by-step trace of a year, and what is kept of it."""
    trace, _ = run_one(ready.van, ready.clock, ready.skies[index], ready.ask, ready.steps_per_hour)
    hourly = hourly_trace(ready, trace, index)
    return trace, TracedYear(name, index, hourly, find_events(ready, trace))


def has_fresh(ready: Prepared) -> bool:
    """Whether the van has a compartment for chilled food."""
    return bool(ready.van["has_fridge"][0] and ready.van["has_fresh"][0])


def _food(ready: Prepared, trace: np.ndarray) -> tuple[FoodClock, ...]:
    if not has_fresh(ready):
        return ()
    set_c = float(ready.van["set_fresh_c"][0])
    return food_clocks(trace["fresh_c"], 1 / ready.steps_per_hour, set_c)


def _ageing(ready: Prepared, totals: np.void) -> Ageing:
    van, hours = ready.van[0], float(totals["hours"])
    return ageing(
        bool(van["lead"]), float(van["capacity_ah"]), float(totals["discharged_ah"]), hours,
        float(totals["cell_c_h"]) / hours,
    )  # fmt: skip
