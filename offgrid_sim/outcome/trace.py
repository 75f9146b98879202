"""The hourly trace of one run: means over the hour, states at its end, flags as shares of it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from offgrid_sim.engine.flat import FLOW
from offgrid_sim.engine.prepare import Prepared

STATES = {
    "soc": "soc",
    "volts": "battery_v",
    "cell_c": "temp_cell_c",
    "fresh_c": "temp_fridge_c",
    "freezer_c": "temp_freezer_c",
    "ice_share": "ice_share",
    "cabin_c": "temp_cabin_c",
    "fresh_l": "fresh_l",
    "grey_l": "grey_l",
    "floor_water_l": "floor_water_l",
}
"""Engine field to trace column, taken at the end of the hour."""

MEANS = {
    "solar_w": "solar_w",
    "curtailed_w": "curtailed_w",
    "alternator_w": "alternator_w",
    "shore_w": "shore_w",
    "load_w": "load_w",
    "fridge_w": "fridge_w",
    "cable_loss_w": "cable_loss_w",
    "unserved_w": "unserved_w",
    "battery_a": "battery_a",
    "outside_c": "temp_air_c",
    "heater_w": "heater_heat_w",
    "running_share": "compressor_share",
}
"""Taken as the mean over the hour."""

SUMS = {"drawn_l": "drawn_l", "to_grey_l": "to_grey_l", "unmet_l": "unmet_l"}
"""Taken as the sum over the hour."""

FLAGS = {
    "blackout": "blackout_share",
    "cutout": "cutout_share",
    "thaw": "thaw_share",
    "warm_food": "warm_food_share",
    "dry": "dry_share",
    "grey_full": "grey_full_share",
    "cold_lockout": "cold_lockout_share",
    "frozen_water": "frozen_water_share",
}
"""Share of the hour in which it held."""

LOWEST = {"bus_volts": "bus_v", "fridge_volts": "fridge_v"}
"""Taken as the lowest in the hour."""

FRIDGE_COLUMNS = ("temp_fridge_c", "temp_freezer_c", "ice_share", "fridge_v")


def hourly_trace(ready: Prepared, trace: np.ndarray, year_index: int) -> pd.DataFrame:
    """Hourly trace, a row per hour, index local wall clock (no zone) named ``local_time``.

    ``trace`` is FLOW of shape (H * steps_per_hour,). Columns carry their units in their names;
    ``stop`` is the index of the stop, ``driving_share`` and ``ghi_w_m2`` come with it. Columns of
    a zone the fridge does not have hold NaN.
    """
    by_hour = trace.reshape(ready.line.hours, ready.steps_per_hour)
    columns: dict[str, np.ndarray] = {"utc": ready.line.times_utc.tz_localize(None).to_numpy()}
    columns["stop"] = ready.line.stop
    columns["driving_share"] = ready.line.driving_share
    columns["ghi_w_m2"] = ready.ghi_w_m2[year_index]
    columns |= {new: by_hour[old][:, -1] for old, new in STATES.items()}
    columns |= {new: by_hour[old].mean(axis=1) for old, new in (MEANS | FLAGS).items()}
    columns |= {new: by_hour[old].sum(axis=1) for old, new in SUMS.items()}
    columns |= {new: by_hour[old].min(axis=1) for old, new in LOWEST.items()}
    frame = pd.DataFrame(columns, index=ready.line.local_times())
    frame.index.name = "local_time"
    return _without_missing_zones(frame, ready.van)


def _without_missing_zones(frame: pd.DataFrame, van: np.ndarray) -> pd.DataFrame:
    """Blank what the fridge does not have."""
    frame[list(absent_columns(van))] = np.nan
    return frame


def absent_columns(van: np.ndarray) -> tuple[str, ...]:
    """Columns that mean nothing in this van (VAN, shape (1,))."""
    if not van["has_fridge"][0]:
        return FRIDGE_COLUMNS
    if not van["has_freezer"][0]:
        return ("temp_freezer_c", "ice_share")
    return () if van["has_fresh"][0] else ("temp_fridge_c",)


def step_times(ready: Prepared) -> pd.DatetimeIndex:
    """Local wall clock at the start of each step, shape (H * steps_per_hour,)."""
    part = np.arange(ready.steps_per_hour) * np.timedelta64(3600 // ready.steps_per_hour, "s")
    hours = ready.line.local_times().to_numpy("datetime64[s]")
    return pd.DatetimeIndex((hours[:, None] + part).ravel())


assert set(STATES) | set(MEANS) | set(SUMS) | set(FLAGS) | set(LOWEST) <= set(FLOW.names or ())
