"""The local clock, against the IANA time zone rules as commonly known (dates of clock changes)."""

import datetime

import numpy as np
import pandas as pd
import pytest

from offgrid_sim.weather.clock import (
    local_hour_of_day,
    local_midnight_utc,
    local_times,
    sea_zone,
    to_local,
    zone_at,
    zone_of,
)
from offgrid_sim.weather.table import Place

# Zone names from the IANA time zone database (zone1970.tab: country and principal place).
ZONES = [
    (41.65, -0.88, "Europe/Madrid"),
    (38.72, -9.14, "Europe/Lisbon"),
    (36.10, -79.95, "America/New_York"),
    (55.32, -160.52, "America/Anchorage"),
    (28.61, 77.21, "Asia/Kolkata"),
    (-41.29, 174.78, "Pacific/Auckland"),
    (28.10, -15.41, "Atlantic/Canary"),
]


@pytest.mark.parametrize(("latitude", "longitude", "zone"), ZONES)
def test_zone_of_known_places(latitude, longitude, zone):
    assert zone_of(Place("there", latitude, longitude)) == zone


def test_the_sea_has_nautical_zones_with_the_iana_sign():
    # IANA "etcetera" file: Etc/GMT+2 is two hours behind UTC.
    assert zone_at(0.0, -30.0) == "Etc/GMT+2" == sea_zone(-30.0)
    assert sea_zone(0.0) == "Etc/GMT"
    moment = pd.DatetimeIndex(["2026-07-01T12:00"], tz="UTC")
    assert local_hour_of_day(moment, "Etc/GMT+2")[0] == 10.0


def test_longitude_wraps_and_nonsense_is_refused():
    assert zone_at(41.65, 359.12) == "Europe/Madrid"
    for latitude, longitude in ((91.0, 0.0), (float("nan"), 0.0), (0.0, float("inf"))):
        with pytest.raises(ValueError, match="no such place"):
            zone_at(latitude, longitude)


def test_summer_time_moves_the_wall_clock():
    # EU Directive 2000/84/EC: last Sunday of March, 01:00 UTC -> 29 March 2026.
    times = pd.date_range("2026-03-28T23:00", periods=5, freq="h", tz="UTC")
    hours = local_hour_of_day(times, "Europe/Madrid")
    np.testing.assert_allclose(hours, [0, 1, 3, 4, 5])
    place = Place("Zaragoza", 41.65, -0.88)
    assert list(local_times(place, times).hour) == [0, 1, 3, 4, 5]


def test_autumn_repeats_an_hour():
    times = pd.date_range("2026-10-24T23:00", periods=4, freq="h", tz="UTC")
    np.testing.assert_allclose(local_hour_of_day(times, "Europe/Madrid"), [1, 2, 2, 3])


def test_half_hour_zone_and_naive_times():
    naive = pd.DatetimeIndex(["2026-01-01T00:00"])
    assert local_hour_of_day(naive, "Asia/Kolkata")[0] == 5.5
    assert str(to_local(naive, "Asia/Kolkata")[0]) == "2026-01-01 05:30:00+05:30"


def test_local_midnight_in_winter_summer_and_india():
    assert local_midnight_utc(datetime.date(2026, 1, 1), "Europe/Madrid") == pd.Timestamp(
        "2025-12-31T23:00", tz="UTC"
    )
    assert local_midnight_utc(datetime.date(2026, 7, 1), "Europe/Madrid") == pd.Timestamp(
        "2026-06-30T22:00", tz="UTC"
    )
    assert local_midnight_utc(datetime.date(2026, 7, 1), "Asia/Kolkata") == pd.Timestamp(
        "2026-06-30T18:30", tz="UTC"
    )


def test_midnight_that_is_skipped_or_comes_twice():
    # IANA: Santiago skips 00:00-01:00 on 8 September 2024; Havana repeats 00:00-01:00 on
    # 3 November 2024 (clocks go back at 01:00 to 00:00).
    skipped = local_midnight_utc(datetime.date(2024, 9, 8), "America/Santiago")
    assert skipped.tz_convert("America/Santiago").hour == 1
    twice = local_midnight_utc(datetime.date(2024, 11, 3), "America/Havana")
    assert twice == pd.Timestamp("2024-11-03T04:00", tz="UTC")
