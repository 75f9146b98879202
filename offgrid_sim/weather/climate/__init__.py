"""Weather years for any place on land, offline: the embedded climate and its generator.

    weather = ClimateWeather(n_years=30, seed=1)
    block = weather.block(place, times_utc, weather.years(place, times_utc))

Year ``k`` of seed ``s`` is one realisation of the weather of the whole earth: stops of one route
share it, near ones almost wholly, far ones hardly. See docs/climate.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pandas as pd

from offgrid_sim.weather.climate.air import WIND_SPEED_M_S, humidity_hours, temperature_hours
from offgrid_sim.weather.climate.daily import (
    Days,
    PlaceClimate,
    generate_days,
    place_climate,
    solar_offset_h,
)
from offgrid_sim.weather.climate.hourly import global_hours, hour_noise, split_beam
from offgrid_sim.weather.climate.pack import monthly_climate
from offgrid_sim.weather.climate.summary import ClimateSummary, climate_summary
from offgrid_sim.weather.climate.sun import ClearHours, Floats, clear_hours
from offgrid_sim.weather.table import COLUMNS, Place, WeatherBlock, WeatherSource

__all__ = ["ClimateSummary", "ClimateWeather", "climate_summary"]

LICENCE = (
    "NASA MERRA-2 (free to redistribute; Gelaro et al. 2017, Pfenninger & Staffell 2016) and "
    "Recommendation ITU-R P.1510-1 from ECMWF ERA-Interim, both modified"
)
DEFAULT_NOTES = (
    f"Wind is not known to the embedded climate: a constant {WIND_SPEED_M_S:.0f} m/s (FAO-56).",
    "Humidity is not known to the embedded climate: the dew point is the day's lowest "
    "temperature (FAO-56).",
    "Beam and diffuse radiation are split from the global by the Erbs correlation.",
)

YEARS_AT_ONCE = 32
"""Bounds the working memory beyond the result itself; fewer at once take longer per year."""


class ClimateWeather:
    """Generated weather years 1..``n_years`` of one ``seed``, at any place within reach.

    A value depends on place, hour, year and seed alone; asking for more years, places or hours
    never changes it.
    """

    label_is_start_year = False

    def __init__(self, n_years: int, seed: int):
        """``n_years`` >= 1 and ``seed`` >= 0, else ValueError."""
        if n_years < 1 or seed < 0:
            raise ValueError("n_years must be at least 1 and seed at least 0: choose others")
        self.n_years = n_years
        self.seed = seed

    def years(self, place: Place, times_utc: pd.DatetimeIndex) -> tuple[int, ...]:
        """Labels 1..N, whatever the place and span."""
        return tuple(range(1, self.n_years + 1))

    def block(
        self, place: Place, times_utc: pd.DatetimeIndex, years: Sequence[int]
    ) -> WeatherBlock:
        """The hours ``times_utc`` (contiguous, hourly, UTC) of each of ``years``, (Y, H) each.

        Raises WeatherUnavailable where no cell of the pack is within 350 km.
        """
        climate = prepare(place)
        labels = tuple(int(year) for year in years)
        span = _Span(times_utc, climate.monthly.longitude_deg)
        columns = {name: np.empty((len(labels), len(times_utc))) for name in COLUMNS}
        clear = _clear_span(span.hours_utc[0], len(span.hours_utc), *climate.position)
        for first in range(0, len(labels), YEARS_AT_ONCE):
            rows = slice(first, first + YEARS_AT_ONCE)
            for name, hours in _generate(climate, self.seed, labels[rows], span, clear).items():
                columns[name][rows] = span.cut(hours)
        return WeatherBlock(
            times_utc=times_utc, years=labels, **columns, source=self._source(climate)
        )

    def _source(self, climate: PlaceClimate) -> WeatherSource:
        monthly = climate.monthly
        return WeatherSource(
            kind="climate",
            name="embedded climate, generated weather years",
            latitude_deg=monthly.latitude_deg,
            longitude_deg=monthly.longitude_deg,
            altitude_m=monthly.altitude_m,
            years=f"{self.n_years} generated, seed {self.seed}",
            licence=LICENCE,
            notes=monthly.notes + DEFAULT_NOTES,
        )


@lru_cache(maxsize=256)
def prepare(place: Place) -> PlaceClimate:
    """A place's climate, kept for the next call. Raises WeatherUnavailable when out of reach."""
    return place_climate(monthly_climate(place))


@lru_cache(maxsize=128)
def _clear_span(
    first_utc: pd.Timestamp, hours: int, latitude_deg: float, longitude_deg: float,
    altitude_m: float,
) -> ClearHours:  # fmt: skip
    """Clear hours of a span; all chunks of years of one stop share them."""
    times_utc = pd.date_range(first_utc, periods=hours, freq="h")
    return clear_hours(times_utc, latitude_deg, longitude_deg, altitude_m)


class _Span:
    """The whole local solar days around some hours, and the way back to those hours."""

    def __init__(self, times_utc: pd.DatetimeIndex, longitude_deg: float):
        if times_utc.tz is None or len(times_utc) == 0:
            raise ValueError("times_utc must be a non-empty hourly index in UTC")
        first_h = int(times_utc[0].timestamp() // 3600)
        last_h = int(times_utc[-1].timestamp() // 3600)
        if last_h - first_h + 1 != len(times_utc):
            raise ValueError("times_utc must be contiguous hours")
        offset_h = solar_offset_h(longitude_deg)
        self.first_day = (first_h + offset_h) // 24
        self.day_count = (last_h + offset_h) // 24 - self.first_day + 1
        self._start = first_h + offset_h - self.first_day * 24
        self._length = len(times_utc)
        start_utc = pd.Timestamp(0, tz="UTC") + pd.Timedelta(hours=self.first_day * 24 - offset_h)
        self.hours_utc = pd.date_range(start_utc, periods=self.day_count * 24, freq="h")

    def cut(self, hours: Floats) -> Floats:
        """(years, days, 24) to (years, hours asked for)."""
        flat = hours.reshape(hours.shape[0], -1)
        return flat[:, self._start : self._start + self._length]


def _generate(
    climate: PlaceClimate, seed: int, years: tuple[int, ...], span: _Span, clear: ClearHours
) -> dict[str, Floats]:
    """All columns for the span's whole days, each (years, days, 24)."""
    at = climate.monthly
    around = generate_days(climate, seed, years, span.first_day - 1, span.day_count + 2)
    days = _without_ends(around)
    deviation = hour_noise(at.latitude_deg, at.longitude_deg, seed, years, days)
    ghi = global_hours(days, clear, deviation)
    zenith_deg = clear.zenith_deg.reshape(span.day_count, 24)
    dni, dhi = split_beam(ghi, zenith_deg, days.numbers.doy)
    temp = temperature_hours(around, at.latitude_deg)
    return {
        "ghi_w_m2": ghi,
        "dni_w_m2": dni,
        "dhi_w_m2": dhi,
        "temp_air_c": temp,
        "wind_speed_m_s": np.full(temp.shape, WIND_SPEED_M_S),
        "relative_humidity_pct": humidity_hours(temp),
    }


def _without_ends(days: Days) -> Days:
    """The days without the first and the last."""
    numbers = days.numbers
    return replace(
        days,
        numbers=replace(
            numbers,
            day=numbers.day[1:-1],
            doy=numbers.doy[1:-1],
            month_position=numbers.month_position[1:-1],
        ),
        clear_sky_index=days.clear_sky_index[:, 1:-1],
        expected_index=days.expected_index[1:-1],
        temp_mean_c=days.temp_mean_c[:, 1:-1],
        mean_range_k=days.mean_range_k[1:-1],
    )
