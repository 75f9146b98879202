"""The local clock of a place, offline: coordinates -> IANA zone -> wall-clock time.

The zone comes from timezonefinder's polygons; the sea has its own zones (Etc/GMT±n, whose sign is
reversed by the IANA convention). Loading the finder with its compiled helpers takes about a quarter
of a second; so places once asked for are kept on disk (zone_memory.py) and it is imported only for
a new one.
"""

from __future__ import annotations

import atexit
import datetime
from functools import cache
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from offgrid_sim.weather.table import Place
from offgrid_sim.weather.zone_memory import remembered_zone

if TYPE_CHECKING:
    from timezonefinder import TimezoneFinder


@cache
def _finder() -> TimezoneFinder:
    from timezonefinder import TimezoneFinder  # slow to import: only for a place not yet known

    atexit.register(_finder.cache_clear)  # its files close while the interpreter is still whole
    return TimezoneFinder()


@cache
def zone_at(latitude_deg: float, longitude_deg: float) -> str:
    """IANA zone name at coordinates [deg]; longitude wraps at ±180. ValueError off the globe."""
    if not (abs(latitude_deg) <= 90.0 and np.isfinite(longitude_deg)):
        raise ValueError(f"no such place on Earth: {latitude_deg}, {longitude_deg}")
    longitude = (longitude_deg + 180.0) % 360.0 - 180.0
    return remembered_zone(latitude_deg, longitude, _find)


def _find(latitude_deg: float, longitude_deg: float) -> str:
    found = _finder().timezone_at(lat=latitude_deg, lng=longitude_deg)
    return found or sea_zone(longitude_deg)


def sea_zone(longitude_deg: float) -> str:
    """Nautical zone by longitude: 15° per hour, as an Etc/GMT name (west is plus there)."""
    hours = round(longitude_deg / 15.0)
    return f"Etc/GMT{-hours:+d}" if hours else "Etc/GMT"


def zone_of(place: Place) -> str:
    """IANA zone name of ``place``, for example ``Europe/Madrid``."""
    return zone_at(place.latitude_deg, place.longitude_deg)


def to_local(times_utc: pd.DatetimeIndex, zone: str) -> pd.DatetimeIndex:
    """The same moments on the clock of ``zone``; naive times are taken as UTC."""
    aware = times_utc.tz_localize("UTC") if times_utc.tz is None else times_utc
    return aware.tz_convert(ZoneInfo(zone))


def local_times(place: Place, times_utc: pd.DatetimeIndex) -> pd.DatetimeIndex:
    """``times_utc`` on the clock of ``place``, daylight saving included."""
    return to_local(times_utc, zone_of(place))


def local_midnight_utc(date: datetime.date, zone: str) -> pd.Timestamp:
    """Moment (UTC) when ``date`` begins in ``zone``.

    Where clocks skip midnight, the first moment of the day that exists; where midnight comes
    twice, the first one. Not always a whole UTC hour: India's midnight is 18:30 UTC.
    """
    midnight = pd.Timestamp(datetime.datetime.combine(date, datetime.time()))
    local = midnight.tz_localize(ZoneInfo(zone), ambiguous=True, nonexistent="shift_forward")
    return local.tz_convert("UTC")


def local_hour_of_day(times_utc: pd.DatetimeIndex, zone: str) -> np.ndarray:
    """Wall-clock hour, 0 <= h < 24, of each moment in ``zone``; daylight saving included."""
    local = to_local(times_utc, zone)
    seconds = local.hour * 3600 + local.minute * 60 + local.second
    return seconds.to_numpy(float) / 3600.0
