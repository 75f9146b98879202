"""Air temperature and humidity of the hours, from the days' means and clearness.

Arrays are (years, days, 24) over local solar days, as in ``hourly``.
"""

from __future__ import annotations

import numpy as np

from offgrid_sim.weather.climate.daily import Days
from offgrid_sim.weather.climate.sun import Floats, Ints

NIGHT_DECAY = 2.2
"""Exponential cooling over the night's length (Parton & Logan 1981, from memory)."""
PEAK_AFTER_NOON_H = 2.0
DAYLIGHT_LIMITS_H = (4.0, 20.0)
"""Polar night and midnight sun keep the wave of the shortest and longest day that has one."""

WIND_SPEED_M_S = 2.0
"""Default of FAO-56 (Allen et al. 1998, ch. 4) where wind is not known: 2 m/s."""

_NOON_DISTANCE = (np.arange(24) + 0.5 - 12.0) / 24.0
"""Position of mid-hour between the noons around it, in days from -0.5 to 0.5."""


def temperature_hours(days: Days, latitude_deg: float) -> Floats:
    """Air temperature in °C, (years, days - 2, 24), of all but the first and last day.

    Daily mean and range run on lines from noon to noon; the range follows the day's clearness,
    D = Dm (0.33 + 0.67 K / Km). The wave peaks two hours after solar noon and has its low at
    sunrise (Parton & Logan 1981).
    """
    relative = np.clip(days.clear_sky_index / days.expected_index, 0.0, 2.0)
    range_k = days.mean_range_k * (0.33 + 0.67 * relative)
    wave = daily_wave(latitude_deg, days.numbers.doy[1:-1])
    return _from_noon_to_noon(days.temp_mean_c) + _from_noon_to_noon(range_k) * wave


def _from_noon_to_noon(daily: Floats) -> Floats:
    """Hours (years, days - 2, 24) on lines between the noons of (years, days)."""
    after = np.maximum(_NOON_DISTANCE, 0.0)
    before = np.maximum(-_NOON_DISTANCE, 0.0)
    today = 1.0 - after - before
    return np.asarray(
        daily[:, :-2, None] * before + daily[:, 1:-1, None] * today + daily[:, 2:, None] * after
    )


def daily_wave(latitude_deg: float, doy: Ints) -> Floats:
    """Shape of the day's temperature, (days, 24): mean 0, range 1.

    Sine from sunrise to two hours after noon and on to sunset, then exponential decay to the
    next sunrise. Daylight by FAO-56 eq. 24, 25 and 34.
    """
    delta = 0.409 * np.sin(2.0 * np.pi * doy / 365.0 - 1.39)
    cos_omega = np.clip(-np.tan(np.radians(latitude_deg)) * np.tan(delta), -1.0, 1.0)
    daylight_h = np.clip(24.0 / np.pi * np.arccos(cos_omega), *DAYLIGHT_LIMITS_H)[:, None]
    since_sunrise_h = (np.arange(24) + 0.5 - (12.0 - daylight_h / 2.0)) % 24.0
    stretched_h = daylight_h + 2.0 * PEAK_AFTER_NOON_H
    day = np.sin(np.pi * np.minimum(since_sunrise_h, daylight_h) / stretched_h)
    at_sunset = np.sin(np.pi * daylight_h / stretched_h)
    night_share = np.clip((since_sunrise_h - daylight_h) / (24.0 - daylight_h), 0.0, 1.0)
    left = (np.exp(-NIGHT_DECAY * night_share) - np.exp(-NIGHT_DECAY)) / (1 - np.exp(-NIGHT_DECAY))
    wave = np.where(since_sunrise_h <= daylight_h, day, at_sunset * left)
    wave = wave - wave.mean(axis=1, keepdims=True)
    return np.asarray(wave / np.ptp(wave, axis=1, keepdims=True))


def humidity_hours(temp_air_c: Floats) -> Floats:
    """Relative humidity in %, with the dew point at the day's minimum (FAO-56 eq. 48).

    Saturation pressure by FAO-56 eq. 11, 0.6108 exp(17.27 T / (T + 237.3)) kPa. Too humid in
    deserts, where FAO-56 itself takes 2-3 K off the minimum.
    """
    minimum_c = temp_air_c.min(axis=-1, keepdims=True)
    exponent = 17.27 * minimum_c / (minimum_c + 237.3) - 17.27 * temp_air_c / (temp_air_c + 237.3)
    return np.asarray(100.0 * np.exp(exponent))
