"""Days of a place: mean clearness, its day-to-day chain, and the day's mean temperature.

A day's clear-sky index (GHI over clear-sky GHI) is drawn from one universal family of curves,
chosen by the month's mean; the rank of the day comes from a Gaussian chain with two memories
(mapping to a Gaussian: Graham, Hollands & Unny 1988, Solar Energy 40:83).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
from scipy.special import ndtr

from offgrid_sim.weather.climate.field import matern_waves, memory_taps, noise, remember
from offgrid_sim.weather.climate.pack import MonthlyClimate, fill_from_neighbours, load_pack
from offgrid_sim.weather.climate.sun import (
    Floats,
    Ints,
    clear_hours,
    extraterrestrial_wh_m2_d,
)

SKY_LENGTH_KM = 235.0
"""Length L of r = (1 + d/L) exp(-d/L) for daily clearness: 0.93, 0.64, 0.32 at 100, 300, 550 km.
From Baker & Skaggs 1984 (J. Climatol. 4:203, doi 10.1002/joc.3370040203), daily radiation against
sunshine between stations of the north-central United States: constant 0.88 below 60 km (the
instruments' own scatter), then -0.12 per 100 km down to about 0.30 at 550 km; divided by 0.88."""

AIR_LENGTH_KM = 500.0
"""The same for temperature's own part: wider than clearness, narrower than the 1,200 km over
which annual anomalies keep r = 0.5 (Hansen & Lebedeff 1987, from memory). Engineering choice."""

SKY_WAVES = matern_waves(tag=1, length_km=SKY_LENGTH_KM, pairs=24, rows_per_day=1, channels=2)
AIR_WAVES = matern_waves(tag=2, length_km=AIR_LENGTH_KM, pairs=8, rows_per_day=1, channels=1)
SPELL_WAVES = matern_waves(tag=4, length_km=AIR_LENGTH_KM, pairs=8, rows_per_day=1, channels=1)
"""Warm and cold spells of a month; one "day" of this field stands for SPELL_DAYS days."""

TAPS = 40


@dataclass(frozen=True)
class Persistence:
    """Two-memory chain: ``slow_share`` of variance at ``slow_phi``, the rest at ``fast_phi``."""

    slow_share: float
    slow_phi: float
    fast_phi: float

    def chain(self, fast: Floats, slow: Floats) -> Floats:
        """The chain from its shocks, unit variance; loses TAPS - 1 leading days."""
        return np.sqrt(self.slow_share) * remember(slow, memory_taps(self.slow_phi, TAPS)) + (
            np.sqrt(1.0 - self.slow_share) * remember(fast, memory_taps(self.fast_phi, TAPS))
        )

    def likeness(self, other: Persistence) -> float:
        """Correlation of two chains that are driven by the same shocks."""
        slow = memory_taps(self.slow_phi, TAPS) @ memory_taps(other.slow_phi, TAPS)
        fast = memory_taps(self.fast_phi, TAPS) @ memory_taps(other.fast_phi, TAPS)
        slow_share = np.sqrt(self.slow_share * other.slow_share)
        fast_share = np.sqrt((1.0 - self.slow_share) * (1.0 - other.slow_share))
        return float(slow_share * slow + fast_share * fast)


WINTER_PERSISTENCE = Persistence(slow_share=0.10, slow_phi=0.75, fast_phi=0.20)
OTHER_PERSISTENCE = Persistence(slow_share=0.16, slow_phi=0.85, fast_phi=0.29)
"""Fitted to measured daily years before this project: lag-1 0.26 in winter, 0.38 otherwise."""

AIR_PHI = 0.75
"""Memory of temperature's own part; with the part tied to clearness lag-1 is 0.65-0.75."""

WITHIN_MONTH_SHARE = 0.88
"""Standard deviation of an AR(1) of 0.75 about its own 30-day means, over the whole:
sqrt(1 - (1 + phi) / (1 - phi) / 30). The fitted sd is that within months."""

SPELL_DAYS = 32
SPELL_SD = 0.45
"""Months that are warm or cold as a whole, over the sd within months: brings the spread between
years to about 0.7 of it, as measured at Potsdam (six years: 0.5-0.9 by season)."""

NOON_INTERPOLATION_SD = 0.923
"""Standard deviation left after hours are drawn between noons: sqrt(0.594 + 0.375 r1 + 0.031 r2)
with r1 = 0.65, r2 = 0.45 as lags of the daily mean."""

_MONTH_NODES = np.linalg.inv(
    0.75 * np.eye(12) + 0.125 * (np.roll(np.eye(12), 1, axis=0) + np.roll(np.eye(12), -1, axis=0))
)
"""Lines between mid-months average to (1, 6, 1)/8 of the nodes: solve so that they average to the
month's mean."""


@dataclass(frozen=True)
class PlaceClimate:
    """One place, ready to generate days: node values at mid-month, each of shape (12,)."""

    monthly: MonthlyClimate
    clear_sky_index: Floats
    clearness_index: Floats
    temp_air_c: Floats

    @property
    def position(self) -> tuple[float, float, float]:
        """Latitude and longitude in degrees, altitude in m."""
        return self.monthly.latitude_deg, self.monthly.longitude_deg, self.monthly.altitude_m


@dataclass(frozen=True)
class DayNumbers:
    """Calendar of local solar days: days since 1970-01-01, day of a 365-day year, month position.

    ``month_position`` is 0 in mid-January and 11 in mid-December, in [-0.5, 11.5).
    """

    day: Ints
    doy: Ints
    month_position: Floats


@dataclass(frozen=True)
class Days:
    """Generated days of one place. Those with a row per year are (years, days)."""

    numbers: DayNumbers
    clear_sky_index: Floats
    """GHI of the day over GHI of the clear day, (years, days)."""
    expected_index: Floats
    """Its mean over many years, (days,)."""
    temp_mean_c: Floats
    mean_range_k: Floats
    """Expected range of temperature within a day, (days,): -1.6 + 22.4 times mean clearness."""


@lru_cache(maxsize=64)
def day_numbers(first_day: int, count: int) -> DayNumbers:
    """Calendar of ``count`` days from ``first_day`` (days since 1970-01-01)."""
    dates = pd.to_datetime(np.arange(first_day, first_day + count), unit="D")
    position = dates.month - 1 + (dates.day - 0.5) / dates.days_in_month - 0.5
    return DayNumbers(
        day=np.arange(first_day, first_day + count, dtype=np.int64),
        doy=np.minimum(dates.day_of_year.to_numpy(), 365).astype(np.int64),
        month_position=np.asarray(position, dtype=np.float64),
    )


def place_climate(monthly: MonthlyClimate) -> PlaceClimate:
    """Turn monthly clearness into the monthly clear-sky index, on three days of each month."""
    dates = pd.DatetimeIndex([f"2001-{m:02d}-{d:02d}" for m in range(1, 13) for d in (5, 15, 25)])
    hour0_utc = dates - pd.Timedelta(hours=solar_offset_h(monthly.longitude_deg))
    hours = pd.DatetimeIndex((hour0_utc.to_numpy()[:, None] + HOURS_OF_DAY).ravel(), tz="UTC")
    clear = clear_hours(hours, monthly.latitude_deg, monthly.longitude_deg, monthly.altitude_m)
    clear_wh = clear.clear_ghi_w_m2.reshape(12, 72).sum(axis=1) / 3.0
    doy = dates.day_of_year.to_numpy()
    above_wh = extraterrestrial_wh_m2_d(monthly.latitude_deg, doy).reshape(12, 3).mean(axis=1)
    dark = (clear_wh < 50.0) | (above_wh < 100.0)
    index = monthly.clearness_index * above_wh / np.where(dark, 1.0, clear_wh)
    missing = tuple(int(m) for m in np.flatnonzero(dark))
    index = np.clip(fill_from_neighbours(index, missing), 0.05, 1.12)
    return PlaceClimate(
        monthly=monthly,
        clear_sky_index=np.asarray(_MONTH_NODES @ index),
        clearness_index=np.asarray(_MONTH_NODES @ monthly.clearness_index),
        temp_air_c=np.asarray(_MONTH_NODES @ monthly.temp_air_c),
    )


HOURS_OF_DAY = np.arange(24).astype("timedelta64[h]")


def solar_offset_h(longitude_deg: float) -> int:
    """Whole hours by which local solar time runs ahead of UTC."""
    return int(np.floor(longitude_deg / 15.0 + 0.5))


def between_months(nodes: Floats, month_position: Floats) -> Floats:
    """Values of (12,) mid-month nodes on the lines between them, round the year."""
    low = np.floor(month_position).astype(np.int64)
    share = month_position - low
    return np.asarray(nodes[low % 12] * (1.0 - share) + nodes[(low + 1) % 12] * share)


def generate_days(
    climate: PlaceClimate, seed: int, years: tuple[int, ...], first_day: int, count: int
) -> Days:
    """Days ``first_day``.. of each weather year at one place."""
    numbers = day_numbers(first_day, count)
    monthly = climate.monthly
    where = (monthly.latitude_deg, monthly.longitude_deg, seed, years)
    fast, slow = noise(SKY_WAVES, *where, first_day - TAPS + 1, count + TAPS - 1)
    sky = _sky_chain(fast, slow, winter_share(monthly.latitude_deg, numbers.doy))
    expected = np.clip(between_months(climate.clear_sky_index, numbers.month_position), 0.04, 1.12)
    index = draw_index(expected, ndtr(sky))
    normal_c = between_months(climate.temp_air_c, numbers.month_position)
    anomaly = _air_anomaly(climate, seed, years, numbers, sky)
    kt = np.clip(between_months(climate.clearness_index, numbers.month_position), 0.05, 0.85)
    return Days(
        numbers=numbers,
        clear_sky_index=index,
        expected_index=expected,
        temp_mean_c=normal_c + _sd_k(climate, normal_c) * anomaly,
        mean_range_k=np.maximum(-1.6 + 22.4 * kt, 2.0),
    )


def winter_share(latitude_deg: float, doy: Ints) -> Floats:
    """1 in mid-winter, 0 in mid-summer and all year in the tropics."""
    midwinter = 15.0 if latitude_deg >= 0 else 197.5
    season = 0.5 + 0.5 * np.cos(2.0 * np.pi * (doy - midwinter) / 365.0)
    return np.asarray(season * np.clip((abs(latitude_deg) - 15.0) / 15.0, 0.0, 1.0))


def _sky_chain(fast: Floats, slow: Floats, winter: Floats) -> Floats:
    """Standard normal chain that passes from the summer's persistence to the winter's."""
    cold = WINTER_PERSISTENCE.chain(fast, slow)
    warm = OTHER_PERSISTENCE.chain(fast, slow)
    together = 2.0 * winter * (1.0 - winter) * WINTER_PERSISTENCE.likeness(OTHER_PERSISTENCE)
    return np.asarray(
        (winter * cold + (1.0 - winter) * warm)
        / np.sqrt(winter**2 + (1.0 - winter) ** 2 + together)
    )


def draw_index(expected: Floats, rank: Floats) -> Floats:
    """Daily clear-sky index of given mean (days,) and rank in 0..1 (years, days).

    Rows of the curve family are blended by their mean; beyond its ends a row is scaled. Between
    the 32 quantiles lines are drawn; half a step beyond the outer ones they are prolonged.
    """
    pack = load_pack()
    inside = np.clip(expected, pack.curve_mean[0], pack.curve_mean[-1])
    row = np.clip(np.searchsorted(pack.curve_mean, inside) - 1, 0, len(pack.curve_mean) - 2)
    share = (inside - pack.curve_mean[row]) / (pack.curve_mean[row + 1] - pack.curve_mean[row])
    curve = pack.curves[row] * (1.0 - share)[:, None] + pack.curves[row + 1] * share[:, None]
    curve *= (expected / inside)[:, None]
    position = rank * curve.shape[1] - 0.5
    low = np.clip(np.floor(position), 0, curve.shape[1] - 2).astype(np.int64)
    day = np.arange(len(expected))[None, :]
    left, right = curve[day, low], curve[day, low + 1]
    return np.asarray(np.maximum(left + (right - left) * (position - low), 0.01))


def _sd_k(climate: PlaceClimate, normal_c: Floats) -> Floats:
    """Standard deviation of daily mean temperature within a month, (days,), at least 0.8 K.

    1.05 + 0.097 annual range - 0.066 (month - year mean), fitted before the project.
    """
    monthly_c = climate.monthly.temp_air_c
    sd_k = 1.05 + 0.097 * np.ptp(monthly_c) - 0.066 * (normal_c - monthly_c.mean())
    return np.asarray(np.maximum(sd_k, 0.8))


def _air_anomaly(
    climate: PlaceClimate, seed: int, years: tuple[int, ...], numbers: DayNumbers, sky: Floats
) -> Floats:
    """Anomaly of daily mean temperature over its sd within months, (years, days).

    Tied to the sky's chain with a correlation from -0.3 in dark winters to +0.5 under a high sun
    (fitted before the project); the rest has its own memory. Spells of a month come on top.
    """
    where = (climate.monthly.latitude_deg, climate.monthly.longitude_deg, seed, years)
    first, count = int(numbers.day[0]), len(numbers.day)
    (shocks,) = noise(AIR_WAVES, *where, first - TAPS + 1, count + TAPS - 1)
    own = remember(shocks, memory_taps(AIR_PHI, TAPS))
    above_wh = extraterrestrial_wh_m2_d(climate.monthly.latitude_deg, numbers.doy)
    tie = np.clip(-0.3 + 0.8 * (above_wh - 2000.0) / 9000.0, -0.3, 0.5)
    daily = (tie * sky + np.sqrt(1.0 - tie**2) * own) / (WITHIN_MONTH_SHARE * NOON_INTERPOLATION_SD)
    return np.asarray(daily + SPELL_SD * _spells(where, numbers.day))


def _spells(where: tuple[float, float, int, tuple[int, ...]], day: Ints) -> Floats:
    """Slow field of variance 1, (years, days): independent knots every SPELL_DAYS days, joined
    with weights whose squares add up to 1."""
    knot = day // SPELL_DAYS
    first, count = int(knot[0]), int(knot[-1] - knot[0]) + 2
    (knots,) = noise(SPELL_WAVES, *where, first, count)
    turn = 0.5 * np.pi * (day % SPELL_DAYS) / SPELL_DAYS
    low = knot - first
    return np.asarray(knots[:, low] * np.cos(turn) + knots[:, low + 1] * np.sin(turn))
