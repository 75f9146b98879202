"""The trip hour by hour: which stop, which local clock, driving or not.

A trip starts at local midnight of its first day at the first stop and ends after the last night.
Stop ``k`` is reached by its drive, which leaves stop ``k - 1`` at a local hour on the day after
that stop's last night; services are used in the hour of arrival.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from offgrid_sim.plan.route import Stop
from offgrid_sim.plan.trip import Trip
from offgrid_sim.weather.clock import local_hour_of_day, local_midnight_utc, to_local, zone_of
from offgrid_sim.weather.table import Place


@dataclass(frozen=True)
class Timeline:
    """H hours of the trip; every array has shape (H,).

    ``stop`` is the index of the stop whose clock holds (the one left, until arrival),
    ``driving_share`` the part of the hour at the wheel, ``toward`` how far (0..1) the way to the
    next stop is done, ``arrival`` true in the hour a stop is reached (and in the first hour).
    """

    times_utc: pd.DatetimeIndex
    stop: np.ndarray
    driving_share: np.ndarray
    toward: np.ndarray
    arrival: np.ndarray
    local_hour: np.ndarray
    local_day: np.ndarray
    zones: tuple[str, ...]

    @property
    def hours(self) -> int:
        """Number of hours."""
        return len(self.times_utc)

    def local_times(self) -> pd.DatetimeIndex:
        """Local wall clock of each hour, without a zone (plots know no zones), shape (H,)."""
        naive = np.empty(self.hours, "datetime64[ns]")
        for k, zone in enumerate(self.zones):
            here = self.stop == k
            local = to_local(self.times_utc[here], zone).tz_localize(None)
            naive[here] = local.to_numpy("datetime64[ns]")
        return pd.DatetimeIndex(naive)


def place_of(stop: Stop) -> Place:
    """Where a stop asks for weather."""
    return Place(stop.place, stop.latitude_deg, stop.longitude_deg, stop.altitude_m)


def timeline(trip: Trip) -> Timeline:
    """Lay the trip out over UTC hours."""
    stops = trip.route.stops
    zones = tuple(zone_of(place_of(stop)) for stop in stops)
    begin = local_midnight_utc(trip.first_day, zones[0]).floor("h")
    times = pd.date_range(begin, periods=trip.nights * 24, freq="h")
    stop = np.zeros(len(times), int)
    driving, toward = np.zeros(len(times)), np.zeros(len(times))
    arrival = np.zeros(len(times), bool)
    arrival[0] = True
    start_h = np.arange(len(times), dtype=float)
    for k, leave_h in enumerate(_departures_h(trip, zones, begin), start=1):
        drive_h = stops[k].drive.hours
        share = np.clip(np.minimum(start_h + 1, leave_h + drive_h) - np.maximum(start_h, leave_h),
                        0, 1)  # fmt: skip
        driving += share
        middle = np.clip((start_h + 0.5 - leave_h) / max(drive_h, 1e-9), 0, 1)
        toward = np.where(share > 0, middle, toward)
        reached = min(int(leave_h + drive_h - 1e-9), len(times) - 1)
        stop[reached + 1 :] = k
        stop[reached] = k - 1
        if share[reached] <= 0.5:
            stop[reached], toward[reached] = k, 0.0
        arrival[reached] = True
    local_hour = np.zeros(len(times))
    local_day = np.zeros(len(times), int)
    for k, zone in enumerate(zones):
        here = stop == k
        if here.any():
            local_hour[here] = local_hour_of_day(times[here], zone)
            dates = to_local(times[here], zone).tz_localize(None).normalize()
            local_day[here] = (dates - pd.Timestamp(trip.first_day)).days
    return Timeline(times, stop, driving, toward, arrival, local_hour, local_day, zones)


def _departures_h(trip: Trip, zones: tuple[str, ...], begin: pd.Timestamp) -> list[float]:
    """Hours after the start at which the van leaves for stop 1, 2, ..."""
    leave, day = [], 0
    for k in range(1, len(trip.route.stops)):
        day += trip.route.stops[k - 1].nights
        date = trip.first_day + dt.timedelta(days=day)
        midnight = local_midnight_utc(date, zones[k - 1])
        moment = midnight + pd.Timedelta(hours=trip.route.stops[k].drive.depart_hour)
        leave.append((moment - begin) / pd.Timedelta(hours=1))
    return leave
