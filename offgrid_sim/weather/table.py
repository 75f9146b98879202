"""The one form in which weather reaches the simulation, whatever its source.

A :class:`WeatherBlock` holds the hours that a trip spends at one place, for one or more weather
years. Times are UTC, hours are labelled at their start and stand for the mean over the hour; the
sun is evaluated at mid-hour elsewhere. The columns are the only names used for these quantities.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
import pandas as pd

COLUMNS = (
    "ghi_w_m2",
    "dni_w_m2",
    "dhi_w_m2",
    "temp_air_c",
    "wind_speed_m_s",
    "relative_humidity_pct",
)


@dataclass(frozen=True)
class Place:
    """Where weather is asked for. ``altitude_m`` is None when the user did not give it."""

    name: str
    latitude_deg: float
    longitude_deg: float
    altitude_m: float | None = None


@dataclass(frozen=True)
class WeatherSource:
    """Where the hours came from and what was done to them.

    ``kind`` is "file", "climate" or "archive". ``name`` is what a person would call it; it never
    holds a folder of the user's machine. ``typical`` is true for a typical year, stitched from
    several. ``notes`` are sentences: repairs, defaults used, wraps over the new year, warnings.
    """

    kind: str
    name: str
    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    years: str
    licence: str
    typical: bool = False
    interval: str = "mean over the hour, labelled at its start, UTC"
    notes: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class WeatherBlock:
    """Hourly weather of one place for Y weather years and H hours.

    ``times_utc`` has H hour starts in the trip's nominal year; ``years`` has Y labels (calendar
    years of record, or 1..N for generated years). Each array has shape (Y, H), float64, no NaN.
    """

    times_utc: pd.DatetimeIndex
    years: tuple[int, ...]
    ghi_w_m2: np.ndarray
    dni_w_m2: np.ndarray
    dhi_w_m2: np.ndarray
    temp_air_c: np.ndarray
    wind_speed_m_s: np.ndarray
    relative_humidity_pct: np.ndarray
    source: WeatherSource


class WeatherProvider(Protocol):
    """A source of weather. ``years`` lists the labels it can give for a span of hours.

    ``label_is_start_year`` is true where a label is the calendar year in which the asked span
    starts: then the whole trip must be asked for at every stop, so that one label means one
    winter. It is false where a label means the same whatever span is asked for.
    """

    label_is_start_year: bool

    def years(self, place: Place, times_utc: pd.DatetimeIndex) -> tuple[int, ...]:
        """Labels of the weather years that cover ``times_utc`` at ``place``."""
        ...

    def block(
        self, place: Place, times_utc: pd.DatetimeIndex, years: Sequence[int]
    ) -> WeatherBlock:
        """The hours ``times_utc`` (contiguous, hourly, UTC) of each of ``years`` at ``place``."""
        ...
