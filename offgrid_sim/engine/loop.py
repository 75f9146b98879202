"""The loop over steps of one run, what a run adds up to, and many runs on all cores."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np

from offgrid_sim.compiled import compiled
from offgrid_sim.engine.calm import is_calm
from offgrid_sim.engine.flat import FLOW, PACE, STATE, TOTALS, view
from offgrid_sim.engine.hour import begin_hour, set_pace, set_thermostat
from offgrid_sim.engine.long_steps import joined, spread
from offgrid_sim.engine.step import step
from offgrid_sim.physics.battery import ocv_line, stored_v
from offgrid_sim.physics.fridge import zone_heat_wh
from offgrid_sim.physics.water import WATER_WH_L_K

STEPS_PER_HOUR = 4
"""Quarter-hour steps: halving changes daily results by less than 1 % (docs/engine-step.md)."""

CALM_STEPS = 2
"""Steps of an hour in which no load can be cut off or come back (calm.py)."""

FULL_SOC = 0.98
"""A battery counts as fully charged from here (common practice, no source)."""

Record = Any


@compiled
def start(van: Record, sky: Record, state: Record) -> None:
    """The van at the first hour: set-points met, cabin as given or as the outside air."""
    state.soc = van.initial_soc
    state.volts = 13.0
    state.emf_v, state.slope_v = ocv_line(int(van.lead), state.soc)
    state.load_on = 1.0
    state.fridge_locked = 0.0
    state.running = 0.0
    state.warming_w, state.on_share = 0.0, 0.0
    state.rest_h = 1.0
    state.cabin_c = sky.temp_air_c if van.initial_cabin_c < -99.0 else van.initial_cabin_c
    state.cell_c = (
        van.cells_cabin_share * state.cabin_c + (1.0 - van.cells_cabin_share) * sky.temp_air_c
    )
    state.fresh_c = van.initial_fresh_c
    state.cooled_heat_wh = zone_heat_wh(
        van.initial_cooled_c, van.frozen_k_per_wh, van.melting_k_per_wh, van.thawed_k_per_wh,
        van.melt_heat_wh,
    )  # fmt: skip
    state.fresh_l = van.initial_fresh_l
    state.grey_l = van.initial_grey_l
    state.fresh_tank_wh_l = max(state.cabin_c, 5.0) * WATER_WH_L_K
    state.grey_tank_wh_l = max(state.cabin_c, 5.0) * WATER_WH_L_K
    state.frost_kg, state.frost_age_h, state.dripped_share = 0.0, 0.0, 0.0
    state.melted_l, state.tray_l, state.floor_l = 0.0, 0.0, 0.0
    state.gains_w, state.heater_w, state.from_cabin_w = 0.0, 0.0, 0.0
    state.cabin_k_h = 0.0
    state.blackout_run_h, state.since_full_h = 0.0, 0.0
    set_thermostat(van, 0.0, state)


@compiled
def open_totals(van: Record, state: Record, totals: Record) -> None:
    """Totals before the first step."""
    totals.stored_start_wh = van.capacity_ah * stored_v(int(van.lead), state.soc)
    totals.fresh_start_l = state.fresh_l
    totals.grey_start_l = state.grey_l
    totals.min_soc = state.soc
    totals.coldest_cell_c = state.cell_c
    totals.first_blackout_h = -1.0
    totals.first_thaw_h = -1.0
    totals.first_dry_h = -1.0


@compiled
def add_up(flow: Record, state: Record, totals: Record, h: float) -> None:
    """Add one step to the totals of the run."""
    if flow.blackout > 0.5:
        if state.blackout_run_h == 0.0:
            totals.blackout_events += 1.0
        if totals.first_blackout_h < 0.0:
            totals.first_blackout_h = totals.hours
        state.blackout_run_h += h
        totals.blackout_hours += h
        totals.longest_blackout_h = max(totals.longest_blackout_h, state.blackout_run_h)
    else:
        state.blackout_run_h = 0.0
    if flow.soc >= FULL_SOC:
        state.since_full_h = 0.0
    else:
        state.since_full_h += h
        totals.longest_without_full_h = max(totals.longest_without_full_h, state.since_full_h)
    totals.discharged_ah += max(-flow.battery_a, 0.0) * h
    totals.cell_c_h += flow.cell_c * h
    totals.hours += h
    totals.min_soc = min(totals.min_soc, flow.soc)
    totals.coldest_cell_c = min(totals.coldest_cell_c, flow.cell_c)
    totals.solar_wh += flow.solar_w * h
    totals.curtailed_wh += flow.curtailed_w * h
    totals.alternator_wh += flow.alternator_w * h
    totals.shore_wh += flow.shore_w * h
    totals.load_wh += flow.load_w * h
    totals.fridge_wh += flow.fridge_w * h
    totals.heater_electric_wh += flow.heater_electric_w * h
    totals.heat_wh += flow.heater_w * h
    totals.battery_loss_wh += flow.battery_loss_w * h
    totals.cable_loss_wh += flow.cable_loss_w * h
    totals.unserved_wh += flow.unserved_w * h
    if flow.thaw + flow.cutout + flow.warm_food + flow.cold_lockout + flow.frozen_water > 0.0:
        add_trouble(flow, totals, h)
    if flow.drawn_l + flow.unmet_l > 0.0:
        add_water(flow, totals, h)


@compiled
def add_trouble(flow: Record, totals: Record, h: float) -> None:
    """Add the rarer flags of one step."""
    if flow.thaw > 0.5 and totals.first_thaw_h < 0.0:
        totals.first_thaw_h = totals.hours - h
    totals.fridge_cutout_hours += flow.cutout * h
    totals.thaw_hours += flow.thaw * h
    totals.lost_food = max(totals.lost_food, flow.thawed)
    totals.food_above_5c_hours += flow.warm_food * h
    totals.cold_lockout_hours += flow.cold_lockout * h
    totals.frozen_water_hours += flow.frozen_water * h


@compiled
def add_water(flow: Record, totals: Record, h: float) -> None:
    """Add the water of one step in which some was asked for."""
    if flow.dry > 0.5 and totals.first_dry_h < 0.0:
        totals.first_dry_h = totals.hours - h
    totals.fresh_used_l += flow.drawn_l
    totals.grey_l += flow.to_grey_l
    totals.unmet_l += flow.unmet_l
    totals.grey_lost_l += flow.grey_lost_l
    totals.dry_hours += flow.dry * h
    totals.grey_full_hours += flow.grey_full * h


@compiled
def close_totals(van: Record, state: Record, totals: Record) -> None:
    """What is left at the end of the run."""
    totals.hours = round(totals.hours)
    totals.meltwater_l = state.melted_l
    totals.floor_water_l = state.floor_l
    totals.fresh_end_l = state.fresh_l
    totals.grey_end_l = state.grey_l
    totals.stored_end_wh = van.capacity_ah * stored_v(int(van.lead), state.soc)


def close_books(totals: np.ndarray) -> None:
    """What went through the fuse box, and what the energy balance fails to close by, TOTALS (J,).

    Outside the compiled loop, where sums may be reordered: a residual is nothing but rounding.
    """
    sources_wh = totals["solar_wh"] + totals["alternator_wh"] + totals["shore_wh"]
    lost_wh = totals["battery_loss_wh"] + totals["cable_loss_wh"]
    stored_wh = totals["stored_end_wh"] - totals["stored_start_wh"]
    totals["throughput_wh"] = sources_wh + totals["load_wh"]
    totals["energy_residual_wh"] = sources_wh - totals["load_wh"] - lost_wh - stored_wh


@compiled
def live(
    van: Record, clock: np.ndarray, sky: np.ndarray, ask: np.ndarray, long_ask: np.ndarray,
    paces: np.ndarray, state: Record, trace: np.ndarray, totals: Record,
) -> None:  # fmt: skip
    """One whole run. ``trace`` has a row per short step to keep them all, or one to keep none.

    ``ask`` and ``long_ask`` ask for the same in short and in long steps, ``paces`` has room for
    both. Calm hours take the long ones; the first never is, everything there is a guess.
    """
    steps = ask.shape[0] // clock.shape[0]
    long_rows = ask.shape[0] // long_ask.shape[0]
    keep = trace.shape[0] > 1
    start(van, sky[0], state)
    set_pace(van, 1.0 / steps, paces[0])
    set_pace(van, long_rows / steps, paces[1])
    open_totals(van, state, totals)
    for hour in range(clock.shape[0]):
        first = hour * steps
        flow = trace[first if keep else 0]
        begin_hour(van, clock[hour], sky[hour], state, flow)
        totals.filled_l += flow.filled_l
        totals.dumped_l += flow.dumped_l
        rows, pace = 1, paces[0]
        if long_rows > 1 and hour > 0 and is_calm(van, clock[hour], ask, first, steps, state):
            rows, pace = long_rows, paces[1]
        for k in range(first, first + steps, rows):
            asked = ask[k] if rows == 1 else long_ask[k // rows]
            flow = trace[k + rows - 1 if keep else 0]
            step(van, clock[hour], sky[hour], asked, pace, state, flow)
            add_up(flow, state, totals, pace.h)
            if keep and rows > 1:
                spread(trace, k, k + rows - 1)
    close_totals(van, state, totals)


@compiled
def live_many(
    vans: np.ndarray, clock: np.ndarray, skies: np.ndarray, ask: np.ndarray,
    long_ask: np.ndarray, jobs: np.ndarray, paces: np.ndarray, states: np.ndarray,
    scratch: np.ndarray, totals: np.ndarray,
) -> None:  # fmt: skip
    """Run jobs (rows of van index, year index) one after another; totals has a row per job."""
    for j in range(jobs.shape[0]):
        live(
            vans[jobs[j, 0]], clock, skies[jobs[j, 1]], ask, long_ask, paces, states[0], scratch,
            totals[j],
        )  # fmt: skip


def long_rows(steps_per_hour: int, calm_steps: int | None) -> int:
    """Rows of a long step. Where none is asked for, only the production step has long ones."""
    if calm_steps is None:
        calm_steps = CALM_STEPS if steps_per_hour == STEPS_PER_HOUR else steps_per_hour
    return steps_per_hour // calm_steps


def run_one(
    van: np.ndarray, clock: np.ndarray, sky: np.ndarray, ask: np.ndarray,
    steps_per_hour: int = STEPS_PER_HOUR, calm_steps: int | None = None,
) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """One run with its trace.

    ``van`` has shape (1,), ``clock`` and ``sky`` (H,), ``ask`` (H * steps_per_hour,). Returns the
    trace, FLOW of shape (H * steps_per_hour,), and the totals, TOTALS of shape (1,).
    """
    long_ask = joined(ask, long_rows(steps_per_hour, calm_steps))
    trace = np.zeros(len(ask), FLOW)
    totals = np.zeros(1, TOTALS)
    live(
        view(van)[0], view(clock), view(sky), view(ask), view(long_ask), view(np.zeros(2, PACE)),
        view(np.zeros(1, STATE))[0], view(trace), view(totals)[0],
    )  # fmt: skip
    close_books(totals)
    return trace, totals


def run_many(
    vans: np.ndarray, clock: np.ndarray, skies: np.ndarray, ask: np.ndarray, jobs: np.ndarray,
    steps_per_hour: int = STEPS_PER_HOUR, on_done: Callable[[int], None] | None = None,
    workers: int | None = None, calm_steps: int | None = None,
) -> np.ndarray:  # fmt: skip
    """Many runs without traces, on all cores; the order of ``jobs`` decides nothing but rows.

    ``vans`` has shape (V,), ``skies`` (Y, H), ``jobs`` (J, 2) of van and year indices. Returns
    TOTALS of shape (J,). Memory is the totals plus one scratch row a worker.
    """
    long_ask = joined(ask, long_rows(steps_per_hour, calm_steps))
    totals = np.zeros(len(jobs), TOTALS)
    workers = workers or os.cpu_count() or 1
    size = max(1, min(256, -(-len(jobs) // (4 * workers))))

    def work(first: int) -> int:
        chunk = jobs[first : first + size]
        live_many(
            view(vans), view(clock), view(skies), view(ask), view(long_ask), chunk,
            view(np.zeros(2, PACE)), view(np.zeros(1, STATE)), view(np.zeros(1, FLOW)),
            view(totals[first : first + size]),
        )  # fmt: skip
        return len(chunk)

    with ThreadPoolExecutor(workers) as pool:
        for done in pool.map(work, range(0, len(jobs), size)):
            if on_done is not None:
                on_done(done)
    close_books(totals)
    return totals
