"""A fridge alone in a climate chamber: what it uses, how fast it cools, how long it holds.

The chamber holds its air at one temperature and 60 % humidity; the supply is stiff, so no voltage
limit acts. Ambients follow the test points of IEC 62552 (16 and 32 C) and the classes of
EU 2019/2016 (43 C), plus 25 C. The same step of van life does the work as in a trip.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from offgrid_sim.engine.flat import ASK, AWAKE, CLOCK, SKY, view
from offgrid_sim.engine.loop import STEPS_PER_HOUR, run_one
from offgrid_sim.engine.van_numbers import fridge_ua_w_k, van_numbers
from offgrid_sim.plan.van import Battery, Fridge, Van

AMBIENTS_C = (16.0, 25.0, 32.0, 43.0)
SETTLE_DAYS, MEASURE_DAYS = 3, 7
PULL_DOWN_DAYS, HOLD_DAYS = 4, 10
WAKING_HOURS = (7, 22)
STIFF_AH = 1e4
STIFF_W_K = 1e6
"""Heat leak of a chamber whose air does not care what stands in it."""

NEVER_V = 99.0
NEAR_K = 0.25


@dataclass(frozen=True)
class ChamberRow:
    """One ambient. Hours are None where the point was not reached within the test, or where the
    fridge has no such zone."""

    ambient_c: float
    steady_wh_day: float
    in_use_wh_day: float
    duty: float
    holds_set_point: bool
    pull_down_h: float | None
    fresh_above_5c_h: float | None
    fresh_above_8c_h: float | None
    thaw_starts_h: float | None
    thawed_h: float | None


@dataclass(frozen=True)
class ChamberTest:
    """All ambients of one fridge, and the heat leak they rest on."""

    fridge: Fridge
    ua_w_k: float
    rows: tuple[ChamberRow, ...]


def chamber_test(
    fridge: Fridge, ambients_c: tuple[float, ...] = AMBIENTS_C, steps_per_hour: int = STEPS_PER_HOUR
) -> ChamberTest:
    """Test one fridge at each ambient."""
    rows = tuple(_row(fridge, ambient, steps_per_hour) for ambient in ambients_c)
    return ChamberTest(fridge, fridge_ua_w_k(fridge), rows)


def _row(fridge: Fridge, ambient_c: float, steps_per_hour: int) -> ChamberRow:
    steady = _live(fridge, ambient_c, SETTLE_DAYS + MEASURE_DAYS, steps_per_hour, used=False)
    used = _live(fridge, ambient_c, SETTLE_DAYS + MEASURE_DAYS, steps_per_hour)
    warm = _live(fridge, ambient_c, PULL_DOWN_DAYS, steps_per_hour, used=False, start_warm=True)
    dark = _live(fridge, ambient_c, HOLD_DAYS, steps_per_hour, used=False, powered=False)
    measured = slice(SETTLE_DAYS * 24 * steps_per_hour, None)
    has_fresh, has_frozen = fridge.freezer_share < 1, fridge.freezer_share > 0
    ice = dark["ice_share"] if has_frozen and fridge.frozen_kg > 0 else np.ones(len(dark))
    fresh = dark["fresh_c"] if has_fresh else np.full(len(dark), -99.0)
    return ChamberRow(
        ambient_c=ambient_c,
        steady_wh_day=float(steady["fridge_w"][measured].mean() * 24),
        in_use_wh_day=float(used["fridge_w"][measured].mean() * 24),
        duty=float(used["running_share"][measured].mean()),
        holds_set_point=bool(_cold(fridge, used[measured]).mean() > 0.5),
        pull_down_h=_first_h(_cold(fridge, warm), steps_per_hour),
        fresh_above_5c_h=_first_h(fresh > 5.0, steps_per_hour),
        fresh_above_8c_h=_first_h(fresh > 8.0, steps_per_hour),
        thaw_starts_h=_first_h(ice < 0.8, steps_per_hour),
        thawed_h=_first_h(ice < 0.1, steps_per_hour),
    )


def _cold(fridge: Fridge, trace: np.ndarray) -> np.ndarray:
    """Steps in which every zone is at its set-point, within half a band and a quarter kelvin."""
    cold = np.ones(len(trace), bool)
    if fridge.freezer_share < 1:
        cold &= trace["fresh_c"] <= fridge.set_fridge_c + NEAR_K
    if fridge.freezer_share > 0:
        cold &= trace["freezer_c"] <= fridge.set_freezer_c + 0.5 * fridge.band_k + NEAR_K
    return cold


def _first_h(flags: np.ndarray, steps_per_hour: int) -> float | None:
    """Hours until a flag first holds, at the end of its step."""
    where = np.flatnonzero(flags)
    return float((where[0] + 1) / steps_per_hour) if len(where) else None


def _live(
    fridge: Fridge,
    ambient_c: float,
    days: int,
    steps_per_hour: int,
    *,
    used: bool = True,
    start_warm: bool = False,
    powered: bool = True,
) -> np.ndarray:
    """Trace of the fridge in the chamber, FLOW of shape (days * 24 * steps_per_hour,)."""
    van = _chamber_van(fridge)
    row = view(van)[0]
    if start_warm:
        row.initial_fresh_c = row.initial_cooled_c = ambient_c
    if not powered:
        row.disconnect_v = row.reconnect_v = NEVER_V
    hour = np.arange(days * 24) % 24
    clock = np.zeros(days * 24, CLOCK)
    clock["occupancy"] = AWAKE
    if used:
        first, last = WAKING_HOURS
        awake = (hour >= first) & (hour < last)
        clock["door_openings"] = awake * fridge.openings_per_day / (last - first)
        clock["loaded_kg"] = awake * fridge.loaded_kg_per_day / (last - first)
    sky = np.zeros(days * 24, SKY)
    sky["temp_air_c"] = ambient_c
    ask = np.zeros(days * 24 * steps_per_hour, ASK)
    trace, _ = run_one(van, clock, sky, ask, steps_per_hour)
    return trace


def _chamber_van(fridge: Fridge) -> np.ndarray:
    """A van record that is a chamber: air that never moves, a supply that never sags."""
    van = van_numbers(Van(battery=Battery(capacity_ah=STIFF_AH), fridge=fridge, loads=()))
    row = view(van)[0]
    row.cabin_ua_w_k, row.closed_air_w_k, row.vent_air_w_k = STIFF_W_K, 0.0, 0.0
    row.roof_w_k, row.glass_gain_m2, row.heater_w = 0.0, 0.0, 0.0
    row.cable_ohm, row.fridge_cable_w, row.main_ohm, row.cutout_v = 0.0, 0.0, 0.0, 0.0
    return van
