"""From habits and loads to what is asked for, hour by hour (CLOCK) and step by step (ASK)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from offgrid_sim.engine.circuits import circuit_loss_w, circuit_ohm
from offgrid_sim.engine.flat import ASK, ASLEEP, AWAKE, AWAY, CLOCK
from offgrid_sim.engine.timeline import Timeline
from offgrid_sim.plan.habits import Use
from offgrid_sim.plan.trip import Trip
from offgrid_sim.plan.van import HourRange, Load

NIGHT: HourRange = (22.0, 7.0)
"""Local hours in which a fridge's night set-back holds."""

SERVICE_HOUR = 9
"""Local hour at which people top up water and empty grey at a stop that offers it, each day."""

PRIORITY = {1: "vital_w", 2: "normal_w", 3: "comfort_w"}


def share_of_steps(ranges: Iterable[HourRange], steps_per_hour: int) -> np.ndarray:
    """Part of each step of the day that lies inside the ranges, shape (24 * steps_per_hour,).

    A range that ends before it starts runs over midnight.
    """
    edges = np.arange(24 * steps_per_hour + 1) / steps_per_hour
    share = np.zeros(24 * steps_per_hour)
    for start, end in ranges:
        parts = [(start, end)] if end > start else [(start, 24.0), (0.0, end)]
        for low, high in parts:
            overlap = np.minimum(edges[1:], high) - np.maximum(edges[:-1], low)
            share += np.clip(overlap, 0, None) * steps_per_hour
    return np.minimum(share, 1.0)


def clock_numbers(trip: Trip, line: Timeline) -> np.ndarray:
    """Who is aboard, driving, services and doors for each hour, CLOCK of shape (H,)."""
    hourly = line.local_hour.astype(int) % 24
    awake_share = share_of_steps([(trip.habits.wake_hour, trip.habits.sleep_hour)], 1)[hourly]
    away_share = share_of_steps(trip.habits.away, 1)[hourly] * (line.driving_share == 0)
    clock = np.zeros(line.hours, CLOCK)
    clock["driving_share"] = line.driving_share
    stops = trip.route.stops
    reached = np.where(line.toward > 0, np.minimum(line.stop + 1, len(stops) - 1), line.stop)
    reached = np.where(line.arrival & (line.driving_share <= 0.5), line.stop, reached)
    used = line.arrival | ((hourly == SERVICE_HOUR) & (line.driving_share == 0))
    used[0] = False
    for name, field in (("fresh_water", "fill_fresh"), ("grey_dump", "dump_grey")):
        offered = np.array([getattr(stop, name) for stop in stops])
        clock[field] = used & offered[reached]
    clock["shore"] = np.array([stop.shore_power for stop in stops])[line.stop] * (
        1 - line.driving_share
    )
    clock["people"] = trip.people * (1 - away_share)
    clock["occupancy"] = np.where(
        away_share > 0.5, AWAY, np.where(awake_share > 0.5, AWAKE, ASLEEP)
    )
    clock["night"] = share_of_steps([NIGHT], 1)[hourly]
    _fridge_use(clock, trip, awake_share)
    return clock


def _fridge_use(clock: np.ndarray, trip: Trip, awake_share: np.ndarray) -> None:
    """Spread door openings and loaded food over the waking hours."""
    fridge = trip.van.fridge
    if fridge is None:
        return
    waking_h = (trip.habits.sleep_hour - trip.habits.wake_hour) % 24 or 24.0
    clock["door_openings"] = fridge.openings_per_day / waking_h * awake_share
    clock["loaded_kg"] = fridge.loaded_kg_per_day / waking_h * awake_share


def ask_numbers(trip: Trip, line: Timeline, steps_per_hour: int) -> np.ndarray:
    """Watts at the fuse box by priority and litres for each step, ASK of (H * steps_per_hour,).

    Uses without the inverter hang on the fuse box itself. Mains loads and uses share the
    inverter's cable; what each loses there is reckoned alone, too little where two run at once.
    """
    ask = np.zeros(line.hours * steps_per_hour, ASK)
    first = np.round(line.local_hour * steps_per_hour).astype(int)
    step_of_day = (first[:, None] + np.arange(steps_per_hour)).ravel() % (24 * steps_per_hour)
    driving = np.repeat(line.driving_share, steps_per_hour)
    day = np.repeat(line.local_day, steps_per_hour)
    sums = _Sums(*np.zeros((3, len(ask))))
    inverter_ohm = circuit_ohm(trip.van.inverter)
    for load in trip.van.loads:
        on = share_of_steps(load.hours, steps_per_hour)[step_of_day] * load.duty
        if load.when != "always":
            on = on * (driving if load.when == "driving" else 1 - driving)
        ohm = inverter_ohm if load.mains else circuit_ohm(load)
        _add(ask, sums, trip, load, load.power_w, ohm, on)
    for use in trip.habits.uses:
        end = (use.hour + use.minutes / 60.0) % 24
        on = share_of_steps([(use.hour, end)], steps_per_hour)[step_of_day]
        on = on * (day % use.every_days == 0)
        heads = trip.people if use.per_person else 1
        _add(ask, sums, trip, use, use.power_w * heads, inverter_ohm * use.mains, on)
        litres = use.litres * heads * on / (use.minutes / 60.0 * steps_per_hour)
        ask["draw_l"] += litres
        ask["grey_l"] += litres * use.grey_share
    idle_w = trip.van.inverter.idle_w * (
        np.ones(len(ask)) if trip.van.inverter.left_on else np.minimum(sums.mains_on, 1.0)
    )
    ask["normal_w"] += idle_w
    total_w = ask["vital_w"] + ask["normal_w"] + ask["comfort_w"]
    used_w, heat_w = total_w - sums.cable_w, sums.heat_w + idle_w
    np.divide(sums.cable_w, total_w, out=ask["cable_share"], where=total_w > 0)
    ask["heat_share"] = np.divide(heat_w, used_w, out=np.ones(len(ask)), where=total_w > 0)
    return ask


@dataclass(frozen=True)
class _Sums:
    """What is added up over all consumers, step by step."""

    heat_w: np.ndarray
    cable_w: np.ndarray
    mains_on: np.ndarray


def _add(
    ask: np.ndarray,
    sums: _Sums,
    trip: Trip,
    item: Load | Use,
    power_w: float,
    ohm: float,
    on: np.ndarray,
) -> None:
    """Add one consumer's watts, with what its cable of ``ohm`` loses, to its priority."""
    watts = power_w / (trip.van.inverter.efficiency if item.mains else 1.0)
    lost_w = circuit_loss_w(watts, ohm)
    ask[PRIORITY[item.priority]] += (watts + lost_w) * on
    sums.cable_w[:] += lost_w * on
    if item.heats_cabin:
        sums.heat_w[:] += watts * on
    if item.mains and power_w > 0:
        sums.mains_on[:] += on
